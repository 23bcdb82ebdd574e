"""The cold offsets: every way of choosing at every station, one line's running checks, and its rise."""

from __future__ import annotations

from typing import Any, Final

from dashboard.address import Address
from dashboard.sources import Sources
from dashboard.tables.table import EXPANDED, MOVED, OFFSET, Maker, about, distance, length
from fleet.errors import NotFoundError
from fleet.reports.table_file import Column, Table
from fleet.services.cold_offsets_page import ColdOffsetsView

_SHARE: Final = "share of the runs that would have run within it"
_WAYS: Final[tuple[tuple[Column, str], ...]] = (
    (Column("line"), "line"),
    (Column("site"), "site"),
    (Column("station"), "station"),
    (Column("axis", says="v vertical, h horizontal"), "axis"),
    (Column("way"), "way"),
    (Column("recommended", kind="yes or no"), "recommended"),
    (length("cold_target", OFFSET), "cold_target_um"),
    (length("u95_cold_target", EXPANDED), "u95_cold_target_um"),
    (Column("runs", kind="number", says="how many runs it is judged by"), "runs"),
    (length("bias", "mean of where the line would have run: + high / right of the gearbox axis"), "bias_um"),
    (length("u95_bias", EXPANDED), "u95_bias_um"),
    (length("rms", "root of the mean square of where it would have run"), "rms_um"),
    (length("u95_rms", EXPANDED), "u95_rms_um"),
    (Column("share_within_watch", "1", "number", _SHARE), "share_within_watch"),
    (Column("share_within_limit", "1", "number", _SHARE), "share_within_limit"),
    (length("expected_running", OFFSET), "expected_running_um"),
    (length("expected_running_low", "lower end of the 95 % range"), "expected_running_low_um"),
    (length("expected_running_high", "upper end of the 95 % range"), "expected_running_high_um"),
    (Column("as_of", kind="day"), "as_of"),
)


def ways(sources: Sources, address: Address) -> Table:
    """Return every way of choosing at every station, of the address's line, else of its site or the fleet."""
    site = None if address.code else address.filters.site
    found = sources.comparison(address.code, site)
    day = found[0].as_of if found else sources.fleet(address.filters).as_of
    which = address.code or site
    return Table(
        title=f"Cold offsets {which}" if which else "Cold offsets",
        columns=tuple(column for column, _ in _WAYS),
        rows=tuple(tuple(_value(row, field) for _, field in _WAYS) for row in found),
        about=about(address, day, ("lines", which or "every line")),
        dates=(day,),
    )


def _value(row: Any, field: str) -> Any:
    return getattr(row, field)


def _view(sources: Sources, address: Address) -> ColdOffsetsView:
    if address.code is None:
        raise NotFoundError("this address names no line; open a line's cold offsets and take the table there")
    return sources.cold_offsets(address.code, address.station, address.axis)


def checks(sources: Sources, address: Address) -> Table:
    """Return the measured rises of the shown station and axis, and where the line ran."""
    view = _view(sources, address)
    columns = (
        Column("checked_at", kind="moment"),
        Column("label"),
        length("rise", MOVED),
        length("u95_rise", EXPANDED),
        length("ran", OFFSET),
        Column("barrel", "C", "number"),
    )
    days = [row.checked_at.date() for row in view.checks]
    return Table(
        title=f"Running checks {view.line} {view.station} {view.axis}",
        columns=columns,
        rows=tuple(
            (row.checked_at, row.label, row.rise_um, row.u95_rise_um, row.ran_um, row.barrel_c) for row in view.checks
        ),
        about=about(address, view.as_of, ("line", view.line), ("station", view.station), ("axis", view.axis)),
        dates=(min(days), max(days)) if days else (view.as_of,),
    )


def rise(sources: Sources, address: Address) -> Table:
    """Return the rise figure's numbers: the heat model at every support, the measured rises at every station."""
    view = _view(sources, address)
    rows: list[tuple[Any, ...]] = [
        (part.distance_mm, "heat model", part.support, None, part.total_um, part.u95_total_um, part.barrel_um,
         part.base_um, part.gearbox_um)
        for part in view.parts
    ]  # fmt: skip
    for place in sources.rises(view.line):
        rows += [
            (place.distance_mm, "measured", place.station, day, um, None, None, None, None) for day, um in place.runs
        ]
        mean = (place.mean_um, place.u95_mean_um)
        rows.append((place.distance_mm, "mean of the measured", place.station, None, *mean, None, None, None))
    columns = (
        distance(),
        Column("kind"),
        Column("place", says="support or station"),
        Column("checked_on", kind="day"),
        length("rise", "from cold to running, + higher"),
        length("u95_rise", EXPANDED),
        length("barrel_over_support", "part of the heat model, + higher"),
        length("base_below_support", "part of the heat model, + higher"),
        length("gearbox_axis", "part of the heat model, + higher"),
    )
    return Table(
        title=f"Rise {view.line}",
        columns=columns,
        rows=tuple(rows),
        about=about(address, view.as_of, ("line", view.line), ("axis", "v")),
        dates=(view.as_of,),
    )


TABLES: Final[dict[str, Maker]] = {"cold-offsets": ways, "running-checks": checks, "rise": rise}
