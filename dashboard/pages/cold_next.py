"""Cold offsets of one line: what to set next at every station, what would make it surer, what was set before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, cold_sentences, numbers, running_cautions
from dashboard.components.aria import aria
from fleet import words
from fleet.reports.job_sheet import JobSheet
from fleet.reports.sheet_words import shown_difference_um
from fleet.services.cold_offset_advice import NextTarget, Surer, TargetLeft
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit

_NEWEST: Final = 6


def targets(view: ColdOffsetsView, here: Address, sheet: JobSheet | None) -> list[Any]:
    """Return the target to set next at every station on the shown axis, how it should run, why, and the job sheet's."""
    rows = [target for target in (view.advice.targets if view.advice else ()) if target.axis == view.axis]
    if not rows:
        return []
    unit = here.unit
    body, cards = [], []
    for target in rows:
        link = dcc.Link(target.station, href=href(replace(here, station=target.station)), className="ln")
        figure = html.Span(numbers.offset(target.target_um, view.axis, unit, target.u95_target_um), className="num")
        set_to = _sheet_sets(view, target, sheet, unit)
        way = "–" if target.way is None else _way_name(target)
        mine = "mine" if target.station == view.station else ""
        where = numbers.distance(target.distance_mm, unit)
        body.append(
            html.Tr(
                [
                    html.Td([link, html.Small(where)]),
                    html.Td(html.B(figure)),
                    html.Td([html.Span(_runs(view, target, unit), className="num"), _range_strip(target, rows)]),
                    html.Td([way, html.Small(cold_sentences.why_words(target))]),
                    html.Td(set_to),
                ],
                className=mine,
            )
        )
        cards.append(
            html.Li(
                [
                    html.Div([link, html.B(figure)], className="l1"),
                    html.P(f"should run {_runs(view, target, unit)}"),
                    html.P([way, html.Small(f" {cold_sentences.why_words(target)}")]),
                    html.P(["job sheet: ", *set_to], className="note"),
                ],
                className=mine,
            )
        )
    heads = ("Station", f"Cold target, {unit}", f"Should then run, {unit} (95{NBSP}%)", "Way of choosing, and why")
    header = html.Tr([*(html.Th(text) for text in heads), html.Th(f"Job sheet sets, {unit}")])
    side = f" Right is {view.right_hand_side}." if view.axis == "h" and view.right_hand_side else ""
    return [
        html.Section(
            [
                html.H2("What to set next, station by station", className="ph"),
                html.P(
                    f"{cold.capital(numbers.AXIS_WORDS[view.axis])}. The target is for the line’s rise alone; the job "
                    f"sheet adds what is set against the drift.{side}",
                    className="dim ph under",
                ),
                html.Table([html.Thead(header), html.Tbody(body)], className="tbl lw tg wide-only"),
                numbers.in_unit(unit),
                html.Ol(cards, className="narrow-only gc"),
            ],
            className="sheet later",
        )
    ]


def _way_name(target: NextTarget) -> str:
    name = cold.SHORT[target.way] if target.way else ""
    return cold.capital("this line’s own checks" if target.way == "own_record" else name)


def _runs(view: ColdOffsetsView, target: NextTarget, unit: ReaderUnit) -> str:
    if target.low_um is None or target.high_um is None:
        return "not known"
    low, high = (words.said(um, view.axis, "running", unit, with_unit=False) for um in (target.low_um, target.high_um))
    return low if low == high else f"{low} to {high}".replace(" ", NBSP)


def _range_strip(target: NextTarget, rows: list[NextTarget]) -> Any:
    """Return the expected range in the corridor, on one scale for all stations."""
    if target.low_um is None or target.high_um is None:
        return ""
    ends = [abs(um) for row in rows for um in (row.low_um, row.high_um, row.limit_um) if um is not None]
    widest = 1.08 * max(ends, default=1.0) or 1.0

    def at(um: float) -> float:
        return 50.0 + 50.0 * um / widest

    parts: list[Any] = []
    if target.limit_um is not None:
        left, right = at(-target.limit_um), at(target.limit_um)
        parts.append(html.I(className="co", style={"left": f"{left:.1f}%", "width": f"{right - left:.1f}%"}))
        parts += [html.I(className="li", style={"left": f"{edge:.1f}%"}) for edge in (left, right)]
    parts.append(html.I(className="ax", style={"left": "50%"}))
    low, high = at(target.low_um), at(target.high_um)
    parts.append(html.I(className="rng", style={"left": f"{low:.1f}%", "width": f"{max(high - low, 0.5):.1f}%"}))
    if target.expected_running_um is not None:
        parts.append(html.I(className="me", style={"left": f"{at(target.expected_running_um):.1f}%"}))
    return html.Div(parts, className="wstrip mini", **aria(hidden="true"))


def _sheet_sets(view: ColdOffsetsView, target: NextTarget, sheet: JobSheet | None, unit: ReaderUnit) -> list[Any]:
    row, index = cold_sentences.sheet_station(sheet, target.station), AXES.index(view.axis)
    set_to = row.set_to_um[index] if row else None
    aim = row.target_um[index] if row else None
    if set_to is None or aim is None:
        return ["–"]
    parts = []
    if target.target_um is None or words.quantised(aim, unit) != words.quantised(target.target_um, unit):
        parts.append(f"target on record {words.said(aim, view.axis, 'offset', unit, with_unit=False)}")
    if drift := shown_difference_um(set_to, aim, unit):
        parts.append(f"{words.said(drift, view.axis, 'movement', unit, with_unit=False)} against{NBSP}drift")
    said = html.Span(words.said(set_to, view.axis, "offset", unit, with_unit=False), className="num")
    return [said, " ", html.Small(", ".join(parts))] if parts else [said]


