"""Which series move differently from the fleet, and do groups of lines: differences with what they are worth.

A pooled rate leans on the fleet, so it says where a line most likely lies but is no witness of its own: whether a line
differs from the fleet is judged by its own intervals alone. Where many are looked at, some look odd by chance; the
verdicts allow for that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.trend.gls import segments, sums
from fleet.trend.lines import share_rates
from fleet.trend.one_rate import without_needless_jumps
from fleet.trend.pooling import Pooled
from fleet.trend.records import Intervals, Series
from fleet.values import BoolArray, FloatArray, IntArray

FALSE_ALARMS: Final = 0.05
"""The share of those told apart that is expected to be wrong, at most."""

_NO_RECORD: Final = 1e-12
_STEPS: Final = 200


@dataclass(frozen=True, slots=True)
class OwnRecord:
    """What the intervals of each series' current regime say alone; every array has shape (n_series,).

    Parameters
    ----------
    rate_um : generalised least-squares rate, um per year of use, NaN without an interval
    var_um2 : its variance: measuring, jumps and the series' own wander; infinite without an interval
    """

    rate_um: FloatArray
    var_um2: FloatArray


@dataclass(frozen=True, slots=True)
class Departures:
    """How far each series' rate lies from the fleet's mean at the same distance; every array has shape (n_series,).

    Parameters
    ----------
    fleet_um : the fleet's mean rate there, its foundations in the shares in which they occur, um per year of use
    fleet_u_um : its standard uncertainty
    departure_um, u_um : the pooled rate minus that mean, and its standard uncertainty
    dof : degrees of freedom of the wander behind it
    own_p : chance of an own rate at least so far from the fleet's mean if the series moved like that mean; 1 without
        an interval
    """

    fleet_um: FloatArray
    fleet_u_um: FloatArray
    departure_um: FloatArray
    u_um: FloatArray
    dof: FloatArray
    own_p: FloatArray


@dataclass(frozen=True, slots=True)
class Groups:
    """Mean rates of groups of lines and how each differs from the other lines; arrays of shape (n_groups,).

    Parameters
    ----------
    mean_um, u_um : mean rate of a group's lines, um per year of use, and its standard uncertainty
    lines : how many stand behind it
    dof : degrees of freedom of all uncertainties here: lines minus groups
    tau_um : spread of the lines within their groups
    from_rest_um, from_rest_u_um : the mean minus the mean over all lines of the other groups
    p : chance of such a difference or a larger one if there were none; NaN where it cannot be said
    p_any : the same of all groups together
    """

    mean_um: FloatArray
    u_um: FloatArray
    lines: IntArray
    dof: int
    tau_um: float
    from_rest_um: FloatArray
    from_rest_u_um: FloatArray
    p: FloatArray
    p_any: float


def one_rate_first(found: Intervals, series: Series, pooled: Pooled) -> Pooled:
    """Return the pool's knowledge with no movement taken for a jump where one rate explains a series and regime.

    Parameters
    ----------
    found, series, pooled : as everywhere in this package
    """
    usable = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    # The pool's wander: a line's own would have in it what looks odd here.
    sigma = np.where(series.axis == 0, pooled.axes[0].sigma(series.share), pooled.axes[1].sigma(series.share))
    kept = without_needless_jumps(pooled.unseasoned(found), usable, pooled.jump_var_um2, sigma**2)
    return replace(pooled, jump_var_um2=kept)


def own_record(found: Intervals, series: Series, pooled: Pooled, regime_now: IntArray) -> OwnRecord:
    """Return the rate of every series from the intervals of its current regime alone.

    Parameters
    ----------
    found, series, pooled : as everywhere in this package
    regime_now : trend-resetting events up to as-of, shape (n_series,)
    """
    sigma = pooled.sigma(series)
    usable = np.isfinite(found.moved_um) & np.isfinite(found.var_um2) & np.isfinite(found.years)
    usable &= found.regime == regime_now[found.series]
    laid = segments(pooled.unseasoned(found), usable, pooled.jump_var_um2)
    got = sums(laid, sigma[laid.series] ** 2)
    n = series.axis.size
    rate, variance = np.full(n, np.nan), np.full(n, np.inf)
    known = got.a > _NO_RECORD
    rate[laid.series[known]] = got.b[known] / got.a[known]
    variance[laid.series[known]] = 1.0 / got.a[known]
    return OwnRecord(rate, variance)


def departures(own: OwnRecord, series: Series, pooled: Pooled, rate_um: FloatArray) -> Departures:
    """Compare every series with the fleet's mean at the same distance from the gearbox.

    Parameters
    ----------
    own : as from `own_record`
    series, pooled : as everywhere in this package
    rate_um : the pooled rate of every series, as in `Posterior`

    Returns
    -------
    the departures

    References
    ----------
    Error of a best linear unbiased prediction minus a linear function of the same estimated mean (Henderson 1975): the
    mean's own error enters once, with the difference of the two designs. The test is of the own rate against the mean,
    the two taken as independent, which errs on the side of caution because each line has a part in the mean.
    """
    from scipy.special import stdtr

    n = series.axis.size
    fleet, fleet_var = np.zeros(n), np.zeros(n)
    departure, variance = np.zeros(n), np.zeros(n)
    mean, tau, dof = pooled.mean_rate(series)[0], pooled.tau(series), pooled.sigma_dof(series)
    known = np.isfinite(own.rate_um)
    a = np.where(known, 1.0 / own.var_um2, 0.0)
    for axis, pool in enumerate(pooled.axes):
        rows = np.flatnonzero(series.axis == axis)
        if rows.size == 0:
            continue
        share, foundation, line = series.share[rows], series.foundation[rows], series.line[rows]
        design = pool.design(share, foundation)
        like_fleet = _fleet_design(design, pool.foundations, pool.foundation_by_share, share, foundation, line)
        shrunk: list[FloatArray] = []
        nothing = np.zeros_like(pool.covariance)
        for column in (*design.T, None):
            # With an own rate of 0 everywhere, what share_rates keeps of a column is what the pool's error keeps of it.
            got = share_rates(
                a[rows], np.zeros(rows.size), line, mean[rows] if column is None else column, tau[rows], design,
                nothing, rate_rho=pool.rate_rho, error_rho=pool.error_rho,
            )  # fmt: skip
            shrunk.append(got.rate_var_um2 if column is None else got.rate_um)
        apart = np.stack(shrunk[:-1], axis=1) - like_fleet
        fleet[rows] = like_fleet @ pool.coefficients
        fleet_var[rows] = np.einsum("ij,jk,ik->i", like_fleet, pool.covariance, like_fleet)
        departure[rows] = rate_um[rows] - fleet[rows]
        variance[rows] = shrunk[-1] + np.einsum("ij,jk,ik->i", apart, pool.covariance, apart)
    z = np.where(known, (own.rate_um - fleet) / np.sqrt(own.var_um2 + fleet_var), 0.0)
    return Departures(
        fleet_um=fleet,
        fleet_u_um=np.sqrt(fleet_var),
        departure_um=departure,
        u_um=np.sqrt(variance),
        dof=dof,
        own_p=np.where(known, 2.0 * stdtr(dof, -np.abs(z)), 1.0),
    )


def _fleet_design(
    design: FloatArray,
    foundations: tuple[int, ...],
    by_share: bool,
    share: FloatArray,
    foundation: IntArray,
    line: IntArray,
) -> FloatArray:
    """Return the design with every foundation's column at the share of lines that stand on it."""
    like = design.copy()
    _, first = np.unique(line, return_index=True)
    for place, code in enumerate(foundations):
        part = float(np.mean(foundation[first] == code))
        like[:, 2 + place] = part * share if by_share else part
    return like


