"""Records: what came in, what was refused, who changed what, and what can be taken back."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers
from dashboard.components.aria import aria
from dashboard.components.pop import choice
from dashboard.components.records_moment import plain_name
from dashboard.components.rich import Bold, Sentence, rich
from dashboard.pages.page import Shown, head
from dashboard.pages.records_changes import changes_section, corrections_section, proof_section
from dashboard.pages.records_choice import SHOW_WORDS, WHAT_WORDS
from dashboard.pages.records_facts import counts_section, fact_section, facts_section
from dashboard.pages.records_intake import answer_places, bring, data, opened_section, sources_section
from fleet import words
from fleet.services.records_page import PAGE, RecordsView
from fleet.services.withdrawing import KINDS

TITLE = "What came in, what was refused, who changed what?"
_MOST_LINES = 400


def records_page(view: RecordsView, address: Address, notes: tuple[str, ...], now: datetime) -> Shown:
    """Return the Records page.

    Parameters
    ----------
    view
        What is shown.
    address
        The reader's unit and choices.
    notes
        What of the address is nothing here.
    now
        The moment, aware; it tells how old a draft is.
    """
    show = view.choice.show
    body: list[Any] = [
        *head(TITLE, rich(lead(view)), acts=_acts(address, view)),
        html.P("", className="heard", role="status", **data(heard="")),
        *([bring(), *answer_places()] if show in (None, "intake") else []),
        *fact_section(view.fact, address),
    ]
    if view.lines_in_store or view.entries:
        body.append(_filters(view, address, now))
    if show in KINDS:
        body.append(facts_section(view, address))
    elif show == "intake":
        body += [sources_section(view, address), *opened_section(view, address)]
    elif show == "corrections":
        body.append(html.Div([corrections_section(view, address), proof_section(view, address, now)], className="two"))
    elif show == "changes":
        body.append(changes_section(view, address))
    else:
        body += [
            sources_section(view, address),
            *opened_section(view, address),
            html.Div([corrections_section(view, address), proof_section(view, address, now)], className="two"),
            changes_section(view, address),
            counts_section(view, address),
        ]
    body += [*_pages(view, address), _foot(view)]
    return Shown("Records", [html.Div(body, className="rcs")], (*notes, *view.notes))


def lead(view: RecordsView) -> Sentence:
    """Return the sentences under the title: what waits to be put right, and how many visits were corrected."""
    if not view.lines_in_store and not view.entries:
        return ("The store is empty. Bring a workbook or the CSV files of a folder, or fill in the empty template.",)
    parts: list[str] = []
    waiting = len(view.waiting)
    if waiting == 1:
        parts.append("One source waits to be put right: nothing of it was taken. ")
    elif waiting:
        parts.append(f"{numbers.count(waiting).capitalize()} sources wait to be put right: nothing of them was taken. ")
    else:
        parts.append("No source waits to be put right. ")
    count = view.correction_total
    if count == 0:
        parts.append("No visit was corrected")
    elif count == 1:
        parts.append("One visit has been corrected; both versions are kept")
    else:
        parts.append(f"{numbers.count(count).capitalize()} visits have been corrected; both versions are kept")
    if view.choice.line:
        parts += [", counting ", Bold(view.choice.line), " alone"]
    return (*parts, ".")


def _acts(address: Address, view: RecordsView) -> list[Any]:
    line = view.choice.line if view.choice.line in view.lines else None
    of = f"?{urlencode({'line': line})}" if line else ""
    name = f"Export {line}" if line else "Export all"
    return [
        html.A("Empty template", href="/records/template.xlsx", className="btn wide-only"),
        html.Details(
            [
                html.Summary(name, className="btn"),
                html.Ul(
                    [
                        html.Li(html.A("One workbook (XLSX)", href=f"/records/export.xlsx{of}")),
                        html.Li(html.A("CSV files in a zip", href=f"/records/export.zip{of}")),
                    ],
                    className="pop-list",
                ),
            ],
            className="pop",
        ),
        html.Button("Import a source", type="button", className="btn main", **data(pick="files"))
        if view.choice.show in (None, "intake")
        else dcc.Link("Import a source", href=href(Address(page="records", unit=address.unit)), className="btn main"),
    ]


def _to(address: Address, **changes: str | None) -> str:
    """Return the address with some choices changed; a changed choice begins at its first page, with nothing open."""
    return href(address.saying(**{"page": None, "source": None, "fact": None, **changes}))


def _filters(view: RecordsView, address: Address, now: datetime) -> html.Div:
    chosen = view.choice
    show = choice(
        "Show",
        SHOW_WORDS[chosen.show] if chosen.show else "intake, corrections, changes",
        [
            ("intake, corrections, changes", _to(address, show=None)),
            *((text, _to(address, show=name)) for name, text in SHOW_WORDS.items()),
        ],
    )
    lines = [*view.lines[:_MOST_LINES]]
    if chosen.line and chosen.line not in lines:
        lines.insert(0, chosen.line)
    line = choice(
        "Line",
        chosen.line or "all",
        [("all", _to(address, line=None)), *((code, _to(address, line=code)) for code in lines)],
    )
    parts: list[Any] = [show, line]
    if chosen.show not in KINDS and chosen.show != "corrections":
        parts.append(
            choice(
                "By",
                plain_name(chosen.who) if chosen.who else "everyone",
                [
                    ("everyone", _to(address, who=None)),
                    *((plain_name(who), _to(address, who=who)) for who in view.people),
                ],
            )
        )
    if chosen.show in (None, "changes"):
        parts.append(
            choice(
                "Kind of change",
                WHAT_WORDS[chosen.what] if chosen.what else "every",
                [
                    ("every", _to(address, what=None)),
                    *((text, _to(address, what=name)) for name, text in WHAT_WORDS.items()),
                ],
            )
        )
    parts.append(choice("Time", _time_said(view), _times(address, now)))
    return html.Div(parts, className="filters")


def _time_said(view: RecordsView) -> str:
    first, last = view.choice.from_on, view.choice.to_on
    if first and last:
        return words.day(first) if first == last else f"{words.day(first)} to {words.day(last)}"
    if first:
        return f"since {words.day(first)}"
    return f"until {words.day(last)}" if last else "always"


def _times(address: Address, now: datetime) -> list[tuple[str, str]]:
    today = now.date()
    ways: list[tuple[str, str]] = [("always", _to(address, **{"from": None, "to": None}))]
    for days, text in ((0, "today"), (6, "the last 7 days"), (29, "the last 30 days")):
        first = today - timedelta(days=days)
        ways.append((text, _to(address, **{"from": first.isoformat(), "to": None})))
    for year in range(today.year, today.year - 6, -1):
        first, last = date(year, 1, 1), date(year, 12, 31)
        ways.append((str(year), _to(address, **{"from": first.isoformat(), "to": last.isoformat()})))
    return ways


def _pages(view: RecordsView, address: Address) -> list[Any]:
    shown = view.choice.show
    if shown is None or (view.total <= PAGE and view.choice.page == 1):
        return []
    page, last = view.choice.page, max(1, -(-view.total // PAGE))
    if page > last:
        text = f"There are {last} pages. "
        return [html.P([text, dcc.Link("Show the first", href=_to(address))], className="pages")]
    parts: list[Any] = [html.Span(f"Page {page} of {last}, {numbers.grouped(view.total)} rows")]
    for text, to in (("Newer", page - 1), ("Older", page + 1)):
        if 1 <= to <= last:
            number = None if to == 1 else str(to)
            parts.append(dcc.Link(text, href=href(address.saying(page=number, fact=None)), className="btn"))
    return [html.Nav(parts, className="pages", **aria(label="Pages of the list"))]


def _foot(view: RecordsView) -> html.Footer:
    if view.zone_of == "all sites":
        zone = f"Times are those of all sites, {view.zone}."
    elif view.zone_of:
        zone = f"Times are the site’s, {view.zone_of} ({view.zone})."
    else:
        zone = "Times are UTC, because the sites lie in different zones; a fact’s own time is its site’s."
    text = (
        f"{zone} Names are as typed; nobody checks them until there are accounts. "
        "Entries can be added, never altered or removed. Lengths as stored, to 0.001 mm or 0.01 thou."
    )
    return html.Footer(html.P(text), className="foot")
