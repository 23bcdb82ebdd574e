"""Leaving a line on purpose a little to the side it drifts from."""

from __future__ import annotations

import numpy as np

from fleet.trend.passage import chance_passed
from fleet.values import FloatArray


def set_against_drift(
    *,
    rate_um: FloatArray,
    rate_sd_um: FloatArray,
    sigma_um: FloatArray,
    limit_um: FloatArray,
    watch_um: FloatArray,
    years: float,
    start_sd_um: FloatArray | float = 0.0,
    steps: int = 20,
) -> FloatArray:
    """Choose the as-left bias within the watch width that keeps a series longest inside its limit.

    Of the biases on a grid over +- the watch width (half the limit where none is recorded) the one with the longest
    expected time inside the limit within `years`, that time being the integral of the chance not to have passed yet;
    among equals the smallest bias.

    Parameters
    ----------
    rate_um, rate_sd_um : rate and its standard uncertainty, um per year of use, shape (n,)
    sigma_um : wander, um per square root of a year, shape (n,)
    limit_um, watch_um : half-widths, shape (n,), NaN where none is recorded
    years : years of use that count
    start_sd_um : how well the as-left is met
    steps : grid steps on either side

    Returns
    -------
    bias, um, shape (n,): deviation from the cold target to leave; NaN where there is no limit
    """
    n = rate_um.size
    width = np.minimum(np.where(np.isfinite(watch_um), watch_um, limit_um / 2.0), limit_um)
    share = np.linspace(-1.0, 1.0, 2 * steps + 1)
    bias = (width[:, None] * share).ravel()
    start_var = np.broadcast_to(np.asarray(start_sd_um, dtype=np.float64) ** 2, (n,))

    def spread(values: FloatArray) -> FloatArray:
        return np.repeat(values, share.size)

    place, weight = np.polynomial.legendre.leggauss(6)
    inside = np.zeros(bias.shape)
    for at, part in zip((place + 1.0) / 2.0 * years, weight / 2.0 * years, strict=True):
        passed = chance_passed(
            position_um=bias, position_var_um2=spread(start_var), rate_um=spread(rate_um),
            rate_var_um2=spread(rate_sd_um**2), cov_um2=np.zeros(bias.shape), sigma_um=spread(sigma_um),
            limit_um=spread(limit_um), years=np.full(bias.shape, at),
        )  # fmt: skip
        inside += part * (1.0 - passed)
    # Times that differ by less than a thousandth of the span are equal; among them the smallest bias wins.
    score = inside.reshape(n, share.size) - 1e-3 * years * np.abs(share)
    score = np.where(np.isfinite(score), score, -np.inf)
    best = np.argmax(score, axis=1)
    return np.where(np.isfinite(limit_um), width * share[best], np.nan)
