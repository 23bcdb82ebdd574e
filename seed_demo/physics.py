"""How an invented line grows and moves, and what an instrument shows of it; written for the demo alone."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from seed_demo.plant import BFB, Instrument, Machine
from seed_demo.writing import typed_um

Floats = NDArray[np.float64]

BARREL_PER_K, GEARBOX_PER_K, BASE_PER_K, COLD_C = 12.1e-6, 11.0e-6, 11.0e-6, 20.0
_UNSTATED: Final = {
    "repeatability": 10.0,
    "target_zero": 10.0,
    "beam_offset": 200.0,
    "beam_direction": 200.0,
    "wander": 4.0,
}


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Barrel, gearbox casing and base, mean over the line [C]."""

    barrel_c: float
    gearbox_c: float
    base_c: float


@dataclass(frozen=True, slots=True)
class Shot:
    """One reading as the instrument shows it [um], already rounded to what it displays in its unit."""

    station: int
    beam_state: int
    beam_roll: int
    target_roll: int
    v_um: float
    h_um: float


def along(machine: Machine, at_supports: dict[str, float], distance_mm: Floats) -> Floats:
    """Return a profile: 0 at the flange, straight between the given supports, straight on beyond the last."""
    points = [(0.0, 0.0)] + [(s.distance_mm, at_supports[s.code]) for s in machine.supports if s.code in at_supports]
    x, y = np.array([p[0] for p in points]), np.array([p[1] for p in points])
    beyond = y[-1] + (y[-1] - y[-2]) / (x[-1] - x[-2]) * (distance_mm - x[-1])
    profile: Floats = np.where(distance_mm > x[-1], beyond, np.interp(distance_mm, x, y))
    return profile


def gearbox_rise(machine: Machine, at: Temperatures, factor: float = 1.0) -> float:
    """Return how far the gearbox axis has risen over the floor since cold [um]."""
    return factor * GEARBOX_PER_K * machine.centre_height_mm * 1e3 * (at.gearbox_c - COLD_C)


def rise(
    machine: Machine, distance_mm: Floats, at: Temperatures, *, barrel_factor: float = 1.0, gearbox_factor: float = 1.0
) -> Floats:
    """Return the rise of the bore over the gearbox axis since cold at the given distances [um].

    The barrel grows from its saddle up, by its radius over the sine of half the vee's angle; the base under it grows
    too, and the gearbox's axis is subtracted. Floating supports follow.
    """
    radius = machine.outside_mm / 2
    lift: dict[str, float] = {}
    for support in machine.supports:
        if support.carries == "floating":
            continue
        arm = {"vee": radius / sin(radians((support.vee_angle_deg or 90) / 2)), "flat": radius, "centreline": 0.0}[
            support.saddle
        ]
        barrel = barrel_factor * BARREL_PER_K * arm * (at.barrel_c - COLD_C)
        base = BASE_PER_K * (support.height_mm - arm) * (at.base_c - COLD_C)
        lift[support.code] = (barrel + base) * 1e3 - gearbox_rise(machine, at, gearbox_factor)
    return along(machine, lift, distance_mm)


def turned(degrees: float) -> Floats:
    """Return the matrix that turns (v, h) counter-clockwise, seen looking downstream: high becomes left."""
    a = radians(degrees)
    return np.array([[cos(a), sin(a)], [-sin(a), cos(a)]])


def drift(
    share: Floats, years: float, *, rate_um_per_year: float, wander_um: float, rng: np.random.Generator
) -> Floats:
    """Return the movement of stations over a stretch of use [um].

    The barrel turns about its flange; a little is each station's own.

    Parameters
    ----------
    share : ndarray, shape (n_stations,)
        Distance over the last support's distance.
    years : float
        Use over the stretch, in years of ordinary use.
    rate_um_per_year, wander_um : float
        Drift rate and Brownian wander after one year at the last support. [um]
    """
    together = rate_um_per_year * years + wander_um * np.sqrt(years) * rng.standard_normal()
    own = 0.15 * wander_um * np.sqrt(years) * rng.standard_normal(len(share))
    moved: Floats = share * (together + own)
    return moved


