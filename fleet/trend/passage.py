"""When a wandering, drifting position first passes a limit on either side.

Where the start lies well inside its limit, start and rate are averaged over in closed form; elsewhere the start is
averaged over by quadrature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from scipy.special import erfcx, ndtr

from fleet.trend.records import TrendError
from fleet.values import BoolArray, FloatArray, IntArray

SMALLEST_SIGMA_UM: Final = 1e-2
_SMALLEST_YEARS: Final = 1e-9
_NEGLIGIBLE: Final = 1e-4
_FAR: Final = 4.2
"""A width of so many wander widths is not crossed by wander alone: the chance is below 4 Phi(-4.2) = 5e-5."""
_NARROW: Final = 2.0
"""A channel of so many wander widths is not crossed twice by wander: to touch three times has a chance of 1e-6."""
_GONE: Final = 0.62
"""A channel narrower than so many wander widths is left surely: 4/pi exp(-pi^2 / 2 / 0.62^2) = 3e-6 stay inside."""
_ROOT2: Final = float(np.sqrt(2.0))
_REACH: Final = 4.0
_BEYOND: Final = 9.5
"""A Gaussian holds less than 1e-5 where its exponent has fallen below -9.5."""
_SMALLEST_DET: Final = 0.05
_NODES: Final = 12
_NODES_APART: Final = 8.0
_MANY: Final = 3


def _tail(z: FloatArray, log_peak: FloatArray, gaussian: FloatArray) -> FloatArray:
    """Return exp(log_peak) Phi(-z), where gaussian = exp(log_peak - z^2 / 2) is known without cancellation."""
    tail = 0.5 * erfcx(np.maximum(z, -5.0) / _ROOT2) * gaussian
    deep = z < -5.0
    if np.any(deep):
        tail[deep] = np.exp(np.minimum(log_peak[deep], 0.0)) * ndtr(-z[deep])
    return tail


def _between(
    up: FloatArray, down: FloatArray, rate: FloatArray, rate_var: FloatArray, sigma2: FloatArray, years: FloatArray,
    images: int,
) -> FloatArray:  # fmt: skip
    """Return the chance to have stayed between -down and +up, by images of the start behind both walls."""
    root = np.sqrt(sigma2 * years + rate_var * years**2)
    width = up + down
    wander = 2.0 * sigma2 * years
    at_up = 0.5 * np.exp(-0.5 * ((up - rate * years) / root) ** 2)
    at_down = 0.5 * np.exp(-0.5 * ((-down - rate * years) / root) ** 2)
    stayed = np.zeros(np.broadcast_shapes(up.shape, rate.shape, years.shape))
    moves = [(1.0, 2.0 * turn * width) for turn in range(-images, images + 1)]
    moves += [(-1.0, 2.0 * up + 2.0 * turn * width) for turn in range(-images, images)]
    for sign, source in moves:
        pull = source / sigma2
        centre = source + (rate + pull * rate_var) * years
        z_up, z_down = (up - centre) / root, (-down - centre) / root
        # exp(log_mass - z^2 / 2) at a wall: the start's own density there times that of image over start.
        tail_up = erfcx(np.abs(z_up) / _ROOT2) * at_up
        tail_down = erfcx(np.abs(z_down) / _ROOT2) * at_down
        tail_up *= np.exp(np.minimum(source * (2.0 * up - source) / wander, 700.0))
        tail_down *= np.exp(np.minimum(-source * (2.0 * down + source) / wander, 700.0))
        part = np.where(z_down >= 0, tail_down - tail_up, tail_up - tail_down)
        inside = (z_up >= 0) & (z_down < 0)
        if np.any(inside):
            log_mass = (pull * (rate + 0.5 * pull * rate_var))[inside]
            part[inside] = np.exp(np.minimum(log_mass, 700.0)) - tail_up[inside] - tail_down[inside]
        stayed += sign * part
    return stayed


@dataclass(frozen=True, slots=True)
class _Paths:
    """Paths x0 + mu t + sigma W(t) within +-limit, one per row; every array has shape (n, 1)."""

    position: FloatArray
    position_var: FloatArray
    rate: FloatArray
    rate_var: FloatArray
    cov: FloatArray
    sigma2: FloatArray
    limit: FloatArray

    def rows(self, pick: IntArray) -> _Paths:
        return _Paths(
            self.position[pick], self.position_var[pick], self.rate[pick], self.rate_var[pick], self.cov[pick],
            self.sigma2[pick], self.limit[pick],
        )  # fmt: skip

    def mirrored(self) -> _Paths:
        """Return the paths with up and down exchanged."""
        return _Paths(
            -self.position, self.position_var, -self.rate, self.rate_var, self.cov, self.sigma2, self.limit
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Image:
    """The start reflected at the upper wall: a Gaussian of weight exp(log_mass) in gap and rate, shape (n, 1) each.

    Given gap g and rate mu, the image counts exp(2 mu g / sigma^2), an exponent bilinear in what is jointly Gaussian:
    the product is a Gaussian again where the exponent's curvature is the lesser, and `holds` says so. It also says that
    start and image lie inside the wall, all but a part below 1e-5.
    """

    log_mass: FloatArray
    gap: FloatArray
    rate: FloatArray
    gap_var: FloatArray
    cov: FloatArray
    rate_var: FloatArray
    holds: BoolArray

    def rows(self, pick: IntArray) -> _Image:
        return _Image(
            self.log_mass[pick], self.gap[pick], self.rate[pick], self.gap_var[pick], self.cov[pick],
            self.rate_var[pick], self.holds[pick],
        )  # fmt: skip


def _reflected(paths: _Paths) -> _Image:
    gap = paths.limit - paths.position
    pull = 2.0 / paths.sigma2
    twist = 1.0 + pull * paths.cov
    det = twist * twist - pull * pull * paths.position_var * paths.rate_var
    definite = (twist > 0.0) & (det > _SMALLEST_DET)
    det = np.where(definite, det, 1.0)
    there = (twist * gap + pull * paths.position_var * paths.rate) / det
    rate = (twist * paths.rate + pull * paths.rate_var * gap) / det
    log_mass = 0.5 * (pull * (gap * rate + paths.rate * there) - np.log(det))
    inside = (gap > 0.0) & (gap * gap > 2.0 * _BEYOND * paths.position_var)
    inside &= (there > 0.0) & (there * there * det > 2.0 * paths.position_var * (log_mass + _BEYOND))
    return _Image(
        log_mass=log_mass, gap=there, rate=rate, gap_var=paths.position_var / det,
        cov=(pull * paths.position_var * paths.rate_var - twist * paths.cov) / det, rate_var=paths.rate_var / det,
        holds=definite & inside,
    )  # fmt: skip


def _reflected_known(paths: _Paths) -> _Image:
    """Return the same for a known start."""
    gap, pull = paths.limit - paths.position, 2.0 / paths.sigma2
    rate = paths.rate + pull * paths.rate_var * gap
    return _Image(
        log_mass=0.5 * pull * gap * (rate + paths.rate), gap=gap, rate=rate, gap_var=paths.position_var,
        cov=paths.cov, rate_var=paths.rate_var, holds=gap > 0.0,
    )  # fmt: skip


def _mass_beyond(log_mass: FloatArray, z: FloatArray) -> FloatArray:
    """Return exp(log_mass) Phi(-z)."""
    return _tail(z, np.broadcast_to(log_mass, z.shape), np.exp(np.minimum(log_mass - 0.5 * z * z, 50.0)))


def _root(sigma2: FloatArray, var: FloatArray, cov: FloatArray, rate_var: FloatArray, years: FloatArray) -> FloatArray:
    variance = var + years * (2.0 * cov + sigma2 + years * rate_var)
    return np.asarray(np.sqrt(np.maximum(variance, 1e-18)), dtype=np.float64)


def _touches(paths: _Paths, image: _Image, years: FloatArray) -> FloatArray:
    """Return the chance to touch the upper wall by `years`, shape (n, k): to be above it then, or back below."""
    root = _root(paths.sigma2, paths.position_var, paths.cov, paths.rate_var, years)
    image_root = _root(paths.sigma2, image.gap_var, image.cov, image.rate_var, years)
    above = ndtr((paths.position - paths.limit + paths.rate * years) / root)
    return np.asarray(above + _mass_beyond(image.log_mass, (image.gap + image.rate * years) / image_root))


def _touches_and_returns(paths: _Paths, image: _Image, years: FloatArray) -> FloatArray:
    """Return the chance to touch the upper wall and then the lower one by `years`, shape (n, k).

    Below the lower wall at the end, or above it: the image behind the upper wall, and its image behind the lower one.
    """
    width = 2.0 * paths.limit
    image_root = _root(paths.sigma2, image.gap_var, image.cov, image.rate_var, years)
    below = _mass_beyond(image.log_mass, (image.gap + image.rate * years + width) / image_root)
    pull = -2.0 * width / paths.sigma2
    place = paths.limit - paths.position + width - pull * paths.cov
    root = _root(paths.sigma2, paths.position_var, paths.cov, paths.rate_var, years)
    z = (place - (paths.rate + pull * paths.rate_var) * years) / root
    return below + _mass_beyond(pull * (paths.rate + 0.5 * pull * paths.rate_var), z)


def chance_passed(
    *,
    position_um: FloatArray,
    position_var_um2: FloatArray,
    rate_um: FloatArray,
    rate_var_um2: FloatArray,
    cov_um2: FloatArray,
    sigma_um: FloatArray,
    limit_um: FloatArray,
    years: FloatArray,
    nodes: int = _NODES,
) -> FloatArray:
    """Return the chance that |x| has exceeded the limit at some time up to `years`, x(t) = x0 + mu t + sigma W(t).

    (x0, mu) is jointly Gaussian; a start beyond the limit has passed. Where the start lies inside its limit all but
    surely, both are integrated in closed form; elsewhere the start by Gauss-Legendre nodes inside the limit.

    Parameters
    ----------
    position_um, position_var_um2 : start, as a deviation from the target, shape (n,)
    rate_um, rate_var_um2 : rate, um per year of use, shape (n,)
    cov_um2 : covariance of start and rate, shape (n,)
    sigma_um : wander, um per square root of a year, shape (n,)
    limit_um : half-width, shape (n,), NaN where there is none
    years : years of use since the start, shape (n,), or (n, k) for several at a time
    nodes : number of nodes of the quadrature

    Returns
    -------
    shape of `years`, NaN where there is no limit or no position

    Raises
    ------
    TrendError
        A limit is negative.

    References
    ----------
    Cox and Miller (1965), The Theory of Stochastic Processes, 5.7 (method of images, one and two barriers); Borodin and
    Salminen (2002), Handbook of Brownian Motion, part II 2 (both from memory). The averages in closed form: the mean of
    exp(y'By / 2) over a half-space of a Gaussian y is that of the Gaussian with B taken from its precision.
    """
    if np.any(limit_um < 0):
        raise TrendError(
            f"a limit of {float(np.nanmin(limit_um))} um is negative; a limit is a half-width of 0 or more"
        )
    table = years[:, None] if years.ndim == 1 else years
    chance = np.full(table.shape, np.nan)
    rows = np.flatnonzero(np.isfinite(limit_um) & np.isfinite(position_um) & np.isfinite(rate_um))
    paths = _Paths(
        position_um[rows, None], np.maximum(position_var_um2[rows, None], 0.0), rate_um[rows, None],
        np.maximum(rate_var_um2[rows, None], 0.0), cov_um2[rows, None],
        np.maximum(sigma_um[rows, None], SMALLEST_SIGMA_UM) ** 2, limit_um[rows, None],
    )  # fmt: skip
    there = np.isfinite(table)
    elapsed = np.maximum(np.where(there, table, 0.0), _SMALLEST_YEARS)
    if rows.size:
        chance[rows] = _passed(paths, elapsed[rows], nodes)
    chance[~there] = np.nan
    return chance.reshape(years.shape)


def _passed(paths: _Paths, years: FloatArray, nodes: int) -> FloatArray:
    """Return the chance of having passed either wall, shape (n, k), each element in the way that suits it."""
    mirror = paths.mirrored()
    image, image_below = _reflected(paths), _reflected(mirror)
    wander2 = paths.sigma2 * years
    closed = image.holds & image_below.holds & (2.0 * paths.limit >= _NARROW * np.sqrt(wander2))
    if closed.any():
        up, down = _touches(paths, image, years), _touches(mirror, image_below, years)
        chance = up + down
        twice = closed & (np.minimum(up, down) > _NEGLIGIBLE) & _may_cross(paths, years)
        row, column = np.nonzero(twice)
        if row.size:
            at = years[row, column][:, None]
            both = _touches_and_returns(paths.rows(row), image.rows(row), at)
            both += _touches_and_returns(mirror.rows(row), image_below.rows(row), at)
            chance[row, column] -= both[:, 0]
    else:
        chance = np.empty(years.shape)
    row, column = np.nonzero(~closed)
    if row.size:
        chance[row, column] = _by_nodes(paths.rows(row), years[row, column][:, None], nodes)
    return np.clip(chance, 0.0, 1.0)


def _may_cross(paths: _Paths, years: FloatArray) -> BoolArray:
    """Tell where passing both walls, counted twice in the sum of both, may matter, shape (n, k).

    It is no likelier than a wander across the whole width less what the rate carries it.
    """
    carried = (np.abs(paths.rate) + 3.0 * np.sqrt(paths.rate_var)) * years
    return np.asarray(2.0 * paths.limit - carried < _FAR * np.sqrt(paths.sigma2 * years))


def _by_nodes(paths: _Paths, years: FloatArray, nodes: int) -> FloatArray:
    """Return the chance of having passed either wall, shape (n,), the start averaged over by quadrature."""
    chance = np.ones(years.shape[0])
    mean, sd = paths.position, np.sqrt(np.maximum(paths.position_var, 1e-8))
    low, high = np.maximum(-paths.limit, mean - _REACH * sd), np.minimum(paths.limit, mean + _REACH * sd)
    open_to = (high > low)[:, 0]
    # Where a path leads little beside the start's spread, the chance turns within a few nodes' distance of a wall.
    turns = (high - low > _NODES_APART * np.sqrt(years * (paths.sigma2 + years * paths.rate_var)))[:, 0]
    for chosen, count in ((open_to & ~turns, nodes), (open_to & turns, _MANY * nodes)):
        rows = np.flatnonzero(chosen)
        if rows.size:
            chance[rows] = _averaged(paths.rows(rows), years[rows], low[rows], high[rows], count)
    return chance


def _averaged(paths: _Paths, years: FloatArray, low: FloatArray, high: FloatArray, nodes: int) -> FloatArray:
    mean, sd = paths.position, np.sqrt(np.maximum(paths.position_var, 1e-8))
    place, weight = _legendre(nodes)
    start = low + (high - low) * place
    density = np.exp(-0.5 * ((start - mean) / sd) ** 2) * weight
    density *= _mass_inside(paths.limit, mean, sd) / np.sum(density, axis=1, keepdims=True)
    nothing = np.zeros(mean.shape)
    known = _Paths(
        start, nothing, paths.rate + paths.cov / sd**2 * (start - mean),
        np.maximum(paths.rate_var - (paths.cov / sd) ** 2, 0.0), nothing, paths.sigma2, paths.limit,
    )  # fmt: skip
    width = 2.0 * paths.limit[:, 0]
    wander = np.sqrt(paths.sigma2 * years)[:, 0]
    passed = np.ones(start.shape)
    wide = np.flatnonzero(width >= _NARROW * wander)
    if wide.size:
        pick, at, mirror = known.rows(wide), years[wide], known.rows(wide).mirrored()
        image, image_below = _reflected_known(pick), _reflected_known(mirror)
        up, down = _touches(pick, image, at), _touches(mirror, image_below, at)
        both = np.sum(np.minimum(up, down) * density[wide], axis=1) > _NEGLIGIBLE
        both &= np.any(_may_cross(pick, at), axis=1)
        up += down
        twice = np.flatnonzero(both)
        if twice.size:
            up[twice] -= _touches_and_returns(pick.rows(twice), image.rows(twice), at[twice])
            up[twice] -= _touches_and_returns(mirror.rows(twice), image_below.rows(twice), at[twice])
        passed[wide] = up
    narrow = np.flatnonzero((width < _NARROW * wander) & (width >= _GONE * wander))
    if narrow.size:
        pick = known.rows(narrow)
        passed[narrow] = 1.0 - _between(
            pick.limit - pick.position, pick.limit + pick.position, pick.rate, pick.rate_var, pick.sigma2,
            years[narrow], 3,
        )  # fmt: skip
    outside = 1.0 - np.sum(density, axis=1)
    return np.asarray(outside + np.sum(np.clip(passed, 0.0, 1.0) * density, axis=1), dtype=np.float64)


@cache
def _legendre(nodes: int) -> tuple[FloatArray, FloatArray]:
    """Return Gauss-Legendre nodes and weights on 0 to 1."""
    place, weight = np.polynomial.legendre.leggauss(nodes)
    return (place + 1.0) / 2.0, weight / 2.0


def _mass_inside(limit: FloatArray, mean: FloatArray, sd: FloatArray) -> FloatArray:
    # Taken from the nearer tail, so that a start far outside keeps its small chance to be inside.
    away = np.abs(mean)
    return np.asarray(ndtr((limit - away) / sd) - ndtr((-limit - away) / sd), dtype=np.float64)
