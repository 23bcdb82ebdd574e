"""Record: a visit being typed in, five steps long; every box is there from the start, the figures come as it goes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields as parts_of
from dataclasses import is_dataclass
from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import record_words
from dashboard.components.aria import aria
from dashboard.components.record_beam import beam_go, beam_step, pair_panel
from dashboard.components.record_boxes import button, data, top
from dashboard.components.record_moves import expect, found, move_words, moves_step
from dashboard.components.record_pass import pass_step, so_far, stands
from dashboard.components.record_sign import asks, figures, noticed, sign_step, stood
from dashboard.components.record_slip import beam_chart, slips
from dashboard.pages.page import Shown
from fleet.services.recording.view import FieldView, PassView, RecordView
from fleet.words import ReaderUnit

_TABS = (("Beam", "beam"), ("As-found", "p1"), ("Moves", "m"), ("As-left", "p"), ("Sign", "sign"))


def record_page(view: RecordView, address: Address) -> Shown:
    """Return a visit that is being recorded.

    Parameters
    ----------
    view
        All of it, with every box there can be.
    address
        The reader's unit; the draft it names is the view's.
    """
    unit = address.unit
    made = panels(view, unit)
    steps: list[Any] = [_step("beam", "Set the beam", beam_step(view, unit))]
    for each in view.passes:
        number = each.number
        opened = (
            None
            if number == 1
            else "rounds=" + "|".join(str(n) for n in range(number, 5)) + ("|" if number == 2 else "")
        )
        parts = pass_step(view, each, unit)
        if number > 1:
            parts = [_nothing_moved(), *parts]
        steps.append(_step(f"p{number}", "As-found" if number == 1 else "As-left", parts, opened))
    for round_ in view.rounds:
        opened = None if round_.after == 1 else "rounds=" + "|".join(str(n) for n in range(round_.after + 1, 5))
        steps.append(_step(f"m{round_.after}", "Move the supports", moves_step(view, round_, unit), opened))
    steps.append(_step("sign", "Sign the visit", sign_step(view, unit)))
    body = html.Div(
        [
            top(record_words.crumb(view), None),
            _tabs(view),
            html.Div(hidden=True, **data(known=json.dumps(known(view), ensure_ascii=False))),
            *steps,
        ],
        className="rc",
        **data(draft=view.head.client_key, zone=view.zone, line=view.line),
    )
    _fill(body, made)
    return Shown(f"Record {view.line}", [body])


def _step(name: str, title: str, children: list[Any], opened: str | None = None) -> html.Section:
    return html.Section(children, hidden=True, **data(step=name, title=title, open_if=opened), **aria(label=title))


def _tabs(view: RecordView) -> html.Ol:
    items = []
    for word, name in _TABS:
        steps = [name]
        if name == "m":
            steps = [f"m{each.after}" for each in view.rounds]
        elif name == "p":
            steps = [f"p{each.number}" for each in view.passes if each.number > 1]
        link = html.A(word, href=f"#{steps[0]}", **data(tab=" ".join(steps)))
        items.append(html.Li(link))
    return html.Ol(items, className="steps", **aria(label="Steps of this visit"))


def _nothing_moved() -> html.Div:
    return html.Div(
        [
            html.P(html.B("Nothing was moved today, as typed: the as-found is what is signed.")),
            html.Div(
                button("Read an as-left after all", entries=[("rounds", "2"), ("m1.nothing", "")]), className="ch"
            ),
        ],
        className="say",
        hidden=True,
        **data(**{"if": "rounds=1"}),
    )


def _fill(body: html.Div, made: dict[str, Any]) -> None:
    """Put what the server has to say into the page's panels, the same as after each acknowledgement."""
    waiting: list[Any] = [body]
    while waiting:
        node = waiting.pop()
        if isinstance(node, (list, tuple)):
            waiting += node
            continue
        name = getattr(node, "data-panel", None)
        if name in made:
            node.children = made[name]
        elif getattr(node, "children", None) is not None:
            waiting.append(node.children)


