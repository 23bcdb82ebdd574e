"""Slips in a pass that is typed: looked for once for the same numbers, and told apart by trying each sign by itself."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace
from functools import lru_cache

import numpy as np

from fleet.measure import Instrument, SurveyReadings
from fleet.measure.slips import Expected, Slip, find_slips
from fleet.measure.slips.quiet import looks_odd
from fleet.values import AXES, Axis

_REMEMBERED = 512


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A pass as it is asked about; two are the same where every number is."""

    readings: SurveyReadings
    instrument: Instrument
    hot: bool
    expected: Expected | None
    digest: bytes = field(init=False)

    def __post_init__(self) -> None:
        arrays = [*astuple(self.readings)]
        if self.expected is not None:
            arrays += [self.expected.offset_um, self.expected.u_um]
        told = hashlib.sha256(repr((self.instrument, self.hot, self.expected is None)).encode())
        for array in arrays:
            told.update(np.ascontiguousarray(array).tobytes())
            told.update(str(np.shape(array)).encode())
        object.__setattr__(self, "digest", told.digest())

    def __hash__(self) -> int:
        return hash(self.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Question) and self.digest == other.digest


@lru_cache(maxsize=_REMEMBERED)
def slips_in(question: Question) -> tuple[Slip, ...]:
    """Return what does not fit; the answer depends on nothing but the numbers, so it is remembered."""
    return find_slips(question.readings, question.instrument, hot=question.hot, expected=question.expected)


def reading_um(readings: SurveyReadings, place: int, axis: Axis) -> float:
    """Return one number of a reading as the instrument showed it. [um]"""
    return float((readings.v_um if axis == "v" else readings.h_um)[place])


def sign_turned(readings: SurveyReadings, place: int, axis: Axis) -> SurveyReadings:
    """Return readings with the sign of one number turned."""
    values = np.array(readings.v_um if axis == "v" else readings.h_um, dtype=np.float64)
    values[place] = -values[place]
    return replace(readings, v_um=values) if axis == "v" else replace(readings, h_um=values)


def signs_that_settle(question: Question, readings: Sequence[int]) -> list[tuple[int, Axis]]:
    """Return which single signs, turned by themselves, would leave nothing odd in the pass.

    Parameters
    ----------
    question : the pass
    readings : which of its readings are tried, by place

    Returns
    -------
    place of the reading and axis
    """
    tried: list[tuple[int, Axis]] = []
    turned: list[tuple[SurveyReadings, Instrument, bool]] = []
    for place in readings:
        for axis in AXES:
            if reading_um(question.readings, place, axis) != 0.0:
                tried.append((place, axis))
                turned.append((sign_turned(question.readings, place, axis), question.instrument, question.hot))
    if not turned:
        return []
    odd = looks_odd(turned, [question.expected] * len(turned))
    return [each for each, still in zip(tried, odd.tolist(), strict=True) if not still]
