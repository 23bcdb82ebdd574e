"""One visit as it was written: the session with everything that hangs from it, typed texts beside the values."""

from __future__ import annotations

from sqlalchemy import func, or_, select
from sqlalchemy.orm import aliased

from fleet.store.derived import Reduction
from fleet.store.planning import Outage
from fleet.store.plant import Calibration, Instrument, Line, Station, Support
from fleet.store.proof import Intake
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.visits import (
    ColdTarget,
    Finding,
    Move,
    OffsetEntered,
    Reading,
    SessionCheck,
    SessionSignedView,
    SupportTemperature,
    Survey,
    VisitSession,
)


def head(record: Record, code: str) -> Rows:
    """Return the session of a code, draft or signed, with its line, outage and source: one row or none."""
    return fetched(
        record,
        select(
            VisitSession.id,
            VisitSession.code,
            VisitSession.line_id,
            Line.code.label("line"),
            VisitSession.started_at,
            VisitSession.reason,
            Outage.code.label("outage"),
            Outage.kind.label("outage_kind"),
            VisitSession.technician,
            VisitSession.instrument_id,
            VisitSession.work_order,
            VisitSession.running_hours,
            VisitSession.ambient_c,
            VisitSession.remarks,
            VisitSession.state,
            VisitSession.signed_by,
            VisitSession.signed_at,
            VisitSession.correction_reason,
            Intake.file_name,
            Intake.sha256,
            Intake.taken_at,
            Intake.taken_by,
        )
        .join(Line, Line.id == VisitSession.line_id)
        .outerjoin(Outage, Outage.id == VisitSession.outage_id)
        .outerjoin(Intake, Intake.id == VisitSession.intake_id)
        .where(VisitSession.code == code),
    )


def line_of(record: Record, code: str) -> str | None:
    """Return the code of the line a session belongs to, None where there is no such session."""
    return record.scalar(
        select(Line.code).join(VisitSession, VisitSession.line_id == Line.id).where(VisitSession.code == code)
    )


def records_of_visit(record: Record, line_id: int) -> Rows:
    """Return the signed sessions of a line with what each corrects and how many surveys each holds."""
    corrected = aliased(VisitSession)
    surveys = select(func.count(Survey.id)).where(Survey.session_id == VisitSession.id).scalar_subquery()
    return fetched(
        record,
        select(
            VisitSession.code,
            VisitSession.signed_by,
            VisitSession.signed_at,
            VisitSession.correction_reason,
            corrected.code.label("corrects"),
            surveys.label("surveys"),
        )
        .outerjoin(corrected, corrected.id == VisitSession.corrects_id)
        .where(VisitSession.line_id == line_id, VisitSession.state == "signed"),
    )


def surveys(record: Record, session_id: int) -> Rows:
    """Return the surveys of a session with their conditions and what their reduction found of beam and closure."""
    return fetched(
        record,
        select(
            Survey.id,
            Survey.number,
            Survey.phase,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            func.coalesce(Survey.instrument_id, VisitSession.instrument_id).label("instrument_id"),
            Survey.barrel_c,
            Survey.gearbox_c,
            Survey.gearbox_c_at,
            Survey.base_c,
            Survey.gearbox_level_um_per_m,
            Survey.axis_by,
            Survey.bolts,
            Survey.screw,
            Survey.die,
            Survey.heats_off_h,
            Survey.remarks,
            Reduction.beam,
            Reduction.closure,
            Reduction.scale,
            Reduction.remarks.label("notes"),
        )
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .outerjoin(Reduction, Reduction.survey_id == Survey.id)
        .where(Survey.session_id == session_id)
        .order_by(Survey.number),
    )


def readings(record: Record, session_id: int) -> Rows:
    """Return every reading of a session as it was typed, in the order of taking."""
    return fetched(
        record,
        select(
            Reading.survey_id,
            Reading.sequence,
            Station.code.label("station"),
            Reading.beam_state,
            Reading.beam_roll_deg,
            Reading.target_roll_deg,
            Reading.v_entered,
            Reading.h_entered,
            Reading.unit,
            Reading.taken_at,
        )
        .join(Survey, Survey.id == Reading.survey_id)
        .join(Station, Station.id == Reading.station_id)
        .where(Survey.session_id == session_id)
        .order_by(Reading.survey_id, Reading.sequence),
    )


def entered_offsets(record: Record, session_id: int) -> Rows:
    """Return the offsets of a session that came in as results, as they were typed, by distance."""
    return fetched(
        record,
        select(
            OffsetEntered.survey_id,
            Station.code.label("station"),
            OffsetEntered.v_entered,
            OffsetEntered.h_entered,
            OffsetEntered.u_v_entered,
            OffsetEntered.u_h_entered,
            OffsetEntered.unit,
        )
        .join(Survey, Survey.id == OffsetEntered.survey_id)
        .join(Station, Station.id == OffsetEntered.station_id)
        .where(Survey.session_id == session_id)
        .order_by(OffsetEntered.survey_id, Station.distance_mm, Station.code),
    )


