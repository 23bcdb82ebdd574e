"""What every table taken along says of itself, and the columns many of them share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from typing import Final

from dashboard.address import Address, href
from dashboard.sources import Sources
from fleet import words
from fleet.reports.table_file import Column, Table

Maker = Callable[[Sources, Address], Table]
"""Makes the table of a view; raises FleetError where there is none."""

OFFSET: Final = "+ high / right of the gearbox axis, looking from the gearbox toward the discharge end"
DEVIATION: Final = "cold offset minus cold target, + above / right of target"
MOVED: Final = "+ higher / to the right"
EXPANDED: Final = "expanded uncertainty (95 %)"


def about(address: Address, as_of: date, *more: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """Return what stands beside the rows of every file: the view, its day, the version, and what is told of it."""
    unit = "lengths in micrometres, as stored" if address.unit == "mm" else "lengths in thou (0.001 in, 25.4 um)"
    return (
        ("as of", as_of.isoformat()),
        ("view", href(address)),
        *more,
        ("units", f"{unit}; the unit stands in each header"),
        ("empty cell", "not known"),
        ("version", f"Asleft {_version()}"),
    )


def _version() -> str:
    try:
        return version("asleft")
    except PackageNotFoundError:
        return "run from its source"


def length(name: str, says: str = "") -> Column:
    """Return a column of lengths in micrometres."""
    return Column(name, "um", "number", says)


def distance() -> Column:
    """Return the column of distances along the barrel."""
    return Column("distance", "mm", "number", "from the gearbox's mounting face toward the discharge end")


def filters_said(address: Address) -> str:
    """Return which lines an address asks for, in words."""
    chosen = address.filters
    parts = [
        f"site {chosen.site}" if chosen.site else "",
        f"status {chosen.status}" if chosen.status else "",
        f"foundation {chosen.foundation}" if chosen.foundation else "",
        f"screw {chosen.screw_diameter_mm:g} mm" if chosen.screw_diameter_mm else "",
    ]
    return ", ".join(part for part in parts if part).replace(words.NBSP, " ") or "every line"
