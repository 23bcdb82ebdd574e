"""What similar lines do: how a series moved by its own record alone, and how many lines like it move the same way.

Nothing is borrowed here. A rate that leans on the pool agrees with the pool's other lines because it leans on them; a
count of lines that agree must not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.records import Intervals, Series
from fleet.values import NORMAL_95, BoolArray, FloatArray, IntArray

THIRDS: Final = 3
"""By the gearbox, in the middle, toward the discharge end: stations in the same third of the barrel are alike."""


@dataclass(frozen=True, slots=True)
class OwnRates:
    """How every series moved by its own intervals; NaN where it has none; every array has shape (n_series,).

    Parameters
    ----------
    rate_um : all movements of the current regime over all of its years of use, um per year of use
    sd_um : its standard uncertainty: measuring, jumps and wander
    """

    rate_um: FloatArray
    sd_um: FloatArray


@dataclass(frozen=True, slots=True)
class Alike:
    """How many other lines with a record of their own are alike, and which way they go; shapes (n_series,).

    Parameters
    ----------
    lines : other lines measured in the same third of the barrel, of the same axis, bore and foundation
    higher, lower : those of them that go up or right, and down or left, by more than their 95 % uncertainty
    """

    lines: IntArray
    higher: IntArray
    lower: IntArray


def own_rates(found: Intervals, n_intervals: IntArray, jump_var_um2: FloatArray, sigma_um: FloatArray) -> OwnRates:
    """Return what every series' own intervals of its current regime say of its rate.

    Parameters
    ----------
    found : intervals, sorted by series, then time
    n_intervals : how many of each series' newest intervals speak for its rate, shape (n_series,)
    jump_var_um2 : variance that single jumps add to their intervals, shape (n_intervals,)
    sigma_um : wander, um per square root of a year of use, shape (n_series,)

    Returns
    -------
    the rates

    References
    ----------
    Sum of correlated quantities (JCGM 100:2008, 5.2.2): neighbouring intervals share the session between them.
    """
    n = n_intervals.size
    usable = ~found.across_event & np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    chosen = np.flatnonzero(usable)
    # The current regime's intervals are a series' newest ones, because regimes follow one another.
    ends = np.cumsum(np.bincount(found.series[chosen], minlength=n))
    from_end = ends[found.series[chosen]] - np.arange(chosen.size)
    chosen = chosen[from_end <= n_intervals[found.series[chosen]]]
    of = found.series[chosen]

    def summed(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(of, weights=values, minlength=n), dtype=np.float64)

    next_too = np.zeros(chosen.size, dtype=np.bool_)
    next_too[:-1] = (chosen[1:] == chosen[:-1] + 1) & (of[1:] == of[:-1])
    years = summed(found.years[chosen])
    variance = summed(found.var_um2[chosen] + jump_var_um2[chosen])
    variance = variance + 2.0 * summed(np.where(next_too, found.cov_next_um2[chosen], 0.0)) + sigma_um**2 * years
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(years > 0.0, summed(found.moved_um[chosen]) / years, np.nan)
        sd = np.where(years > 0.0, np.sqrt(np.maximum(variance, 0.0)) / years, np.nan)
    return OwnRates(rate, sd)


def alike(series: Series, own: OwnRates, line: IntArray, bore: IntArray) -> Alike:
    """Count, for every series, the other lines like it, and those that go higher and lower beyond their uncertainty.

    A line speaks once in each third of its barrel, by its station farthest from the gearbox there: that one moves most.
    A series whose foundation is not recorded is compared with lines of any.

    Parameters
    ----------
    series : the series
    own : how each moved by its own record
    line, bore : index of the line and of the bore of each, shape (n_series,)

    Returns
    -------
    the counts
    """
    n = series.axis.size
    if n == 0:
        nothing = np.zeros(0, dtype=np.int64)
        return Alike(nothing, nothing, nothing)
    third = np.clip(np.floor(series.share * THIRDS), 0, THIRDS - 1).astype(np.int64)
    kind = (series.axis * (int(bore.max()) + 1) + bore) * THIRDS + third
    place = kind * (int(line.max()) + 1) + line
    known = np.isfinite(own.rate_um) & np.isfinite(own.sd_um)

    order = np.flatnonzero(known)[np.lexsort((series.share[known], place[known]))]
    farthest = np.ones(order.size, dtype=np.bool_)
    farthest[:-1] = place[order[1:]] != place[order[:-1]]
    speaks = order[farthest]
    beyond = np.abs(own.rate_um[speaks]) > NORMAL_95 * own.sd_um[speaks]
    goes = np.where(beyond, np.sign(own.rate_um[speaks]), 0.0)

    columns = int(series.foundation.max()) + 2
    cell = kind * columns + series.foundation + 1
    spoken = place[speaks]
    at = np.minimum(np.searchsorted(spoken, place), max(spoken.size - 1, 0))
    own_there = spoken[at] == place if spoken.size else np.zeros(n, dtype=np.bool_)

    def counted(which: BoolArray) -> IntArray:
        table = np.bincount(cell[speaks][which], minlength=(int(kind.max()) + 1) * columns).reshape(-1, columns)
        there = np.where(series.foundation >= 0, table.ravel()[cell], table.sum(axis=1)[kind])
        itself = own_there & which[at] if spoken.size else own_there
        return np.asarray(there - itself, dtype=np.int64)

    return Alike(counted(np.ones(speaks.size, dtype=np.bool_)), counted(goes > 0.0), counted(goes < 0.0))
