"""Cold offsets: which way of choosing came out right when running?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, cold_sentences, marks, notices, numbers, sentences
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from dashboard.components.foot import foot
from dashboard.components.pop import choice
from dashboard.components.rich import rich
from dashboard.pages import cold_evidence, cold_next
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.reports.job_sheet import JobSheet
from fleet.reports.sheet_words import sentence
from fleet.services.cold_offsets_page import ColdOffsetsView, WayFigures
from fleet.services.measured_rises import StationRise
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit


def cold_offsets_page(
    view: ColdOffsetsView,
    address: Address,
    codes: tuple[str, ...],
    sheet: JobSheet | None = None,
    rises: tuple[StationRise, ...] = (),
) -> Shown:
    """Return the Cold offsets page of one line, station and axis.

    Parameters
    ----------
    view
        The ways compared, the recommendation and its evidence.
    address
        The reader's unit and what is chosen.
    codes
        Every line's code, to choose another.
    sheet
        The line's job sheet, so that both pages name the same figures; None: not asked for.
    rises
        The measured rise of every station of the line.
    """
    unit = address.unit
    here = replace(address, station=view.station, axis=view.axis)
    crumb = [
        dcc.Link(view.line, href=href(Address(page="line", code=view.line, unit=unit))),
        f" · station {view.station} · {numbers.AXIS_WORDS[view.axis]}",
    ]
    job = dcc.Link(
        "Use on the job sheet", href=href(Address(page="job-sheet", code=view.line, unit=unit)), className="btn main"
    )
    body: list[Any] = [
        *head(
            "Which way of choosing came out right when running?",
            rich(cold_sentences.by_line_lead(view, unit, sheet)),
            crumb=crumb,
            acts=[job],
        ),
        html.Div(
            [
                cold.switch(here, view.line),
                choice(
                    "Line",
                    view.line,
                    [(code, href(Address(page="cold-offsets", code=code, unit=unit))) for code in codes],
                ),
                choice("Station", view.station, [(name, href(replace(here, station=name))) for name in view.stations]),
                choice(
                    "Axis",
                    numbers.AXIS_WORDS[view.axis],
                    [(numbers.AXIS_WORDS[axis], href(replace(here, axis=axis))) for axis in AXES],
                ),
                html.Span(
                    table_links("cold-offsets", here, "every station and way of this line"),
                    className="end",
                ),
            ],
            className="filters",
        ),
    ]
    body += [html.P(sentence(remark), className="note remark") for remark in view.remarks]
    ways = [way for name in cold.ORDER for way in view.ways if way.way == name]
    if ways:
        body += [*_ways(view, ways, unit), _key()]
    else:
        body.append(notices.no_figure("Nothing to compare yet", view.why or "No way of choosing has a figure here."))
    body += [
        *cold_next.targets(view, here, sheet),
        *cold_next.surer(view, unit),
        *cold_evidence.rise(view, here, rises),
        *cold_evidence.checks(view, here),
        *cold_next.left(view, unit),
        *cold_evidence.wider(view, here),
    ]
    body.append(
        foot(
            unit,
            view.right_hand_side,
            "Where the line would have run = the target of that way and the rise measured at that check together.",
        )
    )
    return Shown(f"Cold offsets {view.line}", body)


class _Scale:
    """Where a running position lies on the strips of a page, in per cent."""

    def __init__(self, view: ColdOffsetsView, ways: list[WayFigures]) -> None:
        values = [0.0]
        for way in (*ways, *([view.as_left] if view.as_left else [])):
            values += [value for value in way.would_have_run_um if math.isfinite(value)]
        # The side the runs lean to is shown as far as its limit, the other as far as its watch width.
        side = 1.0 if sum(values) >= 0 else -1.0
        if view.limit_um is not None:
            values.append(side * 1.12 * view.limit_um)
        if view.watch_um is not None:
            values += [1.15 * view.watch_um, -1.15 * view.watch_um]
        low, high = min(values), max(values)
        margin = 0.04 * (high - low) or 50.0
        self.low, self.high = low - margin, high + margin

    def at(self, um: float) -> float:
        return 100.0 * (um - self.low) / (self.high - self.low)

    def shown(self, um: float) -> bool:
        return self.low <= um <= self.high


def _lines(view: ColdOffsetsView, scale: _Scale) -> list[Any]:
    marks_: list[Any] = []
    if view.limit_um is not None:
        low, high = max(-view.limit_um, scale.low), min(view.limit_um, scale.high)
        marks_.append(
            html.I(
                className="co",
                style={"left": f"{scale.at(low):.2f}%", "width": f"{scale.at(high) - scale.at(low):.2f}%"},
            )
        )
    for width, name in ((view.watch_um, "wa"), (view.limit_um, "li")):
        if width is not None:
            marks_ += [
                html.I(className=name, style={"left": f"{scale.at(side * width):.2f}%"})
                for side in (-1, 1)
                if scale.shown(side * width)
            ]
    marks_.append(html.I(className="ax", style={"left": f"{scale.at(0.0):.2f}%"}))
    return marks_


def _strip(view: ColdOffsetsView, way: WayFigures, scale: _Scale, unit: ReaderUnit) -> html.Div:
    parts = _lines(view, scale)
    for number, value in enumerate(way.would_have_run_um):
        parts.append(html.I(className=f"di d{number % 2}", style={"left": f"{scale.at(value):.2f}%"}))
    if way.bias_um is not None:
        parts.append(html.I(className="me", style={"left": f"{scale.at(way.bias_um):.2f}%"}))
    ran = ", ".join(words.said(value, view.axis, "running", unit) for value in way.would_have_run_um)
    label = f"would have run {ran}" if ran else "no check to compare with"
    return html.Div(parts, className="wstrip", role="img", **aria(label=label.replace(NBSP, " ")))


def _scale_head(view: ColdOffsetsView, scale: _Scale) -> html.Div:
    low, high = {"v": ("ran low", "ran high"), "h": ("ran left", "ran right")}[view.axis]
    parts: list[Any] = [html.Span(low, className="e0"), html.Span(high, className="e1")]
    for width, name, kind in ((view.watch_um, "watch", "q"), (view.limit_um, "limit", "k")):
        if width is not None:
            parts += [
                html.Span(name, className=f"s {kind}", style={"left": f"{scale.at(side * width):.2f}%"})
                for side in (-1, 1)
                if scale.shown(side * width)
            ]
    parts.append(html.Span("axis", className="s k", style={"left": f"{scale.at(0.0):.2f}%"}))
    return html.Div(parts, className="whead", **aria(hidden="true"))


def _of(share: float | None, runs: int) -> str:
    return "–" if share is None or not runs else f"{round(share * runs)} of {runs}"


def _name(view: ColdOffsetsView, way: WayFigures, unit: ReaderUnit, *, as_left: bool) -> tuple[str, str]:
    if as_left:
        return "As-left that day", "for comparison"
    name, note = sentences.WAY_NAMES[way.way]
    part = next((part for part in view.parts if part.support == view.station), None)
    if way.way == "heat_model" and view.axis == "v" and part is not None:
        barrel, base, gearbox = (words.quantised(um, unit) for um in (part.barrel_um, part.base_um, part.gearbox_um))
        signs = ("−" if base < 0 else "+", "−" if gearbox < 0 else "+")
        note = f"{barrel} barrel {signs[0]} {abs(base)} base {signs[1]} {abs(gearbox)} gearbox axis, {unit}"
    return name, note


def _target(view: ColdOffsetsView, way: WayFigures, unit: ReaderUnit, *, as_left: bool) -> list[Any]:
    """Return a way's target; for what was left, from the lowest to the highest figure."""
    if as_left:
        made = [check.ran_um - check.rise_um for check in view.checks if check.ran_um is not None]
        said = [words.said(um, view.axis, "offset", unit, with_unit=False) for um in sorted(made, key=abs)]
        if made and said[0] != said[-1]:
            first, last = said[0], said[-1]
            if first.split(NBSP)[-1] == last.split(NBSP)[-1]:
                first = first.split(NBSP)[0]
            return [f"{first} – {last}".replace(" ", NBSP)]
    if way.target_um is not None and words.quantised(way.target_um, unit) == 0 and way.u95_target_um is None:
        return ["on axis"]
    return numbers.offset(way.target_um, view.axis, unit, way.u95_target_um)


