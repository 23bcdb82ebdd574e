"""Where one rate explains every movement of a series, none of them was a jump.

In a calm fleet the pool cannot but take the movements of a line that drifts far faster than all others for jumps, each
of them. Who asks how fast a line drifts by its own record must not leave out that it goes on and on at one rate.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.trend.gls import segments, sums
from fleet.trend.records import Intervals
from fleet.values import BoolArray, FloatArray

FEWEST_INTERVALS: Final = 2
"""A single movement may be a rate or a jump, and nothing tells which."""


def without_needless_jumps(
    found: Intervals, use: BoolArray, jump_var_um2: FloatArray, sigma2_um2: FloatArray
) -> FloatArray:
    """Return the variance of jumps with that of every series and regime left out whose movements one rate explains.

    Parameters
    ----------
    found : intervals, sorted by series, then time
    use : which of them are looked at, shape (n_intervals,)
    jump_var_um2 : variance that single jumps add to their intervals, shape (n_intervals,)
    sigma2_um2 : wander variance per year of use of every series

    Returns
    -------
    shape (n_intervals,)

    References
    ----------
    A chi-square with k degrees of freedom has mean k and variance 2 k: explained within two standard deviations, the
    rule of `fleet.trend.regimes` for two rates.
    """
    kept = jump_var_um2.copy()
    if not np.any(jump_var_um2 > 0.0):
        return kept
    laid = segments(found, use, np.zeros(jump_var_um2.shape))
    got = sums(laid, sigma2_um2[laid.series])
    known = got.a > 0.0
    left = np.where(known, got.c - got.b**2 / np.where(known, got.a, 1.0), np.inf)
    dof = laid.count - 1.0
    explained = (laid.count >= FEWEST_INTERVALS) & (left <= dof + 2.0 * np.sqrt(2.0 * np.maximum(dof, 0.0)))
    place = laid.index[:, explained]
    kept[place[place >= 0]] = 0.0
    return kept
