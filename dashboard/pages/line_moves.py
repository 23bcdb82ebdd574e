"""What would bring the line to its targets: a move for every support, and what the moves would come to."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components import cautions, numbers
from fleet import words
from fleet.services.line_evidence import MoveRow, MovesView, PredictedRow
from fleet.services.line_page import LineView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}
_HELD: Final = {"room": "wanted; the recorded room ends there", "step": "to its step"}


def to_target(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return the section; nothing where the line's place or its supports are not known."""
    moves = view.moves
    if moves is None:
        return []
    good = f"{words.figure(moves.good_enough_um, unit)}{NBSP}{unit}"
    side = f"; right is the {view.right_hand_side}" if view.right_hand_side else ""
    notes = [
        *(f"{numbers.AXIS_WORDS[axis].capitalize()}: {_sentence(moves.why[_INDEX[axis]])}" for axis in AXES),
        f"Raise, bring down, move left, move right: looking from the gearbox toward the discharge end{side}.",
    ]
    if len(set(moves.why)) == 1:
        notes = [_sentence(moves.why[0]), notes[-1]]
    codes = list(dict.fromkeys(row.support for row in moves.moves))
    return [
        html.Section(
            [
                html.H2(f"What would bring it to target, as of {words.day(moves.on)}"),
                html.Ul([_support(moves, code, unit) for code in codes], className="mvl")
                if codes
                else html.P("No support of this line adjusts, so nothing at the supports brings it nearer."),
                *(html.P(_left_alone(moves), className="dim fact") for _ in moves.left_alone[:1]),
                html.P(_flange(moves, unit), className="dim fact"),
                *cautions.panels(None, unit),
                html.H3(f"Where it would then lie, {unit}; good enough is within {good}", className="sub"),
                _wide(moves, unit),
                *(_narrow(moves, unit, axis) for axis in AXES),
                html.P(" ".join(notes), className="note after-table"),
            ],
            className="sheet pad tot",
            style={"marginTop": "24px"},
        )
    ]


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."


def _support(moves: MovesView, code: str, unit: ReaderUnit) -> html.Li:
    said = [_move(row, unit, first=k == 0) for k, row in enumerate(row for row in moves.moves if row.support == code)]
    return html.Li([piece for k, pieces in enumerate(said) for piece in ([", "] if k else []) + pieces])


def _move(row: MoveRow, unit: ReaderUnit, *, first: bool) -> list[Any]:
    """Return one move in words: 'Raise A 0.18 mm ± 0.05', after the first without the support's code."""
    way = words.direction(row.move_um, row.axis, "move", unit)
    named = f"{way} {row.support}" if first else way
    if first:
        named = named[:1].upper() + named[1:]
    if way == "leave":
        named += f"{'' if first else ' it'} as it is {numbers.AXIS_WORDS[row.axis]}"
    else:
        named += f" {words.figure(row.move_um, unit)}{NBSP}{unit}"
    pieces: list[Any] = [html.B(named.replace(" ", NBSP)), *numbers.plus_minus(row.u95_um, unit)]
    if row.held_by is not None:
        wanted = f"{words.figure(row.wanted_um, unit, fine=True)}{NBSP}{unit}"
        pieces.append(html.Small(f" ({wanted} {_HELD[row.held_by]})"))
    return pieces


def _left_alone(moves: MovesView) -> str:
    of: dict[str, list[str]] = {}
    for code, axis in moves.left_alone:
        of.setdefault(code, []).append(numbers.AXIS_WORDS[axis])
    said = "; ".join(f"{code} {' and '.join(axes)}" for code, axes in of.items())
    return f"Left alone, not made to adjust: {said}."


def _flange(moves: MovesView, unit: ReaderUnit) -> str:
    each = " and ".join(
        f"{words.said(um, axis, 'deviation', unit)} {words.plus_minus(u95, unit)}"
        for axis, um, u95 in zip(AXES, moves.flange_um, moves.u95_flange_um, strict=True)
    )
    return (
        f"At the flange the line through the deviations lies {each}: what is wrong there is put right at gearbox or "
        "flange, never at a support."
    )


def _of_target(row: PredictedRow, axis: Axis, moves: MovesView, unit: ReaderUnit) -> list[Any]:
    um = row.deviation_um[_INDEX[axis]]
    said = numbers.short_of(um, axis, unit)
    return [said] if abs(um) <= moves.good_enough_um else [html.B(said), html.Small(" not good enough", className="vb")]


def _place(row: PredictedRow, axis: Axis, unit: ReaderUnit) -> list[Any]:
    index = _INDEX[axis]
    return numbers.offset(row.offset_um[index], axis, unit, row.u95_um[index])


def _wide(moves: MovesView, unit: ReaderUnit) -> html.Table:
    axes = [text for name in ("Vertical", "Horizontal") for text in (f"{name}, {unit}", f"of target, {unit}")]
    heads = [html.Th(text) for text in ("Station", *axes)]
    rows = [
        html.Tr(
            [
                html.Td(html.B(row.station)),
                *(
                    html.Td(content, className="num")
                    for axis in AXES
                    for content in (_place(row, axis, unit), _of_target(row, axis, moves, unit))
                ),
            ]
        )
        for row in moves.predicted
    ]
    return html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="tbl wide-only")


def _narrow(moves: MovesView, unit: ReaderUnit, axis: Axis) -> html.Table:
    heads = [
        html.Th(text) for text in ("Station", f"{numbers.AXIS_WORDS[axis].capitalize()}, {unit}", f"of target, {unit}")
    ]
    rows = [
        html.Tr(
            [
                html.Td(html.B(row.station)),
                html.Td(_place(row, axis, unit), className="num"),
                html.Td(_of_target(row, axis, moves, unit)),
            ]
        )
        for row in moves.predicted
    ]
    return html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="tbl narrow-only pt2")
