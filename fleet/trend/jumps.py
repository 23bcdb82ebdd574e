"""Jumps: movements of one interval that neither rate nor wander explain, how often they come and how large they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaln

from fleet.values import FloatArray

_ROUNDS: Final = 60
_SETTLED: Final = 3e-3
_LOOKED_AT: Final = 6_000
_CLEARLY: Final = 12.0
"""Gain of -2 log likelihood from which two more parameters are believed."""
_PRIOR_JUMPS: Final = 0.5
_PRIOR_YEARS: Final = 25.0
"""Before any record: one jump in fifty years of a series, worth half a jump (from memory)."""
_SMALLEST_BESIDE: Final = 2.0
"""A jump that is no larger than the movements it hides among is wander."""


@dataclass(frozen=True, slots=True)
class Jumps:
    """How often the series of one axis jump, per year of use, and the standard deviation of a jump, um."""

    per_year: float
    sd_um: float


NO_JUMPS: Final = Jumps(0.0, 0.0)


def at_least_one(expected: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the chance of at least one jump where so many are expected, and how many there then are on average."""
    chance = -np.expm1(-expected)
    return chance, np.where(chance > 0, expected / np.where(chance > 0, chance, 1.0), 1.0)


def _log_student(residual: FloatArray, variance: FloatArray, dof: FloatArray) -> FloatArray:
    """Return the log density of a Student-like variable with this variance, constants of pi included."""
    scale2 = variance * (dof - 2.0) / dof
    log = gammaln((dof + 1.0) / 2.0) - gammaln(dof / 2.0) - 0.5 * np.log(np.pi * dof * scale2)
    return np.asarray(log - (dof + 1.0) / 2.0 * np.log1p(residual**2 / (dof * scale2)), dtype=np.float64)


def find_jumps(
    residual_um: FloatArray, var_um2: FloatArray, dof: FloatArray, years: FloatArray
) -> tuple[Jumps, FloatArray]:
    """Split movements into those that only drifted and wandered and those that jumped as well.

    Parameters
    ----------
    residual_um : movement beyond what the others of the series predict, shape (n,)
    var_um2, dof : variance of that without a jump, and its degrees of freedom (more than 4)
    years : years of use of each interval

    Returns
    -------
    frequency and size, `NO_JUMPS` where the record does not clearly show any; and the variance to add to each interval
    so that it weighs as little as its chance of having jumped deserves

    References
    ----------
    Expectation-maximisation for a two-part scale mixture (Dempster, Laird and Rubin 1977).
    """
    some = slice(None, None, max(1, residual_um.size // _LOOKED_AT))
    told = _Told.of(residual_um[some], var_um2[some], dof[some], years[some])
    per_year, size2 = 0.03, float(np.median(var_um2)) * 9.0
    total_years = float(np.sum(told.years))
    for _ in range(_ROUNDS):
        before = per_year, size2
        weight, _ = told.weighed(per_year, size2)
        shrink = size2 / (size2 + told.var_um2)
        squares = (shrink * told.residual_um) ** 2 + shrink * told.var_um2
        size2 = float(np.sum(weight * squares) + size2) / (float(np.sum(weight)) + 1.0)
        per_year = (float(np.sum(weight)) + _PRIOR_JUMPS) / (total_years + _PRIOR_YEARS)
        if max(abs(per_year / before[0] - 1.0), abs(size2 / before[1] - 1.0)) < _SETTLED:
            break
    gain = 2.0 * told.weighed(per_year, size2)[1]
    if gain < _CLEARLY or size2 < _SMALLEST_BESIDE**2 * float(np.median(var_um2)):
        return NO_JUMPS, np.zeros(residual_um.shape)
    weight, _ = _Told.of(residual_um, var_um2, dof, years).weighed(per_year, size2)
    effective = 1.0 / ((1.0 - weight) / var_um2 + weight / (var_um2 + size2))
    return Jumps(per_year, float(np.sqrt(size2))), np.maximum(effective - var_um2, 0.0)


@dataclass(frozen=True, slots=True)
class _Told:
    """Movements beyond what was expected, as in `find_jumps`."""

    residual_um: FloatArray
    var_um2: FloatArray
    dof: FloatArray
    years: FloatArray
    log_calm: FloatArray

    @classmethod
    def of(cls, residual_um: FloatArray, var_um2: FloatArray, dof: FloatArray, years: FloatArray) -> _Told:
        return cls(residual_um, var_um2, dof, years, _log_student(residual_um, var_um2, dof))

    def weighed(self, per_year: float, size2: float) -> tuple[FloatArray, float]:
        """Return every movement's chance of holding a jump, and the gain in log likelihood over there being none."""
        chance = np.clip(at_least_one(per_year * self.years)[0], 1e-12, 1.0 - 1e-12)
        plain = np.log1p(-chance) + self.log_calm
        # A jump on top of a Student-like movement, as one Student-like variable with fewer tails.
        wide = self.var_um2 + size2
        jumped = np.log(chance) + _log_student(
            self.residual_um, wide, 4.0 + (self.dof - 4.0) * (wide / self.var_um2) ** 2
        )
        both = np.logaddexp(plain, jumped)
        return np.exp(jumped - both), float(np.sum(both - self.log_calm))
