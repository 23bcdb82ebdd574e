"""The moves after a pass: cautions in full, a card a support with what to do and what was done, what to expect then."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components import record_words
from dashboard.components.aria import aria
from dashboard.components.record_boxes import box, box_id, button, choice, data, not_yet, panel
from dashboard.components.record_words import PLACES
from fleet import words
from fleet.reports import cautions as texts
from fleet.services.recording.view import MoveCard, MoveSide, PassView, RecordView, RoundView
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit

_WAYS: dict[str, tuple[tuple[str, str], ...]] = {
    "v": (("higher", "higher"), ("lower", "lower")),
    "h": (("right", "right"), ("left", "left")),
}
_HOW: tuple[tuple[str, str], ...] = (("screw", "screw"), ("shim", "shim"))


def full_cautions(length_growth_mm: float | None, unit: ReaderUnit) -> html.Section:
    """Return the nine cautions in full at every width, as they stand above any proposed move."""
    entries = [html.Li([html.B(lead), f" {rest}"]) for lead, rest in texts.cautions(length_growth_mm, unit)]
    return html.Section(
        [html.H2(texts.HEADING, className="say-head"), html.Ul(entries), html.P(html.B(texts.LAST))],
        className="say caut full always",
        **aria(label="Cautions"),
    )


def moves_step(view: RecordView, made: RoundView, unit: ReaderUnit) -> list[Any]:
    """Return the step of one round of moves."""
    after = made.after
    cards = [card for card in made.cards if not card.place]
    places = [card for card in made.cards if card.place]
    entry: list[Any] = [
        panel(f"m{after}-found", found(view, made, unit), "entry"),
        *(_card(view, after, card, unit) for card in cards),
    ]
    if places:
        entry.append(
            html.Details(
                [
                    html.Summary("Moved at the gearbox’s feet or the flange"),
                    html.Div([_did(card, view.unit) for card in places]),
                ],
                className="fold",
            )
        )
    entry.append(
        html.Div(
            html.P(
                [
                    html.B("Nothing was moved here, as typed. "),
                    button(
                        "Something was moved after all",
                        entries=[(made.nothing.name, ""), ("rounds", str(after + 1))],
                    ),
                ]
            ),
            className="say",
            hidden=True,
            **data(**{"if": f"{made.nothing.name}=yes"}),
        )
    )
    entry.append(
        html.Div(
            [
                button(
                    "Moved: read as-left", main=True, entries=[(made.nothing.name, "")], go=f"p{after + 1}", onward=""
                ),
                button(
                    "Nothing moved today" if after == 1 else "Nothing moved in this round",
                    entries=[(made.nothing.name, "yes"), ("rounds", str(after))],
                    go="sign",
                ),
            ],
            className="ch",
        )
    )
    return [
        full_cautions(view.length_growth_mm, unit),
        html.Div(
            [
                html.Section(entry, className="entry"),
                html.Aside([panel(f"m{after}-expect", expect(made, unit)), _note(view, made, unit)], className="aside"),
            ],
            className="cols slim",
        ),
    ]


def _note(view: RecordView, made: RoundView, unit: ReaderUnit) -> html.P:
    good = ""
    if made.good_enough_um is not None:
        good = f"; good enough is within {words.figure(made.good_enough_um, unit)} {unit} of the figure"
    side = f"; right is the {view.right_hand_side}" if view.right_hand_side else ""
    places = "0.01 mm" if unit == "mm" else "0.1 thou"
    return html.P(
        f"Moves are given to {places}{good}. Raise, bring down, move left, move right: looking from the gearbox{side}. "
        "Standing at the discharge end, right and left swap.",
        className="note",
    )


def _card(view: RecordView, after: int, card: MoveCard, unit: ReaderUnit) -> html.Div:
    return html.Div(
        [panel(f"m{after}-{card.support}", move_words(card, unit)), *_did(card, view.unit).children],
        className="sheet card mvc",
    )


def _did(card: MoveCard, unit: str) -> html.Div:
    """Return the boxes for what was done at one place, vertical and horizontal."""
    name = PLACES.get(card.support, card.support)
    groups: list[Any] = []
    for side, word in ((card.v, "vertical"), (card.h, "horizontal")):
        label = f"What you did, {word}" if not card.place else f"{name}, what you did, {word}"
        spoken = f"What you did at {name}, {word}"
        groups.append(
            html.Div(
                [
                    html.Label(label, htmlFor=box_id(side.amount.name), className="lb"),
                    *_bare(side, spoken, unit),
                    choice(side.way.name, f"{spoken}, which way", _WAYS[side.axis]),
                    choice(side.how.name, f"{spoken}, by screw or shim", _HOW),
                ],
                className="did",
            )
        )
    return html.Div(groups)


def _bare(side: MoveSide, spoken: str, unit: str) -> list[Any]:
    """Return the box of an amount without a label of its own; the group's stands above it."""
    made = box(side.amount.name, spoken, "decimal", unit=unit)
    return list(made.children[1:])


