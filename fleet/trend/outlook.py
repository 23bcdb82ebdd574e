"""What a survey would show at some date: a distribution with Student-like tails, jumps and the time of the year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import ndtri, stdtr, stdtrit

from fleet.trend.jumps import at_least_one
from fleet.trend.posterior import Posterior
from fleet.trend.season import phase
from fleet.values import BoolArray, FloatArray

QUANTILES: Final = (0.025, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.975)
_GRID: Final = 801
_ROUNDS: Final = 3
_BY_JUMPS: Final = 0.9
"""Part of a tail that is given to the jumps where a bound of its quantile is sought; 0.9 brackets the closest."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Student-like about a mean, with some chance of a jump in between; every array has the shape asked for.

    Parameters
    ----------
    mean_um : mean and median
    calm_sd_um, calm_dof : standard deviation if nothing jumps, and the degrees of freedom behind it (more than 4)
    jump_chance : chance of at least one jump
    jump_var_um2 : variance that jumps then add
    """

    mean_um: FloatArray
    calm_sd_um: FloatArray
    calm_dof: FloatArray
    jump_chance: FloatArray
    jump_var_um2: FloatArray

    @property
    def sd_um(self) -> FloatArray:
        """Standard deviation, jumps included."""
        return np.asarray(np.sqrt(self.calm_sd_um**2 + self.jump_chance * self.jump_var_um2), dtype=np.float64)

    def cdf(self, value_um: FloatArray) -> FloatArray:
        """Return the chance that a survey shows less, shape as the outlook's."""
        return self._below(np.asarray(value_um - self.mean_um, dtype=np.float64))

    def _below(self, away: FloatArray, pick: BoolArray | slice = slice(None)) -> FloatArray:
        sd, dof, chance, jump2 = (
            part[pick] for part in (self.calm_sd_um, self.calm_dof, self.jump_chance, self.jump_var_um2)
        )
        calm = stdtr(dof, away / (sd * np.sqrt((dof - 2.0) / dof)))
        wide = np.sqrt(sd**2 + jump2)
        wide_dof = 4.0 + (dof - 4.0) * (wide / np.maximum(sd, 1e-300)) ** 4
        jumped = stdtr(wide_dof, away / (wide * np.sqrt((wide_dof - 2.0) / wide_dof)))
        return np.asarray((1.0 - chance) * calm + chance * jumped, dtype=np.float64)

    def quantiles(self, levels: Sequence[float] | FloatArray = QUANTILES) -> FloatArray:
        """Return quantiles, shape (..., levels)."""
        wanted = np.asarray(levels, dtype=np.float64)
        # The distribution is symmetric: every upper quantile is found once and serves the lower one too.
        outer = np.asarray(np.round(np.maximum(wanted, 1.0 - wanted), 12), dtype=np.float64)
        upper, of = np.unique(outer, return_inverse=True)
        away = self.calm_sd_um[..., None] * _standard_quantiles(self.calm_dof, upper)
        jumpy = self.jump_chance > 0
        if np.any(jumpy):
            calm = away[jumpy]
            for k, level in enumerate(upper):
                # The median is the mean, jumps or none.
                if level > 0.5:
                    calm[:, k] = self._solved(level, calm[:, k], jumpy)
            away[jumpy] = calm
        side = np.sign(np.where(np.abs(wanted - 0.5) < 1e-12, 0.0, wanted - 0.5))
        return np.asarray(self.mean_um[..., None] + side * away[..., of], dtype=np.float64)

    def _solved(self, level: float, calm: FloatArray, pick: BoolArray) -> FloatArray:
        """Return an upper quantile of the mixture, from the mean, by regula falsi (Illinois) between its parts'.

        The chance beyond is right within a hundredth of itself where jumps come once in ten at most and are at most ten
        times the calm deviation, within a tenth elsewhere.
        """
        sd, tail, target = self.calm_sd_um[pick], 1.0 - level, float(ndtri(level))
        wide = np.sqrt(sd**2 + self.jump_var_um2[pick])
        # A Student-like variable's upper quantile beyond that of a normal one with the same variance lies within 1.5.
        high = 1.5 * wide * target
        # Where neither part has more than its share of the tail beyond, both together have no more than the tail.
        shared = np.minimum(_BY_JUMPS * tail / np.maximum(self.jump_chance[pick], 1e-300), 0.5)
        rest = sd * _standard_quantiles(self.calm_dof[pick], np.array([1.0 - (1.0 - _BY_JUMPS) * tail]))[:, 0]
        low, high = calm, np.maximum(calm, np.minimum(high, np.maximum(rest, -1.5 * wide * ndtri(shared))))
        f_low, f_high = (ndtri(self._below(at, pick)) - target for at in (low, high))
        kept = np.zeros(low.shape)
        for _ in range(_ROUNDS):
            middle = low - f_low * (high - low) / np.maximum(f_high - f_low, 1e-300)
            f_middle = ndtri(self._below(middle, pick)) - target
            below = f_middle < 0
            f_high = np.where(below & (kept == 1.0), f_high / 2.0, f_high)
            f_low = np.where(~below & (kept == -1.0), f_low / 2.0, f_low)
            low, f_low = np.where(below, middle, low), np.where(below, f_middle, f_low)
            high, f_high = np.where(below, high, middle), np.where(below, f_high, f_middle)
            kept = np.where(below, 1.0, -1.0)
        return np.asarray(low - f_low * (high - low) / np.maximum(f_high - f_low, 1e-300), dtype=np.float64)


