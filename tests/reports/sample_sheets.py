"""Job sheets to render: an invented line with a full record, and lines of which little or nothing is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Final

from fleet.reports.job_sheet import JobSheet, PastSurvey, RunningResult, SheetStation

UNKNOWN: Final = (None, None)


def station(
    code: str,
    distance_mm: float,
    expected: tuple[float, float],
    u95: float,
    target: tuple[float, float],
    against_drift: tuple[float, float],
    *,
    support: str | None = None,
) -> SheetStation:
    """Return a station with figures in um; watch 125, limit 250."""
    return SheetStation(
        station=code,
        distance_mm=distance_mm,
        support=support,
        expected_um=expected,
        u95_expected_um=(u95, u95),
        target_um=target,
        against_drift_um=against_drift,
        set_to_um=(target[0] + against_drift[0], target[1] + against_drift[1]),
        watch_um=(125.0, 125.0),
        limit_um=(250.0, 250.0),
    )


FULL: Final = JobSheet(
    line="ORR-07",
    site="ORR",
    site_name="Orrindale",
    description="Pipe, 32 D",
    screw_diameter_mm=120.0,
    barrel_outside_diameter_mm=240.0,
    foundation="grouted",
    right_hand_side="operator side",
    cold_reference_c=20.0,
    status="over",
    status_why="B is expected 0.33 mm below target today; the limit is 0.25 mm.",
    as_of=date(2026, 11, 25),
    expected_on=date(2026, 12, 19),
    outage="Year-end stop",
    outage_kind="full stop, screws out",
    outage_starts_on=date(2026, 12, 19),
    outage_ends_on=date(2026, 12, 30),
    length_growth_mm=8.1,
    last_as_left=PastSurvey(
        session="ORR-07-2025-06",
        on=datetime(2025, 6, 14, 15, 0, tzinfo=UTC),
        technician="T. Halvorsby",
        instrument="I-04",
        scheme="reversal pair at every station",
        barrel_c=22.0,
        gearbox_c=22.0,
        offsets_um=(("1", -30.0, 0.0), ("A", -230.0, -10.0), ("B", -210.0, -10.0)),
        u95_um=30.0,
    ),
    measured_since=PastSurvey(
        session="ORR-07-2026-05",
        on=datetime(2026, 5, 9, 9, 0, tzinfo=UTC),
        technician="M. Adeyrin",
        instrument="I-04",
        scheme="reversal pair at every station",
        barrel_c=21.0,
        gearbox_c=24.0,
        offsets_um=(("A", -340.0, 20.0), ("B", -450.0, 40.0)),
        u95_um=30.0,
    ),
    running=RunningResult(
        checked_at=datetime(2025, 6, 16, 17, 0, tzinfo=UTC),
        label="after start-up",
        hours_since_heats_on=26.0,
        barrel_c=205.0,
        gearbox_c=50.0,
        base_c=32.0,
        stations=(("A", 260.0, 30.0), ("B", 270.0, 60.0)),
        u95_um=30.0,
    ),
    target_why="both rise alike, by this line’s own five running checks; the flange stays",
    drift_why="the bore goes 0.22 mm a year lower against the gearbox axis",
    stations=(
        station("1", 150.0, (-50.0, 0.0), 30.0, (-30.0, 0.0), (0.0, 0.0)),
        station("2", 820.0, (-210.0, 20.0), 40.0, (-140.0, 10.0), (20.0, 0.0)),
        station("A", 1500.0, (-410.0, 30.0), 50.0, (-260.0, 10.0), (30.0, 0.0), support="A"),
        station("4", 2320.0, (-490.0, 50.0), 80.0, (-260.0, 20.0), (40.0, 0.0)),
        station("B", 3150.0, (-590.0, 60.0), 100.0, (-260.0, 20.0), (60.0, 0.0), support="B"),
        station("6", 3700.0, (-580.0, 60.0), 100.0, (-260.0, 20.0), (70.0, 0.0)),
    ),
    good_enough_um=50.0,
    supports=("A", "B"),
    worst=("B", "v"),
    remarks=(),
    address="https://asleft.example/job-sheet?line=ORR-07",
    reading_sense=("bore_from_beam", "bore_from_beam"),
)

NO_RECORD: Final = JobSheet(
    line="ORR-31",
    site=None,
    site_name=None,
    description=None,
    screw_diameter_mm=None,
    barrel_outside_diameter_mm=None,
    foundation=None,
    right_hand_side=None,
    cold_reference_c=20.0,
    status="no record",
    status_why=None,
    as_of=date(2026, 11, 25),
    expected_on=date(2026, 11, 25),
    outage=None,
    outage_kind=None,
    outage_starts_on=None,
    outage_ends_on=None,
    length_growth_mm=None,
    last_as_left=None,
    measured_since=None,
    running=None,
    target_why="",
    drift_why=None,
    stations=tuple(
        SheetStation(code, distance, None, *(UNKNOWN,) * 7)
        for code, distance in (("1", 200.0), ("2", 1400.0), ("3", 2600.0))
    ),
    good_enough_um=None,
    supports=(),
    worst=None,
    remarks=(),
    address=None,
)

NO_STATIONS: Final = replace(NO_RECORD, stations=())

NO_LIMIT: Final = replace(
    FULL, stations=tuple(replace(place, watch_um=UNKNOWN, limit_um=UNKNOWN) for place in FULL.stations)
)

SPARSE: Final = replace(
    FULL,
    right_hand_side=None,
    worst=None,
    last_as_left=PastSurvey("S", datetime(2025, 6, 14, tzinfo=UTC), None, None, "", None, None, (), None),
    measured_since=None,
    running=RunningResult(
        datetime(2025, 6, 16, tzinfo=UTC), "", None, None, None, None, (("A", 260.0, None), ("B", -20.0, None)), None
    ),
    stations=tuple(replace(place, u95_expected_um=UNKNOWN, set_to_um=UNKNOWN) for place in FULL.stations),
    good_enough_um=None,
    drift_why=None,
    reading_sense=UNKNOWN,
)
"""A record with holes: no names, no temperatures, no uncertainties, no figures to set to."""


def with_stations(count: int, supports: tuple[str, ...] = ("A", "B")) -> JobSheet:
    """Return the full sheet with so many stations."""
    places = tuple(
        replace(FULL.stations[n % 6], station=f"S{n + 1}", distance_mm=150.0 + 300.0 * n) for n in range(count)
    )
    return replace(FULL, stations=places, supports=supports)


HOSTILE: Final = replace(
    FULL,
    line='<b>7</b>"&',
    site_name="<i>Orrindale</i>",
    description="<script>alert(1)</script>",
    foundation="slab & frame",
    right_hand_side='"><img src=x>',
    status_why="<u>why</u>",
    outage="<s>stop</s>",
    target_why="<script>target</script>",
    drift_why="<script>drift</script>",
    remarks=("<script>remark</script>\x1b[31m\r\nred",),
    last_as_left=replace(
        FULL.last_as_left or FULL.measured_since,
        technician="<script>T. Halvorsby</script>",
        instrument="<i>I-04</i>",
        scheme="<i>pairs</i>",
    ),
    supports=("<A>", "B"),
    stations=(replace(FULL.stations[0], station="<1>", support="<A>"), *FULL.stations[1:]),
)
"""Every text a person can type carries markup or control characters."""

ALL: Final = {
    "full": FULL,
    "no record": NO_RECORD,
    "no stations": NO_STATIONS,
    "no limit": NO_LIMIT,
    "sparse": SPARSE,
    "twelve stations": with_stations(12, ("A", "B", "C", "D")),
    "hostile": HOSTILE,
}
