"""What one series knows: its position at the newest cold survey and its rate, own record and pool together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.trend.gls import segments, sums
from fleet.trend.lines import share_rates
from fleet.trend.pooling import Pooled
from fleet.trend.records import SMALLEST_VAR_UM2, Intervals, Series, Visits, survey_covariance_um2
from fleet.trend.season import no_season
from fleet.values import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Posterior:
    """Joint Gaussian of position and rate, one per series; every array has shape (n_series,).

    Parameters
    ----------
    last_visit : index of the newest visit, -1 where the series has none
    day : of that visit, calendar days since the epoch, NaN where there is none
    measured_um, measured_var_um2 : the newest cold survey's offset and its variance; NaN where there is none to stand
        on (no visit, or moved since without being measured)
    position_um, position_var_um2 : true offset at that survey
    rate_um, rate_var_um2 : rate, um per year of use
    cov_um2 : covariance of position and rate
    sigma_um, sigma_dof : wander (root of its expected variance), um per square root of a year of use, and the degrees
        of freedom behind that variance, more than 4
    jumps_per_year, jump_um : how often the series jumps, per year of use, and the standard deviation of a jump
    swing_um, swing_cov_um2 : the yearly swing, shapes (n_series, 2) and (n_series, 2, 2)
    borrowed : share of the rate that comes from elsewhere (pool and the line's other stations), 1 for a series without
        an interval of its own
    n_intervals : intervals of the current regime that speak for the rate
    """

    last_visit: IntArray
    day: FloatArray
    measured_um: FloatArray
    measured_var_um2: FloatArray
    position_um: FloatArray
    position_var_um2: FloatArray
    rate_um: FloatArray
    rate_var_um2: FloatArray
    cov_um2: FloatArray
    sigma_um: FloatArray
    sigma_dof: FloatArray
    jumps_per_year: FloatArray
    jump_um: FloatArray
    swing_um: FloatArray
    swing_cov_um2: FloatArray
    borrowed: FloatArray
    n_intervals: IntArray


def last_visits(visits: Visits, n_series: int) -> IntArray:
    """Return the index of every series' newest visit, -1 where it has none, shape (n_series,)."""
    last = np.full(n_series, -1, dtype=np.int64)
    last[visits.series] = np.arange(visits.series.size)
    return last


def posteriors(
    visits: Visits, found: Intervals, series: Series, pooled: Pooled, *, regime_now: IntArray | None = None
) -> Posterior:
    """Combine every series' own intervals of its current regime with the pool.

    The rate is the own least-squares rate, those of the line's other stations and the pool's mean, weighted by what
    each is worth. The newest survey's error
    is shared with the interval it ends (by the set-up, or wholly where nothing was moved), so what the series did
    before also tells where the line stands; that is the position.

    Parameters
    ----------
    visits, found, series, pooled : as everywhere in this package
    regime_now : trend-resetting events up to as-of, shape (n_series,); None: none since the newest visit

    Returns
    -------
    the posterior of every series

    References
    ----------
    Best linear unbiased prediction and its error with an estimated mean (Henderson 1975); conditioning of a joint
    Gaussian. By-hand: with own rate r of variance s^2, w = tau^2 / (tau^2 + s^2): rate = w r + (1 - w) m.
    """
    n = series.axis.size
    last = last_visits(visits, n)
    has = last >= 0
    at = np.where(has, last, 0)
    if visits.series.size == 0:
        nothing = np.full(n, np.nan)
        measured, measured_var, day = nothing, nothing.copy(), nothing.copy()
        regime = np.zeros(n, dtype=np.int64)
        shared = np.zeros(n)
    else:
        measured = np.where(has, visits.left_um[at], np.nan)
        measured_var = np.where(has, np.maximum(visits.left_var_um2[at], SMALLEST_VAR_UM2), np.nan)
        day = np.where(has, visits.days[at], np.nan)
        regime = np.where(has, visits.regime_left[at], 0)
        shared = np.where(has, survey_covariance_um2(visits, at), 0.0)
    rate_regime = regime if regime_now is None else regime_now

    sigma = pooled.sigma(series)
    usable = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    calm = pooled.unseasoned(found)
    laid = segments(calm, usable & (found.regime == rate_regime[found.series]), pooled.jump_var_um2)
    got = sums(laid, sigma[laid.series] ** 2)

    a, b = np.zeros(n), np.zeros(n)
    a[laid.series], b[laid.series] = got.a, got.b
    count = np.zeros(n, dtype=np.int64)
    count[laid.series] = laid.count
    mean, tau = pooled.mean_rate(series)[0], pooled.tau(series)
    rate, rate_var, borrowed = np.zeros(n), np.zeros(n), np.ones(n)
    for axis, pool in enumerate(pooled.axes):
        rows = np.flatnonzero(series.axis == axis)
        shared_rates = share_rates(
            a[rows], b[rows], series.line[rows], mean[rows], tau[rows],
            pool.design(series.share[rows], series.foundation[rows]), pool.covariance,
            rate_rho=pool.rate_rho, error_rho=pool.error_rho,
        )  # fmt: skip
        rate[rows], rate_var[rows] = shared_rates.rate_um, shared_rates.rate_var_um2
        borrowed[rows] = 1.0 - shared_rates.own_weight

    # Only an interval that ends in the newest visit shares that survey's error.
    reaches = np.zeros(n, dtype=np.bool_)
    reaches[laid.series] = found.to_visit[laid.last] == last[laid.series]
    pivot, years, moved = np.ones(n), np.zeros(n), np.zeros(n)
    pivot[laid.series], years[laid.series], moved[laid.series] = got.last_pivot, got.last_years, got.last_moved
    gain = np.where(reaches, shared, 0.0) / pivot
    season = pooled.season or no_season(n)
    error = gain * (moved - rate * years)
    error_by_rate = gain * years
    return Posterior(
        last_visit=last,
        day=day,
        measured_um=measured,
        measured_var_um2=measured_var,
        position_um=measured - error,
        position_var_um2=measured_var - gain * np.where(reaches, shared, 0.0) + error_by_rate**2 * rate_var,
        rate_um=rate,
        rate_var_um2=rate_var,
        cov_um2=error_by_rate * rate_var,
        sigma_um=sigma,
        sigma_dof=pooled.sigma_dof(series),
        jumps_per_year=np.array([pool.jumps.per_year for pool in pooled.axes])[series.axis],
        jump_um=np.array([pool.jumps.sd_um for pool in pooled.axes])[series.axis],
        swing_um=season.swing_um,
        swing_cov_um2=season.covariance_um2,
        borrowed=borrowed,
        n_intervals=count,
    )
