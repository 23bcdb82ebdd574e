"""Line: what has this line done, where is it now, where is it going?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

import numpy as np

from fleet.services.drift import intervals_of
from fleet.services.fleet_page import OutageMark
from fleet.services.forecasting import Foreseen, foresee, rows_of, why_no_record, worst
from fleet.services.offsets import NORMAL_95, expanded
from fleet.services.plant import LineInfo
from fleet.services.refresh import bring_up_to_date
from fleet.services.rows import ForecastRow
from fleet.services.series import FleetSeries, load_series
from fleet.services.site_time import start_of_day
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import AXES, DAYS_PER_YEAR, Axis, Status

Phase = Literal["as_found", "interim", "as_left", "hot"]
Joins = Literal["drift", "realigned", "across", "gap"] | None
_PHASES: Final[tuple[Phase, ...]] = ("as_found", "interim", "as_left")
FAN_MONTHS: Final = 24


@dataclass(frozen=True, slots=True)
class SurveyPoint:
    """One station's cold offset in one survey [um], brought to the line's cold reference; u95 expanded (95 %)."""

    station: str
    distance_mm: float
    v_um: float
    h_um: float
    u95_v_um: float
    u95_h_um: float


@dataclass(frozen=True, slots=True)
class SurveyView:
    """One survey of the line; `key` is `SESSION/NUMBER`, stable in addresses."""

    key: str
    session: str
    number: int
    phase: Phase
    on: datetime
    points: tuple[SurveyPoint, ...]


@dataclass(frozen=True, slots=True)
class StationNow:
    """One station today: expected position, target and tolerance of both axes [um], index 0 v, 1 h; None unknown."""

    station: str
    distance_mm: float
    support: str | None
    position_um: tuple[float | None, float | None]
    u95_position_um: tuple[float | None, float | None]
    target_um: tuple[float | None, float | None]
    deviation_um: tuple[float | None, float | None]
    watch_um: tuple[float | None, float | None]
    limit_um: tuple[float | None, float | None]
    status: tuple[Status, Status]


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One measured deviation from the target of its day [um], in time order.

    `joins` tells what leads here from the point before: `drift` (nobody touched it), `realigned` (a move by a
    person), `across` (an event that resets the trend lies between), `gap` (not known to belong together) or None.
    """

    at: datetime
    session: str
    phase: Phase
    deviation_um: float
    u95_um: float
    target_um: float
    joins: Joins


@dataclass(frozen=True, slots=True)
class FanPoint:
    """The deviation expected on one day if nobody touches the line [um]: mean, 80 % and 50 % range."""

    on: date
    mean_um: float
    q10_um: float
    q25_um: float
    q75_um: float
    q90_um: float


@dataclass(frozen=True, slots=True)
class EventMark:
    """Something that may change how the line moves."""

    at: datetime
    kind: str
    note: str | None
    resets_trend: bool


@dataclass(frozen=True, slots=True)
class TargetChange:
    """The cold target of the shown station and axis changed at a visit [um]."""

    at: datetime
    before_um: float
    after_um: float


@dataclass(frozen=True, slots=True)
class History:
    """The shown station and axis over time, with its forecast and the chance dates."""

    station: str
    axis: Axis
    points: tuple[HistoryPoint, ...]
    fan: tuple[FanPoint, ...]
    events: tuple[EventMark, ...]
    target_changes: tuple[TargetChange, ...]
    watch_um: float | None
    limit_um: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    rate_um_per_year: float | None
    u95_rate_um_per_year: float | None
    rate_um_per_1000_h: float | None
    intervals: int
    borrowed_weight: float | None
    borrowed_lines: int | None


@dataclass(frozen=True, slots=True)
class DriftRow:
    """One interval of the shown station and axis: nobody touched the line between these visits, so it drifted.

    `rate` is um per 1 000 running hours where the line has a meter, else um per year (`rate_unit`).
    """

    from_at: datetime
    to_at: datetime
    running_hours: float | None
    moved_um: float
    u95_um: float
    rate: float | None
    rate_unit: Literal["um_per_1000_h", "um_per_year"]
    beyond_measurement: bool
    unusual: bool


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One visit in the list: what was done, by whom, with what."""

    session: str
    at: datetime
    phases: tuple[Phase, ...]
    moved: bool
    technician: str | None
    instrument: str | None
    scheme: str
    barrel_c: float | None
    signed_at: datetime | None
    signed_by: str | None
    corrects: str | None
    corrected_by: str | None
    correction_reason: str | None
    remarks: str | None


@dataclass(frozen=True, slots=True)
class SupportView:
    """A support of the machine picture."""

    code: str
    distance_mm: float


@dataclass(frozen=True, slots=True)
class LineView:
    """Everything the Line page shows; times in the line's site zone, lengths in um, distances in mm."""

    line: str
    site: str | None
    site_name: str | None
    description: str | None
    screw_diameter_mm: float | None
    barrel_outside_diameter_mm: float | None
    barrel_length_mm: float | None
    feed_section_mm: float | None
    foundation: str | None
    cold_reference_c: float
    right_hand_side: str | None
    commissioned_on: date | None
    status: Status
    why: str | None
    worst_station: str | None
    worst_axis: Axis | None
    supports: tuple[SupportView, ...]
    stations: tuple[StationNow, ...]
    surveys: tuple[SurveyView, ...]
    history: History | None
    drift: tuple[DriftRow, ...]
    sessions: tuple[SessionRow, ...]
    outages: tuple[OutageMark, ...]
    remarks: tuple[str, ...]
    as_of: date
    horizon: date
    zone: str