def told_apart(p: FloatArray, *, false_alarms: float = FALSE_ALARMS) -> BoolArray:
    """Return which of many differences are told apart, so that at most that share of them is expected to be wrong.

    Parameters
    ----------
    p : chance of each difference if there were none, NaN where it cannot be said, shape (n,)
    false_alarms : expected share of false ones among those told apart

    References
    ----------
    Benjamini and Hochberg (1995), J. Royal Statistical Society B 57, 289-300; with it the expected share of those that
    point the wrong way stays below half of that (Benjamini and Yekutieli 2005, J. American Statistical Association
    100, 71-81).
    """
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    under = p[order] <= false_alarms * np.arange(1, order.size + 1) / max(order.size, 1)
    told = np.zeros(p.shape, dtype=np.bool_)
    if np.any(under):
        told[order[: int(np.flatnonzero(under)[-1]) + 1]] = True
    return told


def spread_between(rate_um: FloatArray, var_um2: FloatArray, group: IntArray, n_groups: int) -> float:
    """Return the standard deviation of true rates within groups, beyond what their own uncertainties explain.

    Parameters
    ----------
    rate_um, var_um2 : own rates of lines and their variances, shape (n,)
    group : which group each is of, shape (n,)
    n_groups : how many there are; every one has a line

    References
    ----------
    Paule and Mandel (1982), J. Research NBS 87, 377-385: the spread with which the weighted squares about the groups'
    means come to their degrees of freedom.
    """
    dof = rate_um.size - n_groups
    if dof < 1:
        return 0.0

    tau2 = 0.0
    # The squares fall with the spread, ever less steeply: Newton's steps from 0 close in on the root from below.
    for _ in range(_STEPS):
        weight = 1.0 / (var_um2 + tau2)
        total = np.bincount(group, weights=weight, minlength=n_groups)
        mean = np.bincount(group, weights=weight * rate_um, minlength=n_groups) / total
        each = weight * (rate_um - mean[group]) ** 2
        step = (float(np.sum(each)) - dof) / max(float(np.sum(weight * each)), 1e-300)
        if step <= 1e-12 * tau2:
            break
        tau2 += step
    return float(np.sqrt(tau2))


