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
        Rises of k stations and their standard uncertainties; NaN where a station was not measured at a time. [um]

    Returns
    -------
    SoakedRise or None
        None where no station was measured at three different times, or where no T fits clearly better than the ends
        of the search: the rise cannot be told from a straight line, or from one that stands already. A station
        measured at one time only has no end (NaN).

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
    known = np.isfinite(r)
    if not (u[known] > 0.0).all():
        raise InputError("a rise has no standard uncertainty above 0; give each one")
    count = np.array([np.unique(t[column]).size for column in known.T])
    if not (count >= _LEAST_TIMES).any():
        return None
    fitted = count > 1
    times = np.unique(t[known[:, fitted].any(axis=1)])
    r_known, w = np.where(known, r, 0.0)[:, fitted], np.where(known, 1.0 / u**2, 0.0)[:, fitted]
    gap, span = float(np.diff(times).min()), float(times[-1] - times[0])
    constants = np.geomspace(gap / 20.0, 3.0 * span, _GRID)
    misfit = _misfit(t, r_known, w, constants)
    best = int(np.argmin(misfit))
    if misfit[best] > min(misfit[0], misfit[-1]) - _BETTER_BY:
        return None
    fine = np.geomspace(constants[best - 1], constants[best + 1], _GRID)
    constant = float(fine[int(np.argmin(_misfit(t, r_known, w, fine)))])
    end, u_end = np.full(r.shape[1], np.nan), np.full(r.shape[1], np.nan)
    end[fitted], u_end[fitted] = _solution(t, r_known, w, constant)
    return SoakedRise(constant, end, u_end)


def end_of_approach(
    hours_since_heats_on: FloatArray, value: FloatArray, u_value: FloatArray, *, time_constant_h: float
) -> tuple[FloatArray, FloatArray]:
    """Return where values that approach their end with a known time constant are heading.

    Parameters
    ----------
    hours_since_heats_on : (n,) array [h]
    value, u_value : (n, k) arrays
        Of k series and their standard uncertainties, in one unit; NaN where not known.
    time_constant_h : float
        From `soaked_rise`, taken as exact. [h]

    Returns
    -------
    (k,) array, (k,) array
        End of each and its standard uncertainty; NaN where a series is known at fewer than two times.

    References
    ----------
    Weighted least squares on a first-order lag.
    """
    t = np.asarray(hours_since_heats_on, dtype=np.float64)
    known = np.isfinite(value)
    w = np.where(known, 1.0 / u_value**2, 0.0)
    fitted = np.array([np.unique(t[column]).size > 1 for column in known.T], dtype=np.bool_)
    end, u_end = np.full(fitted.size, np.nan), np.full(fitted.size, np.nan)
    if fitted.any():
        w = w[:, fitted]
        final, _, decay = _final_and_swing(t, np.where(known, value, 0.0)[:, fitted], w, np.array([time_constant_h]))
        total = w.sum(axis=0)
        mean = decay[0] @ w / total
        spread = (w * (decay[0][:, None] - mean) ** 2).sum(axis=0)
        end[fitted], u_end[fitted] = final[0], np.sqrt(1.0 / total + mean**2 / spread)
    return end, u_end


def _misfit(t: FloatArray, r: FloatArray, w: FloatArray, constants_h: FloatArray) -> FloatArray:
    final, swing, decay = _final_and_swing(t, r, w, constants_h)
    residual = r - final[:, None, :] - decay[:, :, None] * swing[:, None, :]
    misfit: FloatArray = np.sum(w * residual**2, axis=(1, 2))
    return misfit


def _final_and_swing(
    t: FloatArray, r: FloatArray, w: FloatArray, constants_h: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return final (c, k), swing (c, k) and decay (c, n) for each of c time constants."""
    decay = np.exp(-(t - t.min()) / constants_h[:, None])
    total = w.sum(axis=0)
    mean_decay = decay @ w / total
    mean_rise = (w * r).sum(axis=0) / total
    centred = decay[:, :, None] - mean_decay[:, None, :]
    swing = (w * centred * r).sum(axis=1) / (w * centred**2).sum(axis=1)
    return mean_rise - swing * mean_decay, swing, decay


def _solution(t: FloatArray, r: FloatArray, w: FloatArray, constant_h: float) -> tuple[FloatArray, FloatArray]:
    final, swing, decay = (part[0] for part in _final_and_swing(t, r, w, np.array([constant_h])))
    n, k = r.shape
    # Unknowns: final and swing of every station, and the common time constant.
    slope = np.zeros((n, k, 2 * k + 1))
    stations = np.arange(k)
    slope[:, stations, stations] = 1.0
    slope[:, stations, k + stations] = decay[:, None]
    slope[:, :, 2 * k] = swing * (decay * (t - t.min()) / constant_h**2)[:, None]
    scaled = (slope * np.sqrt(w)[:, :, None]).reshape(n * k, 2 * k + 1)
    covariance = np.linalg.pinv(scaled.T @ scaled)
    return final, np.sqrt(np.diagonal(covariance)[:k])