def panels(view: RecordView, unit: ReaderUnit, *, whole: bool = True) -> dict[str, Any]:
    """Return everything on the page that changes as the visit goes on, by panel.

    Parameters
    ----------
    view
        The visit as it is stored.
    unit
        The reader's unit.
    whole
        With the passes and rounds that the visit does not have yet, as a page needs them at its load.
    """
    made: dict[str, Any] = {}
    for state in view.beam.states:
        if not (whole or state.open):
            continue
        made[f"b{state.state}-near"] = pair_panel(state.nearest, view, unit)
        made[f"b{state.state}-far"] = pair_panel(state.farthest, view, unit)
    made["beam-go"] = beam_go(view, unit)
    made["beam-stands"] = stands(view, view.passes[0] if view.passes else None)
    for each in view.passes:
        if not (whole or each.open):
            continue
        name = f"p{each.number}"
        made[f"{name}-slips"] = slips(view, each, unit)
        made[f"{name}-sofar"] = so_far(view, each, unit)
        made[f"{name}-beam"] = beam_chart(each, unit)
        made[f"{name}-stands"] = stands(view, each)
    for round_ in view.rounds:
        if not (whole or round_.open or round_.after == 1):
            continue
        name = f"m{round_.after}"
        made[f"{name}-found"] = found(view, round_, unit)
        made[f"{name}-expect"] = expect(round_, unit)
        for card in round_.cards:
            if not card.place:
                made[f"{name}-{card.support}"] = move_words(card, unit)
    made["sign-figures"] = figures(view, unit)
    made["sign-noticed"] = noticed(view, unit)
    made["sign-stood"] = stood(view)
    made["sign-asks"] = asks(view)
    return made


def known(view: RecordView) -> dict[str, Any]:
    """Return what the record holds of the visit, for the script: texts by field, what is wrong with them, hints."""
    problems = {field.name: field.problem for field in _fields(view) if field.problem}
    hints = {field.name: f"{field.carried}, as before" for field in _fields(view) if field.carried and not field.text}
    taken: list[str] = []
    for made in view.passes:
        hints |= _from_beam(view, made, taken)
    return {
        "version": view.version,
        "fields": dict(view.fields),
        "stored": view.stored,
        "at": view.head.updated_at.isoformat() if view.stored else None,
        "problems": problems,
        "hints": hints,
        "taken": taken,
        "doubted": [n.field for made in view.passes for n in made.noticed if n.field and not n.settled],
        "odd": {
            f"p{made.number}": sorted({n.facts.station for n in made.noticed if n.facts.station and not n.settled})
            for made in view.passes
        },
    }


def _from_beam(view: RecordView, made: PassView, taken: list[str]) -> dict[str, str]:
    """Say in the boxes that may stay empty what was read there while the beam was set."""
    state = None
    for each in view.beam.states:
        if each.open:
            state = each
    hints: dict[str, str] = {}
    if state is None:
        return hints
    read = {(slot.station, slot.roll_deg): slot for pair in (state.nearest, state.farthest) for slot in pair.slots}
    for station in made.stations:
        for slot in station.slots:
            if slot.from_beam and (own := read.get((slot.station, slot.roll_deg))) is not None:
                for field, text in ((slot.v, own.v.text), (slot.h, own.h.text)):
                    hints[field.name] = f"{text} from the beam step"
                    taken.append(field.name)
    return hints


def _fields(node: Any) -> Iterator[FieldView]:
    """Yield every field of a view, wherever it stands."""
    if isinstance(node, FieldView):
        yield node
    elif is_dataclass(node):
        for part in parts_of(node):
            yield from _fields(getattr(node, part.name))
    elif isinstance(node, Mapping):
        for part in node.values():
            yield from _fields(part)
    elif isinstance(node, (list, tuple)):
        for part in node:
            yield from _fields(part)


def signed_page(line: str, session: str, address: Address) -> Shown:
    """Return what follows a signature: what it became, and where it is looked at."""
    unit = address.unit
    links = [
        dcc.Link(
            "The session’s record", href=href(Address(page="session", code=session, unit=unit)), className="btn main"
        ),
        dcc.Link(f"Line {line}", href=href(Address(page="line", code=line, unit=unit)), className="btn"),
        dcc.Link("Its job sheet", href=href(Address(page="job-sheet", code=line, unit=unit)), className="btn"),
    ]
    body = html.Div(
        [
            html.Div(html.Div([html.P(line, className="crumb"), html.H1(f"Signed: {session}")]), className="top"),
            html.P(
                "It is stored and can no longer be altered. A mistake found later is put right by a correction "
                "that says why.",
                className="lead",
            ),
            html.Div(hidden=True, className="answer", **data(signed_of=session)),
            html.Div(links, className="done-links"),
            html.P("Signing is no permission to start the machine.", className="note", style={"marginTop": "16px"}),
        ],
        className="rc",
    )
    return Shown(f"Signed {session}", [body])
