"""What handing a plan over asks for: one function each, a planning service bound to a store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fleet.reports.job_sheet import JobSheet
from fleet.reports.plan_content import PlanContent
from fleet.services.planning import feeds, sheets
from fleet.services.planning.feeds import FeedListed, FeedMade


@dataclass(frozen=True, slots=True)
class HandOverSources:
    """The services behind papers, calendar files and feeds; a feed's secret is the only name it has here."""

    job_sheets: Callable[[PlanContent, str, int], tuple[JobSheet, ...]]
    calendar: Callable[[PlanContent], bytes]
    feeds: Callable[[], tuple[FeedListed, ...]]
    make_feed: Callable[[str, str | None, str], FeedMade]
    end_feed: Callable[[int, str], str]
    feed_calendar: Callable[[str], bytes]


def from_store(store: Any) -> HandOverSources:
    """Bind the services to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.
    """
    return HandOverSources(
        job_sheets=lambda plan, stop, part: sheets.job_sheets(store, plan, stop, part=part),
        calendar=feeds.calendar_of,
        feeds=lambda: feeds.feeds(store),
        make_feed=lambda name, site, by: feeds.make_feed(store, name=name, site=site, by=by),
        end_feed=lambda number, by: feeds.end_feed(store, number, by=by),
        feed_calendar=lambda token: feeds.feed_calendar(store, token),
    )
