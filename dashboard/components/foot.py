"""The foot of every page: the axis sketch and how to read a number."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components.aria import aria
from fleet.words import ReaderUnit

UNIT_NAMES: dict[ReaderUnit, str] = {"mm": "Millimetres.", "thou": "Thou: 1 thou is 0.001 in, 25.4 um."}


def axis_sketch(right_hand_side: str | None) -> html.Div:
    """Return the sketch of both directions, with the plant's word for the right-hand side where it has one."""
    side = f", the {right_hand_side}," if right_hand_side else ","
    label = (
        f"Axis sketch: vertical plus is high; horizontal plus is right{side} "
        "looking from the gearbox toward the discharge end"
    )
    right: list[Any] = ["h + right", html.I(f"({right_hand_side})")] if right_hand_side else ["h + right"]
    return html.Div(
        [
            html.Span("v + high", className="ax-v"),
            html.Span(right, className="ax-h"),
            html.Span("discharge", className="ax-d"),
            html.Span("gearbox", className="ax-g"),
        ],
        className="axes axsk",
        role="img",
        **aria(label=label),
    )


def foot(unit: ReaderUnit, right_hand_side: str | None = None, *last: str) -> html.Footer:
    """Return the foot of a page; `last` are the sentences that only this page needs."""
    side = f"right ({right_hand_side}) / left" if right_hand_side else "right / left"
    text = (
        f" high / low and {side} say where the bore’s centre lies from the gearbox axis, looking from the gearbox "
        "toward the discharge end. Standing at the discharge end, right and left swap. above / below / right of / "
        "left of target is the deviation: cold offset minus cold target, what is judged against the limit. "
        "± is the expanded uncertainty (95 %). "
    )
    return html.Footer(
        [
            axis_sketch(right_hand_side),
            html.P([html.B("How to read a number."), text + " ".join([UNIT_NAMES[unit], *last])]),
        ],
        className="foot",
    )
