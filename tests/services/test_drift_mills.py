"""Drift: what moved between two visits, worked out again from the files."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import datetime
from itertools import pairwise
from math import hypot

import pytest
from record_sources import NOW, all_rows, rows_of, to_um

from fleet.services.drift import drift_rows
from fleet.services.rows import DriftInterval, OffsetRow
from fleet.store.engine import Store


def _expected_of_mill_b() -> dict[tuple[str, str, str, str], tuple[str, float, float]]:
    """Return every interval of mill-b: (line, station, axis, to_session) -> (from_session, moved, uncertainty) [um].

    Its sessions hold an as-found, an as-found and an as-left, or (the first only) an as-left, all of all stations. It
    has no temperatures, so what was typed is the cold offset.
    """
    value: dict[tuple[str, str, str, str], tuple[float, float]] = {}
    phase = {(row["session"], row["survey"]): row["phase"] for row in rows_of("mill-b", "surveys")}
    stations: dict[str, list[str]] = defaultdict(list)
    for row in rows_of("mill-b", "stations"):
        stations[row["line"]].append(row["station"])
    for row in rows_of("mill-b", "offsets"):
        for axis in ("v", "h"):
            key = (row["session"], phase[row["session"], row["survey"]], row["station"], axis)
            value[key] = to_um(row[axis], row["unit"]), to_um(row[f"u_{axis}"], row["unit"])
    visits: dict[str, list[str]] = defaultdict(list)
    for row in sorted(rows_of("mill-b", "sessions"), key=lambda row: row["started_at"]):
        visits[row["line"]].append(row["session"])
    expected = {}
    for line, sessions in visits.items():
        for start, end in pairwise(sessions):
            for station in stations[line]:
                for axis in ("v", "h"):
                    left = value.get((start, "as_left", station, axis)) or value[start, "as_found", station, axis]
                    found = value[end, "as_found", station, axis]
                    expected[line, station, axis, end] = (start, found[0] - left[0], hypot(left[1], found[1]))
    return expected


def test_every_interval_of_entered_offsets_moved_what_the_files_say(drifts: list[DriftInterval]) -> None:
    expected = _expected_of_mill_b()
    rows = [row for row in drifts if row.line.startswith("B")]
    assert len(rows) == len(expected) > 900
    for row in rows:
        start, moved, u = expected[row.line, row.station, row.axis, row.to_session]
        assert row.from_session == start
        assert row.moved_um == pytest.approx(moved, abs=1e-6)
        # Independent measurements: JCGM 100:2008, 5.1.2.
        assert row.u_um == pytest.approx(u, abs=1e-6)


def test_movement_and_uncertainty_agree_with_the_offsets_printed(
    drifts: list[DriftInterval], offsets: list[OffsetRow]
) -> None:
    # mill-a: readings in reversal pairs; sessions hold an as-found and mostly an as-left, no moves.
    first, last = {}, {}
    for row in offsets:
        if row.line.startswith("A"):
            first.setdefault((row.session, row.station), row)
            last[row.session, row.station] = row
    rows = [row for row in drifts if row.line.startswith("A")]
    assert len(rows) > 700
    for row in rows:
        left, found = last[row.from_session, row.station], first[row.to_session, row.station]
        if row.axis == "v":
            moved, u = found.v_cold_um - left.v_cold_um, hypot(left.u_v_cold_um, found.u_v_cold_um)
        else:
            moved, u = found.h_cold_um - left.h_cold_um, hypot(left.u_h_cold_um, found.u_h_cold_um)
        assert row.moved_um == pytest.approx(moved, abs=1e-9)
        assert row.u_um == pytest.approx(u, abs=1e-9)


def test_beyond_measurement_means_more_than_its_95_percent_uncertainty(drifts: list[DriftInterval]) -> None:
    # 1.96: the normal distribution's two-sided 95 % point (JCGM 100:2008, table G.1).
    for row in drifts:
        assert row.beyond_measurement == (abs(row.moved_um) > 1.959963984540054 * row.u_um)
    assert 0.1 < sum(row.beyond_measurement for row in drifts) / len(drifts) < 0.9


def test_few_intervals_are_unlike_the_lines_own_habit(drifts: list[DriftInterval]) -> None:
    # A 95 % range leaves out about one in twenty; the mills hold a few jumps on top.
    share = sum(row.unusual for row in drifts) / len(drifts)
    assert 0.01 < share < 0.12


def test_a_rate_per_1000_hours_stands_exactly_where_a_meter_is_kept(drifts: list[DriftInterval]) -> None:
    readings: dict[str, int] = defaultdict(int)
    for row in (*all_rows("meters"), *all_rows("sessions")):
        readings[row["line"]] += bool(row.get("running_hours"))
    metered = {line for line, count in readings.items() if count >= 2}
    assert metered == {"C01"}
    assert {row.line for row in drifts if row.rate_unit == "um_per_1000_h"} == metered
    assert {row.rate_unit for row in drifts if row.line == "C01"} == {"um_per_1000_h"}
    assert all((row.running_hours is not None) == (row.line in metered) for row in drifts)


def test_running_hours_between_two_visits_are_the_meters_difference(drifts: list[DriftInterval]) -> None:
    meter = {row["session"]: row["running_hours"] for row in rows_of("mill-c", "sessions") if row["line"] == "C01"}
    (row,) = [
        r for r in drifts if (r.line, r.station, r.axis, r.from_session) == ("C01", "P3", "v", "C01-03")
    ]  # fmt: skip
    hours = float(meter[row.to_session]) - float(meter["C01-03"])
    assert (row.to_session, hours) == ("C01-04", 4804.0)
    assert row.running_hours == pytest.approx(hours, abs=0.01)
    assert row.rate == pytest.approx(row.moved_um / 4.804, rel=1e-5)


def test_a_replaced_meter_does_not_run_backwards(drifts: list[DriftInterval]) -> None:
    # C01-07 read 40620 h, C01-08 on the new meter 1698 h, 438 days later: at some 7000 h a year about 8400 h.
    (row,) = [r for r in drifts if (r.line, r.station, r.axis, r.to_session) == ("C01", "P3", "v", "C01-08")]
    assert row.running_hours is not None
    assert 7500.0 < row.running_hours < 9000.0


def test_a_rate_per_year_counts_years_of_365_25_days(drifts: list[DriftInterval]) -> None:
    rows = [row for row in drifts if row.line == "B01"]
    assert rows
    for row in rows:
        years = (row.to_at - row.from_at).total_seconds() / (365.25 * 86400.0)
        assert row.rate == pytest.approx(row.moved_um / years, rel=1e-9)


def test_times_are_those_of_the_site(drifts: list[DriftInterval]) -> None:
    typed = {row["session"]: row["started_at"] for row in all_rows("sessions")}
    for row in drifts:
        for moment, session in ((row.from_at, row.from_session), (row.to_at, row.to_session)):
            given = datetime.fromisoformat(typed[session])
            # One session is typed with its offset, all others in the site's own time.
            assert moment == given if given.tzinfo else moment.replace(tzinfo=None) == given


def test_rows_stand_by_line_station_axis_and_time(drifts: list[DriftInterval]) -> None:
    distance = {(row["line"], row["station"]): float(row["distance_mm"]) for row in all_rows("stations")}
    order = [(r.line, distance[r.line, r.station], r.station, "vh".index(r.axis), r.to_at) for r in drifts]
    assert order == sorted(order)


LINE = {
    "lines": "line\nL1\n",
    "stations": "line,station,distance_mm\nL1,S1,1000\nL1,S2,3000\n",
    "sessions": "session,line,started_at\n"
    "V1,L1,2020-01-01T08:00\nV2,L1,2021-01-01T08:00\nV3,L1,2022-01-01T08:00\nV4,L1,2023-01-01T08:00\n",
    "surveys": "session,survey,phase\n"
    "V1,1,as_left\nV2,1,as_found\nV2,2,interim\nV2,3,as_left\nV3,1,interim\nV4,1,as_found\n",
    "offsets": "session,survey,station,v,h,unit,u_v,u_h\n"
    "V1,1,S1,-40,0,um,3,3\nV1,1,S2,-100,10,um,3,3\n"
    "V2,1,S1,-70,5,um,4,4\nV2,1,S2,-160,20,um,4,4\n"
    "V2,2,S1,-50,5,um,4,4\nV2,2,S2,-120,20,um,4,4\n"
    "V2,3,S1,-42,5,um,12,12\nV2,3,S2,-101,11,um,12,12\n"
    "V3,1,S1,-60,5,um,5,5\nV3,1,S2,-131,12,um,5,5\n"
    "V4,1,S1,-80,5,um,12,12\nV4,1,S2,-171,15,um,12,12\n",
    "moves": "session,after_survey,support,v,h,unit\nV2,1,U1,0.05,0,mm\nV2,2,U1,0.02,-0.01,mm\n",
    "supports": "line,support,distance_mm\nL1,U1,3000\n",
}


def _moved(store: Store, station: str, axis: str) -> list[tuple[str, str, float, float]]:
    return [
        (row.from_session, row.to_session, round(row.moved_um, 6), round(row.u_um, 6))
        for row in drift_rows(store, now=NOW)
        if (row.station, row.axis) == (station, axis)
    ]


def test_intervals_run_from_the_survey_after_the_last_move_to_the_one_before_the_first(
    store_of: Callable[..., Store],
) -> None:
    # V1 -100 -> V2 found -160; V2 left -101 -> V3 (moved nothing) -131 -> V4 -171.
    # Uncertainties 3-4-5, 12-5-13, 5-12-13.
    assert _moved(store_of(LINE), "S2", "v") == [
        ("V1", "V2", -60.0, 5.0),
        ("V2", "V3", -30.0, 13.0),
        ("V3", "V4", -40.0, 13.0),
    ]


def test_an_as_left_after_moves_recorded_as_zero_goes_on_from_what_was_found(store_of: Callable[..., Store]) -> None:
    unmoved = {**LINE, "moves": "session,after_survey,support,v,h,unit\nV2,1,U1,0,0,mm\n"}
    # Nothing moved: V2's first survey ends the interval before it, its last begins the next.
    assert _moved(store_of(unmoved), "S2", "v")[:2] == [("V1", "V2", -60.0, 5.0), ("V2", "V3", -30.0, 13.0)]


def test_an_as_left_without_moves_was_moved_by_an_unknown_amount(store_of: Callable[..., Store]) -> None:
    unknown = {name: text for name, text in LINE.items() if name != "moves"}
    assert _moved(store_of(unknown), "S1", "v") == [
        ("V1", "V2", -30.0, 5.0),
        ("V2", "V3", -18.0, 13.0),
        ("V3", "V4", -20.0, 13.0),
    ]


def test_a_station_that_was_moved_unmeasured_begins_no_interval(store_of: Callable[..., Store]) -> None:
    # The as-left of V2 leaves out S1: its offset after the moves is not known until V3.
    text = LINE["offsets"].replace("V2,3,S1,-42,5,um,12,12\n", "").replace("V2,2,S1,-50,5,um,4,4\n", "")
    assert _moved(store_of({**LINE, "offsets": text}), "S1", "v") == [
        ("V1", "V2", -30.0, 5.0),
        ("V3", "V4", -20.0, 13.0),
    ]
