"""The heat model: how far each station rises, relative to the gearbox axis, from the cold reference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.thermal.expansion import (
    BARREL_EXPANSION_PER_K,
    BASE_EXPANSION_PER_K,
    GEARBOX_EXPANSION_PER_K,
    length_growth_mm,
)
from fleet.thermal.geometry import LineGeometry, Temperatures, is_warm
from fleet.thermal.parts import CAUSES, TILT, SupportRise, gearbox_part, support_part, used_temperatures
from fleet.thermal.pinned import pinned_weights
from fleet.values import FloatArray

TILT_UM_PER_M: Final = 15.0
"""Standard uncertainty of an unrecorded tilt of a warm gearbox (from memory)."""
# Sizes a line could well have, where its own are not recorded: only for saying how much could hide.
_USUAL_DIAMETER_MM: Final = 200.0
_USUAL_HEIGHT_MM: Final = 600.0


@dataclass(frozen=True, slots=True)
class Rise:
    """Rise of every station relative to the gearbox axis, from the cold reference to the temperatures given.

    Attributes
    ----------
    v_um, u_um : (n,) arrays
        Rise and its standard uncertainty; h does not change by this model. [um]
    covariance : (n, n) array
        Of `v_um`; stations share the causes of error, so they are correlated. [um^2]
    supports : tuple of SupportRise
        In order of distance; empty where the model does not apply.
    gearbox_rise_um, u_gearbox_rise_um : float
        The gearbox axis's own rise over its feet, for checks made relative to the floor. [um]
    gearbox_known : bool
        False: no temperature or no centre height is recorded, so that rise counts 0 without being known. A check
        relative to the floor has then no modelled gearbox rise to take off (hand it NaN).
    length_growth_mm : float or None
        Lengthways growth of the barrel, None where length or temperature is missing. [mm]
    remarks : tuple of str
        Sentences: what was assumed, what is missing, and how much could hide there.
    applicable : bool
        False: no correction is made (`v_um`, `u_um`, `covariance` are zero) and `remarks` says why.
    warm : bool
        Whether the record was taken as warm.
    """

    v_um: FloatArray
    u_um: FloatArray
    covariance: FloatArray
    supports: tuple[SupportRise, ...]
    gearbox_rise_um: float
    u_gearbox_rise_um: float
    gearbox_known: bool
    length_growth_mm: float | None
    remarks: tuple[str, ...]
    applicable: bool
    warm: bool


def rise(
    geometry: LineGeometry,
    temperatures: Temperatures,
    station_distance_mm: FloatArray,
    *,
    warm_record: bool | None = None,
    gearbox_level_recorded: bool = False,
) -> Rise:
    """Return the rise of every station relative to the gearbox axis, by the heat model.

    A rigid support lifts the barrel's axis by its expansion over the saddle (radius on a flat saddle or plate, radius
    over the sine of half the included angle on a vee, nothing at a centreline mount) and by the expansion of what
    stands below; the gearbox axis's own rise over its feet is taken off. The barrel stands still at the flange
    (the gearbox's mounting face, distance 0), runs straight through the rigid supports and straight on beyond the last.

    Temperatures not recorded: base at the reference + 5 % of the barrel's way above it (standard uncertainty as
    large, in place of the 3 K of a reading); gearbox, or barrel, at the reference (+- 10 K on a warm record). An oil
    temperature counts 0.6 +- 0.2 of its way above the reference. Expansions are uncertain by 5 % each, the base's one
    cause for all supports. A part whose saddle, height, angle or diameter is missing counts 0, with a remark.

    Parameters
    ----------
    geometry : LineGeometry
    temperatures : Temperatures
    station_distance_mm : (n,) array
        Distances of the stations from the gearbox's mounting face. [mm]
    warm_record : bool or None
        Whether the record is warm (a gearbox warmed unevenly tilts: 15 um/m); None: by `is_warm`.
    gearbox_level_recorded : bool
        Whether the gearbox's level was read with the record, which takes the tilt's uncertainty away.

    Returns
    -------
    Rise
        With `applicable` False, zeros and a remark, where there is no temperature, no rigid support, or none of whose
        saddle or height anything is known.

    References
    ----------
    Linear expansion; a circle in a vee has its centre R / sin(half the included angle) above the apex.
    Uncertainty by the law of propagation, JCGM 100:2008, 5.2.
    """
    x = np.asarray(station_distance_mm, dtype=np.float64)
    warm = is_warm(temperatures, cold_reference_c=geometry.cold_reference_c) if warm_record is None else warm_record
    if not temperatures.recorded():
        return _no_correction(x, None, warm, (), 0.0, 0.0, False)
    used, remarks = used_temperatures(geometry, temperatures, warm=warm)
    growth = _growth_mm(geometry, temperatures, used.barrel_c)
    gearbox_um, gearbox_causes, said = gearbox_part(geometry, used)
    u_gearbox = float(np.sqrt(gearbox_causes @ gearbox_causes))
    gearbox_known = geometry.gearbox_centre_height_mm is not None
    remarks += said
    parts: list[SupportRise] = []
    pins: list[tuple[SupportRise, FloatArray]] = []
    for support in sorted(geometry.supports, key=lambda s: s.distance_mm):
        part, causes, said = support_part(support, geometry, temperatures, used, gearbox_um, gearbox_causes)
        remarks += said
        parts.append(part)
        if part.pins:
            pins.append((part, causes))
    if not any(part.known for part, _ in pins):
        lacking = _lacking(geometry, parts)
        hides = _could_hide_um(geometry, used.barrel_c, used.gearbox_c)
        remark = (
            f"temperatures are recorded, but {lacking}: no correction is made, and up to about {hides:.0f} um of rise "
            "could hide here; record the supports with their saddles and heights"
        )
        return _no_correction(x, growth, warm, (remark,), gearbox_um, u_gearbox, gearbox_known)
    distances, lifts, sensitivities = _one_per_distance(pins, remarks)
    weights = pinned_weights(x, distances)
    stations = weights @ sensitivities
    if warm and not gearbox_level_recorded:
        stations[:, TILT] = TILT_UM_PER_M * x / 1000.0
    covariance = stations @ stations.T
    return Rise(
        v_um=weights @ lifts,
        u_um=np.sqrt(np.diagonal(covariance)),
        covariance=covariance,
        supports=tuple(parts),
        gearbox_rise_um=gearbox_um,
        u_gearbox_rise_um=u_gearbox,
        gearbox_known=gearbox_known,
        length_growth_mm=growth,
        remarks=tuple(remarks),
        applicable=True,
        warm=warm,
    )


def _one_per_distance(
    pins: list[tuple[SupportRise, FloatArray]], remarks: list[str]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return distances (m,), rises (m,) and sensitivities (m, 8); supports at one distance count as their mean."""
    distance = np.array([part.distance_mm for part, _ in pins])
    lift = np.array([part.rise_um for part, _ in pins])
    causes = np.array([c for _, c in pins]).reshape(len(pins), CAUSES)
    if (np.diff(distance) > 0.0).all():
        return distance, lift, causes
    unique, where, count = np.unique(distance, return_inverse=True, return_counts=True)
    for at in unique[count > 1]:
        codes = ", ".join(part.code for part, _ in pins if part.distance_mm == at)
        remarks.append(f"supports {codes} stand at the same {at:g} mm; their mean is used")
    mean = (where == np.arange(unique.size)[:, None]) / count[:, None]
    return unique, mean @ lift, mean @ causes


