"""Two plans side by side: the answer in a sentence, then line by line and stop by stop."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import light
from dashboard.components.downloads import table_links
from fleet import words
from fleet.reports.plan_figures import crew_hours, days
from fleet.services.planning.beside import Beside, BesideRow

CHANGES: Final = {
    "added": "visited here, not there",
    "dropped": "visited there, not here",
    "earlier": "earlier here",
    "later": "later here",
    "elsewhere": "in another stop here, at the same time",
}
_MOST_LINES: Final = 60
_MOST_OPEN: Final = 8


def beside_section(told: Beside, close: str, address: Address) -> list[Any]:
    """Return the comparison of the plan in view with another one.

    Parameters
    ----------
    told
        What the plan in view has over the other.
    close
        Address of the plan without the comparison.
    address
        The view, for the table to take along.
    """
    shown = told.rows[:_MOST_LINES]
    parts: list[Any] = [
        html.H2(f"Beside {told.first}", id="beside"),
        html.P(told.said, className="lead"),
        *(html.P(sentence, className="fact") for sentence in told.apart),
    ]
    if shown or told.hours:
        parts.append(html.P(f"Here is the plan in view, {told.other}; there is {told.first}.", className="dim fact"))
    if shown:
        links = html.Div(table_links("plan-beside", address, "every line that goes otherwise"), className="under-table")
        lines: list[Any] = [
            _table(told, shown),
            light.Ul([_entry(row) for row in shown], className="narrow-only pk-list"),
            links,
        ]
        # The plan itself should stay within reach below a long comparison.
        many = len(shown) > _MOST_OPEN
        folded = html.Summary(f"Line by line: {len(shown)} lines go otherwise")
        parts += [html.Details([folded, *lines], className="astable")] if many else lines
    if len(told.rows) > len(shown):
        parts.append(html.P(f"{len(told.rows) - len(shown)} more lines go otherwise.", className="dim fact"))
    if told.hours:
        parts.append(html.P(_hours(told), className="fact"))
    parts.append(html.Div(dcc.Link("Close the comparison", href=close, className="btn"), className="acts noprint"))
    return [html.Section(parts, className="sheet pad pk")]


def _table(told: Beside, rows: tuple[BesideRow, ...]) -> light.Element:
    heads = (
        "Line",
        "What changes",
        _capital(told.first),
        _capital(told.other),
        "Chance over before it",
        "Expected over",
    )
    body = [
        light.Tr(
            [
                light.Td(row.line, className="ln"),
                light.Td(light.B(CHANGES[row.change])),
                light.Td(_stop(row.before, row.before_on)),
                light.Td(_stop(row.after, row.after_on)),
                light.Td(_both(_chance(row.chance_before), _chance(row.chance_after))),
                light.Td(_both(_days(row.days_before), _days(row.days_after))),
            ]
        )
        for row in rows
    ]
    table = light.Table([light.Thead(light.Tr([light.Th(head) for head in heads])), light.Tbody(body)], className="tbl")
    return light.Div(table, className="wide-only")


def _entry(row: BesideRow) -> light.Element:
    chance = _both(_chance(row.chance_before), _chance(row.chance_after))
    over = _both(_days(row.days_before), _days(row.days_after))
    return light.Li(
        [
            light.Div([light.B(row.line), f" · {CHANGES[row.change]}"]),
            light.Small(f"{_code(row.before, row.before_on)} there, {_code(row.after, row.after_on)} here"),
            light.Small(f"chance over before it {chance}; expected over {over}"),
        ]
    )


def _stop(code: str | None, on: date | None) -> list[Any]:
    if code is None or on is None:
        return ["no visit"]
    return [code, light.Small(words.day(on))]


def _code(code: str | None, on: date | None) -> str:
    return "no visit" if code is None or on is None else f"{code} ({words.day(on)})"


def _both(there: str, here: str) -> str:
    return there if there == here else f"{there} there, {here} here"


def _chance(value: float | None) -> str:
    return "no forecast" if value is None else words.chance(value)


def _days(value: float | None) -> str:
    return "no forecast" if value is None else days(value)


def _hours(told: Beside) -> str:
    """Return where crew hours differ: 'Taken of the stops: ORR-1 14 crew h there, 28 crew h here.'"""
    each = (f"{code} {crew_hours(there)} there, {crew_hours(here)} here" for code, there, here in told.hours)
    return f"Taken of the stops: {'; '.join(each)}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
