"""The Fleet page's selection, every page of it, and how its forecasts held, value by value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from dashboard.address import Address
from dashboard.sources import Sources
from dashboard.tables.table import DEVIATION, EXPANDED, OFFSET, Maker, about, filters_said, length
from fleet.reports.table_file import Column, Table
from fleet.services.fleet_page import FleetRow, FleetView

_CHANCE: Final = "chance of the deviation having passed the limit"
_COLUMNS: Final[tuple[tuple[Column, str], ...]] = (
    (Column("line"), "line"),
    (Column("site"), "site"),
    (Column("description"), "description"),
    (Column("screw_diameter", "mm", "number", fixed=True), "screw_diameter_mm"),
    (Column("foundation"), "foundation"),
    (Column("right_hand_side", says="the plant's word for right"), "right_hand_side"),
    (Column("status"), "status"),
    (Column("why"), "why"),
    (Column("station", says="the worst place of the line"), "station"),
    (Column("axis", says="v vertical, h horizontal"), "axis"),
    (length("deviation", f"expected today: {DEVIATION}"), "deviation_um"),
    (length("u95_deviation", EXPANDED), "u95_deviation_um"),
    (length("measured_deviation", f"at the newest cold survey: {DEVIATION}"), "measured_deviation_um"),
    (Column("measured_on", kind="day"), "measured_on"),
    (length("watch", "half-width of the watch band"), "watch_um"),
    (length("limit", "half-width of the limit; over means strictly greater"), "limit_um"),
    (Column("next_outage"), "next_outage"),
    (Column("chance_before_next_outage", "1", "number", _CHANCE), "chance_next"),
    (Column("following_outage"), "following_outage"),
    (Column("chance_before_following_outage", "1", "number", _CHANCE), "chance_following"),
    (Column("over_10_percent_by", kind="day", says="day by which that chance reaches 10 %"), "over_p10"),
    (Column("over_50_percent_by", kind="day", says="day by which that chance reaches 50 %"), "over_p50"),
    (Column("over_90_percent_by", kind="day", says="day by which that chance reaches 90 %"), "over_p90"),
)


def selected_lines(sources: Sources, address: Address) -> Table:
    """Return every line the filters leave, most urgent first, whichever page of them is shown."""
    view = sources.fleet(replace(address.filters, page=1))
    rows = tuple((*(getattr(row, field) for _, field in _COLUMNS), view.as_of) for row in _rows(sources, address, view))
    return Table(
        title=f"Fleet {address.filters.site}" if address.filters.site else "Fleet",
        columns=(*(column for column, _ in _COLUMNS), Column("as_of", kind="day")),
        rows=rows,
        about=about(
            address,
            view.as_of,
            ("lines", filters_said(address)),
            ("state of", view.refreshed_at.isoformat(timespec="seconds")),
            ("no date", f"not before {view.horizon.isoformat()}"),
        ),
        dates=(view.as_of,),
    )


def _rows(sources: Sources, address: Address, first: FleetView) -> Iterator[FleetRow]:
    yield from first.rows
    for page in range(2, first.pages + 1):
        yield from sources.fleet(replace(address.filters, page=page)).rows


def held_values(sources: Sources, address: Address) -> Table:
    """Return every as-found beside what was expected of it the day before."""
    site = address.filters.site
    found = sources.backtest(site).rows
    offset = "quantile of what the survey was expected to show"
    columns: tuple[tuple[Column, str], ...] = (
        (Column("line"), "line"),
        (Column("station"), "station"),
        (Column("axis", says="v vertical, h horizontal"), "axis"),
        (Column("session"), "session"),
        (Column("date", kind="day"), "date"),
        (Column("days_ahead", "", "number", "from the visit the line was left at"), "days_ahead"),
        (length("expected", OFFSET), "expected_um"),
        *((length(name, offset), name) for name in ("q025", "q10", "q25", "q75", "q90", "q975")),
        (length("measured", OFFSET), "measured_um"),
        (Column("place", "1", "number", "chance the forecast gave to the measured value or one below"), "place"),
        *((Column(f"inside_{share}", kind="yes or no"), f"inside_{share}") for share in (50, 80, 95)),
    )
    days = [row.date for row in found]
    today = sources.fleet(replace(address.filters, page=1)).as_of
    return Table(
        title=f"Forecasts that came due {site}" if site else "Forecasts that came due",
        columns=tuple(column for column, _ in columns),
        rows=tuple(tuple(_value(row, field) for _, field in columns) for row in found),
        about=about(address, today, ("lines", f"site {site}" if site else "every line")),
        dates=(min(days), max(days)) if days else (),
    )


def _value(row: Any, field: str) -> Any:
    return getattr(row, field)


TABLES: Final[dict[str, Maker]] = {"fleet": selected_lines, "forecasts-held": held_values}
