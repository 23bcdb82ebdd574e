"""The five ways: by hand on one line, each best where it is built to be, and no run helping itself."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal.choices import BORE_SIZE, HEAT_MODEL, NONE, OWN_RECORD, POOLED, WAYS, Places, RunRows, compare, why
from fleet.values import IntArray

NAN = float("nan")
Table = TypeVar("Table", RunRows, Places)


def kept(table: Table, which: IntArray) -> Table:
    return replace(table, **{f.name: getattr(table, f.name)[which] for f in fields(table)})


def one_line(rises: list[float], **known: float) -> tuple[RunRows, Places]:
    """One line, one station, one run a rise; the heat model says 100 um each time unless told otherwise."""
    n = len(rises)
    say = {"u": 10.0, "modelled": 100.0, "u_modelled": 0.0, "as_left": -80.0, "bore_size": -60.0} | known
    zero = np.zeros(n, dtype=np.int64)
    rows = RunRows(
        line=zero,
        run=np.arange(n),
        station=zero,
        axis=zero + int(known.get("axis", 0)),
        cohort=zero,
        rise_um=np.array(rises),
        u_rise_um=np.full(n, say["u"]),
        modelled_um=np.full(n, say["modelled"]),
        u_modelled_um=np.full(n, say["u_modelled"]),
        as_left_um=np.full(n, say["as_left"]),
        watch_um=np.full(n, 50.0),
        limit_um=np.full(n, 100.0),
        u_modelled_record_um=np.full(n, say["u_modelled"]),
        counts=np.ones(n, dtype=np.bool_),
    )
    place = np.zeros(1, dtype=np.int64)
    places = Places(
        line=place,
        station=place,
        axis=place + int(known.get("axis", 0)),
        cohort=place,
        size=place,
        bore_size_um=np.array([say["bore_size"]]),
        model_median_um=np.array([say["modelled"]]),
        u_model_median_um=np.array([say["u_modelled"]]),
    )
    return rows, places


def test_a_target_is_minus_the_expected_rise_and_a_run_would_have_come_out_at_target_plus_rise() -> None:
    # by hand: rises 120, 130, 140, the model says 100; own record adds their mean of 30, without a run 35, 30, 25
    result = compare(*one_line([120.0, 130.0, 140.0]))
    np.testing.assert_allclose(result.target_um[0, :4], [0.0, -60.0, -100.0, -130.0])
    np.testing.assert_allclose(result.ran_um, [40.0, 50.0, 60.0])
    np.testing.assert_allclose(result.would_have_run_um[:, NONE], [120.0, 130.0, 140.0])
    np.testing.assert_allclose(result.would_have_run_um[:, BORE_SIZE], [60.0, 70.0, 80.0])
    np.testing.assert_allclose(result.would_have_run_um[:, HEAT_MODEL], [20.0, 30.0, 40.0])
    np.testing.assert_allclose(result.would_have_run_um[:, OWN_RECORD], [-15.0, 0.0, 15.0], atol=1e-9)
    assert result.by_place.rms_um[0, OWN_RECORD] == pytest.approx(np.sqrt(150.0))
    assert result.by_place.within_watch[0, HEAT_MODEL] == 1.0
    assert result.by_place.within_limit[0, NONE] == 0.0


def test_a_mean_weighs_runs_by_their_own_and_the_models_uncertainty() -> None:
    # by hand: u^2 + model u^2 = 900 + 1600 and 100 + 100: weights 0.0004 and 0.005; (50 x 4 + 10 x 50) / 54
    rows, places = one_line([150.0, 110.0])
    rows = replace(rows, u_rise_um=np.array([30.0, 10.0]), u_modelled_um=np.array([40.0, 10.0]))
    assert compare(rows, places).target_um[0, OWN_RECORD] == pytest.approx(-(100.0 + 700.0 / 54.0))


def test_a_run_with_many_rows_counts_once_in_the_record() -> None:
    # by hand: run 0 says 20 twice, run 1 says 50 once; the mean over runs is 35
    rows, places = one_line([120.0, 120.0, 150.0])
    rows = replace(rows, run=np.array([0, 0, 1]))
    assert compare(rows, places).target_um[0, OWN_RECORD] == pytest.approx(-135.0)


def test_a_run_that_would_look_better_with_itself_in_the_record_does_not_help_itself() -> None:
    # One run far from the rest: with itself in the mean it would have come out at 150, without at 200
    result = compare(*one_line([100.0, 100.0, 100.0, 300.0]))
    assert result.would_have_run_um[3, OWN_RECORD] == pytest.approx(200.0)
    assert result.would_have_run_um[3, POOLED] == pytest.approx(200.0)


def test_a_run_measured_twice_and_at_two_stations_is_left_out_whole() -> None:
    # station 0 twice and station 1 once in run 0; only run 1 may speak for run 0
    rows, places = one_line([500.0, 520.0, 480.0, 110.0, 120.0])
    station = np.array([0, 0, 1, 0, 1])
    rows = replace(rows, run=np.array([0, 0, 0, 1, 1]), station=station)
    places = kept(places, np.zeros(2, dtype=np.int64))
    places = replace(places, station=np.array([0, 1]))
    result = compare(rows, places)
    np.testing.assert_allclose(result.would_have_run_um[:3, OWN_RECORD], [390.0, 410.0, 360.0])
    assert (result.would_have_run_um[:3, POOLED] > 350.0).all()


def test_a_line_with_one_run_has_an_own_record_but_nothing_to_judge_it_by() -> None:
    result = compare(*one_line([130.0]))
    assert result.target_um[0, OWN_RECORD] == pytest.approx(-130.0)
    assert result.by_place.runs[0].tolist() == [1, 1, 1, 0, 0]
    assert np.isnan(result.would_have_run_um[0, [OWN_RECORD, POOLED]]).all()
    assert WAYS[result.choice.way[0]] == "pooled"
    assert "fewer than 3 past runs" in why(result, 0)


def test_sideways_the_first_three_ways_set_nothing_and_own_record_sets_what_was_measured() -> None:
    result = compare(*one_line([12.0, 14.0, 16.0], axis=1, modelled=0.0))
    np.testing.assert_allclose(result.target_um[0, :4], [0.0, 0.0, 0.0, -14.0])


def test_without_a_heat_model_a_lines_own_record_is_its_plain_mean_rise() -> None:
    result = compare(*one_line([120.0, 130.0, 140.0], modelled=NAN, u_modelled=NAN, bore_size=NAN))
    np.testing.assert_allclose(result.target_um[0], [0.0, NAN, NAN, -130.0, NAN])
    np.testing.assert_allclose(result.would_have_run_um[:, OWN_RECORD], [-15.0, 0.0, 15.0], atol=1e-9)
    assert WAYS[result.choice.way[0]] == "own_record"


def test_a_run_whose_temperatures_are_missing_is_judged_but_teaches_nothing() -> None:
    rows, places = one_line([120.0, 130.0, 500.0])
    rows = replace(rows, modelled_um=np.array([100.0, 100.0, NAN]), u_modelled_um=np.array([0.0, 0.0, NAN]))
    result = compare(rows, places)
    assert result.target_um[0, OWN_RECORD] == pytest.approx(-125.0)
    assert result.would_have_run_um[2, HEAT_MODEL] == pytest.approx(400.0)
    assert result.would_have_run_um[2, OWN_RECORD] == pytest.approx(375.0)


def fleet_of(lines: int, runs: int, rise_of: dict[str, object], seed: int) -> tuple[RunRows, Places]:
    """Synthetic truth: one station a line, every run measured to 5 um; `rise_of` gives the rise its parts."""
    rng = np.random.default_rng(seed)
    line = np.repeat(np.arange(lines), runs)
    n = line.size
    modelled = 100.0 + 20.0 * rng.standard_normal(n)
    bias_of_line = float(rise_of.get("sd_line", 0.0)) * rng.standard_normal(lines)  # type: ignore[arg-type]
    rise = float(rise_of.get("share", 1.0)) * modelled + float(rise_of.get("bias", 0.0)) + bias_of_line[line]  # type: ignore[arg-type]
    rise = rise + float(rise_of.get("sd_run", 5.0)) * rng.standard_normal(n)  # type: ignore[arg-type]
    zero = np.zeros(n, dtype=np.int64)
    median = np.array([np.median(modelled[line == k]) for k in range(lines)])
    rows = RunRows(
        line=line,
        run=np.arange(n),
        station=zero,
        axis=zero,
        cohort=zero,
        rise_um=rise,
        u_rise_um=np.full(n, 5.0),
        modelled_um=modelled,
        u_modelled_um=np.full(n, 25.0),
        as_left_um=np.full(n, NAN),
        watch_um=np.full(n, NAN),
        limit_um=np.full(n, NAN),
        u_modelled_record_um=np.full(n, 25.0),
        counts=np.ones(n, dtype=np.bool_),
    )
    place = np.zeros(lines, dtype=np.int64)
    places = Places(
        line=np.arange(lines),
        station=place,
        axis=place,
        cohort=place,
        size=place,
        bore_size_um=np.full(lines, float(rise_of.get("bore_size", -200.0))),  # type: ignore[arg-type]
        model_median_um=median,
        u_model_median_um=np.full(lines, 25.0),
    )
    return rows, places


@pytest.mark.parametrize(
    ("best", "runs", "rise_of"),
    [
        ("none", 4, {"share": 0.0}),
        ("bore_size", 4, {"share": 0.0, "bias": 200.0}),
        ("heat_model", 3, {"share": 1.0, "sd_run": 40.0}),
        ("own_record", 6, {"share": 1.0, "bias": 20.0, "sd_line": 120.0}),
        ("pooled", 3, {"share": 1.0, "bias": 60.0, "sd_line": 4.0, "sd_run": 40.0}),
    ],
)
def test_each_way_in_turn_comes_out_best_where_the_truth_is_built_for_it(
    best: str, runs: int, rise_of: dict[str, object]
) -> None:
    result = compare(*fleet_of(120, runs, rise_of, seed=11))
    rms = result.by_fleet.judgement.rms_um[0]
    if best in ("heat_model", "own_record"):
        # With nothing to learn, or nothing to share, pooling may come out alike but not better by a tenth.
        others = [w for w in range(len(WAYS)) if WAYS[w] not in (best, "pooled")]
        assert rms[WAYS.index(best)] < 0.95 * min(rms[others])
        assert rms[WAYS.index(best)] < 1.1 * rms[POOLED]
    else:
        assert WAYS[int(np.argmin(rms))] == best
        assert np.sort(rms)[0] < 0.95 * np.sort(rms)[1]
    # Few runs of one line leave much to chance, and ties go to earlier ways; yet most lines see the right way least.
    least = result.choice.way if best == "none" else result.choice.best
    assert WAYS[int(np.argmax(np.bincount(least)))] == best


def test_a_fleet_of_lines_judges_by_line_by_size_and_as_a_whole() -> None:
    # by hand: line 0 runs 10 and 20 off, line 1 (another size) 30 off
    rows, places = one_line([110.0, 120.0, 130.0])
    rows = replace(rows, line=np.array([0, 0, 1]))
    places = kept(places, np.zeros(2, dtype=np.int64))
    places = replace(places, line=np.array([0, 1]), size=np.array([7, 9]))
    result = compare(rows, places)
    heat = result.by_line.judgement.rms_um[:, HEAT_MODEL]
    np.testing.assert_allclose(heat, [np.sqrt(250.0), 30.0])
    assert result.by_size.key.tolist() == [7, 9]
    np.testing.assert_allclose(result.by_size.judgement.rms_um[:, HEAT_MODEL], heat)
    assert result.by_fleet.judgement.rms_um[0, HEAT_MODEL] == pytest.approx(np.sqrt((100.0 + 400.0 + 900.0) / 3.0))


def test_lines_not_asked_about_still_teach_and_are_not_judged() -> None:
    rows, places = fleet_of(30, 3, {"bias": 60.0, "sd_line": 3.0}, seed=4)
    few = compare(rows, kept(places, np.arange(2)))
    all_lines = compare(rows, places)
    np.testing.assert_allclose(few.target_um, all_lines.target_um[:2])
    assert (few.row_place[6:] == -1).all()
    assert np.isnan(few.would_have_run_um[6:]).all()
    assert few.by_fleet.judgement.runs[0, NONE] == 6


def test_the_expected_range_holds_the_next_run_as_often_as_it_says() -> None:
    # synthetic truth, 600 lines: the range from four judged runs holds a fifth in 95 % (three standard errors: 2.7 %)
    rows, places = fleet_of(600, 5, {"bias": 30.0, "sd_line": 30.0, "sd_run": 15.0}, seed=12)
    rows = replace(rows, modelled_um=np.full(3000, 100.0), u_modelled_um=np.full(3000, 25.0))
    rows = replace(rows, rise_um=rows.rise_um - fleet_of(600, 5, {"sd_run": 0.0}, seed=12)[0].rise_um + 100.0)
    places = replace(places, model_median_um=np.full(600, 100.0))
    last = np.arange(4, 3000, 5)
    result = compare(kept(rows, np.setdiff1d(np.arange(3000), last)), places)
    ran = result.target_um[np.arange(600), result.choice.way] + rows.rise_um[last]
    assert 0.92 <= np.mean((ran >= result.low_um) & (ran <= result.high_um)) <= 0.99


def test_an_empty_record_sets_by_what_needs_none() -> None:
    rows, places = one_line([])
    result = compare(rows, places)
    np.testing.assert_allclose(result.target_um[0], [0.0, -60.0, -100.0, NAN, NAN])
    assert WAYS[result.choice.way[0]] == "heat_model"
    bare = replace(places, bore_size_um=np.array([NAN]), model_median_um=np.array([NAN]))
    nothing = compare(rows, bare)
    assert nothing.choice.way.tolist() == [-1]
    assert "no way has a target" in why(nothing, 0)
    assert np.isnan(nothing.expected_running_um).all()
    assert compare(rows, kept(places, np.arange(0))).target_um.shape == (0, 5)


def test_a_reason_names_the_way_and_what_it_came_out_at() -> None:
    assert why(compare(*one_line([190.0, 210.0, 200.0, 205.0])), 0).startswith("own_record came out closest")
    tie = why(compare(*one_line([120.0, 80.0, 110.0, 95.0])), 0)
    assert tie.startswith("heat_model")


def test_a_rise_without_uncertainty_and_a_place_told_twice_are_refused() -> None:
    rows, places = one_line([100.0])
    with pytest.raises(InputError, match="no standard uncertainty"):
        compare(replace(rows, u_rise_um=np.zeros(1)), places)
    with pytest.raises(InputError, match="stands twice"):
        compare(rows, kept(places, np.zeros(2, dtype=np.int64)))
