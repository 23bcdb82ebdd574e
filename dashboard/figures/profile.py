"""Where the bore lies: elevation above, the machine, the plan below, on one scale along the barrel."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from dashboard.components import numbers
from dashboard.components.sentences import PHASE_WORDS
from dashboard.figures import frame
from dashboard.figures.frame import Edge, Figure
from dashboard.figures.machine import NOMINAL_PX, draw_machine
from dashboard.figures.palette import colour
from fleet import words
from fleet.services.line_page import LineView, StationNow, SurveyPoint, SurveyView
from fleet.values import Axis
from fleet.words import ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}


class _Panel:
    """One of the two views: its axis, where it lies on the paper, and its values in the reader's unit."""

    def __init__(self, view: LineView, axis: Axis, unit: ReaderUnit, surveys: Sequence[SurveyView]) -> None:
        self.view, self.axis, self.unit, self.surveys = view, axis, unit, surveys
        self.yref = "y" if axis == "v" else "y3"
        self.index = _INDEX[axis]
        low, high = self._bounds()
        self.low, self.high = low, high

    def of(self, um: float) -> float:
        return numbers.scaled(um, self.unit)

    def _bounds(self) -> tuple[float, float]:
        values = [0.0]
        for station in self.view.stations:
            position, u95 = station.position_um[self.index], station.u95_position_um[self.index] or 0.0
            target, limit = station.target_um[self.index] or 0.0, station.limit_um[self.index] or 0.0
            values += [target - limit, target + limit]
            if position is not None:
                values += [position - u95, position + u95]
        for survey in self.surveys:
            for point in survey.points:
                values.append(point.v_um if self.axis == "v" else point.h_um)
        low, high = self.of(min(values)), self.of(max(values))
        margin = max(0.06 * (high - low), self.of(20.0))
        return low - margin, high + margin

    def runs(self, name: str) -> list[list[StationNow]]:
        """Return the stretches of neighbouring stations that know a value: gaps stay gaps."""
        stretches: list[list[StationNow]] = [[]]
        for station in self.view.stations:
            if getattr(station, name)[self.index] is None:
                stretches.append([])
            else:
                stretches[-1].append(station)
        return [stretch for stretch in stretches if stretch]


def enlarged(low: float, high: float, height_px: float, length_mm: float, unit: ReaderUnit) -> str:
    """Return how much offsets are drawn larger than distances, to one figure: 'about 1 000 times'."""
    across = height_px / ((high - low) * (1.0 if unit == "mm" else 0.0254))
    ratio = across / (NOMINAL_PX / length_mm)
    power = 10 ** math.floor(math.log10(ratio))
    return f"about {numbers.grouped(round(ratio / power) * power)} times"


def profile(
    view: LineView, a: SurveyView | None, b: SurveyView | None, unit: ReaderUnit, *, phone: bool = False
) -> Figure:
    """Draw two surveys and the position expected today between the limits, in elevation and in plan.

    Parameters
    ----------
    view
        The line.
    a, b
        The surveys compared: the first with a grey line, the second in ink; None leaves one out.
    unit
        The reader's unit.
    phone
        A narrower figure, names left out that its key and its table say.
    """
    surveys = [survey for survey in (a, b) if survey is not None]
    height = 592 if phone else 700
    margin = (
        {"left": 40, "right": 14, "top": 24, "bottom": 22}
        if phone
        else {"left": 58, "right": 128, "top": 26, "bottom": 22}
    )
    figure: Figure = {
        "data": [],
        "layout": frame.layout(height=height, font_px=13 if phone else 12.5, **margin),
    }
    inner = height - margin["top"] - margin["bottom"]
    heights = (250, 122, 130) if phone else (290, 152, 166)
    below_elevation, above_plan = (12, inner - sum(heights) - 12)
    upper = (1 - heights[0] / inner, 1.0)
    machine_top = heights[0] + below_elevation
    machine = (1 - (machine_top + heights[1]) / inner, 1 - machine_top / inner)
    lower = (0.0, 1 - (machine_top + heights[1] + above_plan) / inner)

    start, end = _barrel(view)
    # The gearbox stands before distance 0, also where a feed section comes first.
    first = -0.115 * end
    figure["layout"]["xaxis"] = {
        "range": [first, end + 0.025 * (end - first)],
        "visible": False,
        "fixedrange": True,
        "domain": [0, 1],
        "anchor": "y3",
    }
    figure["layout"]["yaxis2"] = {
        "range": [heights[1], 0],
        "domain": list(machine),
        "visible": False,
        "fixedrange": True,
    }
    panels = (_Panel(view, "v", unit, surveys), _Panel(view, "h", unit, surveys))
    for panel, name, domain, tall in zip(
        panels, ("yaxis", "yaxis3"), (upper, lower), (heights[0], heights[2]), strict=True
    ):
        figure["layout"][name] = frame.value_axis(
            panel.low, panel.high, down=panel.axis == "h", domain=domain, most=6 if tall > 200 else 4
        )
        _draw_panel(figure, panel, domain, (panel.high - panel.low) / tall, first, a, b, phone=phone)
    _draw_titles(figure, view, unit, upper, lower, phone=phone)
    draw_machine(figure, view, unit, start, end, phone=phone)
    if not phone:
        said = enlarged(panels[0].low, panels[0].high, heights[0], end - first, unit)
        figure["layout"]["annotations"].append(
            {
                "x": start + 0.04 * (end - start),
                "y": heights[1] - 8,
                "xref": "x",
                "yref": "y2",
                "showarrow": False,
                "xanchor": "left",
                "yanchor": "bottom",
                "text": f"offsets drawn {said}",
                "font": {"color": colour("ink-3")},
            }
        )
    return figure


