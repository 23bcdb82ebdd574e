"""How far foresight can be trusted: coverage, sharpness, and proper scores."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from scipy.special import ndtr, ndtri
from study_fleets import Mixture

from fleet.values import BoolArray, FloatArray, IntArray

LEVELS: Final = (np.arange(100) + 0.5) / 100.0
INTERVALS: Final = (0.50, 0.80, 0.95)
_STEP_UM: Final = 0.5


class Foresight(Protocol):
    """A distribution for every series and date."""

    def quantiles(self, levels: FloatArray) -> FloatArray:
        """Return quantiles, shape (n, dates, levels)."""

    def cdf(self, value: FloatArray) -> FloatArray:
        """Return the chance to lie below, shape (n, dates)."""


@dataclass(frozen=True, slots=True)
class Known:
    """The oracle's mixture as a `Foresight`."""

    mixture: Mixture

    def cdf(self, value: FloatArray) -> FloatArray:
        """Return the chance to lie below, shape (n, dates)."""
        z = (value - self.mixture.mean_um)[..., None] / self.mixture.sd_um
        return np.asarray(np.sum(self.mixture.weight * ndtr(z), axis=-1), dtype=np.float64)

    def quantiles(self, levels: FloatArray) -> FloatArray:
        """Return quantiles by bisection, shape (n, dates, levels)."""
        widest = self.mixture.sd_um.max(axis=-1)
        if self.mixture.weight.shape[-1] == 1:
            return np.asarray(self.mixture.mean_um[..., None] + widest[..., None] * ndtri(levels), dtype=np.float64)
        columns = []
        for level in levels:
            low, high = self.mixture.mean_um - 5.0 * widest, self.mixture.mean_um + 5.0 * widest
            for _ in range(24):
                middle = (low + high) / 2.0
                below = self.cdf(middle) < level
                low, high = np.where(below, middle, low), np.where(below, high, middle)
            columns.append((low + high) / 2.0)
        return np.stack(columns, axis=-1)


@dataclass(frozen=True, slots=True)
class Scores:
    """Mean scores by date, shape (dates,); `covered` (intervals, dates)."""

    covered: FloatArray
    crps_um: FloatArray
    log_score: FloatArray


def scores(foresight: Foresight, measured_um: FloatArray) -> Scores:
    """Score a distribution against what was measured, shape (n, dates).

    References
    ----------
    Gneiting and Raftery (2007), J. American Statistical Association 102, 359-378: the continuous ranked probability
    score as twice the mean quantile loss, here over 100 levels, and the logarithmic score (smaller is better).
    """
    tails = np.array([(1.0 - share) / 2.0 for share in INTERVALS])
    low, high = foresight.quantiles(tails), foresight.quantiles(1.0 - tails)
    inside = (measured_um[..., None] >= low) & (measured_um[..., None] <= high)
    crps = np.zeros(measured_um.shape)
    for level in LEVELS:
        quantile = foresight.quantiles(np.array([level]))[..., 0]
        crps += 2.0 * (level - (measured_um < quantile)) * (measured_um - quantile) / LEVELS.size
    mass = foresight.cdf(measured_um + _STEP_UM) - foresight.cdf(measured_um - _STEP_UM)
    log_score = -np.log(np.maximum(mass / (2.0 * _STEP_UM), 1e-12))
    return Scores(inside.mean(axis=0).T, crps.mean(axis=0), log_score.mean(axis=0))


def coverage_error(inside: BoolArray, line: IntArray, *, seed: int = 0, draws: int = 200) -> float:
    """Return the bootstrap standard error of a share, lines drawn whole: their series are not independent."""
    rng = np.random.default_rng(seed)
    _, of = np.unique(line, return_inverse=True)
    hits, held = np.bincount(of, inside.reshape(of.size, -1).mean(axis=1)), np.bincount(of)
    pick = rng.integers(0, hits.size, (draws, hits.size))
    return float(np.std(hits[pick].sum(axis=1) / held[pick].sum(axis=1)))
