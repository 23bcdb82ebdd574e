"""The rows under the stations: slope of the line through the deviations, and bow where a limit is set."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components import numbers
from fleet import words
from fleet.services.line_evidence import ShapeRow, Slope
from fleet.services.line_page import LineView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_WAYS: Final[dict[Axis, tuple[str, str]]] = {"v": ("upward", "downward"), "h": ("to the right", "to the left")}
_SHORT: Final[dict[Axis, tuple[str, str]]] = {"v": ("up", "down"), "h": ("right", "left")}
_SIDES: Final[dict[Axis, tuple[str, str]]] = {"v": ("above", "below"), "h": ("right of", "left of")}


def foot(view: LineView, unit: ReaderUnit) -> list[html.Tfoot]:
    """Return the rows for slope and bow under the desk's table; nothing where no line can be laid through."""
    by_axis = {row.axis: row for row in view.shape}
    if not by_axis:
        return []
    limits = {axis: row.slope_limit_um_per_m for axis, row in by_axis.items()}
    told = f"line through the deviations, toward the discharge end; {_limits(limits, unit)}"
    cells: list[Any] = [
        html.Td([html.B(f"Slope, {numbers.slope_unit(unit)}"), " ", html.Small(told)], colSpan=2),
    ]
    for axis in AXES:
        cells += _slope_cells(by_axis.get(axis), axis, unit)
    rows = [html.Tr(cells, className="slo")]
    if any(um is not None for row in view.shape for um in row.straight_um):
        told = "narrowest zone that holds the bore of that survey, ISO 12780-1"
        cells = [html.Td([html.B(f"Straight within, {unit}"), " ", html.Small(told)], colSpan=2)]
        for axis in AXES:
            cells += [*_straight_cells(by_axis.get(axis), unit), html.Td("–"), html.Td("–")]
        rows.append(html.Tr(cells, className="slo"))
    if any(row.bow_limit_um is not None for row in view.shape):
        bow = {axis: row.bow_limit_um for axis, row in by_axis.items()}
        said = {words.figure(um, unit) for um in bow.values() if um is not None}
        limit = f"limit {said.pop()}" if len(said) == 1 else "each axis has its own limit"
        cells = [
            html.Td(
                [html.B(f"Bow, {unit}"), " ", html.Small(f"farthest a station lies from that line; {limit}")],
                colSpan=2,
            )
        ]
        for axis in AXES:
            cells += _bow_cells(by_axis.get(axis), unit)
        rows.append(html.Tr(cells, className="slo"))
    return [html.Tfoot(rows)]


def phone_foot(view: LineView, unit: ReaderUnit, axis: Axis) -> list[html.Tfoot]:
    """Return the same rows for the phone's table of one axis."""
    row = next((row for row in view.shape if row.axis == axis), None)
    if row is None:
        return []
    notes: list[str] = [] if row.today is None else [numbers.slope_spread(row.today.u95_um_per_m, unit)]
    if row.slope_limit_um_per_m is not None:
        notes.append(f"limit{NBSP}{numbers.slope_figure(row.slope_limit_um_per_m, unit)}")
    over = _slope_over(row)
    if over:
        notes.append("over")
    rows = [
        html.Tr(
            [
                html.Td([html.B("Slope"), html.Br(), html.Small(numbers.slope_unit(unit))]),
                *(html.Td(_slope(slope, axis, unit, _SHORT), className="num") for slope in (row.first, row.second)),
                html.Td(
                    [_slope(row.today, axis, unit, _SHORT), html.Br(), html.Small(", ".join(notes))],
                    className="hotc" if over else "",
                ),
            ]
        )
    ]
    if row.straight_um != (None, None):
        name = html.Td([html.B("Straight"), html.Br(), html.Small(f"within, {unit}")])
        rows.append(html.Tr([name, *_straight_cells(row, unit), html.Td("–")]))
    if row.bow_limit_um is not None:
        hot = _bow_over(row)
        noted = [f"limit{NBSP}{words.figure(row.bow_limit_um, unit)}", *(["over"] if hot else [])]
        rows.append(
            html.Tr(
                [
                    html.Td([html.B("Bow"), html.Br(), html.Small(unit)]),
                    html.Td("–"),
                    html.Td("–"),
                    html.Td(
                        [*_bow(row, unit), html.Br(), html.Small(", ".join(noted))], className="hotc" if hot else ""
                    ),
                ]
            )
        )
    return [html.Tfoot(rows)]


