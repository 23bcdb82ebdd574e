"""Offsets: every survey reduced, as commands print it."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from fleet.errors import NotFoundError
from fleet.reports import check_words
from fleet.reports.check_words import CheckFacts
from fleet.services.checks import current_checks
from fleet.services.expanded import expanded
from fleet.services.line_measured import better_reading
from fleet.services.readings import instrument_of, is_hot, survey_readings
from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import BudgetRow, CheckNote, Halving, OffsetRow
from fleet.services.series import FleetSeries, current_series
from fleet.store import queries
from fleet.store.engine import Store
from fleet.words import NBSP, ReaderUnit


def offset_rows(
    store: Store, *, line: str | None = None, session: str | None = None, unit: ReaderUnit = "mm"
) -> list[OffsetRow]:
    """Return the reduced offsets of a line, a session or the whole record.

    Parameters
    ----------
    store : the record
    line, session : their codes; None: all
    unit : in which the sentences of the checks are said

    Raises
    ------
    NotFoundError
        No line or session has this code.
    """
    reduce_if_needed(store)
    with store.read() as connection:
        if line is not None and line not in queries.line_codes(connection):
            raise NotFoundError(f"There is no line '{line}' in the store; `asleft status` lists the lines there are.")
        if session is not None and not queries.session_exists(connection, session):
            raise NotFoundError(f"There is no signed session '{session}' in the store; `asleft offsets` lists them.")
        rows = queries.reduced_surveys(connection, line, session)
        fleet = current_series(connection)
        noticed = current_checks(connection, fleet)
        surveys = queries.surveys_measured(connection)
        halved = _halvings(connection, fleet, rows, surveys) if line is not None or session is not None else {}
        uncalibrated = _without_calibration(connection, surveys)
    return [
        OffsetRow(
            session=row.session,
            survey=row.number,
            line=row.line,
            phase=row.phase,
            station=row.station,
            distance_mm=row.distance_mm,
            v_um=row.v_um,
            h_um=row.h_um,
            u_v_um=row.u_v_um,
            u_h_um=row.u_h_um,
            u95_v_um=expanded(row.u_v_um, row.dof_v),
            u95_h_um=expanded(row.u_h_um, row.dof_h),
            dof_v=row.dof_v,
            dof_h=row.dof_h,
            v_cold_um=row.v_cold_um,
            h_cold_um=row.h_cold_um,
            u_v_cold_um=row.u_v_cold_um,
            u_h_cold_um=row.u_h_cold_um,
            method=row.method,
            checks=tuple(_note(facts, row, unit) for facts in noticed.get(row.survey_id, ()) if _concerns(facts, row)),
            remarks=(*json.loads(row.remarks or "[]"), *uncalibrated.get(row.survey_id, ())),
            budget=_budget(row),
            halve=halved.get(row.survey_id),
        )
        for row in rows
    ]


def _concerns(facts: CheckFacts, row: Any) -> bool:
    """Return whether a check stands on a station's row: its own, or every row where it is of the whole survey."""
    at = row.support if facts.check == "support_not_answering" else row.station
    return facts.station is None or at in (facts.station, facts.other_station)


def _note(facts: CheckFacts, row: Any, unit: ReaderUnit) -> CheckNote:
    return CheckNote(
        check=facts.check,
        axis=facts.axis,
        station=None if facts.station is None else row.station,
        sequence=facts.sequence,
        evidence=check_words.evidence(facts, unit).replace(NBSP, " "),
        would_be_um=facts.would_be_um,
        text=check_words.text(facts, unit).replace(NBSP, " "),
    )


def _budget(row: Any) -> tuple[BudgetRow, ...]:
    held = json.loads(row.budget)
    at = held["stations"].index(row.station)
    return tuple(BudgetRow(part, *figures[at]) for part, figures in held["u_um"].items())


def _without_calibration(record: queries.Record, surveys: queries.Rows) -> dict[int, tuple[str, ...]]:
    """Return, by id of the survey, the remark that its instrument has no calibration on record."""
    covered = {row.instrument_id for row in queries.calibrations(record)}
    serials = {row.id: row.serial for row in queries.instruments(record)}
    return {
        row.id: (f"no calibration of {serials[row.instrument_id]} is recorded",)
        for row in surveys
        if row.instrument_id is not None and row.instrument_id not in covered
    }


def _halvings(
    record: queries.Record, fleet: FleetSeries, rows: Sequence[Any], surveys: queries.Rows
) -> dict[int, Halving]:
    """Return, by id of the survey, what would halve its largest uncertainty, where anything would lower it."""
    of_survey: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        of_survey[row.survey_id].append(row)
    read: dict[int, list[Any]] = defaultdict(list)
    for row in queries.readings_of(record, list(of_survey)):
        read[row.survey_id].append(row)
    instruments = {row.id: instrument_of(row) for row in queries.instruments(record)}
    stations = {station.id: station for group in fleet.plant.stations.values() for station in group}
    halved = {}
    for survey in surveys:
        instrument = instruments.get(survey.instrument_id)
        if survey.id not in read or instrument is None:
            continue
        readings, _ = survey_readings(read[survey.id], stations)
        hot = is_hot(survey.barrel_c)
        better = better_reading(readings, instrument, of_survey[survey.id], hot=hot)
        if better is not None:
            halved[survey.id] = Halving(better.doing, better.u_now_um, better.u_then_um, better.halves)
    return halved
