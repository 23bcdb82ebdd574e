"""What the address of Compare says, read and written: which lines, where on them, what is looked at."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from dashboard.address import Address, href, page_number, screw_size
from fleet.services.compare import COHORTS, PLACES, CohortBy, CompareFilters, Place
from fleet.values import AXES, Axis

BY_WORDS: Final[dict[CohortBy, str]] = {
    "foundation": "foundation",
    "frame": "gearbox frame",
    "saddle": "saddle of the supports",
    "size": "screw size",
    "site": "site",
}
AT_WORDS: Final[dict[Place, str]] = {"discharge": "discharge end", "gearbox": "gearbox end"}
_AXIS_WORDS: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}


def read(address: Address) -> tuple[CompareFilters, tuple[str, ...]]:
    """Return what an address asks of Compare, and a sentence for everything that could not be read."""
    notes: list[str] = []
    axis: Axis = "v"
    if (said := address.said("axis")) is not None:
        known = next((each for each in AXES if said in (each, _AXIS_WORDS[each])), None)
        if known is None:
            notes.append(f"‘{said}’ is not an axis; write v or h. The vertical is shown.")
        axis = known or "v"
    at: Place = "discharge"
    if (said := address.said("at")) is not None:
        place = next((each for each in PLACES if each == said), None)
        if place is None:
            notes.append(f"‘{said}’ is not a place on a line; write discharge or gearbox. The discharge end is shown.")
        at = place or "discharge"
    by: CohortBy = "foundation"
    if (said := address.said("by")) is not None:
        kind = next((each for each in COHORTS if each == said), None)
        if kind is None:
            notes.append(f"‘{said}’ is not what lines are grouped by here; grouped by foundation.")
        by = kind or "foundation"
    screw = screw_size(address.said("screw"), notes)
    page = page_number(address.said("page"), notes)
    filters = CompareFilters(
        site=address.said("site"),
        foundation=address.said("foundation"),
        screw_diameter_mm=screw,
        axis=axis,
        at=at,
        by=by,
        event=address.said("event"),
        page=page,
    )
    return filters, tuple(notes)


def write(address: Address, filters: CompareFilters) -> str:
    """Return the address of Compare with these filters, defaults left out; the reader's unit stays."""
    size = filters.screw_diameter_mm
    return href(
        replace(address, page="compare", code=None).saying(
            site=filters.site,
            foundation=filters.foundation,
            screw=None if size is None else f"{size:g}",
            by=None if filters.by == "foundation" else filters.by,
            event=filters.event,
            axis=None if filters.axis == "v" else filters.axis,
            at=None if filters.at == "discharge" else filters.at,
            page=None if filters.page in (None, 1) else str(filters.page),
        )
    )
