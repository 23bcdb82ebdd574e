"""The ways of choosing over groups of lines, through the real import: four small lines worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import pytest
from record_sources import NOW
from scipy import stats

from dashboard.components.rich import plain
from dashboard.pages.cold_by_way import by_way_lead
from fleet.errors import NotFoundError
from fleet.services.cold_offset_groups import (
    BINS,
    WAYS,
    ComparisonRow,
    Group,
    GroupBy,
    Way,
    WayInGroup,
    WaysView,
    comparison_rows,
    ways_view,
)
from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.measured_rises import StationRise, measured_rises
from fleet.store.engine import Store
from fleet.values import Axis

# L1 and L2: 100 mm, so 150 um down by the plant's own points; L3: 150 mm, 250 um down. L4 has never run. L1 has a
# heat model: flat saddle, gearbox and base at 20 C, so 11.5e-6 x 100 mm x 180 K = 207 um up at both stations.
PLANT = {
    "sites": "site,time_zone\nEA,Pacific/Auckland\nEB,UTC\nEC,UTC\n",
    "lines": "line,site,screw_diameter_mm\nL1,EA,100\nL2,EA,100\nL3,EB,150\nL4,EC,\n",
    "gearboxes": "gearbox,centre_height_mm\nG1,600\n",
    "barrels": "barrel,bore_mm,outside_diameter_mm,length_mm,expansion_per_k\nB1,100,200,3000,0.0000115\n",
    "placements": "line,asset_kind,asset,installed_on\nL1,gearbox,G1,2015-01-01\nL1,barrel,B1,2015-01-01\n",
    "supports": "line,support,distance_mm,height_mm,saddle,vee_angle_deg,carries\n"
    "L1,U1,1000,700,flat,,rigid\nL1,U2,2000,700,flat,,rigid\nL2,U1,1000,700,vee,90,rigid\nL3,U1,1000,700,flat,,rigid\n",
    "stations": "line,station,distance_mm,support\nL1,S2,2000,U2\nL1,S1,1000,U1\nL2,S1,1000,U1\nL3,S1,1000,U1\n"
    "L4,S1,1000,\n",
    "settings": "site,name,value\n,bore_size_points,50:50;150:250\n",
    # L3 has no width, so no run of it is within or beyond one.
    "tolerances": "line,axis,watch_um,limit_um\nL1,v,80,150\nL2,v,50,100\nL1,h,15,25\nL2,h,15,25\n",
}
HEAD = "line,checked_at,station,v_rise,h_rise,unit,u,barrel_c,gearbox_c,base_c,hours_since_heats_on\n"
HOT, UNKNOWN = "200,20,20,48", ",,,"
# Runs of L1: A on 1 February 2020 at the site, B in two checks two days apart (one run), C. L2 and L3: two runs each.
L1_RUNS = (
    ("2020-01-31T20:00Z", "S1", 160, 10),
    ("2020-01-31T20:00Z", "S2", 240, -20),
    ("2021-02-01T10:00", "S1", 130, 6),
    ("2021-02-01T10:00", "S2", 130, 6),
    ("2021-02-03T10:00", "S1", 170, -6),
    ("2021-02-03T10:00", "S2", 170, -6),
    ("2022-02-01T10:00", "S1", 250, 30),
)
OTHER_RUNS = (
    ("L2", "2020-03-01T10:00", 90, 20),
    ("L2", "2021-03-01T10:00", 210, None),
    ("L3", "2020-04-01T10:00", 250, -10),
    ("L3", "2021-04-01T10:00", 310, 10),
)


def l1_checks(temperatures: str) -> str:
    return HEAD + "".join(f"L1,{when},{s},{v},{h},um,10,{temperatures}\n" for when, s, v, h in L1_RUNS)


OTHER_CHECKS = "".join(
    f"{line},{when},S1,{v},{'' if h is None else h},um,10,{UNKNOWN}\n" for line, when, v, h in OTHER_RUNS
)
FLEET = {**PLANT, "running_checks": l1_checks(HOT) + OTHER_CHECKS}

# Where each run would have come out, v, by hand; one entry a run: (mean of its rows, mean of their squares).
# No offset, at the rise: A 160 240; B 130 130 170 170; C 250; L2 90 | 210; L3 250 | 310.
# Rule of thumb, less 150 or 250: A 10 90; B -20 -20 20 20; C 100; L2 -60 | 60; L3 0 | 60.
# Heat model, less 207, L1 only: A -47 33; B -77 -77 -37 -37; C 43.
# Own record, less the mean of the line's other runs at that station (B's two checks there are one, 150):
#   A 160 - 200 = -40, 240 - 150 = 90; B 130 - 205 = -75, 170 - 205 = -35, 130 - 240 = -110, 170 - 240 = -70;
#   C 250 - 155 = 95; L2 90 - 210 = -120, 120; L3 -60, 60.
Runs = list[tuple[float, float]]
V_L1: dict[Way, Runs] = {
    "none": [(200.0, 41_600.0), (150.0, 22_900.0), (250.0, 62_500.0)],
    "bore_size": [(50.0, 4_100.0), (0.0, 400.0), (100.0, 10_000.0)],
    "heat_model": [(-7.0, 1_649.0), (-57.0, 3_649.0), (43.0, 1_849.0)],
    "own_record": [(25.0, 4_850.0), (-72.5, 5_962.5), (95.0, 9_025.0)],
}
V_L2: dict[Way, Runs] = {
    "none": [(90.0, 8_100.0), (210.0, 44_100.0)],
    "bore_size": [(-60.0, 3_600.0), (60.0, 3_600.0)],
    "own_record": [(-120.0, 14_400.0), (120.0, 14_400.0)],
}
V_L3: dict[Way, Runs] = {
    "none": [(250.0, 62_500.0), (310.0, 96_100.0)],
    "bore_size": [(0.0, 0.0), (60.0, 3_600.0)],
    "own_record": [(-60.0, 3_600.0), (60.0, 3_600.0)],
}
# h: nothing is set sideways by the first three ways. A 10 -20; B 6 6 -6 -6; C 30; L2 20 | not measured; L3 -10 | 10.
# Own record: A S1 10 - (0 + 30) / 2 = -5, S2 -20 - 0 = -20; B S1 6 - 20 = -14, -6 - 20 = -26, S2 6 + 20 = 26,
#   -6 + 20 = 14; C 30 - (10 + 0) / 2 = 25; L2 has no other run; L3 -20 | 20.
H_L1: dict[Way, Runs] = {
    "none": [(-5.0, 250.0), (0.0, 36.0), (30.0, 900.0)],
    "bore_size": [(-5.0, 250.0), (0.0, 36.0), (30.0, 900.0)],
    "heat_model": [(-5.0, 250.0), (0.0, 36.0), (30.0, 900.0)],
    "own_record": [(-12.5, 212.5), (0.0, 436.0), (25.0, 625.0)],
}
H_L2: dict[Way, Runs] = {"none": [(20.0, 400.0)], "bore_size": [(20.0, 400.0)], "heat_model": [(20.0, 400.0)]}
H_L3: dict[Way, Runs] = {
    "none": [(-10.0, 100.0), (10.0, 100.0)],
    "bore_size": [(-10.0, 100.0), (10.0, 100.0)],
    "heat_model": [(-10.0, 100.0), (10.0, 100.0)],
    "own_record": [(-20.0, 400.0), (20.0, 400.0)],
}
BY_HAND: dict[Axis, dict[str, dict[Way, Runs]]] = {
    "v": {"L1": V_L1, "L2": V_L2, "L3": V_L3, "L4": {}},
    "h": {"L1": H_L1, "L2": H_L2, "L3": H_L3, "L4": {}},
}


@pytest.fixture
def store(store_of: Callable[..., Store]) -> Store:
    return store_of(FLEET)


def seen(store: Store, axis: Axis = "v", by: GroupBy = "size", site: str | None = None) -> WaysView:
    return ways_view(store, axis=axis, by=by, site=site, now=NOW)


def way_of(group: Group, name: Way) -> WayInGroup:
    (way,) = [way for way in group.ways if way.way == name]
    return way


def assert_as_by_hand(group: Group, axis: Axis, lines: tuple[str, ...]) -> None:
    """Hold four ways of a group to the runs by hand: a run counts once, whatever its stations and checks."""
    for name in WAYS[:4]:
        runs = [run for line in lines for run in BY_HAND[axis][line].get(name, [])]
        way, n = way_of(group, name), len(runs)
        assert way.runs == n, name
        if n == 0:
            assert (way.bias_um, way.rms_um, way.u95_bias_um) == (None, None, None)
            continue
        bias = sum(mean for mean, _ in runs) / n
        squares = [square for _, square in runs]
        assert way.bias_um == pytest.approx(bias, abs=1e-6), name
        assert way.rms_um == pytest.approx(sqrt(sum(squares) / n), abs=1e-6), name
        if n == 1:
            assert (way.u95_bias_um, way.u95_rms_um) == (None, None)
            continue
        # Student's factor with one degree of freedom less than runs, from scipy.stats (an outside implementation).
        factor = float(stats.t.ppf(0.975, n - 1))
        scatter = sqrt(sum((mean - bias) ** 2 for mean, _ in runs) / (n - 1))
        assert way.u95_bias_um == pytest.approx(factor * scatter / sqrt(n), rel=1e-6), name
        # Efron and Tibshirani (1993), An Introduction to the Bootstrap, equation 11.5.
        without = [sqrt((sum(squares) - square) / (n - 1)) for square in squares]
        centre = sum(without) / n
        error = sqrt((n - 1) / n * sum((one - centre) ** 2 for one in without))
        assert way.u95_rms_um == pytest.approx(factor * error, rel=1e-6, abs=1e-6), name


@pytest.mark.parametrize("axis", ["v", "h"])
def test_over_the_fleet_every_run_counts_once_however_many_stations_and_checks_it_has(store: Store, axis: Axis) -> None:
    fleet = seen(store, axis).fleet
    assert (fleet.lines, fleet.checked, fleet.screw_mm) == (4, 3, (100.0, 150.0))
    assert fleet.runs == {"v": 7, "h": 6}[axis]
    assert_as_by_hand(fleet, axis, ("L1", "L2", "L3"))


def test_bias_and_root_mean_square_of_the_rule_of_thumb_over_the_fleet_in_plain_figures(store: Store) -> None:
    way = way_of(seen(store).fleet, "bore_size")
    # (50 + 0 + 100 - 60 + 60 + 0 + 60) / 7 = 210 / 7; (4100 + 400 + 10000 + 3600 + 3600 + 0 + 3600) / 7 = 25300 / 7
    assert (way.bias_um, way.rms_um) == (pytest.approx(30.0), pytest.approx(60.119, abs=0.001))
    # Departures 20 -30 70 -90 30 -30 30, squares 17 000: sqrt(17000 / 42) = 20.119, times 2.447 (JCGM 100:2008, table
    # G.2, 6 degrees of freedom, 95 %: 2.45)
    assert way.u95_bias_um == pytest.approx(2.45 * 20.119, rel=0.002)
    rule_sideways = way_of(seen(store, "h").fleet, "bore_size")
    # (-5 + 0 + 30 + 20 - 10 + 10) / 6 = 45 / 6; (250 + 36 + 900 + 400 + 100 + 100) / 6 = 1786 / 6
    assert (rule_sideways.bias_um, rule_sideways.rms_um) == (pytest.approx(7.5), pytest.approx(17.253, abs=0.001))


@pytest.mark.parametrize("axis", ["v", "h"])
def test_lines_of_one_screw_size_are_judged_together_smallest_first_and_unknown_last(store: Store, axis: Axis) -> None:
    small, large, unknown = seen(store, axis).groups
    assert [group.screw_mm for group in (small, large, unknown)] == [(100.0, 100.0), (150.0, 150.0), None]
    assert [(group.lines, group.checked) for group in (small, large, unknown)] == [(2, 2), (1, 1), (1, 0)]
    assert [group.runs for group in (small, large, unknown)] == {"v": [5, 2, 0], "h": [4, 2, 0]}[axis]
    assert_as_by_hand(small, axis, ("L1", "L2"))
    assert_as_by_hand(large, axis, ("L3",))
    assert_as_by_hand(unknown, axis, ("L4",))


@pytest.mark.parametrize("axis", ["v", "h"])
def test_lines_on_one_saddle_are_judged_together_whatever_their_size(store: Store, axis: Axis) -> None:
    flat, vee, unknown = seen(store, axis, "saddle").groups
    assert [group.name for group in (flat, vee, unknown)] == ["flat", "vee", ""]
    assert flat.screw_mm == (100.0, 150.0)
    assert_as_by_hand(flat, axis, ("L1", "L3"))
    assert_as_by_hand(vee, axis, ("L2",))
    assert_as_by_hand(unknown, axis, ("L4",))


@pytest.mark.parametrize("axis", ["v", "h"])
def test_sites_group_lines_and_one_site_alone_is_its_group(store: Store, axis: Axis) -> None:
    view = seen(store, axis, "site")
    assert ([group.name for group in view.groups], view.sites) == (["EA", "EB", "EC"], ("EA", "EB", "EC"))
    assert_as_by_hand(view.groups[0], axis, ("L1", "L2"))
    alone = seen(store, axis, site="EA")
    assert_as_by_hand(alone.fleet, axis, ("L1", "L2"))
    assert alone.fleet.ways == view.groups[0].ways
    assert [line.line for line in alone.lines] == ["L1", "L2"]


@pytest.mark.parametrize("axis", ["v", "h"])
def test_every_line_alone_is_judged_by_its_own_runs(store: Store, axis: Axis) -> None:
    lines = seen(store, axis).lines
    assert [(line.line, line.site, line.saddle) for line in lines] == [
        ("L1", "EA", "flat"), ("L2", "EA", "vee"), ("L3", "EB", "flat"), ("L4", "EC", ""),
    ]  # fmt: skip
    for line in lines:
        assert_as_by_hand(line.group, axis, (line.line,))


@pytest.mark.parametrize(
    ("axis", "by", "at", "name", "watch", "limit"),
    [
        # Rule of thumb, v. Watch 80 and 150 on L1: A 10 yes 90 no; B all; C 100 no: 1/2, 1, 0. Watch 50 on L2: 60 no,
        # 60 no. Limit 150 and 100: all. L3 has no width.
        ("v", None, 0, "bore_size", (0.5 + 1.0 + 0.0 + 0.0 + 0.0) / 5.0, 1.0),
        ("v", "size", 0, "bore_size", 1.5 / 5.0, 1.0),
        ("v", "saddle", 0, "bore_size", 1.5 / 3.0, 1.0),
        ("v", "saddle", 1, "bore_size", 0.0, 1.0),
        # No offset, v. Limit 150: A 160 240 no; B 130 130 yes 170 170 no; C no. Limit 100: 90 yes, 210 no.
        ("v", None, 0, "none", 0.0, (0.0 + 0.5 + 0.0 + 1.0 + 0.0) / 5.0),
        ("v", "saddle", 0, "none", 0.0, 0.5 / 3.0),
        ("v", "saddle", 1, "none", 0.0, 0.5),
        # h, watch 15 and limit 25: A 10 yes 20 no, both within 25; B all; C 30 neither; L2 20: beyond watch, in limit.
        ("h", None, 0, "none", (0.5 + 1.0 + 0.0 + 0.0) / 4.0, (1.0 + 1.0 + 0.0 + 1.0) / 4.0),
        ("h", "size", 0, "none", 1.5 / 4.0, 3.0 / 4.0),
        ("h", "saddle", 0, "none", 1.5 / 3.0, 2.0 / 3.0),
        ("h", "saddle", 1, "none", 0.0, 1.0),
    ],
)  # fmt: skip
def test_shares_within_watch_and_limit_are_means_over_runs_that_have_a_width(
    store: Store, axis: Axis, by: GroupBy | None, at: int, name: Way, watch: float, limit: float
) -> None:
    view = seen(store, axis, by or "size")
    way = way_of(view.fleet if by is None else view.groups[at], name)
    assert way.within_watch is not None
    assert way.within_limit is not None
    assert (way.within_watch.share, way.within_limit.share) == (pytest.approx(watch), pytest.approx(limit))


def test_lines_without_a_width_have_no_share(store: Store) -> None:
    way = way_of(seen(store).groups[1], "bore_size")
    assert (way.runs, way.within_watch, way.within_limit) == (2, None, None)


@pytest.mark.parametrize(
    ("by", "at", "share", "runs"),
    [(None, 0, 0.3, 5), ("size", 0, 0.3, 5), ("saddle", 0, 0.5, 3), ("saddle", 1, 0.0, 2)],
)
def test_the_range_of_a_share_counts_only_the_runs_that_have_a_width(
    store: Store, by: GroupBy | None, at: int, share: float, runs: int
) -> None:
    # Agresti and Coull (1998), The American Statistician 52, 119-126, with one success and one failure added.
    view = seen(store, by=by or "size")
    got = way_of(view.fleet if by is None else view.groups[at], "bore_size").within_watch
    middle = (share * runs + 1.0) / (runs + 2.0)
    half = float(stats.norm.ppf(0.975)) * sqrt(middle * (1.0 - middle) / (runs + 2.0))
    assert got is not None
    assert got.low == pytest.approx(min(max(middle - half, 0.0), share), abs=1e-4)
    assert got.high == pytest.approx(max(min(middle + half, 1.0), share), abs=1e-4)


def test_the_closest_way_and_what_cannot_be_told_from_it(store_of: Callable[..., Store]) -> None:
    # L1 without temperatures has no heat model, so nothing to pool. Root mean squares over A, B and C:
    # rule of thumb sqrt(14500 / 3) = 69.52, own record sqrt(19837.5 / 3) = 81.32, no offset sqrt(127000 / 3) = 205.75.
    # Own less rule: 11.80. Without A, B, C in turn: 86.57 - 72.11, 83.29 - 83.96, 73.53 - 47.43 = 14.45, -0.68, 26.10,
    # mean 13.29; jackknife error sqrt(2/3 x (1.16^2 + 13.97^2 + 12.81^2)) = 15.5, more than 11.80: a tie.
    # No offset less rule: 136.2, far above its own error of about 22.
    (line,) = seen(store_of({**PLANT, "running_checks": l1_checks(UNKNOWN)}), site="EA").lines[:1]
    assert [way.runs for way in line.group.ways] == [3, 3, 0, 3, 0]
    assert (line.group.closest, line.group.as_good) == ("bore_size", ("own_record",))


def test_two_runs_call_no_way_closest(store: Store) -> None:
    group = seen(store, by="saddle").groups[1]
    assert (group.runs, group.closest, group.as_good) == (2, None, ())


def test_the_picture_counts_every_run_and_station_that_has_a_limit_as_a_share_of_it(store: Store) -> None:
    none, rule = seen(store).spreads[:2]
    # No offset over its limit: 160 240 130 130 170 170 250 by 150 and 90 210 by 100; 240, 250 and 210 exceed 1.3.
    assert (sum(none.counts), none.below, none.above) == (6, 0, 3)
    assert none.mean == pytest.approx((1250.0 / 150.0 + 300.0 / 100.0) / 9.0)
    # Rule: 10 90 -20 -20 20 20 100 by 150, -60 60 by 100. Steps of 2.6 / 53: the middle one is 26, about zero;
    # -0.6 lies (1.3 - 0.6) / (2.6 / 53) = 14.27 steps up, 0.6 lies 38.73 steps up (as does 90 / 150).
    assert (len(rule.counts), sum(rule.counts), rule.below, rule.above) == (BINS, 9, 0, 0)
    assert (rule.counts[14], rule.counts[38]) == (1, 2)


def test_a_site_without_checks_is_an_empty_group_with_a_sentence(store: Store) -> None:
    view = seen(store, site="EC")
    assert (view.fleet.lines, view.fleet.checked, view.fleet.runs) == (1, 0, 0)
    assert (view.fleet.closest, view.fleet.as_good, len(view.groups)) == (None, (), 1)
    for way in view.fleet.ways:
        assert way == WayInGroup(way.way, 0, None, None, None, None, None, None)
    assert all((sum(s.counts), s.below, s.above, s.mean) == (0, 0, 0, None) for s in view.spreads)
    assert (
        plain(by_way_lead(view, "mm")) == "No running check on any of 1 line: nothing tells which way comes out right."
    )


@pytest.mark.parametrize("by", ["size", "saddle", "site"])
def test_a_site_that_no_line_has_leaves_nothing(store: Store, by: GroupBy) -> None:
    view = seen(store, by=by, site="nowhere")
    assert (view.groups, view.lines, view.fleet.lines, view.fleet.runs) == ((), (), 0, 0)


def test_a_store_without_lines_has_no_ways_and_no_rows(store_of: Callable[..., Store]) -> None:
    store = store_of()
    assert (seen(store).lines, seen(store).groups, comparison_rows(store, now=NOW)) == ((), (), [])


def by_row(rows: list[ComparisonRow]) -> dict[tuple[str, str, str, str], ComparisonRow]:
    keyed = {(row.line, row.station, row.axis, row.way): row for row in rows}
    assert len(keyed) == len(rows)
    return keyed


@pytest.mark.parametrize("of", ["by hand", "mill-c"])
def test_handed_over_rows_say_what_the_command_says_of_every_station(request: pytest.FixtureRequest, of: str) -> None:
    store: Store = request.getfixturevalue("store" if of == "by hand" else "mill_c")
    handed, told = by_row(comparison_rows(store, now=NOW)), cold_offset_rows(store, now=NOW)
    assert len(handed) == 5 * len(told) > 0
    for row in told:
        for way in row.ways:
            got = handed[row.line, row.station, row.axis, way.way]
            assert (got.cold_target_um, got.runs, got.bias_um, got.rms_um) == (
                way.target_um, way.runs, way.bias_um, way.rms_um,
            )  # fmt: skip
            assert (got.share_within_watch, got.share_within_limit) == (way.within_watch, way.within_limit)
            assert got.recommended == (row.recommended.way == way.way)
            assert got.expected_running_um == (row.recommended.expected_running_um if got.recommended else None)


def test_handed_over_rows_by_hand(store: Store) -> None:
    got = by_row(comparison_rows(store, line="L1", now=NOW))["L1", "S1", "v", "bore_size"]
    # Of S1 alone: A 10; B -20 and 20; C 100: means 10 0 100, squares 100 400 10000; within 80: 1, 1, 0; within 150: all
    assert (got.cold_target_um, got.runs, got.site) == (pytest.approx(-150.0), 3, "EA")
    assert (got.bias_um, got.rms_um) == (pytest.approx(110.0 / 3.0), pytest.approx(sqrt(10_500.0 / 3.0)))
    assert (got.share_within_watch, got.share_within_limit) == (pytest.approx(2.0 / 3.0), 1.0)
    # Departures -80/3, -110/3, 190/3: squares 54600 / 9, over 2 x 3.
    assert got.u95_bias_um == pytest.approx(float(stats.t.ppf(0.975, 2)) * sqrt(54_600.0 / 9.0 / 6.0), rel=1e-6)


def test_handed_over_rows_of_a_line_or_a_site_are_those_rows_of_the_whole(store: Store) -> None:
    whole = comparison_rows(store, now=NOW)
    assert [row.line for row in whole[:: 2 * len(WAYS)]] == ["L1", "L1", "L2", "L3", "L4"]
    assert comparison_rows(store, line="L2", now=NOW) == [row for row in whole if row.line == "L2"]
    assert comparison_rows(store, site="EA", now=NOW) == [row for row in whole if row.line in ("L1", "L2")]
    with pytest.raises(NotFoundError):
        comparison_rows(store, line="L9", now=NOW)


def test_measured_rises_are_means_over_runs_from_the_flange_outward(store: Store) -> None:
    first, second = measured_rises(store, "L1", now=NOW)
    # S1: 160, (130 + 170) / 2 = 150, 250: mean 186.67, departures -26.67 -36.67 63.33, squares 6066.7 over 2 x 3
    assert (first.station, first.support, first.distance_mm) == ("S1", "U1", 1000.0)
    # The first check was made on 31 January, 20:00 UTC: 1 February at the site.
    assert [(day.isoformat(), rise) for day, rise in first.runs] == [
        ("2020-02-01", pytest.approx(160.0)), ("2021-02-01", pytest.approx(150.0)),
        ("2022-02-01", pytest.approx(250.0)),
    ]  # fmt: skip
    assert first.mean_um == pytest.approx(560.0 / 3.0)
    assert first.u95_mean_um == pytest.approx(float(stats.t.ppf(0.975, 2)) * sqrt(6066.667 / 6.0), rel=1e-5)
    # S2: 240 and 150. Two runs are too few to tell their scatter: each stated as 10 um, the mean as 10 / sqrt(2).
    assert (second.station, [rise for _, rise in second.runs]) == ("S2", pytest.approx([240.0, 150.0]))
    assert second.mean_um == pytest.approx(195.0)
    assert second.u95_mean_um == pytest.approx(float(stats.norm.ppf(0.975)) * 10.0 / sqrt(2.0), rel=1e-4)


def test_a_line_that_never_ran_has_no_measured_rise_and_an_unknown_line_is_said(store: Store) -> None:
    nothing: tuple[StationRise, ...] = ()
    assert measured_rises(store, "L4", now=NOW) == nothing
    with pytest.raises(NotFoundError):
        measured_rises(store, "L9", now=NOW)
