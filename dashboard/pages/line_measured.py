"""How well the line was measured: where a survey's uncertainty comes from, and what would better it."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components import numbers, sentences
from fleet import words
from fleet.services.line_evidence import BeamPair, BudgetView, StationBudget
from fleet.services.line_page import LineView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}
_PARTS: Final[dict[str, tuple[str, str]]] = {
    "readings": ("readings", "the scatter of the readings"),
    "beam": ("beam", "the beam"),
    "target zero": ("target zero", "the target’s zero"),
    "wander": ("wander", "the beam’s wander during the pass"),
    "cold reference": ("cold reference", "bringing it to the cold reference"),
}
_DOING: Final[dict[str, str]] = {
    "read it cold": "Reading it cold",
    "read the first station again at the end": "Reading the first station again at the end",
    "reverse the beam at every station": "A reversal at every station",
    "reverse the beam and turn the target at every station": (
        "Reversing the beam and turning the target at every station"
    ),
    "read everything twice": "Reading everything twice",
    "read everything four times, the target turned too": "Reading everything four times, the target turned too,",
}
_ABOUT_AS_STATED: Final = (0.8, 1.25)


def how_well(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return 'How well it was measured' for the survey compared last; nothing where no survey has a budget."""
    budget = view.budget
    if budget is None or not budget.stations:
        return []
    how = ", ".join(part for part in (budget.scheme, budget.instrument) if part)
    phase = sentences.PHASE_WORDS.get(budget.phase, budget.phase)  # type: ignore[call-overload]
    facts = [*_closure(budget, unit), *_scale(budget)]
    return [
        html.Section(
            [
                html.H2(f"How well it was measured, {phase} {words.day(budget.on)}"),
                html.P(answer(budget, unit), className="ans"),
                _wide(budget, unit),
                _narrow(budget, unit),
                *([html.P(" ".join(facts), className="dim fact")] if facts else []),
                *_beam(budget, unit),
                html.P(f"Survey {budget.survey}: {how}. Shares are of the variance.", className="note after-table"),
            ],
            className="sheet pad",
            style={"marginTop": "24px"},
        )
    ]


def answer(budget: BudgetView, unit: ReaderUnit) -> str:
    """Say how well the station known worst is known, what most of that is, and what would better it."""
    worst = next(station for station in budget.stations if station.station == budget.largest)
    axis: Axis = "v" if worst.u95_um[0] >= worst.u95_um[1] else "h"
    index = _INDEX[axis]
    u95 = worst.u95_um[index]
    known = f"Station {worst.station} is known to {words.plus_minus(u95, unit, fine=True)}{NBSP}{unit}"
    known += f" {numbers.AXIS_WORDS[axis]}"
    if worst.shares:
        main = max(worst.shares, key=lambda share: share.share[index])
        weight = "most of it is" if main.share[index] > 0.5 else "the largest part of it is"
        known += f"; {weight} {_part(main.part, 1)} ({words.chance(main.share[index])})"
    known += "."
    if budget.doing is None or not budget.doing_from_um or budget.doing_to_um is None:
        return f"{known} No other way of reading would better it by much."
    then = u95 * budget.doing_to_um / budget.doing_from_um
    short = "" if budget.halves else "; nothing tried would halve it"
    done = _DOING.get(budget.doing, budget.doing[:1].upper() + budget.doing[1:])
    return f"{known} {done} would bring it to {words.plus_minus(then, unit, fine=True)}{NBSP}{unit}{short}."


def _part(part: str, form: int) -> str:
    return _PARTS[part][form] if part in _PARTS else part


def _parts(budget: BudgetView) -> list[str]:
    """Return the causes that contribute anywhere, in one order for all stations."""
    present = {share.part for station in budget.stations for share in station.shares}
    return [part for part in _PARTS if part in present] + sorted(present - set(_PARTS))


def _share_cell(station: StationBudget, part: str, index: int) -> html.Td:
    share = next((share.share[index] for share in station.shares if share.part == part), 0.0)
    if share == 0.0:
        return html.Td("–", className="num dim3")
    bar = html.I(className="sb", style={"width": f"{100 * share:.0f}%"})
    return html.Td([html.Span(words.chance(share)), html.Div(bar, className="sbw")], className="num")


