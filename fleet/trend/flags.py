"""Which movements were more than measuring can explain, and which were unlike the line's own habit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.trend.gls import left_out_residuals, segments
from fleet.trend.pooling import Pooled
from fleet.trend.records import Intervals, Series
from fleet.values import NORMAL_95, BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Flags:
    """What is remarkable about every interval; every array has shape (n_intervals,).

    Parameters
    ----------
    beyond_measurement : moved by more than its 95 % measurement uncertainty
    unusual : outside the 95 % range that the pool and the line's other intervals predict
    expected_um, expected_sd_um : what they predict, wander and measuring included
    """

    beyond_measurement: BoolArray
    unusual: BoolArray
    expected_um: FloatArray
    expected_sd_um: FloatArray


def flags(found: Intervals, series: Series, pooled: Pooled, *, student_factor: FloatArray | float = NORMAL_95) -> Flags:
    """Judge every interval against measuring alone, and against all other intervals of its series and regime.

    The prediction leaves the judged interval out (later ones are used too), so that it cannot excuse itself. Intervals
    that jumped weigh little in predicting the others. An interval across an event is predicted by the pool alone.

    Parameters
    ----------
    found : the intervals
    series, pooled : as everywhere in this package
    student_factor : 95 % factor on the standard measurement uncertainty, scalar or shape (n_intervals,)

    Returns
    -------
    the flags
    """
    mean, mean_sd = pooled.mean_rate(series)
    tau2 = pooled.tau(series) ** 2 + mean_sd**2
    sigma = pooled.sigma(series)
    of = found.series
    calm = pooled.unseasoned(found)
    expected = found.moved_um - calm.moved_um + mean[of] * found.years
    sd = np.sqrt(tau2[of] * found.years**2 + sigma[of] ** 2 * found.years + found.var_um2)

    usable = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    laid = segments(calm, usable, pooled.jump_var_um2)
    residual, left_out_sd = left_out_residuals(laid, mean[laid.series], np.sqrt(tau2[laid.series]), sigma[laid.series])
    held = laid.index >= 0
    place = laid.index[held]
    expected[place] = found.moved_um[place] - residual[held]
    # The interval's own jump variance is the verdict, not part of the prediction.
    plain = left_out_sd[held] ** 2 - pooled.jump_var_um2[place]
    sd[place] = np.sqrt(np.maximum(plain, found.var_um2[place] * 1e-6))
    return Flags(
        beyond_measurement=np.abs(found.moved_um) > student_factor * np.sqrt(found.var_um2),
        unusual=np.abs(found.moved_um - expected) > NORMAL_95 * sd,
        expected_um=expected,
        expected_sd_um=sd,
    )
