"""A barrel hung on its flange and its rigid supports: what moves them moves the stations between and beyond."""

from __future__ import annotations

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray


def pinned_weights(station_distance_mm: FloatArray, pin_distance_mm: FloatArray) -> FloatArray:
    """Return how much of each pinned support's rise every station takes part in.

    The barrel stands still at the flange, which is the gearbox's mounting face at distance 0 (a feed section between
    belongs to the same straight piece), runs straight from there through the rigid supports in order, and straight on
    beyond the last along the last two points (with one support: flange and support).

    Parameters
    ----------
    station_distance_mm : (n,) array
        Distances of the stations from the gearbox's mounting face. [mm]
    pin_distance_mm : (m,) array
        Distances of the rigid supports, strictly increasing and all beyond the flange; m may be 0. [mm]

    Returns
    -------
    (n, m) array
        Weights: station rise = weights @ support rise. All zero without supports.

    Raises
    ------
    InputError
        The supports are not in order, or one does not lie beyond the flange.

    References
    ----------
    Piecewise linear (Lagrange) interpolation.
    """
    x = np.asarray(station_distance_mm, dtype=np.float64)
    knots = np.concatenate(([0.0], np.asarray(pin_distance_mm, dtype=np.float64)))
    m = knots.size - 1
    if not (knots[1:] > knots[:-1]).all():
        raise InputError(
            f"rigid supports at {', '.join(f'{k:g}' for k in knots[1:])} mm are not in order; give "
            "each its own distance beyond the flange at 0 mm"
        )
    weights = np.zeros((x.size, m + 1))
    if m:
        left = np.minimum(np.maximum(np.searchsorted(knots, x, side="right") - 1, 0), m - 1)
        share = np.maximum((x - knots[left]) / (knots[left + 1] - knots[left]), 0.0)
        rows = np.arange(x.size)
        weights[rows, left] = 1.0 - share
        weights[rows, left + 1] = share
    return weights[:, 1:]
