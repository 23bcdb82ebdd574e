"""The last step: the figures, what was noticed and how it was settled, how it stood, what is asked, the name."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components import numbers, record_words
from dashboard.components.record_boxes import BoxKind, box, button, data, not_yet, panel
from dashboard.components.record_pass import CONDITION_CHOICES
from fleet import words
from fleet.reports import cautions as texts
from fleet.reports import check_words
from fleet.services.recording.view import PassView, RecordView, SettledView
from fleet.values import AXES
from fleet.words import ReaderUnit

FINDING_BOXES = (
    ("item", "What", "soft foot, grout, crew hours"),
    ("value", "How much", ""),
    ("unit", "Unit of a length", "none for hours"),
)
_CHOSEN: dict[str, str] = {"corrected": "corrected", "read_again": "read again", "kept": "kept as typed"}


def sign_step(view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return the step that ends a visit."""
    lead, rest = texts.CAUTIONS[-1]
    day = words.day(view.started_at) if view.started_at else "no start yet"
    return [
        html.Div(
            [
                html.Section(
                    [
                        panel("sign-figures", figures(view, unit)),
                        panel("sign-noticed", noticed(view, unit)),
                        panel("sign-stood", stood(view)),
                        _beside(view),
                    ],
                    className="entry",
                ),
                html.Aside(
                    [
                        panel("sign-asks", asks(view), "entry"),
                        html.Div(html.P([html.B(lead), f" {rest}"]), className="say caut full always"),
                        html.Div(
                            [
                                html.H2("Your name under it"),
                                html.P(
                                    "Signed, this visit cannot be altered. A mistake found later is put right by a "
                                    "correction that says why.",
                                    className="dim",
                                ),
                                box("name", "Your name", first=view.technician or ""),
                                html.P(
                                    "There are no accounts yet: the record says beside it that it was not verified.",
                                    className="note",
                                ),
                                html.Div(
                                    [
                                        button(
                                            f"Sign: {view.line}, {day}", main=True, act="sign", name="name", onward=""
                                        ),
                                        html.P(hidden=True, className="said", role="alert", **data(of_act="")),
                                        button("Leave it as a draft", act="leave"),
                                        button("Discard this draft", reveal="discard"),
                                        html.Div(
                                            [
                                                html.P(
                                                    "Everything typed in this visit goes. It cannot be brought back."
                                                ),
                                                button("Discard it now", act="discard", name="name"),
                                            ],
                                            id="discard",
                                            hidden=True,
                                            className="ch",
                                        ),
                                    ],
                                    className="ch",
                                ),
                                html.P(
                                    "Asked of everyone who signs: known stations, temperatures, an instrument in "
                                    "calibration, everything noticed settled. Signing is no permission to start the "
                                    "machine.",
                                    className="note",
                                ),
                            ],
                            className="sheet pad",
                            **data(form=f"sign:{view.head.client_key}", action=""),
                        ),
                    ],
                    className="aside",
                ),
            ],
            className="cols slim",
        )
    ]


