"""What happened at a visit: the session and all facts that hang from it, frozen once it is signed (`freeze.py`)."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import (
    AXIS_BY,
    BOLTS,
    DIE,
    GEARBOX_C_AT,
    MOVE_PLACES,
    PHASES,
    SCREW,
    SESSION_STATES,
    SETTLED,
    UNITS,
)
from fleet.store.types import (
    CROSS_UM,
    IN_FORCE,
    Base,
    Code,
    Typed,
    Withdrawable,
    across,
    between,
    not_negative,
    one_of,
    warm,
    withdrawal,
)


class VisitSession(Typed, Base):
    """One dated visit to one line. A correction is a new session that `corrects` the old one, one per session."""

    __tablename__ = "session"
    __table_args__ = (
        one_of("state", SESSION_STATES),
        CheckConstraint(
            "(state = 'draft' and signed_at is null and signed_by is null)"
            " or (state = 'signed' and signed_at is not null and signed_by is not null)",
            name="signed_by_somebody",
        ),
        CheckConstraint("corrects_id is null or correction_reason is not null", name="correction_with_reason"),
        CheckConstraint("corrects_id <> id", name="corrects_another"),
        *not_negative("running_hours"),
        *warm("ambient_c"),
        # A line's visits in order: its page, its series, its newest session.
        Index(None, "line_id", "started_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[Code] = mapped_column(unique=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    started_at: Mapped[datetime]
    reason: Mapped[str | None]
    outage_id: Mapped[int | None] = mapped_column(ForeignKey("outage.id"))
    technician: Mapped[str | None]
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    work_order: Mapped[str | None]
    running_hours: Mapped[float | None]
    ambient_c: Mapped[float | None]
    remarks: Mapped[str | None]
    state: Mapped[str] = mapped_column(server_default="draft", default="draft")
    signed_by: Mapped[str | None]
    signed_at: Mapped[datetime | None]
    corrects_id: Mapped[int | None] = mapped_column(ForeignKey("session.id"), unique=True)
    correction_reason: Mapped[str | None]
    version: Mapped[int] = mapped_column(server_default="1", default=1, comment="raised by each save of a draft")
    created_by: Mapped[str | None]
    client_key: Mapped[str | None] = mapped_column(unique=True, comment="the device's own key: a retry makes no twin")
    updated_at: Mapped[datetime | None]
    intake_id: Mapped[int | None] = mapped_column(ForeignKey("intake.id"), index=True)


class Survey(Typed, Base):
    """One pass over the stations within a session."""

    __tablename__ = "survey"
    __table_args__ = (
        one_of("phase", PHASES),
        one_of("gearbox_c_at", GEARBOX_C_AT),
        one_of("axis_by", AXIS_BY),
        one_of("bolts", BOLTS),
        one_of("screw", SCREW),
        one_of("die", DIE),
        *warm("barrel_c", "gearbox_c", "base_c"),
        *not_negative("heats_off_h"),
        UniqueConstraint("session_id", "number"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"))
    number: Mapped[int]
    phase: Mapped[str]
    measured_at: Mapped[datetime | None] = mapped_column(comment="none: the session's started_at")
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"), comment="none: the session's")
    barrel_c: Mapped[float | None]
    gearbox_c: Mapped[float | None]
    gearbox_c_at: Mapped[str] = mapped_column(server_default="casing_mean", default="casing_mean")
    base_c: Mapped[float | None]
    gearbox_level_um_per_m: Mapped[float | None]
    axis_by: Mapped[str | None]
    bolts: Mapped[str | None]
    screw: Mapped[str | None]
    die: Mapped[str | None]
    heats_off_h: Mapped[float | None]
    remarks: Mapped[str | None]


class SupportTemperature(Typed, Withdrawable, Base):
    """A support's own temperatures, at a survey or at a running check (line and moment); these can be withdrawn."""

    __tablename__ = "support_temperature"
    __table_args__ = (
        CheckConstraint(
            "(survey_id is not null and line_id is null and checked_at is null)"
            " or (survey_id is null and line_id is not null and checked_at is not null)",
            name="survey_or_running_check",
        ),
        *warm("barrel_c", "base_c"),
        withdrawal(),
        Index(
            "uq_support_temperature_key",
            text("coalesce(survey_id, 0)"),
            text("coalesce(line_id, 0)"),
            text("coalesce(checked_at, '0001-01-01 00:00:00+00')"),
            "support_id",
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
        Index(None, "survey_id"),
        Index(None, "line_id", "checked_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    survey_id: Mapped[int | None] = mapped_column(ForeignKey("survey.id"))
    line_id: Mapped[int | None] = mapped_column(ForeignKey("line.id"))
    checked_at: Mapped[datetime | None]
    support_id: Mapped[int] = mapped_column(ForeignKey("support.id"))
    barrel_c: Mapped[float | None]
    base_c: Mapped[float | None]


class Reading(Typed, Base):
    """One pair of numbers the instrument showed, as shown (the instrument's senses are applied in the reduction)."""

    __tablename__ = "reading"
    __table_args__ = (
        one_of("unit", UNITS),
        *across("v_um", "h_um"),
        *between(-360, 360, "beam_roll_deg", "target_roll_deg"),
        UniqueConstraint("survey_id", "sequence"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    survey_id: Mapped[int] = mapped_column(ForeignKey("survey.id"))
    sequence: Mapped[int]
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    beam_state: Mapped[int] = mapped_column(server_default="1", default=1)
    beam_roll_deg: Mapped[float] = mapped_column(server_default="0", default=0.0)
    target_roll_deg: Mapped[float] = mapped_column(server_default="0", default=0.0)
    v_entered: Mapped[str]
    h_entered: Mapped[str]
    unit: Mapped[str]
    v_um: Mapped[float]
    h_um: Mapped[float]
    taken_at: Mapped[datetime | None]


class OffsetEntered(Typed, Base):
    """An offset from an old record that holds only the result."""

    __tablename__ = "offset_entered"
    __table_args__ = (
        one_of("unit", UNITS),
        *across("v_um", "h_um"),
        *between(0, CROSS_UM, "u_v_um", "u_h_um"),
        UniqueConstraint("survey_id", "station_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    survey_id: Mapped[int] = mapped_column(ForeignKey("survey.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    v_entered: Mapped[str]
    h_entered: Mapped[str]
    u_v_entered: Mapped[str | None]
    u_h_entered: Mapped[str | None]
    unit: Mapped[str]
    v_um: Mapped[float]
    h_um: Mapped[float]
    u_v_um: Mapped[float | None]
    u_h_um: Mapped[float | None]


class Move(Typed, Base):
    """What was moved after a survey, at a support, the gearbox's feet or the flange, and the room that is left."""

    __tablename__ = "move"
    __table_args__ = (
        one_of("unit", UNITS),
        one_of("place", MOVE_PLACES),
        CheckConstraint("(support_id is null) <> (place is null)", name="support_or_place"),
        *across("v_um", "h_um"),
        *between(0, CROSS_UM, "room_up_um", "room_down_um"),
        Index(
            "uq_move_key",
            "session_id",
            text("coalesce(after_survey_id, 0)"),
            text("coalesce(support_id, 0)"),
            text("coalesce(place, '')"),
            unique=True,
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"))
    after_survey_id: Mapped[int | None] = mapped_column(ForeignKey("survey.id"))
    support_id: Mapped[int | None] = mapped_column(ForeignKey("support.id"))
    place: Mapped[str | None]
    v_entered: Mapped[str | None]
    h_entered: Mapped[str | None]
    room_up_entered: Mapped[str | None]
    room_down_entered: Mapped[str | None]
    unit: Mapped[str]
    v_um: Mapped[float | None]
    h_um: Mapped[float | None]
    room_up_um: Mapped[float | None]
    room_down_um: Mapped[float | None]
    how: Mapped[str | None]


class ColdTarget(Typed, Base):
    """The offset to set when cold so that the line runs near zero, as decided at a session."""

    __tablename__ = "cold_target"
    __table_args__ = (
        one_of("unit", UNITS),
        *across("v_um", "h_um"),
        UniqueConstraint("session_id", "station_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    v_entered: Mapped[str]
    h_entered: Mapped[str]
    unit: Mapped[str]
    v_um: Mapped[float]
    h_um: Mapped[float]
    basis: Mapped[str | None]
    reason: Mapped[str | None]


class Finding(Typed, Withdrawable, Base):
    """What was noticed beside the alignment: a soft foot, bearing play, cracked grout; value and unit as written."""

    __tablename__ = "finding"
    __table_args__ = (
        withdrawal(),
        Index(
            "uq_finding_key",
            "session_id",
            "item",
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"))
    item: Mapped[str]
    value: Mapped[str | None]
    unit: Mapped[str | None]
    note: Mapped[str | None]


class SessionCheck(Base):
    """Something noticed while a visit was recorded, and how the person who signed settled it."""

    __tablename__ = "session_check"
    __table_args__ = (
        one_of("settled", SETTLED),
        CheckConstraint("length(trim(why)) > 0", name="why_given"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"), index=True)
    survey_number: Mapped[int | None] = mapped_column(comment="none: the whole visit")
    check: Mapped[str]
    evidence: Mapped[str]
    settled: Mapped[str]
    accepted_by: Mapped[str]
    why: Mapped[str]


class SessionSignedView(Base):
    """What the person who signed a session saw."""

    __tablename__ = "session_signed_view"

    id: Mapped[int] = mapped_column(primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("session.id"), unique=True)
    shown: Mapped[str] = mapped_column(comment="what the signer saw, as text")
