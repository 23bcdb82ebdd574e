"""The reading model of the adjustment written out a second time, one reading after the other, for the tests."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from fleet.measure import Instrument, SurveyReadings

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Plan:
    """Where and how readings are taken; one (station, state, beam roll, target roll) for each reading in turn."""

    distance_mm: list[float]
    steps: list[tuple[int, int, float, float]]


def pairs(distance_mm: list[float]) -> Plan:
    """A reversal pair at every station, the target never turned."""
    return Plan(distance_mm, [(i, 1, roll, 0.0) for i in range(len(distance_mm)) for roll in (0.0, 180.0)])


def single_pass(distance_mm: list[float]) -> Plan:
    """One reading at every station."""
    return Plan(distance_mm, [(i, 1, 0.0, 0.0) for i in range(len(distance_mm))])


def sweeps(distance_mm: list[float], n: int = 4) -> Plan:
    """A full turn of n equally spaced rolls at every station."""
    return Plan(distance_mm, [(i, 1, 360.0 * k / n, 0.0) for i in range(len(distance_mm)) for k in range(n)])


def four_positions(distance_mm: list[float]) -> Plan:
    """Beam 0/180 with target 0/180 at every station, in an order that balances the target over time."""
    turns = ((0.0, 0.0), (0.0, 180.0), (180.0, 180.0), (180.0, 0.0))
    return Plan(distance_mm, [(i, 1, beam, target) for i in range(len(distance_mm)) for beam, target in turns])


def turn(angle_deg: float) -> Array:
    a = radians(angle_deg)
    return np.array([[cos(a), sin(a)], [-sin(a), cos(a)]])


def textbook_design(plan: Plan, instrument: Instrument) -> Array:
    """r = S R(-psi) (c - R(phi) (e + theta x)) + z + d t; columns c per station, e and theta per state, z, d."""
    n, m = len(plan.distance_mm), len(plan.steps)
    states = sorted({state for _, state, _, _ in plan.steps})
    senses = np.diag([float(instrument.sense_v), float(instrument.sense_h)])
    rows = np.zeros((2 * m, 2 * n + 4 * len(states) + 4))
    for i, (station, state, beam, target) in enumerate(plan.steps):
        to_target = senses @ turn(-target)
        to_beam = -senses @ turn(-target) @ turn(beam)
        e = 2 * n + 4 * states.index(state)
        block = rows[2 * i : 2 * i + 2]
        block[:, 2 * station : 2 * station + 2] = to_target
        block[:, e : e + 2] = to_beam
        block[:, e + 2 : e + 4] = to_beam * plan.distance_mm[station] / 1000.0
        block[:, -4:-2] = np.eye(2)
        block[:, -2:] = np.eye(2) * (i / (m - 1) if m > 1 else 0.0)
    return rows


def readings(plan: Plan, v_um: Array, h_um: Array) -> SurveyReadings:
    station, state, beam, target = (np.array(column) for column in zip(*plan.steps, strict=True))
    return SurveyReadings(
        distance_mm=np.array(plan.distance_mm, dtype=np.float64),
        station=station,
        sequence=np.arange(1, len(station) + 1),
        beam_state=state,
        beam_roll_deg=beam.astype(np.float64),
        target_roll_deg=target.astype(np.float64),
        v_um=np.asarray(v_um, dtype=np.float64),
        h_um=np.asarray(h_um, dtype=np.float64),
    )


def readings_of(plan: Plan, instrument: Instrument, truth: Array, noise: Array | None = None) -> SurveyReadings:
    """Readings that the model gives for true parameters in the columns' order, noise (n_readings * 2,) added."""
    shown = textbook_design(plan, instrument) @ truth
    if noise is not None:
        shown = shown + noise
    return readings(plan, shown[0::2], shown[1::2])
