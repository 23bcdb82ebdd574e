"""What came in, who changed what, what was corrected, and the dated facts that can be withdrawn."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, and_, func, not_, or_, select
from sqlalchemy.orm import aliased

from fleet.store.plant import Barrel, Gearbox, Line, Placement, Screw, Site, Station, Support, Tolerance
from fleet.store.proof import AuditEntry, Intake
from fleet.store.queries.reading import Record, Rows, fetched
from fleet.store.running import Event, Meter, RunningCheck, Wear
from fleet.store.visits import (
    ColdTarget,
    Finding,
    Move,
    OffsetEntered,
    Reading,
    SupportTemperature,
    Survey,
    VisitSession,
)

WHAT: Final[Mapping[str, tuple[str, ...]]] = {
    "sources": ("took a source in%", "refused a source%", "found nothing new in a source%"),
    "plant": ("changed %",),
    "visits": ("began a visit%", "discarded the draft%", "signed %"),
    "drift": ("accepted the change of drift%", "refused the change of drift%", "recorded the event %"),
    "withdrawals": ("withdrew %", "recorded % anew"),
}
"""Kinds of entries by how their words begin; `other` is whatever is none of these."""

MOST_PEOPLE: Final = 200


@dataclass(frozen=True, slots=True)
class Asked:
    """What of the audit or of the intakes is wanted; None means all. `since` and `until` are aware, until excluded."""

    line: str | None = None
    who: str | None = None
    what: str | None = None
    since: datetime | None = None
    until: datetime | None = None


def _quoted(text: str) -> str:
    """Return a text as it stands within a JSON text."""
    return json.dumps(text, ensure_ascii=False)


def _entries(asked: Asked) -> list[ColumnElement[bool]]:
    wanted: list[ColumnElement[bool]] = []
    if asked.line is not None:
        named = _quoted(asked.line)
        wanted.append(
            or_(
                AuditEntry.what.contains(f"'{asked.line}'", autoescape=True),
                # A proposal's handle begins with its line.
                AuditEntry.what.contains(f" {asked.line}/", autoescape=True),
                AuditEntry.before.contains(named, autoescape=True),
                AuditEntry.after.contains(named, autoescape=True),
            )
        )
    if asked.who is not None:
        wanted.append(AuditEntry.who == asked.who)
    if asked.what == "other":
        wanted.append(not_(or_(*(AuditEntry.what.like(text) for texts in WHAT.values() for text in texts))))
    elif asked.what is not None:
        wanted.append(or_(*(AuditEntry.what.like(text) for text in WHAT[asked.what])))
    if asked.since is not None:
        wanted.append(AuditEntry.at >= asked.since)
    if asked.until is not None:
        wanted.append(AuditEntry.at < asked.until)
    return wanted


def audit_entries(record: Record, asked: Asked, *, limit: int | None = None, offset: int = 0) -> Rows:
    """Return entries of the audit, newest first."""
    query = (
        select(AuditEntry.id, AuditEntry.at, AuditEntry.who, AuditEntry.what, AuditEntry.before, AuditEntry.after)
        .where(*_entries(asked))
        .order_by(AuditEntry.at.desc(), AuditEntry.id.desc())
        .offset(offset)
    )
    return fetched(record, query if limit is None else query.limit(limit))


def audit_count(record: Record, asked: Asked) -> int:
    """Return how many entries of the audit there are."""
    return record.scalar(select(func.count(AuditEntry.id)).where(*_entries(asked))) or 0


def people(record: Record) -> tuple[str, ...]:
    """Return who stands in the audit, by name, the first two hundred."""
    return tuple(record.scalars(select(AuditEntry.who).distinct().order_by(AuditEntry.who).limit(MOST_PEOPLE)))


def _sources(asked: Asked) -> list[ColumnElement[bool]]:
    wanted: list[ColumnElement[bool]] = [or_(Intake.container.is_not(None), Intake.result != "taken", _unnamed())]
    if asked.line is not None:
        wanted.append(Intake.told.contains(_quoted(asked.line), autoescape=True))
    if asked.who is not None:
        wanted.append(Intake.taken_by == asked.who)
    if asked.since is not None:
        wanted.append(Intake.taken_at >= asked.since)
    if asked.until is not None:
        wanted.append(Intake.taken_at < asked.until)
    return wanted


def _unnamed() -> ColumnElement[bool]:
    # Before sources told what they are, nothing else came in than files.
    return and_(Intake.container.is_(None), Intake.told == "{}")


_SOURCE: Final = (
    Intake.id,
    Intake.file_name,
    Intake.sha256,
    Intake.taken_at,
    Intake.taken_by,
    Intake.rows_taken,
    Intake.rows_refused,
    Intake.result,
    Intake.container,
    Intake.files,
    Intake.rows_read,
    Intake.told,
)


def sources(record: Record, asked: Asked, *, limit: int, offset: int = 0) -> Rows:
    """Return the sources that came in as files, newest first; what was typed on a page is no source."""
    return fetched(
        record,
        select(*_SOURCE)
        .where(*_sources(asked))
        .order_by(Intake.taken_at.desc(), Intake.id.desc())
        .limit(limit)
        .offset(offset),
    )


def source_count(record: Record, asked: Asked) -> int:
    """Return how many sources came in as files."""
    return record.scalar(select(func.count(Intake.id)).where(*_sources(asked))) or 0


def source(record: Record, number: int) -> Rows:
    """Return one source: a row or none."""
    return fetched(record, select(*_SOURCE).where(Intake.id == number))


def taken_before(record: Record, sha256: str) -> datetime | None:
    """Return when the very same bytes were last taken in; None where they never were."""
    return record.scalar(select(func.max(Intake.taken_at)).where(Intake.sha256 == sha256, Intake.result == "taken"))


def sessions_of_source(record: Record, number: int) -> Rows:
    """Return the sessions a source brought, by their code, with their line."""
    return fetched(
        record,
        select(VisitSession.code.label("session"), Line.code.label("line"), VisitSession.started_at)
        .join(Line, Line.id == VisitSession.line_id)
        .where(VisitSession.intake_id == number)
        .order_by(VisitSession.started_at.desc(), VisitSession.code),
    )


def standing(record: Record) -> Rows:
    """Return one row of counts: signed sessions, entries of the audit, sources refused."""
    signed = select(func.count(VisitSession.id)).where(VisitSession.state == "signed").scalar_subquery()
    entries = select(func.count(AuditEntry.id)).scalar_subquery()
    lines = select(func.count(Line.id)).scalar_subquery()
    return fetched(record, select(signed.label("signed"), entries.label("entries"), lines.label("lines")))


def line_zones(record: Record) -> Rows:
    """Return every line with its site and its site's name and zone."""
    return fetched(
        record,
        select(Line.code, Site.code.label("site"), Site.name.label("site_name"), Site.time_zone)
        .outerjoin(Site, Site.id == Line.site_id)
        .order_by(Line.code),
    )


