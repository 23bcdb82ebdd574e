"""Weigh the ways of choosing a cold offset by where past runs would have run: scores, ties and a recommendation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import stdtr

from fleet.thermal.keys import numbered
from fleet.values import BoolArray, FloatArray, IntArray

LEAST_RUNS: Final = 3
"""A way is judged by at least this many runs before it can be recommended on their account."""


_ALIKE_UM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class RunScores:
    """One row a group and run: every way's running offset there, its rows taken together; s scores, k ways.

    Attributes
    ----------
    group, run : (s,) int arrays
    mean_um : (s, k) array
        Mean over the run's rows in that group. [um]
    mean_square_um2 : (s, k) array [um^2]
    within_watch, within_limit : (s, k) arrays
        Share of the run's rows within the width; NaN without one.
    """

    group: IntArray
    run: IntArray
    mean_um: FloatArray
    mean_square_um2: FloatArray
    within_watch: FloatArray
    within_limit: FloatArray


@dataclass(frozen=True, slots=True)
class Judgement:
    """Every way's record in every group (g groups, k ways); one run counts once. NaN: no figure.

    Attributes
    ----------
    runs : (g, k) int array
        Runs the way was judged by.
    bias_um, u_bias_um : (g, k) arrays
        Mean running offset and its standard error over runs (NaN below two runs). [um]
    rms_um, u_rms_um : (g, k) arrays
        Root mean square and its jackknife standard error (NaN below two runs). [um]
    within_watch, u_within_watch, within_limit, u_within_limit : (g, k) arrays
        Share of runs within the width and its standard error, from (successes + 1) / (runs + 2) so that a share of
        all is not without doubt.
    """

    runs: IntArray
    bias_um: FloatArray
    u_bias_um: FloatArray
    rms_um: FloatArray
    u_rms_um: FloatArray
    within_watch: FloatArray
    u_within_watch: FloatArray
    within_limit: FloatArray
    u_within_limit: FloatArray


def score_runs(
    group: IntArray, run: IntArray, running_um: FloatArray, watch_um: FloatArray, limit_um: FloatArray
) -> RunScores:
    """Return one score a group and run.

    Parameters
    ----------
    group, run : (n,) int arrays
        Of every row, not negative.
    running_um : (n, k) array
        Where it would have run with each way; NaN where a way has no figure. [um]
    watch_um, limit_um : (n,) arrays
        Half-widths; strictly greater is over. NaN without one. [um]

    Returns
    -------
    RunScores
    """
    score, first = numbered(group, run)
    size = first.size
    magnitude = np.abs(running_um)
    return RunScores(
        group=group[first],
        run=run[first],
        mean_um=_mean_by(score, size, running_um),
        mean_square_um2=_mean_by(score, size, running_um**2),
        within_watch=_mean_by(score, size, _within(magnitude, watch_um)),
        within_limit=_mean_by(score, size, _within(magnitude, limit_um)),
    )


def judge(scores: RunScores, groups: int) -> Judgement:
    """Return every way's record over the runs of each group.

    Parameters
    ----------
    scores : RunScores
    groups : int
        Number of groups; `scores.group` lies below it.

    Returns
    -------
    Judgement

    References
    ----------
    Jackknife: Efron and Tibshirani (1993), An Introduction to the Bootstrap, chapter 11. Shares: Agresti and Coull
    (1998), The American Statistician 52, 119-126, with one success and one failure added.
    """
    group = scores.group
    square = scores.mean_square_um2
    n = _count_by(group, groups, square)
    bias = _mean_by(group, groups, scores.mean_um)
    spread = _sum_by(group, groups, (scores.mean_um - bias[group]) ** 2)
    zero = np.zeros_like(square)
    watch = _mean_by(group, groups, scores.within_watch)
    limit = _mean_by(group, groups, scores.within_limit)
    with np.errstate(divide="ignore", invalid="ignore"):
        u_bias = np.where(n > 1, np.sqrt(spread / (n * (n - 1.0))), np.nan)
    return Judgement(
        runs=n.astype(np.int64),
        bias_um=bias,
        u_bias_um=u_bias,
        rms_um=np.sqrt(_mean_by(group, groups, square)),
        u_rms_um=np.stack(
            [rms_difference(group, groups, square[:, w], zero[:, w])[1] for w in range(square.shape[1])], axis=1
        ).reshape(groups, square.shape[1]),
        within_watch=watch,
        u_within_watch=_u_share(watch, _count_by(group, groups, scores.within_watch)),
        within_limit=limit,
        u_within_limit=_u_share(limit, _count_by(group, groups, scores.within_limit)),
    )


def rms_difference(
    group: IntArray, groups: int, square_a: FloatArray, square_b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return by how much way a's root mean square exceeds way b's over the runs both have, with its standard error.

    Parameters
    ----------
    group : (s,) int array
    groups : int
    square_a, square_b : (s,) arrays
        Mean square of each run; NaN where the way has no figure. [um^2]

    Returns
    -------
    (g,) array, (g,) array
        Difference and jackknife standard error over runs; NaN below one, or two, common runs. [um]

    References
    ----------
    Efron and Tibshirani (1993), An Introduction to the Bootstrap, equation 11.5.
    """
    both = ~(np.isnan(square_a) | np.isnan(square_b))
    g, a, b = group[both], square_a[both], square_b[both]
    n = np.bincount(g, minlength=groups).astype(np.float64)
    sum_a, sum_b = np.bincount(g, a, groups), np.bincount(g, b, groups)
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.sqrt(sum_a / n) - np.sqrt(sum_b / n)
        # max: what a subtraction leaves of a sum may fall below zero by rounding
        left_a, left_b = np.maximum(sum_a[g] - a, 0.0), np.maximum(sum_b[g] - b, 0.0)
        without = np.where(n[g] > 1, np.sqrt(left_a / (n[g] - 1.0)) - np.sqrt(left_b / (n[g] - 1.0)), 0.0)
        centre = np.bincount(g, without, groups) / n
        spread = np.bincount(g, (without - centre[g]) ** 2, groups)
        error = np.where(n > 1, np.sqrt((n - 1.0) / n * spread), np.nan)
    return whole, error


