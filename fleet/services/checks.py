"""Slips noticed in the record: from a survey's readings, from what was expected of it, and from what hangs beside it.

A check never changes a value. What the readings alone tell is kept with their reduction; what the rest of the record
says against a survey is worked out anew when that record has moved on.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from scipy.special import stdtrit

from fleet.measure.slips import Expected, Slip, find_entered_slips, find_slips
from fleet.profile import expected_response
from fleet.profile.response import RESPONSE_U
from fleet.reports.check_words import CheckFacts
from fleet.services.expectation import COMMON_SHARE, EXPECTED_DOF, Expectation, expectations
from fleet.services.kept import Kept
from fleet.services.plant import StationInfo, SupportInfo
from fleet.services.readings import instrument_of, is_hot, survey_readings
from fleet.services.series import FleetSeries
from fleet.store import queries
from fleet.values import AXES, NORMAL_95, Axis, FloatArray
from fleet.words import NBSP, day

Checks = dict[int, tuple[CheckFacts, ...]]
"""What was noticed, by id of the survey."""

WARM_K: Final = 10.0
"""A cold survey this far above the cold reference is still warm; the heat model's own bound."""
_ODD: Final = 1e-3
"""Chance that a survey of which nothing is wrong is looked into against what was expected of it."""
_MOVE_U_UM: Final = 10.0
"""How well a move is made and read off the screw or the shim, one standard deviation (from memory)."""
_NOT_ANSWERING: Final = 3.5
"""How many standard uncertainties an answer has to miss the move by; and it has to be less than half of it."""
_KEPT: Kept[Checks] = Kept()


def slips_as_text(slips: Sequence[Slip], stations: Sequence[StationInfo]) -> str | None:
    """Return slips as the store keeps them, stations by their codes; None where nothing was noticed."""
    return json.dumps([asdict(facts_of(slip, stations)) for slip in slips]) if slips else None


def facts_of(slip: Slip, stations: Sequence[StationInfo]) -> CheckFacts:
    """Return what a slip says with the plant's own codes in place of numbers."""
    values = asdict(slip)
    for name in ("station", "other_station"):
        values[name] = None if values[name] is None else stations[values[name]].code
    return CheckFacts(**values)


def current_checks(record: queries.Record, fleet: FleetSeries) -> Checks:
    """Return everything noticed in the signed surveys of the record, worked out once per version of the facts.

    Parameters
    ----------
    record : open session of `Store.read()`
    fleet : the record brought to series as of today, which says what was to be expected
    """
    return _KEPT.of(record, fleet.as_of, lambda: _checks(record, fleet))


def checks_at_hand(record: queries.Record) -> Checks:
    """Return what this process noticed last, however old; for a page that says that it is older."""
    return _KEPT.newest(record) or {}


def _checks(record: queries.Record, fleet: FleetSeries) -> Checks:
    surveys = queries.surveys_measured(record)
    moves = queries.moves_made(record)
    expectation = expectations(fleet, moves)
    noticed: defaultdict[int, list[CheckFacts]] = defaultdict(list)
    rows_of = _rows_by_survey(fleet)
    odd = _odd_surveys(fleet, expectation)
    ids: list[int] = []
    for row in surveys:
        rows = rows_of.get((row.session_id, row.number))
        stored = [CheckFacts(**{**held, "also": tuple(held["also"])}) for held in json.loads(row.checks or "[]")]
        if rows is not None and (stored or (row.session_id, row.number) in odd):
            ids.append(row.id)
        else:
            noticed[row.id] += stored
    by_id = {row.id: row for row in surveys}
    for survey_id, found in _against_expected(record, fleet, expectation, [by_id[i] for i in ids], rows_of).items():
        noticed[survey_id] += found
    _calibrations(record, fleet, surveys, noticed)
    _warm(fleet, surveys, noticed)
    _supports(fleet, surveys, moves, rows_of, noticed)
    return {survey_id: tuple(facts) for survey_id, facts in noticed.items() if facts}