def _schedule(scheme: str, n: int) -> list[tuple[int, int, int, int]]:
    """Return (station, beam state, beam roll, target roll) in the order read; the first station closes the pass."""
    rolls = {
        "pairs": [(0, 0), (180, 0)],
        "four": [(0, 0), (180, 0), (180, 180), (0, 180)],
        "sweep": [(0, 0), (90, 0), (180, 0), (270, 0)],
        "single": [(0, 0)],
        "trimmed": [(0, 0)],
    }[scheme]
    order = [*range(n), 0]
    if scheme != "trimmed":
        closing = [(0, 0), (180, 0)] if scheme == "sweep" else rolls
        return [(s, 1, b, t) for s in range(n) for b, t in rolls] + [(0, 1, b, t) for b, t in closing]
    setting = [(s, 1, b, 0) for s in (0, n - 1) for b in (0, 180)]
    return setting + [(n - 1, 2, 180, 0)] + [(s, 2, 0, 0) for s in order]


def shoot(
    instrument: Instrument,
    scheme: str,
    unit: str,
    distance_mm: Floats,
    centre_v_um: Floats,
    centre_h_um: Floats,
    rng: np.random.Generator,
    *,
    beam_v_um: float | None = None,
    hot: bool = False,
) -> list[Shot]:
    """Return the readings of one survey.

    The beam misses the gearbox's axis by an eccentricity and a direction drawn from the instrument's standard
    uncertainties (or is given: `beam_v_um` straight along the axis), the target has a zero error, and all of it wanders
    over the pass. A trimmed beam begins untrimmed and then keeps a small remainder.
    """

    def sd(name: str, stated: float | None) -> float:
        return _UNSTATED[name] if stated is None else stated

    e_sd, t_sd = sd("beam_offset", instrument.beam_offset_um), sd("beam_direction", instrument.beam_direction_um_per_m)
    scale = 2.0 if hot else 1.0
    e = {1: rng.normal(0, e_sd, 2), 2: rng.normal(0, 9.0, 2)}
    theta = {1: rng.normal(0, t_sd, 2), 2: rng.normal(0, 4.0, 2)}
    if beam_v_um is not None:
        e[1], theta[1] = np.array([beam_v_um, 0.2 * beam_v_um]), np.zeros(2)
    zero = rng.normal(0, sd("target_zero", instrument.target_zero_um), 2)
    wander = rng.normal(0, scale * sd("wander", instrument.wander_um), 2)
    sense = np.array([1.0 if s == BFB else -1.0 for s in (instrument.sense_v, instrument.sense_h)])
    plan = _schedule(scheme, len(distance_mm))
    shots = []
    for number, (station, state, beam, target) in enumerate(plan):
        miss = turned(beam) @ (e[state] + theta[state] * distance_mm[station] / 1e3)
        centre = np.array([centre_v_um[station], centre_h_um[station]])
        noise = rng.normal(0, scale * sd("repeatability", instrument.repeatability_um), 2)
        shown = sense * (turned(-target) @ (centre - miss)) + zero + wander * number / (len(plan) - 1) + noise
        v, h = (float(typed_um(round(x / instrument.resolution_um) * instrument.resolution_um, unit)) for x in shown)
        shots.append(Shot(station, state, beam, target, v, h))
    return shots


def by_hand(shots: list[Shot], instrument: Instrument, n: int) -> tuple[Floats, Floats]:
    """Return the offsets a technician works out on the spot.

    Signs put right, the target turned back, the readings of the last beam state averaged station by station.
    """
    sense = np.array([1.0 if s == BFB else -1.0 for s in (instrument.sense_v, instrument.sense_h)])
    state = max(shot.beam_state for shot in shots)
    sums, count = np.zeros((n, 2)), np.zeros((n, 1))
    for shot in shots:
        if shot.beam_state == state:
            sums[shot.station] += turned(shot.target_roll) @ (sense * np.array([shot.v_um, shot.h_um]))
            count[shot.station] += 1
    mean = sums / count
    return mean[:, 0], mean[:, 1]