@dataclass(frozen=True, slots=True)
class Choice:
    """Which way is recommended in each group and on what account.

    Attributes
    ----------
    way : (g,) int array
        Index of the way; -1 where no way has a target.
    best : (g,) int array
        The way of least root mean square among those judged by enough runs, `none` left aside; -1 where there is none.
    judged : (g,) bool array
        Whether the choice stands on the runs; else it is the way to start with.
    tied : (g,) bool array
        Whether `way` is not `best` but cannot be told from it.
    """

    way: IntArray
    best: IntArray
    judged: BoolArray
    tied: BoolArray


def choose(scores: RunScores, judgement: Judgement, has_target: BoolArray, *, start_with: tuple[int, ...]) -> Choice:
    """Return the recommended way in each group.

    The way of least root mean square among those judged by at least three runs. A difference to it that is not above
    its own jackknife standard error is a tie and goes to the earlier way. The first way (`none`) takes no part in ties:
    it is recommended only where it is less than the least by more than that.

    Parameters
    ----------
    scores : RunScores
    judgement : Judgement
        Of the same scores.
    has_target : (g, k) bool array
        Whether the way has a target to recommend there.
    start_with : tuple of int
        Ways to take, in this order, where no way is judged by enough runs.

    Returns
    -------
    Choice
    """
    groups, ways = has_target.shape
    fit = (judgement.runs >= LEAST_RUNS) & has_target
    rms = np.where(fit, judgement.rms_um, np.inf)
    rms_others = rms.copy()
    rms_others[:, 0] = np.inf
    best = np.argmin(rms_others, axis=1)
    judged = np.isfinite(rms_others[np.arange(groups), best])
    least = scores.mean_square_um2[np.arange(scores.group.size), best[scores.group]]
    way = best.copy()
    for earlier in range(ways - 1, 0, -1):
        more, error = rms_difference(scores.group, groups, scores.mean_square_um2[:, earlier], least)
        way = np.where(fit[:, earlier] & (earlier < best) & (more <= error), earlier, way)
    less, error = rms_difference(scores.group, groups, least, scores.mean_square_um2[:, 0])
    way = np.where(fit[:, 0] & (less > error), 0, way)

    start = np.full(groups, -1)
    for w in reversed(start_with):
        start = np.where(has_target[:, w], w, start)
    return Choice(
        way=np.where(judged, way, start).astype(np.int64),
        best=np.where(judged, best, -1).astype(np.int64),
        judged=judged,
        tied=judged & (way != best) & (way != 0),
    )