def _straight_cells(row: ShapeRow | None, unit: ReaderUnit) -> list[html.Td]:
    widths = (None, None) if row is None else row.straight_um
    return [html.Td("–" if um is None else words.figure(um, unit), className="num") for um in widths]


def _limits(limits: dict[Axis, float | None], unit: ReaderUnit) -> str:
    said = {axis: numbers.slope_figure(limit, unit) if limit is not None else None for axis, limit in limits.items()}
    known = set(said.values())
    if known == {None}:
        return "no limit is recorded"
    if len(known) == 1:
        return f"limit {known.pop()}"
    each = (f"{figure or 'none'} {numbers.AXIS_WORDS[axis]}" for axis, figure in said.items())
    return f"limit {', '.join(each)}"


def _slope(slope: Slope | None, axis: Axis, unit: ReaderUnit, ways: dict[Axis, tuple[str, str]]) -> str:
    if slope is None:
        return "–"
    sign = numbers.slope_sign(slope.um_per_m, unit)
    way = ways[axis][0 if sign > 0 else 1] if sign else "none"
    return f"{numbers.slope_figure(slope.um_per_m, unit)} {way}".replace(" ", NBSP)


def _slope_over(row: ShapeRow) -> bool:
    limit = row.slope_limit_um_per_m
    return row.today is not None and limit is not None and abs(row.today.um_per_m) > limit


def _bow_over(row: ShapeRow) -> bool:
    return row.bow_um is not None and row.bow_limit_um is not None and abs(row.bow_um) > row.bow_limit_um


def _share(value: float | None, limit: float | None, *, over: bool) -> html.Td:
    if value is None or not limit:
        return html.Td("–", className="num")
    said: list[Any] = [f"{100 * abs(value) / limit:.0f}{NBSP}% of{NBSP}limit"]
    return html.Td([*said, html.Br(), "over"] if over else said, className="hotc" if over else "")


def _slope_cells(row: ShapeRow | None, axis: Axis, unit: ReaderUnit) -> list[html.Td]:
    if row is None:
        return [html.Td("–") for _ in range(4)]
    spread: list[Any] = []
    if row.today is not None:
        spread = [" ", html.Span(numbers.slope_spread(row.today.u95_um_per_m, unit), className="u num")]
    return [
        *(html.Td(_slope(slope, axis, unit, _WAYS), className="num") for slope in (row.first, row.second)),
        html.Td([_slope(row.today, axis, unit, _WAYS), *spread]),
        _share(row.today.um_per_m if row.today else None, row.slope_limit_um_per_m, over=_slope_over(row)),
    ]


def _bow(row: ShapeRow, unit: ReaderUnit) -> list[Any]:
    if row.bow_um is None:
        return ["–"]
    shown = words.quantised(row.bow_um, unit)
    if shown == 0:
        said = f"{words.figure(row.bow_um, unit)} straight"
    else:
        said = f"{words.figure(row.bow_um, unit)} {_SIDES[row.axis][0 if shown > 0 else 1]} it at {row.bow_station}"
    return [said, *numbers.plus_minus(row.u95_bow_um, unit)]


def _bow_cells(row: ShapeRow | None, unit: ReaderUnit) -> list[html.Td]:
    if row is None:
        return [html.Td("–") for _ in range(4)]
    return [
        html.Td("–"),
        html.Td("–"),
        html.Td(_bow(row, unit)),
        _share(row.bow_um, row.bow_limit_um, over=_bow_over(row)),
    ]
