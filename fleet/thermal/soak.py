"""Where an unfinished warm-up is heading: an exponential approach through checks at several times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray

_LEAST_TIMES: Final = 3
_GRID: Final = 400
_BETTER_BY: Final = 1.0
"""By how much chi-square must fall below both ends of the search: one standard deviation of the time constant."""


@dataclass(frozen=True, slots=True)
class SoakedRise:
    """What a line's rise comes to once it has soaked.

    Attributes
    ----------
    time_constant_h : float
        Common to the stations of the warm-up. [h]
    final_um, u_final_um : (k,) arrays
        Rise of each station after a long soak and its standard uncertainty. [um]
    """

    time_constant_h: float
    final_um: FloatArray
    u_final_um: FloatArray


def soaked_rise(hours_since_heats_on: FloatArray, rise_um: FloatArray, u_rise_um: FloatArray) -> SoakedRise | None:
    """Return where the stations of one warm-up are heading, or None where the times do not tell.

    Each station follows r(t) = final + (start - final) exp(-t / T), with one T for all of them: weighted least
    squares, T by search over a twentieth of the shortest gap to three times the whole span between the checks, final
    and start solved for at each T. The start is free because barrel, base and gearbox warm at different speeds, so a
    station may come down again while the gearbox follows.

    Parameters
    ----------
    hours_since_heats_on : (n,) array
        Times of the checks in one warm-up, in any order. [h]
    rise_um, u_rise_um : (n, k) arrays
        Rises of k stations and their standard uncertainties; every station at every time. [um]

    Returns
    -------
    SoakedRise or None
        None with fewer than three different times, or where no T fits clearly better than the ends of the search:
        the rise cannot be told from a straight line, or from one that stands already.

    Raises
    ------
    InputError
        The shapes do not fit, or an uncertainty is not above 0.

    References
    ----------
    Newton's law of heating (first-order lag). Separable least squares: Golub and Pereyra (1973), SIAM J. Numer. Anal.
    10, 413-432.
    """
    t = np.asarray(hours_since_heats_on, dtype=np.float64)
    r = np.asarray(rise_um, dtype=np.float64)
    u = np.asarray(u_rise_um, dtype=np.float64)
    if r.ndim != 2 or r.shape[0] != t.size or u.shape != r.shape:
        raise InputError(f"rises of shape {r.shape} do not fit {t.size} times; give a row a time, a column a station")
    if not (u > 0.0).all():
        raise InputError("a rise has no standard uncertainty above 0; give each one")
    times = np.unique(t)
    if times.size < _LEAST_TIMES:
        return None
    gap, span = float(np.diff(times).min()), float(times[-1] - times[0])
    constants = np.geomspace(gap / 20.0, 3.0 * span, _GRID)
    misfit = _misfit(t, r, u, constants)
    best = int(np.argmin(misfit))
    if misfit[best] > min(misfit[0], misfit[-1]) - _BETTER_BY:
        return None
    fine = np.geomspace(constants[best - 1], constants[best + 1], _GRID)
    return _solution(t, r, u, float(fine[int(np.argmin(_misfit(t, r, u, fine)))]))


def _misfit(t: FloatArray, r: FloatArray, u: FloatArray, constants_h: FloatArray) -> FloatArray:
    final, swing, decay = _final_and_swing(t, r, u, constants_h)
    residual = (r - final[:, None, :] - decay[:, :, None] * swing[:, None, :]) / u
    misfit: FloatArray = np.sum(residual**2, axis=(1, 2))
    return misfit


def _final_and_swing(
    t: FloatArray, r: FloatArray, u: FloatArray, constants_h: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return final (c, k), swing (c, k) and decay (c, n) for each of c time constants."""
    decay = np.exp(-(t - t.min()) / constants_h[:, None])
    w = 1.0 / u**2
    total = w.sum(axis=0)
    mean_decay = decay @ w / total
    mean_rise = (w * r).sum(axis=0) / total
    centred = decay[:, :, None] - mean_decay[:, None, :]
    swing = (w * centred * r).sum(axis=1) / (w * centred**2).sum(axis=1)
    return mean_rise - swing * mean_decay, swing, decay


def _solution(t: FloatArray, r: FloatArray, u: FloatArray, constant_h: float) -> SoakedRise:
    final, swing, decay = (part[0] for part in _final_and_swing(t, r, u, np.array([constant_h])))
    n, k = r.shape
    # Unknowns: final and swing of every station, and the common time constant.
    slope = np.zeros((n, k, 2 * k + 1))
    stations = np.arange(k)
    slope[:, stations, stations] = 1.0
    slope[:, stations, k + stations] = decay[:, None]
    slope[:, :, 2 * k] = swing * (decay * (t - t.min()) / constant_h**2)[:, None]
    scaled = (slope / u[:, :, None]).reshape(n * k, 2 * k + 1)
    covariance = np.linalg.pinv(scaled.T @ scaled)
    return SoakedRise(constant_h, final, np.sqrt(np.diagonal(covariance)[:k]))