def _rows_by_survey(fleet: FleetSeries) -> dict[tuple[int, int], list[int]]:
    """Return the rows of `fleet.measured` of every survey, by session id and number; v rows before h rows."""
    grouped: dict[tuple[int, int], list[int]] = defaultdict(list)
    measured = fleet.measured
    for row, (session, number) in enumerate(zip(measured.session.tolist(), measured.number.tolist(), strict=True)):
        grouped[fleet.sessions[session].id, number].append(row)
    return grouped


def _odd_surveys(fleet: FleetSeries, expectation: Expectation) -> set[tuple[int, int]]:
    """Return the surveys, by session id and number, that lie unlike what was expected of them."""
    measured = fleet.measured
    if measured.value_um.size == 0:
        return set()
    spread = np.sqrt(expectation.var_um2 + measured.var_um2)
    away = np.abs(measured.value_um - expectation.value_um) / spread
    survey = np.stack([measured.session, measured.number], axis=1)
    keys, of, count = np.unique(survey, axis=0, return_inverse=True, return_counts=True)
    bound = -stdtrit(EXPECTED_DOF, _ODD / 2.0 / count)
    odd = np.zeros(len(keys), dtype=np.bool_)
    np.logical_or.at(odd, of.ravel(), np.nan_to_num(away) > bound[of.ravel()])
    return {(fleet.sessions[int(session)].id, int(number)) for session, number in keys[odd]}


def _against_expected(
    record: queries.Record,
    fleet: FleetSeries,
    expectation: Expectation,
    surveys: Sequence[Any],
    rows_of: dict[tuple[int, int], list[int]],
) -> Checks:
    """Look into the few surveys that seem odd, readings and expectation together."""
    if not surveys:
        return {}
    wanted = [row.id for row in surveys]
    read: dict[int, list[Any]] = defaultdict(list)
    for row in queries.readings_of(record, wanted):
        read[row.survey_id].append(row)
    surveyed: dict[int, dict[int, Any]] = defaultdict(dict)
    for row in queries.reduced_offsets(record, wanted):
        surveyed[row.survey_id][row.station_id] = row
    instruments = {row.id: instrument_of(row) for row in queries.instruments(record)}
    stations = {station.id: station for group in fleet.plant.stations.values() for station in group}
    found: Checks = {}
    for row in surveys:
        expected_at = _expected_at(fleet, expectation, rows_of[row.session_id, row.number], surveyed[row.id])
        instrument = instruments.get(row.instrument_id)
        if row.id in read and instrument is not None:
            readings, at = survey_readings(read[row.id], stations)
            hot = is_hot(row.barrel_c)
            slips = find_slips(readings, instrument, hot=hot, expected=_expected(expected_at, at))
        else:
            at = tuple(stations[i] for i in surveyed[row.id])
            offsets = surveyed[row.id].values()
            slips = find_entered_slips(
                np.array([(o.v_um, o.h_um) for o in offsets], dtype=np.float64),
                np.array([(o.u_v_um, o.u_h_um) for o in offsets], dtype=np.float64),
                expected=_expected(expected_at, at),
                distance_mm=np.array([station.distance_mm for station in at], dtype=np.float64),
            )
        found[row.id] = tuple(facts_of(slip, at) for slip in slips)
    return found


def _expected_at(
    fleet: FleetSeries, expectation: Expectation, rows: Iterable[int], surveyed: dict[int, Any]
) -> dict[tuple[int, int], tuple[float, float]]:
    """Return expected offset as surveyed and its variance, by station id and axis."""
    expected = {}
    for row in rows:
        series = int(fleet.measured.series[row])
        station, axis = fleet.stations[fleet.of_station[series]].id, int(fleet.series.axis[series])
        value, variance = float(expectation.value_um[row]), float(expectation.var_um2[row])
        own = surveyed[station]
        if axis == 0:
            # What is expected is cold; the survey may have been taken warm.
            value += own.v_um - own.v_cold_um
            variance += max(own.u_v_cold_um**2 - own.u_v_um**2, 0.0)
        expected[station, axis] = (value, variance)
    return expected


