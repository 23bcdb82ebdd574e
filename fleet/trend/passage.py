"""When a wandering, drifting position first passes a limit on either side."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import erfcx, ndtr

from fleet.trend.records import TrendError
from fleet.values import FloatArray

SMALLEST_SIGMA_UM: Final = 1e-2
_SMALLEST_YEARS: Final = 1e-9
_FAR: Final = 4.2
"""A width of so many wander widths is not crossed by wander alone: the chance is below 4 Phi(-4.2) = 5e-5."""
_NEGLIGIBLE: Final = 1e-4
_NARROW: Final = 2.0
_GONE: Final = 0.62
"""A channel narrower than so many wander widths is left surely: 4/pi exp(-pi^2 / 2 / 0.62^2) = 3e-6 stay inside."""
_ROOT2: Final = float(np.sqrt(2.0))
_REACH: Final = 4.0


def _tail(z: FloatArray, log_peak: FloatArray, gaussian: FloatArray) -> FloatArray:
    """Return exp(log_peak) Phi(-z), where gaussian = exp(log_peak - z^2 / 2) is known without cancellation."""
    tail = 0.5 * erfcx(np.maximum(z, -5.0) / _ROOT2) * gaussian
    deep = z < -5.0
    if np.any(deep):
        tail[deep] = np.exp(np.minimum(log_peak[deep], 0.0)) * ndtr(-z[deep])
    return tail


def _one_side(
    gap: FloatArray, rate: FloatArray, rate_var: FloatArray, sigma2: FloatArray, years: FloatArray
) -> FloatArray:
    """Return the chance that x = rate t + sigma W, rate Gaussian, reaches `gap` > 0 by `years`.

    The closed form of the inverse Gaussian law, its second term averaged over the rate by completing the square.
    """
    variance = sigma2 * years + rate_var * years**2
    root = np.sqrt(variance)
    short = (gap - rate * years) / root
    pull = 2.0 * gap / sigma2
    z = (gap + (rate + pull * rate_var) * years) / root
    gaussian = np.exp(-0.5 * short * short)
    return ndtr(-short) + _tail(z, pull * (rate + 0.5 * pull * rate_var), gaussian)


def _back_across(
    up: FloatArray, down: FloatArray, rate: FloatArray, rate_var: FloatArray, sigma2: FloatArray, years: FloatArray
) -> FloatArray:
    """Return the chance to touch the wall the rate leads away from first, and the other one after it.

    Reflected at the first wall the path has to reach up + width; both terms as in `_one_side`, with the image of the
    start behind the first wall, and that of this image behind the second.
    """
    first, second = np.where(rate < 0, up, down), np.where(rate < 0, down, up)
    against = -np.abs(rate)
    width = up + down
    root = np.sqrt(sigma2 * years + rate_var * years**2)
    gaussian = np.exp(-0.5 * ((second + against * years) / root) ** 2 - 2.0 * first * width / (sigma2 * years))
    reach = first + width
    pull, back = 2.0 * first / sigma2, -2.0 * width / sigma2
    z_pull = (reach + (against + pull * rate_var) * years) / root
    z_back = (reach - (against + back * rate_var) * years) / root
    touched = _tail(z_pull, pull * (against + 0.5 * pull * rate_var), gaussian)
    return touched + _tail(z_back, back * (against + 0.5 * back * rate_var), gaussian)


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
    nodes: int = 12,
) -> FloatArray:
    """Return the chance that |x| has exceeded the limit at some time up to `years`, x(t) = x0 + mu t + sigma W(t).

    (x0, mu) is jointly Gaussian; a start beyond the limit has passed. The rate is integrated in closed form, given the
    start; the start by Gauss-Legendre nodes inside the limit.

    Parameters
    ----------
    position_um, position_var_um2 : start, as a deviation from the target, shape (n,)
    rate_um, rate_var_um2 : rate, um per year of use, shape (n,)
    cov_um2 : covariance of start and rate, shape (n,)
    sigma_um : wander, um per square root of a year, shape (n,)
    limit_um : half-width, shape (n,), NaN where there is none
    years : shape (n,), years of use since the start
    nodes : number of nodes

    Returns
    -------
    shape (n,), NaN where there is no limit or no position

    Raises
    ------
    TrendError
        A limit is negative.

    References
    ----------
    Cox and Miller (1965), The Theory of Stochastic Processes, 5.7 (method of images, one and two barriers); Borodin and
    Salminen (2002), Handbook of Brownian Motion, part II 2 (both from memory).
    """
    if np.any(limit_um < 0):
        raise TrendError(
            f"a limit of {float(np.nanmin(limit_um))} um is negative; a limit is a half-width of 0 or more"
        )
    chance = np.full(position_um.shape, np.nan)
    known = np.isfinite(limit_um) & np.isfinite(position_um) & np.isfinite(rate_um) & np.isfinite(years)
    rows = np.flatnonzero(known)
    if rows.size == 0:
        return chance
    limit = limit_um[rows, None]
    mean, sd = position_um[rows, None], np.sqrt(np.maximum(position_var_um2[rows, None], 1e-8))
    low, high = np.maximum(-limit, mean - _REACH * sd), np.minimum(limit, mean + _REACH * sd)
    chance[rows] = 1.0
    open_rows = np.flatnonzero((high > low)[:, 0])
    if open_rows.size == 0:
        return chance
    rows = rows[open_rows]
    limit, mean, sd, low, high = (each[open_rows] for each in (limit, mean, sd, low, high))
    place, weight = np.polynomial.legendre.leggauss(nodes)
    start = low + (high - low) * (place + 1.0) / 2.0
    density = np.exp(-0.5 * ((start - mean) / sd) ** 2) * weight
    mass = _mass_inside(limit, mean, sd)
    density *= mass / np.sum(density, axis=1, keepdims=True)

    cov = cov_um2[rows, None]
    rate = rate_um[rows, None] + cov / sd**2 * (start - mean)
    rate_var = np.maximum(rate_var_um2[rows, None] - (cov / sd) ** 2, 0.0)
    sigma2 = np.maximum(sigma_um[rows, None], SMALLEST_SIGMA_UM) ** 2
    elapsed = np.maximum(years[rows, None], _SMALLEST_YEARS)
    width = 2.0 * limit[:, 0]
    wander = np.sqrt(sigma2 * elapsed)[:, 0]
    stayed = np.zeros(start.shape)
    # Passing both walls counts twice in `up + down`. It is no likelier than the rarer of the two, nor than a wander
    # across the whole width less what the rate carries it.
    wide = np.flatnonzero(width >= _NARROW * wander)
    near = np.zeros(width.shape, dtype=np.bool_)
    if wide.size:
        pick = slice(None) if wide.size == width.size else wide
        args = rate[pick], rate_var[pick], sigma2[pick], elapsed[pick]
        up = _one_side(limit[pick] - start[pick], *args)
        down = _one_side(limit[pick] + start[pick], -args[0], *args[1:])
        stayed[pick] = 1.0 - up - down
        carried = (np.max(np.abs(args[0]), axis=1) + 3.0 * np.sqrt(args[1][:, 0])) * args[3][:, 0]
        crossing = width[pick] - carried < _FAR * wander[pick]
        near[wide] = crossing & (np.sum(np.minimum(up, down) * density[pick], axis=1) > _NEGLIGIBLE)
        # Wander alone does not cross: only the way with the rate, after a touch of the wall behind, is left.
        at = np.flatnonzero(near & (width >= _FAR * wander))
        if at.size:
            near[at] = False
            stayed[at] += _back_across(
                limit[at] - start[at], limit[at] + start[at], rate[at], rate_var[at], sigma2[at], elapsed[at]
            )
    narrow = (width < _NARROW * wander) & (width >= _GONE * wander)
    for images, chosen in ((1, near), (3, narrow)):
        at = np.flatnonzero(chosen)
        if at.size:
            stayed[at] = _between(
                limit[at] - start[at], limit[at] + start[at],
                rate[at], rate_var[at], sigma2[at], elapsed[at], images,
            )  # fmt: skip
    chance[rows] = np.clip(1.0 - np.sum(np.clip(stayed, 0.0, 1.0) * density, axis=1), 0.0, 1.0)
    return chance


def _mass_inside(limit: FloatArray, mean: FloatArray, sd: FloatArray) -> FloatArray:
    # Taken from the nearer tail, so that a start far outside keeps its small chance to be inside.
    away = np.abs(mean)
    return np.asarray(ndtr((limit - away) / sd) - ndtr((-limit - away) / sd), dtype=np.float64)
