"""What the fleet knows about drift: mean rate, its spread between series, wander, jumps and the yearly swing.

Model, per axis: a series moves as x(t) = x0 + mu t + sigma W(t) between interventions, with mu ~ N(m, tau^2) over the
series, and m linear in the distance from the gearbox as a share of the barrel (and different per foundation where that
explains something). Every line has a wander of its own about the pool's; where the record clearly shows them, jumps and
a yearly swing come on top.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from fleet.trend.axis_fit import fit_axis
from fleet.trend.axis_pool import DEFAULT_PRIOR, AxisPool, Prior
from fleet.trend.gls import Segments, left_out_residuals, segments
from fleet.trend.jumps import NO_JUMPS, find_jumps
from fleet.trend.records import Intervals, Series
from fleet.trend.season import Season, find_season, no_season, unseasoned
from fleet.trend.wander import OwnWander, own_wander
from fleet.values import BoolArray, FloatArray, IntArray

_ENOUGH_FOR_JUMPS: Final = 20


@dataclass(frozen=True, slots=True)
class Pooled:
    """The pools of both axes (v, h), and the variance that single jumps add to their intervals.

    Parameters
    ----------
    axes : the pool of v and that of h
    jump_var_um2 : shape (n_intervals,), 0 where an interval is like the others
    wander : how much every series wanders beside its pool; None: all alike
    season : the yearly swing of every series; None where the record does not clearly show one
    """

    axes: tuple[AxisPool, AxisPool]
    jump_var_um2: FloatArray = field(repr=False)
    wander: OwnWander | None = field(default=None, repr=False)
    season: Season | None = field(default=None, repr=False)

    def unseasoned(self, found: Intervals) -> Intervals:
        """Return the intervals with the yearly swing taken off their movements."""
        return found if self.season is None else unseasoned(found, self.season)

    def of_series(self, rows: IntArray, jump_var_um2: FloatArray) -> Pooled:
        """Return the same knowledge for other series, each of which is one of those fitted.

        Parameters
        ----------
        rows : which of the fitted series each is, shape (n,)
        jump_var_um2 : of the intervals that go with them
        """
        wander = self.wander and OwnWander(self.wander.factor[rows], self.wander.relative_var[rows])
        season = self.season and Season(self.season.swing_um[rows], self.season.covariance_um2[rows])
        return Pooled(self.axes, jump_var_um2, wander, season)

    def mean_rate(self, series: Series) -> tuple[FloatArray, FloatArray]:
        """Return the mean rate for every series and its standard uncertainty, um per year of use."""
        mean, variance = np.zeros(series.axis.shape), np.zeros(series.axis.shape)
        for axis, pool in enumerate(self.axes):
            rows = np.flatnonzero(series.axis == axis)
            design = pool.design(series.share[rows], series.foundation[rows])
            mean[rows] = design @ pool.coefficients
            variance[rows] = np.einsum("ij,jk,ik->i", design, pool.covariance, design)
        return mean, np.sqrt(variance)

    def tau(self, series: Series) -> FloatArray:
        """Return the spread of rates for every series, um per year of use."""
        return np.where(series.axis == 0, self.axes[0].tau(series.share), self.axes[1].tau(series.share))

    def sigma(self, series: Series) -> FloatArray:
        """Return the wander of every series (root of its expected variance), um per square root of a year of use."""
        pool = np.where(series.axis == 0, self.axes[0].sigma(series.share), self.axes[1].sigma(series.share))
        return pool if self.wander is None else np.asarray(pool * np.sqrt(self.wander.factor), dtype=np.float64)

    def sigma_dof(self, series: Series) -> FloatArray:
        """Return the degrees of freedom behind every series' wander: always more than 4.

        References
        ----------
        A scaled inverse chi-square variance with nu degrees of freedom has the relative variance 2 / (nu - 4).
        """
        relative = 2.0 / np.where(series.axis == 0, self.axes[0].sigma_dof, self.axes[1].sigma_dof)
        if self.wander is not None:
            relative = relative + self.wander.relative_var
        return np.asarray(2.0 / relative + 4.0, dtype=np.float64)


def pool_rates(found: Intervals, series: Series, *, prior: Prior = DEFAULT_PRIOR) -> Pooled:
    """Estimate mean rate, spread between series and wander over the fleet, per axis, by marginal likelihood.

    Intervals across an event are left out; every (series, regime) has a rate of its own drawn from the pool. A yearly
    swing is looked for first and taken off where the record clearly shows one; then every line's own wander and the
    jumps are told apart, each interval weighing as little as its chance of having jumped deserves. With no intervals
    at all the prior stands.

    Parameters
    ----------
    found : intervals of all series
    series : the series
    prior : what is believed before any record

    Returns
    -------
    the pools of both axes

    References
    ----------
    Linear mixed model with the fixed effects integrated out: restricted likelihood (Patterson and Thompson 1971), here
    with weak proper priors; whitening by a tri-diagonal LDL' and the matrix determinant lemma for the rate.
    """
    usable = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    of_axis = series.axis[found.series]
    v, h = (_pool_axis(found, series, usable & (of_axis == axis), prior) for axis in (0, 1))
    is_v = series.axis == 0

    def joined(of_v: FloatArray, of_h: FloatArray) -> FloatArray:
        return np.where(is_v.reshape(-1, *(1,) * (of_v.ndim - 1)), of_v, of_h)

    season = None
    if v.season is not None or h.season is not None:
        none = no_season(is_v.size)
        of_v, of_h = v.season or none, h.season or none
        season = Season(joined(of_v.swing_um, of_h.swing_um), joined(of_v.covariance_um2, of_h.covariance_um2))
    wander = OwnWander(joined(v.wander.factor, h.wander.factor), joined(v.wander.relative_var, h.wander.relative_var))
    return Pooled((v.pool, h.pool), v.extra_um2 + h.extra_um2, wander, season)


@dataclass(frozen=True, slots=True)
class _Axis:
    """All that is known of one axis; `wander` and `season` for every series as if it were of this axis."""

    pool: AxisPool
    extra_um2: FloatArray
    wander: OwnWander
    season: Season | None


@dataclass(frozen=True, slots=True)
class _Level:
    """What the pool says of every segment."""

    mean: FloatArray
    tau: FloatArray
    sigma: FloatArray

    @classmethod
    def of(cls, pool: AxisPool, laid: Segments, series: Series) -> _Level:
        share = series.share[laid.series]
        mean = pool.design(share, series.foundation[laid.series]) @ pool.coefficients
        return cls(mean, pool.tau(share), pool.sigma(share))


def _pool_axis(found: Intervals, series: Series, use: BoolArray, prior: Prior) -> _Axis:
    bare = segments(found, use, np.zeros(found.series.shape))
    calm = bare
    pool, extra = fit_axis(calm, series, prior)
    season: Season | None = None
    # The swing hides in the wander at first; with a truer wander it stands out more clearly.
    for _ in range(2):
        level = _Level.of(pool, bare, series)
        clearly = find_season(
            bare.with_more(extra), found, series,
            mean=level.mean, tau=level.tau, sigma=level.sigma, error_rho=pool.error_rho,
        )  # fmt: skip
        if clearly is None:
            break
        season = clearly
        calm = bare.moved_by(unseasoned(found, season).moved_um)
        pool, extra = fit_axis(calm, series, prior)

    level = _Level.of(pool, bare, series)

    def wanders() -> OwnWander:
        line = series.line[bare.series]
        laid = calm.with_more(extra)
        return own_wander(laid, line, level.mean, level.tau, level.sigma, pool.error_rho, series.line)

    wander = wanders()
    held = bare.index >= 0
    if int(np.sum(held)) >= _ENOUGH_FOR_JUMPS:
        sigma = level.sigma * np.sqrt(wander.factor[bare.series])
        residual, sd = left_out_residuals(calm.with_more(extra), level.mean, level.tau, sigma)
        variance = np.maximum(sd**2 - extra, 1e-6)
        share = np.maximum(sigma**2 * bare.years / variance, 1e-3)
        dof = 4.0 + 2.0 / (wander.relative_var[bare.series] + 2.0 / pool.sigma_dof) / share**2
        jumps, jumped = find_jumps(residual[held], variance[held], dof[held], bare.years[held])
        if jumps is not NO_JUMPS:
            pool = replace(pool, jumps=jumps)
            extra[held] = jumped
            wander = wanders()
    flat = np.zeros(found.series.shape)
    flat[bare.index[held]] = extra[held]
    return _Axis(pool, flat, wander, season)
