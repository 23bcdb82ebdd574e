"""What was measured: sessions, surveys, offsets, moves, targets, running checks."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, Final

from sqlalchemy import func, or_, select

from fleet.store.derived import ReducedOffset, Reduction
from fleet.store.plant import Station, Support
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.running import RunningCheck
from fleet.store.visits import (
    ColdTarget,
    Move,
    OffsetEntered,
    Reading,
    SupportTemperature,
    Survey,
    VisitSession,
)

# SQLite takes some thousands of values in one statement, PostgreSQL 65,535.
_AT_ONCE: Final = 500
_READING: Final = (
    Reading.survey_id,
    Reading.sequence,
    Reading.station_id,
    Reading.beam_state,
    Reading.beam_roll_deg,
    Reading.target_roll_deg,
    Reading.v_um,
    Reading.h_um,
)


def sessions(record: Record) -> Rows:
    """Return the sessions that count, by line and time."""
    return fetched(
        record,
        select(VisitSession.id, VisitSession.code, VisitSession.line_id, VisitSession.started_at)
        .where(counts())
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code),
    )


def moves_made(record: Record, line_id: int | None = None) -> Rows:
    """Return every recorded move of the sessions that count (of one line): where, how far, and the room left."""
    statement = (
        select(
            VisitSession.line_id,
            Move.session_id,
            VisitSession.code.label("session"),
            Survey.number.label("after"),
            Move.support_id,
            Support.code.label("support"),
            Move.place,
            Move.v_um,
            Move.h_um,
            Move.room_up_um,
            Move.room_down_um,
        )
        .join(VisitSession, VisitSession.id == Move.session_id)
        .outerjoin(Survey, Survey.id == Move.after_survey_id)
        .outerjoin(Support, Support.id == Move.support_id)
        .where(counts())
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code, Survey.number)
    )
    return fetched(record, statement if line_id is None else statement.where(VisitSession.line_id == line_id))


def surveys_measured(record: Record, line_id: int | None = None) -> Rows:
    """Return every survey of a signed session (of one line) with who took it, how warm it was, and its reduction.

    `counts` tells whether its session counts: replaced ones are checked too, because a list of them is shown.
    """
    statement = (
        select(
            Survey.id,
            Survey.session_id,
            VisitSession.code.label("session"),
            VisitSession.line_id,
            VisitSession.started_at,
            counts().label("counts"),
            Survey.number,
            Survey.phase,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            func.coalesce(Survey.instrument_id, VisitSession.instrument_id).label("instrument_id"),
            VisitSession.technician,
            Survey.barrel_c,
            Survey.heats_off_h,
            Reduction.dof,
            Reduction.scale,
            Reduction.closure,
            Reduction.common,
            Reduction.checks,
        )
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .join(Reduction, Reduction.survey_id == Survey.id)
        .where(VisitSession.state == "signed")
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code, Survey.number)
    )
    return fetched(record, statement if line_id is None else statement.where(VisitSession.line_id == line_id))


def covariances(record: Record, line_id: int) -> Rows:
    """Return the covariance of every survey of a line, as stored: survey_id, JSON."""
    return fetched(
        record,
        select(Reduction.survey_id, Reduction.covariance, Reduction.closure, Reduction.scale, Reduction.beam)
        .join(Survey, Survey.id == Reduction.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(VisitSession.line_id == line_id, VisitSession.state == "signed"),
    )


def cold_offsets(record: Record, phases: Collection[str] = ("as_found", "interim", "as_left")) -> Rows:
    """Return reduced offsets at the cold reference of the sessions that count, one row per survey and station."""
    return fetched(
        record,
        select(
            Survey.session_id,
            Survey.number,
            Survey.phase,
            Survey.measured_at,
            ReducedOffset.station_id,
            ReducedOffset.v_cold_um,
            ReducedOffset.h_cold_um,
            ReducedOffset.u_v_cold_um,
            ReducedOffset.u_h_cold_um,
            ReducedOffset.setup_v_um2,
            ReducedOffset.setup_h_um2,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts(), Survey.phase.in_(tuple(phases))),
    )


def hot_offsets(record: Record) -> Rows:
    """Return the offsets of hot surveys as surveyed, one row per survey and station."""
    return fetched(
        record,
        select(
            VisitSession.line_id,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            Survey.id.label("survey_id"),
            Survey.barrel_c,
            Survey.gearbox_c,
            Survey.gearbox_c_at,
            Survey.base_c,
            ReducedOffset.station_id,
            ReducedOffset.v_um,
            ReducedOffset.h_um,
            ReducedOffset.u_v_um,
            ReducedOffset.u_h_um,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts(), Survey.phase == "hot")
        .order_by(VisitSession.line_id, VisitSession.started_at, Survey.number),
    )


def cold_targets(record: Record, line_id: int | None = None) -> Rows:
    """Return the cold targets of the sessions that count (of one line), oldest first: station_id, v, h, basis, why."""
    statement = (
        select(
            ColdTarget.station_id,
            VisitSession.line_id,
            VisitSession.started_at,
            ColdTarget.v_um,
            ColdTarget.h_um,
            ColdTarget.basis,
            ColdTarget.reason,
        )
        .join(VisitSession, VisitSession.id == ColdTarget.session_id)
        .where(counts())
        .order_by(VisitSession.started_at, VisitSession.code)
    )
    return fetched(record, statement if line_id is None else statement.where(VisitSession.line_id == line_id))


def running_checks(record: Record) -> Rows:
    """Return every running check, by line and time."""
    return fetched(
        record,
        select(
            RunningCheck.line_id,
            RunningCheck.checked_at,
            RunningCheck.station_id,
            RunningCheck.v_rise_um,
            RunningCheck.h_rise_um,
            RunningCheck.u_um,
            RunningCheck.relative_to,
            RunningCheck.gearbox_rise_um,
            RunningCheck.barrel_c,
            RunningCheck.gearbox_c,
            RunningCheck.gearbox_c_at,
            RunningCheck.base_c,
            RunningCheck.zero_barrel_c,
            RunningCheck.zero_gearbox_c,
            RunningCheck.zero_base_c,
            RunningCheck.hours_since_heats_on,
            RunningCheck.screw,
            RunningCheck.die,
            RunningCheck.method,
        )
        .where(RunningCheck.withdrawn_at.is_(None))
        .order_by(RunningCheck.line_id, RunningCheck.checked_at, RunningCheck.station_id),
    )


def support_temperatures(record: Record) -> Rows:
    """Return the supports' own temperatures, at surveys and at running checks."""
    return fetched(
        record,
        select(
            SupportTemperature.survey_id,
            SupportTemperature.line_id,
            SupportTemperature.checked_at,
            Support.code.label("support"),
            SupportTemperature.barrel_c,
            SupportTemperature.base_c,
        )
        .join(Support, Support.id == SupportTemperature.support_id)
        .where(SupportTemperature.withdrawn_at.is_(None)),
    )


