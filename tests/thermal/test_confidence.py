"""How sure it is which way is closest: by hand, and simulated fleets whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fleet.thermal.choices import HEAT_MODEL, OWN_RECORD, POOLED, WAYS, Comparison, Places, RunRows, compare
from fleet.thermal.judging import confidence, judge, score_runs
from fleet.values import FloatArray

NAN = float("nan")


def simulated(
    lines: int,
    runs: int,
    *,
    seed: int,
    modelled_um: float = 200.0,
    rule_um: float = -60.0,
    shift_um: float = 0.0,
    sd_line_um: float = 0.0,
    sd_run_um: float = 20.0,
) -> tuple[RunRows, Places, FloatArray]:
    """Synthetic truth: rise = modelled + shift + the line's own + scatter; last of the three: the true mean rises."""
    rng = np.random.default_rng(seed)
    true = modelled_um + shift_um + sd_line_um * rng.standard_normal(lines)
    line = np.repeat(np.arange(lines), runs)
    n, zero = line.size, np.zeros(line.size, dtype=np.int64)
    rows = RunRows(
        line=line,
        run=np.arange(n),
        station=zero,
        axis=zero,
        cohort=zero,
        rise_um=true[line] + sd_run_um * rng.standard_normal(n),
        u_rise_um=np.full(n, 10.0),
        modelled_um=np.full(n, modelled_um),
        u_modelled_um=np.full(n, 60.0),
        as_left_um=np.full(n, NAN),
        watch_um=np.full(n, NAN),
        limit_um=np.full(n, NAN),
        u_modelled_record_um=np.full(n, 15.0),
        counts=np.ones(n, dtype=np.bool_),
    )
    place = np.zeros(lines, dtype=np.int64)
    places = Places(
        line=np.arange(lines),
        station=place,
        axis=place,
        cohort=place,
        size=place,
        bore_size_um=np.full(lines, rule_um),
        model_median_um=np.full(lines, modelled_um),
        u_model_median_um=np.full(lines, 60.0),
    )
    return rows, places, true


TRUTHS = {
    "none": {"modelled_um": 120.0, "rule_um": -60.0, "shift_um": -120.0, "sd_line_um": 3.0},
    "bore_size": {"rule_um": -100.0, "shift_um": -100.0, "sd_line_um": 3.0},
    "heat_model": {"sd_line_um": 3.0},
    "own_record": {"sd_line_um": 150.0, "shift_um": 100.0},
    "pooled": {"shift_um": 80.0, "sd_line_um": 4.0, "sd_run_um": 30.0},
}


@pytest.mark.parametrize("best", WAYS)
def test_the_way_best_by_construction_is_named_for_the_fleet_with_high_confidence(best: str) -> None:
    rows, places, _ = simulated(200, 5, seed=31, **TRUTHS[best])  # type: ignore[arg-type]
    scope = compare(rows, places).by_fleet
    named = WAYS[int(scope.closest[0])]
    if best == "own_record":
        # Shrinking hardly touches lines that differ this much: either name is right, and they are told alike.
        assert named in ("own_record", "pooled")
        rms = scope.judgement.rms_um[0]
        assert abs(rms[OWN_RECORD] - rms[POOLED]) < 0.02 * rms[OWN_RECORD]
    else:
        assert named == best
        # Where nothing is to be learnt, pooling learns nothing and comes out almost alike: not wholly sure is right.
        assert scope.confidence[0] > 0.8


@pytest.mark.parametrize("best", ["none", "bore_size", "heat_model"])
def test_a_lines_confidence_is_as_often_right_as_it_says(best: str) -> None:
    # synthetic truth, 400 lines of four runs: of the lines told with at least 80 %, so many name the right way.
    rows, places, _ = simulated(400, 4, seed=32, **TRUTHS[best])  # type: ignore[arg-type]
    scope = compare(rows, places).by_line
    sure = scope.confidence >= 0.8
    right = scope.closest[sure] == WAYS.index(best)
    assert np.count_nonzero(sure) > 100
    bound = 3.0 * np.sqrt(0.8 * 0.2 / np.count_nonzero(sure))
    assert np.mean(right) >= np.mean(scope.confidence[sure]) - bound
    assert np.mean(scope.confidence[sure]) < 1.0


def test_between_two_ways_the_chance_is_students_t_of_their_difference() -> None:
    # an independent answer: jackknife by hand over four runs, scipy.stats.t for the chance
    a, b = np.array([10.0, 12.0, 9.0, 14.0]), np.array([16.0, 13.0, 18.0, 11.0])
    zero = np.zeros(4, dtype=np.int64)
    none = np.full(4, NAN)
    scores = score_runs(zero, np.arange(4), np.column_stack([a, b]), none, none)
    closest, chance = confidence(scores, judge(scores, 1))

    def rms(x: FloatArray) -> float:
        return float(np.sqrt(np.mean(x**2)))

    left = np.array([rms(np.delete(b, k)) - rms(np.delete(a, k)) for k in range(4)])
    error = np.sqrt(3.0 / 4.0 * np.sum((left - left.mean()) ** 2))
    assert closest.tolist() == [0]
    assert chance[0] == pytest.approx(stats.t(3).cdf((rms(b) - rms(a)) / error))


