"""What a reading is made of: the design matrix of a stack of surveys.

Vectors are (v, h). Turning by an angle a, counter-clockwise looking downstream (up goes to left):

    R(a) = [[cos a, sin a], [-sin a, cos a]]

With the beam turned by phi and the target by psi, a reading at distance x is

    r = S R(-psi) (c - R(phi) (e + theta x)) + z + d t + noise

c the bore centre, e and theta the beam's offset at the flange and its direction, z the target's own zero, d the
wander over the pass, S the senses in the target's own axes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import cosdg, sindg

from fleet.values import FloatArray, IntArray

PER_STATION: Final = 2
PER_BEAM_STATE: Final = 4
PER_SURVEY: Final = 4


@dataclass(frozen=True, slots=True)
class Stack:
    """Surveys of one shape, stacked.

    Attributes
    ----------
    distance_mm
        Stations from the gearbox's face, shape (n_surveys, n_stations), mm.
    station, state
        Index of a reading's station and of its beam state, shape (n_surveys, n_readings).
    sequence
        Sequence numbers as typed, shape (n_surveys, n_readings).
    beam_roll_deg, target_roll_deg
        Shape (n_surveys, n_readings), degrees, + counter-clockwise looking downstream.
    reading_um
        As the instrument showed them, shape (n_surveys, n_readings, 2), um.
    sense
        Shape (n_surveys, 2), +1 bore from beam, -1 beam from bore.
    n_states
        Number of beam states, the same in every survey.
    """

    distance_mm: FloatArray
    station: IntArray
    state: IntArray
    sequence: IntArray
    beam_roll_deg: FloatArray
    target_roll_deg: FloatArray
    reading_um: FloatArray
    sense: FloatArray
    n_states: int


def rotation(angle_deg: FloatArray) -> FloatArray:
    """Return R(a) on (v, h), exact at quarter turns.

    Parameters
    ----------
    angle_deg
        Angles, any shape, degrees, + counter-clockwise looking downstream.

    Returns
    -------
    FloatArray
        Shape (..., 2, 2): R(90) turns (1, 0) into (0, -1), high becomes left.
    """
    cosine, sine = cosdg(angle_deg), sindg(angle_deg)
    return np.stack([np.stack([cosine, sine], axis=-1), np.stack([-sine, cosine], axis=-1)], axis=-2)


def elapsed(sequence: IntArray) -> FloatArray:
    """Return how far through the pass each reading was taken: 0 at the first, 1 at the last.

    Parameters
    ----------
    sequence
        Sequence numbers, shape (n_surveys, n_readings).

    Returns
    -------
    FloatArray
        The same shape; 0 throughout where first and last are equal.
    """
    first = sequence.min(axis=1, keepdims=True)
    span = sequence.max(axis=1, keepdims=True) - first
    return np.asarray((sequence - first) / np.where(span > 0, span, 1), dtype=np.float64)


def design_matrix(stack: Stack) -> FloatArray:
    """Return what each reading's components say about each parameter.

    Parameters
    ----------
    stack
        Surveys of one shape.

    Returns
    -------
    FloatArray
        Shape (n_surveys, n_readings * 2, n_parameters). Rows v, h of each reading in turn. Columns: c (v, h) of each
        station in um, then e (v, h) in um and theta (v, h) in um/m of each beam state, then z (v, h) and d (v, h)
        in um.
    """
    n_surveys, n_readings = stack.station.shape
    n_stations = stack.distance_mm.shape[1]
    n_parameters = PER_STATION * n_stations + PER_BEAM_STATE * stack.n_states + PER_SURVEY
    survey = np.arange(n_surveys)[:, None]
    reading = np.arange(n_readings)[None, :]
    sense = stack.sense[:, None, :, None]
    bore = sense * rotation(-stack.target_roll_deg)
    beam = -sense * rotation(stack.beam_roll_deg - stack.target_roll_deg)
    x_m = (stack.distance_mm[survey, stack.station] / 1000.0)[:, :, None]
    t = elapsed(stack.sequence)

    design = np.zeros((n_surveys, n_readings, 2, n_parameters))
    first_beam = PER_STATION * n_stations
    first_common = first_beam + PER_BEAM_STATE * stack.n_states
    for axis in range(2):
        design[survey, reading, :, PER_STATION * stack.station + axis] = bore[..., axis]
        e_column = first_beam + PER_BEAM_STATE * stack.state + axis
        design[survey, reading, :, e_column] = beam[..., axis]
        design[survey, reading, :, e_column + 2] = beam[..., axis] * x_m
        design[:, :, axis, first_common + axis] = 1.0
        design[:, :, axis, first_common + 2 + axis] = t
    return design.reshape(n_surveys, n_readings * 2, n_parameters)
