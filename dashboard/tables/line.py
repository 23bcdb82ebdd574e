"""One line: its history, its profile, its stations, what it drifted and its sessions."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any, Final

from dashboard.address import Address
from dashboard.sources import Sources
from dashboard.tables.table import DEVIATION, EXPANDED, MOVED, OFFSET, Maker, about, distance, length
from fleet.errors import NotFoundError
from fleet.reports.table_file import Column, Table
from fleet.services.limits import Band, band_on
from fleet.services.line_history import History
from fleet.services.line_page import LineView
from fleet.values import AXES


def _view(sources: Sources, address: Address) -> LineView:
    if address.code is None:
        raise NotFoundError("this address names no line; open a line and take its table there")
    return sources.line(address.code, address.station, address.axis, address.a, address.b)


def _about(view: LineView, address: Address, *more: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    side = (("right is", view.right_hand_side),) if view.right_hand_side else ()
    cold = ("cold reference", f"{view.cold_reference_c:g} C")
    return about(address, view.as_of, ("line", view.line), ("zone", view.zone), cold, *side, *more)


def _history_of(view: LineView) -> History:
    if view.history is None:
        raise NotFoundError(f"line {view.line} has no measured station to show a history of")
    return view.history


def _band(verdict: str | None, band: Band | None) -> tuple[str | None, float | None, float | None]:
    """Return a verdict and the half-widths it goes by."""
    return verdict, band.watch_um if band else None, band.limit_um if band else None


def history(sources: Sources, address: Address) -> Table:
    """Return the history figure's numbers: visits, forecast, events and changed targets of one station and axis."""
    view = _view(sources, address)
    shown = _history_of(view)
    rows: list[tuple[datetime, tuple[Any, ...]]] = []
    for point in shown.points:
        measured = (point.at, None, "measured", point.session, point.phase, point.deviation_um, point.u95_um)
        judged = _band(point.verdict, band_on(shown.bands, point.at.date()))
        rows.append((point.at, (*measured, point.target_um, point.joins, *(None,) * 5, *judged)))
    for event in shown.events:
        said = event.kind + (f": {event.note}" if event.note else "")
        rows.append((event.at, (event.at, None, "event", *(None,) * 10, said, None, None, None)))
    for change in shown.target_changes:
        changed = (change.at, None, "target changed", None, None, None, None, change.after_um)
        rows.append((change.at, (*changed, *(None,) * 9)))
    for holds in shown.bands:
        if holds.from_on is not None and shown.points:
            begun = datetime.combine(holds.from_on, time(), shown.points[0].at.tzinfo)
            rows.append((begun, (begun, None, "limit changed", *(None,) * 11, *_band(None, holds))))
    rows.sort(key=lambda entry: entry[0])
    ahead = [
        (
            None, point.on, "forecast", None, None, point.mean_um, None, None, None,
            point.q10_um, point.q25_um, point.q75_um, point.q90_um, None, None, None, None,
        )
        for point in shown.fan
    ]  # fmt: skip
    columns = (
        Column("at", kind="moment"),
        Column("on", kind="day", says="day a forecast is for"),
        Column("kind"),
        Column("session"),
        Column("phase"),
        length("deviation", f"measured, or the mean of the forecast: {DEVIATION}"),
        length("u95_deviation", EXPANDED),
        length("target", f"cold target of that day: {OFFSET}"),
        Column("joins", says="what lies between this visit and the one before"),
        *(length(f"q{share}", "quantile of the forecast deviation") for share in (10, 25, 75, 90)),
        Column("event"),
        Column("verdict", says="by the limit of that day; over means more than the limit"),
        length("watch_then", "half-width of the watch band of that day"),
        length("limit_then", "half-width of the limit of that day"),
    )
    band = tuple(
        (name, f"{um:g} um") for name, um in (("watch", shown.watch_um), ("limit", shown.limit_um)) if um is not None
    )
    days = [moment.date() for moment, _ in rows] + [point.on for point in shown.fan]
    return Table(
        title=f"History {view.line} {shown.station} {shown.axis}",
        columns=columns,
        rows=(*(row for _, row in rows), *ahead),
        about=_about(view, address, ("station", shown.station), ("axis", shown.axis), *band),
        dates=(min(days), max(days)) if days else (view.as_of,),
    )


def profile(sources: Sources, address: Address) -> Table:
    """Return the profile figure's numbers: every station in both surveys and as expected today, both axes."""
    view = _view(sources, address)
    surveys = {survey.key: survey for survey in view.surveys}
    rows: list[tuple[Any, ...]] = []
    for station in view.stations:
        for at, axis in enumerate(AXES):
            place = (station.station, station.distance_mm, station.support, axis)
            band = (station.target_um[at], station.watch_um[at], station.limit_um[at])
            for key in dict.fromkeys(view.compared):
                survey = surveys.get(key or "")
                for point in survey.points if survey else ():
                    if survey is not None and point.station == station.station:
                        value = (point.v_um, point.u95_v_um) if at == 0 else (point.h_um, point.u95_h_um)
                        rows.append((*place, survey.key, survey.phase, survey.on, *value, None, *band, None))
            expected = (station.position_um[at], station.u95_position_um[at], station.deviation_um[at])
            rows.append((*place, None, "expected", None, *expected, *band, station.status[at]))
    columns = (
        Column("station"),
        distance(),
        Column("support"),
        Column("axis", says="v vertical, h horizontal"),
        Column("survey"),
        Column("seen", says="phase of the survey, or what is expected today"),
        Column("measured_at", kind="moment"),
        length("offset", f"cold: {OFFSET}"),
        length("u95_offset", EXPANDED),
        length("deviation", f"expected today: {DEVIATION}"),
        length("target", f"cold target today: {OFFSET}"),
        length("watch", "half-width of the watch band"),
        length("limit", "half-width of the limit"),
        Column("status"),
    )
    return Table(
        title=f"Profile {view.line}",
        columns=columns,
        rows=tuple(rows),
        about=_about(view, address),
        dates=(view.as_of,),
    )