def confidence(scores: RunScores, judgement: Judgement) -> tuple[IntArray, FloatArray]:
    """Return which way came out closest in each group, and the chance that none of the others is truly closer.

    Parameters
    ----------
    scores : RunScores
    judgement : Judgement
        Of the same scores.

    Returns
    -------
    (g,) int array, (g,) array
        The way of least root mean square among those judged by at least three runs, `none` included, the earlier where
        several came out alike; -1 without any. The chance: each other's chance of being closer from Student's t of
        their difference over its jackknife standard error, the odds of all pairs added; a way that came out the very
        same is not another. NaN without a way or another.

    References
    ----------
    Paired differences; Bradley and Terry (1952), Biometrika 39, 324-345 (from pairs to one of several).
    """
    groups, ways = judgement.runs.shape
    fit = judgement.runs >= LEAST_RUNS
    rms = np.where(fit, judgement.rms_um, np.inf)
    closest = np.argmin(rms, axis=1) if groups else np.zeros(0, dtype=np.int64)
    judged = fit.any(axis=1)
    least = scores.mean_square_um2[np.arange(scores.group.size), closest[scores.group]]
    others, odds = np.zeros(groups), np.zeros(groups)
    for way in range(ways):
        more, error = rms_difference(scores.group, groups, scores.mean_square_um2[:, way], least)
        here = fit[:, way] & (closest != way)
        runs = np.minimum(judgement.runs[:, way], judgement.runs[np.arange(groups), closest])
        with np.errstate(divide="ignore", invalid="ignore"):
            behind = np.maximum(np.nan_to_num(stdtr(np.maximum(runs - 1.0, 1.0), more / error), nan=0.5), 0.5)
        odds += np.where(here & (np.abs(more) > _ALIKE_UM), (1.0 - behind) / behind, 0.0)
        others += here
    known = judged & (others > 0.0)
    return np.where(judged, closest, -1).astype(np.int64), np.where(known, 1.0 / (1.0 + odds), np.nan)


def _within(magnitude: FloatArray, width: FloatArray) -> FloatArray:
    known = ~(np.isnan(magnitude) | np.isnan(width)[:, None])
    return np.where(known, (magnitude <= width[:, None]).astype(np.float64), np.nan)


def _count_by(group: IntArray, groups: int, values: FloatArray) -> FloatArray:
    return _sum_by(group, groups, (~np.isnan(values)).astype(np.float64))


def _sum_by(group: IntArray, groups: int, values: FloatArray) -> FloatArray:
    kept = np.nan_to_num(values, nan=0.0)
    return np.stack([np.bincount(group, column, groups) for column in kept.T], axis=1)


def _mean_by(group: IntArray, groups: int, values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        return _sum_by(group, groups, values) / _count_by(group, groups, values)


def _u_share(share: FloatArray, n: FloatArray) -> FloatArray:
    p = (share * n + 1.0) / (n + 2.0)
    return np.sqrt(p * (1.0 - p) / (n + 2.0))
