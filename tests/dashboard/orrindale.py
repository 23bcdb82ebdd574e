"""Invented contents for the pages: site Orrindale on 25 Nov 2026, its fleet and the story of line ORR-07.

Nothing here is computed by the code under test: the figures were chosen by hand so that each kind of row occurs.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import cold_story
import compare_story
import evidence
import held_story
import outages_story
import record_story
import records_story
import session_story

from dashboard.sources import Sources
from fleet.errors import NotFoundError
from fleet.reports.job_sheet import JobSheet, PastSurvey, RunningResult, SheetStation
from fleet.services.cold_offsets_page import ColdOffsetsView, RisePart, RunningRow, WayFigures
from fleet.services.explaining import Evidence
from fleet.services.fleet_page import FleetFilters, FleetRow, FleetView, OutageMark
from fleet.services.line_history import (
    DriftRow,
    EventMark,
    FanPoint,
    Habits,
    History,
    HistoryPoint,
    TargetChange,
)
from fleet.services.line_page import (
    LineView,
    SessionRow,
    StationNow,
    SupportView,
    SurveyPoint,
    SurveyView,
)
from fleet.values import Axis, Status

TODAY = date(2026, 11, 25)
HORIZON = date(2031, 11, 25)


def at(year: int, month: int, day: int, hour: int = 8) -> datetime:
    return datetime(year, month, day, hour, tzinfo=UTC)


OUTAGES = (
    OutageMark("ORR-2026-12", "year-end stop", "ORR", None, at(2026, 12, 19, 6), at(2026, 12, 30, 18), 96.0),
    OutageMark("ORR-2027-04", "spring stop", "ORR", None, at(2027, 4, 3, 6), at(2027, 4, 7, 18), 40.0),
    OutageMark("ORR-2027-07", "summer stop", "ORR", None, at(2027, 7, 24, 6), at(2027, 8, 8, 18), 160.0),
    OutageMark("ORR-2027-10", "autumn stop", "ORR", None, at(2027, 10, 16, 6), at(2027, 10, 19, 18), 32.0),
)


def row(
    line: str,
    description: str,
    status: Status,
    place: tuple[str, Axis, float, float, float, date] | None,
    chances: tuple[float, float] | None,
    dates: tuple[date | None, date | None, date | None],
    limit: float = 250.0,
    evidence: Evidence | None = None,
) -> FleetRow:
    station, axis, deviation, u95, measured, on = place or (None, None, None, None, None, None)
    return FleetRow(
        line=line,
        site="ORR",
        description=description,
        screw_diameter_mm=float(description.split()[1]),
        foundation="grouted",
        right_hand_side="operator side",
        commissioned_on=date(2026, 10, 12) if place is None else date(2015, 3, 1),
        status=status,
        why="no survey yet" if place is None else None,
        station=station,
        axis=axis,
        deviation_um=deviation,
        u95_deviation_um=u95,
        measured_deviation_um=measured,
        measured_on=on,
        watch_um=0.52 * limit if place else None,
        limit_um=limit if place else None,
        next_outage="ORR-2026-12" if place else None,
        chance_next=chances[0] if chances else None,
        following_outage="ORR-2027-04" if place else None,
        chance_following=chances[1] if chances else None,
        over_p10=dates[0],
        over_p50=dates[1],
        over_p90=dates[2],
        evidence=evidence,
    )


WHY = Evidence(
    status="over", missing=None, axis="v", rate_um_per_year=-220.0, u95_rate_um_per_year=80.0, rate_um_per_1000_h=-30.0,
    intervals=2, beside=True, comparable_lines=9, to_limit_um=-60.0, past_watch=True, over_p10=date(2026, 6, 28),
    over_p50=date(2026, 8, 10), over_p90=date(2026, 11, 7), as_of=TODAY, horizon=HORIZON, similar_lines=9,
    similar_same_way=3,
)  # fmt: skip
ROWS = (
    row(
        "ORR-07",
        "Pipe 120 mm",
        "over",
        ("B", "v", -310.0, 90.0, -190.0, date(2026, 5, 9)),
        (0.953, 0.991),
        (date(2026, 6, 28), date(2026, 8, 10), date(2026, 11, 7)),
        evidence=WHY,
    ),
    row(
        "ORR-03",
        "Sheet 150 mm",
        "over",
        ("A", "h", 280.0, 120.0, 210.0, date(2026, 3, 14)),
        (0.80, 0.86),
        (date(2026, 4, 17), date(2026, 9, 3), date(2027, 8, 6)),
    ),
    row(
        "ORR-11",
        "Compound 90 mm",
        "due",
        ("B", "v", -190.0, 70.0, -140.0, date(2026, 7, 25)),
        (0.55, 0.82),
        (date(2026, 9, 25), date(2026, 12, 6), date(2027, 6, 20)),
        200.0,
    ),
    row(
        "ORR-02",
        "Profile 75 mm",
        "due",
        ("A", "v", -130.0, 60.0, -90.0, date(2026, 7, 26)),
        (0.03, 0.33),
        (date(2027, 1, 20), date(2027, 5, 24), date(2028, 4, 12)),
        195.0,
    ),
    row(
        "ORR-09",
        "Film 105 mm",
        "due",
        ("B", "h", -180.0, 70.0, -120.0, date(2026, 4, 11)),
        (0.07, 0.27),
        (date(2027, 1, 6), date(2027, 7, 17), date(2029, 2, 8)),
    ),
    row(
        "ORR-05",
        "Pipe 120 mm",
        "watch",
        ("B", "v", -140.0, 60.0, -110.0, date(2026, 8, 1)),
        (0.004, 0.07),
        (date(2027, 4, 22), date(2027, 11, 10), date(2030, 1, 20)),
    ),
    row(
        "ORR-12",
        "Sheet 150 mm",
        "watch",
        ("C", "v", -150.0, 40.0, -140.0, date(2026, 8, 2)),
        (0.002, 0.006),
        (date(2027, 9, 14), date(2029, 2, 1), None),
    ),
    row(
        "ORR-01",
        "Film 105 mm",
        "within",
        ("A", "v", -110.0, 70.0, -60.0, date(2026, 4, 12)),
        (0.004, 0.02),
        (date(2027, 8, 13), date(2028, 9, 1), date(2030, 12, 1)),
    ),
    row(
        "ORR-08",
        "Profile 60 mm",
        "within",
        ("A", "h", 60.0, 50.0, 40.0, date(2026, 7, 25)),
        (0.0, 0.001),
        (date(2028, 2, 9), None, None),
    ),
    row(
        "ORR-10",
        "Pipe 75 mm",
        "within",
        ("A", "v", -20.0, 20.0, -20.0, date(2026, 8, 2)),
        (0.0, 0.0),
        (None, None, None),
    ),
    row("ORR-13", "Film 105 mm", "no record", None, None, (None, None, None)),
)
COUNTS: dict[Status, int] = {"over": 2, "due": 3, "watch": 2, "within": 3, "no record": 1}

FLEET = FleetView(
    rows=ROWS,
    filters=FleetFilters(),
    total=len(ROWS),
    pages=1,
    lines_in_store=len(ROWS),
    counts=COUNTS,
    sites=("ORR",),
    site_names={"ORR": "Orrindale"},
    foundations=("grouted", "frame"),
    screw_diameters_mm=(60.0, 75.0, 90.0, 105.0, 120.0, 150.0),
    outages=OUTAGES,
    as_of=TODAY,
    horizon=HORIZON,
    refreshed_at=datetime(2026, 11, 25, 7, 10, tzinfo=UTC),
)
EMPTY_FLEET = replace(FLEET, rows=(), total=0, pages=0, lines_in_store=0, counts={}, sites=(), outages=())

_STATIONS = (
    ("1", 150.0, None),
    ("2", 820.0, None),
    ("A", 1500.0, "A"),
    ("4", 2320.0, None),
    ("B", 3150.0, "B"),
    ("6", 3700.0, None),
)
_EXPECTED = ((-50.0, 30.0), (-210.0, 40.0), (-400.0, 50.0), (-480.0, 70.0), (-570.0, 90.0), (-560.0, 90.0))
_EXPECTED_H = (0.0, 20.0, 30.0, 50.0, 60.0, 60.0)
_TARGET = (-30.0, -140.0, -260.0, -260.0, -260.0, -260.0)
_TARGET_H = (0.0, 10.0, 10.0, 20.0, 20.0, 20.0)


def _status(deviation: float) -> Status:
    return "over" if abs(deviation) > 250 else "watch" if abs(deviation) > 130 else "within"


STATIONS = tuple(
    StationNow(
        station=name,
        distance_mm=distance,
        support=support,
        position_um=(v, h),
        u95_position_um=(u95, u95),
        target_um=(target, target_h),
        deviation_um=(v - target, h - target_h),
        watch_um=(130.0, 130.0),
        limit_um=(250.0, 250.0),
        status=(_status(v - target), _status(h - target_h)),
    )
    for (name, distance, support), (v, u95), h, target, target_h in zip(
        _STATIONS, _EXPECTED, _EXPECTED_H, _TARGET, _TARGET_H, strict=True
    )
)


def survey(key: str, phase: str, on: datetime, v: tuple[float, ...], h: tuple[float, ...]) -> SurveyView:
    session, number = key.split("/")
    points = tuple(
        SurveyPoint(name, distance, at_v, at_h, 25.0, 25.0)
        for (name, distance, _), at_v, at_h in zip(_STATIONS, v, h, strict=True)
    )
    return SurveyView(key, session, int(number), phase, on, points)  # type: ignore[arg-type]


AS_LEFT = survey(
    "S-05/2",
    "as_left",
    at(2025, 6, 14),
    (-20.0, -120.0, -230.0, -220.0, -210.0, -200.0),
    (0.0, 0.0, -10.0, 0.0, -10.0, -10.0),
)
AS_FOUND = survey(
    "S-06/1",
    "as_found",
    at(2026, 5, 9),
    (-40.0, -180.0, -340.0, -390.0, -450.0, -440.0),
    (0.0, 20.0, 20.0, 40.0, 40.0, 50.0),
)
INTERIM = survey(
    "S-05/1",
    "interim",
    at(2025, 6, 14, 6),
    (-20.0, -130.0, -280.0, -300.0, -330.0, -320.0),
    (0.0, 10.0, 0.0, 10.0, 10.0, 10.0),
)


def _fan() -> tuple[FanPoint, ...]:
    points = []
    for month in range(24):
        on = date(2026, 5, 9) + timedelta(days=30 * month)
        years = 30 * month / 365.25
        mean, spread = -190.0 - 220.0 * years, 20.0 + 75.0 * years**0.8
        points.append(
            FanPoint(on, mean, mean - 1.28 * spread, mean - 0.67 * spread, mean + 0.67 * spread, mean + 1.28 * spread)
        )
    return tuple(points)


def visit(
    at_: datetime, session: str, phase: str, deviation: float, joins: str | None, target: float = -220.0
) -> HistoryPoint:
    return HistoryPoint(at_, session, phase, deviation, 25.0, target, joins)  # type: ignore[arg-type]


HISTORY = History(
    station="B",
    axis="v",
    points=(
        visit(at(2022, 3, 12), "S-01", "as_left", 20.0, None),
        visit(at(2023, 2, 18), "S-02", "as_found", -120.0, "drift"),
        visit(at(2023, 2, 18, 15), "S-02", "as_left", 30.0, "realigned"),
        visit(at(2024, 1, 20), "S-03", "as_found", -110.0, "drift"),
        visit(at(2024, 1, 20, 15), "S-03", "as_left", 40.0, "realigned"),
        visit(at(2024, 8, 12), "S-04", "as_found", -70.0, "across"),
        visit(at(2024, 8, 12, 15), "S-04", "as_left", 40.0, "realigned"),
        visit(at(2025, 6, 14), "S-05", "as_found", -160.0, "drift"),
        visit(at(2025, 6, 14, 15), "S-05", "as_left", 50.0, "realigned", -260.0),
        visit(at(2026, 5, 9), "S-06", "as_found", -190.0, "drift", -260.0),
    ),
    fan=_fan(),
    events=(EventMark(at(2024, 8, 10), "gearbox changed", "unit G-31 fitted", True),),
    target_changes=(TargetChange(at(2025, 6, 14), -220.0, -260.0),),
    watch_um=130.0,
    limit_um=250.0,
    over_p10=date(2026, 6, 28),
    over_p50=date(2026, 8, 10),
    over_p90=date(2026, 11, 7),
    rate_um_per_year=-220.0,
    u95_rate_um_per_year=80.0,
    rate_um_per_1000_h=-30.0,
    intervals=2,
    borrowed_weight=0.25,
    borrowed_lines=9,
    habits=Habits(42.0, None, None, None, None),
)


def session(
    code: str, when: datetime, phases: tuple[str, ...], moved: bool, technician: str, scheme: str
) -> SessionRow:
    return SessionRow(
        session=code,
        at=when,
        phases=phases,  # type: ignore[arg-type]
        moved=moved,
        technician=technician,
        instrument="I-04",
        scheme=scheme,
        barrel_c=21.0,
        signed_at=when,
        signed_by=technician,
        corrects=None,
        corrected_by=None,
        correction_reason=None,
        remarks=None,
    )


LINE = LineView(
    line="ORR-07",
    site="ORR",
    site_name="Orrindale",
    description="Pipe 120 mm",
    screw_diameter_mm=120.0,
    barrel_outside_diameter_mm=240.0,
    barrel_length_mm=3840.0,
    feed_section_mm=None,
    foundation="grouted",
    cold_reference_c=20.0,
    right_hand_side="operator side",
    commissioned_on=date(2015, 3, 1),
    status="over",
    why=None,
    worst_station="B",
    worst_axis="v",
    supports=(SupportView("A", 1500.0), SupportView("B", 3150.0)),
    stations=STATIONS,
    surveys=(INTERIM, AS_LEFT, AS_FOUND),
    history=HISTORY,
    drift=(
        DriftRow(at(2025, 6, 14), at(2026, 5, 9), 6540.0, -240.0, 30.0, -37.0, "um_per_1000_h", True, False),
        DriftRow(at(2024, 8, 12), at(2025, 6, 14), 6120.0, -200.0, 30.0, -33.0, "um_per_1000_h", True, False),
        DriftRow(at(2023, 2, 18), at(2024, 1, 20), 6690.0, -140.0, 30.0, -21.0, "um_per_1000_h", True, False),
    ),
    sessions=(
        session("S-06", at(2026, 5, 9), ("as_found",), False, "M. Adeyrin", "reversal pairs"),
        replace(
            session("S-05", at(2025, 6, 14), ("as_found", "as_left"), True, "T. Halvorsby", "reversal pairs"),
            remarks="<b>shim</b> under B was loose",
        ),
        session("S-01", at(2022, 3, 12), ("as_left",), True, "M. Adeyrin", "four positions"),
    ),
    outages=OUTAGES,
    remarks=(),
    as_of=TODAY,
    horizon=HORIZON,
    zone="Europe/London",
    compared=("S-05/2", "S-06/1"),
    checks=evidence.CHECKS,
    movement=evidence.MOVEMENT,
    shape=evidence.SHAPE,
    budget=evidence.BUDGET,
    moves=evidence.MOVES,
    gauge=evidence.GAUGE,
    evidence=WHY,
)
NO_RECORD = replace(
    LINE,
    line="ORR-13",
    status="no record",
    why="no cold survey to stand on",
    evidence=None,
    worst_station=None,
    worst_axis=None,
    surveys=(),
    sessions=(),
    history=None,
    drift=(),
    compared=(None, None),
    checks=(),
    movement=(),
    shape=(),
    budget=None,
    moves=None,
    gauge=(),
)

SHEET = JobSheet(
    line="ORR-07",
    site="ORR",
    site_name="Orrindale",
    description="Pipe 120 mm",
    screw_diameter_mm=120.0,
    barrel_outside_diameter_mm=240.0,
    foundation="grouted",
    right_hand_side="operator side",
    cold_reference_c=20.0,
    status="over",
    status_why=None,
    as_of=TODAY,
    expected_on=date(2026, 12, 19),
    outage="ORR-2026-12",
    outage_kind="year-end stop",
    outage_starts_on=date(2026, 12, 19),
    outage_ends_on=date(2026, 12, 30),
    length_growth_mm=8.2,
    last_as_left=PastSurvey(
        "S-05",
        date(2025, 6, 14),
        "T. Halvorsby",
        "I-04",
        "reversal pairs",
        22.0,
        22.0,
        (("A", -230.0, -10.0), ("B", -210.0, -10.0)),
        None,
    ),
    measured_since=PastSurvey(
        "S-06",
        date(2026, 5, 9),
        "M. Adeyrin",
        "I-04",
        "reversal pairs",
        21.0,
        21.0,
        (("A", -340.0, 20.0), ("B", -450.0, 40.0)),
        30.0,
    ),
    running=RunningResult(
        date(2025, 6, 16), "restart", 26.0, 205.0, 50.0, 32.0, (("A", 260.0, 30.0), ("B", 270.0, 60.0)), 30.0
    ),
    target_why="Both supports rise alike, by this line’s own five running checks; the flange stays",
    drift_why="B is set 0.06 mm higher, because the bore goes 0.22 mm a year lower against the gearbox axis",
    stations=tuple(
        SheetStation(
            station=name,
            distance_mm=distance,
            support=support,
            expected_um=(expected, expected_h),
            u95_expected_um=(u95, u95),
            target_um=(target, target_h),
            against_drift_um=(against, 0.0),
            set_to_um=(target + against, target_h),
            watch_um=(130.0, 130.0),
            limit_um=(250.0, 250.0),
        )
        for (name, distance, support), expected, u95, expected_h, target, target_h, against in (
            (_STATIONS[0], -50.0, 30.0, 0.0, -30.0, 0.0, 0.0),
            (_STATIONS[1], -210.0, 40.0, 20.0, -140.0, 10.0, 20.0),
            (_STATIONS[2], -410.0, 50.0, 30.0, -260.0, 10.0, 30.0),
            (_STATIONS[3], -490.0, 80.0, 50.0, -260.0, 20.0, 40.0),
            (_STATIONS[4], -590.0, 100.0, 60.0, -260.0, 20.0, 60.0),
            (_STATIONS[5], -580.0, 100.0, 60.0, -260.0, 20.0, 70.0),
        )
    ),
    good_enough_um=50.0,
    supports=("A", "B"),
    worst=("B", "v"),
    remarks=(),
    address=None,
)

_RISES = (272.0, 242.0, 262.0, 272.0, 252.0)


def way(name: str, target: float, u95: float | None, watch: float, limit: float) -> WayFigures:
    ran = tuple(target + rise for rise in _RISES)
    bias = target + 260.0
    return WayFigures(name, target, u95, 5, bias, None, abs(bias) or 12.0, watch, limit, ran)  # type: ignore[arg-type]


COLD = ColdOffsetsView(
    line="ORR-07",
    site_name="Orrindale",
    right_hand_side="operator side",
    stations=("A", "B"),
    station="B",
    axis="v",
    recommended_way="own_record",
    recommended_target_um=-260.0,
    u95_recommended_um=20.0,
    expected_running_um=0.0,
    u95_expected_running_um=40.0,
    why="from five running checks, Mar 2022 – Jun 2025",
    ways=(
        way("none", 0.0, None, 0.0, 0.4),
        way("bore_size", -170.0, None, 1.0, 1.0),
        way("heat_model", -220.0, 70.0, 1.0, 1.0),
        way("pooled", -240.0, 50.0, 1.0, 1.0),
        way("own_record", -260.0, 20.0, 1.0, 1.0),
    ),
    as_left=way("none", -190.0, None, 1.0, 1.0),
    checks=tuple(
        RunningRow(at(2022 + number, 6, 16), "restart", rise, 30.0, rise - 200.0, 205.0)
        for number, rise in enumerate(_RISES)
    ),
    parts=(
        RisePart("A", 1500.0, 360.0, 60.0, -200.0, 220.0, 70.0),
        RisePart("B", 3150.0, 360.0, 60.0, -200.0, 220.0, 70.0),
    ),
    watch_um=130.0,
    limit_um=250.0,
    fleet_ways=(
        WayFigures("own_record", None, None, 31, 2.0, 20.0, 30.0, 1.0, 1.0, ()),
        WayFigures("none", None, None, 31, 210.0, 20.0, 220.0, 0.06, 0.81, ()),
    ),
    fleet_lines=9,
    fleet_runs=31,
    remarks=(),
    as_of=TODAY,
)


def _fleet(filters: FleetFilters) -> FleetView:
    rows = tuple(
        entry
        for entry in ROWS
        if (filters.status in (None, entry.status))
        and (filters.site in (None, entry.site))
        and (filters.screw_diameter_mm in (None, entry.screw_diameter_mm))
        and (filters.foundation in (None, entry.foundation))
    )
    return replace(FLEET, rows=rows, filters=filters, total=len(rows))


def _line(line: str, station: str | None, axis: Axis | None, a: str | None, b: str | None) -> LineView:
    if line == "ORR-13":
        return NO_RECORD
    if line != "ORR-07":
        raise NotFoundError(f"no line {line}")
    if station not in (s.station for s in STATIONS):
        station = None  # as the service does: the worst is shown
    keys = {survey.key for survey in LINE.surveys}
    unknown = tuple(key for key in (a, b) if key and key not in keys)
    view = replace(LINE, compared=(a if a in keys else "S-05/2", b if b in keys else "S-06/1"), unknown=unknown)
    if (station or "B", axis or "v") == ("B", "v"):
        return view
    return replace(view, history=replace(HISTORY, station=station or "B", axis=axis or "v"))


def _cold(line: str, station: str | None, axis: Axis | None) -> ColdOffsetsView:
    if line != "ORR-07":
        raise NotFoundError(f"no line {line}")
    return replace(COLD, station=station or "B", axis=axis or "v")


def _sheet(line: str) -> JobSheet:
    if line != "ORR-07":
        raise NotFoundError(f"no line {line}")
    return SHEET


SOURCES = Sources(
    fleet=_fleet,
    held=held_story.summary,
    backtest=held_story.view,
    line=_line,
    cold_offsets=_cold,
    ways=cold_story.view,
    comparison=cold_story.comparison,
    compare=compare_story.view,
    rises=cold_story.rises,
    job_sheet=_sheet,
    paper=lambda sheet, unit: f"<!doctype html><title>{sheet.line} {unit}</title>",
    session=session_story.session,
    labels=session_story.labels,
    line_codes=lambda: tuple(entry.line for entry in ROWS),
    decide=lambda line, handle, decision, by, why: f"{decision} {handle} of {line} by {by}: {why}",
    set_limit=lambda line, asked: f"{line}: {asked.limit} {asked.unit}",
    records=records_story.SOURCES,
    recording=record_story.RECORDING,
    plans=outages_story.SOURCES,
)
