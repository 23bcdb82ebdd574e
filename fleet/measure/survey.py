"""What goes into an adjustment: an instrument's stated uncertainties and one survey's readings, and their checks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import AXES, FloatArray, IntArray

ABSURD: Final = 1e9
"""No roll in degrees and no reading in um reaches this: beyond it rounding would swallow the others."""

HOT_FACTOR: Final = 3.0
"""How many times repeatability and wander count in a bore above 60 C (from memory)."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument's senses and its standard uncertainties, one standard deviation each; defaults from memory.

    Attributes
    ----------
    sense_v, sense_h
        +1 where the instrument shows the bore from the beam, -1 where it shows the beam from the bore, per axis.
    repeatability_um
        A single reading, per axis, re-seating the target included.
    resolution_um
        The step of the display.
    target_zero_um
        The target's own zero error; 0 takes it as perfect.
    beam_offset_um
        How far from the gearbox axis the beam may start at the flange before anything is known of it.
    beam_direction_um_per_m
        How far its direction may be off before anything is known of it.
    wander_um
        What readings may wander over one pass.
    """

    sense_v: int
    sense_h: int
    repeatability_um: float = 10.0
    resolution_um: float = 1.0
    target_zero_um: float = 10.0
    beam_offset_um: float = 200.0
    beam_direction_um_per_m: float = 200.0
    wander_um: float = 4.0


@dataclass(frozen=True, slots=True)
class SurveyReadings:
    """One survey's readings as the instrument showed them.

    Attributes
    ----------
    distance_mm
        Stations from the gearbox's mounting face, + toward the discharge end, shape (n_stations,), mm.
    station
        Index into `distance_mm` of each reading, shape (n_readings,).
    sequence
        Sequence numbers as typed, shape (n_readings,); readings need not be in their order.
    beam_state
        Beam state of each reading, any whole numbers, shape (n_readings,).
    beam_roll_deg, target_roll_deg
        Rolls of beam and target, shape (n_readings,), degrees, + counter-clockwise looking downstream.
    v_um, h_um
        Readings in the instrument's own signs, shape (n_readings,), um.
    """

    distance_mm: FloatArray
    station: IntArray
    sequence: IntArray
    beam_state: IntArray
    beam_roll_deg: FloatArray
    target_roll_deg: FloatArray
    v_um: FloatArray
    h_um: FloatArray


def check_instrument(instrument: Instrument) -> None:
    """Refuse an instrument that no reading can be reduced with.

    Parameters
    ----------
    instrument
        The instrument's record.

    Raises
    ------
    InputError
        A sense is not +1 or -1, a standard uncertainty is negative or not finite, or a reading would have no noise.
    """
    for axis, sense in zip(AXES, (instrument.sense_v, instrument.sense_h), strict=True):
        if sense not in (1, -1):
            raise InputError(
                f"The instrument's sense for {axis} is {sense!r}; give +1 (bore from beam) or -1 (beam from bore)."
            )
    stated = {
        "repeatability": instrument.repeatability_um,
        "resolution": instrument.resolution_um,
        "target zero": instrument.target_zero_um,
        "beam offset": instrument.beam_offset_um,
        "beam direction": instrument.beam_direction_um_per_m,
        "wander": instrument.wander_um,
    }
    for name, value in stated.items():
        if not (math.isfinite(value) and value >= 0):
            raise InputError(f"The instrument's {name} is {value}; give a finite number of micrometres, 0 or more.")
    if instrument.repeatability_um == 0 and instrument.resolution_um == 0:
        raise InputError(
            "The instrument has neither repeatability nor resolution, so its readings could not be weighed; "
            "record at least one of them above 0."
        )


def check_readings(readings: SurveyReadings) -> None:
    """Refuse readings that no offset can be computed from.

    Parameters
    ----------
    readings
        One survey's readings.

    Raises
    ------
    InputError
        There are no readings, columns differ in length, a value is not finite, a station index points nowhere, or a
        station has no reading.
    """
    n_readings = len(readings.station)
    if n_readings == 0:
        raise InputError("The survey has no readings; enter at least one reading at every station.")
    columns = {
        "sequence": readings.sequence,
        "beam_state": readings.beam_state,
        "beam_roll_deg": readings.beam_roll_deg,
        "target_roll_deg": readings.target_roll_deg,
        "v_um": readings.v_um,
        "h_um": readings.h_um,
    }
    for name, column in columns.items():
        if column.shape != (n_readings,):
            raise InputError(f"'{name}' has the shape {column.shape} beside {n_readings} readings; give one for each.")
    for name in ("beam_roll_deg", "target_roll_deg", "v_um", "h_um"):
        finite = np.isfinite(columns[name])
        if not finite.all():
            place = int(np.flatnonzero(~finite)[0])
            raise InputError(
                f"'{name}' of the reading with sequence {readings.sequence[place]} is {columns[name][place]}; "
                "enter a finite number or leave the reading out."
            )
        absurd = np.abs(columns[name]) > ABSURD
        if absurd.any():
            place = int(np.flatnonzero(absurd)[0])
            raise InputError(
                f"'{name}' of the reading with sequence {readings.sequence[place]} is {columns[name][place]:g}, which "
                "no instrument shows; check the number and its unit."
            )
    if not np.isfinite(readings.distance_mm).all():
        place = int(np.flatnonzero(~np.isfinite(readings.distance_mm))[0])
        raise InputError(
            f"The distance of station number {place + 1} is {readings.distance_mm[place]}; record its distance in mm."
        )
    n_stations = len(readings.distance_mm)
    low, high = int(readings.station.min()), int(readings.station.max())
    if low < 0 or high >= n_stations:
        wrong = low if low < 0 else high
        raise InputError(f"A reading is for station index {wrong}, but there are {n_stations} stations; correct it.")
    read = np.bincount(readings.station, minlength=n_stations)
    if not read.all():
        place = int(np.flatnonzero(read == 0)[0])
        raise InputError(
            f"The station at {readings.distance_mm[place]:g} mm has no readings; read it or leave it out of the survey."
        )
