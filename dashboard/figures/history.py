"""What a station has done and where it is going: visits, drift, realignments, events, forecast and limit over time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, Final

from dashboard.components import numbers
from dashboard.components.sentences import PHASE_WORDS
from dashboard.figures import frame
from dashboard.figures import history_marks as marks
from dashboard.figures.frame import Edge, Figure
from dashboard.figures.palette import colour
from fleet import words
from fleet.services.limits import Band
from fleet.services.line_history import FanPoint, History, HistoryPoint
from fleet.services.line_page import LineView
from fleet.words import ReaderUnit

_WORDS_SHARE: Final = 0.18
"""How much of the height two lines of words under the limit take."""
_DRAWN: Final[dict[str, tuple[float, str]]] = {
    "drift": (1.4, "solid"),
    "realigned": (4.0, "solid"),
    "across": (1.2, "1px,3px"),
}


@dataclass(frozen=True, slots=True)
class Stretch:
    """The limits of the days from `begins` to `ends`."""

    begins: date
    ends: date
    band: Band


def window(view: LineView, history: History, *, phone: bool) -> tuple[date, date]:
    """Return the first and the last day drawn: every visit, and ahead as far as two outages or a year, at most the fan.

    On the phone only the last three years before today.
    """
    days = [marks.day_of(point.at) for point in history.points] + [marks.day_of(event.at) for event in history.events]
    first = min(days, default=view.as_of - timedelta(days=365))
    if phone:
        first = max(first, view.as_of - timedelta(days=3 * 365))
    ahead = view.as_of + timedelta(days=330)
    coming = sorted(
        marks.day_of(outage.ends_at) for outage in view.outages if marks.day_of(outage.ends_at) > view.as_of
    )
    if len(coming) > 1:
        ahead = max(ahead, min(coming[1], view.as_of + timedelta(days=900)) + timedelta(days=40))
    if history.fan:
        ahead = min(ahead, history.fan[-1].on)
    ahead = min(max(ahead, view.as_of + timedelta(days=90)), view.horizon)
    margin = max((ahead - first) // 30, timedelta(days=20))
    return first - margin, ahead


def stretches(history: History, first: date, last: date) -> list[Stretch]:
    """Return the limits drawn, from day to day: one flat stretch where no other limit ever held in the window."""
    bands = history.bands or (Band(None, history.watch_um, history.limit_um),)
    ends = [*(band.from_on or first for band in bands[1:]), last]
    found = [
        Stretch(max(band.from_on or first, first), min(end, last), band) for band, end in zip(bands, ends, strict=True)
    ]
    return [stretch for stretch in found if stretch.begins < stretch.ends]


def bounds(history: History, last: date) -> tuple[float, float]:
    """Return the lowest and the highest deviation drawn [um]: visits, fan, watch, and the limit it goes toward."""
    earliest = min([marks.day_of(point.at) for point in history.points], default=last)
    limits = [stretch.band.limit_um or 0.0 for stretch in stretches(history, min(earliest, last), last)]
    limit = max(limits, default=0.0)
    values = [0.0]
    for point in history.points:
        values += [point.deviation_um - point.u95_um, point.deviation_um + point.u95_um]
    if history.watch_um is not None:
        values += [-1.15 * history.watch_um, 1.15 * history.watch_um]
    ahead = [fan for fan in history.fan if fan.on <= last]
    reach = max(2.0 * limit, 1.1 * max(abs(value) for value in values), 50.0)
    for fan in ahead:
        values += [max(fan.q10_um, -reach), min(fan.q90_um, reach)]
    leaning = ahead[-1].mean_um if ahead else sum(point.deviation_um for point in history.points)
    if limit:
        values.append(1.15 * limit if leaning > 0 else -1.15 * limit)
    low, high = min(values), max(values)
    if history.limit_um and history.over_p10 is not None and history.over_p10 < last:
        # Room beyond the limit for the words of the over-by bar.
        beyond = history.limit_um + _WORDS_SHARE * (high - low)
        low, high = (low, max(high, beyond)) if leaning > 0 else (min(low, -beyond), high)
    margin = 0.03 * (high - low)
    return low - margin, high + margin


def history_figure(view: LineView, unit: ReaderUnit, *, phone: bool = False) -> Figure | None:
    """Draw the history of the shown station and axis; None where there is no visit to draw.

    Parameters
    ----------
    view
        The line with its history.
    unit
        The reader's unit.
    phone
        A narrower figure of the last three years.
    """
    history = view.history
    if history is None or not history.points:
        return None
    first, last = window(view, history, phone=phone)
    low, high = (numbers.scaled(value, unit) for value in bounds(history, last))
    down = history.axis == "h"
    height = 400 if phone else 420
    margin = (
        {"left": 48, "right": 10, "top": 48, "bottom": 40}
        if phone
        else {"left": 64, "right": 118, "top": 48, "bottom": 40}
    )
    figure: Figure = {"data": [], "layout": frame.layout(height=height, font_px=13 if phone else 12.5, **margin)}
    layout = figure["layout"]
    layout["xaxis"] = {
        "type": "date",
        "range": [marks.moment(first), marks.moment(last)],
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": colour("rule"),
        "showgrid": False,
        "zeroline": False,
        "fixedrange": True,
        "showline": True,
        "linecolor": colour("rule"),
        "tickfont": {"color": colour("ink-3")},
        **_year_ticks(first, last),
    }
    layout["yaxis"] = frame.value_axis(low, high, down=down, clear=0.05)
    upper, lower = frame.END_WORDS["deviation"][history.axis]
    for y, word, shift in ((1.0, upper, 8), (0.0, lower, -2)):
        layout["annotations"].append(
            frame.text(
                0,
                y,
                f"<b>{word}</b>",
                xanchor="right",
                xshift=-8,
                yanchor="middle" if y else "bottom",
                yshift=shift,
                font={"color": colour("ink")},
            )
        )
    drawn = stretches(history, first, last)
    _draw_ground(figure, view, drawn, unit, low, high, first, last)
    _draw_fan(figure, history, unit, last)
    _draw_widths(figure, drawn, unit, first, last)
    _draw_visits(figure, history, unit, first)
    marks.draw_rates(figure, history, unit, phone=phone)
    marks.draw_over_by(figure, view, history, unit, last, down=down, phone=phone)
    marks.draw_events(figure, history, first, last, phone=phone)
    marks.draw_target_changes(figure, history, unit, first, last, phone=phone)
    marks.draw_limit_changes(figure, [stretch.band for stretch in drawn], unit, first, last, phone=phone)
    marks.draw_today(figure, view.as_of)
    if not phone:
        tall = height - margin["top"] - margin["bottom"]
        layout["annotations"] += frame.edges(
            [edge for edge in _edge_labels(drawn, unit) if low <= edge.value <= high],
            per_px=(high - low) / tall,
            yref="y",
            down=down,
        )
    return figure


def _year_ticks(first: date, last: date) -> dict[str, Any]:
    years = [year for year in range(first.year + 1, last.year + 1) if date(year, 1, 1) <= last]
    if len(years) >= 2:
        skip = max(1, -(-len(years) // 12))
        years = years[::-1][::skip][::-1]
        return {"tickvals": [f"{year}-01-01" for year in years], "ticktext": [str(year) for year in years]}
    return {"tickformat": "%b %Y", "nticks": 5}


def _draw_ground(
    figure: Figure,
    view: LineView,
    drawn: list[Stretch],
    unit: ReaderUnit,
    low: float,
    high: float,
    first: date,
    last: date,
) -> None:
    shapes = figure["layout"]["shapes"]
    for stretch in drawn:
        if stretch.band.limit_um is None:
            continue
        limit = numbers.scaled(stretch.band.limit_um, unit)
        shapes.append(
            {
                "type": "rect",
                "name": "corridor",
                # On the paper, so that outages and events, which run through its whole height, lie over it.
                "xref": "paper",
                "x0": (stretch.begins - first) / (last - first),
                "x1": (stretch.ends - first) / (last - first),
                "yref": "y",
                "y0": max(-limit, low),
                "y1": min(limit, high),
                "fillcolor": colour("corridor"),
                "line": {"width": 0},
                "layer": "below",
            }
        )
    for outage in view.outages:
        if marks.day_of(outage.starts_at) > last:
            continue
        shapes.append(
            {
                "type": "rect",
                "xref": "x",
                "x0": marks.moment(outage.starts_at),
                "x1": marks.moment(outage.ends_at),
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "fillcolor": colour("outage"),
                "line": {"width": 0},
                "layer": "below",
            }
        )
        for edge in (outage.starts_at, outage.ends_at):
            shapes.append(
                {
                    "type": "line",
                    "xref": "x",
                    "x0": marks.moment(edge),
                    "x1": marks.moment(edge),
                    "yref": "paper",
                    "y0": 0,
                    "y1": 1,
                    "line": {"color": colour("outage-edge"), "width": 1},
                    "layer": "below",
                }
            )


def _draw_fan(figure: Figure, history: History, unit: ReaderUnit, last: date) -> None:
    fan = [point for point in history.fan if point.on <= last]
    if not fan:
        return
    x = [marks.moment(point.on) for point in fan]

    def scaled(name: str) -> list[float]:
        return [numbers.scaled(getattr(point, name), unit) for point in fan]

    figure["data"] += [
        frame.band(x, scaled("q10_um"), scaled("q90_um"), "fan-1", name="80 % range"),
        frame.band(x, scaled("q25_um"), scaled("q75_um"), "fan-2", name="50 % range"),
        {
            **frame.line(x, scaled("mean_um"), "accent", 2, dash=frame.DASHED, name="forecast"),
            "hoverinfo": "text",
            "text": [_fan_words(point, history, unit) for point in fan],
            "hovertemplate": "%{text}<extra></extra>",
        },
    ]
    if history.limit_um is not None:
        past = [point for point in fan if abs(point.mean_um) > history.limit_um]
        if past:
            figure["data"].append(
                frame.line(
                    [marks.moment(point.on) for point in past],
                    [numbers.scaled(point.mean_um, unit) for point in past],
                    "over",
                    3,
                    name="forecast, past the limit",
                )
            )


def _fan_words(point: FanPoint, history: History, unit: ReaderUnit) -> str:
    kind: words.Kind = "deviation"
    return (
        f"expected {words.month(point.on)}<br><b>{words.said(point.mean_um, history.axis, kind, unit)}</b><br>"
        f"80 % range: {words.said(point.q10_um, history.axis, kind, unit)} to "
        f"{words.said(point.q90_um, history.axis, kind, unit)}"
    )


def _draw_widths(figure: Figure, drawn: list[Stretch], unit: ReaderUnit, first: date, last: date) -> None:
    x = [marks.moment(first), marks.moment(last)]
    data = figure["data"]
    data.append(frame.line(x, [0, 0], "ink-2", 1, dash=frame.DASH_DOT, name="cold target"))
    for name, token, thick, dash in (("watch", "rule", 1.0, frame.DOTTED), ("limit", "ink", 1.3, "solid")):
        for side in (1, -1):
            stepped_x: list[str] = []
            stepped_y: list[float | None] = []
            for stretch in drawn:
                width = stretch.band.watch_um if name == "watch" else stretch.band.limit_um
                y = None if width is None else side * numbers.scaled(width, unit)
                stepped_x += [marks.moment(stretch.begins), marks.moment(stretch.ends)]
                stepped_y += [y, y]
            if any(y is not None for y in stepped_y):
                data.append(frame.line(stepped_x, stepped_y, token, thick, dash=dash, name=name))


def _edge_labels(drawn: list[Stretch], unit: ReaderUnit) -> list[Edge]:
    labels = [Edge(0.0, "cold target")]
    if not drawn:
        return labels
    for width, name, token, strong in (
        (drawn[-1].band.watch_um, "watch", "ink-3", False),
        (drawn[-1].band.limit_um, "limit", "ink", True),
    ):
        if width is not None:
            labels += [
                Edge(side * numbers.scaled(width, unit), f"{name} {words.figure(width, unit)}", token, strong)
                for side in (1, -1)
            ]
    return labels


def _draw_visits(figure: Figure, history: History, unit: ReaderUnit, first: date) -> None:
    points = history.points
    for kind, (width, dash) in _DRAWN.items():
        x: list[str | None] = []
        y: list[float | None] = []
        for before, after in pairwise(points):
            if after.joins == kind:
                x += [marks.moment(before.at), marks.moment(after.at), None]
                y += [numbers.scaled(before.deviation_um, unit), numbers.scaled(after.deviation_um, unit), None]
        if x:
            figure["data"].append(frame.line(x, y, "ink", width, dash=dash, name=kind))
    for phase, marker in frame.MARKERS.items():
        shown = [point for point in points if point.phase == phase and marks.day_of(point.at) >= first]
        if not shown:
            continue
        trace: dict[str, Any] = {
            "type": "scatter",
            "mode": "markers",
            "name": PHASE_WORDS[phase],
            "marker": marker,
            "x": [marks.moment(point.at) for point in shown],
            "y": [numbers.scaled(point.deviation_um, unit) for point in shown],
            "text": [_visit_words(point, history, unit) for point in shown],
            "hovertemplate": "%{text}<extra></extra>",
        }
        if phase != "as_left":
            trace["error_y"] = {
                "type": "data",
                "array": [numbers.scaled(point.u95_um, unit) for point in shown],
                "thickness": 1.2,
                "width": 3,
                "color": colour("accent" if phase == "hot" else "ink"),
            }
        figure["data"].append(trace)
        if phase == "interim":
            figure["layout"]["shapes"] += [
                frame.half_disc(marks.moment(point.at), numbers.scaled(point.deviation_um, unit)) for point in shown
            ]


def _visit_words(point: HistoryPoint, history: History, unit: ReaderUnit) -> str:
    return (
        f"{PHASE_WORDS[point.phase]} {words.day(point.at)}<br>"
        f"<b>{words.said(point.deviation_um, history.axis, 'deviation', unit)}</b> "
        f"{words.plus_minus(point.u95_um, unit)}<br>"
        f"target that day: {words.said(point.target_um, history.axis, 'offset', unit)}"
    )
