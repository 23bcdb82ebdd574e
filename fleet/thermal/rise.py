"""The heat model: how far each station rises, relative to the gearbox axis, from the cold reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from fleet.thermal.expansion import (
    BARREL_EXPANSION_PER_K,
    BASE_EXPANSION_PER_K,
    GEARBOX_EXPANSION_PER_K,
    length_growth_mm,
)
from fleet.thermal.geometry import LineGeometry, Temperatures, is_warm
from fleet.thermal.parts import (
    BASE_SHARE,
    CAUSES,
    EXP_BARREL,
    EXP_BASE,
    EXP_GEARBOX,
    EXPANSION_SHARE,
    FOLLOWS,
    OF_THE_RECORD,
    OIL,
    T_BARREL,
    T_BASE,
    T_COMMON,
    T_GEARBOX,
    TILT,
    SupportRise,
    SupportSteel,
    UsedTemperatures,
    assumed_base_c,
    gearbox_per_k,
    support_steel,
    used_temperatures,
)
from fleet.thermal.pinned import pinned_weights
from fleet.values import FloatArray, IntArray

TILT_UM_PER_M: Final = 15.0
"""Standard uncertainty of an unrecorded tilt of a warm gearbox (from memory)."""
_ROWS_AT_ONCE: Final = 1 << 16
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
    frame = frame_of(geometry, x)
    used, remarks = used_temperatures(geometry, temperatures, warm=warm)
    one = np.zeros(1, dtype=np.int64)
    got = _at_supports((frame,), one, (temperatures,), (used,))
    stations = frame.weights @ got.causes[0, : len(frame.supports)]
    if warm and not gearbox_level_recorded:
        stations[:, TILT] = TILT_UM_PER_M * x / 1000.0
    remarks += frame.remarks
    growth = _growth_mm(geometry, temperatures, used.barrel_c)
    gearbox_um, u_gearbox = float(got.gearbox_um[0]), float(got.u_gearbox_um[0])
    if not frame.applicable:
        hides = _could_hide_um(geometry, used.barrel_c, used.gearbox_c)
        remark = (
            f"temperatures are recorded, but {_lacking(frame)}: no correction is made, and up to about {hides:.0f} um "
            "of rise could hide here; record the supports with their saddles and heights"
        )
        return _no_correction(x, growth, warm, (remark,), gearbox_um, u_gearbox, frame.gearbox_known)
    covariance = stations @ stations.T
    return Rise(
        v_um=frame.weights @ got.lift_um[0, : len(frame.supports)],
        u_um=np.sqrt(np.diagonal(covariance)),
        covariance=covariance,
        supports=tuple(
            SupportRise(
                code=steel.code,
                distance_mm=steel.distance_mm,
                pins=steel.pins,
                assumed_rigid=steel.assumed_rigid,
                known=steel.known,
                over_saddle_um=float(got.over_saddle_um[0, k]),
                base_um=float(got.base_um[0, k]),
                gearbox_um=-gearbox_um,
                rise_um=float(got.over_saddle_um[0, k] + got.base_um[0, k]) - gearbox_um,
                barrel_c=float(got.barrel_c[0, k]),
                base_c=float(got.base_c[0, k]),
            )
            for k, steel in enumerate(frame.supports)
        ),
        gearbox_rise_um=gearbox_um,
        u_gearbox_rise_um=u_gearbox,
        gearbox_known=frame.gearbox_known,
        length_growth_mm=growth,
        remarks=tuple(remarks),
        applicable=True,
        warm=warm,
    )


@dataclass(frozen=True, slots=True)
class Rises:
    """Rises of stations at records of temperatures, any number of lines together; arrays of one shape.

    Attributes
    ----------
    v_um, u_um : arrays
        As in `Rise`; NaN where the model does not apply. [um]
    u_record_um : array
        The part of `u_um` that differs from record to record, because it comes from reading temperatures; the rest
        (expansions, what oil and base do, tilt) errs alike in all records of the line. [um]
    gearbox_rise_um, u_gearbox_rise_um : arrays
        NaN where the gearbox's rise is not known. [um]
    """

    v_um: FloatArray
    u_um: FloatArray
    u_record_um: FloatArray
    gearbox_rise_um: FloatArray
    u_gearbox_rise_um: FloatArray


@dataclass(frozen=True, slots=True)
class Frame:
    """A line's steel: s supports in order of distance, and how much of each moves every one of n stations.

    Attributes
    ----------
    geometry : LineGeometry
    distance_mm : (n,) array
        Stations. [mm]
    supports : tuple of SupportSteel
    weights : (n, s) array
        Station rise = weights @ support rise.
    gearbox_um_per_k : float
        0 where not known. [um/K]
    gearbox_known, applicable : bool
        As in `Rise`, for a record with temperatures.
    remarks : tuple of str
    """

    geometry: LineGeometry
    distance_mm: FloatArray
    supports: tuple[SupportSteel, ...]
    weights: FloatArray
    gearbox_um_per_k: float
    gearbox_known: bool
    applicable: bool
    remarks: tuple[str, ...]


def frame_of(geometry: LineGeometry, station_distance_mm: FloatArray) -> Frame:
    """Return a line's steel with its stations, ready for any temperatures.

    Parameters
    ----------
    geometry : LineGeometry
    station_distance_mm : (n,) array [mm]

    Returns
    -------
    Frame
    """
    x = np.asarray(station_distance_mm, dtype=np.float64)
    per_k = gearbox_per_k(geometry)
    remarks = [] if per_k is not None else ["the gearbox's centre height is not recorded; its own rise counts 0"]
    supports = tuple(support_steel(s, geometry) for s in sorted(geometry.supports, key=lambda s: s.distance_mm))
    for support in supports:
        remarks += support.remarks
    pins = [k for k, support in enumerate(supports) if support.pins]
    weights = np.zeros((x.size, len(supports)))
    if pins:
        distance, share = _one_per_distance([supports[k] for k in pins], remarks)
        weights[:, pins] = pinned_weights(x, distance) @ share
    return Frame(
        geometry=geometry,
        distance_mm=x,
        supports=supports,
        weights=weights,
        gearbox_um_per_k=per_k or 0.0,
        gearbox_known=per_k is not None,
        applicable=any(supports[k].known for k in pins),
        remarks=tuple(remarks),
    )


def rises(
    frames: Sequence[Frame],
    frame_of_record: IntArray,
    records: Sequence[Temperatures],
    record: IntArray,
    station: IntArray,
) -> Rises:
    """Return the rises of stations at records of temperatures over a whole fleet: `rise` of each, without its words.

    Parameters
    ----------
    frames : sequence of f Frame
    frame_of_record : (r,) int array
        Index of each record's frame.
    records : sequence of r Temperatures
    record, station : (n,) int arrays
        What is wanted: index of the record, and of the station within its frame.

    Returns
    -------
    Rises
        (n,) arrays.

    References
    ----------
    As `rise`.
    """
    shape = record.shape
    if not record.size:
        return Rises(*(np.empty(shape) for _ in range(5)))
    warm = np.array(
        [
            is_warm(t, cold_reference_c=frames[f].geometry.cold_reference_c)
            for t, f in zip(records, frame_of_record.tolist(), strict=True)
        ]
    )
    used = [
        used_temperatures(frames[f].geometry, t, warm=w)[0]
        for t, f, w in zip(records, frame_of_record.tolist(), warm.tolist(), strict=True)
    ]
    got = _at_supports(frames, frame_of_record, records, used)
    recorded = np.array([bool(t.recorded()) for t in records])
    known = recorded & np.array([frame.gearbox_known for frame in frames])[frame_of_record]
    applies = (recorded & np.array([frame.applicable for frame in frames])[frame_of_record])[record]
    first = np.cumsum([0, *(frame.distance_mm.size for frame in frames)])
    row = first[frame_of_record[record]] + station
    x = np.concatenate([frame.distance_mm for frame in frames])[row]
    weights = np.zeros((int(first[-1]), got.lift_um.shape[1]))
    for start, frame in zip(first.tolist(), frames, strict=False):
        n, s = frame.weights.shape
        weights[start : start + n, :s] = frame.weights
    v, squares = np.empty(shape), np.empty((record.size, CAUSES))
    for start in range(0, record.size, _ROWS_AT_ONCE):
        now = slice(start, start + _ROWS_AT_ONCE)
        share, of = weights[row[now]], record[now]
        v[now] = np.einsum("ns,ns->n", share, got.lift_um[of])
        squares[now] = np.einsum("ns,nsc->nc", share, got.causes[of]) ** 2
    squares[:, TILT] = np.where(warm[record], (TILT_UM_PER_M * x / 1000.0) ** 2, 0.0)
    return Rises(
        v_um=np.where(applies, v, np.nan),
        u_um=np.where(applies, np.sqrt(squares.sum(axis=1)), np.nan),
        u_record_um=np.where(applies, np.sqrt(squares[:, OF_THE_RECORD].sum(axis=1)), np.nan),
        gearbox_rise_um=np.where(known, got.gearbox_um, np.nan)[record],
        u_gearbox_rise_um=np.where(known, got.u_gearbox_um, np.nan)[record],
    )


@dataclass(frozen=True, slots=True)
class _AtSupports:
    """What r records come to at up to s supports each (beyond a line's own: 0), and its sensitivities (r, s, 10)."""

    over_saddle_um: FloatArray
    base_um: FloatArray
    lift_um: FloatArray
    causes: FloatArray
    barrel_c: FloatArray
    base_c: FloatArray
    gearbox_um: FloatArray
    u_gearbox_um: FloatArray


def _at_supports(
    frames: Sequence[Frame],
    frame_of_record: IntArray,
    records: Sequence[Temperatures],
    used: Sequence[UsedTemperatures],
) -> _AtSupports:
    r, s = len(records), max(len(frame.supports) for frame in frames)
    steel = np.zeros((2, len(frames), s))
    for k, frame in enumerate(frames):
        for j, support in enumerate(frame.supports):
            steel[:, k, j] = support.saddle_um_per_k, support.base_um_per_k
    saddle_per_k, base_per_k = steel[:, frame_of_record]
    per_k = np.array([frame.gearbox_um_per_k for frame in frames])[frame_of_record]
    reference = np.array([frame.geometry.cold_reference_c for frame in frames])[frame_of_record][:, None]
    table = np.array(
        [
            (
                u.barrel_c, np.nan if u.base_c is None else u.base_c, u.gearbox_c, u.u_common_k, u.u_barrel_k,
                u.u_base_k, u.u_gearbox_k, u.u_oil_k,
            )
            for u in used
        ]
    )  # fmt: skip
    barrel_c, read_c = np.repeat(table[:, :1], s, axis=1), np.repeat(table[:, 1:2], s, axis=1)
    for k, t in enumerate(records):
        if t.support_barrel_c or t.support_base_c:
            for j, support in enumerate(frames[int(frame_of_record[k])].supports):
                barrel_c[k, j] = t.support_barrel_c.get(support.code, barrel_c[k, j])
                read_c[k, j] = t.support_base_c.get(support.code, read_c[k, j])
    gearbox_c, u_common, u_barrel, u_base, u_gearbox, u_oil = (table[:, k, None] for k in range(2, 8))
    follows = np.isnan(read_c)
    base_c = np.where(follows, assumed_base_c(barrel_c, reference), read_c)
    over_saddle, base = saddle_per_k * (barrel_c - reference), base_per_k * (base_c - reference)
    gearbox = per_k[:, None] * (gearbox_c - reference)

    of_gearbox = np.zeros((r, 1, CAUSES))
    of_gearbox[:, :, EXP_GEARBOX] = EXPANSION_SHARE * gearbox
    of_gearbox[:, :, T_COMMON] = per_k[:, None] * u_common
    of_gearbox[:, :, T_GEARBOX] = per_k[:, None] * u_gearbox
    of_gearbox[:, :, OIL] = per_k[:, None] * u_oil
    causes = np.repeat(-of_gearbox, s, axis=1)
    causes[:, :, EXP_BARREL] = EXPANSION_SHARE * over_saddle
    causes[:, :, EXP_BASE] = EXPANSION_SHARE * base
    causes[:, :, T_COMMON] += (saddle_per_k + base_per_k) * u_common
    causes[:, :, T_BARREL] = saddle_per_k * u_barrel
    causes[:, :, T_BASE] = np.where(follows, 0.0, base_per_k * u_base)
    causes[:, :, FOLLOWS] = np.where(follows, base_per_k * BASE_SHARE * np.abs(barrel_c - reference), 0.0)
    return _AtSupports(
        over_saddle_um=over_saddle,
        base_um=base,
        lift_um=over_saddle + base - gearbox,
        causes=causes,
        barrel_c=barrel_c,
        base_c=base_c,
        gearbox_um=gearbox[:, 0],
        u_gearbox_um=np.sqrt((of_gearbox[:, 0] ** 2).sum(axis=1)),
    )


def _one_per_distance(pins: list[SupportSteel], remarks: list[str]) -> tuple[FloatArray, FloatArray]:
    """Return distances (m,) and every pin's share in them (m, pins); supports at one distance count as their mean."""
    distance = np.array([steel.distance_mm for steel in pins])
    if all(here < there for here, there in pairwise(distance.tolist())):
        return distance, np.eye(distance.size)
    unique, where, count = np.unique(distance, return_inverse=True, return_counts=True)
    for at in unique[count > 1]:
        codes = ", ".join(steel.code for steel in pins if steel.distance_mm == at)
        remarks.append(f"supports {codes} stand at the same {at:g} mm; their mean is used")
    return unique, (where == np.arange(unique.size)[:, None]) / count[:, None]


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


def _lacking(frame: Frame) -> str:
    if not frame.supports:
        return "no support is recorded"
    if not any(steel.pins for steel in frame.supports):
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
