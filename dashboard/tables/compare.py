"""Compare's tables: the whole ranking, every group of every kind, the changes before and after."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dashboard.address import Address
from dashboard.pages.compare_address import AT_WORDS, read
from dashboard.sources import Sources
from dashboard.tables.table import EXPANDED, Maker, about
from fleet.errors import NotFoundError
from fleet.reports.table_file import Column, Table
from fleet.services.compare import CompareFilters, MatrixRow
from fleet.values import AXES

_RATE: Final = "drift, + higher / to the right; a year of usual running hours where a meter is kept"


def _rate(name: str, says: str) -> Column:
    return Column(name, "um/year", "number", says)


_LINE_COLUMNS: Final[tuple[tuple[Column, str], ...]] = (
    (Column("rank", kind="number"), "place"),
    (Column("line"), "line"),
    (Column("bore", kind="number"), "bore"),
    (Column("site"), "site"),
    (Column("foundation"), "foundation"),
    (Column("gearbox_frame"), "frame"),
    (Column("saddle"), "saddle"),
    (Column("screw_diameter", "mm", "number", fixed=True), "screw_diameter_mm"),
    (Column("right_hand_side", says="the plant's word for right"), "right_hand_side"),
    (Column("station"), "station"),
    (Column("distance", "mm", "number", "from the gearbox's mounting face toward the discharge end"), "distance_mm"),
    (Column("intervals", kind="number", says="behind the rate"), "intervals"),
    (Column("visits", kind="number", says="in the whole record"), "visits"),
    (_rate("drift", f"best estimate: {_RATE}"), "rate"),
    (_rate("u95_drift", EXPANDED), "u95_rate"),
    (_rate("own_drift", "by the line's own intervals there alone"), "own"),
    (_rate("u95_own_drift", EXPANDED), "u95_own"),
    (Column("borrowed", "1", "number", "share of the estimate from elsewhere"), "borrowed"),
    (_rate("fleet_drift", "the fleet's mean at the same distance"), "fleet"),
    (_rate("from_fleet", "drift minus that mean"), "from_fleet"),
    (_rate("u95_from_fleet", EXPANDED), "u95_from_fleet"),
    (Column("chance_of_that_side", "1", "number", "chance that the line lies on that side of the mean"), "sure"),
    (Column("told_apart", kind="yes or no", says="allowing for how many lines are looked at"), "told_apart"),
    (Column("drift_per_1000_h", "um/1000 h", "number", "where a meter is kept"), "rate_um_per_1000_h"),
)
_GROUP_COLUMNS: Final = (
    Column("kind"),
    Column("group"),
    Column("axis", says="v vertical, h horizontal"),
    Column("lines", kind="number"),
    Column("intervals", kind="number"),
    Column("visits", kind="number"),
    _rate("mean_drift", _RATE),
    _rate("u95_mean_drift", EXPANDED),
    _rate("against_the_rest", "the mean minus the mean over the lines of all other groups of the kind"),
    _rate("u95_against_the_rest", EXPANDED),
    Column("chance_if_none", "1", "number", "of such a difference or a larger one if there were none"),
    Column("told_apart", kind="yes or no", says="allowing for all groups of all kinds on both axes"),
)
_EVENT_COLUMNS: Final[tuple[tuple[Column, str], ...]] = (
    (Column("line"), "line"),
    (Column("bore", kind="number"), "bore"),
    (Column("station"), "station"),
    (Column("happened_on", kind="day"), "on"),
    (Column("note"), "note"),
    (_rate("drift_before", _RATE), "before"),
    (_rate("u95_drift_before", EXPANDED), "u95_before"),
    (_rate("drift_after", _RATE), "after"),
    (_rate("u95_drift_after", EXPANDED), "u95_after"),
    (_rate("change", "after minus before"), "change"),
    (_rate("u95_change", EXPANDED), "u95_change"),
    (Column("intervals_before", kind="number"), "intervals_before"),
    (Column("intervals_after", kind="number"), "intervals_after"),
    (Column("chance_of_that_sign", "1", "number", "chance that the change has its sign"), "sure"),
    (
        Column("told_apart", kind="yes or no", says="allowing for how many lines of the kind are looked at"),
        "told_apart",
    ),
)


def ranked_lines(sources: Sources, address: Address) -> Table:
    """Return every ranked line in view, whichever page of them is shown."""
    filters = _asked(address)
    view = sources.compare(replace(filters, page=None))
    return Table(
        title=f"Compare {_place(filters)}",
        columns=tuple(column for column, _ in _LINE_COLUMNS),
        rows=tuple(tuple(getattr(row, field) for _, field in _LINE_COLUMNS) for row in view.ranked),
        about=about(address, view.as_of, ("lines", said(filters)), ("drift", _place(filters))),
        dates=(view.as_of,),
    )


def groups(sources: Sources, address: Address) -> Table:
    """Return every group of every kind on both axes."""
    filters = _asked(address)
    view = sources.compare(filters)
    return Table(
        title=f"Compare groups {AT_WORDS[filters.at]}",
        columns=_GROUP_COLUMNS,
        rows=tuple(row for each in view.matrix for row in _group_rows(each)),
        about=about(address, view.as_of, ("lines", said(filters)), ("at", f"the {AT_WORDS[filters.at]}")),
        dates=(view.as_of,),
    )


def _group_rows(row: MatrixRow) -> list[tuple[Any, ...]]:
    rows = []
    for axis, cell in zip(AXES, row.cells, strict=True):
        if cell is not None:
            kind = "place on the line" if row.by is None else row.by
            rows.append(
                (
                    kind, row.name, axis, cell.lines, cell.intervals, cell.visits, cell.mean, cell.u95_mean,
                    cell.from_rest, cell.u95_from_rest, cell.p, cell.told_apart,
                )
            )  # fmt: skip
    return rows


def changes(sources: Sources, address: Address) -> Table:
    """Return every change before and after of the kind of event that is shown."""
    filters = _asked(address)
    view = sources.compare(filters)
    return Table(
        title=f"Compare before and after {_place(filters)}",
        columns=(Column("kind"), *(column for column, _ in _EVENT_COLUMNS)),
        rows=tuple(
            (view.events.chosen, *(getattr(change, field) for _, field in _EVENT_COLUMNS))
            for change in view.events.changes
        ),
        about=about(address, view.as_of, ("lines", said(filters)), ("drift", _place(filters))),
        dates=(view.as_of,),
    )


def _asked(address: Address) -> CompareFilters:
    if address.page != "compare":
        raise NotFoundError("this table belongs to the page Compare; take it from there")
    return read(address)[0]


def _place(filters: CompareFilters) -> str:
    return f"{'vertical' if filters.axis == 'v' else 'horizontal'} at the {AT_WORDS[filters.at]}"


def said(filters: CompareFilters) -> str:
    """Return which lines are compared, in words."""
    parts = [
        f"site {filters.site}" if filters.site else "",
        f"foundation {filters.foundation}" if filters.foundation else "",
        f"screw {filters.screw_diameter_mm:g} mm" if filters.screw_diameter_mm else "",
    ]
    return ", ".join(part for part in parts if part) or "every line"


TABLES: Final[dict[str, Maker]] = {
    "compare-lines": ranked_lines,
    "compare-groups": groups,
    "compare-events": changes,
}
