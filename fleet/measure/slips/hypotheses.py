"""What may have happened in one survey: every slip that is looked for, as the readings it would have been typed from.

Each possibility carries a prior weight: its kind's, spread evenly over its members, so that a kind with a thousand
members finds an explanation by chance no more easily than a kind with one. A slip that multiplies readings pays for
the room it stretches; one that shrinks them is given nothing for it, because beams are trimmed to read near nought.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.measure.design import rotation
from fleet.measure.slips.model import CheckName
from fleet.measure.survey import SurveyReadings
from fleet.values import AXES, Axis, FloatArray, IntArray

KIND_WEIGHT: Final[dict[CheckName, float]] = {
    "sign_turned": 0.22,
    "unit_mistyped": 0.16,
    "roll_mistyped": 0.14,
    "stations_swapped": 0.12,
    "target_loose": 0.12,
    "beam_disturbed": 0.10,
    "unexplained_residual": 0.04,
    "unlike_forecast": 0.10,
}
"""How often each kind happens among slips: prior weights, adding up to 1 (from memory)."""

STEP_SIZES_UM: Final = (100.0, 10_000.0)
"""Standard sizes of a step in target or beam, um: a knock, or set anew altogether (from memory)."""
LONE_SIZES_UM: Final = (300.0, 30_000.0)
"""Standard sizes by which a reading is off for no known reason, um (from memory)."""
UNLIKE_UM: Final = 500.0
"""Standard size by which a line differs from its forecast for reasons its record does not show (from memory)."""

_THOU_UM: Final = 25.4
UNIT_FACTORS: Final[tuple[tuple[float, str], ...]] = (
    (1000.0, "um written as mm"),
    (1 / 1000.0, "mm written as um"),
    (1000.0 / _THOU_UM, "thou written as mm"),
    (_THOU_UM / 1000.0, "mm written as thou"),
    (_THOU_UM, "um written as thou"),
    (1 / _THOU_UM, "thou written as um"),
    (1000.0 * _THOU_UM, "um written as in"),
    (1 / (1000.0 * _THOU_UM), "in written as um"),
)
"""Typed over true, and in words."""
DECIMAL_FACTORS: Final = (10.0, 0.1, 100.0, 0.01)


@dataclass(frozen=True, slots=True)
class Possibility:
    """One thing that may have happened.

    Attributes
    ----------
    check, cause, axis, station, other_station
        As in `Slip`.
    reading
        Index of the reading it concerns, or of the first one after a step; None where several.
    share
        Weight among its kind before spreading.
    readings
        The survey as it would have been written otherwise.
    extra_um
        A further error of unknown size, shape (n_readings, 2, k), each column times its standard size; or None.
    widen_um
        Standard size by which the expectation may be wrong, shape (n_stations, 2), and whether all stations move
        together; or None.
    together
        Whether `widen_um` is one value for all stations of an axis.
    stretched, stretched_offsets
        Logarithm of the factor times the residual components and times the offsets it stretches.
    """

    check: CheckName
    cause: str
    axis: Axis | None
    station: int | None
    readings: SurveyReadings
    other_station: int | None = None
    reading: int | None = None
    share: float = 1.0
    extra_um: FloatArray | None = None
    widen_um: FloatArray | None = None
    together: bool = False
    stretched: float = 0.0
    stretched_offsets: float = 0.0


def possibilities(survey: SurveyReadings, *, sense: FloatArray, expected: bool) -> list[Possibility]:
    """Return everything that is looked for in one survey.

    Parameters
    ----------
    survey
        The readings as typed.
    sense
        The instrument's senses for v and h, shape (2,).
    expected
        Whether anything was expected of the survey.

    Returns
    -------
    list of Possibility
        Those of one kind adjoining; the shares of a kind are not yet evened out.
    """
    found = [*_signs(survey), *_units(survey), *_rolls(survey), *_swaps(survey), *_steps(survey, sense), *_lone(survey)]
    if expected:
        found += _unlike(survey)
    return found


def log_weights(found: list[Possibility]) -> FloatArray:
    """Return the logarithm of each possibility's prior weight: its kind's, spread over its members by their shares."""
    kinds = [possibility.check for possibility in found]
    share = np.array([possibility.share for possibility in found])
    total = {kind: float(share[[k == kind for k in kinds]].sum()) for kind in set(kinds)}
    weight = np.array([KIND_WEIGHT[kind] / total[kind] for kind in kinds])
    return np.asarray(np.log(weight * share))


def _where(survey: SurveyReadings) -> Iterator[tuple[IntArray, int | None, int | None, float]]:
    """Yield single readings, all readings of a station, and all of the survey, each sort sharing one weight."""
    n_readings, n_stations = len(survey.station), len(survey.distance_mm)
    for i in range(n_readings):
        yield np.array([i]), int(survey.station[i]), i, 0.5 / n_readings
    for s in range(n_stations):
        at = np.flatnonzero(survey.station == s)
        if len(at) > 1:
            yield at, s, None, 0.25 / n_stations
    if n_stations > 1:
        yield np.arange(n_readings), None, None, 0.25


def _scaled(survey: SurveyReadings, at: IntArray, axis: Axis | None, factor: float) -> SurveyReadings:
    v_um, h_um = survey.v_um.copy(), survey.h_um.copy()
    if axis != "h":
        v_um[at] *= factor
    if axis != "v":
        h_um[at] *= factor
    return replace(survey, v_um=v_um, h_um=h_um)


def _signs(survey: SurveyReadings) -> Iterator[Possibility]:
    for at, station, reading, share in _where(survey):
        for axis in (*AXES, None):
            cause = "sense of the axis" if station is None else "sign"
            yield Possibility(
                "sign_turned",
                cause,
                axis,
                station,
                _scaled(survey, at, axis, -1.0),
                reading=reading,
                share=share * (0.4 if axis else 0.2),
            )


def _units(survey: SurveyReadings) -> Iterator[Possibility]:
    n_stations = len(survey.distance_mm)
    for at, station, reading, share in _where(survey):
        alone = reading is not None
        choices: list[tuple[float, str, Axis | None, float]] = [(f, cause, None, 0.06) for f, cause in UNIT_FACTORS]
        if alone:
            choices += [(f, cause, axis, 0.02) for f, cause in UNIT_FACTORS for axis in AXES]
            choices += [(f, "decimal point", axis, 0.02) for f in DECIMAL_FACTORS for axis in AXES]
        for factor, cause, axis, own in choices:
            moved = 1 if axis else 2
            log_factor = float(np.log(factor))
            free = 1 if station is not None else n_stations
            # A lone reading's whole size counts against it; of a station's or a survey's only what the offsets leave.
            residual = moved * (len(at) if alone else len(at) - free)
            if log_factor < 0 and station is not None:
                residual = 0
            yield Possibility(
                "unit_mistyped",
                cause,
                axis,
                station,
                _scaled(survey, at, axis, 1.0 / factor),
                reading=reading,
                share=share * own,
                stretched=log_factor * residual,
                stretched_offsets=0.0 if alone else max(log_factor, 0.0) * moved * free,
            )


def _with_rolls(survey: SurveyReadings, name: str, rolls_deg: FloatArray) -> SurveyReadings:
    if name == "beam_roll_deg":
        return replace(survey, beam_roll_deg=rolls_deg)
    return replace(survey, target_roll_deg=rolls_deg)


def _rolls(survey: SurveyReadings) -> Iterator[Possibility]:
    order = np.argsort(survey.sequence, kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    for name, part in (("beam_roll_deg", 1.0), ("target_roll_deg", 0.5)):
        rolls = np.asarray(getattr(survey, name), dtype=np.float64)
        distinct = np.unique(rolls)
        if len(distinct) < 2:
            continue
        for i, own in enumerate(rolls):
            before = rolls[order[place[i] - 1]] if place[i] > 0 else None
            others = distinct[distinct != own]
            for other in others:
                not_turned = before is not None and other == before
                changed = rolls.copy()
                changed[i] = other
                yield Possibility(
                    "roll_mistyped",
                    "not turned" if not_turned else "another roll",
                    None,
                    int(survey.station[i]),
                    _with_rolls(survey, name, changed),
                    reading=i,
                    share=part * (2.0 if not_turned else 1.0) / len(others) / len(rolls),
                )
        for s in range(len(survey.distance_mm)):
            at = np.flatnonzero(survey.station == s)
            if len(at) == 2 and rolls[at[0]] != rolls[at[1]]:
                changed = rolls.copy()
                changed[at] = rolls[at[::-1]]
                yield Possibility(
                    "roll_mistyped",
                    "rolls changed over",
                    None,
                    s,
                    _with_rolls(survey, name, changed),
                    share=part / len(rolls),
                )


def _swaps(survey: SurveyReadings) -> Iterator[Possibility]:
    for i in range(len(survey.distance_mm)):
        for j in range(i + 1, len(survey.distance_mm)):
            station = np.where(survey.station == i, j, np.where(survey.station == j, i, survey.station))
            yield Possibility(
                "stations_swapped", "stations swapped", None, i, replace(survey, station=station), other_station=j
            )


def _steps(survey: SurveyReadings, sense: FloatArray) -> Iterator[Possibility]:
    order = np.argsort(survey.sequence, kind="stable")
    n_readings = len(order)
    turned = sense[:, None] * rotation(survey.beam_roll_deg - survey.target_roll_deg)
    x_m = survey.distance_mm[survey.station] / 1000.0
    for size_um in STEP_SIZES_UM:
        for k in range(1, n_readings):
            after = np.zeros(n_readings)
            after[order[k:]] = 1.0
            first = int(order[k])
            target = np.eye(2) * after[:, None, None] * size_um
            beam = turned * after[:, None, None] * size_um
            turning = np.concatenate([beam, beam * x_m[:, None, None]], axis=2)
            yield Possibility("target_loose", "step in the target", None, None, survey, reading=first, extra_um=target)
            for beam_um in (beam, turning):
                yield Possibility(
                    "beam_disturbed", "step in the beam", None, None, survey, reading=first, extra_um=beam_um
                )


def _lone(survey: SurveyReadings) -> Iterator[Possibility]:
    for size_um in LONE_SIZES_UM:
        for i, station in enumerate(survey.station):
            for axis in (*AXES, None):
                extra = np.zeros((len(survey.station), 2, 2))
                for a, name in enumerate(AXES):
                    extra[i, a, a] = size_um if axis in (None, name) else 0.0
                yield Possibility(
                    "unexplained_residual", "reading off", axis, int(station), survey, reading=i, extra_um=extra
                )


def _unlike(survey: SurveyReadings) -> Iterator[Possibility]:
    n_stations = len(survey.distance_mm)
    for s in range(n_stations):
        for axis in (*AXES, None):
            widen = np.zeros((n_stations, 2))
            widen[s] = [UNLIKE_UM if axis in (None, name) else 0.0 for name in AXES]
            yield Possibility(
                "unlike_forecast", "moved otherwise", axis, s, survey, widen_um=widen, share=0.5 / (3 * n_stations)
            )
    for together in (True, False):
        for axis in (*AXES, None):
            widen = np.tile([UNLIKE_UM if axis in (None, name) else 0.0 for name in AXES], (n_stations, 1))
            yield Possibility(
                "unlike_forecast",
                "moved otherwise",
                axis,
                None,
                survey,
                widen_um=widen,
                together=together,
                share=0.5 / 6,
            )
