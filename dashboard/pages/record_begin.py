"""Record before a visit is open: which line, which open draft, and the form with which a visit or correction begins."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cautions, notices, numbers, record_words
from dashboard.components.aria import aria
from dashboard.components.foot import foot
from dashboard.components.record_boxes import box, button, choice, chosen, data, top
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.services.recording.beginning import BeginView
from fleet.services.recording.fields import skip_field
from fleet.services.recording.view import DraftHead, InstrumentView
from fleet.words import ReaderUnit

LINES_SHOWN = 400
REASONS = ("planned outage", "vibration", "after a repair", "first measurement")
BESIDE = (
    ("running", "Running check"),
    ("meter", "Hour meter"),
    ("event", "Event"),
    ("wear", "Wear"),
)
"""What can be entered beside a visit: its word in the address, its name."""


def record_lines(codes: tuple[str, ...], drafts: tuple[DraftHead, ...], address: Address, now: datetime) -> Shown:
    """Return Record before a line is chosen: the open drafts first, then the lines."""
    title = "Record on which line?"
    if not codes:
        return Shown("Record", [*head(title, None), notices.empty_store(), foot(address.unit)])
    links = [
        html.Li(dcc.Link(code, href=href(Address(page="record", code=code, unit=address.unit)), className="chip"))
        for code in codes[:LINES_SHOWN]
    ]
    lead = "Choose the line you stand at. What you type is kept on this device until it is stored."
    body: list[Any] = [*head(title, lead)]
    if drafts:
        body += [_drafts(drafts, address, now, "Open visits")]
    body.append(html.Ul(links, className="choose", **aria(label="Lines")))
    if len(codes) > LINES_SHOWN:
        body.append(html.P(f"The first {LINES_SHOWN} of {len(codes)} lines; the fleet has them all.", className="note"))
    return Shown("Record", [html.Div([*body, foot(address.unit)], className="rc")])


def _drafts(drafts: tuple[DraftHead, ...], address: Address, now: datetime, title: str) -> html.Section:
    items = []
    for draft in drafts:
        to = href(Address(page="record", code=draft.line, unit=address.unit, own=(("draft", draft.client_key),)))
        what = f"corrects {draft.corrects}, " if draft.corrects else ""
        begun = record_words.when(draft.created_at, now.astimezone(draft.created_at.tzinfo).date())
        items.append(
            html.Li(
                [
                    html.B(draft.line),
                    html.Span(
                        f"{what}begun {begun} by {draft.created_by}",
                    ),
                    html.Span(
                        f"typed into {age(draft.updated_at, now)}, {draft.entries} values stored", className="dim"
                    ),
                    dcc.Link("Go on with it", href=to, className="btn"),
                ]
            )
        )
    return html.Section(
        [html.Div(html.H2(title), className="pad2"), html.Ul(items, className="drafts")],
        className="sheet",
        style={"marginBottom": "16px"},
    )


def age(since: datetime, now: datetime) -> str:
    """Return how long ago something was typed: 'just now', '25 minutes ago', '3 hours ago', '4 days ago'."""
    minutes = max((now - since).total_seconds(), 0.0) / 60.0
    if minutes < 2.0:
        return "just now"
    if minutes < 120.0:
        return f"{minutes:.0f} minutes ago"
    if minutes < 48.0 * 60.0:
        return f"{minutes / 60.0:.0f} hours ago"
    return f"{minutes / 1440.0:.0f} days ago"


def begin_page(view: BeginView, drafts: tuple[DraftHead, ...], address: Address) -> Shown:
    """Return the form with which a visit of a line begins, with the line's open drafts above it."""
    unit = address.unit
    name = f"start:{view.line}"
    lead = f"Last as-left {words.day(view.last_as_left)}." if view.last_as_left else "No as-left on record yet."
    fields: list[Any] = [
        box("technician", "Your name", wide=True),
        box("started_at", "Started at, local time at the site", "moment", first=view.now.strftime("%Y-%m-%dT%H:%M")),
        html.Div(
            [
                box("reason", "Reason for the visit"),
                html.Div(
                    choice("reason", "Usual reasons", [(reason, reason) for reason in REASONS[:2]]), className="usual"
                ),
            ]
        ),
        html.Div(_instruments(view.instruments), className="wide"),
        chosen(
            "unit",
            "Lengths are typed in",
            [("mm", "mm"), ("thou", "thou"), ("in", "inch")],
            first="thou" if unit == "thou" else "mm",
            one=True,
        ),
        chosen("rolls", "Rolls of the beam at each station", [("2", "two"), ("4", "four")], first="2", one=True),
        html.Div(_skips(view, unit), className="wide"),
    ]
    if view.outage:
        fields.append(box("outage", "Outage", first=view.outage))
    form = html.Section(
        [
            html.Div([html.H2("Begin a visit"), html.Div(fields, className="fields")], className="sheet"),
            _said(),
            html.Div([button("Begin: set the beam", main=True, send="")], className="ch"),
        ],
        className="rcform",
        **data(form=name, action=f"/drafts?line={_quoted(view.line)}&unit={unit}", zone=view.zone),
    )
    body: list[Any] = [top(view.line, f"Record on {view.line}"), html.P(lead, className="dim")]
    if drafts:
        body.append(_drafts(drafts, address, view.now, f"Open visits of {view.line}"))
    body += [
        *cautions.panels(view.length_growth_mm, unit),
        form,
        _beside(view, address),
        foot(unit, view.right_hand_side),
    ]
    return Shown(f"Record {view.line}", [html.Div(body, className="rc")])


