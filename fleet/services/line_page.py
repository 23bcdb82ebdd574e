"""Line: what has this line done, where is it now, where is it going?"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from fleet.services.background import Older, up_to_date_or_older
from fleet.services.backtest import line_summary_at_hand
from fleet.services.checks import Checks, checks_at_hand, current_checks
from fleet.services.expanded import expanded
from fleet.services.explaining import Evidence, from_text
from fleet.services.fleet_page import OutageMark
from fleet.services.forecasting import foresee, rows_of, why_no_record, worst
from fleet.services.limits import LimitsView, limits_view
from fleet.services.line_evidence import BudgetView, CheckView, GaugeRow, MovementView, MovesView, ShapeRow
from fleet.services.line_history import DriftRow, History, Phase, drift_of, history_of
from fleet.services.line_measured import budget_view
from fleet.services.line_shape import Targets, Today, movements, moves_to_target, shapes
from fleet.services.line_surveys import SurveyArrays, survey_arrays
from fleet.services.measurement_system import gauge_rows
from fleet.services.movement_evidence import MovementEvidence, movement_evidence
from fleet.services.planning.line_visit import LineVisit, line_visit
from fleet.services.plant import LineInfo, SupportInfo
from fleet.services.regimes import RegimeRow, of_line
from fleet.services.rows import ForecastRow
from fleet.services.series import FleetSeries, current_series, older_series
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import AXES, DAYS_PER_YEAR, NORMAL_95, Axis, Status

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
    """Everything the Line page shows; times in the line's site zone, lengths in um, distances in mm.

    `compared` are the keys of the two surveys shown beside each other, `unknown` those that were asked for and that the
    line does not have. `checks` are the slips noticed, newest first. `evidence` is what the status stands on, `why`
    what it lacks. `beside` is what the record holds beside the movement between the two surveys, `proposals` the
    changes of drift that wait for a judgement, `held` how its forecast has held, in a sentence, where that is at hand;
    `planned` is its visit by the newest plan signed off. `only_hot`: it was surveyed, but never cold. `older`: what is
    worked out for the whole fleet stands before the newest records.
    """

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
    compared: tuple[str | None, str | None] = (None, None)
    unknown: tuple[str, ...] = ()
    checks: tuple[CheckView, ...] = ()
    movement: tuple[MovementView, ...] = ()
    shape: tuple[ShapeRow, ...] = ()
    budget: BudgetView | None = None
    moves: MovesView | None = None
    gauge: tuple[GaugeRow, ...] = ()
    evidence: Evidence | None = None
    beside: MovementEvidence | None = None
    limits: LimitsView | None = None
    proposals: tuple[RegimeRow, ...] = ()
    held: str | None = None
    only_hot: bool = False
    planned: LineVisit | None = None
    older: Older | None = None


def line_view(
    store: Store,
    line: str,
    *,
    station: str | None = None,
    axis: Axis | None = None,
    first: str | None = None,
    second: str | None = None,
    now: datetime | None = None,
) -> LineView:
    """Return everything the Line page shows.

    Parameters
    ----------
    store : the record
    line : its code
    station, axis : which history to show; None, or a station the line does not have: the worst
    first, second : keys of the surveys to compare; None, or one the line does not have: the newest as-left, and the
        newest survey after it or else the newest other one
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    older = up_to_date_or_older(store, now=now)
    with store.read() as record:
        fleet = older_series(record, now=now) if older else current_series(record, now=now)
        if older and all(known.code != line for known in fleet.plant.lines):
            # A line that came after what is kept is worth the wait.
            fleet = current_series(record, now=now)
        info = fleet.plant.line(line)
        visits = queries.visits_of_line(record, info.id)
        surveys = queries.surveys_of_line(record, info.id)
        reduced = queries.reduced_surveys(record, line)
        events = list(queries.events(record, info.id))
        targets = list(queries.cold_targets(record, info.id))
        arrays = survey_arrays(reduced, queries.covariances(record, info.id))
        made = queries.moves_made(record, info.id)
        noticed = checks_at_hand(record) if older else current_checks(record, fleet)
        kept = queries.kept_evidence(record, info.id)
        moves: dict[int, bool] = {}
        for row in made:
            moves[row.session_id] = moves.get(row.session_id, False) or bool(row.v_um or row.h_um)
        index = fleet.line_index[info.id]
        day = fleet.as_of[index]
        tolerances = queries.tolerances_of_line(record, info.id)
        horizon_years = fleet.settings.number("horizon_years", info.site_id, day)
        visited = [s.started_at.astimezone(info.zone) for s in fleet.sessions if s.line == index]
        foreseen = foresee(fleet, fleet.rows_of(info.id), _fan_days(day, visited[-1] if visited else None))
        rows = rows_of(foreseen)
        judged = worst(rows)
        chosen = _chosen(rows, station, axis) or judged
        barrel = fleet.plant.standing(info.id, "barrel", day)
        stations_now = _stations_now(fleet, info, day, rows)
        shown = _surveys(reduced, info.zone)
        one, two, unknown = compared(shown, first, second)
        pair = (arrays.get(one.key) if one else None, arrays.get(two.key) if two else None)
        today = _today(fleet, info, stations_now)
        rigid = _rigid(fleet.plant.supports.get(info.id, ()), day)
        started = {visit.code: visit.started_at for visit in visits}
        beside = movement_evidence(record, fleet, info, _in_time(pair), started)
        # A judgement is asked for, and the forecast held to its word, on the newest facts only.
        proposed = () if older else of_line(record, fleet, info)
        held = None if older else line_summary_at_hand(record, fleet, info.id)
        shape = shapes(record, fleet, info, today, pair, _targets_by_station(fleet, info, targets))
        budget = budget_view(record, fleet, info, pair[1] or pair[0], day)
        gauge = gauge_rows(record, info, day)
        planned = line_visit(record, info, day)
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
        stations=stations_now,
        surveys=shown,
        history=history_of(fleet, info, foreseen, rows, chosen, events, targets, tolerances) if chosen else None,
        drift=drift_of(fleet, info, chosen) if chosen else (),
        sessions=_sessions(visits, surveys, reduced, moves, info.zone),
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
        compared=(one.key if one else None, two.key if two else None),
        unknown=unknown,
        checks=_checks_of(surveys, visits, noticed, info.zone),
        movement=movements(*_in_time(pair), rigid, info.zone),
        shape=shape,
        budget=budget,
        moves=moves_to_target(
            today, rigid, arrays, made, on=day,
            good_enough_um=fleet.settings.number("set_within_um", info.site_id, day),
        ),
        gauge=gauge,
        evidence=from_text(kept) if kept else None,
        older=older,
        beside=beside,
        limits=limits_view(fleet, info, tolerances, day),
        proposals=proposed,
        held=held.sentence if held is not None and held.n else None,
        only_hot=bool(reduced) and not shown,
        planned=planned,
    )  # fmt: skip