@lru_cache(maxsize=8)
def _table(levels: tuple[float, ...]) -> FloatArray:
    """Return standardised Student quantiles for 1 / dof on a grid from 0 to 1/4, shape (levels, grid)."""
    dof = 1.0 / np.linspace(1e-9, 0.25, _GRID)
    wanted = np.array(levels)[:, None]
    return np.asarray(stdtrit(dof, wanted) * np.sqrt((dof - 2.0) / dof), dtype=np.float64)


def _standard_quantiles(dof: FloatArray, levels: FloatArray) -> FloatArray:
    """Return quantiles of a Student-like variable with variance 1, dof at least 4, shape (..., levels).

    They are read off a table, straight between its lines; it is 1e-5 at most that they miss.
    """
    place = (_GRID - 1) * 4.0 / np.maximum(dof, 4.0)
    low = np.minimum(place.astype(np.int64), _GRID - 2)
    part = place - low
    factor = np.empty((*dof.shape, levels.size))
    for column, line in enumerate(_table(tuple(levels.tolist()))):
        factor[..., column] = line[low] + part * (line[low + 1] - line[low])
    return factor


def swing_since(known: Posterior, days: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return by how much the time of the year moves every series so many days after its newest survey.

    Parameters
    ----------
    known : the posterior
    days : calendar days since the newest cold survey, shape (n, dates)

    Returns
    -------
    shift, um, and its variance, um^2, shape (n, dates)
    """
    if not np.any(known.swing_um):
        return np.zeros(days.shape), np.zeros(days.shape)
    turn = phase(known.day[:, None] + days) - phase(known.day)[:, None, :]
    shift = np.einsum("ndj,nj->nd", turn, known.swing_um)
    return shift, np.einsum("ndj,njk,ndk->nd", turn, known.swing_cov_um2, turn)


def outlook(
    known: Posterior, *, years: FloatArray, days: FloatArray, measuring_var_um2: FloatArray | None = None
) -> Outlook:
    """Foresee what a survey would show some time after the newest one if nobody touches the line.

    Parameters
    ----------
    known : the posterior
    years, days : years of use and calendar days since the newest cold survey, shape (n, dates)
    measuring_var_um2 : variance of the imagined survey, shape (n,); None: that of the newest survey

    Returns
    -------
    the outlook, shape (n, dates)

    References
    ----------
    A normal variable whose variance is partly scaled inverse chi-square has the kurtosis of a Student variable with
    4 + (nu - 4) / share^2 degrees of freedom, `share` being that part of the variance.
    """
    measuring = known.measured_var_um2 if measuring_var_um2 is None else measuring_var_um2
    shift, shift_var = swing_since(known, days)
    wander = known.sigma_um[:, None] ** 2 * years
    mean = known.position_um[:, None] + known.rate_um[:, None] * years + shift
    variance = known.position_var_um2[:, None] + 2.0 * known.cov_um2[:, None] * years
    variance = variance + known.rate_var_um2[:, None] * years**2 + wander + measuring[:, None] + shift_var
    share = np.maximum(wander / np.where(variance > 0, variance, 1.0), 1e-3)
    dof = 4.0 + (known.sigma_dof[:, None] - 4.0) / share**2
    chance, number = at_least_one(known.jumps_per_year[:, None] * years)
    return Outlook(mean, np.sqrt(np.maximum(variance, 1e-12)), dof, chance, number * known.jump_um[:, None] ** 2)
