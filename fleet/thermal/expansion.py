"""How much steel grows: default coefficients with their source, and the published elongation of carbon steel."""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray

BARREL_EXPANSION_PER_K: Final = 12.1e-6
"""Mean coefficient of low-alloy steel from 20 to 200 C: the nitriding steel 31CrMoV9 (1.8519) on its data sheet."""

GEARBOX_EXPANSION_PER_K: Final = 11.0e-6
"""Mean coefficient of a cast-iron gearbox casing, from memory; a line's own record takes its place."""

BASE_EXPANSION_PER_K: Final = 11.0e-6
"""Mean coefficient of the steel or cast-iron base under a support, from memory; a support's own takes its place."""

CARBON_STEEL_FROM_C: Final = 20.0
CARBON_STEEL_TO_C: Final = 750.0


def carbon_steel_elongation(temperature_c: FloatArray | float) -> FloatArray:
    """Return the relative elongation of carbon steel since 20 C.

    Parameters
    ----------
    temperature_c : array of any shape
        Temperature, 20 to 750. [C]

    Returns
    -------
    array of the same shape
        dl/l, without unit; exactly 0 at 20 C.

    Raises
    ------
    InputError
        A temperature lies outside 20 to 750 C, where the formula does not hold.

    References
    ----------
    EN 1993-1-2:2005, clause 3.4.1.1 (1): dl/l = 1.2e-5 T + 0.4e-8 T^2 - 2.416e-4.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    outside = ~((t >= CARBON_STEEL_FROM_C) & (t <= CARBON_STEEL_TO_C))
    if outside.any():
        raise InputError(
            f"{t[outside].flat[0]:g} C is outside 20 to 750 C, where EN 1993-1-2 gives carbon steel's elongation; "
            "give a temperature within that range"
        )
    # (T - 20)(1.208e-5 + 0.4e-8 T) is the same polynomial, written so that it is exactly zero at 20 C.
    return (t - CARBON_STEEL_FROM_C) * (1.208e-5 + 0.4e-8 * t)


def carbon_steel_mean_coefficient(temperature_c: FloatArray | float) -> FloatArray:
    """Return carbon steel's mean coefficient of expansion from 20 C to the given temperature.

    Parameters
    ----------
    temperature_c : array of any shape
        Upper temperature, 20 to 750 (at 20 C the limit of the mean, which is the slope there). [C]

    Returns
    -------
    array of the same shape
        Mean coefficient. [1/K]

    Raises
    ------
    InputError
        A temperature lies outside 20 to 750 C.

    References
    ----------
    EN 1993-1-2:2005, clause 3.4.1.1 (1), divided by T - 20.
    """
    carbon_steel_elongation(temperature_c)
    return 1.208e-5 + 0.4e-8 * np.asarray(temperature_c, dtype=np.float64)


def length_growth_mm(
    *, length_mm: float, temperature_c: float, reference_c: float, expansion_per_k: float = BARREL_EXPANSION_PER_K
) -> float:
    """Return how much longer a barrel is than at its cold reference; its supports must let this slide.

    Parameters
    ----------
    length_mm : float
        Length at the cold reference. [mm]
    temperature_c, reference_c : float
        The barrel's temperature and the line's cold reference. [C]
    expansion_per_k : float
        Mean coefficient over that range. [1/K]

    Returns
    -------
    float
        Growth, negative below the reference. [mm]

    References
    ----------
    Linear expansion, dl = alpha l dT.
    """
    return expansion_per_k * length_mm * (temperature_c - reference_c)