def move_words(card: MoveCard, unit: ReaderUnit) -> list[Any]:
    """Return what to do at a support in the words for moves, and from where to where that brings it."""
    proposed = [side for side in (card.v, card.h) if side.propose_um is not None]
    if not proposed:
        return [
            html.H2(f"Support {card.support}"),
            html.P("No move is proposed yet: the pass before it is not read and settled."),
        ]
    commands: list[str] = []
    for side in proposed:
        assert side.propose_um is not None
        text = words.said(side.propose_um, side.axis, "move", unit)
        word = words.direction(side.propose_um, side.axis, "move", unit)
        if word == "leave":
            continue
        figure = text.removeprefix(word.replace(" ", NBSP)).strip(f" {NBSP}")
        commands.append(f"{word} {card.support} {figure}" if side.axis == "v" else f"{word} {figure}")
    head = ", ".join(commands) if commands else f"leave {card.support} as it is"
    if commands and not head.startswith(("raise", "bring down")):
        head = f"{card.support}: {head}"
    parts: list[Any] = [html.H2(head[:1].upper() + head[1:])]
    ways = [_from_to(side, unit) for side in proposed if side.from_um is not None and side.to_um is not None]
    if ways:
        text = "; ".join(ways)
        parts.append(html.P(f"{text[:1].upper()}{text[1:]}."))
    held = [side for side in proposed if side.held_by]
    for side in held:
        why = "there is no more room" if side.held_by == "room" else "it goes by whole steps"
        parts.append(html.P(f"{'Vertical' if side.axis == 'v' else 'Horizontal'}: held to this because {why}."))
    alone = [side.axis for side in (card.v, card.h) if side.propose_um is None]
    if alone:
        axis = "vertically" if alone == ["v"] else "sideways"
        parts.append(html.P(f"This support does not adjust {axis}."))
    return parts


def _from_to(side: MoveSide, unit: ReaderUnit) -> str:
    assert side.from_um is not None and side.to_um is not None  # noqa: PT018
    start = words.said(side.from_um, side.axis, "offset", unit, fine=True)
    to = words.said(side.to_um, side.axis, "offset", unit)
    parts = [f"from {start} to {to}"]
    if side.target_um is not None:
        target = f"target {words.said(side.target_um, side.axis, 'offset', unit)}"
        against = side.against_drift_um or 0.0
        if words.quantised(against, unit) != 0:
            target += f", {words.said(against, side.axis, 'movement', unit)} against drift"
        parts.append(f"({target})")
    return " ".join(parts)