def line_view(
    store: Store,
    line: str,
    *,
    station: str | None = None,
    axis: Axis | None = None,
    now: datetime | None = None,
) -> LineView:
    """Return everything the Line page shows.

    Parameters
    ----------
    store : the record
    line : its code
    station, axis : which history to show; None, or a station the line does not have: the worst
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    bring_up_to_date(store, now=now)
    with store.read() as record:
        fleet = load_series(record, now=now)
        info = fleet.plant.line(line)
        visits = queries.visits_of_line(record, info.id)
        surveys = queries.surveys_of_line(record, info.id)
        reduced = queries.reduced_surveys(record, line)
        events = [row for row in queries.events(record) if row.line_id == info.id]
        targets = [row for row in queries.cold_targets(record) if row.line_id == info.id]
        moved_sessions = {row.session_id for row in queries.moves(record) if row.v_um or row.h_um}
    index = fleet.line_index[info.id]
    day = fleet.as_of[index]
    horizon_years = fleet.settings.number("horizon_years", info.site_id, day)
    visited = [s.started_at.astimezone(info.zone) for s in fleet.sessions if s.line == index]
    foreseen = foresee(fleet, fleet.rows_of(info.id), _fan_days(day, visited[-1] if visited else None))
    rows = rows_of(foreseen)
    judged = worst(rows)
    chosen = _chosen(rows, station, axis) or judged
    barrel = fleet.plant.standing(info.id, "barrel", day)
    return LineView(
        line=info.code,
        site=info.site,
        site_name=info.site_name,
        description=info.description,
        screw_diameter_mm=info.screw_diameter_mm,
        barrel_outside_diameter_mm=barrel.outside_diameter_mm if barrel else None,
        barrel_length_mm=barrel.length_mm if barrel else None,
        feed_section_mm=info.feed_section_mm,
        foundation=info.foundation,
        cold_reference_c=info.cold_reference_c,
        right_hand_side=info.right_hand_side,
        commissioned_on=info.commissioned_on,
        status=judged.status if judged else "no record",
        why=why_no_record(has_position=judged is not None, has_visit=bool(visited))
        if judged is None or judged.status == "no record"
        else None,
        worst_station=judged.station if judged else None,
        worst_axis=judged.axis if judged else None,
        supports=tuple(
            SupportView(s.code, s.distance_mm) for s in fleet.plant.supports.get(info.id, ()) if s.on(day)
        ),
        stations=_stations_now(fleet, info, day, rows),
        surveys=_surveys(reduced, info.zone),
        history=_history(fleet, info, foreseen, rows, chosen, events, targets) if chosen else None,
        drift=_drift(fleet, info, chosen) if chosen else (),
        sessions=_sessions(visits, surveys, reduced, moved_sessions, info.zone),
        outages=tuple(
            OutageMark(
                o.code, o.kind, o.site, o.line, o.starts_at.astimezone(info.zone),
                (o.ends_at or o.starts_at).astimezone(info.zone), o.crew_hours,
            )
            for o in fleet.coming_outages(info, day)
        ),
        remarks=_remarks(reduced),
        as_of=day,
        horizon=day + timedelta(days=round(horizon_years * DAYS_PER_YEAR)),
        zone=str(info.zone),
    )  # fmt: skip


def _fan_days(day: date, last_visit: datetime | None) -> tuple[date, ...]:
    """Return the last visit's day, today, and the first of every month between and over two years to come."""
    start = day if last_visit is None else min(last_visit.date(), day)
    ahead = (day.year - start.year) * 12 + day.month - start.month + FAN_MONTHS
    months = (start.month + k for k in range(ahead))
    firsts = (date(start.year + month // 12, month % 12 + 1, 1) for month in months)
    return tuple(sorted({start, day, *firsts}))


def _chosen(rows: list[ForecastRow], station: str | None, axis: Axis | None) -> ForecastRow | None:
    if station is None and axis is None:
        return None
    fitting = [row for row in rows if station in (None, row.station) and axis in (None, row.axis)]
    return worst(fitting)


def _stations_now(fleet: FleetSeries, info: LineInfo, day: date, rows: list[ForecastRow]) -> tuple[StationNow, ...]:
    by_place = {(row.station, row.axis): row for row in rows}
    result = []
    for station in fleet.plant.stations.get(info.id, ()):
        if station.removed_on is not None and station.removed_on <= day:
            continue
        pair = [by_place.get((station.code, axis)) for axis in AXES]
        bands = [fleet.tolerance(station, axis) for axis in AXES]
        v, h = pair
        result.append(
            StationNow(
                station=station.code,
                distance_mm=station.distance_mm,
                support=station.support,
                position_um=(v.position_um if v else None, h.position_um if h else None),
                u95_position_um=(
                    NORMAL_95 * v.u_position_um if v else None,
                    NORMAL_95 * h.u_position_um if h else None,
                ),
                target_um=(fleet.target_um(station, "v"), fleet.target_um(station, "h")),
                deviation_um=(v.deviation_um if v else None, h.deviation_um if h else None),
                watch_um=(bands[0].watch_um, bands[1].watch_um),
                limit_um=(bands[0].limit_um, bands[1].limit_um),
                status=(v.status if v else "no record", h.status if h else "no record"),
            )
        )
    return tuple(result)


def _surveys(reduced: Any, zone: ZoneInfo) -> tuple[SurveyView, ...]:
    grouped: dict[tuple[str, int], list[Any]] = {}
    for row in reduced:
        if row.phase != "hot":
            grouped.setdefault((row.session, row.number), []).append(row)
    return tuple(
        SurveyView(
            key=f"{session}/{number}",
            session=session,
            number=number,
            phase=rows[0].phase,
            on=rows[0].measured_at.astimezone(zone),
            points=tuple(
                SurveyPoint(
                    station=row.station,
                    distance_mm=row.distance_mm,
                    v_um=row.v_cold_um,
                    h_um=row.h_cold_um,
                    u95_v_um=expanded(row.u_v_cold_um, row.dof_v),
                    u95_h_um=expanded(row.u_h_cold_um, row.dof_h),
                )
                for row in rows
            ),
        )
        for (session, number), rows in grouped.items()
    )


def _series_of(fleet: FleetSeries, info: LineInfo, chosen: ForecastRow) -> int:
    return next(
        int(i)
        for i in fleet.rows_of(info.id)
        if fleet.stations[fleet.of_station[i]].code == chosen.station and fleet.of_axis[i] == chosen.axis
    )


def _history(
    fleet: FleetSeries,
    info: LineInfo,
    foreseen: Foreseen,
    rows: list[ForecastRow],
    chosen: ForecastRow,
    events: list[Any],
    targets: list[Any],
) -> History:
    series = _series_of(fleet, info, chosen)
    station = fleet.stations[fleet.of_station[series]]
    pick = 1 + AXES.index(chosen.axis)
    own_targets = [
        (row.started_at, row.v_um if pick == 1 else row.h_um) for row in targets if row.station_id == station.id
    ]
    now = target_on(own_targets, None)
    at = next(k for k, row in enumerate(rows) if (row.station, row.axis) == (chosen.station, chosen.axis))
    return History(
        station=chosen.station,
        axis=chosen.axis,
        points=_points(fleet, info, series, own_targets),
        fan=tuple(
            FanPoint(e.at, e.mean_um - now, e.q10 - now, e.q25 - now, e.q75 - now, e.q90 - now)
            for e in rows[at].expected
        ),
        events=_events(fleet, info, station.id, station.support_id, events),
        target_changes=tuple(
            TargetChange(when.astimezone(info.zone), before, after)
            for (_, before), (when, after) in pairwise(own_targets)
            if before != after
        ),
        watch_um=chosen.watch_um,
        limit_um=chosen.limit_um,
        over_p10=chosen.over_on.p10,
        over_p50=chosen.over_on.p50,
        over_p90=chosen.over_on.p90,
        rate_um_per_year=chosen.rate_um_per_year,
        u95_rate_um_per_year=NORMAL_95 * chosen.u_rate_um_per_year,
        rate_um_per_1000_h=chosen.rate_um_per_1000_h,
        intervals=int(fleet.posterior.n_intervals[foreseen.rows[at]]),
        borrowed_weight=chosen.borrowed_from.weight,
        borrowed_lines=chosen.borrowed_from.lines,
    )


def target_on(targets: list[tuple[datetime, float]], moment: datetime | None) -> float:
    """Return the target of a day: the newest recorded at or before a moment (None: the newest), 0 before the first."""
    known = [value for when, value in targets if moment is None or when <= moment]
    return known[-1] if known else 0.0


def _points(
    fleet: FleetSeries, info: LineInfo, series: int, targets: list[tuple[datetime, float]]
) -> tuple[HistoryPoint, ...]:
    visits, found = fleet.assembled.visits, fleet.intervals
    ending = {int(visit): bool(across) for visit, across in zip(found.to_visit, found.across_event, strict=True)}
    points: list[HistoryPoint] = []
    for visit in np.flatnonzero(visits.series == series).tolist():
        session = fleet.sessions[fleet.assembled.session[visit]]
        target = target_on(targets, session.started_at)
        rows = [int(fleet.assembled.found_row[visit]), int(fleet.assembled.left_row[visit])]
        for place, row in enumerate(dict.fromkeys(r for r in rows if r >= 0)):
            joins: Joins = None
            if place == 1:
                joins = "realigned" if visits.moved[visit] else "drift"
            elif points:
                joins = ("across" if ending[visit] else "drift") if visit in ending else "gap"
            points.append(
                HistoryPoint(
                    at=fleet.measured_at[row].astimezone(info.zone),
                    session=session.code,
                    phase=_PHASES[int(fleet.measured.phase[row])],
                    deviation_um=float(fleet.measured.value_um[row]) - target,
                    u95_um=NORMAL_95 * float(fleet.measured.var_um2[row]) ** 0.5,
                    target_um=target,
                    joins=joins,
                )
            )
    return tuple(points)


def _events(
    fleet: FleetSeries, info: LineInfo, station_id: int, support_id: int | None, events: list[Any]
) -> tuple[EventMark, ...]:
    marks = [
        EventMark(row.happened_at.astimezone(info.zone), row.kind, row.note, row.resets_trend)
        for row in events
        if row.station_id in (None, station_id) and (row.support_id is None or row.support_id == support_id)
    ]
    told = {mark.at.date() for mark in marks if mark.resets_trend}
    marks += [
        EventMark(start_of_day(day, info.zone).astimezone(info.zone), f"{kind} changed", None, True)
        for day, kind in fleet.plant.swaps(info.id)
        if day not in told
    ]
    return tuple(sorted(marks, key=lambda mark: mark.at))


def _drift(fleet: FleetSeries, info: LineInfo, chosen: ForecastRow) -> tuple[DriftRow, ...]:
    rows = intervals_of(fleet, _series_of(fleet, info, chosen))
    return tuple(
        DriftRow(
            from_at=row.from_at,
            to_at=row.to_at,
            running_hours=row.running_hours,
            moved_um=row.moved_um,
            u95_um=NORMAL_95 * row.u_um,
            rate=row.rate,
            rate_unit=row.rate_unit,
            beyond_measurement=row.beyond_measurement,
            unusual=row.unusual,
        )
        for row in reversed(rows)
    )


def _sessions(
    visits: Any, surveys: Any, reduced: Any, moved_sessions: set[int], zone: ZoneInfo
) -> tuple[SessionRow, ...]:
    of_session: dict[int, list[Any]] = {}
    for row in surveys:
        of_session.setdefault(row.session_id, []).append(row)
    schemes: dict[str, list[str]] = {}
    for row in reduced:
        schemes.setdefault(row.session, []).append(row.method)
    result = []
    for visit in visits:
        own = of_session.get(visit.id, [])
        phases = tuple(dict.fromkeys(row.phase for row in own))
        barrel = next((row.barrel_c for row in own if row.barrel_c is not None), None)
        result.append(
            SessionRow(
                session=visit.code,
                at=visit.started_at.astimezone(zone),
                phases=phases,
                moved=visit.id in moved_sessions or ("as_found" in phases and "as_left" in phases),
                technician=visit.technician,
                instrument=visit.instrument,
                scheme=", ".join(dict.fromkeys(schemes.get(visit.code, ()))),
                barrel_c=barrel,
                signed_at=visit.signed_at.astimezone(zone) if visit.signed_at else None,
                signed_by=visit.signed_by,
                corrects=visit.corrects,
                corrected_by=visit.corrected_by,
                correction_reason=visit.correction_reason,
                remarks=visit.remarks,
            )
        )
    return tuple(result)


def _remarks(reduced: Any) -> tuple[str, ...]:
    """Return what the newest session's reductions remark on, each once."""
    if not reduced:
        return ()
    newest = max(reduced, key=lambda row: row.started_at).session
    said = [remark for row in reduced if row.session == newest and row.remarks for remark in json.loads(row.remarks)]
    return tuple(dict.fromkeys(said))
