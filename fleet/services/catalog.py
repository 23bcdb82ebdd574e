"""Which lines there are."""

from __future__ import annotations

from fleet.store import queries
from fleet.store.engine import Store


def line_codes(store: Store) -> tuple[str, ...]:
    """Return the codes of all lines, in order."""
    with store.read() as record:
        return queries.line_codes(record)
