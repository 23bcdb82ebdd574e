"""What is known of one axis' drift over the fleet, and what was believed before any record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.jumps import Jumps
from fleet.values import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed before any record, weak enough that a few lines outvote it; figures from memory.

    Parameters
    ----------
    mean_sd_um : standard deviation of each coefficient of the mean rate, um per year of use, about zero
    tau_um, tau_log_sd : typical spread of rates between series, um per year, and the standard deviation of its log
    sigma_um, sigma_log_sd : typical wander, um per square root of a year, and the standard deviation of its log
    keep_spread : power of tau the likelihood is multiplied by; 1 keeps a thin record from claiming that all lines drift
        alike

    References
    ----------
    Chung, Rabe-Hesketh, Dorie, Gelman, Liu (2013), Psychometrika 78, 685-709: the power, with shape 2.
    """

    mean_sd_um: float = 60.0
    tau_um: float = 30.0
    tau_log_sd: float = 1.5
    sigma_um: float = 30.0
    sigma_log_sd: float = 1.5
    keep_spread: float = 1.0


DEFAULT_PRIOR: Final = Prior()


@dataclass(frozen=True, slots=True)
class AxisPool:
    """The pool of one axis.

    Parameters
    ----------
    coefficients, covariance : of the mean rate on the columns of `design`, um per year of use
    tau_um : spread of rates between series, um per year of use
    sigma_um : wander, um per square root of a year of use
    sigma_dof : degrees of freedom behind `sigma_um`
    tau_growth, sigma_growth : how the spread (the wander) goes with the share s of the barrel: its square is that at
        the discharge end, `tau_um` (`sigma_um`), times 1 - growth + growth s^2
    rate_rho, error_rho : correlation of the rates of a line's stations, and of the errors of their own rates
    foundations : codes that have their own offset of the mean rate (times the share where `foundation_by_share`)
    n_intervals, n_lines : how many stand behind it
    objective : -2 log of the marginal likelihood with the prior
    jumps : how often series jump and how far
    """

    coefficients: FloatArray
    covariance: FloatArray
    tau_um: float
    sigma_um: float
    sigma_dof: float
    tau_growth: float
    sigma_growth: float
    rate_rho: float
    error_rho: float
    foundations: tuple[int, ...]
    foundation_by_share: bool
    n_intervals: int
    n_lines: int
    objective: float
    jumps: Jumps

    def design(self, share: FloatArray, foundation: IntArray) -> FloatArray:
        """Return the columns the mean rate is a combination of, shape (n, 2 + foundations)."""
        return design_columns(share, foundation, self.foundations, self.foundation_by_share)

    def tau(self, share: FloatArray) -> FloatArray:
        """Return the spread of rates at a share of the barrel, um per year of use."""
        return self.tau_um * grown(share, self.tau_growth)

    def sigma(self, share: FloatArray) -> FloatArray:
        """Return the wander at a share of the barrel, um per square root of a year of use."""
        return self.sigma_um * grown(share, self.sigma_growth)


def grown(share: FloatArray, growth: float) -> FloatArray:
    """Return the scale of a standard deviation whose square grows from 1 - growth at the gearbox to 1."""
    # A station at the flange still wanders a little: a tenth of the discharge end.
    return np.sqrt(np.maximum(1.0 - growth + growth * share**2, 0.01))


def design_columns(share: FloatArray, foundation: IntArray, foundations: tuple[int, ...], by_share: bool) -> FloatArray:
    """Return the columns the mean rate is a combination of: constant, share, and each foundation's own offset."""
    own = [np.where(foundation == code, share if by_share else 1.0, 0.0) for code in foundations]
    return np.stack([np.ones_like(share), share, *own], axis=1)
