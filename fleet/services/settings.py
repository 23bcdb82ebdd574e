"""The plant's settings in force on a day: a site's own beats the general one, a later day an earlier."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

DEFAULTS: Final[dict[str, float]] = {
    "chance_over": 0.5,
    "chance_due": 0.2,
    "chance_watch": 0.05,
    "cap": 0.2,
    "horizon_years": 5.0,
    "soak_hours": 12.0,
    "pair_agreement_um": 25.0,
    "set_within_um": 50.0,
}
"""Numbers that hold where a plant chose none; the good-enough width of 0.05 mm is common practice, no source."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Every recorded setting, oldest first."""

    rows: tuple[tuple[int | None, str, str, date | None], ...]

    def text(self, name: str, site_id: int | None, as_of: date) -> str | None:
        """Return the value in force as written, None where nobody chose one."""
        in_force = [
            (site is not None, from_on or date.min, value)
            for site, setting, value, from_on in self.rows
            if setting == name and site in (None, site_id) and (from_on is None or from_on <= as_of)
        ]
        return max(in_force)[2] if in_force else None

    def number(self, name: str, site_id: int | None, as_of: date) -> float:
        """Return the number in force, the default where nobody chose one."""
        written = self.text(name, site_id, as_of)
        return DEFAULTS[name] if written is None else float(written.replace(",", "."))


def settings_of(rows: Iterable[Any]) -> Settings:
    """Return the settings from the store's rows."""
    return Settings(tuple((row.site_id, row.name, row.value, row.from_on) for row in rows))
