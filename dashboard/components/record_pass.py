"""A pass over the stations: the boxes of each, what was read so far beside what was expected, and how it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.components import numbers, record_words
from dashboard.components.aria import aria
from dashboard.components.record_boxes import box, button, chosen, data, not_yet, panel
from fleet import words
from fleet.services.recording.view import PassView, RecordView, Slot, StationView
from fleet.values import AXES
from fleet.words import ReaderUnit

CONDITION_WORDS: dict[str, tuple[str, str]] = {
    "barrel_c": ("Barrel", "°C"),
    "gearbox_c": ("Gearbox", "°C"),
    "base_c": ("Base", "°C"),
    "heats_off_h": ("Heats off for", "h"),
    "gearbox_level_um_per_m": ("Level on the gearbox", "um/m"),
    "measured_at": ("Read at, if not at the start", ""),
    "remarks": ("Remarks", ""),
}
CONDITION_CHOICES: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "bolts": ("Bolts", (("torqued", "torqued"), ("loose", "loose"))),
    "screw": ("Screw", (("out", "out"), ("in", "in"))),
    "die": ("Die", (("off", "off"), ("on", "on"))),
    "axis_by": (
        "How the gearbox axis was found",
        (("shaft_turned", "shaft turned"), ("fixture_turned", "fixture turned"), ("bore_centred", "bore centred")),
    ),
    "gearbox_c_at": ("Gearbox temperature taken", (("casing_mean", "casing, mean"), ("oil", "oil"))),
}


def rolls_and_boxes(slots: Sequence[Slot], unit: str, where: str) -> list[Any]:
    """Return the buttons of the beam's rolls and the two boxes of each reading, one reading shown at a time."""
    rolls = html.Div(
        [
            html.Button(
                [html.B(f"{slot.roll_deg}°"), f" ({record_words.clock(slot)})", html.Small("")],
                type="button",
                className="rb",
                disable_n_clicks=True,
                **data(roll=str(slot.roll_deg)),
                **aria(pressed="false"),
            )
            for slot in slots
        ],
        className="rolls",
        role="group",
        **aria(label=f"Beam roll, {where}"),
    )
    boxes = [
        html.Div(
            [
                box(
                    field.name,
                    f"{axis}, as the instrument shows it",
                    "reading",
                    spoken=f"{axis} at {slot.roll_deg}°, {where}, as the instrument shows it",
                    unit=unit,
                    axis=axis,
                    big=True,
                )
                for axis, field in (("v", slot.v), ("h", slot.h))
            ],
            **data(slot=str(slot.roll_deg)),
        )
        for slot in slots
    ]
    return [rolls, *boxes]


def taken(slots: Sequence[Slot]) -> list[html.Div]:
    """Return the cards that show the other readings of a station, filled from what was typed."""
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.H2(
                            [f"Beam roll {slot.roll_deg}° ", html.Span(f"({record_words.clock(slot)})", className="u")]
                        ),
                        html.Span("taken", className="okk"),
                    ],
                    className="rh",
                ),
                html.Div(className="sm num"),
            ],
            className="sheet card",
            hidden=True,
            **data(taken=str(slot.roll_deg)),
        )
        for slot in slots
    ]


def pass_step(view: RecordView, made: PassView, unit: ReaderUnit) -> list[Any]:
    """Return the step of one pass: the row of stations, the entry of each, and the figures beside it."""
    number = made.number
    return [
        _stations(made),
        html.Div(
            [
                html.Section(
                    [
                        *(_station(view, made, index) for index in range(len(made.stations))),
                        *_again(view, made),
                        panel(f"p{number}-slips", []),
                        *(_onward(made, index) for index in range(len(made.stations))),
                        _on(made, len(view.passes)),
                    ],
                    className="entry",
                ),
                html.Aside(
                    [
                        panel(f"p{number}-sofar", so_far(view, made, unit)),
                        panel(f"p{number}-beam", [], "wide-only"),
                        panel(f"p{number}-stands", stands(view, made)),
                        _conditions(made),
                        axes(view.right_hand_side),
                    ],
                    className="aside",
                ),
            ],
            className="cols",
        ),
    ]


def _title(made: PassView, station: str) -> str:
    name = "As-found" if made.number == 1 else "As-left"
    return f"{name}, {station}"


def _stations(made: PassView) -> html.Ol:
    buttons = [
        (station.station, f"p{made.number}/{station.station}", f"Station {station.station}")
        for station in made.stations
    ]
    items = [
        html.Li(html.Button(code, type="button", disable_n_clicks=True, **data(go=to), **aria(label=spoken)))
        for code, to, spoken in buttons
    ]
    if made.again and made.stations:
        first = made.stations[0].station
        items.append(
            html.Li(
                html.Button(
                    f"{first} again",
                    type="button",
                    disable_n_clicks=True,
                    **data(go=f"p{made.number}/again"),
                    **aria(label=f"Station {first} again, to close the pass"),
                ),
                className="cl",
            )
        )
    return html.Ol(items, className="sts", **aria(label="Stations"))