def _no_correction(
    x: FloatArray,
    growth_mm: float | None,
    warm: bool,
    remarks: tuple[str, ...],
    gearbox_um: float,
    u_gearbox_um: float,
    gearbox_known: bool,
) -> Rise:
    return Rise(
        v_um=np.zeros(x.size),
        u_um=np.zeros(x.size),
        covariance=np.zeros((x.size, x.size)),
        supports=(),
        gearbox_rise_um=gearbox_um,
        u_gearbox_rise_um=u_gearbox_um,
        gearbox_known=gearbox_known,
        length_growth_mm=growth_mm,
        remarks=remarks,
        applicable=False,
        warm=warm,
    )


def _growth_mm(geometry: LineGeometry, temperatures: Temperatures, barrel_c: float) -> float | None:
    barrel_recorded = temperatures.barrel_c is not None or bool(temperatures.support_barrel_c)
    if geometry.barrel_length_mm is None or not barrel_recorded:
        return None
    expansion = geometry.barrel_expansion_per_k
    return length_growth_mm(
        length_mm=geometry.barrel_length_mm,
        temperature_c=barrel_c,
        reference_c=geometry.cold_reference_c,
        expansion_per_k=BARREL_EXPANSION_PER_K if expansion is None else expansion,
    )


def _lacking(geometry: LineGeometry, parts: list[SupportRise]) -> str:
    if not geometry.supports:
        return "no support is recorded"
    if not any(part.pins for part in parts):
        return "no support carries the barrel rigidly beyond its flange"
    return "no rigid support has a saddle and height to apply them to"


def _could_hide_um(geometry: LineGeometry, barrel_c: float, gearbox_c: float) -> float:
    """Return the larger of what the barrel and base, or the gearbox, would do on a line of usual size. [um]"""
    diameter = geometry.barrel_outside_diameter_mm or _USUAL_DIAMETER_MM
    height = geometry.gearbox_centre_height_mm or _USUAL_HEIGHT_MM
    barrel_k = barrel_c - geometry.cold_reference_c
    gearbox_k = gearbox_c - geometry.cold_reference_c
    over = diameter / 2.0 * np.sqrt(2.0)  # on a vee of 90 degrees, the most that a usual saddle gives
    barrel = BARREL_EXPANSION_PER_K * over * barrel_k
    base = BASE_EXPANSION_PER_K * height * 0.05 * barrel_k
    gearbox = GEARBOX_EXPANSION_PER_K * height * gearbox_k
    return 1000.0 * float(max(abs(barrel + base), abs(gearbox), abs(barrel + base - gearbox)))
