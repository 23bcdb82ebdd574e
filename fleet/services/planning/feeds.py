"""Plans as calendars: a file of one plan, and feeds that calendars subscribe to by an address with a secret in it."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from fleet.errors import InputError, NotFoundError
from fleet.reports.plan_calendar import REFRESH, PlannedVisit, calendar, visits_of
from fleet.reports.plan_content import PlanContent, Stop
from fleet.services.job_sheet import BASE_URL
from fleet.services.people import unverified
from fleet.services.planning.keeping import kept_plan
from fleet.services.planning.windows import Window, windows_of
from fleet.services.settings import settings_of
from fleet.services.site_time import zone_of
from fleet.store import feeds as kept_feeds
from fleet.store import queries
from fleet.store.engine import Store

PAST: Final = timedelta(days=365)
"""A visit stands in a feed until its stop is so long over."""
_TOKEN_BYTES: Final = 32
_LONGEST: Final = 80
_GONE: Final = "There is no calendar under this address; ask the planner for a new one."


@dataclass(frozen=True, slots=True)
class FeedListed:
    """A feed in the list; `made_at` in the zone of its site, UTC where it is of all sites."""

    number: int
    name: str
    site: str | None
    made_by: str
    made_at: datetime


@dataclass(frozen=True, slots=True)
class FeedMade:
    """A feed that was just made: its path, told this once, and what to do with it."""

    number: int
    path: str
    said: str


def calendar_of(plan: PlanContent, *, base_url: str | None = None) -> bytes:
    """Return the visits of a plan as a calendar file.

    Parameters
    ----------
    plan : kept, or worked out just now
    base_url : where this Asleft is reached; None: as ASLEFT_BASE_URL says
    """
    where = "every site" if plan.site is None else plan.site_name or plan.site
    return calendar(visits_of(plan), name=f"Visits at {where}", base_url=base_url or os.environ.get(BASE_URL))


def make_feed(store: Store, *, name: str, site: str | None, by: str, now: datetime | None = None) -> FeedMade:
    """Make a feed of the visits that are signed off; its address is told this once and kept nowhere.

    Parameters
    ----------
    store : the record
    name : whose calendar it is for
    site : lines of this site only; None: every site
    by : typed name of the person
    now : the present moment, aware, for tests

    Raises
    ------
    InputError
        No name was typed for the feed or the person, or it is too long.
    StoreError
        There is no such site.
    """
    who, called = unverified(by), " ".join(name.split())
    if not called:
        raise InputError("A calendar feed is told apart by its name; type whose calendar it is for.")
    if len(called) > _LONGEST:
        raise InputError(f"The name of the feed has {len(called)} characters; write it in {_LONGEST} or fewer.")
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    with store.write() as transaction:
        number = kept_feeds.add_feed(
            transaction, name=called, site=site, token=token, who=who, at=now or datetime.now(UTC)
        )
    said = (
        "Copy it now: it is not shown again. Whoever has it can read the visits; end the feed if it gets into wrong "
        "hands."
    )
    return FeedMade(number, f"/calendar/{token}.ics", said)


def end_feed(store: Store, number: int, *, by: str, now: datetime | None = None) -> str:
    """End a feed for good: its address answers no longer.

    Parameters
    ----------
    store : the record
    number : of the feed
    by : typed name of the person
    now : the present moment, aware, for tests

    Returns
    -------
    that it is, in a sentence

    Raises
    ------
    InputError
        No name was typed.
    StoreError
        There is no such feed, or it was ended already.
    """
    who = unverified(by)
    with store.write() as transaction:
        name = kept_feeds.end_feed(transaction, number, who=who, at=now or datetime.now(UTC))
    return f"The calendar feed ‘{name}’ is ended; its address answers no longer."


def feeds(store: Store) -> tuple[FeedListed, ...]:
    """Return the feeds that are not ended, newest first."""
    with store.read() as record:
        rows = kept_feeds.feeds(record)
    return tuple(
        FeedListed(row.id, row.name, row.site, row.created_by, row.created_at.astimezone(zone_of(row.time_zone)))
        for row in rows
    )


def feed_calendar(store: Store, token: str, *, base_url: str | None = None, now: datetime | None = None) -> bytes:
    """Return what a feed's address gives: every line's visit by the newest plan signed off that covers it.

    A stop that was moved since is where it is now and says so, one that was cancelled is marked; a visit whose stop is
    over by more than a year is left out.

    Parameters
    ----------
    store : the record
    token : the secret in the address
    base_url : where this Asleft is reached; None: as ASLEFT_BASE_URL says
    now : the present moment, aware, for tests

    Raises
    ------
    NotFoundError
        No feed has this secret, or it was ended: the two are not told apart.
    """
    moment = now or datetime.now(UTC)
    with store.read() as record:
        feed = kept_feeds.feed_of(record, token)
        if feed is None:
            raise NotFoundError(_GONE)
        rows = kept_feeds.visits_signed_off(record, feed.site)
        current = {
            w.code: w for w in windows_of(queries.all_outages(record), settings_of(queries.settings(record)), now)
        }
    rows = [row for row in rows if current[row.outage].last_at > moment - PAST]
    plans = {code: kept_plan(store, code) for code in dict.fromkeys(row.plan for row in rows)}
    where = "every site" if feed.site is None else feed.site_name or feed.site
    return calendar(
        tuple(_visits(rows, plans, current)),
        name=f"Visits at {where}",
        base_url=base_url or os.environ.get(BASE_URL),
        refresh=REFRESH,
    )


def _visits(rows: list[Any], plans: Mapping[str, PlanContent], current: Mapping[str, Window]) -> Iterator[PlannedVisit]:
    places = {code: {row.line: row for row in plan.rows} for code, plan in plans.items()}
    for found in rows:
        plan, row = plans[found.plan], places[found.plan].get(found.line)
        if row is None or row.chosen != found.outage:
            continue  # saved over between two looks at the record
        stop, window = plan.stop(found.outage), current[found.outage]
        cancelled = window.state == "cancelled"
        yield PlannedVisit(plan, row, stop, None if cancelled else _moved(stop, window), cancelled)


def _moved(stop: Stop, window: Window) -> Stop | None:
    """Return a stop as it is recorded now, None where it stands as it was planned."""
    same = stop.starts_at == window.starts_at and stop.ends_at == window.ends_at
    if same:
        return None
    return replace(stop, starts_at=window.starts_at, ends_at=window.ends_at, whole_days=window.whole_days)
