"""What the stations of one line tell about each other: a barrel that turns about its flange moves all of them.

The rates of a line's stations correlate (`rate_rho`), and so do the errors of their own rates (`error_rho`: one set-up
error per session, and wander of the barrel as a whole). Only where the first is the stronger does a neighbour help.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.gls import Segments, solved, sums
from fleet.values import FloatArray, IntArray

_ENOUGH_LINES: Final = 400
_GUESS: Final = 0.3
_GUESS_WORTH: Final = 8.0
_NO_RECORD: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Groups:
    """Series of one line and axis side by side.

    Parameters
    ----------
    members : shape (n_groups, most), positions in the arrays that were grouped, -1 in empty places
    """

    members: IntArray

    def table(self, values: FloatArray, fill: float) -> FloatArray:
        """Lay values of shape (n,) out as (n_groups, most)."""
        return np.where(self.members >= 0, values[np.maximum(self.members, 0)], fill)


def group(line: IntArray) -> Groups:
    """Group positions by line.

    Parameters
    ----------
    line : shape (n,)

    Returns
    -------
    the groups, in order of the lines
    """
    order = np.argsort(line, kind="stable")
    _, first, count = np.unique(line[order], return_index=True, return_counts=True)
    members = np.full((first.size, int(count.max()) if count.size else 0), -1, dtype=np.int64)
    number = np.repeat(np.arange(first.size), count)
    members[number, np.arange(line.size) - first[number]] = order
    return Groups(members)


def correlations(
    laid: Segments, line: IntArray, mean: FloatArray, tau: FloatArray, sigma: FloatArray
) -> tuple[float, float]:
    """Estimate how far the rates of a line's stations, and the errors of their own rates, move together.

    The errors' correlation comes from what is left of the movements when each station's own rate is taken off, which
    no rate can explain; the rates' correlation then by marginal likelihood. With a handful of lines both stay near 0.3
    (from memory).

    Parameters
    ----------
    laid : segments of one axis
    line : line of each segment, shape (n_segments,)
    mean, tau, sigma : mean rate, its spread and the wander of every segment, shape (n_segments,)

    Returns
    -------
    rate_rho, error_rho
    """
    from scipy.optimize import minimize_scalar

    newest = np.ones(laid.series.size, dtype=np.bool_)
    newest[:-1] = laid.series[1:] != laid.series[:-1]
    rows = np.flatnonzero(newest)
    groups = group(line[rows])
    several = np.flatnonzero(np.sum(groups.members >= 0, axis=1) >= 2)
    step = max(1, several.size // _ENOUGH_LINES)
    members = groups.members[several[::step]]
    if members.size == 0:
        return _GUESS, _GUESS
    held = members >= 0
    pick = rows[np.maximum(members, 0)]
    got = sums(laid, sigma**2)

    own_rate = np.divide(got.b, got.a, out=mean.copy(), where=got.a > 0)
    # Weighted by V^-1, as in the rate itself, so that wander counts and the survey errors that cancel in a rate do not.
    by_years, by_moved, diagonal = solved(laid, sigma**2)
    left = (by_moved - own_rate * by_years) / np.sqrt(diagonal)
    left = np.where(laid.index >= 0, left, 0.0)[:, pick] * held
    same = np.all(np.abs(laid.years[:, pick] - laid.years[:, pick[:, :1]]) < 1e-6, axis=0)
    same &= (laid.count[pick] == laid.count[pick[:, :1]]) & held
    left = left * same
    size = np.sum(same, axis=1)
    pairs = np.maximum(size * (size - 1), 1)
    together = float(np.sum((np.sum(left, axis=2) ** 2 - np.sum(left**2, axis=2)) / pairs * (size > 1)))
    alone = float(np.sum(np.sum(left**2, axis=2) / np.maximum(size, 1) * (size > 1)))
    free = float(np.sum(np.maximum(laid.count[pick[:, 0]] - 1, 0) * (size > 1)))
    error_rho = together / alone if alone > 0 else _GUESS
    error_rho = (free * error_rho + _GUESS_WORTH * _GUESS) / (free + _GUESS_WORTH)
    error_rho = float(np.clip(error_rho, 0.0, 0.95))

    a = np.where(held, got.a[pick], 0.0)
    departure = np.where(held, (own_rate - mean)[pick], 0.0)
    spread = np.where(held, tau[pick], 0.0)

    def unlikely(rho: float) -> float:
        whole = _prior(spread, rho) + _errors(a, error_rho)
        quadratic = np.einsum("ij,ij->i", departure, np.linalg.solve(whole, departure[..., None])[..., 0])
        data = float(np.sum(quadratic + np.linalg.slogdet(whole)[1]))
        return data - float(np.log(rho)) - float(np.log(1.0 - rho))

    best = minimize_scalar(unlikely, bounds=(1e-3, 0.98), method="bounded", options={"xatol": 5e-3})
    return float(best.x), error_rho


def _prior(spread: FloatArray, rho: float) -> FloatArray:
    covariance = rho * spread[:, :, None] * spread[:, None, :]
    own = np.arange(spread.shape[1])
    covariance[:, own, own] = np.maximum(spread**2, 1e-8)
    return covariance


def _errors(a: FloatArray, rho: float) -> FloatArray:
    root = 1.0 / np.sqrt(np.maximum(a, _NO_RECORD))
    recorded = a > _NO_RECORD
    covariance = np.where(recorded[:, :, None] & recorded[:, None, :], rho * root[:, :, None] * root[:, None, :], 0.0)
    own = np.arange(a.shape[1])
    covariance[:, own, own] = root**2
    return covariance


@dataclass(frozen=True, slots=True)
class SharedRates:
    """Rates of every series from its own record, its line and the pool; every array has shape (n,).

    Parameters
    ----------
    rate_um, rate_var_um2 : um per year of use, and its variance
    own_weight : how much of it comes from the series' own record
    """

    rate_um: FloatArray
    rate_var_um2: FloatArray
    own_weight: FloatArray


def share_rates(
    a: FloatArray,
    b: FloatArray,
    line: IntArray,
    mean: FloatArray,
    tau: FloatArray,
    design: FloatArray,
    design_covariance: FloatArray,
    *,
    rate_rho: float,
    error_rho: float,
) -> SharedRates:
    """Join own rates, line and pool, for the series of one axis.

    Parameters
    ----------
    a, b : t'V^-1 t and t'V^-1 y of every series (0 without a record), shape (n,)
    line : line of each
    mean, tau : mean rate of the pool and its spread, shape (n,)
    design, design_covariance : columns of the mean rate, shape (n, p), and their coefficients' covariance, (p, p)
    rate_rho, error_rho : as from `correlations`

    Returns
    -------
    the rates

    References
    ----------
    Best linear unbiased prediction with an estimated mean (Henderson 1975): G = P (P + E)^-1, rate = m + G (own - m),
    variance P - G P + (I - G) X C X' (I - G)'.
    """
    groups = group(line)
    table_a = groups.table(a, 0.0)
    own = np.divide(b, a, out=mean.copy(), where=a > _NO_RECORD)
    departure = groups.table(own - mean, 0.0)
    prior = _prior(groups.table(tau, 0.0), rate_rho)
    errors = _errors(table_a, error_rho)
    # I - G as E (P + E)^-1: formed as a difference it would lose its digits where the pool says next to nothing.
    rest = np.linalg.solve(prior + errors, errors).swapaxes(1, 2)
    gain = np.eye(rest.shape[1]) - rest
    columns = np.where(groups.members[..., None] >= 0, design[np.maximum(groups.members, 0)], 0.0)
    unsettled = rest @ columns
    variance = np.einsum("gij,gij->gi", rest, prior)
    variance = variance + np.einsum("gip,pq,giq->gi", unsettled, design_covariance, unsettled)
    shift = np.einsum("gij,gj->gi", gain, departure)
    held = groups.members >= 0
    place = groups.members[held]
    rate, rate_var, weight = np.empty(a.shape), np.empty(a.shape), np.empty(a.shape)
    rate[place] = mean[place] + shift[held]
    rate_var[place] = np.maximum(variance[held], 1e-12)
    weight[place] = np.clip(np.einsum("gii->gi", gain)[held], 0.0, 1.0)
    return SharedRates(rate, rate_var, np.where(a > _NO_RECORD, weight, 0.0))