def compare_groups(rate_um: FloatArray, var_um2: FloatArray, group: IntArray, n_groups: int) -> Groups:
    """Return mean rates of groups of lines, and how far each lies from the mean over the other groups' lines.

    Lines differ within a group by a spread that all groups have in common, estimated here; nothing is borrowed from the
    pool, which would draw the groups together.

    Parameters
    ----------
    rate_um, var_um2 : own rates of lines, um per year of use, and their variances, shape (n,)
    group : which group each is of, 0 to n_groups - 1, every one used, shape (n,)
    n_groups : how many there are

    Returns
    -------
    the groups; without a degree of freedom left their uncertainties are infinite

    References
    ----------
    Random-effects meta-analysis with moderators, Student's t with lines minus groups degrees of freedom (Knapp and
    Hartung 2003, Statistics in Medicine 22, 2693-2710), their factor kept at 1 or above, which with the spread of Paule
    and Mandel makes it 1; all groups at once by the F of the weighted squares between them.
    """
    from scipy.special import fdtrc, stdtr

    tau = spread_between(rate_um, var_um2, group, n_groups)
    weight = 1.0 / (var_um2 + tau**2)
    total = np.bincount(group, weights=weight, minlength=n_groups)
    mean = np.bincount(group, weights=weight * rate_um, minlength=n_groups) / total
    lines = np.bincount(group, minlength=n_groups).astype(np.int64)
    dof = int(rate_um.size - n_groups)
    u = np.sqrt(1.0 / total) if dof >= 1 else np.full(n_groups, np.inf)
    apart, apart_u, p = (np.full(n_groups, np.nan) for _ in range(3))
    p_any = np.nan
    if n_groups >= 2:
        # Row g: one for the group itself, minus each other group's share of the other lines.
        contrast = -np.tile(lines, (n_groups, 1)) / (rate_um.size - lines)[:, None]
        np.fill_diagonal(contrast, 1.0)
        apart = contrast @ mean
        if dof >= 1:
            apart_u = np.sqrt(contrast**2 @ (1.0 / total))
            p = np.asarray(2.0 * stdtr(float(dof), -np.abs(apart) / apart_u), dtype=np.float64)
            grand = float(np.sum(total * mean) / np.sum(total))
            between = float(np.sum(total * (mean - grand) ** 2)) / (n_groups - 1)
            p_any = float(fdtrc(float(n_groups - 1), float(dof), between))
    return Groups(mean, u, lines, dof, tau, apart, apart_u, p, p_any)