def surveys_to_reduce(record: Record) -> Rows:
    """Return every signed survey with what reducing it needs and the version its reduction stands at, by id."""
    return fetched(
        record,
        select(
            Survey.id,
            VisitSession.line_id,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            func.coalesce(Survey.instrument_id, VisitSession.instrument_id).label("instrument_id"),
            Survey.barrel_c,
            Survey.gearbox_c,
            Survey.gearbox_c_at,
            Survey.base_c,
            Survey.gearbox_level_um_per_m,
            Reduction.method_version,
        )
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .outerjoin(Reduction, Reduction.survey_id == Survey.id)
        .where(VisitSession.state == "signed")
        .order_by(Survey.id),
    )


def lines_without_uncertainty(record: Record) -> frozenset[int]:
    """Return the ids of lines that hold an entered offset without its uncertainty."""
    return frozenset(
        record.execute(
            select(VisitSession.line_id)
            .join(Survey, Survey.session_id == VisitSession.id)
            .join(OffsetEntered, OffsetEntered.survey_id == Survey.id)
            .where(or_(OffsetEntered.u_v_um.is_(None), OffsetEntered.u_h_um.is_(None)))
            .distinct()
        ).scalars()
    )


def readings(record: Record, first_survey_id: int, last_survey_id: int) -> Rows:
    """Return the readings of a range of surveys, by survey and sequence."""
    return fetched(
        record,
        select(*_READING)
        .where(Reading.survey_id.between(first_survey_id, last_survey_id))
        .order_by(Reading.survey_id, Reading.sequence),
    )


def readings_of(record: Record, survey_ids: Sequence[int]) -> Rows:
    """Return the readings of some surveys, by survey and sequence."""
    rows: list[Any] = []
    for start in range(0, len(survey_ids), _AT_ONCE):
        rows += fetched(
            record,
            select(*_READING)
            .where(Reading.survey_id.in_(survey_ids[start : start + _AT_ONCE]))
            .order_by(Reading.survey_id, Reading.sequence),
        )
    return rows


def reduced_offsets(record: Record, survey_ids: Sequence[int]) -> Rows:
    """Return the reduced offsets of some surveys, as surveyed and cold, by survey and distance."""
    rows: list[Any] = []
    for start in range(0, len(survey_ids), _AT_ONCE):
        rows += fetched(
            record,
            select(
                ReducedOffset.survey_id,
                ReducedOffset.station_id,
                ReducedOffset.v_um,
                ReducedOffset.h_um,
                ReducedOffset.u_v_um,
                ReducedOffset.u_h_um,
                ReducedOffset.v_cold_um,
                ReducedOffset.u_v_cold_um,
            )
            .join(Station, Station.id == ReducedOffset.station_id)
            .where(ReducedOffset.survey_id.in_(survey_ids[start : start + _AT_ONCE]))
            .order_by(ReducedOffset.survey_id, Station.distance_mm, Station.code),
        )
    return rows


def entered_offsets(record: Record, first_survey_id: int, last_survey_id: int) -> Rows:
    """Return the entered offsets of a range of surveys."""
    return fetched(
        record,
        select(
            OffsetEntered.survey_id,
            OffsetEntered.station_id,
            OffsetEntered.v_um,
            OffsetEntered.h_um,
            OffsetEntered.u_v_um,
            OffsetEntered.u_h_um,
        )
        .where(OffsetEntered.survey_id.between(first_survey_id, last_survey_id))
        .order_by(OffsetEntered.survey_id, OffsetEntered.station_id),
    )


def entered_uncertainties(record: Record) -> tuple[list[float], list[float]]:
    """Return all entered standard uncertainties of v and of h, for where a record gives none. [um]"""
    rows = fetched(
        record,
        select(OffsetEntered.u_v_um, OffsetEntered.u_h_um)
        .join(Survey, Survey.id == OffsetEntered.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts()),
    )
    return [row[0] for row in rows if row[0] is not None], [row[1] for row in rows if row[1] is not None]