def _barrel(view: LineView) -> tuple[float, float]:
    start = view.feed_section_mm or 0.0
    farthest = max((station.distance_mm for station in view.stations), default=1000.0)
    # One station at the gearbox's face alone gives no length to draw to scale.
    farthest = max([farthest, *(support.distance_mm for support in view.supports)]) or 1000.0
    end = start + view.barrel_length_mm if view.barrel_length_mm else farthest * 1.04
    return start, max(end, farthest * 1.01)


def _draw_panel(
    figure: Figure,
    panel: _Panel,
    domain: tuple[float, float],
    per_px: float,
    left: float,
    a: SurveyView | None,
    b: SurveyView | None,
    *,
    phone: bool,
) -> None:
    data, layout = figure["data"], figure["layout"]
    stations = panel.view.stations
    on = {"yaxis": panel.yref}
    labels: list[Edge] = [Edge(0.0, "gearbox axis")]
    for station in stations:
        layout["shapes"].append(
            {
                "type": "line",
                "xref": "x",
                "yref": "paper",
                "x0": station.distance_mm,
                "x1": station.distance_mm,
                "y0": domain[0],
                "y1": domain[1],
                "layer": "below",
                "line": {"color": colour("hair"), "width": 1},
            }
        )
    reach = 0.012 * (max(s.distance_mm for s in stations) - left) if stations else 0.0

    def widened(run: list[StationNow], values: list[float]) -> tuple[list[float], list[float]]:
        xs = [s.distance_mm for s in run]
        return [xs[0] - reach, *xs, xs[-1] + reach], [values[0], *values, values[-1]]

    for run in panel.runs("limit_um"):
        target = [panel.of(s.target_um[panel.index] or 0.0) for s in run]
        limit = [panel.of(s.limit_um[panel.index] or 0.0) for s in run]
        x, low = widened(run, [t - w for t, w in zip(target, limit, strict=True)])
        _, high = widened(run, [t + w for t, w in zip(target, limit, strict=True)])
        data.append(frame.band(x, low, high, "corridor", name="corridor", **on))
    for run in panel.runs("position_um"):
        middle = [panel.of(s.position_um[panel.index] or 0.0) for s in run]
        spread = [panel.of(s.u95_position_um[panel.index] or 0.0) for s in run]
        data.append(
            frame.band(
                [s.distance_mm for s in run],
                [m - s for m, s in zip(middle, spread, strict=True)],
                [m + s for m, s in zip(middle, spread, strict=True)],
                "fan-1",
                opacity=0.85,
                name="expected range",
                **on,
            )
        )
    for run in panel.runs("limit_um"):
        for side in (1, -1):
            x, y = widened(
                run,
                [panel.of((s.target_um[panel.index] or 0.0) + side * (s.limit_um[panel.index] or 0.0)) for s in run],
            )
            data.append(frame.line(x, y, "ink", 1.3, name="limit", **on))
            labels.append(Edge(y[-1], "limit", "ink-2"))
    for run in panel.runs("watch_um"):
        for side in (1, -1):
            x, y = widened(
                run,
                [panel.of((s.target_um[panel.index] or 0.0) + side * (s.watch_um[panel.index] or 0.0)) for s in run],
            )
            data.append(frame.line(x, y, "rule", 1, dash=frame.DOTTED, name="watch", **on))
    for run in panel.runs("target_um"):
        x, y = widened(run, [panel.of(s.target_um[panel.index] or 0.0) for s in run])
        data.append(frame.line(x, y, "ink-2", 1, dash=frame.DASH_DOT, name="cold target", **on))
        labels.append(Edge(y[-1], "cold target"))
    last = layout["xaxis"]["range"][1]
    data.append(frame.line([left, last], [0, 0], "ink-2", 1, dash=frame.DASH_DOT, name="gearbox axis", **on))
    for run in panel.runs("position_um"):
        x = [s.distance_mm for s in run]
        y = [panel.of(s.position_um[panel.index] or 0.0) for s in run]
        data.append(frame.line(x, y, "accent", 2, dash=frame.DASHED, name="expected today", **on))
        for beyond_x, beyond_y in _beyond(run, panel):
            data.append(frame.line(beyond_x, beyond_y, "over", 3, name="expected, past the limit", **on))
        labels.append(Edge(y[-1], "expected today", "ink", strong=True))
    for survey, token in ((a, "rule"), (b, "ink")):
        if survey is not None:
            _draw_survey(figure, panel, survey, token)
    if not phone:
        layout["annotations"] += frame.edges(
            _without_doubles(labels, 4 * per_px), per_px=per_px, yref=panel.yref, down=panel.axis == "h"
        )
    _draw_worst(figure, panel, phone=phone)


