"""Handing a plan over: on paper, as tables, as a calendar file, the job sheets of each stop, and the feeds."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.address import Address
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from dashboard.pages.outages_address import OutagesAsked, read, write
from dashboard.plan_sources import PlanSources
from fleet import words
from fleet.reports import plan_words as said
from fleet.reports.plan_content import PlanContent, Stop
from fleet.reports.plan_figures import count
from fleet.services.planning.feeds import FeedListed
from fleet.services.planning.sheets import A_PART, parts

MAKE: Final = "feed-make"
NAME: Final = "feed-name"
BY: Final = "feed-by"
SITE: Final = "feed-site"
SAID: Final = "feed-said"
END: Final = "feed-end"
LISTED: Final = "feed-list"
ADDRESS: Final = "feed-address"


def part(kind: str, number: Any) -> dict[str, Any]:
    """Return the id of what belongs to one feed."""
    return {"type": kind, "number": number}


def section(sources: PlanSources, plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return the section that hands the plan in view over.

    Parameters
    ----------
    sources
        The planning services.
    plan
        The plan in view.
    base
        What is asked with the plan's own pins; not needed, because files are of the view itself.
    address
        The view.
    """
    del base
    if not plan.rows or not plan.stops:
        return []
    return [
        html.Section(
            [
                html.H2("Hand over", id="hand-over"),
                html.P(f"The plan as this view shows it. {said.state(plan)} {said.NO_PERMISSION}", className="fact"),
                html.Div(
                    [
                        _file("Print", _to(address, "print"), "the plan on paper, with a box to tick for every visit"),
                        _file("PDF", _to(address, "pdf"), "the plan on paper as PDF"),
                        _file("Calendar file", _to(address, "calendar.ics"), "every visit as an event of a calendar"),
                    ],
                    className="acts",
                ),
                html.P(
                    ["Every line: ", table_links("plan", address, "every line of the plan")], className="dim ho-tables"
                ),
                html.P(["Every stop: ", table_links("plan-stops", address, "every stop of the plan")], className="dim"),
                html.H3("Job sheets of a stop"),
                _sheets(plan, address),
                *_feeds(sources, plan),
            ],
            className="sheet pad lform pk noprint",
        )
    ]


def _to(address: Address, what: str, **more: str) -> str:
    """Return the address of a file of the view: the page's own query behind another path."""
    _, _, query = write(address, read(address)[0]).partition("?")
    told = "&".join(filter(None, (query, *(f"{name}={quote(value, safe='')}" for name, value in more.items()))))
    return f"/outages/{what}" + (f"?{told}" if told else "")


def _file(text: str, to: str, what: str) -> html.A:
    return html.A(text, href=to, className="btn", title=what, target="_blank", **aria(label=f"{text}: {what}"))


def _sheets(plan: PlanContent, address: Address) -> html.Ul:
    rows = [
        html.Li(
            [html.Span(f"{stop.code}, {said.stop_dates(stop)}: "), *_sheet_links(plan, stop, address)],
            className="ho-stop",
        )
        for stop in plan.stops
    ]
    return html.Ul(rows, className="ho-list")


def _sheet_links(plan: PlanContent, stop: Stop, address: Address) -> list[Any]:
    lines = len(plan.rows_of(stop.code))
    if not lines:
        return ["no visit"]
    number = parts(plan, stop.code)
    if number == 1:
        text = f"{count(lines, 'job sheet')}, PDF"
        return [html.A(text, href=_to(address, "job-sheets.pdf", stop=stop.code), className="ho-link", target="_blank")]
    links: list[Any] = []
    for at in range(1, number + 1):
        text = f"job sheets {(at - 1) * A_PART + 1}–{min(at * A_PART, lines)}, PDF"
        to = _to(address, "job-sheets.pdf", stop=stop.code, part=str(at))
        links += [*([" "] if links else []), html.A(text, href=to, className="ho-link", target="_blank")]
    return links


def _feeds(sources: PlanSources, plan: PlanContent) -> list[Any]:
    where = "every site" if plan.site is None else plan.site_name or plan.site
    return [
        html.H3("Calendar feed", id="feeds"),
        html.P(
            f"An address that a calendar program looks at again and again. It gives every visit at {where} by the "
            "newest plan that is signed off; saved plans are not in it.",
            className="fact",
        ),
        dcc.Store(id=SITE, data=plan.site),
        html.Div(
            [
                html.Label(
                    ["Name (whose calendar it is for)", dcc.Input(id=NAME, type="text", autoComplete="off")],
                    className="fld",
                ),
                html.Label(
                    ["Your name (kept as typed, not verified)", dcc.Input(id=BY, type="text", autoComplete="name")],
                    className="fld",
                ),
            ],
            className="flds",
        ),
        html.Div(
            [
                html.Button("Make an address", id=MAKE, className="btn", type="button"),
                html.Div(id=SAID, className="form-said", role="alert"),
            ],
            className="acts",
        ),
        html.Div(listed(sources.hand_over.feeds()), id=LISTED),
    ]


def listed(feeds: tuple[FeedListed, ...]) -> list[Any]:
    """Return the list of feeds, each with a button that ends it."""
    if not feeds:
        return [html.P("No calendar feed is made yet.", className="dim")]
    rows = [
        html.Li(
            [
                html.B(feed.name),
                f", {'every site' if feed.site is None else f'site {feed.site}'}, made {words.day(feed.made_at)} by "
                f"{feed.made_by} ",
                html.Button(
                    "End", id=part(END, feed.number), className="btn plain", type="button",
                    **aria(label=f"End the calendar feed {feed.name}"),
                ),
            ],
            className="ho-stop",
        )
        for feed in feeds
    ]  # fmt: skip
    return [html.P("To end one, type your name above first.", className="dim"), html.Ul(rows, className="ho-list")]


def made(address: str, told: str, note: str | None) -> list[Any]:
    """Return the new feed's address, shown this once.

    Parameters
    ----------
    address
        The whole address with its secret.
    told
        What to do with it.
    note
        What is to be set for it to work elsewhere; None where nothing is.
    """
    return [
        html.P(told, className="done", role="status"),
        html.Code(address, id=ADDRESS, className="ho-address"),
        *([html.P(note, className="dim")] if note else []),
    ]
