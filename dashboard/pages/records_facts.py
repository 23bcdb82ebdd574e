"""Running checks, meters, tolerances, events, wear, findings: what stands, what was withdrawn, and taking it back."""

from __future__ import annotations

from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers
from dashboard.components.records_moment import moment, plain_name
from dashboard.components.records_values import figure, named
from dashboard.pages.records_choice import SHOW_WORDS
from dashboard.pages.records_intake import data
from fleet import words
from fleet.services.records_page import FactOpened, RecordsView
from fleet.services.records_page_facts import FactRow
from fleet.services.withdrawing import KINDS
from fleet.words import ReaderUnit

ONE: Final = {
    "running-checks": "running check",
    "meters": "meter reading",
    "tolerances": "tolerance",
    "events": "event",
    "wear": "wear measurement",
    "findings": "finding",
}
_AXES: Final = {"v": "vertical", "h": "horizontal"}


def said_of(row: FactRow, unit: ReaderUnit) -> str:
    """Return what a fact says, in one phrase with its units."""
    got = dict(row.figures)
    if row.kind == "running-checks":
        rises = [figure(name, got[name], unit) for name in ("v_rise_um", "h_rise_um") if name in got]
        warmth = [f"{named(name)} {figure(name, got[name], unit)}" for name in ("barrel_c", "gearbox_c") if name in got]
        return "; ".join(part for part in (", ".join(rises), ", ".join(warmth)) if part)
    if row.kind == "meters":
        starts = f", {numbers.grouped(got['starts'])} starts" if "starts" in got else ""
        return f"{figure('running_hours', got['running_hours'], unit)} run{starts}"
    if row.kind == "tolerances":
        axis = _AXES.get(row.axis or "", "")
        measure = "" if row.measure in (None, "offset") else f", {row.measure}"
        slope = row.measure == "slope"
        bands = [f"{named(name)} {figure(name, value, unit, per_metre=slope)}" for name, value in row.figures]
        return f"{axis}{measure}: {', '.join(bands)}"
    if row.kind == "events":
        return f"{row.words}{', its trend begins anew' if row.resets_trend else ''}"
    if row.kind == "wear":
        at = figure("distance_mm", row.distance_mm or 0.0, unit)
        across = [
            f"{figure(name, got[name], unit)} {axis}"
            for name, axis in (("diameter_v_um", "vertical"), ("diameter_h_um", "horizontal"))
            if name in got
        ]
        return f"{row.words} at {at}: {', '.join(across)}"
    return row.words or ""


def when_of(row: FactRow) -> str:
    """Return when a fact was, or from which day it holds."""
    if row.at is not None:
        return moment(row.at)
    return f"from {words.day(row.on)}" if row.on is not None else "always"


def place_of(row: FactRow) -> str:
    """Return where a fact belongs: line, station, asset, visit."""
    parts = [row.line or ""]
    if row.place is not None:
        kind = {"findings": "visit ", "wear": ""}.get(row.kind, "station ")
        parts.append(f"{kind}{row.place}")
    elif row.kind == "tolerances":
        parts.append("whole line")
    return ", ".join(part for part in parts if part)


def counts_section(view: RecordsView, address: Address) -> html.Section:
    """Return the six lists of facts that can be withdrawn, each with how many stand."""
    items = []
    for kind in KINDS:
        stands, gone = view.counts.get(kind, (0, 0))
        link = dcc.Link(SHOW_WORDS[kind].capitalize(), href=href(address.saying(show=kind, page=None, source=None)))
        withdrawn = f", {numbers.grouped(gone)} withdrawn" if gone else ""
        items.append(
            html.Li([html.B(link), html.Span(f"{numbers.grouped(stands)} in force{withdrawn}", className="dim")])
        )
    return html.Section(
        [
            html.Div(
                [
                    html.H2("Facts between visits"),
                    html.P(
                        "They can be withdrawn with a name and a reason, and are never deleted.",
                        className="dim",
                    ),
                ],
                className="ph",
            ),
            html.Ul(items, className="kinds"),
        ],
        className="sheet later",
    )