def found(view: RecordView, made: RoundView, unit: ReaderUnit) -> list[Any]:
    """Return the pass before in a sentence or two, and what still stands in the way of moving."""
    before = next((each for each in view.passes if each.number == made.after), None)
    parts: list[Any] = [not_yet("Kept, not reduced yet: wait for the figures before you move anything.")]
    if made.waits_for:
        count = len(made.waits_for)
        parts.append(
            html.Div(
                [
                    html.P(html.B("Move no support yet.")),
                    html.P(f"{'One thing' if count == 1 else f'{count} things'} noticed before is not settled."),
                    html.Div(button("Look at it", main=True, go=f"p{made.after}"), className="ch"),
                ],
                className="say warn",
            )
        )
    if before is not None:
        parts.append(
            html.Div(
                [html.H2(record_words.pass_name(before)), html.P(_worst(view, before, unit))],
                className="sheet card",
            )
        )
    parts += [html.P(text, className="say") for text in made.problems]
    if made.flange_um is not None and made.u95_flange_um is not None:
        off = [
            f"{words.said(um, axis, 'offset', unit)} {words.plus_minus(u95, unit)}{NBSP}{unit}"
            for axis, um, u95 in zip(AXES, made.flange_um, made.u95_flange_um, strict=True)
            if abs(um) > u95
        ]
        if off:
            parts.append(
                html.P(
                    f"At the flange the deviations come to {' and '.join(off)}: that is mended at gearbox or flange, "
                    "never at a support.",
                    className="say",
                )
            )
    return parts


def _worst(view: RecordView, made: PassView, unit: ReaderUnit) -> list[Any]:
    """Say where the worst place lies, how far from target, whether it was expected."""
    places = [
        (abs(um) / (station.limit_um[index] or 1e9), station, index)
        for station in made.stations
        if station.offset_um is not None
        for index in (0, 1)
        if (um := station.deviation_um[index]) is not None
    ]
    if not places:
        return [f"{made.readings} of {made.wanted} readings; nothing to judge yet."]
    _, station, index = max(places, key=lambda each: each[0])
    assert station.offset_um is not None
    axis = AXES[index]
    v, h = (
        record_words.offset(um, each, unit, view.right_hand_side)
        for um, each in zip(station.offset_um, AXES, strict=True)
    )
    deviation, limit = station.deviation_um[index], station.limit_um[index]
    assert deviation is not None
    said = words.said(deviation, axis, "deviation", unit, fine=True)
    bound = f", limit {words.figure(limit, unit)}{NBSP}{unit}" if limit else ""
    parts: list[Any] = [f"Station {station.station} ", html.B(v, className="num"), ", ", html.B(h), f": {said}{bound}."]
    expected, u95 = station.expected_um[index], station.u95_expected_um[index]
    if expected is not None and u95 is not None:
        own = station.u95_um[index] if station.u95_um is not None else 0.0
        fits = abs(station.offset_um[index] - expected) <= (u95**2 + own**2) ** 0.5
        text = f"{words.said(expected, axis, 'offset', unit)} {words.plus_minus(u95, unit)}{NBSP}{unit}"
        parts.append(f" Expected {text}: {'it fits' if fits else 'it lies outside that'}.")
    return parts


def expect(made: RoundView, unit: ReaderUnit) -> list[Any]:
    """Return what to expect after the moves, typed ones where there are any, else the proposed ones."""
    if not made.expect:
        return []
    u95 = max(max(each.u95_um) for each in made.expect)
    basis = "after what you did" if made.expect_from == "done" else "after the proposed moves"
    rows = [
        html.Tr(
            [
                html.Td(html.B(each.station)),
                *(
                    html.Td(
                        [
                            words.said(each.offset_um[index], axis, "offset", unit, with_unit=False),
                            " ",
                            html.Span(_set_to(each.set_to_um[index], index, unit), className="u"),
                        ],
                    )
                    for index, axis in enumerate(AXES)
                ),
            ]
        )
        for each in made.expect
    ]
    head = html.Div(
        [
            html.H2(f"Then expect, {words.plus_minus(u95, unit)}{NBSP}{unit}"),
            html.Span(basis, className="dim"),
        ],
        className="pad2",
    )
    table = html.Table(
        [
            html.Thead(
                html.Tr(
                    [html.Th(text, scope="col") for text in ("Station", f"Vertical, {unit}", f"Horizontal, {unit}")]
                )
            ),
            html.Tbody(rows),
        ],
        className="tbl sofar res",
    )
    why = []
    if made.why is not None:
        why = [html.P(f"Found {text}.", className="note under") for text in dict.fromkeys(made.why)]
    return [html.Div([head, not_yet(), table, *why], className="sheet")]


def _set_to(um: float | None, index: int, unit: ReaderUnit) -> str:
    return "" if um is None else f"(set to {words.said(um, AXES[index], 'offset', unit, with_unit=False)})"
