"""How much each line wanders beside the others: a pool of wanders, and every line's own place in it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from fleet.trend.gls import Segments, sums
from fleet.values import FloatArray, IntArray

_NODES: Final = np.linspace(-3.6, 3.6, 7)
_FINE: Final = np.linspace(-3.6, 3.6, 49)
_CENTRES: Final = np.linspace(-0.6, 0.6, 7)
_SPREADS: Final = np.array([0.01, 0.1, 0.2, 0.3, 0.4, 0.55, 0.7, 0.85, 1.0, 1.2, 1.5])
_ENOUGH_GROUPS: Final = 2000
"""So many groups tell how wanders spread; more of them only cost time."""
_ALIKE: Final = 0.05
_SPREAD: Final = 0.4
_SPREAD_LOG_SD: Final = 0.8
"""What is believed of the spread of log variances before any record (from memory): sigma by about a fifth."""


@dataclass(frozen=True, slots=True)
class OwnWander:
    """The wander's variance of every series beside that of its pool; every array has shape (n_series,).

    Parameters
    ----------
    factor : expected variance as a multiple of the pool's
    relative_var : variance of that variance over its square, the pool's own uncertainty left out
    """

    factor: FloatArray
    relative_var: FloatArray


def _log_likelihood(
    laid: Segments, mean: FloatArray, tau: FloatArray, sigma: FloatArray, log_factor: float
) -> FloatArray:
    """Return every segment's log marginal likelihood, rates integrated out, with its wander's variance scaled."""
    got = sums(laid, sigma**2 * np.exp(log_factor))
    inflate = 1.0 + tau**2 * got.a
    departure = got.b - got.a * mean
    quadratic = got.c - 2.0 * mean * got.b + mean**2 * got.a - tau**2 / inflate * departure**2
    return np.asarray(-0.5 * (got.log_det + np.log(inflate) + quadratic), dtype=np.float64)


def _weights(centre: FloatArray, spread: FloatArray) -> FloatArray:
    """Return normal weights on the fine grid, shape (grid, centres x spreads)."""
    at, wide = (grid.ravel() for grid in np.meshgrid(centre, spread, indexing="ij"))
    # A spread below the grid's step stands on the nodes beside its centre.
    wide = np.maximum(wide, 0.6 * (_FINE[1] - _FINE[0]))
    weight = np.exp(-0.5 * ((_FINE[:, None] - at) / wide) ** 2)
    return np.asarray(weight / weight.sum(axis=0), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Pool:
    log_factor: FloatArray
    factor: FloatArray
    relative_var: FloatArray
    new_factor: float
    new_relative_var: float

    @property
    def alike(self) -> bool:
        """Whether the groups do not differ worth mentioning: by less than a tenth of their standard deviation."""
        return self.new_relative_var < _ALIKE


def _moments(weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    factor = np.exp(_FINE)
    mean = weight @ factor
    return mean, np.maximum(weight @ factor**2 / mean**2 - 1.0, 0.0)


def _pool(likelihood: FloatArray, centres: FloatArray) -> _Pool:
    """Fit centre and spread of the log variances to the groups' likelihoods, shape (groups, grid)."""
    peak = likelihood.max(axis=1, keepdims=True, initial=-np.inf)
    relative = np.exp(likelihood - peak)
    prior = _weights(centres, _SPREADS)
    believed = -0.5 * ((np.log(_SPREADS) - np.log(_SPREAD)) / _SPREAD_LOG_SD) ** 2
    some = relative[:: max(1, relative.shape[0] // _ENOUGH_GROUPS)]
    evidence = np.sum(np.log(some @ prior + 1e-300), axis=0) + np.tile(believed, centres.size)
    # Averaged over what the record leaves open of centre and spread; with many lines one pair holds all the weight.
    share = np.exp(evidence - evidence.max())
    mixed = prior @ (share / share.sum())
    posterior = relative * mixed
    posterior /= posterior.sum(axis=1, keepdims=True)
    factor, relative_var = _moments(posterior)
    new_factor, new_relative_var = _moments(mixed[None, :])
    return _Pool(posterior @ _FINE, factor, relative_var, float(new_factor[0]), float(new_relative_var[0]))


def own_wander(
    laid: Segments,
    line: IntArray,
    mean: FloatArray,
    tau: FloatArray,
    sigma: FloatArray,
    error_rho: float,
    line_of_series: IntArray,
) -> OwnWander:
    """Estimate how much every series of one axis wanders, from its own record, its line's and the pool.

    The wander's variance is log-normal over the lines of the pool, and about its line's over the stations of a line;
    how wide either is the record says.

    Parameters
    ----------
    laid : segments of the axis
    line : line of each segment, shape (n_segments,)
    mean, tau, sigma : mean rate, its spread and the pool's wander of every segment, shape (n_segments,)
    error_rho : how far the stations of a line move together; what they say in common counts once
    line_of_series : line of every series of the fleet, shape (n_series,)

    Returns
    -------
    the wanders, for every series of the fleet as if it were of this axis

    References
    ----------
    Variance heterogeneity as a log-normal random effect integrated on a grid; the effective number of k equally
    correlated squares is k / (1 + (k - 1) rho^2).
    """
    nodes = np.stack([_log_likelihood(laid, mean, tau, sigma, node) for node in _NODES], axis=1)
    likelihood = nodes @ _between_nodes().T

    series, first, of_series = np.unique(laid.series, return_index=True, return_inverse=True)
    lines, of_line = np.unique(line, return_inverse=True)
    stations = np.bincount(of_line[first], minlength=lines.size)
    worth = 1.0 / (1.0 + (stations - 1.0) * error_rho**2)
    by_series = _summed(likelihood, of_series, series.size)
    by_line = _summed(likelihood * worth[of_line, None], of_line, lines.size)
    of_lines = _pool(by_line, _CENTRES)
    shift = of_lines.log_factor[of_line[first]] if series.size else np.zeros(0)
    line_factor, line_var = _spread_out(of_lines, lines, line_of_series)
    some = slice(None, None, max(1, series.size // _ENOUGH_GROUPS))
    if series.size >= _ENOUGH_GROUPS and _pool(_shifted(by_series[some], shift[some]), np.zeros(1)).alike:
        return OwnWander(line_factor, line_var)
    of_stations = _pool(_shifted(by_series, shift), np.zeros(1))
    own_factor, own_var = _spread_out(of_stations, series, np.arange(line_of_series.size))
    return OwnWander(line_factor * own_factor, line_var + own_var + line_var * own_var)


@lru_cache(maxsize=1)
def _between_nodes() -> FloatArray:
    """Return the matrix that takes values on the nodes to a cubic spline's on the fine grid."""
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(_NODES, np.eye(_NODES.size))(_FINE), dtype=np.float64)


def _summed(values: FloatArray, of: IntArray, groups: int) -> FloatArray:
    """Sum rows by group; every group has some."""
    if groups == of.size and np.array_equal(of, np.arange(groups)):
        return values
    order = np.argsort(of, kind="stable")
    return np.add.reduceat(values[order], np.searchsorted(of[order], np.arange(groups)), axis=0)


def _shifted(likelihood: FloatArray, shift: FloatArray) -> FloatArray:
    """Return likelihoods on the fine grid counted from another origin each, straight between grid points."""
    step = _FINE[1] - _FINE[0]
    place = np.clip(np.arange(_FINE.size) + shift[:, None] / step, 0.0, _FINE.size - 1.0)
    low = np.minimum(place.astype(np.int64), _FINE.size - 2)
    part = place - low
    at_low, at_high = (np.take_along_axis(likelihood, low + k, axis=1) for k in (0, 1))
    return np.asarray(at_low + part * (at_high - at_low), dtype=np.float64)


def _spread_out(pool: _Pool, groups: IntArray, of: IntArray) -> tuple[FloatArray, FloatArray]:
    """Give every series what its group has, and the pool's where the group has no record."""
    if groups.size == 0:
        return np.full(of.shape, pool.new_factor), np.full(of.shape, pool.new_relative_var)
    place = np.minimum(np.searchsorted(groups, of), groups.size - 1)
    known = groups[place] == of
    factor = np.where(known, pool.factor[place], pool.new_factor)
    return factor, np.where(known, pool.relative_var[place], pool.new_relative_var)
