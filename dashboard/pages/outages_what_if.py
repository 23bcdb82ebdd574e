"""What if, on the Outages page: quick questions as links, own figures typed, the answer in one sentence and a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import light, notices
from dashboard.components.aria import aria
from dashboard.pages.outages_address import OutagesAsked, write
from dashboard.pages.outages_edit import box
from dashboard.plan_sources import PlanSources
from fleet import words
from fleet.errors import FleetError, InputError
from fleet.reports import plan_words as said
from fleet.reports.plan_content import PlanContent, PlanRow, Stop
from fleet.reports.plan_figures import days
from fleet.reports.what_if_words import EVERY_LINE, Changed, ChangeKind, WhatIfAnswer, intro, sentence
from fleet.services.planning.what_if import read_question, write_question
from fleet.units import to_um
from fleet.words import ReaderUnit

TYPED: Final = "what-if-typed"
ASK: Final = "what-if-ask"
BASE: Final = "what-if-base"
SAID: Final = "what-if-said"
_STOPS: Final = 3
_WEEKS: Final = 28.0
_NARROWER_UM: Final = 50.0
_CAP: Final = 0.1
_MOST_OFFERED: Final = 200
_MOST_ROWS: Final = 50


def typed(name: Any) -> dict[str, Any]:
    """Return the id of a box of one's own question, or of every box."""
    return {"type": TYPED, "name": name}


def asked_of(typed_texts: Mapping[str, str], unit: ReaderUnit) -> str:
    """Return the question that was typed, as it stands in an address.

    Parameters
    ----------
    typed_texts : by box: outage, crews, hours, days, line, limit, cap; an empty one asks nothing
    unit : limits are typed in it

    Raises
    ------
    InputError
        Nothing was typed, or it cannot be asked.
    """
    texts = {name: text.strip().replace("\u2212", "-").replace(",", ".") for name, text in typed_texts.items()}
    outage, line = typed_texts.get("outage", "").strip(), typed_texts.get("line", "").strip()
    changes: list[Changed] = []
    of_outage: tuple[tuple[str, ChangeKind, str], ...] = (
        ("crews", "crew", "crews more"), ("hours", "hours", "crew hours"), ("days", "move", "days later"),
    )  # fmt: skip
    for name, kind, what in of_outage:
        if not texts.get(name):
            continue
        if not outage:
            raise InputError(f"Outage: nothing is typed; say which one is meant by {texts[name]} {what}.")
        changes.append(Changed(kind, outage, _number(texts[name], what)))
    if outage and not changes:
        raise InputError(f"Nothing is typed for {outage}; type crews more, crew hours or days later.")
    if text := texts.get("limit", ""):
        um = _um(text.lstrip("+-"), unit) * (-1.0 if text.startswith("-") else 1.0)
        changes.append(Changed("limit_by" if text[0] in "+-" else "limit", line or EVERY_LINE, um))
    elif line:
        raise InputError(f"Limit: nothing is typed for {line}; type one in {unit}.")
    if text := texts.get("cap", "").rstrip("%").strip():
        changes.append(Changed("cap", None, _number(text, "per cent") / 100.0))
    if not changes:
        raise InputError("Nothing is typed, so nothing is asked.")
    question = write_question(changes)
    read_question(question)
    return question


def _number(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f"‘{text}’ is not a number of {what}; write digits.") from None


def _um(text: str, unit: ReaderUnit) -> float:
    if not text.isascii() or not text.replace(".", "", 1).isdigit():
        raise InputError(f"Limit: ‘{text}’ is not a width; write digits with a decimal point, in {unit}.")
    return to_um(text, unit)


