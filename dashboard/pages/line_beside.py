"""What the record holds beside a movement: the gearbox's level, wear, findings; it blames neither without a level."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components import numbers
from fleet import words
from fleet.services.line_page import LineView
from fleet.services.movement_evidence import FindingFact, LevelAnswer, MovementEvidence, NoLevel, WearFact
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

_NO_LEVEL: Final[dict[NoLevel, str]] = {
    "at neither": (
        "No level of the gearbox was recorded at either survey. Read a level on it at every visit, always at the same "
        "place: two of them tell which of the two moved."
    ),
    "at the first only": (
        "The gearbox’s level was recorded at the first of the two surveys only; the next visit that reads it again "
        "will tell which of the two moved."
    ),
    "at the second only": (
        "The gearbox’s level was recorded at the second of the two surveys only, so it cannot be told yet which of the "
        "two moved."
    ),
    "gearbox exchanged": (
        "The gearbox was exchanged between the two surveys: the levels of two gearboxes say nothing of a tilt."
    ),
}
_WAYS_TO_TELL: Final[dict[str | None, str]] = {
    "shaft_turned": "by turning the shaft",
    "fixture_turned": "by turning the fixture",
    "bore_centred": "by centring on the bore",
    None: "in a way that is not recorded",
}
_VERDICT: Final = {
    "gearbox": "The gearbox moved; what is left for the barrel is within what was measured.",
    "barrel": "The barrel moved; the gearbox’s level did not change beyond what it can be read to.",
    "both": "Both moved.",
    "cannot be told": "It cannot be told which of the two moved: neither goes beyond what was measured.",
}


def beside(view: LineView, unit: ReaderUnit, axis: Axis, *, worked_on: bool) -> list[Any]:
    """Return what stands beside the movement between the two surveys, a line each.

    Parameters
    ----------
    axis
        Level and wear speak of the vertical only: a level sees no turn aside, a target rests on the bottom of the bore.
    worked_on
        Whether supports were moved in between, so that what is the barrel's is partly what was done to it.
    """
    held = view.beside
    if held is None:
        return []
    entries: list[Any] = []
    if axis == "v":
        entries.append(html.Li([html.B("Level. "), *_level(held, unit, worked_on=worked_on)]))
    if held.axis_by is not None:
        first, second = (_WAYS_TO_TELL.get(way, str(way)) for way in held.axis_by)
        entries.append(
            html.Li(
                [
                    html.B("Axis. "),
                    f"The gearbox axis was found {first} at the first survey and {second} at the second: part of the "
                    "movement may be the difference between the two ways.",
                ]
            )
        )
    if axis == "v":
        entries += [html.Li([html.B("Wear. "), text]) for text in _wear(held, unit)]
    entries += [html.Li([html.B("Found. "), _finding(fact)]) for fact in held.findings]
    if not entries:
        return []
    return [
        html.H3("What else the record says of it", className="sub pad0 bes-head"),
        html.Ul(entries, className="bes"),
    ]


def _level(held: MovementEvidence, unit: ReaderUnit, *, worked_on: bool) -> list[Any]:
    level = held.level
    if level is None:
        return [_NO_LEVEL[held.no_level or "at neither"]]
    verdict = _VERDICT[level.which]
    if worked_on and level.which in ("barrel", "both"):
        verdict += " The supports were worked on in between, which is part of the barrel’s movement."
    return [f"{tilt(level, unit)} ", html.B(verdict)]


def tilt(level: LevelAnswer, unit: ReaderUnit) -> str:
    """Say how far the gearbox tilted, what that alone accounts for, and what moved there."""
    sign = numbers.slope_sign(level.tilt_um_per_m, unit, fine=True)
    figure = f"{numbers.slope_figure(level.tilt_um_per_m, unit, fine=True)}{NBSP}{numbers.slope_unit(unit)}"
    spread = numbers.slope_spread(level.u95_tilt_um_per_m, unit, fine=True)
    if sign == 0:
        head = f"The gearbox’s level did not change ({spread}{NBSP}{numbers.slope_unit(unit)})."
    else:
        way = "higher" if sign > 0 else "lower"
        head = f"The gearbox tilted {figure} ({spread}) {way} toward the discharge end."
    alone = words.said(level.accounts_um, "v", "movement", unit)
    there = words.said(level.moved_um, "v", "movement", unit)
    return (
        f"{head} That alone makes {alone} ({words.plus_minus(level.u95_accounts_um, unit)}) of the bore at station "
        f"{level.station}; it went {there} ({words.plus_minus(level.u95_moved_um, unit)})."
    )


def _wear(held: MovementEvidence, unit: ReaderUnit) -> list[str]:
    """Say of every part the largest widening, and of a barrel how much lower a target could sit for it."""
    said = []
    for kind in dict.fromkeys(fact.kind for fact in held.wear):
        own = [fact for fact in held.wear if fact.kind == kind]
        known = [fact for fact in own if fact.wider_v_um is not None]
        if not known:
            said.append(
                f"The {kind} was measured on {words.day(own[0].measured_on)}; what it had when new is not known."
            )
            continue
        most = max(known, key=lambda fact: abs(fact.wider_v_um or 0.0))
        said.append(_one_wear(most, unit) + _shift(held, kind, unit))
    return said


def _one_wear(fact: WearFact, unit: ReaderUnit) -> str:
    um = fact.wider_v_um or 0.0
    size = f"{words.figure(um, unit, fine=True)}{NBSP}{unit}"
    change = "wider" if um >= 0.0 else "narrower"
    part = "bore" if fact.kind == "barrel" else fact.kind
    at = numbers.distance(fact.distance_mm, unit)
    text = f"On {words.day(fact.measured_on)} the {part} was {size} {change} vertically than new at {at}."
    if fact.since_v_um is not None:
        since = f"{words.figure(fact.since_v_um, unit, fine=True)}{NBSP}{unit}"
        text += f" Of that {since} came since the measurement before the first survey."
    return text


def _shift(held: MovementEvidence, kind: str, unit: ReaderUnit) -> str:
    if not any(fact.since_first for fact in held.wear if fact.kind == kind):
        return " That was before the first survey; what wore since is not known."
    shifts = [fact.could_shift_um for fact in held.wear if fact.kind == kind and fact.could_shift_um]
    if not shifts:
        return ""
    size = f"{words.figure(max(shifts), unit, fine=True)}{NBSP}{unit}"
    text = f" A target that rests on the worn bore could sit up to {size} lower"
    if held.worn_um is not None:
        return f"{text}, more than this movement’s own uncertainty: the bore may be worn rather than moved."
    return f"{text}, which is within this movement’s uncertainty."


def _finding(fact: FindingFact) -> str:
    value = f" {fact.value}{NBSP}{fact.unit}" if fact.value and fact.unit else f" {fact.value}" if fact.value else ""
    note = f", {fact.note}" if fact.note else ""
    return f"{words.day(fact.on)}: {fact.item}{value}{note}."