def _station(view: RecordView, made: PassView, index: int) -> html.Div:
    station = made.stations[index]
    where = f"station {station.station}"
    return html.Div(
        [
            *taken(station.slots),
            html.Div(
                rolls_and_boxes(station.slots, view.unit, where),
                className="sheet now2",
            ),
        ],
        className="entry",
        **data(
            place=station.station,
            title=_title(made, f"station {station.station}"),
            slots=f"p{made.number}-{station.station}",
        ),
    )


def _onward(made: PassView, index: int) -> html.Div:
    """Return what follows the boxes of a station, and what may be different there."""
    station = made.stations[index]
    where = f"station {station.station}"
    following = made.stations[index + 1].station if index + 1 < len(made.stations) else None
    to = f"p{made.number}/{following}" if following else f"p{made.number}/again" if made.again else None
    text = f"Next: station {following}" if following else f"Next: station {made.stations[0].station} again"
    return html.Div(
        [
            *([html.Div(button(text, go=to), className="ch")] if to else []),
            html.Details(
                [
                    html.Summary(f"Something else at {where}"),
                    html.Div(
                        [
                            chosen(station.trimmed.name, "Since the station before", [("yes", "the beam was trimmed")]),
                            chosen(station.skip.name, "Today", [("yes", "this station is left out")]),
                        ],
                    ),
                ],
                className="fold",
                **data(aside=""),
            ),
        ],
        className="entry",
        hidden=True,
        **data(at=station.station),
    )


def _again(view: RecordView, made: PassView) -> list[html.Div]:
    if not made.again or not made.stations:
        return []
    first = made.stations[0].station
    where = f"station {first} again"
    return [
        html.Div(
            [
                *taken(made.again),
                html.Div(rolls_and_boxes(made.again, view.unit, where), className="sheet now2"),
                html.P(
                    "The first station once more: how far it has changed tells what wandered meanwhile.",
                    className="note",
                ),
            ],
            className="entry",
            **data(place="again", title=_title(made, where), slots=f"p{made.number}-again"),
        )
    ]


def _on(made: PassView, passes: int) -> html.Div:
    """Return the way on after a pass: to the moves, and from a later pass to the signature or to one more round."""
    number = made.number
    if number == 1:
        return html.Div(button("Go on to the moves", main=True, go="m1", onward=""), className="ch")
    bolts = made.conditions.get("bolts")
    parts: list[Any] = []
    if bolts is not None:
        parts.append(chosen(bolts.name, "Bolts of the supports now", CONDITION_CHOICES["bolts"][1]))
    parts.append(button("Good enough: go on to sign", main=True, go="sign", onward=""))
    if number < passes:
        parts.append(button("One more round of moves", entries=[("rounds", str(number + 1))], go=f"m{number}"))
    return html.Div(parts, className="ch")


def _conditions(made: PassView) -> html.Details:
    """Return how it stands at a pass; what is not typed for a later pass holds from the one before."""
    fields = made.conditions
    parts: list[Any] = [
        box(fields[name].name, label, "decimal", spoken=f"{label}, pass {made.number}", unit=unit)
        for name, (label, unit) in CONDITION_WORDS.items()
        if name in fields and name not in ("remarks", "measured_at")
    ]
    parts += [
        html.Div(chosen(fields[name].name, label, options), className="wide" if len(options) > 2 else None)
        for name, (label, options) in CONDITION_CHOICES.items()
        if name in fields and not (name == "bolts" and made.number > 1)
    ]
    more: list[Any] = []
    for support, pair in made.support_temperatures.items():
        more += [
            box(
                field.name,
                f"{label} at {support}",
                "decimal",
                spoken=f"{label} at support {support}, pass {made.number}",
                unit="°C",
            )
            for label, field in (("Barrel", pair["barrel_c"]), ("Base", pair["base_c"]))
            if field is not None
        ]
    if "measured_at" in fields:
        more.append(box(fields["measured_at"].name, CONDITION_WORDS["measured_at"][0], "moment", wide=True))
    if "remarks" in fields:
        more.append(box(fields["remarks"].name, "Remarks on this pass", "long", wide=True))
    if more:
        rest = html.Div(more, className="fields")
        parts.append(
            html.Details([html.Summary("Supports’ own temperatures, time, remarks"), rest], className="fold wide")
        )
    return html.Details(
        [html.Summary("Temperatures, and how it stands"), html.Div(parts, className="fields")],
        className="fold",
        open=made.number == 1 and not fields["barrel_c"].text,
        **data(aside=""),
    )


