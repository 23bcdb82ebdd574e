"""A caught slip: what was typed, what it gives, what was expected, the likely cause, and three ways to go on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html

from dashboard.components import record_words
from dashboard.components.aria import aria
from dashboard.components.record_boxes import box, button, data
from dashboard.components.record_words import as_typed
from fleet import words
from fleet.reports import check_words
from fleet.services.recording.view import NoticedView, PassView, RecordView, SlipScale
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_CORRECT: dict[str, str] = {
    "sign_turned": "Turn the sign",
    "unit_mistyped": "Put the decimal point right",
}


def slips(view: RecordView, made: PassView, unit: ReaderUnit) -> list[Any]:
    """Return the panels of what does not fit in a pass: those of the station shown, and where the others are."""
    open_ones = [noticed for noticed in made.noticed if not noticed.settled]
    if not open_ones:
        return []
    parts: list[Any] = []
    for noticed in open_ones:
        at = noticed.facts.station if _has_place(made, noticed.facts.station) else None
        parts.append(html.Div(_slip(view, made, noticed, unit), **data(at=at)))
    elsewhere = [n for n in open_ones if _has_place(made, n.facts.station)]
    for station in dict.fromkeys(n.facts.station for n in elsewhere):
        count = sum(n.facts.station == station for n in elsewhere)
        parts.append(
            html.Div(
                html.Button(
                    f"Station {station}: {'one thing' if count == 1 else f'{count} things'} to settle. Look at it.",
                    type="button",
                    className="btn",
                    disable_n_clicks=True,
                    **data(go=f"p{made.number}/{station}"),
                ),
                className="ch",
                **data(at=f"!{station}"),
            )
        )
    return parts


def _has_place(made: PassView, station: str | None) -> bool:
    return any(each.station == station for each in made.stations)


def _reading_of(made: PassView, field: str | None) -> str | None:
    """Return which reading a field is: 'h at 180°'."""
    for slot in (*(slot for station in made.stations for slot in station.slots), *made.again):
        for axis, each in (("v", slot.v), ("h", slot.h)):
            if field is not None and each.name == field:
                return f"{axis} at {slot.roll_deg}°"
    return None


def heading(made: PassView, noticed: NoticedView) -> str:
    """Return the title of a slip: 'h at 180° does not fit its pair'."""
    reading = _reading_of(made, noticed.field)
    if reading is None:
        return check_words.title(noticed.facts.check)
    return f"{reading} does not fit {'what was expected' if noticed.facts.against_forecast else 'its pair'}"


def _slip(view: RecordView, made: PassView, noticed: NoticedView, unit: ReaderUnit) -> html.Section:
    facts = noticed.facts
    parts: list[Any] = [html.H3(heading(made, noticed))]
    typed = as_typed(noticed.typed, noticed.unit_text) if noticed.typed else None
    would = as_typed(noticed.would_text, noticed.unit_text) if noticed.would_text else None
    if noticed.scale is not None and typed:
        parts.append(html.P(_given(noticed.scale, typed, unit)))
    else:
        parts.append(html.P(check_words.evidence(facts, unit)))
    if noticed.scale is not None:
        parts.append(scale(noticed.scale, unit, _short(facts.check)))
    parts.append(html.P(_cause(view, made, noticed, would, unit)))
    parts.append(_choices(noticed, typed, would))
    parts.append(html.P(f"{check_words.CLOSING} Move no support before this is settled.", className="note"))
    # A report, not an alarm: it is read aloud when it appears and takes nobody's cursor.
    return html.Section(parts, className="say warn slip", role="status", **aria(label=heading(made, noticed)))


def _short(check: str) -> str:
    return {"sign_turned": "sign turned", "unit_mistyped": "point moved"}.get(check, "if so")


def _given(scale: SlipScale, typed: str, unit: ReaderUnit) -> list[Any]:
    """Say what the typed reading comes to, beside what is usual there."""
    usual = f"{_amount(scale.usual_um, scale, unit)} {words.plus_minus(scale.u95_usual_um, unit, fine=True)}"
    figure = html.B(f"{_amount(scale.typed_um, scale, unit)} {unit}", className="num")
    if scale.what == "beam":
        at = "one other station" if scale.others == 1 else f"the {scale.others} other stations"
        return ["With ", html.B(typed, className="num"), " the beam would be ", figure,
                f" off here. At {at} it was {usual} {unit} off."]  # fmt: skip
    return ["With ", html.B(typed, className="num"), " the bore would lie ", figure,
            f". Expected here: {usual} {unit}."]  # fmt: skip


def _amount(um: float, scale: SlipScale, unit: ReaderUnit) -> str:
    """Return a figure of the scale: bare for a beam that is off to one side only, else with its word."""
    if scale.what == "beam" and _one_sided(scale):
        return words.figure(um, unit, fine=True)
    return words.said(um, scale.axis, "offset", unit, fine=True, with_unit=False)


def _one_sided(scale: SlipScale) -> bool:
    """Return whether all that a scale shows of the beam lies on the same side of the axis."""
    shown = [um for um in (scale.typed_um, scale.would_um, scale.usual_um) if um]
    return all(um > 0.0 for um in shown) or all(um < 0.0 for um in shown)


def _cause(view: RecordView, made: PassView, noticed: NoticedView, would: str | None, unit: ReaderUnit) -> list[Any]:
    """Say the likely cause, and where the bore would lie with it and without."""
    facts = noticed.facts
    whole = check_words.text(facts, unit)
    evidence = check_words.evidence(facts, unit)
    rest = whole.removeprefix(evidence).removesuffix(check_words.CLOSING).strip()
    lead, dot, tail = rest.partition(". ")
    parts: list[Any] = [html.B(f"{lead}{dot.strip() if tail else ''}")] if rest else []
    station = next((each for each in made.stations if each.station == facts.station), None)
    axis = facts.axis
    if would and axis is not None and facts.would_be_um is not None:
        index = AXES.index(axis)
        parts.append(" With ")
        parts += [html.B(would, className="num"), " the bore lies "]
        parts.append(record_words.offset(facts.would_be_um, axis, unit, view.right_hand_side))
        scale = noticed.scale
        if scale is not None and scale.what == "beam" and scale.would_um is not None:
            parts.append(f" and the beam is {words.figure(scale.would_um, unit, fine=True)} {unit} off")
        parts.append(".")
        if facts.offset_um is not None:
            as_is = record_words.offset(facts.offset_um, axis, unit, view.right_hand_side)
            parts.append(f" As typed it would lie {as_is}.")
        expected, u95 = (station.expected_um[index], station.u95_expected_um[index]) if station else (None, None)
        if expected is not None:
            spread = f" {words.plus_minus(u95, unit)}{NBSP}{unit}" if u95 is not None else ""
            parts.append(f" Expected: {words.said(expected, axis, 'offset', unit)}{spread}.")
        if facts.also:
            parts.append(f" The data cannot tell this from: {', '.join(facts.also)}.")
    elif tail:
        parts.append(f" {tail}")
    return parts


def _choices(noticed: NoticedView, typed: str | None, would: str | None) -> html.Div:
    """Return the three ways on; each is itself typed, and nothing is changed before one is pressed."""
    name = f"why-{noticed.key}".replace(".", "_").replace("%", "_")
    first = noticed.reads[0] if noticed.reads else noticed.field
    parts: list[Any] = []
    if noticed.field and noticed.would_text and would:
        words_on = f"{_CORRECT.get(noticed.facts.check, 'Put in')}: {would}"
        parts.append(
            button(
                words_on,
                main=True,
                entries=[
                    (noticed.was.name, noticed.typed or ""),
                    (noticed.choice.name, "corrected"),
                    (noticed.field, noticed.would_text),
                ],
            )
        )
    if noticed.field or first:
        parts.append(
            button(
                "Read it again",
                entries=[(noticed.was.name, noticed.typed or ""), (noticed.choice.name, "read_again")],
                focus=noticed.field or first,
            )
        )
    keep = f"Keep {typed}, say why" if typed else "Keep it as it is, say why"
    parts.append(button(keep, reveal=name))
    parts.append(
        html.Div(
            [
                box(noticed.why.name, "Why it is kept as typed"),
                button("Keep it for this reason", entries=[(noticed.choice.name, "kept")]),
            ],
            id=name,
            hidden=not noticed.why.text,
            className="ch",
        )
    )
    return html.Div(parts, className="ch")


def scale(shown: SlipScale, unit: ReaderUnit, would_words: str) -> html.Div:
    """Return the scale that gives a slip away: the usual range, what was typed, and where it would be instead."""
    per = 1000.0 if unit == "mm" else 25.4
    if shown.what == "beam" and _one_sided(shown) and shown.typed_um < 0.0:
        # Off to one side only: drawn as how far, growing to the right, whichever side it is.
        turned = None if shown.would_um is None else -shown.would_um
        shown = replace(shown, typed_um=-shown.typed_um, usual_um=-shown.usual_um, would_um=turned)
    points = [shown.typed_um, shown.usual_um - shown.u95_usual_um, shown.usual_um + shown.u95_usual_um]
    points += [shown.would_um] if shown.would_um is not None else []
    if shown.what == "beam":
        points.append(0.0)
    low, high = min(points) / per, max(points) / per
    room = max(high - low, 1e-6)
    start, end = low - 0.12 * room, high + 0.22 * room

    def at(um: float) -> str:
        return f"{100.0 * (um / per - start) / (end - start):.1f}%"

    step = _step(end - start)
    first = -(-start // step) * step
    ticks = [first + index * step for index in range(12) if first + index * step < end - 0.02 * room]
    places = 3 if unit == "mm" and step < 0.01 else 2 if unit == "mm" or step < 0.1 else 1
    parts: list[Any] = [html.I(className="base")]
    for tick in ticks:
        bare = shown.what == "beam" and _one_sided(shown)
        text = f"{abs(tick):.{places}f}" if bare else _tick(tick * per, shown, unit)
        parts += [
            html.I(className="tk", style={"left": at(tick * per)}),
            html.Span(text, className="tl", style={"left": at(tick * per)}),
        ]
    left, right = shown.usual_um - shown.u95_usual_um, shown.usual_um + shown.u95_usual_um
    width = 100.0 * (right - left) / per / (end - start)
    parts.append(html.I(className="usual", style={"left": at(left), "width": f"{width:.1f}%"}))
    if shown.would_um is not None:
        from_um, to_um = sorted((shown.typed_um, shown.would_um))
        run = 100.0 * (to_um - from_um) / per / (end - start)
        parts.append(html.I(className="run", style={"left": at(from_um), "width": f"{run:.1f}%"}))
        parts.append(html.I(className="pt", style={"left": at(shown.would_um)}))
        parts.append(
            html.Span(
                f"{would_words}, {_amount(shown.would_um, shown, unit)}",
                className="nm would",
                style=_side(at(shown.would_um)),
            )
        )
    parts.append(html.I(className="pt typed", style={"left": at(shown.typed_um)}))
    parts.append(
        html.Span(
            f"as typed, {_amount(shown.typed_um, shown, unit)}", className="nm typed", style=_side(at(shown.typed_um))
        )
    )
    what = "How far the beam is off" if shown.what == "beam" else "Where the bore lies"
    would = f", {would_words} {_amount(shown.would_um, shown, unit)}" if shown.would_um is not None else ""
    label = (
        f"{what}, {unit}: as typed {_amount(shown.typed_um, shown, unit)}{would}; "
        f"usual {_amount(shown.usual_um, shown, unit)} plus or minus "
        f"{words.figure(shown.u95_usual_um, unit, fine=True)}"
    )
    return html.Div(parts, className="scale", role="img", **aria(label=label))


def _side(left: str) -> dict[str, str]:
    """Place a name over its point without leaving the scale."""
    share = float(left.removesuffix("%"))
    if share < 35.0:
        return {"left": f"{max(share - 4.0, 0.0):.1f}%"}
    return {"right": f"{max(96.0 - share, 0.0):.1f}%"}


def _tick(um: float, shown: SlipScale, unit: ReaderUnit) -> str:
    return "0" if abs(um) < 1e-6 else words.said(um, shown.axis, "offset", unit, with_unit=False)


def _step(room: float) -> float:
    """Return a round step that puts three to six ticks on a stretch."""
    for step in (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0):
        if room / step <= 5.5:
            return step
    return room / 4.0


def beam_chart(made: PassView, unit: ReaderUnit) -> list[Any]:
    """Return how far the beam is off at each station, on the axis where something does not fit, else vertically."""
    stations = [station for station in made.stations if station.beam_off_um is not None]
    if len(stations) < 2:
        return []
    doubted = [n for n in made.noticed if not n.settled and n.facts.axis is not None and n.field is not None]
    axis: Axis = (doubted[0].facts.axis or "h") if doubted else "h"
    index = AXES.index(axis)
    odd = next((n.scale for n in doubted if n.scale is not None and n.scale.what == "beam"), None)
    per = 1000.0 if unit == "mm" else 25.4
    far = max(station.distance_mm for station in made.stations)
    off = {station.station: station.beam_off_um[index] for station in stations if station.beam_off_um}
    shown = [*off.values(), *([odd.would_um] if odd is not None and odd.would_um is not None else [])]
    one_sided = all(um >= 0.0 for um in shown) or all(um <= 0.0 for um in shown)
    turned = -1.0 if one_sided and min(shown) < 0.0 else 1.0
    low, high = min(0.0, *(turned * um / per for um in shown)), max(0.0, *(turned * um / per for um in shown))
    room = max(high - low, 0.02 if unit == "mm" else 0.8)
    start, end = low - 0.15 * room, high + 0.15 * room

    def x(distance_mm: float) -> str:
        return f"{3.0 + 94.0 * distance_mm / far:.1f}%"

    def y(um: float) -> str:
        return f"{85.0 * (end - turned * um / per) / (end - start):.1f}%"

    def named(um: float) -> str:
        return (
            words.figure(um, unit, fine=True)
            if one_sided
            else words.said(um, axis, "offset", unit, fine=True, with_unit=False)
        )

    step = _step(end - start)
    parts: list[Any] = []
    if odd is not None:
        top, under = sorted(
            float(y(um).removesuffix("%")) for um in (odd.usual_um - odd.u95_usual_um, odd.usual_um + odd.u95_usual_um)
        )
        parts.append(html.I(className="band", style={"top": f"{top:.1f}%", "height": f"{under - top:.1f}%"}))
    parts.append(html.I(className="zero", style={"top": y(0.0)}))
    tick = -(-start // step) * step
    while tick < end:
        um = turned * tick * per
        text = "0" if abs(tick) < step / 2 else words.figure(um, unit, fine=step < 0.01)
        if not one_sided and text != "0":
            text = words.said(um, axis, "offset", unit, with_unit=False)
        parts.append(html.Span(text, className="gy", style={"top": y(um)}))
        tick += step
    names = {n.facts.station for n in doubted}
    for station in made.stations:
        left = {"left": x(station.distance_mm)}
        parts.append(html.I(className="gx", style=left))
        parts.append(html.Span(station.station, className="sx", style=left))
        if station.station not in off:
            continue
        um = off[station.station]
        bad = station.station in names
        if bad and odd is not None and odd.would_um is not None:
            ends = sorted(float(y(each).removesuffix("%")) for each in (um, odd.would_um))
            parts.append(
                html.I(className="run", style={**left, "top": f"{ends[0]:.1f}%", "height": f"{ends[1] - ends[0]:.1f}%"})
            )
            parts.append(html.I(className="pt", style={**left, "top": y(odd.would_um)}))
        parts.append(html.I(className="pt bad" if bad else "pt", style={**left, "top": y(um)}))
        if bad:
            parts.append(html.Span(f"as typed, {named(um)}", className="nm", style={**left, "top": y(um)}))
    said = "; ".join(f"{code} {named(um)}" for code, um in off.items())
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.H2(f"How far the beam is off, {axis}"),
                        html.Span(f"{unit}, half the difference of each pair", className="dim"),
                    ],
                    className="rh",
                ),
                html.Div(
                    parts,
                    className="beamc",
                    role="img",
                    **aria(label=f"How far the beam is off, {axis}, {unit}: {said}"),
                ),
            ],
            className="sheet pad",
        )
    ]
