"""Scores of ways over runs: by hand, and the jackknife against its textbook form."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from fleet.thermal.judging import Choice, choose, judge, rms_difference, score_runs
from fleet.values import IntArray

NAN = float("nan")


def scored(running: Sequence[Sequence[float]], runs: Sequence[int] | None = None) -> tuple[object, Choice]:
    values = np.array(running)
    n = values.shape[0]
    run = np.arange(n) if runs is None else np.array(runs)
    scores = score_runs(np.zeros(n, dtype=np.int64), run, values, np.full(n, 50.0), np.full(n, NAN))
    judgement = judge(scores, 1)
    return judgement, choose(scores, judgement, ~np.isnan(values).all(axis=0)[None, :], start_with=(4, 2, 3, 1))


def test_one_run_counts_once_however_many_stations_it_has() -> None:
    # by hand: run 0 has rows 30 and -10 (mean square 500), run 1 has one row of 60 (3600): rms sqrt(2050)
    zeros = np.zeros(3, dtype=np.int64)
    scores = score_runs(
        zeros, np.array([0, 0, 1]), np.array([[30.0], [-10.0], [60.0]]), np.full(3, 20.0), np.full(3, 60.0)
    )
    judged = judge(scores, 1)
    assert judged.runs[0, 0] == 2
    assert judged.rms_um[0, 0] == pytest.approx(math.sqrt(2050.0))
    assert judged.bias_um[0, 0] == pytest.approx((10.0 + 60.0) / 2)
    # within 20: half of run 0's rows and none of run 1's; strictly greater is over, so 60 is within 60
    assert judged.within_watch[0, 0] == pytest.approx(0.25)
    assert judged.within_limit[0, 0] == 1.0
    assert judged.u_within_limit[0, 0] > 0.0
    # standard error of a mean of two: half their difference
    assert judged.u_bias_um[0, 0] == pytest.approx(25.0)


def test_without_a_tolerance_the_shares_are_empty_and_without_a_figure_so_is_the_way() -> None:
    zeros = np.zeros(2, dtype=np.int64)
    scores = score_runs(zeros, np.arange(2), np.array([[1.0, NAN], [2.0, NAN]]), np.full(2, NAN), np.full(2, NAN))
    judged = judge(scores, 2)
    assert np.isnan(judged.within_watch).all()
    assert judged.runs.tolist() == [[2, 0], [0, 0]]
    assert np.isnan(judged.rms_um[0, 1])
    assert np.isnan(judged.rms_um[1]).all()


def test_the_difference_of_two_ways_has_the_textbooks_jackknife_error() -> None:
    # Efron and Tibshirani (1993), equation 11.5, written out run by run
    rng = np.random.default_rng(3)
    a, b = rng.uniform(100.0, 900.0, (2, 6))

    def difference(keep: IntArray) -> float:
        return math.sqrt(float(np.mean(a[keep]))) - math.sqrt(float(np.mean(b[keep])))

    left_out = [difference(np.delete(np.arange(6), k)) for k in range(6)]
    centre = sum(left_out) / 6
    expected = math.sqrt(5 / 6 * sum((x - centre) ** 2 for x in left_out))
    group = np.array([1] * 6 + [0])
    whole, error = rms_difference(group, 2, np.append(a, 5.0), np.append(b, NAN))
    assert whole[1] == pytest.approx(difference(np.arange(6)))
    assert error[1] == pytest.approx(expected)
    assert np.isnan(error[0])


def test_the_way_of_least_root_mean_square_is_chosen() -> None:
    _, choice = scored(
        [[200, 150, 100, 5, 60], [210, 150, 100, -5, 60], [190, 150, 100, 5, 60], [205, 150, 100, 5, 60]]
    )
    assert choice.way.tolist() == [3]
    assert choice.judged.all()
    assert not choice.tied.any()


def test_a_tie_goes_to_the_way_earlier_in_the_list() -> None:
    # pooled is least by a hair that changes from run to run; the heat model comes before it
    running = [[200, 150, 20, 90, 19], [200, 150, -22, 90, 23], [200, 150, 21, 90, -21], [200, 150, 24, 90, 20]]
    _, choice = scored(running)
    assert choice.best.tolist() == [4]
    assert choice.way.tolist() == [2]
    assert choice.tied.all()


def test_two_ways_that_are_the_same_are_a_tie() -> None:
    _, choice = scored([[200, NAN, 20, 20, 20]] * 3)
    assert choice.way.tolist() == [2]


def test_setting_nothing_is_recommended_only_where_it_is_clearly_least() -> None:
    clear = [[5, 90, 50, 60, 70], [-4, 95, 52, 60, 70], [6, 99, 49, 60, 70]]
    hair = [[19, 90, 20, 60, 70], [-22, 95, 21, 60, 70], [20, 99, 22, 60, 70]]
    assert scored(clear)[1].way.tolist() == [0]
    assert scored(hair)[1].way.tolist() == [2]


def test_fewer_than_three_runs_judge_nothing_and_pooled_or_the_heat_model_starts() -> None:
    two = [[200, 5, 100, 90, 80], [200, 6, 100, 90, 80]]
    assert scored(two)[1].way.tolist() == [4]
    assert not scored(two)[1].judged.any()
    # three rows of two runs are two runs
    assert scored([*two, two[1]], [0, 1, 1])[1].way.tolist() == [4]
    assert scored([[200, 5, 100, 90, NAN]])[1].way.tolist() == [2]