def correct_page(view: BeginView, session: str, address: Address) -> Shown:
    """Return the form with which a correction of a signed session begins: who, and why."""
    form = html.Section(
        [
            html.Div(
                [
                    html.H2("What a correction is"),
                    html.P(
                        f"A correction takes the place of {session} as a whole and keeps the moment of its visit; both "
                        "stay in the record. It begins with everything the signed session holds; change what is wrong, "
                        "and sign.",
                    ),
                    html.Div(
                        [
                            box("technician", "Your name", wide=True),
                            box("correction_reason", "Why it is corrected", "long", wide=True),
                        ],
                        className="fields",
                    ),
                ],
                className="sheet",
            ),
            _said(),
            html.Div([button(f"Begin the correction of {session}", main=True, send="")], className="ch"),
        ],
        className="rcform",
        **data(
            form=f"correct:{session}",
            action=f"/drafts?line={_quoted(view.line)}&unit={address.unit}&corrects={_quoted(session)}",
            zone=view.zone,
        ),
    )
    body = html.Div([top(f"{view.line} · {session}", f"Correct {session}"), form], className="rc")
    return Shown(f"Correct {session}", [body])


def _said() -> html.P:
    return html.P(hidden=True, className="said", role="alert", **data(of_form=""))


def _quoted(code: str) -> str:
    return quote(code, safe="")


def _instruments(instruments: tuple[InstrumentView, ...]) -> list[Any]:
    if not instruments:
        return [box("instrument", "Instrument, its serial number")]
    first = instruments[0].serial
    stands = [html.Li(f"{record_words.calibrated(each)}; shows {record_words.shows(each)}") for each in instruments[:6]]
    few = [(each.serial, each.serial) for each in instruments[:4]]
    return [
        chosen("instrument", "Instrument", few, first=first, one=True),
        *([box("instrument", "Another one, its serial number", first=first)] if len(instruments) > len(few) else []),
        html.Ul(stands, className="note plainlist"),
    ]


def _skips(view: BeginView, unit: ReaderUnit) -> html.Details:
    rows = [
        html.Div(
            [
                html.B(code),
                html.Span(numbers.distance(distance_mm, unit), className="dim"),
                choice(skip_field(code), f"Station {code} today", [("yes", "leave out today")]),
            ],
            className="skiprow",
        )
        for code, distance_mm in view.stations
    ]
    count = len(view.stations)
    return html.Details(
        [html.Summary(f"All {numbers.count(count)} stations are read; leave one out"), html.Div(rows)], className="fold"
    )


def _beside(view: BeginView, address: Address) -> html.Section:
    links = [
        dcc.Link(
            name,
            href=href(Address(page="record", code=view.line, unit=address.unit, own=(("what", word),))),
            className="btn",
        )
        for word, name in BESIDE
    ]
    return html.Section(
        [html.H2("Beside a visit"), html.Div(links, className="doors")],
        style={"marginTop": "24px", "display": "grid", "gap": "8px", "maxWidth": "720px"},
    )