def test_ways_that_came_out_the_same_are_one_and_fewer_than_three_runs_tell_nothing() -> None:
    zero, none = np.zeros(3, dtype=np.int64), np.full(3, NAN)
    running = np.array([[4.0, 4.0], [-6.0, -6.0], [5.0, 5.0]])
    scores = score_runs(zero, np.arange(3), running, none, none)
    closest, chance = confidence(scores, judge(scores, 1))
    assert (closest.tolist(), chance.tolist()) == ([0], [1.0])
    two = score_runs(zero[:2], np.arange(2), running[:2], none[:2], none[:2])
    closest, chance = confidence(two, judge(two, 1))
    assert closest.tolist() == [-1]
    assert np.isnan(chance).all()


def halves(result: Comparison) -> FloatArray:
    return (result.high_um - result.low_um) / 2.0


@pytest.mark.parametrize("runs", [0, 1, 2, 3, 6])
def test_the_range_of_the_next_run_holds_it_as_often_as_it_says(runs: int) -> None:
    # synthetic truth; the lines asked about have so many runs of their own, sixty others teach the pool.
    # 400 lines at 95 %: three standard errors are 3.3 %; a little wide is no promise broken.
    rows, places, true = simulated(460, 6, seed=33 + runs, shift_um=40.0, sd_line_um=30.0, sd_run_um=15.0)
    nth = np.arange(rows.line.size) % 6
    keep = (rows.line < 60) | (nth < runs)
    rows = replace(rows, counts=keep)
    result = compare(rows, places)
    rng = np.random.default_rng(50 + runs)
    ran = result.target_um[np.arange(460), result.choice.way] + true + 15.0 * rng.standard_normal(460)
    inside = ((ran >= result.low_um) & (ran <= result.high_um))[60:]
    assert 0.915 <= np.mean(inside) <= 0.995


def test_no_one_and_two_runs_leave_the_way_unjudged_and_the_range_narrows_with_each() -> None:
    rows, places, _ = simulated(61, 6, seed=40, shift_um=40.0, sd_line_um=30.0, sd_run_um=15.0)
    nth, wide = np.arange(rows.line.size) % 6, []
    for runs in (0, 1, 2):
        result = compare(replace(rows, counts=(rows.line > 0) | (nth < runs)), places)
        assert not result.choice.judged[0]
        assert WAYS[int(result.choice.way[0])] == "pooled"
        assert result.by_line.closest[0] == -1
        wide.append(float(halves(result)[0]))
    assert wide[0] > wide[1] > wide[2]


def test_what_one_more_run_would_bring_is_about_what_it_brings() -> None:
    # synthetic truth, 200 lines: the range foretold for one run more against the range once that run is there
    rows, places, _ = simulated(200, 6, seed=41, shift_um=40.0, sd_line_um=30.0, sd_run_um=15.0)
    nth = np.arange(rows.line.size) % 6
    for runs in (1, 3, 5):
        others = rows.line < 60  # they know the scatter already; the rest come to one run more
        now = compare(replace(rows, counts=others | (nth < runs)), places)
        then = compare(replace(rows, counts=others | (nth < runs + 1)), places)
        assert np.median(now.half_with_one_more_um[60:]) == pytest.approx(np.median(halves(then)[60:]), rel=0.08)
        assert (now.half_with_one_more_um < halves(now))[60:].all()
        assert (now.half_least_um < now.half_with_one_more_um).all()


def test_an_error_of_the_model_that_all_runs_share_is_no_scatter() -> None:
    # Every run of the line errs by the same 100 um, as an expansion off by a few per cent would make it; runs differ by
    # 5 um. By hand: five runs known to about 10 um each leave their mean within 5 um, not within 60 / sqrt(5) = 27.
    rows, places, _ = simulated(40, 5, seed=42, shift_um=100.0, sd_run_um=5.0)
    result = compare(rows, places)
    np.testing.assert_allclose(result.target_um[:, OWN_RECORD], -300.0, atol=12.0)
    assert (result.u_target_um[:, OWN_RECORD] < 6.0).all()
    assert (result.u_target_um[:, HEAT_MODEL] == 60.0).all()


def test_a_trap_for_a_tool_that_lets_a_run_judge_itself() -> None:
    # Rises scatter by 80 um about the heat model and lines do not differ: a line's own mean fits its own three runs
    # best if it may know them, and by construction does worse than the heat model at any new run.
    rows, places, true = simulated(200, 3, seed=43, sd_run_um=80.0)
    result = compare(rows, places)
    own_mean = np.bincount(rows.line, rows.rise_um) / 3.0
    knowing_itself = np.sqrt(np.mean((rows.rise_um - own_mean[rows.line]) ** 2))
    rms = result.by_fleet.judgement.rms_um[0]
    assert knowing_itself < 0.9 * rms[HEAT_MODEL]  # the trap is set
    assert rms[OWN_RECORD] > 1.1 * rms[HEAT_MODEL]  # and not walked into
    new = true + 80.0 * np.random.default_rng(44).standard_normal(200)
    truly = [np.sqrt(np.mean((new + result.target_um[:, way]) ** 2)) for way in (HEAT_MODEL, OWN_RECORD)]
    assert truly[1] > truly[0]
    assert WAYS[int(result.by_fleet.closest[0])] in ("heat_model", "pooled")
