"""Plain rules with honest spreads: what a spreadsheet would foresee."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtr, ndtri, stdtr, stdtrit
from study_fleets import StudyFleet

from fleet.trend import intervals
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class Spread:
    """A Student-like distribution for every series and date, shape (n, dates) each; infinite dof for a normal one."""

    mean_um: FloatArray
    sd_um: FloatArray
    dof: FloatArray

    def quantiles(self, levels: FloatArray) -> FloatArray:
        """Return quantiles, shape (n, dates, levels)."""
        factor = np.broadcast_to(ndtri(levels), (*self.dof.shape, levels.size)).copy()
        few = np.isfinite(self.dof)
        factor[few] = stdtrit(self.dof[few][:, None], levels)
        return np.asarray(self.mean_um[..., None] + self.sd_um[..., None] * factor, dtype=np.float64)

    def cdf(self, value: FloatArray) -> FloatArray:
        """Return the chance to lie below, shape as the value's."""
        z = (value - self.mean_um) / self.sd_um
        below, few = ndtr(z), np.isfinite(self.dof)
        below[few] = stdtr(self.dof[few], z[few])
        return np.asarray(below, dtype=np.float64)


def _fitted(residual: FloatArray, terms: FloatArray) -> FloatArray:
    """Fit non-negative coefficients of a variance to residuals by maximum likelihood."""
    start = np.log(np.full(terms.shape[1], np.mean(residual**2) / np.mean(terms.sum(axis=1))) + 1.0)

    def unlikely(log_c: FloatArray) -> float:
        variance = terms @ np.exp(log_c) + 1e-9
        return float(np.mean(np.log(variance) + residual**2 / variance))

    best = minimize(unlikely, start, method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-3, "fatol": 1e-8})
    return np.exp(best.x)


@dataclass(frozen=True, slots=True)
class _History:
    """Last as-left, last interval's rate and length (NaN where there is none), per series."""

    left_um: FloatArray
    rate_um: FloatArray
    years: FloatArray


def _history(fleet: StudyFleet) -> _History:
    found, visits, n = intervals(fleet.visits), fleet.visits, fleet.series.axis.size
    left, rate, years = np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    left[visits.series] = visits.left_um
    current = found.regime == fleet.regime_now[found.series]
    current &= ~found.across_event
    of = found.series[current]
    rate[of], years[of] = (found.moved_um / found.years)[current], found.years[current]
    return _History(left, rate, years)


def last_position(fleet: StudyFleet) -> Spread:
    """Foresee what was left last, with variance a + b dt fitted by axis on the fleet's past intervals."""
    found, history = intervals(fleet.visits), _history(fleet)
    sd = np.empty(fleet.use_years.shape)
    for axis in (0, 1):
        past = (fleet.series.axis[found.series] == axis) & ~found.across_event
        terms = np.stack([np.ones(int(past.sum())), found.years[past]], axis=1)
        a, b = _fitted(found.moved_um[past], terms)
        rows = fleet.series.axis == axis
        sd[rows] = np.sqrt(a + b * fleet.use_years[rows])
    mean = np.broadcast_to(history.left_um[:, None], sd.shape)
    return Spread(mean, sd, np.full(sd.shape, np.inf))


def last_rate(fleet: StudyFleet) -> Spread:
    """Carry the last interval's rate on, with variance c0 + c1 dt + c2 (dt / dt_prev)^2 fitted by axis."""
    found, history, plain = intervals(fleet.visits), _history(fleet), last_position(fleet)
    has = np.isfinite(history.rate_um)
    mean, sd = plain.mean_um.copy(), plain.sd_um.copy()
    follows = np.zeros(found.series.shape, dtype=np.bool_)
    follows[1:] = (found.series[1:] == found.series[:-1]) & (found.regime[1:] == found.regime[:-1])
    follows &= ~found.across_event
    follows[1:] &= ~found.across_event[:-1]
    rate_before = np.zeros(found.series.shape)
    rate_before[1:] = found.moved_um[:-1] / found.years[:-1]
    years_before = np.ones(found.series.shape)
    years_before[1:] = found.years[:-1]
    for axis in (0, 1):
        past = follows & (fleet.series.axis[found.series] == axis)
        terms = np.stack([np.ones(past.shape), found.years, (found.years / years_before) ** 2], axis=1)[past]
        c = _fitted((found.moved_um - rate_before * found.years)[past], terms)
        rows = np.flatnonzero(has & (fleet.series.axis == axis))
        years = fleet.use_years[rows]
        mean[rows] = history.left_um[rows, None] + history.rate_um[rows, None] * years
        sd[rows] = np.sqrt(c[0] + c[1] * years + c[2] * (years / history.years[rows, None]) ** 2)
    return Spread(mean, sd, np.full(sd.shape, np.inf))


def own_line(fleet: StudyFleet) -> Spread:
    """Fit a straight line through each series' own movements, added up since its last event; Student's interval.

    Series with fewer than four points (two degrees of freedom) fall back to what was left last.
    """
    found, history, plain = intervals(fleet.visits), _history(fleet), last_position(fleet)
    mean, sd, dof = plain.mean_um.copy(), plain.sd_um.copy(), plain.dof.copy()
    current = (found.regime == fleet.regime_now[found.series]) & ~found.across_event
    of, years, moved = found.series[current], found.years[current], found.moved_um[current]
    first = np.flatnonzero(np.r_[True, of[1:] != of[:-1]])
    for at, stop in zip(first, np.r_[first[1:], of.size], strict=True):
        if stop - at < 3:
            continue
        x, y = np.r_[0.0, np.cumsum(years[at:stop])], np.r_[0.0, np.cumsum(moved[at:stop])]
        free = x.size - 2
        centre, sxx = x.mean(), float(np.sum((x - x.mean()) ** 2))
        slope = float(np.sum((x - centre) * y)) / sxx
        scale2 = float(np.sum((y - y.mean() - slope * (x - centre)) ** 2)) / free
        then = x[-1] + fleet.use_years[of[at]]
        mean[of[at]] = history.left_um[of[at]] - y[-1] + y.mean() + slope * (then - centre)
        sd[of[at]] = np.sqrt(scale2 * (1.0 + 1.0 / x.size + (then - centre) ** 2 / sxx)) + 1e-6
        dof[of[at]] = free
    return Spread(mean, sd, dof)
