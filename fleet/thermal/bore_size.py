"""The trade's rule of thumb: a barrel is set low when cold by a drop that grows with its bore."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import numpy as np

from fleet.errors import InputError
from fleet.thermal.pinned import pinned_weights
from fleet.values import FloatArray

BoreSizeShape = Literal["every_support", "last_support"]

BORE_SIZE_POINTS: Final[tuple[tuple[float, float], ...]] = ((63.5, 63.5), (152.4, 254.0))
"""(bore in mm, drop in um): a 2.5 in barrel about 0.0025 in low, a 6 in barrel about 0.010 in (common practice, no
source)."""


def bore_size_drop_um(
    bore_mm: FloatArray | float, points: Sequence[tuple[float, float]] = BORE_SIZE_POINTS
) -> FloatArray:
    """Return how far below the gearbox axis the rule of thumb sets a barrel.

    Piecewise linear in the bore, straight on outside the points, never below nothing. One point gives that drop to
    every bore.

    Parameters
    ----------
    bore_mm : array of any shape
        Bore diameter; NaN where it is not known. [mm]
    points : sequence of (bore_mm, drop_um)
        In any order.

    Returns
    -------
    array of the same shape
        Drop, not negative; NaN where the bore is. [um]

    Raises
    ------
    InputError
        No point is given, or two stand at the same bore.

    References
    ----------
    Common practice, no source.
    """
    bore = np.asarray(bore_mm, dtype=np.float64)
    if not points:
        raise InputError("bore_size_points holds no point; give at least one as bore_mm:drop_um")
    at, drop = (np.array(column, dtype=np.float64) for column in zip(*sorted(points), strict=True))
    if at.size == 1:
        return np.where(np.isnan(bore), np.nan, max(float(drop[0]), 0.0))
    if not (np.diff(at) > 0.0).all():
        raise InputError(f"bore_size_points holds {at[:-1][np.diff(at) == 0.0][0]:g} mm twice; give each bore one drop")
    left = np.clip(np.searchsorted(at, bore, side="right") - 1, 0, at.size - 2)
    slope = (drop[left + 1] - drop[left]) / (at[left + 1] - at[left])
    return np.maximum(drop[left] + slope * (bore - at[left]), 0.0)


def bore_size_target_um(
    distance_mm: FloatArray,
    rigid_support_distance_mm: FloatArray,
    *,
    drop_um: float,
    shape: BoreSizeShape = "every_support",
) -> FloatArray:
    """Return the rule of thumb's vertical cold target at every station of one line (the horizontal one is 0).

    Parameters
    ----------
    distance_mm : (n,) array
        Stations. [mm]
    rigid_support_distance_mm : (m,) array
        Rigid supports in any order; those not beyond the flange at 0 do not count. [mm]
    drop_um : float
        From `bore_size_drop_um`; NaN gives no figure. [um]
    shape : 'every_support' or 'last_support'
        The full drop at every rigid support, or at the last one only with a straight line from the flange to it.

    Returns
    -------
    (n,) array
        Targets, never above zero; NaN without a drop or without a rigid support. [um]

    References
    ----------
    Common practice, no source.
    """
    x = np.asarray(distance_mm, dtype=np.float64)
    rigid = np.unique(np.asarray(rigid_support_distance_mm, dtype=np.float64))
    rigid = rigid[rigid > 0.0]
    if rigid.size == 0 or np.isnan(drop_um):
        return np.full(x.size, np.nan)
    pins = rigid if shape == "every_support" else rigid[-1:]
    share: FloatArray = pinned_weights(x, pins).sum(axis=1)
    target: FloatArray = np.minimum(-drop_um * share, 0.0) + 0.0  # adds away the sign of a zero
    return target