def _without_doubles(labels: list[Edge], near: float) -> list[Edge]:
    """Leave out a second label that says the same at the same place, and the target where it is the axis itself."""
    kept: list[Edge] = []
    for label in labels:
        if label.text == "cold target" and abs(label.value) < near:
            kept = [Edge(0.0, "axis and target") if k.text == "gearbox axis" else k for k in kept]
        elif not any(k.text == label.text and abs(k.value - label.value) < near for k in kept):
            kept.append(label)
    return kept


def _beyond(run: list[StationNow], panel: _Panel) -> list[tuple[list[float], list[float]]]:
    """Return the stretches of the expected line past the limit, cut where it crosses."""
    marks: list[tuple[float, float, float]] = []
    for station in run:
        limit, deviation = station.limit_um[panel.index], station.deviation_um[panel.index]
        excess = -1.0 if limit is None or deviation is None else abs(deviation) - limit
        marks.append((station.distance_mm, panel.of(station.position_um[panel.index] or 0.0), excess))
    stretches: list[tuple[list[float], list[float]]] = []
    for (x0, y0, e0), (x1, y1, e1) in pairwise(marks):
        if e0 <= 0 and e1 <= 0:
            continue
        begin = -e0 / (e1 - e0) if e0 <= 0 else 0.0
        finish = -e0 / (e1 - e0) if e1 <= 0 else 1.0
        xs = [x0 + (x1 - x0) * begin, x0 + (x1 - x0) * finish]
        ys = [y0 + (y1 - y0) * begin, y0 + (y1 - y0) * finish]
        if stretches and stretches[-1][0][-1] == xs[0]:
            stretches[-1][0].append(xs[1])
            stretches[-1][1].append(ys[1])
        else:
            stretches.append((xs, ys))
    return stretches


def _draw_survey(figure: Figure, panel: _Panel, survey: SurveyView, token: str) -> None:
    axis = panel.axis
    points = sorted(survey.points, key=lambda point: point.distance_mm)
    x = [point.distance_mm for point in points]
    um = [point.v_um if axis == "v" else point.h_um for point in points]
    u95 = [point.u95_v_um if axis == "v" else point.u95_h_um for point in points]
    y = [panel.of(value) for value in um]
    name = f"survey {survey.key}"
    drawn_x, drawn_y, bridges = _gaps(panel, points, x, y)
    figure["data"].append(frame.line(drawn_x, drawn_y, token, 1.4, yaxis=panel.yref, name=name))
    for bridge_x, bridge_y in bridges:
        figure["data"].append(
            frame.line(
                bridge_x, bridge_y, token, 1, dash="1px,4px", yaxis=panel.yref, name=f"{name}, across what was not read"
            )
        )
    trace: dict[str, Any] = {
        "type": "scatter",
        "mode": "markers",
        "x": x,
        "y": y,
        "yaxis": panel.yref,
        "name": f"{PHASE_WORDS[survey.phase]} {words.day(survey.on)}",
        "marker": frame.MARKERS[survey.phase],
        "text": [
            f"station {frame.literal(point.station)}, {PHASE_WORDS[survey.phase]} {words.day(survey.on)}<br>"
            f"<b>{words.said(value, axis, 'offset', panel.unit)}</b> {words.plus_minus(spread, panel.unit)}"
            for point, value, spread in zip(points, um, u95, strict=True)
        ],
        "hovertemplate": "%{text}<extra></extra>",
    }
    if survey.phase == "as_found":
        trace["error_y"] = {
            "type": "data",
            "array": [panel.of(value) for value in u95],
            "thickness": 1.2,
            "width": 3,
            "color": colour("ink"),
        }
    figure["data"].append(trace)
    if survey.phase == "interim":
        figure["layout"]["shapes"] += [
            frame.half_disc(at, value, yref=panel.yref) for at, value in zip(x, y, strict=True)
        ]