def drift(sources: Sources, address: Address) -> Table:
    """Return what one station and axis moved between visits while nobody touched the line."""
    view = _view(sources, address)
    shown = _history_of(view)
    columns = (
        Column("from_at", kind="moment"),
        Column("to_at", kind="moment"),
        Column("running_hours", "h", "number"),
        length("moved", MOVED),
        length("u95_moved", EXPANDED),
        Column("rate", "um/1000 h", "number", f"per running hours: {MOVED}"),
        Column("rate", "um/year", "number", f"per year where the line has no meter: {MOVED}"),
        Column("beyond_measurement", kind="yes or no"),
        Column("unusual", kind="yes or no"),
    )
    rows = tuple(
        (
            row.from_at, row.to_at, row.running_hours, row.moved_um, row.u95_um,
            row.rate if row.rate_unit == "um_per_1000_h" else None,
            row.rate if row.rate_unit == "um_per_year" else None,
            row.beyond_measurement, row.unusual,
        )
        for row in view.drift
    )  # fmt: skip
    days = [moment.date() for row in view.drift for moment in (row.from_at, row.to_at)]
    return Table(
        title=f"Drift {view.line} {shown.station} {shown.axis}",
        columns=columns,
        rows=rows,
        about=_about(view, address, ("station", shown.station), ("axis", shown.axis)),
        dates=(min(days), max(days)) if days else (view.as_of,),
    )


def sessions(sources: Sources, address: Address) -> Table:
    """Return the line's sessions, newest first."""
    view = _view(sources, address)
    columns = (
        Column("session"),
        Column("at", kind="moment"),
        Column("phases"),
        Column("moved", kind="yes or no", says="whether a support was moved"),
        Column("technician"),
        Column("instrument"),
        Column("scheme"),
        Column("barrel", "C", "number"),
        Column("signed_at", kind="moment"),
        Column("signed_by"),
        Column("corrects"),
        Column("corrected_by"),
        Column("correction_reason"),
        Column("remarks"),
    )
    newest = sorted(view.sessions, key=lambda row: row.at, reverse=True)
    rows = tuple(
        (
            row.session, row.at, ", ".join(row.phases), row.moved, row.technician, row.instrument, row.scheme,
            row.barrel_c, row.signed_at, row.signed_by, row.corrects, row.corrected_by, row.correction_reason,
            row.remarks,
        )
        for row in newest
    )  # fmt: skip
    days = [row.at.date() for row in newest]
    return Table(
        title=f"Sessions {view.line}",
        columns=columns,
        rows=rows,
        about=_about(view, address),
        dates=(min(days), max(days)) if days else (view.as_of,),
    )


def limits(sources: Sources, address: Address) -> Table:
    """Return every limit a line has had."""
    view = _view(sources, address)
    columns = (
        Column("station", says="empty: the whole line"),
        Column("axis", says="v vertical, h horizontal"),
        Column("from_on", kind="day", says="empty: always"),
        length("watch", "half-width"),
        length("limit", "half-width; over means more than it"),
        length("set_within"),
        Column("basis"),
        Column("standing"),
    )
    rows = tuple(
        (row.station, row.axis, row.from_on, row.watch_um, row.limit_um, row.set_within_um, row.basis, row.standing)
        for row in (view.limits.rows if view.limits else ())
    )
    return Table(
        title=f"Limits {view.line}",
        columns=columns,
        rows=rows,
        about=_about(view, address),
        dates=(view.as_of,),
    )


def gauge(sources: Sources, address: Address) -> Table:
    """Return how the instruments and people who measured a line repeat."""
    view = _view(sources, address)
    columns = (
        Column("who"),
        Column("kind"),
        Column("surveys", kind="number"),
        Column("dof", kind="number", says="degrees of freedom"),
        length("repeats_to", "one standard deviation of a reading"),
        length("repeats_low", "95 % range"),
        length("repeats_high", "95 % range"),
        length("stated"),
        Column("unlike_stated", kind="yes or no"),
        Column("drifting", kind="yes or no"),
        length("closes_within", "root mean square"),
        Column("closures", kind="number"),
        Column("zero_rate", "um/year", "number"),
        Column("u95_zero_rate", "um/year", "number", EXPANDED),
        Column("calibrated_on", kind="day"),
        Column("due_on", kind="day"),
        Column("calibration"),
    )
    rows = tuple(
        (
            row.who, row.kind, row.surveys, row.dof, row.repeatability_um, row.low_um, row.high_um, row.stated_um,
            row.unlike_stated, row.drifting, row.closure_rms_um, row.closures, row.zero_um_per_year,
            row.u95_zero_um_per_year, row.calibrated_on, row.due_on, row.calibration,
        )
        for row in view.gauge
    )  # fmt: skip
    return Table(
        title=f"Who measured {view.line}",
        columns=columns,
        rows=rows,
        about=_about(view, address),
        dates=(view.as_of,),
    )


TABLES: Final[dict[str, Maker]] = {
    "line-gauge": gauge,
    "line-history": history,
    "line-limits": limits,
    "line-profile": profile,
    "line-drift": drift,
    "line-sessions": sessions,
}