def _expected(at: dict[tuple[int, int], tuple[float, float]], stations: Sequence[StationInfo]) -> Expected:
    nothing = (np.nan, np.nan)
    values = np.array([[at.get((s.id, axis), nothing) for axis in (0, 1)] for s in stations], dtype=np.float64)
    return Expected(offset_um=values[:, :, 0], u_um=np.sqrt(values[:, :, 1]), dof=EXPECTED_DOF, common=COMMON_SHARE)


def _calibrations(
    record: queries.Record, fleet: FleetSeries, surveys: Sequence[Any], noticed: dict[int, list[CheckFacts]]
) -> None:
    """Note every survey taken with an instrument whose calibration did not cover the day."""
    held: dict[int, list[tuple[date, date | None]]] = defaultdict(list)
    for row in queries.calibrations(record):
        held[row.instrument_id].append((row.calibrated_on, row.due_on))
    serials = {row.id: row.serial for row in queries.instruments(record)}
    for row in surveys:
        known = held.get(row.instrument_id)
        if not known:
            continue
        on = row.measured_at.astimezone(fleet.plant.lines[fleet.line_index[row.line_id]].zone).date()
        found = calibration_facts(serials[row.instrument_id], known, on)
        if found is not None:
            noticed[row.id].append(found)


def calibration_facts(serial: str, known: Sequence[tuple[date, date | None]], on: date) -> CheckFacts | None:
    """Return what an instrument's certificates say against a survey of some day; None: one covers it.

    Parameters
    ----------
    known : when calibrated and until when that holds (None: no end recorded), oldest first, at least one
    """
    before = [due for calibrated, due in known if calibrated <= on]
    if not before:
        note = f"{serial} was first calibrated on {day(known[0][0])}, after this survey of {day(on)}."
    elif any(due is None or on <= due for due in before):
        return None
    else:
        lapsed = max(due for due in before if due is not None)
        note = f"The calibration of {serial} held until {day(lapsed)}; this survey is of {day(on)}."
    return CheckFacts(check="calibration_expired", cause="calibration lapsed", note=note)


def _warm(fleet: FleetSeries, surveys: Sequence[Any], noticed: dict[int, list[CheckFacts]]) -> None:
    """Note every survey that should be cold and was taken with the barrel still warm."""
    for row in surveys:
        reference_c = fleet.plant.lines[fleet.line_index[row.line_id]].cold_reference_c
        found = warm_facts(row.phase, row.barrel_c, reference_c)
        if found is not None:
            noticed[row.id].append(found)


def warm_facts(phase: str, barrel_c: float | None, reference_c: float) -> CheckFacts | None:
    """Return that a survey which should be cold was taken with the barrel still warm; None: it was not. [C]"""
    if phase == "hot" or barrel_c is None or barrel_c - reference_c <= WARM_K:
        return None
    note = (
        f"The barrel was at {barrel_c:.0f}{NBSP}°C, {barrel_c - reference_c:.0f}{NBSP}K above the cold "
        "reference; the offsets are brought there with the heat model, which adds its own uncertainty."
    )
    return CheckFacts(check="still_warm", cause="not cooled", note=note)


