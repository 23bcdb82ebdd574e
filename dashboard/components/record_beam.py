"""Setting the beam: a reversal at the nearest and the farthest station, until both pairs agree."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components import cautions, numbers
from dashboard.components.record_boxes import box, button, data, not_yet, panel
from dashboard.components.record_pass import axes, rolls_and_boxes
from dashboard.components.record_words import as_shown, as_typed, length
from fleet import words
from fleet.services.recording.view import BeamPairView, BeamStateView, Pair, RecordView, Slot
from fleet.values import AXES
from fleet.words import ReaderUnit


def beam_step(view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return the first step: cautions, the two stations of every beam state there can be, and the way on."""
    states = view.beam.states
    entry: list[Any] = [
        html.Div(
            [_card(view, state, near, unit) for near in (True, False)],
            className="entry",
            **data(**{"if": f"trims={'|0' if state.state == 1 else state.state - 1}"}),
        )
        for state in states
    ]
    return [
        *cautions.panels(view.length_growth_mm, unit),
        html.Div(
            [
                html.Section([*entry, panel("beam-go", beam_go(view, unit), "ch")], className="entry"),
                html.Aside(
                    [panel("beam-stands", []), _temperatures(view), axes(view.right_hand_side)], className="aside"
                ),
            ],
            className="cols slim",
        ),
    ]


def _temperatures(view: RecordView) -> html.Div:
    """Return the way to the temperatures, which belong to the as-found and are best taken before it."""
    first = view.passes[0].conditions.get("barrel_c") if view.passes else None
    if first is None:
        return html.Div()
    return html.Div(button("Type temperatures, and how it stands", focus=first.name), className="ch")


def _card(view: RecordView, state: BeamStateView, near: bool, unit: ReaderUnit) -> html.Div:
    states = view.beam.states
    pair = state.nearest if near else state.farthest
    name = "near" if near else "far"
    title = f"{'Nearest' if near else 'Farthest'}, station {pair.station}"
    head = html.Div(
        [
            html.H2(title),
            html.Span(numbers.distance(pair.distance_mm, unit), className="dim"),
            html.Span(f"beam state {state.state}" if state.state > 1 else "", className="okk"),
        ],
        className="rh",
    )
    group = f"b{state.state}-{name}"
    parts: list[Any] = [
        html.Div(
            [
                head,
                html.Div(
                    rolls_and_boxes(pair.slots, view.unit, f"station {pair.station}"),
                    style={"marginTop": "10px"},
                    **data(slots=group),
                ),
                panel(group, pair_panel(pair, view, unit)),
            ],
            className="sheet now2",
        )
    ]
    if state.state < len(states):
        following = states[state.state]
        again = (following.nearest if near else following.farthest).slots[0].v.name
        trimmed = button("Trimmed: read this pair again", entries=[("trims", str(state.state))], focus=again)
        parts.append(html.Div(trimmed, className="ch"))
    return html.Div(parts, className="entry")


def pair_panel(pair: BeamPairView, view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return what a pair comes to: both readings, how far they differ, and what to do in one big sentence."""
    if pair.difference_um is None or pair.trim_to_um is None or pair.agrees is None:
        return [not_yet()]
    first, turned = pair.slots
    typed = {"v": (first.v.text, turned.v.text), "h": (first.h.text, turned.h.text)}
    rows = []
    for index, axis in enumerate(AXES):
        apart = words.figure(pair.difference_um[index], unit, fine=True)
        fits = pair.agrees[index]
        rows.append(
            html.Tr(
                [
                    html.Th(axis, scope="row"),
                    *(html.Td(as_typed(text, "")) for text in typed[axis]),
                    html.Td(f"{apart} agrees" if fits else html.B(apart)),
                ]
            )
        )
    table = html.Table(
        [
            html.Thead(
                html.Tr(
                    [
                        html.Td(""),
                        *(html.Th(f"{slot.roll_deg}°, {view.unit}", scope="col") for slot in pair.slots),
                        html.Th(f"pair differs, {unit}", scope="col"),
                    ]
                )
            ),
            html.Tbody(rows),
        ],
        className="pr",
    )
    trim = _trim(pair.slots, pair.difference_um, pair.trim_to_um, pair.agrees, agree_um=view.beam.agree_um, unit=unit)
    return [not_yet(), table, trim]


def _trim(
    slots: tuple[Slot, Slot],
    difference_um: Pair,
    trim_to_um: Pair,
    agrees: tuple[bool, bool],
    *,
    agree_um: float,
    unit: ReaderUnit,
) -> html.Div:
    bound = length(agree_um, unit)
    if all(agrees):
        return html.Div(
            html.P(f"Both axes agree within {bound}: leave the beam as it is here.", className="big"),
            className="say trim set",
            role="status",
        )
    off = [index for index in (0, 1) if not agrees[index]]
    sentences = [
        html.P(
            html.B(
                f"{AXES[index]}: pair differs {length(difference_um[index], unit)}: the beam is "
                f"{length(difference_um[index] / 2.0, unit)} off here. "
                f"Trim until it reads {as_shown(trim_to_um[index], unit)}."
            ),
            className="big",
        )
        for index in off
    ]
    turned = slots[1]
    watch = " and ".join(AXES[index] for index in off)
    where = f"Leave it at {turned.roll_deg}° ({turned.clock} o’clock) and watch {watch}. Trimming starts a beam state."
    return html.Div([*sentences, html.P(where)], className="say trim", role="status")


def beam_go(view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return the way on to the as-found, and what it waits for."""
    beam = view.beam
    if not beam.states:
        return [
            html.P("The beam is set at two stations; this line has fewer that are read today.", className="note"),
            button("Go on to as-found", main=True, go="p1"),
        ]
    bound = length(beam.agree_um, unit)
    parts: list[Any] = [
        button("Go on to as-found", main=beam.may_go_on, go="p1", disabled=not beam.may_go_on, onward="")
    ]
    if not beam.agrees:
        parts += [
            html.P(
                [
                    f"Opens when both pairs agree within {bound}. ",
                    html.Button(
                        "Go on as it is, say why",
                        type="button",
                        className="btn plain",
                        disable_n_clicks=True,
                        **data(reveal="beam-why"),
                    ),
                ],
                className="note",
            ),
            html.Div(
                box(beam.why.name, "Why the beam is left so", "text"),
                id="beam-why",
                hidden=not beam.why.text,
            ),
        ]
    return parts
