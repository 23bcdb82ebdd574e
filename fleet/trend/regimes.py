"""Did a line begin to drift at another rate? Found without a recorded event, for a person to judge.

Per line (bore) and axis, over the intervals of the current regime, one rate throughout is weighed against another rate
from some visit on. Nothing is applied here: what stands out is proposed, with its evidence.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.cuts import Cuts, fit_cuts
from fleet.trend.gls import Segments, segments
from fleet.trend.lines import group
from fleet.trend.pooling import Pooled
from fleet.trend.posterior import last_visits
from fleet.trend.records import Intervals, Series, Visits
from fleet.values import BoolArray, FloatArray, IntArray

WORTH_PROPOSING: Final = float(np.log(10.0))
"""Log Bayes factor from which a change is proposed: the record is ten times likelier with it than without."""

STILL_EVIDENT: Final = 0.0
"""Log Bayes factor that must be left whichever interval is left out: likelier with the change than without."""

GROWN_CLEARLY: Final = float(np.log(3.0))
"""By how much the log Bayes factor must have risen before a refused change is proposed anew: three times the odds."""

FEWEST_INTERVALS: Final = 2
"""On each side of a change: one interval alone cannot tell a rate from a jump."""

_SIZES: Final = (1.0, 3.0)
"""Sizes of a change that are thought equally likely, in units of what the pool knows rates to be."""

_LIKE_THE_POOL: Final = 20.0
"""Degrees of freedom that the pool's wander is worth for one line at most: lines wander differently (from memory)."""