def _supports(
    fleet: FleetSeries,
    surveys: Sequence[Any],
    moves: Iterable[Any],
    rows_of: dict[tuple[int, int], list[int]],
    noticed: dict[int, list[CheckFacts]],
) -> None:
    """Note every support that was moved and whose bore did not follow."""
    rounds: dict[tuple[int, int], list[Any]] = defaultdict(list)
    for move in moves:
        rounds[move.session_id, move.after or 0].append(move)
    ids = {(row.session_id, row.number): row.id for row in surveys}
    for (session, after), made in rounds.items():
        later = [number for one, number in ids if one == session and number > after]
        # A move at the gearbox or the flange carries every station along by an amount nobody can tell apart.
        if (
            (session, after) not in rows_of
            or not later
            or any(move.place and (move.v_um or move.h_um) for move in made)
        ):
            continue
        following = (session, min(later))
        if following not in rows_of or any((session, number) in rounds for number in range(after + 1, min(later))):
            continue
        for axis in (0, 1):
            noticed[ids[following]] += _unanswered(fleet, made, rows_of[session, after], rows_of[following], axis)


def _unanswered(
    fleet: FleetSeries, made: Sequence[Any], before: Iterable[int], after: Iterable[int], axis: int
) -> list[CheckFacts]:
    moved = {move.support_id: (move.v_um, move.h_um)[axis] for move in made if move.support_id is not None}
    if any(um is None for um in moved.values()):
        return []
    measured = fleet.measured

    def by_station(rows: Iterable[int]) -> dict[int, int]:
        return {int(fleet.of_station[measured.series[row]]): row for row in rows if measured.series[row] % 2 == axis}

    first, second = by_station(before), by_station(after)
    line_id = next((fleet.stations[index].line_id for index in second), None)
    if line_id is None:
        return []
    answers = [
        Answer(
            station=fleet.stations[k],
            went_um=float(measured.value_um[second[k]] - measured.value_um[first[k]]),
            var_um2=float(measured.var_um2[first[k]] + measured.var_um2[second[k]]),
            shared_um2=float(np.sqrt(measured.setup_um2[first[k]] * measured.setup_um2[second[k]])),
        )
        for k in second
        if k in first
    ]
    return unanswered_facts(AXES[axis], moved, fleet.plant.supports.get(line_id, ()), answers)


@dataclass(frozen=True, slots=True)
class Answer:
    """How far the bore went at a station between two surveys [um]; `shared_um2` is the set-up both have in common."""

    station: StationInfo
    went_um: float
    var_um2: float
    shared_um2: float


def unanswered_facts(
    axis: Axis, moved: Mapping[int, float], supports: Iterable[SupportInfo], answers: Sequence[Answer]
) -> list[CheckFacts]:
    """Return the supports that were moved and whose bore did not follow.

    Parameters
    ----------
    moved : by id of the support, + higher or right [um]
    supports : of the line
    answers : of the stations surveyed before and after
    """
    used = [s for s in supports if s.id in moved]
    at = [answer for answer in answers if answer.station.support_id in moved]
    if not any(moved.values()) or not used or not at:
        return []
    distance: FloatArray = np.array([answer.station.distance_mm for answer in at], dtype=np.float64)
    response = expected_response(distance, np.array([s.distance_mm for s in used], dtype=np.float64))
    should = response @ np.array([moved[s.id] for s in used], dtype=np.float64)
    facts = []
    for answer, wanted in zip(at, should.tolist(), strict=True):
        move = moved[answer.station.support_id or 0]
        if not move:
            continue
        did = answer.went_um
        own = max(answer.var_um2 - 2.0 * answer.shared_um2, 1.0)
        u = float(np.sqrt(own + _MOVE_U_UM**2 + (RESPONSE_U * wanted) ** 2))
        if abs(did - wanted) > _NOT_ANSWERING * u and did * np.sign(wanted) < abs(wanted) / 2.0:
            facts.append(
                CheckFacts(
                    check="support_not_answering",
                    cause="support does not carry",
                    axis=axis,
                    station=answer.station.support,
                    misfit_um=did - wanted,
                    u95_misfit_um=NORMAL_95 * u,
                    typed_um=float(move),
                    offset_um=did,
                    expected_um=wanted,
                )
            )
    return facts