def temperatures(record: Record, session_id: int) -> Rows:
    """Return the supports' own temperatures at a session's surveys, withdrawn ones marked."""
    return fetched(
        record,
        select(
            SupportTemperature.survey_id,
            Support.code.label("support"),
            SupportTemperature.barrel_c,
            SupportTemperature.base_c,
            SupportTemperature.withdrawn_at,
            SupportTemperature.withdrawn_by,
            SupportTemperature.withdrawn_why,
        )
        .join(Survey, Survey.id == SupportTemperature.survey_id)
        .join(Support, Support.id == SupportTemperature.support_id)
        .where(Survey.session_id == session_id)
        .order_by(SupportTemperature.survey_id, Support.distance_mm, Support.code),
    )


def moves(record: Record, session_id: int) -> Rows:
    """Return what was moved at a session, as typed and converted, in the order of surveys and distance."""
    return fetched(
        record,
        select(
            Survey.number.label("after"),
            Support.code.label("support"),
            Move.place,
            Move.v_entered,
            Move.h_entered,
            Move.unit,
            Move.v_um,
            Move.h_um,
            Move.room_up_um,
            Move.room_down_um,
            Move.how,
        )
        .outerjoin(Survey, Survey.id == Move.after_survey_id)
        .outerjoin(Support, Support.id == Move.support_id)
        .where(Move.session_id == session_id)
        .order_by(Survey.number, Support.distance_mm, Support.code, Move.place),
    )


def targets(record: Record, session_id: int) -> Rows:
    """Return the cold targets decided at a session, as typed and converted, by distance."""
    return fetched(
        record,
        select(
            Station.code.label("station"),
            ColdTarget.v_entered,
            ColdTarget.h_entered,
            ColdTarget.unit,
            ColdTarget.v_um,
            ColdTarget.h_um,
            ColdTarget.basis,
            ColdTarget.reason,
        )
        .join(Station, Station.id == ColdTarget.station_id)
        .where(ColdTarget.session_id == session_id)
        .order_by(Station.distance_mm, Station.code),
    )


def targets_of_line(record: Record, line_id: int, session_id: int) -> Rows:
    """Return the cold targets of a line's sessions that count, and of one session whether it counts or not."""
    return fetched(
        record,
        select(
            Station.code.label("station"),
            VisitSession.started_at,
            ColdTarget.session_id,
            ColdTarget.v_um,
            ColdTarget.h_um,
        )
        .join(VisitSession, VisitSession.id == ColdTarget.session_id)
        .join(Station, Station.id == ColdTarget.station_id)
        .where(VisitSession.line_id == line_id, or_(counts(), VisitSession.id == session_id))
        .order_by(VisitSession.started_at, VisitSession.code),
    )


def findings(record: Record, session_id: int) -> Rows:
    """Return what was noticed at a session beside the alignment, withdrawn findings marked."""
    return fetched(
        record,
        select(
            Finding.item,
            Finding.value,
            Finding.unit,
            Finding.note,
            Finding.withdrawn_at,
            Finding.withdrawn_by,
            Finding.withdrawn_why,
        )
        .where(Finding.session_id == session_id)
        .order_by(Finding.item, Finding.id),
    )


def settled_checks(record: Record, session_id: int) -> Rows:
    """Return what was noticed while a session was recorded, and how it was settled, in the order it was stored."""
    return fetched(
        record,
        select(
            SessionCheck.survey_number,
            SessionCheck.check,
            SessionCheck.evidence,
            SessionCheck.settled,
            SessionCheck.accepted_by,
            SessionCheck.why,
        )
        .where(SessionCheck.session_id == session_id)
        .order_by(SessionCheck.id),
    )


def signed_view(record: Record, session_id: int) -> str | None:
    """Return what the person who signed a session saw; None where it was signed on import."""
    return record.scalar(select(SessionSignedView.shown).where(SessionSignedView.session_id == session_id))


def instruments(record: Record) -> Rows:
    """Return every instrument with its kind and senses."""
    return fetched(
        record, select(Instrument.id, Instrument.serial, Instrument.kind, Instrument.sense_v, Instrument.sense_h)
    )


def certificates(record: Record) -> Rows:
    """Return every calibration with its certificate, by instrument and day."""
    return fetched(
        record,
        select(
            Calibration.instrument_id, Calibration.calibrated_on, Calibration.due_on, Calibration.certificate
        ).order_by(Calibration.instrument_id, Calibration.calibrated_on),
    )
