"""The machine between elevation and plan: gearbox, flange, barrel, supports, true to scale along the barrel."""

from __future__ import annotations

import math
from typing import Final

from dashboard.components import numbers
from dashboard.figures import frame
from dashboard.figures.frame import Figure
from dashboard.figures.palette import colour
from fleet.services.line_page import LineView
from fleet.words import ReaderUnit

NOMINAL_PX: Final = 1062.0
"""Width of the plot at the desk, for what fits beside what and for how much offsets are enlarged."""


def draw_machine(figure: Figure, view: LineView, unit: ReaderUnit, start: float, end: float, *, phone: bool) -> None:
    """Draw gearbox, flange, barrel and supports; true to scale along the barrel, the rest in pixels."""
    shapes, notes = figure["layout"]["shapes"], figure["layout"]["annotations"]
    first = figure["layout"]["xaxis"]["range"][0]
    middle, ground = (58.0, 116.0) if phone else (70.0, 148.0)
    body = {"fillcolor": colour("well"), "line": {"color": colour("ink-2"), "width": 1}}
    on = {"xref": "x", "yref": "y2", "layer": "below"}
    box = first + 0.01 * (end - first)
    shapes += [
        {
            "type": "line",
            **on,
            "x0": first,
            "x1": end,
            "y0": ground,
            "y1": ground,
            "line": {"color": colour("rule"), "width": 1},
        },
        {"type": "rect", **on, **body, "x0": box, "x1": -0.015 * end, "y0": middle - 18, "y1": ground},
        {"type": "rect", **on, **body, "x0": -0.015 * end, "x1": 0, "y0": middle - 14, "y1": middle + 14},
    ]
    if start > 0:
        shapes.append({"type": "rect", **on, **body, "x0": 0, "x1": start, "y0": middle - 7, "y1": middle + 7})
    shapes.append({"type": "rect", **on, **body, "x0": start, "x1": end, "y0": middle - 10, "y1": middle + 10})
    feet = (
        f"M-11,-10 L11,-10 L7,-19 L-7,-19 Z M-5,-19 L5,-19 L5,{middle - ground + 8} L-5,{middle - ground + 8} Z "
        f"M-15,{middle - ground + 8} L15,{middle - ground + 8} L15,{middle - ground} L-15,{middle - ground} Z"
    )
    for support in view.supports:
        shapes.append(
            {
                "type": "path",
                **on,
                **body,
                "xsizemode": "pixel",
                "ysizemode": "pixel",
                "xanchor": support.distance_mm,
                "yanchor": middle,
                "path": feet,
            }
        )
        if not phone:
            notes.append(
                {
                    "x": support.distance_mm,
                    "y": ground - 4,
                    "xref": "x",
                    "yref": "y2",
                    "showarrow": False,
                    "xanchor": "left",
                    "xshift": 20,
                    "yanchor": "bottom",
                    "text": f"support {frame.literal(support.code)}",
                }
            )
    shapes.append(
        {
            "type": "line",
            "xref": "x",
            "yref": "y2",
            "layer": "above",
            "x0": first,
            "x1": end * 1.03,
            "y0": middle,
            "y1": middle,
            "line": {"color": colour("ink-2"), "width": 1, "dash": frame.DASH_DOT},
        }
    )
    span = figure["layout"]["xaxis"]["range"][1] - first
    width = 300.0 if phone else NOMINAL_PX
    shown = -math.inf
    for station in view.stations:
        shapes.append(
            {
                "type": "line",
                **on,
                "x0": station.distance_mm,
                "x1": station.distance_mm,
                "y0": middle - 7,
                "y1": middle + 5,
                "line": {"color": colour("rule"), "width": 1},
            }
        )
        if (station.distance_mm - shown) / span * width < (18 if phone else 52):
            continue
        shown = station.distance_mm
        at = {"x": station.distance_mm, "xref": "x", "yref": "y2", "showarrow": False, "yanchor": "bottom"}
        notes.append(
            {
                **at,
                "y": middle - (16 if phone else 34),
                "text": f"<b>{frame.literal(station.station)}</b>",
                "font": {"color": colour("ink")},
            }
        )
        if not phone:
            notes.append(
                {
                    **at,
                    "y": middle - 18,
                    "text": numbers.distance(station.distance_mm, unit),
                    "font": {"color": colour("ink-3")},
                }
            )
    if not phone:
        notes.append(
            {
                "x": (box - 0.015 * end) / 2,
                "y": (middle + ground) / 2,
                "xref": "x",
                "yref": "y2",
                "showarrow": False,
                "text": "gearbox",
            }
        )
        for y, said in ((middle - 34, "station"), (middle - 18, "from the flange")):
            notes.append(
                {
                    "x": 1,
                    "xref": "paper",
                    "xshift": 6,
                    "xanchor": "left",
                    "y": y,
                    "yref": "y2",
                    "yanchor": "bottom",
                    "showarrow": False,
                    "text": said,
                    "font": {"color": colour("ink-3")},
                }
            )
