"""Outages: who goes into which outage?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import light, marks, notices, numbers
from dashboard.components.aria import aria
from dashboard.components.pop import choice
from dashboard.pages import (
    outages_became,
    outages_edit,
    outages_figures,
    outages_hand_over,
    outages_kept,
    outages_what_if,
)
from dashboard.pages.outages_address import (
    LONGER,
    VIEWS,
    OutagesAsked,
    Pins,
    View,
    anew,
    free,
    read,
    released,
    write,
)
from dashboard.pages.outages_calendar import calendar_view
from dashboard.pages.outages_cards import cards
from dashboard.pages.outages_groups import PAGE_ROWS, page_of, pages_of
from dashboard.pages.outages_table import table
from dashboard.pages.outages_time import time_view
from dashboard.pages.page import Shown, head
from dashboard.plan_sources import PlanSources
from fleet import words
from fleet.errors import FleetError, NotFoundError
from fleet.reports import plan_words as said
from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import NEXT_TWO

TITLE: Final = "Who goes into which outage?"
CAPS: Final = (0.1, 0.15, 0.2, 0.3, 0.5)
AHEAD: Final = (NEXT_TWO, 6, 12, 24)
ASIDE: Final = 3
"""So many outages that are not planned into are told at once; the others are folded."""
FAR: Final = 0.01
"""From this share of its sum on, a plan that may be so far from the best is worth more time."""
Sections = tuple[Callable[[PlanSources, PlanContent, OutagesAsked, Address], list[Any]], ...]
SECTIONS: Final[Sections] = (
    outages_figures.below,
    outages_what_if.below,
    outages_kept.below,
    outages_hand_over.section,
    outages_became.section,
)
"""What stands below the plan in every view, in this order: each is given the sources, the plan, what is asked with the
pins as they stand, and the address; it returns its components."""
VIEW_WORDS: Final[dict[View, str]] = {"plan": "Plan", "time": "Time axis", "calendar": "Calendar"}


def outages_page(sources: PlanSources, address: Address, *, sections: Sections = SECTIONS) -> Shown:
    """Return the Outages page for one address: the plan it asks for, or why that cannot be made.

    Parameters
    ----------
    sources
        The planning services.
    address
        What is asked, what a person holds, the view.
    sections
        What stands below the plan.
    """
    shown, notes = read(address)
    if shown.plan is not None:
        try:
            kept = sources.kept(shown.plan)
        except NotFoundError as error:
            shown, notes = replace(shown, plan=None), (*notes, f"{error} The plan worked out now is shown.")
        else:
            return plan_page(sources, kept, shown, address, (*notes, *kept.dropped), sections)
    try:
        plan = sources.content(shown.asked)
    except FleetError as error:
        if shown.asked.into or shown.asked.out:
            return Shown("Outages", _pins_refused(str(error), shown, address), notes)
        raise
    return plan_page(sources, plan, shown, address, (*notes, *plan.dropped), sections)


def plan_page(
    sources: PlanSources,
    plan: PlanContent,
    shown: OutagesAsked,
    address: Address,
    notes: tuple[str, ...],
    sections: Sections = SECTIONS,
) -> Shown:
    """Return the page of a plan that is there."""
    if plan.lines_in_store == 0:
        return Shown("Outages", [*head(TITLE, None), notices.empty_store(), *_foot(plan)], notes)
    base = anew(shown, plan)
    body: list[Any] = [*head(TITLE, said.lead(plan), acts=_acts(plan)), _filters(plan, base, address)]
    if plan.older:
        body.append(notices.notice(f"As of {words.day(plan.as_of)}, before the newest records", plan.older))
    if not plan.rows:
        every = write(address, replace(base, asked=replace(base.asked, site=None)))
        return Shown("Outages", [*body, notices.filtered_away(plan.lines_in_store, every), *_foot(plan)], notes)
    # A kept plan stays in view until something of it is changed, which works it out anew.
    stay = base if plan.kept is None else shown
    over = _is_over(plan)
    body += [
        *outages_kept.above(sources, plan, base, address),
        # Once all its stops are past, what became of a plan is the answer, and the plan the evidence.
        *(outages_became.section(sources, plan, base, address) if over and sections else []),
        _views(plan, stay, address),
        *_odd(plan, base, address),
        *outages_edit.opened(sources, plan.site, shown, address),
        *outages_what_if.answered(sources, plan, base, address),
    ]
    if shown.view == "calendar":
        body += calendar_view(plan, sources.outages(plan.site), base, address)
    elif shown.view == "time":
        body += [*time_view(plan, base, address), *_pages(plan, stay, address)]
    else:
        body += [
            *table(plan, base, address),
            *cards(plan, base, address),
            *_pages(plan, stay, address),
            *([_key()] if plan.stops else []),
            *([] if over else _aside(plan)),
        ]
    for section in sections:
        if not (over and section is outages_became.section):
            body += section(sources, plan, base, address)
    return Shown("Outages", [*body, *_foot(plan)], notes)


def _is_over(plan: PlanContent) -> bool:
    """Return whether a plan is kept and all its stops are past."""
    moment = datetime.now(UTC)
    ends = [(stop.ends_at or stop.starts_at).astimezone(UTC) for stop in plan.stops]
    return plan.kept is not None and bool(ends) and max(ends) < moment


def _acts(plan: PlanContent) -> list[Any]:
    """Return the ways down to what is done with a plan: handed over, kept, signed off."""
    if not plan.stops:
        return []
    state = plan.kept.state if plan.kept is not None else None
    keep = {None: "Save plan", "saved": "Sign off", "signed_off": "Reopen"}[state]
    return [
        html.A("Hand over", href="#hand-over", className="btn"),
        html.A(keep, href="#keep", className="btn main"),
    ]


def _filters(plan: PlanContent, base: OutagesAsked, address: Address) -> html.Div:
    asked = base.asked
    name = plan.site_names.get

    def to(**changes: Any) -> str:
        return write(address, replace(base, page=1, stops=1, asked=replace(asked, **changes)))

    setting = None if plan.cap_asked else plan.cap
    caps = sorted({*CAPS, plan.cap})
    ahead = sorted({*AHEAD, plan.ahead_months})
    parts: list[Any] = [
        choice(
            "Site",
            "all" if plan.site is None else name(plan.site, plan.site),
            [("all", to(site=None)), *((label, to(site=code)) for code, label in plan.site_names.items())],
        ),
        choice(
            "Cap on being over before a visit",
            said.percent(plan.cap),
            [(said.percent(cap), to(cap=None if cap == setting else cap)) for cap in caps],
        ),
        choice("Ahead", _months(plan.ahead_months), [(_months(m, long=True), to(ahead_months=m)) for m in ahead]),
        html.Span([said.solved(plan), *_worth(plan, base, address)], className="dim mid", role="status"),
    ]
    return html.Div(parts, className="filters")


def _months(months: int, *, long: bool = False) -> str:
    if months == NEXT_TWO:
        return "next two stops, best where you plan anew before each" if long else "next two stops"
    return f"{months} months" if months != 1 else "1 month"


def _worth(plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return how near the plan is to the best possible, and the way to look longer where that may be far."""
    if not plan.stops:
        return []
    told = f"; within {max(said.rounded(plan.gap * 100, 1), '0.1')}\u00a0% of the best possible"
    if plan.gap <= FAR or base.asked.seconds >= LONGER:
        return [told]
    longer = write(address, replace(base, asked=replace(base.asked, seconds=LONGER)))
    return [told, ". ", dcc.Link(f"Look for a better one for {LONGER:g} s", href=longer)]


