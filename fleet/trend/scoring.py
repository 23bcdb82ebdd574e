"""How a forecast is scored, and the two simple rules with an honest spread that it has to beat."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtri

from fleet.trend.outlook import QUANTILES
from fleet.trend.records import Intervals
from fleet.values import FloatArray, IntArray

SIMPLE_RULES: Final = ("as_left", "own_rate")
"""It is found as it was left last; it goes on as fast as it did over the series' last interval."""
_ENOUGH: Final = 8
"""Intervals of an axis from which on a simple rule's spread is fitted."""


def ranked_score_um(quantiles_um: FloatArray, measured_um: FloatArray) -> FloatArray:
    """Return the ranked probability score from quantiles at `QUANTILES`: how far off, the width counted too.

    A prediction without any spread scores its plain distance from the measured value, so that the figure reads like a
    miss; less is better, and on average only the true distribution makes it least.

    Parameters
    ----------
    quantiles_um : shape (..., 9)
    measured_um : shape (...)

    Returns
    -------
    shape (...), um

    References
    ----------
    Gneiting and Raftery (2007), Strictly proper scoring rules, prediction, and estimation, J. Am. Stat. Assoc. 102,
    359-378: the continuous ranked probability score (section 4.2) is twice the quantile loss
    (y - q)(level - [y < q]) (section 6.1) over all levels; here a sum over nine, each for the levels nearest to it.
    """
    levels = np.asarray(QUANTILES)
    between = np.concatenate([[0.0], (levels[1:] + levels[:-1]) / 2.0, [1.0]])
    beyond = measured_um[..., None] - quantiles_um
    loss = beyond * (levels - (beyond < 0.0))
    return np.asarray(2.0 * loss @ np.diff(between), dtype=np.float64)


def normal_quantiles_um(mean_um: FloatArray, sd_um: FloatArray) -> FloatArray:
    """Return the quantiles at `QUANTILES` of normal predictions, one more axis than the means."""
    return np.asarray(mean_um[..., None] + sd_um[..., None] * ndtri(np.asarray(QUANTILES)), dtype=np.float64)


def predict_simply(
    found: Intervals, axis: IntArray, before: IntArray, asked: IntArray, years: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Predict movements by the simple rules of `SIMPLE_RULES`, with a spread fitted on the fleet's earlier intervals.

    The variance of the first is a + b t over t years of use, of the second a (1 + r^2) + b t (1 + r) with r the ratio
    of t to the last interval's length, as measuring and wander add up in a rate carried on; a and b per axis by
    maximum likelihood over the earlier misses of the same rule.

    Parameters
    ----------
    found : all intervals
    axis : of each, shape (n_intervals,)
    before : those that lay before the day predicted
    asked : those to be predicted
    years : length of each as foreseen the day before, shape (n_intervals,)

    Returns
    -------
    movement expected and its standard deviation, um, shape (asked, rules); NaN where there is nothing to go by: fewer
    than eight earlier intervals, or no last interval of the same regime
    """
    previous = np.arange(found.series.size) - 1
    continues = np.zeros(found.series.shape, dtype=np.bool_)
    continues[1:] = (found.series[1:] == found.series[:-1]) & (found.regime[1:] == found.regime[:-1])
    continues[1:] &= ~found.across_event[:-1] & (found.years[:-1] > 0.0)
    previous = np.where(continues, previous, 0)
    moved, sd = np.full((asked.size, 2), np.nan), np.full((asked.size, 2), np.nan)
    if found.series.size == 0:
        return moved, sd
    pace = found.moved_um[previous] / np.where(continues, found.years[previous], 1.0)
    ratio = np.where(continues, 1.0 / np.where(continues, found.years[previous], 1.0), np.nan)

    def expected(rule: int, rows: IntArray, over: FloatArray) -> tuple[FloatArray, FloatArray]:
        if rule == 0:
            return np.zeros(rows.size), np.stack([np.ones(rows.size), over], axis=1)
        r = over * ratio[rows]
        return pace[rows] * over, np.stack([1.0 + r**2, over * (1.0 + r)], axis=1)

    for rule in (0, 1):
        for of_axis in (0, 1):
            past = before[(axis[before] == of_axis) & (continues[before] | (rule == 0))]
            past = past[np.isfinite(found.moved_um[past]) & (found.years[past] > 0.0)]
            rows = np.flatnonzero((axis[asked] == of_axis) & (continues[asked] | (rule == 0)))
            if past.size < _ENOUGH or rows.size == 0:
                continue
            mean, parts = expected(rule, past, found.years[past])
            spread = _two_part_variance((found.moved_um[past] - mean) ** 2, parts)
            moved[rows, rule], parts = expected(rule, asked[rows], years[asked[rows]])
            sd[rows, rule] = np.sqrt(parts @ spread)
    return moved, sd


def _two_part_variance(squares: FloatArray, parts: FloatArray) -> FloatArray:
    """Return a and b, both 0 or more, of the normal variance a p + b q that makes squared misses likeliest.

    References
    ----------
    Iterated weighted least squares of the squares, weights 1 / variance^2, is Fisher's scoring for this likelihood
    (McCullagh and Nelder 1989, section 2.5, gamma family; from memory).
    """
    from scipy.optimize import nnls

    floor = max(float(np.mean(squares)) * 1e-6, 1e-6)
    variance = np.full(squares.shape, float(np.mean(squares)) + floor)
    both = np.zeros(2)
    for _ in range(30):
        got, _ = nnls(parts / variance[:, None], squares / variance)
        done = bool(np.allclose(got, both, rtol=1e-4, atol=1e-6))
        both = np.asarray(got, dtype=np.float64)
        variance = np.maximum(parts @ both, floor)
        if done:
            break
    return np.maximum(both, [floor, 0.0])