def compared(
    surveys: Sequence[SurveyView], first: str | None, second: str | None
) -> tuple[SurveyView | None, SurveyView | None, tuple[str, ...]]:
    """Return the two surveys compared, and the keys asked for that are not among them.

    By default the newest as-left, and the newest survey after it or else the newest other one.
    """
    by_key = {survey.key: survey for survey in surveys}
    unknown = tuple(key for key in (first, second) if key and key not in by_key)
    ordered = sorted(surveys, key=lambda survey: (survey.on, survey.number))
    lefts = [survey for survey in ordered if survey.phase == "as_left"]
    one = by_key.get(first or "") or (lefts[-1] if lefts else (ordered[-1] if ordered else None))
    others = [survey for survey in ordered if one is None or survey.key != one.key]
    two = by_key.get(second or "") or (others[-1] if others else None)
    return one, two, unknown


def _in_time(pair: tuple[SurveyArrays | None, SurveyArrays | None]) -> tuple[SurveyArrays | None, SurveyArrays | None]:
    """Return two surveys with the earlier first: what moved is told forward in time, whichever is shown first."""
    one, two = pair
    if one is None or two is None or (one.measured_at, one.number) <= (two.measured_at, two.number):
        return pair
    return two, one


def _today(fleet: FleetSeries, info: LineInfo, now: Sequence[StationNow]) -> Today | None:
    """Return where the first bore's stations are expected today, those of which both axes are known."""
    by_code = {station.code: station for station in fleet.plant.stations.get(info.id, ()) if station.bore == 1}
    places, values = [], []
    for station in now:
        position, u95, target = station.position_um, station.u95_position_um, station.target_um
        if station.station not in by_code or None in position or None in u95:
            continue
        places.append(by_code[station.station])
        values.append([position, u95, tuple(um or 0.0 for um in target)])
    if not places:
        return None
    arrays = np.array(values, dtype=np.float64)
    return Today(
        stations=tuple(places),
        distance_mm=np.array([place.distance_mm for place in places], dtype=np.float64),
        position_um=arrays[:, 0],
        u_um=arrays[:, 1] / NORMAL_95,
        target_um=arrays[:, 2],
    )


def _rigid(supports: Iterable[SupportInfo], day: date) -> tuple[SupportInfo, ...]:
    """Return the supports that carry the barrel rigidly that day, the first of those at one distance."""
    by_distance: dict[float, SupportInfo] = {}
    for support in supports:
        if support.on(day) and support.geometry.carries != "floating" and support.distance_mm > 0.0:
            by_distance.setdefault(support.distance_mm, support)
    return tuple(by_distance[mm] for mm in sorted(by_distance))


def _targets_by_station(fleet: FleetSeries, info: LineInfo, targets: Iterable[Any]) -> Targets:
    codes = {station.id: station.code for station in fleet.plant.stations.get(info.id, ())}
    of: dict[str, list[tuple[datetime, float, float]]] = {}
    for row in targets:
        of.setdefault(codes[row.station_id], []).append((row.started_at, row.v_um, row.h_um))
    return of


def _checks_of(surveys: Iterable[Any], visits: Iterable[Any], noticed: Checks, zone: ZoneInfo) -> tuple[CheckView, ...]:
    """Return what was noticed in the line's surveys, newest first; corrected sessions say nothing any more."""
    codes = {visit.id: visit.code for visit in visits if visit.corrected_by is None}
    views = [
        CheckView(
            f"{codes[row.session_id]}/{row.number}", codes[row.session_id], row.measured_at.astimezone(zone), facts
        )
        for row in surveys
        if row.session_id in codes
        for facts in noticed.get(row.id, ())
    ]
    return tuple(sorted(views, key=lambda view: (view.on, view.survey), reverse=True))


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


def _sessions(
    visits: Any, surveys: Any, reduced: Any, moves: dict[int, bool], zone: ZoneInfo
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
                # An as-left without any row of moves was moved by an unknown amount; moves of 0 moved nothing.
                moved=moves.get(visit.id, "as_left" in phases),
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