def corrections(
    record: Record, line: str | None = None, *, limit: int, offset: int = 0, since: datetime | None = None,
    until: datetime | None = None,
) -> Rows:  # fmt: skip
    """Return signed sessions that correct another one, the one signed last first."""
    old = aliased(VisitSession)
    surveys = select(func.count(Survey.id)).where(Survey.session_id == VisitSession.id).scalar_subquery()
    query = (
        select(
            VisitSession.id,
            VisitSession.code,
            VisitSession.started_at,
            VisitSession.signed_at,
            VisitSession.signed_by,
            VisitSession.correction_reason,
            old.id.label("old_id"),
            old.code.label("old"),
            Line.code.label("line"),
            Site.time_zone,
            surveys.label("surveys"),
        )
        .join(old, old.id == VisitSession.corrects_id)
        .join(Line, Line.id == VisitSession.line_id)
        .outerjoin(Site, Site.id == Line.site_id)
        .where(VisitSession.state == "signed", *_corrected(line, since, until))
        .order_by(VisitSession.signed_at.desc(), VisitSession.id.desc())
        .limit(limit)
        .offset(offset)
    )
    return fetched(record, query)


def _corrected(line: str | None, since: datetime | None, until: datetime | None) -> list[ColumnElement[bool]]:
    wanted: list[ColumnElement[bool]] = []
    if line is not None:
        wanted.append(Line.code == line)
    if since is not None:
        wanted.append(VisitSession.signed_at >= since)
    if until is not None:
        wanted.append(VisitSession.signed_at < until)
    return wanted


