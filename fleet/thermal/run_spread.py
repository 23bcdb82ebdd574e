"""How much a line's rise differs from one run to the next, and how far the next run may come out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import stdtrit

from fleet.thermal.measured import UNSTATED_U_UM
from fleet.values import NORMAL_95, FloatArray, IntArray

_FLEET_PRIOR: Final = 4.0
"""Degrees of freedom at which the fleet's scatter is believed for a line, and what is stated for the fleet's."""


@dataclass(frozen=True, slots=True)
class RunSpread:
    """Scatter of the rise from run to run at every place.

    Attributes
    ----------
    runs : (p,) array
        Runs measured there.
    variance_um2 : (p,) array
        Of one run about the place's mean. [um^2]
    dof : (p,) array
        Degrees of freedom behind it.
    """

    runs: FloatArray
    variance_um2: FloatArray
    dof: FloatArray

    def half_um(self, more_runs: float, u_mean_um: FloatArray) -> FloatArray:
        """Return half the 95 % range of the next run, with this many runs more than there are.

        Parameters
        ----------
        more_runs : float
        u_mean_um : (q,) array
            Standard uncertainty of where the place runs on the mean, for the first q places; NaN: from its own
            runs, the scatter over the root of their number. [um]

        Returns
        -------
        (p,) array
            Of the first q places, NaN for others. [um]

        References
        ----------
        Prediction interval of a normal mean, Student's t.
        """
        q = u_mean_um.size
        n, variance = self.runs[:q] + more_runs, self.variance_um2[:q]
        dof = self.dof[:q] + np.minimum(more_runs, np.maximum(n - 1.0, 0.0))
        factor = stdtrit(dof, 0.975)
        own = np.isnan(u_mean_um)
        of_mean = np.where(own, factor**2 * variance / np.maximum(n, 1.0), (NORMAL_95 * u_mean_um) ** 2)
        half: FloatArray = np.sqrt(of_mean + factor**2 * variance)
        return half


def run_spread(place: IntArray, rise_um: FloatArray, stated_um2: FloatArray, axis: IntArray) -> RunSpread:
    """Return the scatter of the rise from run to run at every place, shrunk to what the fleet's lines show.

    Parameters
    ----------
    place : (u,) int array
        Of every run at a place.
    rise_um : (u,) array
        Its rise. [um]
    stated_um2 : (u,) array
        Variance that is stated for it alone: its measurement, and the reading of its temperatures. [um^2]
    axis : (p,) int array
        Of every place.

    Returns
    -------
    RunSpread

    References
    ----------
    Pooled within-group variance, each level leaning on the one above it as a scaled chi-square prior of four degrees
    of freedom.
    """
    places, axes = axis.size, int(axis.max(initial=0)) + 1
    n = np.bincount(place, minlength=places).astype(np.float64)
    mean = np.bincount(place, rise_um, places) / np.maximum(n, 1.0)
    squares = np.bincount(place, (rise_um - mean[place]) ** 2, places)
    degrees = np.maximum(n - 1.0, 0.0)
    of_axis = np.bincount(axis[place], minlength=axes)
    stated = np.bincount(axis[place], stated_um2, axes) / np.maximum(of_axis, 1)
    stated = np.where(of_axis > 0, stated, UNSTATED_U_UM**2)
    fleet = (_FLEET_PRIOR * stated + np.bincount(axis, squares, axes)) / (
        _FLEET_PRIOR + np.bincount(axis, degrees, axes)
    )
    return RunSpread(
        runs=n,
        variance_um2=(_FLEET_PRIOR * fleet[axis] + squares) / (_FLEET_PRIOR + degrees),
        dof=_FLEET_PRIOR + degrees,
    )