def axes(right_hand_side: str | None) -> html.Div:
    """Return the two directions as a corner of arrows, and how they are to be read."""
    side = f", the {right_hand_side}" if right_hand_side else ""
    label = f"Directions, looking from the gearbox: plus v is high, plus h is right{side}"
    right: list[Any] = ["h + right", *([html.I(f"({right_hand_side})")] if right_hand_side else [])]
    return html.Div(
        [
            html.Div(
                [html.Span("v + high", className="x1"), html.Span(right, className="x2")],
                className="axc",
                role="img",
                **aria(label=label),
            ),
            html.P(record_words.axes_note(right_hand_side), className="note"),
        ],
        className="axb",
    )


def stands(view: RecordView, made: PassView | None) -> html.Dl:
    """Return temperatures and instrument as the reduction takes them."""
    conditions = made.conditions if made else {}

    def said(name: str) -> str:
        field = conditions.get(name)
        text = (field.text or field.carried or "") if field else ""
        return text.strip()

    barrel, gearbox, base = said("barrel_c"), said("gearbox_c"), said("base_c")
    pair = ", ".join(text or "–" for text in (gearbox, base))
    facts = [
        ("Barrel", f"{barrel} °C" if barrel else "not typed yet"),
        ("Gearbox, base", f"{pair} °C" if gearbox or base else "not typed yet"),
        ("Instrument", record_words.calibrated(view.instrument)),
        ("Shows", record_words.shows(view.instrument)),
    ]
    return html.Dl([html.Div([html.Dt(name), html.Dd(text)]) for name, text in facts], className="sheet cond")


def so_far(view: RecordView, made: PassView, unit: ReaderUnit) -> list[Any]:
    """Return the offsets as far as they can be reduced, beside what was expected or what is to be set."""
    left = made.number > 1
    doubted = {(noticed.facts.station, noticed.facts.axis) for noticed in made.noticed if not noticed.settled}
    beside = "set to" if left else "expected"
    side = f"; right is the {view.right_hand_side}" if view.right_hand_side else ""
    head = html.Div(
        [
            html.H2("So far"),
            html.Span(f"from the gearbox axis, at {numbers.celsius(view.cold_reference_c)}{side}", className="dim"),
        ],
        className="rh shead",
    )
    table = html.Table(
        [
            html.Thead(
                html.Tr(
                    [
                        html.Th(text, scope="col")
                        for text in (
                            "Station",
                            f"Vertical, {unit}",
                            f"{beside}, {unit}",
                            f"Horizontal, {unit}",
                            f"{beside}, {unit}",
                        )
                    ]
                )
            ),
            html.Tbody([_row(station, unit, left, doubted) for station in made.stations]),
        ],
        className="tbl sofar five",
    )
    notes: list[Any] = [html.P(text, className="note under") for text in (*made.problems, *_sums(made, unit))]
    return [html.Div([head, not_yet(), table, *notes], className="sheet")]


def _row(station: StationView, unit: ReaderUnit, left: bool, doubted: set[tuple[str | None, Any]]) -> html.Tr:
    cells: list[Any] = [html.Td(html.B(station.station))]
    bad = False
    for index, axis in enumerate(AXES):
        odd = (station.station, axis) in doubted or (station.station, None) in doubted
        bad = bad or odd
        if station.skipped:
            cells.append(html.Td("left out", className="dim3"))
        elif station.offset_um is None:
            cells.append(html.Td("read, not reduced" if station.complete else "not read", className="dim3"))
        else:
            text = words.said(station.offset_um[index], axis, "offset", unit, fine=True, with_unit=False)
            cells.append(html.Td(html.B(text) if odd else text, className="num"))
        um = station.set_to_um[index] if left else station.expected_um[index]
        u95 = None if left else station.u95_expected_um[index]
        cells.append(html.Td(numbers.offset(um, axis, unit, u95), className="num dim3"))
    return html.Tr(cells, className="bad" if bad else None)


def _sums(made: PassView, unit: ReaderUnit) -> list[str]:
    """Return what holds of the pass as a whole: how it closed, how near it lies, what the reduction remarks."""
    said: list[str] = []
    if made.closure_um is not None:
        said.append(f"First station read again: changed by {record_words.both(made.closure_um, unit)}.")
    u95 = [max(station.u95_um) for station in made.stations if station.u95_um is not None]
    if u95:
        said.append(f"All ± {words.figure(max(u95), unit, fine=True)} {unit} at most, expanded (95 %).")
    if made.number > 1 and made.good_enough_um is not None and made.farthest_off_um is not None:
        good = words.figure(made.good_enough_um, unit)
        within = made.farthest_off_um <= made.good_enough_um
        said.append(
            f"{'Within' if within else 'Not yet within'} {good} {unit} of the figure; farthest off "
            f"{words.figure(made.farthest_off_um, unit, fine=True)} {unit}."
        )
    if made.phase_why:
        said.append(made.phase_why)
    return [*said, *made.remarks]