def _gaps(
    panel: _Panel, points: Sequence[SurveyPoint], x: Sequence[float], y: Sequence[float]
) -> tuple[list[float | None], list[float | None], list[tuple[list[float], list[float]]]]:
    """Return a survey's line broken where it did not read a station that stands between two it read, and the bridges.

    A bridge is drawn otherwise than the line, because nothing was measured there.
    """
    read = {point.station for point in points}
    unread = [station.distance_mm for station in panel.view.stations if station.station not in read]
    drawn_x: list[float | None] = list(x[:1])
    drawn_y: list[float | None] = list(y[:1])
    bridges: list[tuple[list[float], list[float]]] = []
    for (x0, y0), (x1, y1) in pairwise(zip(x, y, strict=True)):
        if any(x0 < at < x1 for at in unread):
            drawn_x.append(None)
            drawn_y.append(None)
            bridges.append(([x0, x1], [y0, y1]))
        drawn_x.append(x1)
        drawn_y.append(y1)
    return drawn_x, drawn_y, bridges


def _draw_worst(figure: Figure, panel: _Panel, *, phone: bool) -> None:
    view = panel.view
    if view.worst_axis != panel.axis:
        return
    worst = next((s for s in view.stations if s.station == view.worst_station), None)
    if worst is None:
        return
    deviation, position = worst.deviation_um[panel.index], worst.position_um[panel.index]
    u95 = worst.u95_position_um[panel.index]
    if deviation is None or position is None:
        return
    token = "over" if worst.status[panel.index] == "over" else "accent"
    said = words.said(deviation, panel.axis, "deviation", panel.unit)
    spread = f" {words.plus_minus(u95, panel.unit)}" if u95 is not None else ""
    outward = (deviation < 0) if panel.axis == "v" else (deviation > 0)
    right_half = worst.distance_mm > 0.6 * figure["layout"]["xaxis"]["range"][1]
    figure["layout"]["annotations"].append(
        {
            "x": worst.distance_mm,
            "y": panel.of(position),
            "xref": "x",
            "yref": panel.yref,
            "text": f"<b>{frame.literal(worst.station) + ': ' if phone else ''}{said}{spread}</b>",
            "font": {"color": colour(token)},
            "showarrow": True,
            "arrowhead": 0,
            "arrowwidth": 1.5,
            "arrowcolor": colour(token),
            "standoff": 5,
            "ax": 0,
            "ay": 30 if outward else -30,
            "xanchor": ("right" if right_half else "left") if phone else "center",
            "yanchor": "top" if outward else "bottom",
            "bgcolor": colour("sheet"),
            "borderpad": 1,
        }
    )


def _draw_titles(
    figure: Figure,
    view: LineView,
    unit: ReaderUnit,
    upper: tuple[float, float],
    lower: tuple[float, float],
    *,
    phone: bool,
) -> None:
    side = f"; <b>{frame.literal(view.right_hand_side)}</b> is right" if view.right_hand_side else ""
    plan = f"Plan seen from above, {unit}. <b>left</b> is up"
    if not phone:
        plan += f", <b>right</b> is down, looking from the gearbox{side}"
    shift = -34 if phone else -52
    for y, words_said in ((upper[1], f"Elevation, {unit}. <b>high</b> is up"), (lower[1], plan)):
        figure["layout"]["annotations"].append(
            frame.text(0, y, words_said, xanchor="left", xshift=shift, yanchor="bottom", yshift=4)
        )
    for y, word in ((upper[0], "low"), (lower[0], "right")):
        figure["layout"]["annotations"].append(
            frame.text(
                0,
                y,
                f"<b>{word}</b>",
                xanchor="right",
                xshift=-8,
                yanchor="top",
                yshift=2,
                font={"color": colour("ink")},
            )
        )
