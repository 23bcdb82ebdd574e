"""Cold offsets: what each way would have come to on past runs, worked out again by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from math import radians, sin, sqrt

import pytest
from record_sources import MILLS, NOW, rows_of, to_um

from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.cold_offsets_page import cold_offsets_view
from fleet.services.rows import ColdOffsetRow, OffsetRow, WayRow
from fleet.store.engine import Store

WAYS = ["none", "bore_size", "heat_model", "own_record", "pooled"]
DROP_150_MM = 63.5 + (150.0 - 63.5) * (254.0 - 63.5) / (152.4 - 63.5)
"""The rule between a 2.5 in barrel 0.0025 in low and a 6 in barrel 0.010 in low: common practice, no source."""


def _row(rows: list[ColdOffsetRow], line: str, station: str, axis: str = "v") -> ColdOffsetRow:
    (row,) = [r for r in rows if (r.line, r.station, r.axis) == (line, station, axis)]
    return row


def _way(row: ColdOffsetRow, name: str) -> WayRow:
    (way,) = [way for way in row.ways if way.way == name]
    return way


def test_every_station_and_axis_has_the_five_ways_in_order(comparison: list[ColdOffsetRow]) -> None:
    assert len(comparison) == 2 * sum(len(rows_of(mill, "stations")) for mill in ("mill-a", "mill-b", "mill-c"))
    assert all([way.way for way in row.ways] == WAYS for row in comparison)


@pytest.mark.parametrize(("station", "axis"), [("S1", "v"), ("S1", "h"), ("S2", "v"), ("S2", "h")])
def test_a_run_ran_where_the_last_as_left_and_its_rise_put_it(
    comparison: list[ColdOffsetRow], offsets: list[OffsetRow], station: str, axis: str
) -> None:
    started = {row["session"]: row["started_at"] for row in rows_of("mill-a", "sessions")}
    lefts = [r for r in offsets if (r.line, r.station, r.phase) == ("A02", station, "as_left")]
    expected = []
    for check in rows_of("mill-a", "running_checks"):
        if (check["line"], check["station"]) == ("A02", station):
            before = [r for r in lefts if started[r.session] <= check["checked_at"]]
            last = max(before, key=lambda r: started[r.session])
            left = last.v_cold_um if axis == "v" else last.h_cold_um
            rise = to_um(check[f"{axis}_rise"], check["unit"])
            expected.append((check["checked_at"], rise, left + rise))
    got = [
        (c.checked_at.replace(tzinfo=None).isoformat(timespec="minutes"), c.rise_um, c.ran_um)
        for c in _row(comparison, "A02", station, axis).checks
    ]
    assert len(got) == 3
    assert [when for when, _, _ in got] == [when for when, _, _ in expected]
    for (_, rise, ran), (_, rise_by_hand, ran_by_hand) in zip(got, expected, strict=True):
        assert rise == pytest.approx(rise_by_hand, abs=1e-9)
        assert ran == pytest.approx(ran_by_hand, abs=1e-9)


def test_without_an_offset_a_line_would_have_run_at_its_rise(comparison: list[ColdOffsetRow]) -> None:
    way = _way(_row(comparison, "A02", "S1"), "none")
    # From running_checks.csv: 289, 285 and 240 um.
    assert way.target_um == 0.0
    assert [c.would_have_run_um for c in way.checks] == pytest.approx([289.0, 285.0, 240.0])
    assert way.runs == 3
    assert way.bias_um == pytest.approx((289.0 + 285.0 + 240.0) / 3.0)
    assert way.rms_um == pytest.approx(sqrt((289.0**2 + 285.0**2 + 240.0**2) / 3.0))
    # Watch 69 and limit 125 um: never within either.
    assert (way.within_watch, way.within_limit) == (0.0, 0.0)


def test_the_rule_of_thumb_would_have_run_at_the_rise_less_the_drop(comparison: list[ColdOffsetRow]) -> None:
    way = _way(_row(comparison, "A02", "S1"), "bore_size")
    assert way.target_um == pytest.approx(-DROP_150_MM, abs=0.01)
    assert [c.would_have_run_um for c in way.checks] == pytest.approx(
        [289.0 - DROP_150_MM, 285.0 - DROP_150_MM, 240.0 - DROP_150_MM], abs=0.01
    )
    assert (way.within_watch, way.within_limit) == (1.0, 1.0)


def test_the_rule_of_thumb_is_straight_from_the_flange_to_the_first_support(comparison: list[ColdOffsetRow]) -> None:
    # A03: 150 mm bore; S1 at 1060 mm before U1 at 1800, S2 at U1, S3 at U2.
    targets = [_way(_row(comparison, "A03", s), "bore_size").target_um for s in ("S1", "S2", "S3")]
    assert targets == pytest.approx([-DROP_150_MM * 1060.0 / 1800.0, -DROP_150_MM, -DROP_150_MM], abs=0.01)


def test_the_heat_model_targets_minus_the_rise_at_the_median_running_temperatures(
    comparison: list[ColdOffsetRow],
) -> None:
    # A02 at U1: 285 mm outside on a vee of 90 degrees, 800 mm high; cold at 20 C.
    # Medians of its checks: barrel 203 C, oil 65 C, base 29 C.
    # The formulas are those of a rod between two surfaces that grows as alpha * length * dT (EN 1993-1-2, 3.4.1.1).
    radius_um, half = 142_500.0, radians(45.0)
    over_saddle = 12.1e-6 * radius_um * (203.0 - 20.0) / sin(half)
    base = 11.0e-6 * (800_000.0 - radius_um / sin(half)) * (29.0 - 20.0)
    gearbox = 11.0e-6 * 800_000.0 * (65.0 - 20.0) * 0.6  # 0.6 of the oil's rise: from memory
    way = _way(_row(comparison, "A02", "S1"), "heat_model")
    assert way.target_um == pytest.approx(-(over_saddle + base - gearbox), abs=0.1)
    assert [c.would_have_run_um for c in way.checks] == pytest.approx(
        [rise - (over_saddle + base - gearbox) for rise in (289.0, 285.0, 240.0)], abs=0.1
    )


def test_the_horizontal_target_is_zero_for_the_first_three_ways(comparison: list[ColdOffsetRow]) -> None:
    rows = [row for row in comparison if row.axis == "h" and row.line.startswith("A")]
    assert rows
    for row in rows:
        for way in row.ways[:3]:
            assert way.target_um in (0.0, None)


def test_a_way_that_learns_leaves_the_judged_run_out(comparison: list[ColdOffsetRow]) -> None:
    # With one's own record every run is judged by the others: its error cannot be smaller than with itself counted in.
    row = _row(comparison, "A02", "S1")
    way, rises = _way(row, "own_record"), [289.0, 285.0, 240.0]
    assert [c.would_have_run_um for c in way.checks] != pytest.approx([r - sum(rises) / 3 for r in rises], abs=1.0)
    assert way.checks[2].would_have_run_um < 0.0 < way.checks[0].would_have_run_um


def test_the_way_recommended_comes_out_closest_or_cannot_be_told_from_it(comparison: list[ColdOffsetRow]) -> None:
    judged = [row for row in comparison if sum(way.runs >= 3 for way in row.ways) >= 2 and row.axis == "v"]
    assert len(judged) > 20
    for row in judged:
        assert row.recommended.way is not None
        chosen = _way(row, row.recommended.way)
        closest = min(way.rms_um for way in row.ways if way.rms_um is not None and way.runs >= 3)
        assert chosen.rms_um is not None
        assert chosen.rms_um <= 2.0 * closest + 15.0
        assert row.recommended.target_um == chosen.target_um
        assert row.recommended.why.endswith(".")


def test_no_offset_is_never_recommended_where_lines_rise_a_quarter_of_a_millimetre(
    comparison: list[ColdOffsetRow],
) -> None:
    assert {_row(comparison, line, "S1").recommended.way for line in ("A02", "A03")} <= set(WAYS[1:])


def test_a_line_without_checks_has_no_runs_and_no_figures(comparison: list[ColdOffsetRow]) -> None:
    checked = {row["line"] for mill in ("mill-a", "mill-c") for row in rows_of(mill, "running_checks")}
    rows = [row for row in comparison if row.line not in checked]
    assert rows
    for row in rows:
        if row.line != "C03":
            assert row.checks == ()
            assert all(
                (way.runs, way.bias_um, way.rms_um, way.within_watch) == (0, None, None, None) for way in row.ways
            )


def test_a_hot_survey_counts_as_a_rise_from_the_last_as_left(
    comparison: list[ColdOffsetRow], offsets: list[OffsetRow]
) -> None:
    row = _row(comparison, "C03", "P3")
    hot = {c.checked_at.date().isoformat(): c.rise_um for c in row.checks if c.label == "hot, screw out"}
    surveys = {r["session"]: r["measured_at"][:10] for r in rows_of("mill-c", "surveys") if r["phase"] == "hot"}
    assert set(hot) == set(surveys.values()) == {"2020-11-26", "2026-09-22"}
    for session, day in surveys.items():
        of = {r.phase: r for r in offsets if (r.session, r.station) == (session, "P3")}
        assert hot[day] == pytest.approx(of["hot"].v_um - of["as_left"].v_cold_um, abs=1e-9)


def test_checks_before_the_line_has_soaked_are_marked_by_the_sites_setting(comparison: list[ColdOffsetRow]) -> None:
    site = {row["line"]: row["site"] for row in rows_of("mill-c", "lines")}
    marked = {True: 0, False: 0}
    labels = {
        (row.line, c.checked_at.replace(tzinfo=None).isoformat(timespec="minutes"), row.station): c.label
        for row in comparison
        if row.axis == "v"
        for c in row.checks
    }
    for check in rows_of("mill-c", "running_checks"):
        # settings.csv: 14 h at Quayle End; else 12 h (from memory).
        hours = float(check["hours_since_heats_on"] or "99")
        early = hours < (14.0 if site[check["line"]] == "QE" else 12.0)
        when = datetime.fromisoformat(check["checked_at"].replace("Z", "+00:00")).replace(tzinfo=None)
        label = labels[check["line"], when.isoformat(timespec="minutes"), check["station"]]
        assert label == ("running, before soak" if early else "running")
        marked[early] += 1
    assert min(marked.values()) > 3


def test_a_check_relative_to_the_floor_has_the_gearbox_rise_taken_off(comparison: list[ColdOffsetRow]) -> None:
    floor = [
        row for row in rows_of("mill-c", "running_checks") if row["relative_to"] == "floor" and row["gearbox_rise"]
    ]
    assert floor
    for check in floor:
        if check["zero_barrel_c"] or check["zero_gearbox_c"] or check["zero_base_c"]:
            continue
        (got,) = [
            c.rise_um
            for c in _row(comparison, check["line"], check["station"]).checks
            if c.checked_at.replace(tzinfo=None) == datetime.fromisoformat(check["checked_at"])
        ]
        by_hand = to_um(check["v_rise"], check["unit"]) - to_um(check["gearbox_rise"], check["unit"])
        assert got == pytest.approx(by_hand, abs=1e-6)


def test_the_plants_own_points_replace_the_rule_of_thumb(store_of: Callable[..., Store]) -> None:
    plain = {
        "sites": "site\nEA\n",
        "lines": "line,site,screw_diameter_mm\nL1,EA,100\n",
        "supports": "line,support,distance_mm,carries\nL1,U1,1000,rigid\nL1,U2,3000,rigid\n",
        "stations": "line,station,distance_mm,support\nL1,S1,1000,U1\nL1,S2,3000,U2\n",
        "settings": "site,name,value\n,bore_size_points,50:50;150:250\n",
    }
    rows = cold_offset_rows(store_of(plain), now=NOW)
    assert [_way(_row(rows, "L1", s), "bore_size").target_um for s in ("S1", "S2")] == pytest.approx([-150.0, -150.0])
    last = {**plain, "settings": plain["settings"] + "EA,bore_size_shape,last_support\n"}
    rows = cold_offset_rows(store_of(last), now=NOW)
    assert [_way(_row(rows, "L1", s), "bore_size").target_um for s in ("S1", "S2")] == pytest.approx([-50.0, -150.0])


def test_the_page_shows_the_same_figures_as_the_rows(mill_c: Store) -> None:
    view = cold_offsets_view(mill_c, "C04", station="P4", axis="v", now=NOW)
    row = _row(cold_offset_rows(mill_c, line="C04", now=NOW), "C04", "P4")
    assert (view.station, view.axis, view.recommended_way) == ("P4", "v", row.recommended.way)
    assert view.recommended_target_um == row.recommended.target_um
    for shown, printed in zip(view.ways, row.ways, strict=True):
        assert (shown.way, shown.target_um, shown.runs, shown.bias_um, shown.rms_um) == (
            printed.way, printed.target_um, printed.runs, printed.bias_um, printed.rms_um,
        )  # fmt: skip
        assert list(shown.would_have_run_um) == [c.would_have_run_um for c in printed.checks]
    assert [c.rise_um for c in view.checks] == [c.rise_um for c in reversed(row.checks)]
    assert (view.watch_um, view.limit_um) == (82.0, 150.0)


def test_the_page_opens_at_the_last_station_with_checks(mill_c: Store) -> None:
    checked = [row["station"] for row in rows_of("mill-c", "running_checks") if row["line"] == "C01"]
    view = cold_offsets_view(mill_c, "C01", now=NOW)
    assert (view.station, view.axis) == (max(checked), "v")
    assert MILLS.exists()
    assert view.stations == ("P1", "P2", "P3")


def test_the_parts_of_a_modelled_rise_add_up(mill_c: Store) -> None:
    view = cold_offsets_view(mill_c, "C03", station="P4", axis="v", now=NOW)
    assert [part.support for part in view.parts] == ["U1", "U2", "U3"]
    for part in view.parts:
        assert part.total_um == pytest.approx(part.barrel_um + part.base_um + part.gearbox_um, abs=1e-9)
        assert part.gearbox_um < 0.0 < part.barrel_um
