"""Leaving a line on purpose a little to the side it drifts from."""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.trend.passage import chance_passed
from fleet.values import FloatArray

_PLACES: Final = 6


def years_inside(
    bias_um: FloatArray,
    *,
    rate_um: FloatArray,
    rate_sd_um: FloatArray,
    sigma_um: FloatArray,
    limit_um: FloatArray,
    years: float,
    start_sd_um: float = 0.0,
    places: int = _PLACES,
) -> FloatArray:
    """Return the expected time inside the limit within so many years, if left so far from the target.

    That is the integral of the chance not to have passed yet, by Gauss-Legendre.

    Parameters
    ----------
    bias_um : deviation from the cold target left, shape (n,)
    rate_um, rate_sd_um : rate and its standard uncertainty, um per year of use, shape (n,)
    sigma_um : wander, um per square root of a year, shape (n,)
    limit_um : half-width, shape (n,), NaN where none is recorded
    years : years of use that count
    start_sd_um : how well the as-left is met
    places : how finely the years are looked at

    Returns
    -------
    years of use, shape (n,), NaN where there is no limit
    """
    place, weight = np.polynomial.legendre.leggauss(places)
    passed = chance_passed(
        position_um=bias_um, position_var_um2=np.full(bias_um.shape, start_sd_um**2), rate_um=rate_um,
        rate_var_um2=rate_sd_um**2, cov_um2=np.zeros(bias_um.shape), sigma_um=sigma_um, limit_um=limit_um,
        years=np.broadcast_to((place + 1.0) / 2.0 * years, (bias_um.size, places)),
    )  # fmt: skip
    return np.asarray((1.0 - passed) @ (weight / 2.0 * years), dtype=np.float64)


def set_against_drift(
    *,
    rate_um: FloatArray,
    rate_sd_um: FloatArray,
    sigma_um: FloatArray,
    limit_um: FloatArray,
    watch_um: FloatArray,
    years: float,
    start_sd_um: float = 0.0,
    steps: int = 20,
) -> FloatArray:
    """Choose the as-left bias within the watch width that keeps a series longest inside its limit.

    Of the biases on a grid over +- the watch width (half the limit where none is recorded) the one with the longest
    expected time inside the limit within `years`; among equals the smallest bias.

    Parameters
    ----------
    rate_um, rate_sd_um, sigma_um, limit_um, years, start_sd_um : as in `years_inside`
    watch_um : half-width, shape (n,), NaN where none is recorded
    steps : grid steps on either side

    Returns
    -------
    bias, um, shape (n,): deviation from the cold target to leave; NaN where there is no limit
    """
    n = rate_um.size
    width = np.minimum(np.where(np.isfinite(watch_um), watch_um, limit_um / 2.0), limit_um)
    share = np.linspace(-1.0, 1.0, 2 * steps + 1)
    of = np.repeat(np.arange(n), share.size)
    inside = years_inside(
        (width[:, None] * share).ravel(), rate_um=rate_um[of], rate_sd_um=rate_sd_um[of], sigma_um=sigma_um[of],
        limit_um=limit_um[of], years=years, start_sd_um=start_sd_um,
    ).reshape(n, share.size)  # fmt: skip
    # Times that differ by less than a thousandth of the span are equal; among them the smallest bias wins.
    score = inside - 1e-3 * years * np.abs(share)
    score = np.where(np.isfinite(score), score, -np.inf)
    best = np.argmax(score, axis=1)
    return np.where(np.isfinite(limit_um), width * share[best], np.nan)