def _views(plan: PlanContent, base: OutagesAsked, address: Address) -> html.Div:
    entries: list[Any] = []
    for view in VIEWS:
        if view == base.view:
            entries.append(html.Span(VIEW_WORDS[view], className="on", **aria(current="page")))
        else:
            entries.append(dcc.Link(VIEW_WORDS[view], href=write(address, replace(base, view=view, page=1))))
    views = html.Nav(entries, className="read stay", **aria(label="Views of the plan"))
    every = dcc.Link("Take all pins away", href=write(address, free(anew(base, plan))), className="btn plain")
    return html.Div([views, *([every] if plan.pinned else [])], className="pl-views")


def _odd(plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return what is missing for a plan, each as a sentence with the one next step."""
    enter = html.P(dcc.Link("Record an outage here", href=write(address, replace(base, edit="new"))))
    found: list[Any] = []
    if plan.outages_in_store == 0:
        found.append(
            notices.notice(
                "No outages yet",
                "No outage is recorded, so there is nothing to plan a visit into. Record the next one, or bring in a "
                "table outages with a file of records.",
                enter,
                html.P(html.Code("asleft import FOLDER")),
            )
        )
    elif not plan.stops:
        where = f" for {plan.site_names.get(plan.site, plan.site)}" if plan.site else ""
        found.append(
            notices.notice(
                "No outage ahead",
                f"No planned outage begins after {words.day(plan.as_of)}{where}; those on record are past, done or "
                "cancelled. The chances below run to the plan’s end.",
                *(aside.why for aside in plan.aside),
                enter,
            )
        )
    if all(row.chance_before is None for row in plan.rows):
        found.append(
            notices.notice(
                "No line has a forecast",
                "Without two visits and a limit no chance can be given, so no visit is planned by itself. Pin lines "
                "into a stop by hand, or import older sheets.",
            )
        )
    return found


def _aside(plan: PlanContent) -> list[Any]:
    """Return what is odd about the stops, and which outages are left aside and why."""
    told = [note for stop in plan.stops for note in stop.notes]
    aside = [each.why for each in plan.aside if plan.stops]
    if not (told or aside):
        return []
    told, more = [*told, *aside[:ASIDE]], aside[ASIDE:]
    parts: list[Any] = [light.H2("About the outages"), light.Ul([light.Li(sentence) for sentence in told])]
    if more:
        parts.append(
            light.Details(
                [
                    light.Summary(f"{numbers.count(len(more))} more not planned into".capitalize()),
                    light.Ul([light.Li(sentence) for sentence in more]),
                ]
            )
        )
    return [light.Section(parts, className="pl-aside")]


def _pages(plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    pages, page = pages_of(plan), page_of(plan, base)
    if pages == 1:
        return []
    first = (page - 1) * PAGE_ROWS + 1
    last = min(page * PAGE_ROWS, len(plan.rows))
    parts: list[Any] = [html.Span(f"Lines {first}–{last} of {len(plan.rows)}")]
    for number, text in ((page - 1, f"Earlier {PAGE_ROWS}"), (page + 1, f"Next {PAGE_ROWS}")):
        if 1 <= number <= pages:
            parts.append(dcc.Link(text, href=write(address, replace(base, page=number)), className="btn"))
    return [html.Nav(parts, className="pages", **aria(label="Pages of the table"))]


def _key() -> html.Div:
    return marks.key(
        ("k-visit", "the stop the line goes into: chance over before it, crew hours, hours by the clock it takes"),
        ("", "before the visit: chance of being over before that stop starts"),
        ("", "after it: the same if the visit is skipped"),
        ("pinm", "pinned by hand; press another cell of the row, or drag the visit there, to pin the line"),
    )


def _foot(plan: PlanContent) -> list[Any]:
    return [
        html.Footer(
            html.P([f"{said.CHANCES} State of {words.day(plan.as_of)}. ", html.B(said.NO_PERMISSION)]),
            className="foot",
        )
    ]


def _pins_refused(sentence: str, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return what stands in place of a plan whose pins cannot be kept: why, which there are, how to take them away."""
    asked = shown.asked
    entries = [*_pin_links(asked.into, "into", shown, address), *_pin_links(asked.out, "out of", shown, address)]
    return [
        *head(TITLE, "These pins cannot be kept, so nothing was worked out."),
        notices.notice(
            "Pins that cannot be kept",
            f"{sentence}{'' if sentence.endswith('.') else '.'}",
            html.P("Held by hand now:"),
            html.Ul(entries, className="pl-pins"),
            html.P(dcc.Link("Take all pins away", href=write(address, free(shown)), className="btn")),
            warn=True,
        ),
        html.P(html.B(said.NO_PERMISSION), className="foot"),
    ]


def _pin_links(pins: Pins, how: str, shown: OutagesAsked, address: Address) -> list[html.Li]:
    return [
        html.Li(
            [
                f"{line} {how} {outage} ",
                dcc.Link(
                    ["take it away", html.Span(f": {line} {how} {outage}", className="vh")],
                    href=write(address, released(shown, line, outage)),
                    className="pl-act",
                ),
            ]
        )
        for line, outage in pins
    ]
