"""The straight line through a profile: offset at the flange, angle, and how far the profile bows off it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from fleet.errors import InputError
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class Line:
    """A generalised least-squares line through offsets (or deviations, or movements) along a bore.

    Attributes
    ----------
    offset_um, u_offset_um
        At the flange (distance 0) and its standard uncertainty. [um]
    slope_um_per_m, u_slope_um_per_m
        Toward the discharge end, + higher or to the right. [um/m]
    covariance
        Of offset and slope, (2, 2). [um^2, um^2/m, um^2/m^2]
    departures_um, u_departures_um
        Of every station from the line, (n,), + above or right of it. [um]
    bow_um, u_bow_um, bow_station
        The largest departure in size, its uncertainty and its station; None with two stations, which always lie on it.
    chi2, dof
        Weighted sum of squared departures and how many it has to spare.
    """

    offset_um: float
    u_offset_um: float
    slope_um_per_m: float
    u_slope_um_per_m: float
    covariance: FloatArray
    departures_um: FloatArray
    u_departures_um: FloatArray
    bow_um: float | None
    u_bow_um: float | None
    bow_station: int | None
    chi2: float
    dof: int


def whitened(covariance_um2: FloatArray, *columns: FloatArray) -> list[FloatArray]:
    """Return columns divided by the Cholesky factor of a covariance: ordinary least squares on them is generalised.

    Raises
    ------
    InputError
        The covariance is not positive definite.
    """
    try:
        factor = np.linalg.cholesky(covariance_um2)
    except np.linalg.LinAlgError as unsound:
        raise InputError(
            "The covariance of the offsets is not positive definite; give every station an uncertainty above zero."
        ) from unsound
    return [solve_triangular(factor, column, lower=True) for column in columns]


def check_profile(distance_mm: FloatArray, values_um: FloatArray, covariance_um2: FloatArray) -> None:
    """Refuse a profile that no line can be laid through.

    Raises
    ------
    InputError
        The shapes do not belong together, a value is not finite, the covariance is not symmetric, or all stations share
        one distance.
    """
    n = distance_mm.size
    if values_um.shape != (n,) or covariance_um2.shape != (n, n):
        raise InputError(
            f"{n} distances, {values_um.size} values and a covariance of shape {covariance_um2.shape} do not belong "
            "together; give all three for the same stations."
        )
    for name, values in (("distance", distance_mm), ("value", values_um)):
        if not np.isfinite(values).all():
            place = int(np.flatnonzero(~np.isfinite(values))[0])
            raise InputError(f"The {name} of station number {place + 1} is {values[place]}; leave that station out.")
    if not (np.isfinite(covariance_um2).all() and np.allclose(covariance_um2, covariance_um2.T, rtol=1e-6)):
        raise InputError(
            "The covariance of the offsets holds something that is not a number or is not symmetric; give every pair "
            "of stations one finite covariance."
        )
    if n < 2 or np.ptp(distance_mm) == 0.0:
        raise InputError(f"A line needs stations at two distances; there are {len(set(distance_mm.tolist()))}.")


def fit_line(distance_mm: FloatArray, offset_um: FloatArray, covariance_um2: FloatArray) -> Line:
    """Lay the generalised least-squares line through a profile.

    Parameters
    ----------
    distance_mm
        Stations from the gearbox's mounting face, (n,). [mm]
    offset_um
        Offsets of one axis there, (n,). [um]
    covariance_um2
        Their covariance, (n, n). [um^2]

    Returns
    -------
    Line

    Raises
    ------
    InputError
        The stations are fewer than two distances, shapes or values are unusable, or the covariance is singular.

    References
    ----------
    Aitken, On least squares and linear combination of observations (1935), from memory.
    """
    check_profile(distance_mm, offset_um, covariance_um2)
    design = np.stack([np.ones_like(distance_mm), distance_mm / 1000.0], axis=1)
    white, seen = whitened(covariance_um2, design, offset_um)
    covariance = np.asarray(np.linalg.inv(white.T @ white), dtype=np.float64)
    estimate = covariance @ (white.T @ seen)
    departures = offset_um - design @ estimate
    left = covariance_um2 - design @ covariance @ design.T
    u_departures = np.sqrt(np.maximum(np.diagonal(left), 0.0))
    n = distance_mm.size
    at = int(np.argmax(np.abs(departures))) if n > 2 else None
    misfit = seen - white @ estimate
    return Line(
        offset_um=float(estimate[0]),
        u_offset_um=float(np.sqrt(covariance[0, 0])),
        slope_um_per_m=float(estimate[1]),
        u_slope_um_per_m=float(np.sqrt(covariance[1, 1])),
        covariance=covariance,
        departures_um=departures,
        u_departures_um=u_departures,
        bow_um=None if at is None else float(departures[at]),
        u_bow_um=None if at is None else float(u_departures[at]),
        bow_station=at,
        chi2=float(misfit @ misfit),
        dof=n - 2,
    )
