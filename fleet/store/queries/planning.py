"""What a plan asks of past visits: crew hours, what they found, by what they were measured."""

from __future__ import annotations

from typing import Final

from sqlalchemy import exists, func, select

from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.visits import Finding, Survey, VisitSession

CREW_HOURS: Final = "crew hours"
"""Item of the finding that says how many crew hours a visit took, in h; capitals do not matter."""


def crew_hours(record: Record) -> Rows:
    """Return what the visits that count say of their crew hours, as written, by line and time.

    `set_to` tells whether the visit has an as-left survey: one that was broken off says little of what a visit takes.
    """
    set_to = exists().where(Survey.session_id == VisitSession.id, Survey.phase == "as_left")
    return fetched(
        record,
        select(
            VisitSession.line_id,
            VisitSession.id.label("session_id"),
            VisitSession.started_at,
            Finding.value,
            Finding.unit,
            set_to.label("set_to"),
        )
        .join(VisitSession, VisitSession.id == Finding.session_id)
        .where(counts(), Finding.withdrawn_at.is_(None), func.lower(func.trim(Finding.item)) == CREW_HOURS)
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code),
    )