def figures(view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return the figures that are signed: those of the last pass with readings."""
    signing = view.signing
    made = next((each for each in view.passes if each.number == signing.final), None)
    if made is None:
        return [
            not_yet(),
            html.Div([html.H2("No readings yet"), html.P("There is nothing to sign.")], className="sheet card"),
        ]
    parts: list[Any] = [
        html.Div([html.H2(record_words.pass_name(made)), html.P(_within(made, view, unit))], className="pad2")
    ]
    rows = [
        html.Tr(
            [
                html.Td(html.B(station.station)),
                *(
                    html.Td(words.said(um, axis, "offset", unit, fine=True, with_unit=False), className="num")
                    for um, axis in zip(station.offset_um, AXES, strict=True)
                ),
                html.Td(_off(station.off_by_um, unit), className="num dim"),
            ]
        )
        for station in made.stations
        if station.offset_um is not None
    ]
    head = html.Thead(
        html.Tr(
            [
                html.Th(text, scope="col")
                for text in ("Station", f"Vertical, {unit}", f"Horizontal, {unit}", f"off the figure by, {unit}")
            ]
        )
    )
    parts.append(html.Table([head, html.Tbody(rows)], className="tbl res"))
    u95 = [max(station.u95_um) for station in made.stations if station.u95_um is not None]
    spread = f", ± {words.figure(max(u95), unit, fine=True)} {unit} at most" if u95 else ""
    side = f" Right is the {view.right_hand_side}." if view.right_hand_side else ""
    parts.append(
        html.P(
            f"From the gearbox axis, at {numbers.celsius(view.cold_reference_c)}{spread}.{side} {_moved(view, unit)}",
            className="note under",
        )
    )
    return [not_yet(), html.Div(parts, className="sheet flat")]


def _within(made: PassView, view: RecordView, unit: ReaderUnit) -> str:
    good, off = view.signing.good_enough_um, view.signing.farthest_off_um
    if made.number == 1:
        return f"{made.readings} readings. Nothing was moved after them."
    if good is None or off is None:
        return f"{made.readings} readings."
    bound = f"{words.figure(good, unit)} {unit}"
    farthest = f"farthest off {words.figure(off, unit, fine=True)} {unit}"
    if off <= good:
        return f"Within {bound} of the figure at every station; {farthest}."
    return f"Not within {bound} of the figure everywhere; {farthest}."


def _off(off: tuple[float | None, float | None], unit: ReaderUnit) -> str:
    known = [abs(um) for um in off if um is not None]
    return words.figure(max(known), unit, fine=True) if known else "–"


def _moved(view: RecordView, unit: ReaderUnit) -> str:
    if not view.signing.moved:
        return "Nothing was moved."
    said = []
    for moved in view.signing.moved:
        ways = [
            words.said(um, axis, "movement", unit) for um, axis in ((moved.v_um, AXES[0]), (moved.h_um, AXES[1])) if um
        ]
        name = record_words.PLACES.get(moved.support, moved.support)
        how = f" by {moved.how}" if moved.how else ""
        said.append(f"{name} {', '.join(ways) if ways else 'not moved'}{how if ways else ''}")
    return f"Moved: {'; '.join(said)}."


def noticed(view: RecordView, unit: ReaderUnit) -> list[Any]:
    """Return what was noticed and how it was settled, and how the passes closed."""
    items = [html.Li(html.Span(_settled(each, view))) for each in view.signing.settled]
    for made in view.passes:
        if made.closure_um is not None:
            text = (
                f"{record_words.pass_name(made)}: first station read again, {record_words.both(made.closure_um, unit)}"
            )
            items.append(html.Li(html.Span(text)))
    if not items:
        items = [html.Li(html.Span("Nothing was noticed."))]
    return [
        html.Div(
            [html.Div(html.H2("Noticed, and settled"), className="pad2"), html.Ul(items, className="ckl")],
            className="sheet flat",
        )
    ]


def _settled(each: SettledView, view: RecordView) -> str:
    where = f"Station {each.station}" if each.station else "The whole pass"
    reading = f", {each.reading}" if each.reading else ""
    how = _CHOSEN.get(each.choice, each.choice)
    if each.was and each.now and each.was != each.now:
        how += f" from {record_words.as_typed(each.was, view.unit)} to {record_words.as_typed(each.now, view.unit)}"
    why = f", because: {each.why}" if each.why else ""
    at = f", {record_words.time_of_day(each.at)}" if each.at else ""
    title = check_words.title(each.check).rstrip("?").lower()
    return f"{where}{reading}: {title}; {how}{why}{at}, {each.by}"


def stood(view: RecordView) -> list[Any]:
    """Return how it stood, and where each of it is typed."""
    number = view.signing.final or 1
    made = next(each for each in view.passes if each.number == number)

    def said(name: str) -> str:
        field = made.conditions.get(name)
        return ((field.text or field.carried or "") if field else "").strip()

    def word(name: str) -> str:
        text = said(name)
        return dict(CONDITION_CHOICES[name][1]).get(text, text) or "not typed"

    temperatures = [said(name) for name in ("barrel_c", "gearbox_c", "base_c")]
    hours = view.inputs["running_hours"].text.strip() if "running_hours" in view.inputs else ""
    facts = [
        (
            "Barrel, gearbox, base",
            ", ".join(text or "–" for text in temperatures) + " °C" if any(temperatures) else "not typed",
        ),
        ("Hour meter", f"{hours} h" if hours else "not typed"),
        ("Heats off for", f"{said('heats_off_h')} h" if said("heats_off_h") else "not typed"),
        ("Screw, die", f"{word('screw')}, {word('die')}"),
        ("Bolts", word("bolts")),
        ("Gearbox axis found by", word("axis_by")),
        ("Instrument", record_words.calibrated(view.instrument)),
    ]
    focus = made.conditions["barrel_c"].name if "barrel_c" in made.conditions else None
    items = [html.Li([html.Span(name), html.B(text)]) for name, text in facts]
    return [
        html.Div(
            [
                html.Div(html.H2("As it stood"), className="pad2"),
                html.Ul(items, className="ckl"),
                html.Div(button("Type how it stood", focus=focus), className="ch card"),
            ],
            className="sheet flat",
        )
    ]


def asks(view: RecordView) -> list[Any]:
    """Return what keeps the visit from being signed, what asks a reason, and what will be stored otherwise."""
    signing = view.signing
    parts: list[Any] = [not_yet("Kept on this device: signing waits until it is stored.")]
    if signing.blocks:
        parts.append(
            html.Section(
                [
                    html.H2("Before it can be signed"),
                    html.Ul([html.Li(text) for text in signing.blocks], className="blocks"),
                ],
                className="say warn",
            )
        )
    if signing.asks:
        parts.append(
            html.Section(
                [
                    html.H2("Sign with a reason"),
                    *(
                        html.Div(
                            [
                                html.P(ask.sentence),
                                box(ask.field.name, "The reason", spoken=f"The reason: {ask.sentence}"),
                            ]
                        )
                        for ask in signing.asks
                    ),
                ],
                className="say asks",
            )
        )
    if signing.said_before:
        parts.append(html.Section([html.P(text) for text in signing.said_before], className="say"))
    return parts


def _beside(view: RecordView) -> html.Div:
    """Return what else belongs to a visit: hour meter and order, findings, the targets it is set to."""
    inputs = view.inputs
    boxes: tuple[tuple[str, str, BoxKind, str | None], ...] = (
        ("running_hours", "Hour meter", "decimal", "h"),
        ("ambient_c", "In the hall", "decimal", "°C"),
        ("work_order", "Work order", "text", None),
        ("outage", "Outage", "text", None),
        ("technician", "Technician", "text", None),
        ("started_at", "Started at", "moment", None),
    )
    visit = [box(inputs[name].name, label, kind, unit=unit) for name, label, kind, unit in boxes if name in inputs]
    if "remarks" in inputs:
        visit.append(box(inputs["remarks"].name, "Remarks", "long", wide=True))
    found: list[Any] = []
    for index, finding in enumerate(view.findings, start=1):
        for name, label, hint in FINDING_BOXES:
            if name in finding:
                found.append(
                    box(
                        finding[name].name,
                        f"{label}, finding {index}",
                        "text",
                        hint=hint or None,
                        spoken=f"Finding {index}, {label.lower()}",
                    )
                )
        if "note" in finding:
            found.append(box(finding["note"].name, f"Note, finding {index}", "text", spoken=f"Finding {index}, note"))
    targets: list[Any] = []
    for station, (v, h) in view.targets.items():
        targets.append(
            box(
                v.name,
                f"{station}, vertical, + high",
                "reading",
                spoken=f"Cold target at {station}, vertical",
                unit=view.unit,
            )
        )
        targets.append(
            box(
                h.name,
                f"{station}, horizontal, + right",
                "reading",
                spoken=f"Cold target at {station}, horizontal",
                unit=view.unit,
            )
        )
    for name, label in (("c.basis", "Where they come from"), ("c.reason", "Why")):
        if name in inputs:
            targets.append(box(inputs[name].name, label, wide=True))
    folds = [
        ("Hour meter, order, remarks", visit),
        ("Noticed beside the alignment", found),
        ("Cold targets this visit sets", targets),
    ]
    return html.Div(
        [
            html.Details([html.Summary(title), html.Div(parts, className="fields")], className="fold", **data(aside=""))
            for title, parts in folds
            if parts
        ],
        className="entry",
    )
