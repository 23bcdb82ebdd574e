"""The parts of a rise at one support and at the gearbox, with their sensitivity to each cause of error."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, TypeVar

from fleet.thermal.expansion import BARREL_EXPANSION_PER_K, BASE_EXPANSION_PER_K, GEARBOX_EXPANSION_PER_K
from fleet.thermal.geometry import LineGeometry, SupportGeometry, Temperatures
from fleet.values import FloatArray

EXPANSION_SHARE: Final = 0.05
"""Standard uncertainty of each expansion, as a share of it."""
TEMPERATURE_U_K: Final = 3.0
"""Standard uncertainty of a temperature; common to all bodies where they are alike."""
TEMPERATURE_OWN_U_K: Final = 0.5
"""Standard uncertainty of each body beside the common one."""
ALIKE_WITHIN_K: Final = 10.0
"""Barrel, gearbox and base are alike where they lie within this of each other."""
BASE_SHARE: Final = 0.05
"""An unrecorded base takes this share of the barrel's way above the reference (from memory)."""
OIL_SHARE: Final = 0.6
OIL_SHARE_U: Final = 0.2
"""The casing's mean rises by this share of the oil's, with its standard uncertainty (from memory)."""
UNRECORDED_U_K: Final = 10.0
"""Standard uncertainty of a gearbox or barrel not recorded on a warm record (from memory)."""

# Independent causes of error, one column each in a sensitivity: um per standard uncertainty of the cause.
CAUSES: Final = 10
EXP_BARREL, EXP_BASE, EXP_GEARBOX, T_COMMON, T_BARREL, T_BASE, T_GEARBOX, OIL, FOLLOWS, TILT = range(CAUSES)
OF_THE_RECORD: Final = (T_COMMON, T_BARREL, T_BASE, T_GEARBOX)
"""Causes that differ from one record to the next; the others are the line's own and err alike in all its records."""

_UM_PER_MM: Final = 1000.0

Celsius = TypeVar("Celsius", float, FloatArray)


@dataclass(frozen=True, slots=True)
class SupportRise:
    """The parts of one support's rise, for a table that explains the sum.

    Attributes
    ----------
    code : str
    distance_mm : float [mm]
    pins : bool
        Whether the support pins the barrel: rigid (or taken as rigid) and beyond the flange.
    assumed_rigid : bool
        Whether `carries` was empty.
    known : bool
        Whether at least one of the two parts could be computed from saddle, height and diameter.
    over_saddle_um : float
        Rise of the barrel's axis over its saddle; 0 where it is not known. [um]
    base_um : float
        Rise of what stands between the base and the saddle; 0 where it is not known. [um]
    gearbox_um : float
        What the gearbox axis's own rise takes off (minus its rise). [um]
    rise_um : float
        Sum of the three: the support's rise relative to the gearbox axis. [um]
    barrel_c, base_c : float
        Temperatures used there. [C]
    """

    code: str
    distance_mm: float
    pins: bool
    assumed_rigid: bool
    known: bool
    over_saddle_um: float
    base_um: float
    gearbox_um: float
    rise_um: float
    barrel_c: float
    base_c: float


@dataclass(frozen=True, slots=True)
class UsedTemperatures:
    """Temperatures of the three bodies as the model takes them, and the standard uncertainties beside a common one.

    Attributes
    ----------
    barrel_c, gearbox_c : float [C]
    base_c : float or None
        None: not recorded, so each support's follows from its barrel temperature. [C]
    u_common_k, u_barrel_k, u_base_k, u_gearbox_k, u_oil_k : float
        `u_base_k` holds for a recorded base only; `u_oil_k` is what is not known of the oil's share. [K]
    """

    barrel_c: float
    base_c: float | None
    gearbox_c: float
    u_common_k: float
    u_barrel_k: float
    u_base_k: float
    u_gearbox_k: float
    u_oil_k: float


