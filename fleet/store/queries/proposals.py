"""What people decided on proposals."""

from __future__ import annotations

from sqlalchemy import select

from fleet.store.planning import Proposal
from fleet.store.plant import Line, Station
from fleet.store.queries.reading import Record, Rows, fetched
from fleet.store.running import Event
from fleet.store.visits import VisitSession


def decisions(record: Record) -> Rows:
    """Return every decision that counts, oldest first: one whose event was withdrawn counts no longer."""
    return fetched(
        record,
        select(
            Proposal.line_id,
            Line.code.label("line"),
            Station.code.label("station"),
            Proposal.axis,
            Proposal.evidence,
            Proposal.said,
            Proposal.decision,
            Proposal.decided_by,
            Proposal.decided_at,
            Proposal.why,
            VisitSession.code.label("after_session"),
            VisitSession.started_at,
        )
        .join(Line, Line.id == Proposal.line_id)
        .outerjoin(Station, Station.id == Proposal.station_id)
        .join(VisitSession, VisitSession.id == Proposal.after_session_id)
        .outerjoin(Event, Event.id == Proposal.event_id)
        .where(Event.withdrawn_at.is_(None))
        .order_by(Proposal.decided_at, Proposal.id),
    )
