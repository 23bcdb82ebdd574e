"""Cold offsets: which way of choosing came out right when running?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import marks, notices, numbers, sentences
from dashboard.components.aria import aria
from dashboard.components.foot import foot
from dashboard.components.graph import graph
from dashboard.components.pop import choice
from dashboard.components.rich import plain, rich
from dashboard.figures.rise import rise_figure
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.reports.sheet_words import sentence
from fleet.services.cold_offsets_page import ColdOffsetsView, WayFigures
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit

_ORDER = ("own_record", "pooled", "heat_model", "bore_size", "none")


def cold_offsets_page(view: ColdOffsetsView, address: Address, codes: tuple[str, ...]) -> Shown:
    """Return the Cold offsets page of one line, station and axis.

    Parameters
    ----------
    view
        The ways compared, the recommendation and its evidence.
    address
        The reader's unit and what is chosen.
    codes
        Every line's code, to choose another.
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
            rich(sentences.cold_offsets_lead(view, unit)),
            crumb=crumb,
            acts=[job],
        ),
        html.Div(
            [
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
            ],
            className="filters",
        ),
    ]
    body += [html.P(sentence(remark), className="note remark") for remark in view.remarks]
    ways = [way for name in _ORDER for way in view.ways if way.way == name]
    if ways:
        body += [*_ways(view, ways, unit), _key()]
    else:
        body.append(notices.no_figure("Nothing to compare yet", view.why or "No way of choosing has a figure here."))
    body += [*_checks(view, unit), *_rise(view, unit), *_fleet(view, unit)]
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


def _name(way: WayFigures, *, as_left: bool) -> tuple[str, str]:
    if as_left:
        return "As-left that day", "for comparison"
    return sentences.WAY_NAMES[way.way]


def _ways(view: ColdOffsetsView, ways: list[WayFigures], unit: ReaderUnit) -> list[Any]:
    scale = _Scale(view, ways)
    rows, cards = [], []
    entries = [(way, False) for way in ways] + ([(view.as_left, True)] if view.as_left else [])
    for way, as_left in entries:
        name, note = _name(way, as_left=as_left)
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
                    html.Td(numbers.offset(way.target_um, view.axis, unit, way.u95_target_um), className="num"),
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
                        [f"{note}; target ", *numbers.offset(way.target_um, view.axis, unit, way.u95_target_um)],
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
    watch = f" {words.figure(view.watch_um, unit)}" if view.watch_um is not None else ""
    limit = f" {words.figure(view.limit_um, unit)}" if view.limit_um is not None else ""
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
        html.Ol(cards, className="narrow-only cc"),
    ]


def _key() -> html.Div:
    return marks.key(
        ("k-hot", "where it would have run at one check, from the gearbox axis"),
        ("k-step", "mean, the bias"),
        ("k-corr", "limit and axis"),
        ("k-watch", "watch"),
    )