def assumed_base_c(barrel_c: Celsius, reference_c: Celsius) -> Celsius:
    """Return the base's temperature where it is not recorded: reference + 5 % of the barrel's way above it. [C]"""
    return reference_c + BASE_SHARE * (barrel_c - reference_c)


def used_temperatures(
    geometry: LineGeometry, temperatures: Temperatures, *, warm: bool
) -> tuple[UsedTemperatures, list[str]]:
    """Return the temperatures the model works with and a sentence for each that was assumed.

    Parameters
    ----------
    geometry : LineGeometry
    temperatures : Temperatures
        At least one recorded.
    warm : bool
        Whether the record is warm.

    Returns
    -------
    UsedTemperatures, list of str
    """
    reference = geometry.cold_reference_c
    remarks: list[str] = []
    own_barrel = list(temperatures.support_barrel_c.values())
    barrel_recorded = temperatures.barrel_c is not None or bool(own_barrel)
    if temperatures.barrel_c is not None:
        barrel = temperatures.barrel_c
    elif own_barrel:
        barrel = sum(own_barrel) / len(own_barrel)
    else:
        barrel = reference
        remarks.append(f"no barrel temperature is recorded; it is taken at the cold reference, {reference:g} C")
    oil_u = 0.0
    if temperatures.gearbox_c is None:
        gearbox = reference
        remarks.append(f"no gearbox temperature is recorded; it is taken at the cold reference, {reference:g} C")
    elif temperatures.gearbox_c_at == "oil":
        gearbox = reference + OIL_SHARE * (temperatures.gearbox_c - reference)
        oil_u = OIL_SHARE_U * abs(temperatures.gearbox_c - reference)
        remarks.append(f"the gearbox was read at its oil; its casing is taken at {gearbox:.1f} C on the mean")
    else:
        gearbox = temperatures.gearbox_c
    base = temperatures.base_c
    if base is None and not temperatures.support_base_c:
        remarks.append("no base temperature is recorded; the base is taken to follow the barrel by 5 %")

    bodies = [barrel, gearbox, *own_barrel, *temperatures.support_base_c.values()]
    bodies.append(assumed_base_c(barrel, reference) if base is None else base)
    alike = max(bodies) - min(bodies) <= ALIKE_WITHIN_K
    reading = TEMPERATURE_OWN_U_K if alike else TEMPERATURE_U_K
    unrecorded = UNRECORDED_U_K if warm else reading
    used = UsedTemperatures(
        barrel_c=barrel,
        base_c=base,
        gearbox_c=gearbox,
        u_common_k=TEMPERATURE_U_K if alike else 0.0,
        u_barrel_k=reading if barrel_recorded else unrecorded,
        u_base_k=reading,
        u_gearbox_k=unrecorded if temperatures.gearbox_c is None else reading,
        u_oil_k=oil_u,
    )
    return used, remarks


def gearbox_per_k(geometry: LineGeometry) -> float | None:
    """Return how much the gearbox axis rises over its feet, None without a centre height. [um/K]"""
    if geometry.gearbox_centre_height_mm is None:
        return None
    expansion = geometry.gearbox_expansion_per_k
    return (
        _UM_PER_MM * (GEARBOX_EXPANSION_PER_K if expansion is None else expansion) * geometry.gearbox_centre_height_mm
    )


@dataclass(frozen=True, slots=True)
class SupportSteel:
    """What one support does with heat, whatever its temperatures.

    Attributes
    ----------
    code : str
    distance_mm : float [mm]
    pins, assumed_rigid, known : bool
        As in `SupportRise`.
    saddle_um_per_k, base_um_per_k : float
        Rise of the barrel's axis over its saddle, and of what stands below, a kelvin; 0 where not known. [um/K]
    remarks : tuple of str
        What was assumed or is missing.
    """

    code: str
    distance_mm: float
    pins: bool
    assumed_rigid: bool
    known: bool
    saddle_um_per_k: float
    base_um_per_k: float
    remarks: tuple[str, ...]


