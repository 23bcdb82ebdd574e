"""Did a line drift at another rate after something happened? The rate before it and the rate after it, side by side.

The interval in which it happened belongs to neither side, so a step that the happening itself made does not count.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from fleet.trend.cuts import fit_cuts
from fleet.trend.gls import segments
from fleet.trend.one_rate import without_needless_jumps
from fleet.trend.pooling import Pooled
from fleet.trend.records import Intervals, Series
from fleet.values import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Happenings:
    """Something that happened, once for every series it is looked at in; every array has shape (n,).

    Parameters
    ----------
    series : index into `Series`
    day : when, in days since the epoch (UTC)
    local_day : the day at the site, in whole days since the epoch
    regime_before, regime_after : the regimes of the series that end, and begin, with it; equal where it resets none
    """

    series: IntArray
    day: FloatArray
    local_day: IntArray
    regime_before: IntArray
    regime_after: IntArray


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """Rates before and after each happening, um per year of use; every array has shape (n,), NaN where not known.

    Parameters
    ----------
    before_um, before_u_um, after_um, after_u_um : the rates and their standard uncertainties; known only together
    change_um, change_u_um : after minus before, with what the two sides' surveys have in common
    dof : degrees of freedom of the wander behind them
    n_before, n_after : intervals on either side
    """

    before_um: FloatArray
    before_u_um: FloatArray
    after_um: FloatArray
    after_u_um: FloatArray
    change_um: FloatArray
    change_u_um: FloatArray
    dof: FloatArray
    n_before: IntArray
    n_after: IntArray


def before_after(
    found: Intervals,
    series: Series,
    pooled: Pooled,
    happened: Happenings,
    *,
    begins: FloatArray,
    from_local_day: IntArray,
) -> BeforeAfter:
    """Fit two rates to the intervals around every happening, between the resets before and after it.

    A survey made before the moment belongs to the side before; an as-left of that day at the site belongs to the side
    after, as with every event.

    Parameters
    ----------
    found, series, pooled : as everywhere in this package
    happened : what happened
    begins : clock at which every interval begins, years of use, shape (n_intervals,)
    from_local_day : the day at the site on which every interval begins, whole days since the epoch, (n_intervals,)

    Returns
    -------
    the rates on both sides

    References
    ----------
    Two rates by generalised least squares, `fleet.trend.cuts.fit_cuts`.
    """
    n = happened.series.size
    first = np.searchsorted(found.series, happened.series, side="left")
    many = np.searchsorted(found.series, happened.series, side="right") - first
    of = np.repeat(np.arange(n), many)
    row = np.repeat(first - np.cumsum(many) + many, many) + np.arange(of.size)
    sound = ~found.across_event & np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    before = sound[row] & (found.regime[row] == happened.regime_before[of]) & (found.to_day[row] < happened.day[of])
    after = sound[row] & (found.regime[row] == happened.regime_after[of])
    after &= (from_local_day[row] >= happened.local_day[of]) & ~before
    n_before = np.bincount(of[before], minlength=n).astype(np.int64)
    n_after = np.bincount(of[after], minlength=n).astype(np.int64)
    keep = (before | after) & ((n_before > 0) & (n_after > 0))[of]
    of, row, after = of[keep], row[keep], after[keep]

    calm = pooled.unseasoned(found)
    neighbours = np.zeros(of.size, dtype=np.bool_)
    neighbours[:-1] = (row[1:] == row[:-1] + 1) & (of[1:] == of[:-1])
    part = Intervals(**{field.name: getattr(calm, field.name)[row] for field in dataclasses.fields(Intervals)})
    part = dataclasses.replace(
        part,
        series=of,
        regime=np.zeros(of.size, dtype=np.int64),
        cov_next_um2=np.where(neighbours, part.cov_next_um2, 0.0),
    )
    every = np.ones(of.size, dtype=np.bool_)
    sigma = pooled.sigma(series)
    sides = dataclasses.replace(part, regime=after.astype(np.int64))
    jumps = without_needless_jumps(sides, every, pooled.jump_var_um2[row], sigma[happened.series] ** 2)
    laid = segments(part, every, jumps)
    starts = np.where(laid.index >= 0, begins[row][laid.index], 0.0)
    cut = np.full(n, np.inf)
    np.minimum.at(cut, of[after], begins[row][after])
    fits = fit_cuts(laid, starts, cut[laid.series][None, :], sigma[happened.series[laid.series]] ** 2)

    def known(values: FloatArray) -> FloatArray:
        full = np.full(n, np.nan)
        full[laid.series] = values
        return full

    information = fits.information[0]
    told = information > 0.0
    u_change = np.where(told, 1.0 / np.sqrt(np.where(told, information, 1.0)), np.nan)
    return BeforeAfter(
        before_um=known(fits.before_um[0]),
        before_u_um=known(np.sqrt(fits.before_var_um2[0])),
        after_um=known(fits.after_um[0]),
        after_u_um=known(np.sqrt(fits.after_var_um2[0])),
        change_um=known(np.where(told, fits.after_um[0] - fits.before_um[0], np.nan)),
        change_u_um=known(u_change),
        dof=pooled.sigma_dof(series)[happened.series],
        n_before=n_before,
        n_after=n_after,
    )