def _ways(view: ColdOffsetsView, ways: list[WayFigures], unit: ReaderUnit) -> list[Any]:
    scale = _Scale(view, ways)
    rows, cards = [], []
    entries = [(way, False) for way in ways] + ([(view.as_left, True)] if view.as_left else [])
    for way, as_left in entries:
        name, note = _name(view, way, unit, as_left=as_left)
        recommended = not as_left and way.way == view.recommended_way
        tag: list[Any] = [" ", html.Span("recommended", className="tag")] if recommended else []
        kind = "rec" if recommended else ("cmpr" if as_left else "")
        bias: list[Any] = (
            [html.Span("–", className="dim3")]
            if way.bias_um is None
            else [
                words.said(way.bias_um, view.axis, "running", unit, with_unit=False),
                *numbers.plus_minus(way.u95_bias_um, unit),
            ]
        )
        rms = "–" if way.rms_um is None else words.figure(way.rms_um, unit)
        name_cell: list[Any] = [html.B(name), *tag, html.Small(note)]
        rows.append(
            html.Tr(
                [
                    html.Td(name_cell, className="wy"),
                    html.Td(_target(view, way, unit, as_left=as_left), className="num"),
                    html.Td(_strip(view, way, scale, unit), className="ln2"),
                    html.Td(bias, className="num"),
                    html.Td(html.B(rms), className="num"),
                    html.Td(_of(way.within_watch, way.runs), className="num"),
                    html.Td(_of(way.within_limit, way.runs), className="num"),
                ],
                className=kind,
            )
        )
        said = "none" if way.bias_um is not None and words.quantised(way.bias_um, unit) == 0 else bias
        cards.append(
            html.Li(
                [
                    html.Div(name_cell[:-1], className="l1"),
                    html.P(
                        [f"{note}; {'as-left' if as_left else 'target'} ", *_target(view, way, unit, as_left=as_left)],
                        className="note",
                    ),
                    _strip(view, way, scale, unit),
                    html.P(
                        [
                            "bias ",
                            html.B(said),
                            " · RMS ",
                            html.B(f"{rms}{NBSP}{unit}" if way.rms_um is not None else rms),
                            " · in watch ",
                            html.B(_of(way.within_watch, way.runs)),
                        ],
                        className="l3",
                    ),
                ],
                className=kind,
            )
        )
    watch = f" {words.figure(view.watch_um, unit)}{NBSP}{unit}" if view.watch_um is not None else ""
    limit = f" {words.figure(view.limit_um, unit)}{NBSP}{unit}" if view.limit_um is not None else ""
    header = html.Tr(
        [
            html.Th("Way of choosing"),
            html.Th(f"Cold target, {unit}"),
            html.Th([html.Span("Where it would have run", className="vh"), _scale_head(view, scale)], className="ln2"),
            html.Th(f"Bias, {unit}"),
            html.Th(f"RMS, {unit}"),
            html.Th(f"Within watch{watch}"),
            html.Th(f"Within limit{limit}"),
        ]
    )
    return [
        html.Div(html.Table([html.Thead(header), html.Tbody(rows)], className="tbl cold"), className="sheet wide-only"),
        html.Div(_scale_head(view, scale), className="narrow-only"),
        numbers.in_unit(unit),
        html.Ol(cards, className="narrow-only cc"),
    ]


def _key() -> html.Div:
    return marks.key(
        ("k-hot", "where it would have run at one check, from the gearbox axis"),
        ("k-step", "mean, the bias"),
        ("k-corr", "limit and axis"),
        ("k-watch", "watch"),
    )