def support_steel(support: SupportGeometry, geometry: LineGeometry) -> SupportSteel:
    """Return what one support does with heat.

    Parameters
    ----------
    support : SupportGeometry
    geometry : LineGeometry
        The line it stands on, for its barrel.

    Returns
    -------
    SupportSteel
    """
    name = f"support {support.code}"
    saddle_mm, base_mm, remarks = effective_heights(support, geometry.barrel_outside_diameter_mm)
    barrel_expansion, base_expansion = geometry.barrel_expansion_per_k, support.base_expansion_per_k
    saddle_per_k = BARREL_EXPANSION_PER_K if barrel_expansion is None else barrel_expansion
    base_per_k = BASE_EXPANSION_PER_K if base_expansion is None else base_expansion
    beyond_flange = support.distance_mm > 0.0
    if not beyond_flange:
        remarks.append(f"{name} at {support.distance_mm:g} mm does not lie beyond the flange and is left out")
    if support.carries is None:
        remarks.append(f"{name} is taken as rigid because nothing is recorded of what it carries")
    return SupportSteel(
        code=support.code,
        distance_mm=support.distance_mm,
        pins=support.carries != "floating" and beyond_flange,
        assumed_rigid=support.carries is None,
        known=saddle_mm is not None or base_mm is not None,
        saddle_um_per_k=saddle_per_k * (_UM_PER_MM * (saddle_mm or 0.0)),
        base_um_per_k=base_per_k * (_UM_PER_MM * (base_mm or 0.0)),
        remarks=tuple(remarks),
    )


def effective_heights(
    support: SupportGeometry, barrel_outside_diameter_mm: float | None
) -> tuple[float | None, float | None, list[str]]:
    """Return the steel that lifts the axis over the saddle and below it, None where not known, and remarks.

    Parameters
    ----------
    support : SupportGeometry
    barrel_outside_diameter_mm : float or None [mm]

    Returns
    -------
    float or None, float or None, list of str
        Over the saddle (R / sin(half angle) on a vee, R on a flat or plate, 0 at a centreline mount) and below it
        (the height less that). [mm]

    References
    ----------
    The centre of a circle of radius R tangent to two planes lies R / sin(half their angle) from their meeting line.
    """
    name = f"support {support.code}"
    diameter = barrel_outside_diameter_mm
    over: float | None = None
    remarks: list[str] = []
    if support.saddle is None:
        remarks.append(f"{name}: no saddle is recorded; the barrel's and the base's rise count 0 there")
    elif support.saddle == "centreline":
        over = 0.0
    elif diameter is None:
        remarks.append(
            f"{name}: the barrel's outside diameter is not recorded; the barrel's and the base's rise count 0 there"
        )
    elif support.saddle == "vee":
        angle = support.vee_angle_deg
        if angle is None or not 0.0 < angle < 180.0:
            said = "no vee angle is recorded" if angle is None else f"a vee of {angle:g} degrees cannot be"
            remarks.append(f"{name}: {said}; the barrel's and the base's rise count 0 there")
        else:
            over = diameter / 2.0 / math.sin(math.radians(angle / 2.0))
    else:
        over = diameter / 2.0
    if support.saddle not in (None, "vee") and support.vee_angle_deg is not None:
        remarks.append(f"{name}: a vee angle is recorded on a {support.saddle} saddle; it is not used")
    if over is None:
        return None, None, remarks
    if support.height_mm is None:
        remarks.append(f"{name}: no height is recorded; the base's rise counts 0 there")
        return over, None, remarks
    below = support.height_mm - over
    if below < 0.0:
        remarks.append(
            f"{name}: its height of {support.height_mm:g} mm is less than the {over:.0f} mm from saddle to barrel "
            "axis; the base's rise counts 0 there"
        )
        return over, None, remarks
    return over, below, remarks
