"""What screen readers are told, as properties of an element."""

from __future__ import annotations

from typing import Any


def aria(**told: str) -> dict[str, Any]:
    """Return `aria-*` properties: `aria(label="Pages")` becomes {'aria-label': 'Pages'}."""
    return {f"aria-{name}": value for name, value in told.items()}
