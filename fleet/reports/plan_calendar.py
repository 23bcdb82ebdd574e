"""The visits of a plan as a calendar that other programs read (RFC 5545): one event a visit, as long as its stop.

A local time that comes twice means the first of the two (RFC 5545, 3.3.5), so a stop that begins or ends in the second
is written in UTC. Days stay days: they have no zone, and their end is the day after the last.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final
from urllib.parse import quote
from uuid import UUID, uuid5

from icalendar import Calendar, Event, Timezone

from fleet.reports import plan_words as say
from fleet.reports.calendar_zone import zone_rules
from fleet.reports.plan_content import PlanContent, PlanRow, Stop
from fleet.reports.plan_figures import crew_hours
from fleet.reports.sheet_words import SET_BASE_URL
from fleet.words import NBSP, chance, day

NAMESPACE: Final = UUID("7f0b8f0e-5b0a-4c55-9d0a-8f6a1d6b6c11")
"""Of the identifiers of visits; never changed, else calendars that took a visit in would hold it twice."""
MEDIA_TYPE: Final = "text/calendar; charset=utf-8"
REFRESH: Final = timedelta(hours=1)
_FIRST_EDITION: Final = datetime(2020, 1, 1, tzinfo=UTC)
"""Editions of a visit are numbered by the minutes from here on: a number that only grows, whichever plan it is from. A
plan's own version would begin anew with every plan, and calendars keep the event with the higher number."""
_MAKER: Final = "-//Asleft//Plan of visits//EN"
_SUMMER_AND_WINTER: Final = timedelta(days=400)
"""Rules of a zone are told from so long before the first moment to so long after the last."""


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A line that goes into a stop, and the plan that says so.

    Parameters
    ----------
    plan, row, stop : the plan, its line, and the stop as the plan has it
    moved_to : the stop as it is recorded now, where it was moved since the plan was kept
    cancelled : the outage was cancelled since
    """

    plan: PlanContent
    row: PlanRow
    stop: Stop
    moved_to: Stop | None = None
    cancelled: bool = False

    @property
    def held(self) -> Stop:
        """The stop as it is to be held."""
        return self.moved_to or self.stop


def visits_of(plan: PlanContent) -> tuple[PlannedVisit, ...]:
    """Return the visits of a plan, in the order of its lines."""
    return tuple(PlannedVisit(plan, row, plan.stop(row.chosen)) for row in plan.rows if row.chosen is not None)


def identifier(line: str, outage: str) -> str:
    """Return the name by which calendars know a visit: the same for the same line and outage in any plan."""
    return str(uuid5(NAMESPACE, f"{line}\n{outage}"))


def calendar(
    visits: Sequence[PlannedVisit], *, name: str, base_url: str | None, refresh: timedelta | None = None
) -> bytes:
    """Return visits as an iCalendar object, folded and with its time zones.

    Parameters
    ----------
    visits : each line and outage at most once
    name : what the calendar is called where it is shown
    base_url : where this Asleft is reached; without it the events say what to set in place of the job sheet's address
    refresh : how often a subscriber should look again; None: a file that is taken once
    """
    made = Calendar()
    made.add("prodid", _MAKER)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("name", _plain(name))
    made.add("x-wr-calname", _plain(name))
    if refresh is not None:
        made.add("refresh-interval", refresh, parameters={"VALUE": "DURATION"})
        made.add("x-published-ttl", _duration(refresh))
    for zone in _zones(visits):
        made.add_component(zone)
    for visit in visits:
        made.add_component(_event(visit, base_url))
    return bytes(made.to_ical())


def _event(visit: PlannedVisit, base_url: str | None) -> Event:
    plan, row, stop, kept = visit.plan, visit.row, visit.held, visit.plan.kept
    revised = plan.solved_at if kept is None else kept.signed_at or kept.made_at
    event = Event()
    event.add("uid", identifier(row.line, stop.code))
    # A stop that was moved or cancelled since is a later edition of the same visit.
    changed = visit.cancelled or visit.moved_to is not None
    event.add("sequence", (revised - _FIRST_EDITION) // timedelta(minutes=1) + changed)
    event.add("dtstamp", revised.astimezone(UTC))
    event.add("summary", _plain(f"Realign {row.line} ({' '.join(filter(None, (stop.kind, stop.code)))})"))
    start, end = _span(stop)
    event.add("dtstart", start)
    if end is not None:
        event.add("dtend", end)
    event.add("description", _plain("\n".join(_told(visit, base_url))))
    place = plan.site_names.get(row.site or "", row.site)
    if place:
        event.add("location", _plain(place))
    if (address := _job_sheet(row.line, base_url)) is not None:
        event.add("url", address)
    event.add("categories", ["Realignment"])
    signed = kept is not None and kept.state == "signed_off"
    event.add("status", "CANCELLED" if visit.cancelled else "CONFIRMED" if signed else "TENTATIVE")
    # A stop is when the line may be visited; nobody is busy all that time.
    event.add("transp", "TRANSPARENT")
    return event


def _span(stop: Stop) -> tuple[date | datetime, date | datetime | None]:
    """Return start and end as they are written; no end where none is recorded or it is no later than the start."""
    start, end = stop.starts_at, stop.ends_at
    later = end is not None and end.astimezone(UTC) > start.astimezone(UTC)
    if stop.whole_days:
        return start.date(), end.date() if end is not None and later else None
    shown = [start, *([end] if end is not None and later else [])]
    if _zone_name(stop) is None or any(moment.fold for moment in shown):
        shown = [moment.astimezone(UTC) for moment in shown]
    return shown[0], shown[1] if len(shown) > 1 else None


def _told(visit: PlannedVisit, base_url: str | None) -> Iterable[str]:
    plan, row, stop = visit.plan, visit.row, visit.stop
    choice = next(c for s, c in zip(plan.stops, row.choices, strict=True) if s.code == stop.code)
    if visit.cancelled:
        yield f"Cancelled: {stop.code} is cancelled since the plan was kept. Plan the visit anew."
    if visit.moved_to is not None:
        yield f"Moved: {stop.code} was {say.stop_dates(stop)} when the plan was kept; does the plan still hold?"
    yield f"{row.line} into {stop.code} ({say.stop_kind(visit.held)}), {say.stop_dates(visit.held)}."
    yield f"Visit: {crew_hours(row.visit_hours)}, {say.hours_from(row)}."
    yield f"Window: {say.window(row, stop)}; {say.fits(choice, stop)}."
    if row.chance_before is None:
        yield f"Chance of being over before it: none can be given, as of {day(plan.as_of)}; a first survey."
    else:
        yield f"Chance of being over before it: {chance(row.chance_before)}, as of {day(plan.as_of)}."
        yield f"If skipped: {say.risk(row, plan).removesuffix(' if skipped')}."
    yield f"Why: {say.reason(row, plan)}."
    yield from (f"Needs: {need}" for need in row.needs)
    address = _job_sheet(row.line, base_url)
    yield f"Job sheet: {address}" if address else f"Job sheet: no address known. {SET_BASE_URL}"
    yield say.state(plan)
    yield say.NO_PERMISSION


def _job_sheet(line: str, base_url: str | None) -> str | None:
    return f"{base_url.rstrip('/')}/job-sheet/{quote(line, safe='')}" if base_url else None


def _plain(text: str) -> str:
    """Return a text as an event may hold it: no control characters but line breaks, no hard spaces."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace(NBSP, " ")
    return "".join(c if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs") else " " for c in lines)


def _duration(time: timedelta) -> str:
    return f"PT{int(time.total_seconds() // 60)}M"


def _zone_name(stop: Stop) -> str | None:
    """Return the zone a stop's times are written in; None for UTC, which needs no rules."""
    key = getattr(stop.starts_at.tzinfo, "key", None)
    return None if key in (None, "UTC", "Etc/UTC") else str(key)


def _zones(visits: Sequence[PlannedVisit]) -> list[Timezone]:
    """Return the rules of every zone that is named, for the years around; a calendar without a visit holds UTC's.

    An iCalendar object has one component at least (RFC 5545, 3.6).
    """
    spans: dict[str, list[date]] = {}
    for visit in visits:
        name = _zone_name(visit.held)
        start, end = _span(visit.held)
        for moment in (start, end):
            if name is not None and isinstance(moment, datetime) and moment.tzinfo is not UTC:
                spans.setdefault(name, []).append(moment.date())
    if not visits:
        return [zone_rules("UTC", date(2020, 1, 1), date(2021, 1, 1))]
    return [
        zone_rules(name, min(days) - _SUMMER_AND_WINTER, max(days) + _SUMMER_AND_WINTER)
        for name, days in sorted(spans.items())
    ]
