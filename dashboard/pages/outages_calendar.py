"""The outages by month: each as a bar on its days at its site, and in words with its zone; the way to change one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final

from dashboard.address import Address
from dashboard.components import light, marks
from dashboard.components.aria import aria
from dashboard.components.light import Element
from dashboard.pages.outages_address import OutagesAsked, write
from fleet import words
from fleet.reports import plan_words as said
from fleet.reports.plan_content import AsideStop, PlanContent
from fleet.services.planning.editing import OutageListed
from fleet.services.planning.forms import NEW
from fleet.words import NBSP

_BACK_MONTHS: Final = 2
"""Months before today that are drawn; what ended earlier is listed below."""
_DAYS: Final = 31
"""Columns of a month, so that a day stands under the same day of every month."""


def calendar_view(
    plan: PlanContent, outages: Sequence[OutageListed], shown: OutagesAsked, address: Address
) -> list[Any]:
    """Return the outages on record, month by month.

    Parameters
    ----------
    plan
        The plan in view: what it takes of the stops it considers, and why others are left aside.
    outages
        Every outage on record of the sites in view, in time order.
    shown, address
        What the page shows, for the ways to change an outage.
    """
    if not outages:
        return []
    first = _first_of_month(plan.as_of, -_BACK_MONTHS)
    drawn = [outage for outage in outages if last_day(outage) >= first]
    older = [outage for outage in outages if last_day(outage) < first]
    months = _months(first, max([plan.as_of, *(last_day(outage) for outage in drawn)]))
    entries = [_month(month, drawn, plan, shown, address) for month in months]
    enter = light.Link("Enter a new outage", href=write(address, replace(shown, edit=NEW)), className="btn")
    return [
        light.P(enter, className="pc-enter"),
        light.Div(light.Ul(entries, className="pc-months"), className="sheet pcal"),
        marks.key(
            ("k-planned", "planned"),
            ("k-begun", "over or done"),
            ("k-cancelled", "cancelled"),
            ("k-today", "today"),
        ),
        *([_older(older, plan, shown, address)] if older else []),
    ]


def first_day(outage: OutageListed) -> date:
    """Return the first day of an outage at its site."""
    return outage.starts_at.date()


def last_day(outage: OutageListed) -> date:
    """Return the last day an outage reaches into; one that ends at midnight ends on the day before."""
    start, end = outage.starts_at, outage.ends_at
    if end is None or end <= start:
        return start.date()
    return (end - timedelta(microseconds=1)).date()


def state(outage: OutageListed) -> str:
    """Return how an outage stands in a word: planned, under way, past, done, cancelled."""
    if outage.state != "planned":
        return outage.state
    if outage.past:
        return "past, still marked planned"
    now = datetime.now(outage.starts_at.tzinfo)
    return "under way" if outage.starts_at <= now else "planned"


def _kind(outage: OutageListed) -> str:
    if outage.state == "cancelled":
        return "cancelled"
    return "begun" if outage.state == "done" or outage.past else "planned"


def _first_of_month(day: date, months: int = 0) -> date:
    whole = day.year * 12 + day.month - 1 + months
    return date(whole // 12, whole % 12 + 1, 1)


def _months(first: date, last: date) -> list[date]:
    found = [first]
    while (following := _first_of_month(found[-1], 1)) <= last:
        found.append(following)
    return found


def _month(
    month: date, outages: Sequence[OutageListed], plan: PlanContent, shown: OutagesAsked, address: Address
) -> Element:
    following = _first_of_month(month, 1)
    here = [outage for outage in outages if first_day(outage) < following and last_day(outage) >= month]
    days = (following - month).days
    ruler = [
        light.I(f"{day}{NBSP}{words.month_of_year(month)}", style={"left": f"{100 * (day - 0.5) / _DAYS:.2f}%"})
        for day in (1, 8, 15, 22, 29)
        if day <= days
    ]
    today = month <= plan.as_of < following
    if today:
        at = 100 * (plan.as_of.day - 0.5) / _DAYS
        ruler.append(
            light.I(className="pc-today", style={"left": f"{at:.2f}%"}, title=f"today, {words.day(plan.as_of)}")
        )
    lanes = [_lane(outage, month, following, plan, shown, address) for outage in here]
    name: list[Any] = [words.month(month), *([light.Small(" today")] if today else [])]
    return light.Li(
        [
            light.H3(name, className="pc-name"),
            light.Div(
                [
                    *([light.Div(ruler, className="pc-ruler", **aria(hidden="true"))] if here or today else []),
                    light.Ul(lanes) if lanes else light.P("no outage", className="note"),
                ],
                className="pc-lanes",
            ),
        ],
        className="pc-month" if here else "pc-month empty",
    )


def _lane(
    outage: OutageListed, month: date, following: date, plan: PlanContent, shown: OutagesAsked, address: Address
) -> Element:
    first, last = first_day(outage), last_day(outage)
    begins, ends = max(first, month), min(last, following - timedelta(days=1))
    left = 100 * (begins.day - 1) / _DAYS
    width = 100 * ((ends - begins).days + 1) / _DAYS
    cut = " from" if first < month else ""
    cut += " on" if last >= following else ""
    bar = light.I(className=f"pc-bar {_kind(outage)}{cut}", style={"left": f"{left:.2f}%", "width": f"{width:.2f}%"})
    if first < month:
        text: list[Any] = [
            light.Span(outage.code, className="pl-code"),
            light.Span(f" goes on, to {words.day(last)}", className="dim"),
        ]
    else:
        text = told(outage, plan, shown, address)
    return light.Li([light.Div(bar, className="pc-track", **aria(hidden="true")), light.Div(text, className="pc-told")])


def told(outage: OutageListed, plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return an outage in words: code, site, days with their zone, kind, state, what the plan takes of it."""
    edit = write(address, replace(shown, edit=outage.code))
    as_stop = AsideStop(
        outage.code, outage.kind, outage.site, outage.line, outage.starts_at, outage.ends_at, outage.whole_days,
        outage.crew_hours, outage.crews, outage.state, "",
    )  # fmt: skip
    zone = f" ({said.zone_name(outage.starts_at)})" if outage.whole_days else ""
    parts: list[Any] = [
        light.Link(outage.code, href=edit, className="pl-code go", title=f"change {outage.code}"),
        light.Span(
            f" {said.stop_dates(as_stop)}{zone}; {said.stop_kind(as_stop)}; {said.serves(as_stop)}; ", className="dim"
        ),
        light.B(state(outage), className=f"pc-{_kind(outage)}"),
    ]
    stop = next((stop for stop in plan.stops if stop.code == outage.code), None)
    aside = next((aside for aside in plan.aside if aside.code == outage.code), None)
    if stop is not None:
        visits = said.count(stop.visits, "visit")
        parts.append(light.Span(f"; {visits}, {said.stop_room(stop)}", className="dim"))
        parts += [light.Span(f". {note.rstrip('.')}", className="dim") for note in stop.notes]
    elif aside is not None and outage.state == "planned":
        parts.append(light.Span(f". {aside.why}", className="dim"))
    return parts


def _older(older: Sequence[OutageListed], plan: PlanContent, shown: OutagesAsked, address: Address) -> Element:
    entries = [light.Li(told(outage, plan, shown, address)) for outage in reversed(older)]
    told_of = "outage" if len(older) == 1 else "outages"
    return light.Details(
        [
            light.Summary(f"{len(older)} earlier {told_of}, the newest of {words.month(last_day(older[-1]))}"),
            light.Ul(entries, className="pc-older"),
        ],
        className="astable",
    )
