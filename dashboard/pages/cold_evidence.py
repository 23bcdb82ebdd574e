"""Cold offsets of one line: the evidence; how far it rises, what was measured running, the same over more lines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, notices, numbers, running_cautions
from dashboard.components.downloads import Take, table_links
from dashboard.components.graph import graph
from dashboard.figures.rise import rise_figure
from fleet import words
from fleet.services.cold_offset_ways import ScopeWays, WayFigures
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.services.measured_rises import StationRise
from fleet.words import NBSP, ReaderUnit

_NEWEST: Final = 6


def checks(view: ColdOffsetsView, here: Address) -> list[Any]:
    """Return what was measured running at the shown station, newest first; without any, the one next step."""
    unit = here.unit
    if not view.checks:
        return [
            notices.no_figure(
                "No running check yet",
                "Measure the rise once the line is hot: without it no way of choosing can be judged here.",
            ),
            *([] if view.advice and view.advice.surer else running_cautions.panels()),
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
                html.Div(
                    [
                        html.H2(f"What was measured running, station {view.station}"),
                        table_links("running-checks", here, "every running check of this station"),
                    ],
                    className="sh2 ph",
                ),
                html.Table([html.Thead(header), html.Tbody(rows[:_NEWEST])], className="tbl ckt"),
                *_older(header, rows[_NEWEST:]),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def _older(header: html.Tr, rows: list[html.Tr]) -> list[html.Details]:
    if not rows:
        return []
    summary = f"{cold.capital(numbers.count(len(rows)))} earlier {'check' if len(rows) == 1 else 'checks'}"
    table = html.Table([html.Thead(header), html.Tbody(rows)], className="tbl ckt")
    return [html.Details([html.Summary(summary, className="ph"), table], className="astable")]


def _barrel_on_phone(barrel_c: float | None) -> list[html.Small]:
    """Return the barrel's temperature as a note: a fourth column would run off a phone."""
    return [] if barrel_c is None else [html.Small(f"barrel {numbers.celsius(barrel_c)}", className="narrow-only")]


def rise(view: ColdOffsetsView, here: Address, rises: tuple[StationRise, ...]) -> list[Any]:
    """Return how far the line rises along the barrel: measured and modelled, drawn and by its parts."""
    unit = here.unit
    wide, phone = rise_figure(view, unit, rises), rise_figure(view, unit, rises, phone=True)
    if wide is None or phone is None:
        return []
    parts = sorted(view.parts, key=lambda part: part.distance_mm)
    said = "; ".join(
        f"support {part.support} {words.said(part.total_um, 'v', 'movement', unit)} "
        f"{words.plus_minus(part.u95_total_um, unit)}"
        for part in parts
    )
    label = f"Rise from cold to running by the heat model: nothing at the flange; {said}.".replace(NBSP, " ")
    title = f"{view.line}, rise from cold to running along the barrel, {unit}"
    take = Take("rise", here, title, words.day(view.as_of))
    rows = []
    at = {one.support or one.station: one for one in rises}
    if any(part.support in at for part in parts):
        most = max(len(at[part.support].runs) for part in parts if part.support in at)
        cells = [at.get(part.support) for part in parts]
        rows.append(
            html.Tr(
                [
                    html.Td([html.B("Measured"), html.Small(f" mean of up to {cold.checks(most)}")]),
                    *(
                        html.Td("not measured", className="dim3")
                        if one is None
                        else html.Td(
                            [_signed(one.mean_um, unit, lead=True), *numbers.plus_minus(one.u95_mean_um, unit)],
                            className="num",
                        )
                        for one in cells
                    ),
                ]
            )
        )
    rows += [
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
                graph("cold-rise", wide, label=label, class_name="wide-only", take=take),
                graph("cold-rise-phone", phone, label=label, class_name="narrow-only", take=take),
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


def wider(view: ColdOffsetsView, here: Address) -> list[Any]:
    """Return the same over the lines of this size and over the fleet, with the way to the other reading."""
    unit = here.unit
    scopes = [one for one in (view.advice.scopes if view.advice else ()) if one.axis == view.axis and one.runs]
    tables = []
    for scope in scopes:
        if scope.scope == "line":
            continue
        which = "The fleet" if scope.scope == "fleet" else f"Lines of {_bores(scope)}"
        tables.append(_scope(which, scope.lines, scope.runs, scope.ways, scope.closest, view, unit))
    if not tables:
        ways = [way for way in view.fleet_ways if way.runs]
        if not ways:
            return []
        tables.append(_scope("The fleet", view.fleet_lines, view.fleet_runs, tuple(ways), None, view, unit))
    other = replace(here, code=None, station=None, beside=view.line)
    return [
        html.Div(
            [
                html.H2(f"The same over more lines, to {words.day(view.as_of)}"),
                dcc.Link("All lines, by way of choosing", href=href(other), className="mid"),
            ],
            className="sh2 later wid",
        ),
        html.Div(tables, className="two even" if len(tables) > 1 else "one"),
    ]


def _bores(scope: ScopeWays) -> str:
    if scope.bore_mm is None:
        return "this size"
    low, high = scope.bore_mm
    return f"about {numbers.diameter((low + high) / 2.0)} bore"


def _scope(
    which: str,
    lines: int,
    runs: int,
    ways: tuple[WayFigures, ...],
    closest: str | None,
    view: ColdOffsetsView,
    unit: ReaderUnit,
) -> html.Section:
    by_way = {way.way: way for way in ways}
    rows = []
    for name in cold.ORDER:
        way = by_way.get(name)
        if way is None or not way.runs:
            continue
        bias: list[Any] = ["–"]
        if way.bias_um is not None:
            said = words.said(way.bias_um, view.axis, "running", unit, fine=True, with_unit=False)
            bias = [said, *cold.spread(way.u95_bias_um, unit)]
        tag: list[Any] = [" ", html.Span("closest", className="tag")] if name == closest else []
        rows.append(
            html.Tr(
                [
                    html.Td([html.B(cold.OF_FLEET[name][0]), *tag]),
                    html.Td(bias, className="num"),
                    html.Td("–" if way.rms_um is None else words.figure(way.rms_um, unit, fine=True), className="num"),
                    html.Td(_percent(way.within_watch), className="r"),
                    html.Td(_percent(way.within_limit), className="r"),
                ]
            )
        )
    heads = [html.Th("Way of choosing"), html.Th(f"Bias, {unit}"), html.Th(f"RMS, {unit}")]
    heads += [html.Th(text, className="r") for text in ("In watch", "In limit")]
    title = f"{which}: {cold.lines(lines)}, {cold.checks(runs)}"
    return html.Section(
        [
            html.H3(title, className="ph"),
            html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="tbl fl"),
        ],
        className="sheet",
    )


def _percent(share: float | None) -> str:
    return "–" if share is None else cold.percent(share)