def correction_count(
    record: Record, line: str | None = None, since: datetime | None = None, until: datetime | None = None
) -> int:
    """Return how many signed sessions correct another one."""
    query = (
        select(func.count(VisitSession.id))
        .join(Line, Line.id == VisitSession.line_id)
        .where(VisitSession.state == "signed", VisitSession.corrects_id.is_not(None))
        .where(*_corrected(line, since, until))
    )
    return record.scalar(query) or 0


def _columns(model: Any, *left_out: str) -> list[Any]:
    gone = {"id", "typed", "session_id", "survey_id", *left_out}
    return [column for column in model.__table__.columns if column.name not in gone]


def session_contents(record: Record, session_id: int) -> dict[str, Rows]:
    """Return what hangs from a session, table by table, with codes in place of numbers and survey numbers as keys."""
    of_survey = Survey.session_id == session_id
    station, support = Station.code.label("station"), Support.code.label("support")
    own = (*(f"{name}_id" for name in ("station", "support", "line")), "checked_at", "withdrawn_by", "withdrawn_why")
    hung: dict[str, Select[Any]] = {
        "readings": select(Survey.number, Survey.phase, station, *_columns(Reading, *own))
        .join(Survey, Survey.id == Reading.survey_id)
        .join(Station, Station.id == Reading.station_id)
        .where(of_survey)
        .order_by(Survey.number, Reading.sequence),
        "offsets": select(Survey.number, Survey.phase, station, *_columns(OffsetEntered, *own))
        .join(Survey, Survey.id == OffsetEntered.survey_id)
        .join(Station, Station.id == OffsetEntered.station_id)
        .where(of_survey)
        .order_by(Survey.number, Station.distance_mm, Station.code),
        "support_temperatures": select(Survey.number, Survey.phase, support, *_columns(SupportTemperature, *own))
        .join(Survey, Survey.id == SupportTemperature.survey_id)
        .join(Support, Support.id == SupportTemperature.support_id)
        .where(of_survey, SupportTemperature.withdrawn_at.is_(None))
        .order_by(Survey.number, Support.distance_mm, Support.code),
        "moves": select(
            func.coalesce(Survey.number, 0).label("number"),
            Survey.phase,
            func.coalesce(Support.code, Move.place).label("support"),
            *_columns(Move, "after_survey_id", "place", *own),
        )
        .outerjoin(Survey, Survey.id == Move.after_survey_id)
        .outerjoin(Support, Support.id == Move.support_id)
        .where(Move.session_id == session_id)
        .order_by(Survey.number, Support.distance_mm),
        "cold_targets": select(station, *_columns(ColdTarget, *own))
        .join(Station, Station.id == ColdTarget.station_id)
        .where(ColdTarget.session_id == session_id)
        .order_by(Station.distance_mm, Station.code),
        "findings": select(*_columns(Finding, *own))
        .where(Finding.session_id == session_id, Finding.withdrawn_at.is_(None))
        .order_by(Finding.item),
        "surveys": select(*_columns(Survey, "instrument_id")).where(of_survey).order_by(Survey.number),
    }
    kept = ("reason", "technician", "work_order", "running_hours", "ambient_c", "remarks")
    hung["sessions"] = select(*(getattr(VisitSession, name) for name in kept)).where(VisitSession.id == session_id)
    return {name: fetched(record, query) for name, query in hung.items()}


# --- facts that can be withdrawn ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FactsAsked:
    """Which facts of a kind are wanted; None means all. `since` and `until` are aware, until excluded."""

    line: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    number: int | None = None


