"""How far the largest of several estimates reaches by measurement alone, when the largest is picked afterwards."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from fleet.values import NORMAL_95, FloatArray

_CHANCE: Final = 0.05
_TURNS: Final = 720
_HALVINGS: Final = 30


def reach_of_largest(correlation: FloatArray) -> float:
    """Return how many standard uncertainties the largest of several normal estimates stays within, 95 times in 100.

    One estimate alone stays within 1.96; whoever names the largest of three has three chances to be misled.

    Parameters
    ----------
    correlation
        Of the estimates' errors, (k, k).

    Returns
    -------
    float
        Exact for one and two estimates; beyond that never too small.

    References
    ----------
    Hunter, An upper bound for the probability of a union, J. Appl. Prob. 13 (1976); Worsley, An improved Bonferroni
    inequality and applications, Biometrika 69 (1982). From memory.
    """
    k = int(correlation.shape[0])
    if k == 1:
        return NORMAL_95
    strength = np.clip(np.abs(correlation), 0.0, 1.0)
    # The tree that joins the most alike takes the most double counting off the sum of single chances.
    joined, edges = [0], []
    while len(joined) < k:
        open_ends = [q for q in range(k) if q not in joined]
        best = max((float(strength[p, q]), q) for p in joined for q in open_ends)
        edges.append(best[0])
        joined.append(best[1])
    angle = (np.arange(_TURNS) + 0.5) * np.pi / _TURNS
    # In a plane of two independent unit normals both estimates are projections; this is the larger one's share.
    larger = np.maximum(np.abs(np.cos(angle)), np.abs(np.cos(angle - np.arccos(np.array(edges))[:, None])))

    def chance(reach: float) -> float:
        single = 2.0 * float(ndtr(-reach))
        either = float(np.exp(-0.5 * (reach / larger) ** 2).mean(axis=1).sum())
        return k * single - (2.0 * single * len(edges) - either)

    low, high = NORMAL_95, float(-ndtri(_CHANCE / (2 * k)))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if chance(middle) > _CHANCE else (low, middle)
    return high