_LEFT_OUT_UM2: Final = 1e12
_SAME_CLOCK: Final = 1e-7
_CELLS_AT_ONCE: Final = 300_000


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the rate of one line (bore) and axis that is worth a person's judgement.

    Parameters
    ----------
    line, axis : as in `Series`
    evidence : natural log of the Bayes factor of a change at some visit against one rate throughout: the record is
        exp(evidence) times likelier with the change than without
    from_visit : index into `Visits`, the visit from which on the rate is another
    to_visit : the visit that ends the interval the new rate begins with
    earliest_visit, latest_visit : between these the change lies with 90 % probability
    members : the series of the line and axis, shape (n,)
    shows_most : the place in `members` of the series whose two rates differ most beyond their uncertainty
    before_um, after_um, before_u_um, after_u_um : rates of the members and their standard uncertainties, um per year of
        use, shape (n,); NaN where a member has no record on that side
    n_before, n_after : intervals on either side, of the member that has most of them
    """

    line: int
    axis: int
    evidence: float
    from_visit: int
    to_visit: int
    earliest_visit: int
    latest_visit: int
    members: IntArray
    shows_most: int
    before_um: FloatArray
    after_um: FloatArray
    before_u_um: FloatArray
    after_u_um: FloatArray
    n_before: int
    n_after: int


def rate_changes(
    visits: Visits,
    found: Intervals,
    series: Series,
    pooled: Pooled,
    *,
    regime_now: IntArray | None = None,
    least: float = WORTH_PROPOSING,
) -> list[Change]:
    """Find the lines (bores) and axes whose rate of drift changed at some visit of their current regime.

    The stations of a line are weighed together, with the correlations that their rates and the errors of their rates
    have in the pool. An interval that the pool takes for a jump keeps its jump's variance, unless two rates explain the
    whole series without any. The change must stay likelier than none whichever interval is left out, so that no single
    movement can be taken for one.

    Parameters
    ----------
    visits, found, series, pooled : as everywhere in this package
    regime_now : trend-resetting events up to as-of, shape (n_series,); None: none since the newest visit
    least : evidence from which a change is returned

    Returns
    -------
    the changes, at most one per line and axis, most evident first

    References
    ----------
    Bayes factor with equal chance for every cut that leaves two intervals on each side (Smith 1975, Biometrika 62,
    407-416). The common level is integrated out flat; the difference of the rates is Gaussian about zero, as large as
    rates are in the pool or three times that; the scale of all variances is inverse gamma about the pool's. Without a
    change, a Bayes factor of B or more has a chance of at most 1 / B (Ville 1939).
    """
    # A year's swing is no change of drift.
    found = pooled.unseasoned(found)
    n = series.axis.size
    last = last_visits(visits, n)
    if regime_now is None:
        regime_now = np.full(n, -1, dtype=np.int64)
        regime_now[last >= 0] = visits.regime_left[last[last >= 0]]
    use = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    use &= found.regime == regime_now[found.series]
    laid = segments(found, use, pooled.jump_var_um2)
    if laid.series.size == 0:
        return []
    laid = _without_needless_jumps(laid, pooled.jump_var_um2, _wander(pooled, series)[laid.series] ** 2)
    members = group(2 * series.line[laid.series] + series.axis[laid.series]).members
    longest = np.where(members >= 0, laid.count[np.maximum(members, 0)], 0).max(axis=1)
    changes: list[Change] = []
    for rows in _alike(longest, members.shape[1]):
        table = _laid_out(laid, members[rows], visits, found, series, pooled)
        worth = np.flatnonzero(_weigh(table, table.laid.var_um2).evidence >= least)
        if worth.size:
            table = _laid_out(laid, members[rows[worth]], visits, found, series, pooled)
            changes += _changes(table, found, least)
    return sorted(changes, key=lambda change: -change.evidence)


def _wander(pooled: Pooled, series: Series) -> FloatArray:
    """Return the pool's wander of every series: a line's own would have the change that is looked for in it."""
    return np.where(series.axis == 0, pooled.axes[0].sigma(series.share), pooled.axes[1].sigma(series.share))


def _without_needless_jumps(laid: Segments, jump_var_um2: FloatArray, sigma2: FloatArray) -> Segments:
    """Take the jumps' variance off every series whose movements two rates explain without any jump.

    With one rate throughout, the pool cannot but take the movements of a new rate for jumps.
    """
    jump = np.where(laid.index >= 0, jump_var_um2[np.maximum(laid.index, 0)], 0.0)
    rows = np.flatnonzero(np.any(jump > 0.0, axis=0) & (laid.count >= 2 * FEWEST_INTERVALS))
    if rows.size == 0:
        return laid
    plain = dataclasses.replace(laid, var_um2=laid.var_um2 - jump)
    part = plain.picked(rows)
    # Any clock does: laid end to end, every interval lies on one side of a cut.
    begins = np.cumsum(part.years, axis=0) - part.years
    two = fit_cuts(part, begins, begins, sigma2[rows]).two_chi2
    place = np.arange(begins.shape[0])[:, None]
    two = np.where((place >= FEWEST_INTERVALS) & (place <= part.count - FEWEST_INTERVALS), two, np.inf)
    dof = part.count - 2.0
    explained = rows[two.min(axis=0) <= dof + 2.0 * np.sqrt(2.0 * dof)]
    variance = laid.var_um2.copy()
    variance[:, explained] = plain.var_um2[:, explained]
    return dataclasses.replace(laid, var_um2=variance)


def _alike(longest: IntArray, most: int) -> Iterator[IntArray]:
    """Give lines and axes with records of about one length, so many at once that the tables stay small."""
    shortest = 2 * FEWEST_INTERVALS
    while shortest <= longest.max(initial=0):
        rows = np.flatnonzero((longest >= shortest) & (longest < 2 * shortest)).astype(np.int64)
        step = max(1, _CELLS_AT_ONCE // (most * 4 * shortest))
        for start in range(0, rows.size, step):
            yield rows[start : start + step]
        shortest *= 2


@dataclass(frozen=True, slots=True)
class _Table:
    """Lines and axes side by side, with what the pool says about them.

    `laid` holds their segments; `members` (n_groups, most) places in it; `begins` (longest, n_segments) clocks; `cuts`
    and `allowed` (n_groups, n_cuts); `size_um` (n_segments,) how large a change is thought; the rest (n_groups,).
    """

    laid: Segments
    members: IntArray
    begins: FloatArray
    cuts: FloatArray
    allowed: BoolArray
    before: IntArray
    after: IntArray
    sigma2: FloatArray
    size_um: FloatArray
    dof: FloatArray
    rate_rho: FloatArray
    error_rho: FloatArray
    line: IntArray
    axis: IntArray


def _laid_out(
    laid: Segments, members: IntArray, visits: Visits, found: Intervals, series: Series, pooled: Pooled
) -> _Table:
    held = members >= 0
    pick = members[held]
    longest = int(laid.count[pick].max())
    part = Segments(
        laid.series[pick], laid.regime[pick], laid.count[pick], laid.last[pick], laid.years[:longest, pick],
        laid.moved_um[:longest, pick], laid.var_um2[:longest, pick], laid.cov_next_um2[:longest, pick],
        laid.index[:longest, pick],
    )  # fmt: skip
    places = np.full(members.shape, -1, dtype=np.int64)
    places[held] = np.arange(pick.size)
    filled = part.index >= 0
    begins = np.where(filled, visits.clock_years[found.from_visit[np.maximum(part.index, 0)]], np.nan)
    by_group = _by_group(begins, places)
    cuts = np.sort(by_group.reshape(members.shape[0], -1), axis=1)
    cuts[:, 1:][np.diff(cuts, axis=1) < _SAME_CLOCK] = np.nan
    cuts = np.sort(cuts, axis=1)
    cuts = cuts[:, : int(np.isfinite(cuts).sum(axis=1).max())]
    ends = _by_group(begins + part.years, places)
    before, after = np.empty(cuts.shape, dtype=np.int64), np.empty(cuts.shape, dtype=np.int64)
    for number in range(cuts.shape[1]):
        cut = cuts[:, number, None, None]
        before[:, number] = np.sum(ends <= cut + _SAME_CLOCK, axis=2).max(axis=1)
        after[:, number] = np.sum(by_group >= cut - _SAME_CLOCK, axis=2).max(axis=1)
    of = part.series
    axis, line = series.axis[of[places[:, 0]]], series.line[of[places[:, 0]]]
    sigma = _wander(pooled, series)[of]
    # A change smaller than the wander of a few years cannot be seen, so the size needs a floor where all rates agree.
    rates = np.hypot(pooled.tau(series)[of], pooled.mean_rate(series)[0][of])
    pools = [pooled.axes[number] for number in (0, 1)]
    return _Table(
        laid=part,
        members=places,
        begins=np.where(filled, begins, 0.0),
        cuts=cuts,
        allowed=np.isfinite(cuts) & (before >= FEWEST_INTERVALS) & (after >= FEWEST_INTERVALS),
        before=before,
        after=after,
        sigma2=sigma**2,
        size_um=np.sqrt(2.0) * np.maximum(rates, 0.5 * sigma + 1e-6),
        dof=np.minimum(np.array([pool.sigma_dof for pool in pools])[axis], _LIKE_THE_POOL),
        rate_rho=np.array([pool.rate_rho for pool in pools])[axis],
        error_rho=np.array([pool.error_rho for pool in pools])[axis],
        line=line,
        axis=axis,
    )


def _by_group(values: FloatArray, members: IntArray) -> FloatArray:
    """Lay (longest, n_segments) out as (n_groups, most, longest), NaN in empty places."""
    return np.where((members >= 0)[..., None], values.T[np.maximum(members, 0)], np.nan)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """`evidence` (n_groups,), `chance` of every cut given that there is one (n_groups, n_cuts), and the fits."""

    evidence: FloatArray
    chance: FloatArray
    fits: Cuts


def _weigh(table: _Table, var_um2: FloatArray) -> _Weighed:
    """Weigh two rates against one, for every line and axis, with given variances of the intervals."""
    laid = dataclasses.replace(table.laid, var_um2=var_um2)
    held = table.members >= 0
    of_group = np.empty(laid.series.size, dtype=np.int64)
    of_group[table.members[held]] = np.nonzero(held)[0]
    cuts = np.where(table.allowed, table.cuts, -np.inf)
    fits = fit_cuts(laid, table.begins, cuts[of_group].T, table.sigma2)

    at = np.maximum(table.members, 0)
    information = np.where(held, fits.information[:, at], 0.0).swapaxes(0, 1)  # (n_groups, n_cuts, most)
    known = information > 0.0
    difference = np.where(known, (fits.after_um - fits.before_um)[:, at].swapaxes(0, 1), 0.0)
    root = np.sqrt(information)
    seen = difference * root
    count = np.sum((laid.index >= 0) & (var_um2 < 0.5 * _LEFT_OUT_UM2), axis=0)

    # Errors of a line's stations: equal correlation, so that inverse and determinant have a closed form.
    m = np.sum(known, axis=2)
    rho = np.minimum(table.error_rho, 0.95)[:, None]
    effect = 1.0 + np.maximum(m - 1, 0) * rho
    total = np.sum(seen, axis=2)
    plain = (np.sum(seen**2, axis=2) - rho / effect * total**2) / (1.0 - rho)
    log_det = np.maximum(m - 1, 0) * np.log(1.0 - rho) + np.log(effect)
    rest = np.where(known, fits.two_chi2[:, at].swapaxes(0, 1), 0.0)
    free = np.where(known, np.maximum(count[at] - 2, 0)[:, None, :], 0)
    scale = table.dof[:, None] + np.sum(rest, axis=2) / effect
    weight = 0.5 * (table.dof[:, None] + np.sum(free, axis=2) / effect + m)

    own = np.arange(known.shape[2])
    errors = np.where(known[..., :, None] & known[..., None, :], rho[..., None, None], 0.0)
    errors[..., own, own] = 1.0
    sized = root * np.where(held, table.size_um[at], 0.0)[:, None, :]
    together = sized[..., :, None] * sized[..., None, :] * table.rate_rho[:, None, None, None]
    together[..., own, own] = sized**2
    log_factor = np.full((len(_SIZES), *m.shape), -np.inf)
    for number, size in enumerate(_SIZES):
        lower = np.linalg.cholesky(errors + size**2 * together)
        white = np.linalg.solve(lower, seen[..., None])[..., 0]
        wider = 2.0 * np.sum(np.log(np.diagonal(lower, axis1=2, axis2=3)), axis=2)
        changed = np.sum(white**2, axis=2)
        log_factor[number] = 0.5 * (log_det - wider) + weight * np.log((scale + plain) / (scale + changed))
    log_factor = np.where(table.allowed, log_factor, -np.inf)
    peak = log_factor.max(axis=(0, 2), initial=-1e300)
    likely = np.sum(np.exp(log_factor - peak[:, None]), axis=0)
    whole = np.sum(likely, axis=1)
    choices = len(_SIZES) * np.maximum(np.sum(table.allowed, axis=1), 1)
    with np.errstate(divide="ignore"):
        evidence = np.where(whole > 0.0, peak + np.log(whole) - np.log(choices), -np.inf)
    return _Weighed(evidence, likely / np.maximum(whole, 1e-300)[:, None], fits)


def _changes(table: _Table, found: Intervals, least: float) -> list[Change]:
    """Say of every line and axis what changed, where that stays evident whichever interval is left out."""
    got = _weigh(table, table.laid.var_um2)
    held = table.members >= 0
    of_group = np.empty(table.laid.series.size, dtype=np.int64)
    of_group[table.members[held]] = np.nonzero(held)[0]
    stands = got.evidence >= least
    for number in range(table.cuts.shape[1]):
        left_out = np.abs(table.begins - table.cuts[of_group, number]) < _SAME_CLOCK
        without = _weigh(table, np.where(left_out & (table.laid.index >= 0), _LEFT_OUT_UM2, table.laid.var_um2))
        stands &= (without.evidence > STILL_EVIDENT) | ~np.isfinite(table.cuts[:, number])
    return [_change(table, got, found, row, float(got.evidence[row])) for row in np.flatnonzero(stands).tolist()]


def _change(table: _Table, got: _Weighed, found: Intervals, row: int, evidence: float) -> Change:
    segment = table.members[row][table.members[row] >= 0]
    best = int(np.argmax(got.chance[row]))
    reached = np.cumsum(got.chance[row])
    earliest, latest = int(np.searchsorted(reached, 0.05)), int(np.searchsorted(reached, 0.95))
    before, after = got.fits.before_um[best, segment], got.fits.after_um[best, segment]
    apart = np.abs(after - before) * np.sqrt(got.fits.information[best, segment])
    shows_most = int(np.nanargmax(apart))

    def interval(cut: int) -> int:
        """Return the interval that begins at a cut, of the series that shows most where it has one."""
        for place in (shows_most, *range(segment.size)):
            at = np.flatnonzero(
                (np.abs(table.begins[:, segment[place]] - table.cuts[row, cut]) < _SAME_CLOCK)
                & (table.laid.index[:, segment[place]] >= 0)
            )
            if at.size:
                return int(table.laid.index[at[0], segment[place]])
        raise AssertionError("a cut is the beginning of an interval")

    begins = interval(best)
    return Change(
        line=int(table.line[row]),
        axis=int(table.axis[row]),
        evidence=evidence,
        from_visit=int(found.from_visit[begins]),
        to_visit=int(found.to_visit[begins]),
        earliest_visit=int(found.from_visit[interval(earliest)]),
        latest_visit=int(found.from_visit[interval(min(latest, table.cuts.shape[1] - 1))]),
        members=table.laid.series[segment],
        shows_most=shows_most,
        before_um=before,
        after_um=after,
        before_u_um=np.sqrt(got.fits.before_var_um2[best, segment]),
        after_u_um=np.sqrt(got.fits.after_var_um2[best, segment]),
        n_before=int(table.before[row, best]),
        n_after=int(table.after[row, best]),
    )