def _facts(kind: str, asked: FactsAsked) -> tuple[Any, Any, Any]:
    """Return the rows of a kind, the model, and the column they are dated by."""
    known: dict[str, tuple[Any, Any]] = {
        "running-checks": (RunningCheck, RunningCheck.checked_at),
        "meters": (Meter, Meter.read_at),
        "tolerances": (Tolerance, Tolerance.from_on),
        "events": (Event, Event.happened_at),
        "wear": (Wear, Wear.measured_at),
        "findings": (Finding, VisitSession.started_at),
    }
    model, dated = known[kind]
    columns = [column for column in model.__table__.columns if column.name not in ("typed", "line_id")]
    station = Station.code.label("station")
    query: Any
    if kind == "wear":
        asset = func.coalesce(Gearbox.serial, Barrel.serial, Screw.serial).label("asset")
        query = (
            select(*columns, asset)
            .select_from(Wear)
            .outerjoin(Gearbox, Gearbox.id == Wear.gearbox_id)
            .outerjoin(Barrel, Barrel.id == Wear.barrel_id)
            .outerjoin(Screw, Screw.id == Wear.screw_id)
        )
        if asked.line is not None:
            placed = select(Placement.id).join(Line, Line.id == Placement.line_id)
            same = or_(
                Placement.gearbox_id == Wear.gearbox_id,
                Placement.barrel_id == Wear.barrel_id,
                Placement.screw_id == Wear.screw_id,
            )
            query = query.where(placed.where(Line.code == asked.line, same).exists())
    else:
        line = [Line.code.label("line"), Site.time_zone]
        if kind == "findings":
            visit = [VisitSession.code.label("session"), VisitSession.started_at]
            query = select(*columns, *visit, *line).join(VisitSession, VisitSession.id == Finding.session_id)
            query = query.join(Line, Line.id == VisitSession.line_id).where(VisitSession.state == "signed")
        else:
            own_line = model.line_id
            if kind == "meters":
                query = select(*columns, *line).join(Line, Line.id == own_line)
            else:
                query = select(*columns, station, *line).join(Line, Line.id == own_line)
                query = query.outerjoin(Station, Station.id == model.station_id)
            if kind == "events":
                query = query.add_columns(Support.code.label("support"))
                query = query.outerjoin(Support, Support.id == Event.support_id)
        query = query.outerjoin(Site, Site.id == Line.site_id)
        if asked.line is not None:
            query = query.where(Line.code == asked.line)
    if asked.number is not None:
        query = query.where(model.id == asked.number)
    # A day is compared with the day in which the moment lies; the caller's moments begin and end days of a site.
    if asked.since is not None:
        query = query.where(dated >= (asked.since.date() if kind == "tolerances" else asked.since))
    if asked.until is not None:
        query = query.where(dated < (asked.until.date() if kind == "tolerances" else asked.until))
    return query, model, dated


def facts(record: Record, kind: str, asked: FactsAsked, *, limit: int, offset: int = 0) -> Rows:
    """Return dated facts of a kind, withdrawn ones too, newest first.

    Parameters
    ----------
    record : an open session
    kind : `running-checks`, `meters`, `tolerances`, `events`, `wear` or `findings`
    asked : which of them
    limit, offset : how many, from where
    """
    query, model, dated = _facts(kind, asked)
    return fetched(record, query.order_by(dated.desc().nulls_last(), model.id.desc()).limit(limit).offset(offset))


def fact_count(record: Record, kind: str, asked: FactsAsked) -> int:
    """Return how many facts of a kind there are, withdrawn ones too."""
    query, model, _ = _facts(kind, asked)
    return record.scalar(select(func.count()).select_from(query.with_only_columns(model.id).subquery())) or 0


def withdrawn_counts(record: Record) -> dict[str, tuple[int, int]]:
    """Return how many facts of each kind stand and how many were withdrawn; findings of signed sessions only."""
    found: dict[str, tuple[int, int]] = {}
    models: Sequence[tuple[str, Any]] = (
        ("running-checks", RunningCheck),
        ("meters", Meter),
        ("tolerances", Tolerance),
        ("events", Event),
        ("wear", Wear),
        ("findings", Finding),
    )
    for kind, model in models:
        query = select(func.count(model.id), func.count(model.withdrawn_at))
        if kind == "findings":
            query = query.join(VisitSession, VisitSession.id == Finding.session_id)
            query = query.where(VisitSession.state == "signed")
        every, gone = record.execute(query).one()
        found[kind] = (every - gone, gone)
    return found