def _checks(view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    if not view.checks:
        return [
            notices.no_figure(
                "No running check yet",
                "Measure the rise once the line is hot: without it no way of choosing can be judged here.",
            )
        ]
    rows = [
        html.Tr(
            [
                html.Td(
                    [words.day(check.checked_at), html.Small(check.label), *_barrel_on_phone(check.barrel_c)],
                    className="num ck",
                ),
                html.Td(
                    [
                        words.said(check.rise_um, view.axis, "movement", unit, with_unit=False),
                        *numbers.plus_minus(check.u95_rise_um, unit),
                    ],
                    className="num",
                ),
                html.Td(
                    "no as-left before it"
                    if check.ran_um is None
                    else words.said(check.ran_um, view.axis, "running", unit, with_unit=False),
                    className="num",
                ),
                html.Td("–" if check.barrel_c is None else numbers.celsius(check.barrel_c), className="num wide-only"),
            ]
        )
        for check in view.checks
    ]
    header = html.Tr(
        [
            *(html.Th(text) for text in ("Running check", f"Rise, {unit}", f"Ran, {unit} from the axis")),
            html.Th("Barrel", className="wide-only"),
        ]
    )
    return [
        html.Section(
            [
                html.H2(f"What was measured running, station {view.station}", className="ph"),
                html.Table([html.Thead(header), html.Tbody(rows)], className="tbl ckt"),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def _barrel_on_phone(barrel_c: float | None) -> list[html.Small]:
    """Return the barrel's temperature as a note: a fourth column would run off a phone."""
    return [] if barrel_c is None else [html.Small(f"barrel {numbers.celsius(barrel_c)}", className="narrow-only")]


def _rise(view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    wide, phone = rise_figure(view, unit), rise_figure(view, unit, phone=True)
    if wide is None or phone is None:
        return []
    parts = sorted(view.parts, key=lambda part: part.distance_mm)
    said = "; ".join(
        f"support {part.support} {words.said(part.total_um, 'v', 'movement', unit)} "
        f"{words.plus_minus(part.u95_total_um, unit)}"
        for part in parts
    )
    label = f"Rise from cold to running by the heat model: nothing at the flange; {said}.".replace(NBSP, " ")
    rows = [
        html.Tr(
            [
                html.Td(html.B("Heat model")),
                *(
                    html.Td(
                        [_signed(part.total_um, unit, lead=True), *numbers.plus_minus(part.u95_total_um, unit)],
                        className="num",
                    )
                    for part in parts
                ),
            ]
        )
    ]
    for name, field in (
        ("barrel over its support", "barrel_um"),
        ("base below the support", "base_um"),
        ("gearbox axis’s own rise", "gearbox_um"),
    ):
        rows.append(
            html.Tr(
                [
                    html.Td(html.Small(name), className="wrap"),
                    *(
                        html.Td(_signed(getattr(part, field), unit, lead=field == "barrel_um"), className="num dim")
                        for part in parts
                    ),
                ]
            )
        )
    header = [
        html.Th(f"Rise, {unit}"),
        *(html.Th(f"Support {p.support}, {numbers.distance(p.distance_mm, unit)}") for p in parts),
    ]
    return [
        html.Section(
            [
                html.H2("How far it rises, and what the target does between", className="ph"),
                html.P(
                    "The flange does not move: the rise goes straight from 0 there to the first support, through the "
                    "others, and straight on past the last.",
                    className="dim ph under",
                ),
                graph("cold-rise", wide, label=label, class_name="wide-only"),
                graph("cold-rise-phone", phone, label=label, class_name="narrow-only"),
                html.Table([html.Thead(html.Tr(header)), html.Tbody(rows)], className="tbl rt2"),
            ],
            className="sheet rise",
            style={"marginTop": "24px"},
        )
    ]


def _signed(um: float, unit: ReaderUnit, *, lead: bool = False) -> str:
    """Return a part of a sum with its sign; the first of a sum carries none when it is not negative."""
    shown = words.quantised(um, unit)
    sign = "− " if shown < 0 else ("" if lead else "+ ")
    return f"{sign}{abs(shown)}".replace(" ", NBSP)


def _fleet(view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    ways = [way for name in _ORDER for way in view.fleet_ways if way.way == name and way.runs]
    if not ways:
        return []
    rows = [
        html.Tr(
            [
                html.Td(html.B(sentences.WAY_NAMES[way.way][0])),
                html.Td(
                    "–"
                    if way.bias_um is None
                    else [
                        words.said(way.bias_um, view.axis, "running", unit, with_unit=False),
                        *numbers.plus_minus(way.u95_bias_um, unit),
                    ],
                    className="num",
                ),
                html.Td("–" if way.rms_um is None else words.figure(way.rms_um, unit), className="num"),
                html.Td(_percent(way.within_watch), className="r"),
                html.Td(_percent(way.within_limit), className="r"),
                html.Td(numbers.grouped(way.runs), className="r"),
            ]
        )
        for way in ways
    ]
    heads = [html.Th("Way of choosing"), html.Th(f"Bias, {unit}"), html.Th(f"RMS, {unit}")]
    heads += [html.Th(text, className="r") for text in ("Within watch", "Within limit", "Checks")]
    lines = f"{view.fleet_lines} {'line' if view.fleet_lines == 1 else 'lines'}"
    runs = f"{view.fleet_runs} running {'check' if view.fleet_runs == 1 else 'checks'}"
    title = f"The same over {lines}, {runs}, to {words.day(view.as_of)}"
    return [
        html.Section(
            [
                html.H2(title, className="ph"),
                html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="tbl fl"),
            ],
            className="sheet",
            style={"marginTop": "24px"},
            **aria(label=plain((title,))),
        )
    ]


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{share * 100:.0f}{NBSP}%"
