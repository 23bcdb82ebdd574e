"""What moved between the two surveys compared: shifted at the flange, turned, bent, or one support alone."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components import little, numbers, sentences
from dashboard.pages import line_beside
from fleet import words
from fleet.services.line_evidence import MovedKind, MovedPart, MovementView
from fleet.services.line_page import LineView
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

_TITLES: Final[dict[MovedKind, str]] = {
    "shifted": "Shifted at the flange",
    "turned": "Turned about the flange",
    "bent": "Bent",
}
_WAYS: Final[dict[Axis, tuple[str, str]]] = {"v": ("lower", "higher"), "h": ("to the left", "to the right")}
_CANNOT_TELL: Final[dict[Axis, str]] = {
    "v": (
        "Seen from here, a gearbox that tilts looks the same as a barrel that goes down or up: which of the two moved "
        "needs a level on the gearbox."
    ),
    "h": (
        "Seen from here, a gearbox that turns on its base looks the same as a barrel that goes aside: which of the two "
        "moved needs a measurement of the gearbox itself."
    ),
}


def what_moved(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return the section on the axis of the history; nothing where fewer than two surveys can be compared."""
    axis: Axis = view.history.axis if view.history else "v"
    movement = next((movement for movement in view.movement if movement.axis == axis), None)
    if movement is None:
        return []
    index = 0 if axis == "v" else 1
    limits = [um for station in view.stations if (um := station.limit_um[index]) is not None]
    limit_um = min(limits) if limits else None
    title = f"What moved, {_span(view, movement)}, {numbers.AXIS_WORDS[axis]}"
    return [
        html.Section(
            [
                html.Div(html.H2(title), className="pad0"),
                html.Div([_part(movement, part, limit_um, unit) for part in movement.parts], className="mvs"),
                html.P(_closing(view, movement, limit_um), className="note pad0 after"),
                *line_beside.beside(view, unit, axis, worked_on=_worked_on(view, movement)),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def _part(movement: MovementView, part: MovedPart, limit_um: float | None, unit: ReaderUnit) -> html.Div:
    at_scale = little.scale(part.drawn_um, limit_um)
    title = f"Support {part.at} alone" if part.kind == "support" else _TITLES[part.kind]
    note = f"; {at_scale.note}" if at_scale.note in ("drawn larger", "drawn smaller") else ""
    if part.explains_most:
        weight: Any = html.Small("explains most of it", className="most")
    else:
        weight = html.Small("part of it" if part.beyond_measurement else "within what the measurement cannot see")
    return html.Div(
        [
            little.picture(
                movement.distance_mm,
                part.drawn_um,
                at_scale,
                up_is_plus=movement.axis == "v",
                label=f"{title}: before and after between the limits",
            ),
            html.Div([html.H3(title), html.P([*figure(movement.axis, part, unit), note]), weight]),
        ],
        className="mv",
    )


def figure(axis: Axis, part: MovedPart, unit: ReaderUnit) -> list[Any]:
    """Return one part's amount in words, with its uncertainty."""
    if part.kind == "turned":
        sign = numbers.slope_sign(part.amount_um, unit, fine=True)
        amount = f"{numbers.slope_figure(part.amount_um, unit, fine=True)}{NBSP}{numbers.slope_unit(unit)}"
        spread = numbers.slope_spread(part.u95_um, unit, fine=True)
        said = f"{amount} {_WAYS[axis][sign > 0]} toward the discharge end" if sign else f"{amount}, no turn"
        return [said, " ", html.Span(spread, className="u num")]
    said = words.said(part.amount_um, axis, "movement", unit)
    if part.kind == "bent" and words.quantised(part.amount_um, unit) != 0:
        said += f" {'than' if axis == 'v' else 'of'} straight at {part.at}"
    return [said, *numbers.plus_minus(part.u95_um, unit)]


def _closing(view: LineView, movement: MovementView, limit_um: float | None) -> str:
    rails = "between the limits" if limit_um else "the rails drawn without a limit"
    parts = [f"Grey before, ink after, {rails}."]
    axis = movement.axis
    sure = [um for um, u95 in zip(movement.moved_um, movement.u95_moved_um, strict=True) if abs(um) > u95 and um != 0.0]
    if not sure:
        parts.append("All of it is within what the measurement cannot see.")
    elif min(sure) < 0.0 < max(sure):
        both = (
            "higher in places and lower in others" if axis == "v" else "to the right in places, to the left in others"
        )
        parts.append(f"The bore went {both} against the gearbox axis.")
    else:
        way = words.direction(sum(sure), axis, "movement", "mm", fine=True)
        parts.append(f"The bore went {way} against the gearbox axis.")
    if _worked_on(view, movement):
        parts.append("The supports were worked on in between, so this is what was done and what drifted, together.")
    elif axis == "h" or view.beside is None or view.beside.level is None:
        parts.append(_CANNOT_TELL[axis])
    return " ".join(parts)


def _span(view: LineView, movement: MovementView) -> str:
    """Return from when to when; within one day the phases, because the day alone would tell nothing apart."""
    first, second = words.day(movement.first_on), words.day(movement.second_on)
    if first != second:
        return f"{first} – {second}"
    phases = {survey.key: sentences.PHASE_WORDS[survey.phase] for survey in view.surveys}
    if movement.first not in phases or movement.second not in phases:
        return first
    return f"{phases[movement.first]} to {phases[movement.second]}, {first}"


def _worked_on(view: LineView, movement: MovementView) -> bool:
    """Return whether a visit moved supports after the first survey and not after the second."""
    numbered = {survey.key: survey.number for survey in view.surveys}
    start = (movement.first_on, numbered.get(movement.first, 0))
    end = (movement.second_on, numbered.get(movement.second, 0))
    moved = {row.session for row in view.sessions if row.moved}
    return any(
        survey.phase in ("as_left", "interim") and survey.session in moved and start < (survey.on, survey.number) <= end
        for survey in view.surveys
    )
