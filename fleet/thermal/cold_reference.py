"""Bring a survey's offsets, taken at whatever temperature, to the line's cold reference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.errors import InputError
from fleet.thermal.rise import Rise
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class ColdOffsets:
    """Vertical offsets at the cold reference (the horizontal ones do not change).

    Attributes
    ----------
    v_cold_um, u_v_cold_um : (n,) arrays [um]
    covariance : (n, n) array
        The survey's own plus the heat model's. [um^2]
    """

    v_cold_um: FloatArray
    u_v_cold_um: FloatArray
    covariance: FloatArray


def to_cold_reference(v_um: FloatArray, covariance: FloatArray, rise: Rise) -> ColdOffsets:
    """Return a survey's vertical offsets as they would be at the cold reference, with the model's uncertainty added.

    Parameters
    ----------
    v_um : (n,) array
        Offsets as surveyed; NaN where a station was not measured. [um]
    covariance : (n, n) array
        Their covariance; for offsets entered with standard uncertainties alone, the diagonal of their squares. [um^2]
    rise : Rise
        Of the same n stations, at the survey's temperatures. Where it is not applicable nothing changes.

    Returns
    -------
    ColdOffsets

    Raises
    ------
    InputError
        The shapes do not belong to the same stations.

    References
    ----------
    Law of propagation for a difference of independent quantities, JCGM 100:2008, 5.2.
    """
    v = np.asarray(v_um, dtype=np.float64)
    own = np.asarray(covariance, dtype=np.float64)
    if own.shape != (v.size, v.size) or rise.v_um.shape != v.shape:
        raise InputError(
            f"{v.size} offsets, a covariance of shape {own.shape} and a rise at {rise.v_um.size} stations do not "
            "belong together; give all three for the same stations"
        )
    total = own + rise.covariance
    return ColdOffsets(v_cold_um=v - rise.v_um, u_v_cold_um=np.sqrt(np.diagonal(total)), covariance=total)
