"""Compare, before and after: did the drift change with what happened, and is it real?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, numbers
from dashboard.components.downloads import table_links
from dashboard.components.rich import rich
from dashboard.figures import compare as pictures
from dashboard.pages import compare_words as said
from dashboard.pages.compare_address import write
from fleet import words
from fleet.services.compare import Change, CompareView, KindOfEvent
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

_SHOWN: Final = 8


def events_sheet(view: CompareView, address: Address, unit: ReaderUnit) -> html.Section:
    """Return every kind of event with its mean change, and the lines of the chosen kind one by one."""
    found = view.events
    if not found.kinds:
        return html.Section(
            [
                html.H2("Before and after", className="ph"),
                html.P(
                    "Nothing is recorded that happened to the lines in view: no event, no gearbox, barrel or screw "
                    "changed. What is recorded shows here with the drift before and after it.",
                    className="dim ph under",
                ),
            ],
            className="sheet",
        )
    rows = [_kind_row(kind, view, address, unit) for kind in found.kinds]
    header = html.Tr(
        [
            html.Th("What happened"),
            html.Th("Lines judged", className="r"),
            html.Th(f"Mean change, {unit} {said.A_YEAR}"),
            html.Th("Is it real?"),
        ]
    )
    shown = found.changes[:_SHOWN]
    more = len(found.changes) - len(shown)
    on = pictures.scale_of(
        [
            value
            for change in shown
            for rate, u95 in ((change.before, change.u95_before), (change.after, change.u95_after))
            if rate is not None and u95 is not None
            for value in (rate - u95, rate + u95)
        ],
        unit,
    )
    judged = any(change.change is not None for change in shown)
    return html.Section(
        [
            html.H2("Before and after", className="ph"),
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl evk"),
            html.H3(cold.capital(found.chosen or ""), className="ph"),
            html.P(
                f"{cold.capital(numbers.AXIS_WORDS[view.filters.axis])} drift before and after, {unit} {said.A_YEAR}, "
                "95 %.",
                className="dim ph under",
            ),
            *(
                [html.Div([html.Span(), pictures.head(on, view.filters.axis, most=4)], className="evs bast")]
                if judged
                else []
            ),
            html.Ol([_change_row(change, view, on, unit) for change in shown], className="evl"),
            *([html.P(f"{more} more in the file.", className="note ph")] if more else []),
            html.P(
                "The interval in which it happened counts on neither side, so a step made by the event itself is not "
                "in these rates. What speaks for one station or support is looked at there. A kind is judged from "
                "three lines on, allowing for how many kinds there are; one line, from two intervals on each side.",
                className="note ph",
            ),
            html.Div(table_links("compare-events", address, "every line this happened to"), className="ph under"),
        ],
        className="sheet",
    )


def _kind_row(kind: KindOfEvent, view: CompareView, address: Address, unit: ReaderUnit) -> html.Tr:
    here = kind.kind == view.events.chosen
    name: Any = cold.capital(kind.kind)
    if not here:
        name = dcc.Link(name, href=write(address, replace(view.filters, event=kind.kind)), title="show these lines")
    times = {1: "once", 2: "twice"}.get(kind.times, f"{numbers.grouped(kind.times)} times")
    mean = "–" if kind.mean is None else said.rate_and_spread(kind.mean, kind.u95_mean, view.filters.axis, unit)
    word = said.kind_verdict(kind)
    return html.Tr(
        [
            html.Td([html.B(name) if here else name, html.Small(f"{times} on {cold.lines(kind.lines)}")]),
            html.Td(str(kind.judged), className="r"),
            html.Td(mean, className="num"),
            html.Td(html.B(word) if kind.told_apart else word, className="is"),
        ],
        className="mine" if here else "",
    )


def _with_unit(um: float, u95_um: float | None, axis: Axis, unit: ReaderUnit) -> str:
    spread = "" if u95_um is None else f" {words.plus_minus(u95_um, unit, fine=True)}"
    return f"{said.per_year(um, axis, unit)}{spread}"


def _change_row(change: Change, view: CompareView, on: pictures.Scale, unit: ReaderUnit) -> html.Li:
    axis = view.filters.axis
    name = change.line if change.bore == 1 else f"{change.line}, bore {change.bore}"
    to = href(Address(page="line", code=change.line, unit=unit, station=change.station, axis=axis))
    parts: list[Any] = [
        html.Div(
            [
                html.Span([dcc.Link(name, href=to, className="ln"), f", station {change.station}"]),
                html.Span(words.day(change.on), className="dim"),
            ],
            className="l1",
        )
    ]
    if change.note:
        parts.append(html.P(change.note, className="note"))
    if change.before is not None and change.after is not None:
        parts.append(pictures.change_strip(change, on, most=4))
        parts.append(
            html.P(
                f"{_with_unit(change.before, change.u95_before, axis, unit)}{NBSP}before, "
                f"{_with_unit(change.after, change.u95_after, axis, unit)}{NBSP}after",
                className="note",
            )
        )
    parts.append(html.P(rich(said.change_said(change, axis, unit)), className="sy"))
    return html.Li(parts)
