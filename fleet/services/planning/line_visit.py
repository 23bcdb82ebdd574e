"""Where a line's next visit is planned, as its own page says it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.services.plant import LineInfo
from fleet.services.site_time import end_of_day
from fleet.store import queries
from fleet.store.feeds import visits_signed_off


@dataclass(frozen=True, slots=True)
class LineVisit:
    """The visit that the newest plan signed off has for a line; times in the zone of its site."""

    outage: str
    kind: str | None
    starts_at: datetime
    plan: str
    signed_by: str
    signed_at: datetime


def line_visit(record: queries.Record, line: LineInfo, day: date) -> LineVisit | None:
    """Return a line's planned visit; None where no plan that is signed off has one ahead.

    An outage that was moved is told where it is now; one that is past, begun, done or cancelled is no visit ahead.

    Parameters
    ----------
    record : open session of `Store.read()`
    line : the line
    day : today at its site
    """
    for row in visits_signed_off(record, None, line_id=line.id):
        if row.state == "planned" and row.starts_at > end_of_day(day, line.zone):
            starts, signed = row.starts_at.astimezone(line.zone), row.signed_at.astimezone(line.zone)
            return LineVisit(row.outage, row.kind, starts, row.plan, row.signed_by, signed)
    return None