def _wide(budget: BudgetView, unit: ReaderUnit) -> html.Table:
    parts = _parts(budget)
    under = [html.Th(f"known to, {unit}"), *(html.Th(_part(part, 0)) for part in parts)]
    rows = [
        html.Tr(
            [
                html.Td(html.B(station.station)),
                *(
                    cell
                    for axis in AXES
                    for cell in (
                        html.Td(words.plus_minus(station.u95_um[_INDEX[axis]], unit, fine=True), className="num gl"),
                        *(_share_cell(station, part, _INDEX[axis]) for part in parts),
                    )
                ),
            ]
        )
        for station in budget.stations
    ]
    groups = [
        html.Th(numbers.AXIS_WORDS[axis].capitalize(), colSpan=1 + len(parts), className="gh gl") for axis in AXES
    ]
    head = html.Thead([html.Tr([html.Th("Station", rowSpan=2), *groups]), html.Tr([*under, *under])])
    return html.Table([head, html.Tbody(rows)], className="tbl wide-only shr")


def _narrow(budget: BudgetView, unit: ReaderUnit) -> html.Details:
    items = []
    for station in budget.stations:
        lines: list[Any] = [html.B(station.station)]
        for axis in AXES:
            index = _INDEX[axis]
            ranked = sorted(station.shares, key=lambda share, index=index: share.share[index], reverse=True)  # type: ignore[misc]
            shares = ", ".join(
                f"{_part(share.part, 0)} {words.chance(share.share[index])}" for share in ranked if share.share[index]
            )
            spread = f"{words.plus_minus(station.u95_um[index], unit, fine=True)}{NBSP}{unit}"
            lines.append(html.Small(f"{numbers.AXIS_WORDS[axis]} {spread}: {shares or 'no share known'}"))
        items.append(html.Li(lines))
    return html.Details(
        [html.Summary("Where each station’s ± comes from"), html.Ul(items, className="ivp")],
        className="astable narrow-only",
    )


def _closure(budget: BudgetView, unit: ReaderUnit) -> list[str]:
    if budget.closure_um is None:
        return ["The first station was not read again at the end, so a wander of the beam would not show."]
    v, h = (f"{words.figure(um, unit, fine=True)}{NBSP}{unit}" for um in budget.closure_um)
    return [f"Read again at the end, the first station came back within {v} vertical and {h} horizontal."]


def _scale(budget: BudgetView) -> list[str]:
    """Say how the readings scattered against what the instrument states; `scale` is a ratio of variances."""
    if budget.scale is None:
        return []
    times = float(budget.scale**0.5)
    if _ABOUT_AS_STATED[0] <= times <= _ABOUT_AS_STATED[1]:
        return ["The readings scattered about as much as the instrument states."]
    return [f"The readings scattered {times:.1f} times what the instrument states; the ± here counts that."]


def _beam(budget: BudgetView, unit: ReaderUnit) -> list[Any]:
    if not budget.beam:
        return []
    names = ("Nearest pair", "Farthest pair") if len(budget.beam) > 1 else ("Reversal pair",)
    agreeing = f"{words.figure(budget.pair_agreement_um, unit, fine=True)}{NBSP}{unit}"
    return [
        html.H3(f"The beam against the gearbox axis; a pair agrees within {agreeing}", className="sub"),
        html.Ul(
            [
                html.Li([html.B(f"{name}, station {pair.station}. "), " ".join(_pair(pair, budget, unit))])
                for name, pair in zip(names, budget.beam, strict=True)
            ],
            className="bpr",
        ),
    ]


def _pair(pair: BeamPair, budget: BudgetView, unit: ReaderUnit) -> list[str]:
    said = []
    for axis in AXES:
        index = _INDEX[axis]
        differs = f"{words.figure(pair.difference_um[index], unit, fine=True)}{NBSP}{unit}"
        if abs(pair.difference_um[index]) <= budget.pair_agreement_um:
            said.append(f"{axis}: pair differs {differs}, agrees.")
            continue
        off = f"{words.figure(pair.error_um[index], unit, fine=True)}{NBSP}{unit}"
        said.append(
            f"{axis}: pair differs {differs}: the beam was {off} off here; the reading to "
            f"trim to was {_reading(pair.trim_to_um[index], unit)}."
        )
    return said


def _reading(um: float, unit: ReaderUnit) -> str:
    """Return an instrument's own reading, the one kind of number that carries a bare sign."""
    shown = words.quantised(um, unit, fine=True)
    sign = f"+{NBSP}" if shown > 0 else f"−{NBSP}" if shown < 0 else ""
    return f"{sign}{abs(shown)}{NBSP}{unit}"
