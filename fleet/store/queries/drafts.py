"""Visits that are being recorded, and what became of them."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from fleet.store.drafts import Draft, DraftEntry
from fleet.store.plant import Line, Site
from fleet.store.queries.reading import Record, Rows, fetched
from fleet.store.visits import VisitSession


def drafts(record: Record, line: str | None = None, client_key: str | None = None) -> Rows:
    """Return the drafts that are open, the one typed into last first."""
    corrected = VisitSession
    query = (
        select(
            Draft.id,
            Draft.client_key,
            Draft.line_id,
            Line.code.label("line"),
            Site.code.label("site"),
            Site.time_zone,
            Draft.created_by,
            Draft.created_at,
            Draft.updated_at,
            Draft.version,
            corrected.code.label("corrects"),
            select(func.count(DraftEntry.id))
            .where(DraftEntry.draft_id == Draft.id)
            .correlate(Draft)
            .scalar_subquery()
            .label("entries"),
        )
        .join(Line, Line.id == Draft.line_id)
        .outerjoin(Site, Site.id == Line.site_id)
        .outerjoin(corrected, corrected.id == Draft.corrects_id)
        .order_by(Draft.updated_at.desc(), Draft.id.desc())
    )
    if line is not None:
        query = query.where(Line.code == line)
    if client_key is not None:
        query = query.where(Draft.client_key == client_key)
    return fetched(record, query)


def draft_entries(record: Record, draft_id: int) -> Rows:
    """Return everything typed into a draft: field, value, typed_at, device, sequence."""
    return fetched(
        record,
        select(DraftEntry.field, DraftEntry.value, DraftEntry.typed_at, DraftEntry.device, DraftEntry.sequence)
        .where(DraftEntry.draft_id == draft_id)
        .order_by(DraftEntry.field),
    )


def signed_as(record: Record, client_key: str) -> Rows:
    """Return the signed session a draft became: code and line; none where it is not signed."""
    return fetched(
        record,
        select(VisitSession.code.label("session"), Line.code.label("line"))
        .join(Line, Line.id == VisitSession.line_id)
        .where(VisitSession.client_key == client_key, VisitSession.state == "signed"),
    )


def session_codes(record: Record, beginning: str) -> frozenset[str]:
    """Return the codes of all sessions that begin with some text."""
    query = select(VisitSession.code).where(VisitSession.code.startswith(beginning, autoescape=True))
    return frozenset(record.scalars(query).all())


def session_to_correct(record: Record, code: str) -> Rows:
    """Return what a correction has to know of a session: its line, state and start, and what corrects it already."""
    later = aliased(VisitSession)
    return fetched(
        record,
        select(
            VisitSession.id,
            VisitSession.code,
            Line.code.label("line"),
            VisitSession.state,
            VisitSession.started_at,
            later.code.label("corrected_by"),
        )
        .join(Line, Line.id == VisitSession.line_id)
        .outerjoin(later, later.corrects_id == VisitSession.id)
        .where(VisitSession.code == code),
    )