def surer(view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    """Return what would make the expectation surer and by how much, under the cautions of a running check."""
    found = view.advice.surer if view.advice else None
    if found is None:
        return []
    steps = (
        ("now", found.half_now_um),
        ("with one more check", found.half_then_um),
        ("with many: the scatter from run to run is left", found.half_least_um),
    )
    return [
        html.Section(
            [
                html.H2("What would make it surer", className="ph"),
                html.P(f"{found.ask.rstrip('.')}. {cold.capital(found.helps.rstrip('.'))}.", className="dim ph under"),
                html.Dl([_half(name, um, found, unit) for name, um in steps], className="sur"),
                html.Div(running_cautions.panels(), className="pad"),
            ],
            className="sheet later",
        )
    ]


def _half(name: str, um: float, found: Surer, unit: ReaderUnit) -> html.Div:
    pair = "high or low" if found.axis == "v" else "right or left"
    width = f"{100.0 * um / (max(found.half_now_um, found.half_then_um, found.half_least_um) or 1.0):.0f}%"
    return html.Div(
        [
            html.Dt(f"{name}, station {found.station}" if name == "now" else name),
            html.Dd(
                [
                    html.Span([html.B(f"{words.figure(um, unit, fine=True)}{NBSP}{unit}"), f" {pair} (95{NBSP}%)"],
                              className="gf"),
                    html.Div(html.I(className="sb", style={"width": width}), className="sbw", **aria(hidden="true")),
                ]
            ),
        ],
        className="gw",
    )  # fmt: skip


def left(view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    """Return every past as-left of the shown station beside its own target and what that day's record recommends."""
    found = view.advice.left if view.advice else ()
    rows = [row for row in found if row.station == view.station and row.axis == view.axis]
    if not rows:
        return []
    newest, older = rows[:_NEWEST], rows[_NEWEST:]
    more = []
    if older:
        summary = f"{cold.capital(numbers.count(len(older)))} earlier {'visit' if len(older) == 1 else 'visits'}"
        more.append(html.Details([html.Summary(summary), *_left_table(older, view, unit)], className="astable ph"))
    return [
        html.Section(
            [
                html.H2(
                    f"What was set at {view.station}, and what the record of that day would have set", className="ph"
                ),
                html.P(cold_sentences.left_sentence(rows, unit), className="dim ph under"),
                *_left_table(newest, view, unit),
                *more,
            ],
            className="sheet later",
        )
    ]


def _left_table(rows: list[TargetLeft], view: ColdOffsetsView, unit: ReaderUnit) -> list[Any]:
    body, cards = [], []
    for row in rows:
        day = [html.B(words.day(row.on)), html.Small(", ".join(part for part in (row.session, row.technician) if part))]
        own = [*numbers.offset(row.target_um, view.axis, unit), html.Small(_target_of(row))]
        then = [*numbers.offset(row.recommended_um, view.axis, unit, row.u95_recommended_um), html.Small(_then(row))]
        made = [*numbers.offset(row.as_left_um, view.axis, unit, row.u95_as_left_um), html.Small(_met(row, view, unit))]
        ran, would = _ran(row.ran_um, view, unit), _ran(row.would_have_run_um, view, unit)
        body.append(html.Tr([html.Td(day), html.Td(own), html.Td(made), html.Td(ran), html.Td(then), html.Td(would)]))
        cards.append(
            html.Li(
                [
                    html.Div(day, className="l1"),
                    html.P(["target ", *own]),
                    html.P(["as-left ", *made]),
                    html.P([f"ran {ran}; recommended then ", *then]),
                    html.P(f"would have run {would}" if row.would_have_run_um is not None else ""),
                ]
            )
        )
    heads = ("Visit", f"Target of the day, {unit}", f"As-left, {unit}", f"Ran, {unit}", f"Recommended then, {unit}")
    header = html.Tr([*(html.Th(text) for text in heads), html.Th(f"Would have run, {unit}")])
    return [
        html.Table([html.Thead(header), html.Tbody(body)], className="tbl lw wide-only"),
        numbers.in_unit(unit),
        html.Ol(cards, className="narrow-only gc lf"),
    ]


def _target_of(row: TargetLeft) -> str:
    if row.target_um is None:
        return "no target on record"
    return (row.basis or "chosen then").replace("_", " ") if row.target_own else "as chosen before"


def _then(row: TargetLeft) -> str:
    if row.recommended_way is None:
        return "nothing to go by then"
    known = f"{cold.checks(row.runs_known)} known" if row.runs_known else "no check known"
    name = "its own checks" if row.recommended_way == "own_record" else cold.SHORT[row.recommended_way]
    return f"{name}, {known}"


def _met(row: TargetLeft, view: ColdOffsetsView, unit: ReaderUnit) -> str:
    if row.met is None or row.target_um is None:
        return "no target to meet"
    if row.met:
        return f"met: within {words.figure(row.set_within_um, unit)}{NBSP}{unit}"
    return f"missed: {words.said(row.as_left_um - row.target_um, view.axis, 'deviation', unit)}"


def _ran(um: float | None, view: ColdOffsetsView, unit: ReaderUnit) -> str:
    return "not measured" if um is None else words.said(um, view.axis, "running", unit, with_unit=False)
