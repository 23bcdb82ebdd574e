"""Which lines and stops stand together on the Outages page: one group a site, so that a column serves its rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dashboard.pages.outages_address import OutagesAsked
from fleet.reports.plan_content import Choice, PlanContent, PlanRow, Stop

PAGE_ROWS: Final = 50
STOPS_SHOWN: Final = 4
"""Columns that fit beside one another with a visit's block readable in each."""


@dataclass(frozen=True, slots=True)
class Group:
    """Lines of one site with the stops that serve any of them.

    Parameters
    ----------
    site, name : of the lines, None for those without a site; the name is empty where all lines are of one site
    rows : those on this page of the table
    stops : indices of all stops that serve a line of the site
    shown : those of them whose columns are shown
    page, pages : of the columns, from 1
    """

    site: str | None
    name: str
    rows: tuple[PlanRow, ...]
    stops: tuple[int, ...]
    shown: tuple[int, ...]
    page: int
    pages: int


def groups(plan: PlanContent, shown: OutagesAsked) -> tuple[Group, ...]:
    """Return the groups that a page of the table holds, lines without a site last."""
    order = [*plan.site_names, *(row.site for row in plan.rows), None]
    place = {site: number for number, site in reversed(list(enumerate(order))) if site is not None}
    last = len(order)
    rows = sorted(plan.rows, key=lambda row: place.get(row.site or "", last))
    first = (page_of(plan, shown) - 1) * PAGE_ROWS
    sites = list(dict.fromkeys(row.site for row in rows))
    return tuple(
        _group(plan, site, rows, on_page, shown, several=len(sites) > 1)
        for site in sites
        if (on_page := tuple(row for row in rows[first : first + PAGE_ROWS] if row.site == site))
    )


def _group(
    plan: PlanContent,
    site: str | None,
    rows: list[PlanRow],
    on_page: tuple[PlanRow, ...],
    shown: OutagesAsked,
    *,
    several: bool,
) -> Group:
    of_site = [row for row in rows if row.site == site]
    stops = tuple(
        number
        for number in range(len(plan.stops))
        if any(row.choices[number].closed != "serves_others" for row in of_site)
    )
    pages = max(-(-len(stops) // STOPS_SHOWN), 1)
    page = min(shown.stops, pages)
    name = plan.site_names.get(site, site) if site is not None else "Lines without a site"
    # The last page is filled up from before, so that it is as wide as the others.
    start = max(min((page - 1) * STOPS_SHOWN, len(stops) - STOPS_SHOWN), 0)
    return Group(
        site=site,
        name=name if several else "",
        rows=on_page,
        stops=stops,
        shown=stops[start : start + STOPS_SHOWN],
        page=page,
        pages=pages,
    )


def pages_of(plan: PlanContent) -> int:
    """Return how many pages the table's lines fill."""
    return max(-(-len(plan.rows) // PAGE_ROWS), 1)


def page_of(plan: PlanContent, shown: OutagesAsked) -> int:
    """Return the page of lines that is shown: the one asked for, or the last there is."""
    return min(shown.page, pages_of(plan))


def stop_of(plan: PlanContent, row: PlanRow) -> tuple[Stop, Choice] | None:
    """Return the stop that a line goes into and what is known of the two, None without a visit."""
    for stop, choice in zip(plan.stops, row.choices, strict=True):
        if stop.code == row.chosen:
            return stop, choice
    return None