def facts_section(view: RecordsView, address: Address) -> html.Section:
    """Return one list of facts, withdrawn ones too, newest first."""
    kind = view.choice.show or ""
    header = html.Div([html.H2(SHOW_WORDS[kind].capitalize())], className="ph sh2")
    if not view.facts:
        stands, gone = view.counts.get(kind, (0, 0))
        text = (
            f"None of the {numbers.grouped(stands + gone)} {SHOW_WORDS[kind]} matches what is chosen above."
            if stands + gone
            else f"No {SHOW_WORDS[kind]} are recorded yet. They come in with a source, or are entered on Record."
        )
        return html.Section([header, html.P(text, className="ph none-yet")], className="sheet")
    unit = address.unit
    names = ("When", "Where", "What it says", "Beside it", "State", html.Span("What can be done", className="vh"))
    head = html.Tr([html.Th(name) for name in names])
    rows = [
        html.Tr(
            [
                html.Td(when_of(row), className="num"),
                html.Td(place_of(row)),
                html.Td(said_of(row, unit)),
                html.Td(row.note or "", className="dim"),
                html.Td(_state(row)),
                html.Td(_act(row, address), className="r"),
            ],
            className="gone" if row.withdrawn_at else "",
        )
        for row in view.facts
    ]
    widths = ("168px", "190px", "auto", "220px", "190px", "118px")
    columns = html.Colgroup([html.Col(style={"width": width}) for width in widths])
    table = html.Table([columns, html.Thead(head), html.Tbody(rows)], className="tbl wide-only fct")
    cards = html.Ol(
        [
            html.Li(
                [
                    html.Div([html.B(place_of(row)), html.Span(when_of(row), className="dim num")], className="l1"),
                    html.P(said_of(row, unit)),
                    html.P(row.note, className="dim") if row.note else "",
                    html.P(_state(row)) if row.withdrawn_at else "",
                    html.P(_act(row, address)),
                ],
                className="gone" if row.withdrawn_at else "",
            )
            for row in view.facts
        ],
        className="narrow-only lst",
    )
    return html.Section([header, table, cards], className="sheet")


def _state(row: FactRow) -> list[Any]:
    if row.withdrawn_at is None:
        return ["in force"]
    return [
        html.B("withdrawn"),
        html.Small(f"{words.day(row.withdrawn_at)}, {plain_name(row.withdrawn_by or '')}: “{row.withdrawn_why}”"),
    ]


def _act(row: FactRow, address: Address) -> Any:
    to = href(address.saying(fact=f"{row.kind}-{row.number}"))
    if row.withdrawn_at is None:
        return dcc.Link(["Withdraw", html.Span(f" {_which(row)}", className="vh")], href=to)
    if row.kind == "findings":
        return ""
    return dcc.Link(["Record anew", html.Span(f" {_which(row)}", className="vh")], href=to)


def _which(row: FactRow) -> str:
    return f"the {ONE[row.kind]} of {place_of(row)}, {when_of(row)}"


def fact_section(opened: FactOpened | None, address: Address) -> list[Any]:
    """Return the panel in which a fact is withdrawn, or recorded anew; nothing where none is chosen."""
    if opened is None:
        return []
    row, unit = opened.row, address.unit
    anew = row.withdrawn_at is not None
    back = href(address.saying(fact=None, show=row.kind))
    thing = ONE[row.kind]
    parts: list[Any] = [
        html.H2(f"Record this {thing} anew?" if anew else f"Withdraw this {thing}?"),
        html.P([html.B(place_of(row)), f", {when_of(row)}: ", html.B(said_of(row, unit))]),
        html.P(row.note, className="dim") if row.note else "",
    ]
    if anew:
        parts.append(
            html.P(
                [
                    f"It was withdrawn on {words.day(row.withdrawn_at)} by {plain_name(row.withdrawn_by or '')}: "
                    f"“{row.withdrawn_why}”. A new entry with the same content is added; the withdrawn one stays.",
                ]
            )
            if row.withdrawn_at
            else ""
        )
    else:
        parts.append(html.Ul([html.Li(text) for text in opened.along.said()], className="said-list"))
        parts.append(html.P("Nothing is deleted: the entry stays in the list with your name and the reason."))
    parts += [
        html.Div(
            [
                html.Div([html.Label("Your name", htmlFor="typed-who-fact"), html.Div(**data(typed="who-fact"))]),
                html.Div([html.Label("Reason", htmlFor="typed-why"), html.Div(**data(typed="why"))]),
            ],
            className="asked",
        ),
        html.Div(
            [
                html.Button(
                    "Record it anew" if anew else "Withdraw it", type="button", className="btn main", **data(hand_in="")
                ),
                dcc.Link("Leave it as it is", href=back, className="btn plain"),
            ],
            className="ways",
        ),
        html.P("", className="sending", role="status", **data(handed="")),
    ]
    return [
        html.Section(
            parts,
            id="fact",
            className="say found",
            **data(
                post="/records/anew" if anew else "/records/withdraw", kind=row.kind, number=str(row.number), then=back
            ),
        )
    ]