def answered(sources: PlanSources, plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the answer to what the address asks, or why there is none; nothing where it asks nothing.

    Parameters
    ----------
    sources
        The planning services.
    plan
        The plan in view.
    shown
        The question it was worked out from, with the pins as they stand.
    address
        The reader's unit.
    """
    if not shown.what_if:
        return []
    back = dcc.Link("Back to the plan as it is", href=write(address, replace(shown, what_if=None)), className="btn")
    try:
        answer = sources.what_if(shown.asked, shown.what_if, plan)
    except FleetError as error:
        text = str(error)
        text = text if text.endswith(".") else f"{text}."
        return [notices.notice("This cannot be asked", text, html.Div(back, className="acts"), warn=True)]
    return [
        html.Section(
            [
                html.H2("What if"),
                html.P(sentence(answer, address.unit), className="wi-said", role="status"),
                *_table(answer),
                html.Div(back, className="wi-now noprint"),
                html.P(
                    "Nothing is stored: below stands the plan as it is. Both plans count to the same day.",
                    className="dim",
                ),
            ],
            className="sheet pad wi",
        )
    ]


def _table(answer: WhatIfAnswer) -> list[Any]:
    """Return the lines that change place: a table at the desk, a list on the phone."""
    if not answer.lines:
        return []
    heads = ("Line", "As it is", "With the change", "Over before its visit", "Days over expected")
    rows, entries = [], []
    for moved in answer.lines[:_MOST_ROWS]:
        was, then = _goes(moved.first, answer.first), _goes(moved.other, answer.other)
        before = f"{_chance(moved.first)} → {_chance(moved.other)}"
        over = f"{_days(moved.first)} → {_days(moved.other)}"
        cells = (light.B(moved.first.line), was, then, before, over)
        rows.append(light.Tr([light.Td(cell) for cell in cells]))
        small = f"{before} over before its visit · {over} over expected"
        entries.append(light.Li([light.B(moved.first.line), f" {then} instead of {was}", light.Small(small)]))
    more = len(answer.lines) - _MOST_ROWS
    rest = [html.P(f"{more} more lines change place.", className="dim")] if more > 0 else []
    table = light.Table(
        [light.Thead(light.Tr([light.Th(head) for head in heads])), light.Tbody(rows)],
        className="tbl wide-only wi-tbl",
        **aria(label="Lines that change place"),
    )
    return [table, light.Ul(entries, className="narrow-only ivp flat wi-tbl"), *rest]


def _goes(row: PlanRow, plan: PlanContent) -> str:
    return "no visit" if row.chosen is None else f"{row.chosen}, {words.day(plan.stop(row.chosen).starts_at)}"


def _chance(row: PlanRow) -> str:
    return "none known" if row.chance_before is None else words.chance(row.chance_before)


def _days(row: PlanRow) -> str:
    return "none known" if row.days_over is None else days(row.days_over)


def below(_: PlanSources, plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the questions: links for the usual ones, boxes for one's own.

    Parameters
    ----------
    plan, shown, address
        As of `answered`.
    """
    if not plan.stops or plan.kept is not None:
        return []  # what would be is worked out beside the plan of today, not beside one that was kept
    links: list[Any] = []
    for changes in quick(plan):
        question, label = write_question(changes), intro(changes, address.unit)
        to = write(address, replace(shown, what_if=question))
        on = {**aria(current="true")} if question == shown.what_if else {}
        links.append(light.Link(label, href=to, className="btn" if not on else "btn on", **on))
    return [
        html.Section(
            [
                html.H2("What if", id="what-if"),
                html.P("Each is worked out beside the plan as it is; nothing is stored.", className="dim"),
                html.Div(links, className="wi-ask"),
                html.Details(
                    [
                        html.Summary("Own figures"),
                        _form(plan, write(address, replace(shown, what_if=None)), address.unit),
                    ],
                    className="astable",
                    open=False,
                ),
            ],
            className="sheet pad noprint wi-below",
            style={"marginTop": "24px"},
        )
    ]


def quick(plan: PlanContent) -> list[tuple[Changed, ...]]:
    """Return the usual questions of a plan: crews in the first stops, the next one moved, limits, the cap."""
    asked: list[tuple[Changed, ...]] = [(Changed("crew", stop.code, 1.0),) for stop in plan.stops[:_STOPS]]
    first = plan.stops[0]
    asked.append((Changed("move", first.code, _WEEKS),))
    if _may_move_earlier(first, plan):
        asked.append((Changed("move", first.code, -_WEEKS),))
    asked.append((Changed("without", first.code, 0.0),))
    asked += [(Changed("limit_by", EVERY_LINE, um),) for um in (-_NARROWER_UM, _NARROWER_UM)]
    if plan.cap != _CAP:
        asked.append((Changed("cap", None, _CAP, plan.cap),))
    return asked


def _may_move_earlier(stop: Stop, plan: PlanContent) -> bool:
    return (stop.starts_at - timedelta(days=_WEEKS)).date() > plan.as_of


def _form(plan: PlanContent, base: str, unit: ReaderUnit) -> html.Div:
    outages = [stop.code for stop in plan.stops]
    lines = [row.line for row in plan.rows] if len(plan.rows) <= _MOST_OFFERED else []
    fields = [
        ("outage", "Outage", "Which one the next three are about.", outages),
        ("crews", "Crews more", "1 is one crew more, -1 one fewer.", ()),
        ("hours", "Crew hours, h", "It has so many in all.", ()),
        ("days", "Days later", "28 is four weeks later, -14 two weeks earlier.", ()),
        ("line", "Line", "Whose limit changes; empty: every line’s.", lines),
        ("limit", f"Limit, {unit} to either side", "With + or - so much wider or narrower.", ()),
        ("cap", "Cap on being over before a visit, %", f"{said.percent(plan.cap)} as it is.", ()),
    ]
    boxes = []
    for name, label, help_, offered in fields:
        at_hand: dict[str, Any] = {"list": f"what-if-{name}-known"} if offered else {}
        boxes.append(box(label, help_, tuple(offered), id=typed(name), autoComplete="off", **at_hand))
    return html.Div(
        [
            # What is asked stands beside the plan in view, whatever the address calls that.
            dcc.Store(id=BASE, data=base),
            html.Div(boxes, className="flds"),
            html.Div(
                [
                    html.Button("Ask", id=ASK, className="btn main", type="button"),
                    html.Div(id=SAID, className="form-said", role="alert"),
                ],
                className="acts",
            ),
        ],
        className="lform ol-grid",
    )
