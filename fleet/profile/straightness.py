"""Straightness of a profile: the width of the zone that holds it, about two reference lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class Straightness:
    """Widths of the zones that hold a profile, measured across the axis. [um]

    The reference lines are told by slope and by where they cross the flange (distance 0): the least-squares line, and
    the line midway in the narrowest zone.
    """

    least_squares_um: float
    minimum_zone_um: float
    least_squares_slope_um_per_m: float
    minimum_zone_slope_um_per_m: float
    least_squares_offset_um: float
    minimum_zone_offset_um: float


def straightness(distance_mm: FloatArray, offset_um: FloatArray) -> Straightness:
    """Return the straightness deviation about the least-squares line and about the minimum zone.

    The minimum zone of points in a plane touches them at two points on one side and one between them on the other:
    one of its sides runs along an edge of their convex hull, so the narrowest of those is the answer, exactly.

    Parameters
    ----------
    distance_mm
        Stations, (n,), at two distances or more. [mm]
    offset_um
        Offsets of one axis, (n,). [um]

    Returns
    -------
    Straightness

    Raises
    ------
    InputError
        There are fewer than two distances, or a value is not finite.

    References
    ----------
    ISO 12780-1, straightness: least squares reference line, minimum zone reference lines (definitions from memory).
    """
    x = np.asarray(distance_mm, dtype=np.float64) / 1000.0
    z = np.asarray(offset_um, dtype=np.float64)
    if x.shape != z.shape or not (np.isfinite(x).all() and np.isfinite(z).all()) or x.size < 2 or np.ptp(x) == 0.0:
        raise InputError("Straightness needs finite offsets at stations of two distances or more; add a station.")
    lean = x - x.mean()
    slope = float(lean @ z / (lean @ lean))
    about = z - slope * lean
    # Every edge of the hull joins two of the points: with a line's handful of stations all pairs are soon tried.
    one, two = np.triu_indices(x.size, k=1)
    apart = x[two] - x[one]
    tried = (z[two] - z[one])[apart != 0.0] / apart[apart != 0.0]
    widths = np.ptp(z[None, :] - tried[:, None] * x[None, :], axis=1)
    best = int(np.argmin(widths))
    off_zone = z - tried[best] * x
    return Straightness(
        least_squares_um=float(np.ptp(about)),
        minimum_zone_um=float(widths[best]),
        least_squares_slope_um_per_m=slope,
        minimum_zone_slope_um_per_m=float(tried[best]),
        least_squares_offset_um=float(z.mean() - slope * x.mean()),
        minimum_zone_offset_um=float(0.5 * (off_zone.max() + off_zone.min())),
    )
