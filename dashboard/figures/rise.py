"""How far the barrel rises from cold to running: measured and modelled, from nothing at the flange onward."""

from __future__ import annotations

from dashboard.components import numbers
from dashboard.figures import frame
from dashboard.figures.frame import Edge, Figure
from dashboard.figures.palette import colour
from fleet import words
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.services.measured_rises import StationRise
from fleet.words import ReaderUnit


def rise_figure(
    view: ColdOffsetsView, unit: ReaderUnit, rises: tuple[StationRise, ...] = (), *, phone: bool = False
) -> Figure | None:
    """Draw the modelled rise with its band and the measured rises of all stations; None without a model.

    Parameters
    ----------
    view
        The line's cold-offset view, with its parts by support.
    unit
        The reader's unit.
    rises
        What was measured at each station.
    phone
        A narrower figure without labels at its edge.
    """
    parts = sorted(view.parts, key=lambda part: part.distance_mm)
    if not parts or view.axis != "v":
        return None
    far = max([parts[-1].distance_mm, *(one.distance_mm for one in rises)])
    end = far * 1.2
    x = [0.0, *(part.distance_mm for part in parts), end]

    def through(values: list[float]) -> list[float]:
        """Carry the straight line from 0 at the flange through the supports on past the last one."""
        if len(values) == 1:
            return [0.0, values[0], values[0]]
        slope = (values[-1] - values[-2]) / (parts[-1].distance_mm - parts[-2].distance_mm)
        return [0.0, *values, values[-1] + slope * (end - parts[-1].distance_mm)]

    model = through([numbers.scaled(part.total_um, unit) for part in parts])
    low = through([numbers.scaled(part.total_um - part.u95_total_um, unit) for part in parts])
    high = through([numbers.scaled(part.total_um + part.u95_total_um, unit) for part in parts])
    measured = [numbers.scaled(um, unit) for one in rises for _, um in one.runs]
    values = [0.0, *low, *high, *measured]
    bottom, top = min(values), max(values)
    margin = 0.08 * (top - bottom) or 1.0
    bottom, top = bottom - margin / 2, top + margin
    edge = (
        {"left": 44, "right": 12, "top": 22, "bottom": 34}
        if phone
        else {"left": 70, "right": 110, "top": 22, "bottom": 34}
    )
    height = 220 if phone else 210
    figure: Figure = {"data": [], "layout": frame.layout(height=height, font_px=13 if phone else 12.5, **edge)}
    layout = figure["layout"]
    layout["xaxis"] = {
        "range": [0, end],
        "fixedrange": True,
        "showgrid": False,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": colour("rule"),
        "showline": True,
        "linecolor": colour("rule"),
        "tickvals": [0, *(part.distance_mm for part in parts)],
        "ticktext": ["<b>flange</b>", *(f"<b>{frame.literal(part.support)}</b>" for part in parts)],
        "tickfont": {"color": colour("ink")},
    }
    layout["yaxis"] = {
        **frame.value_axis(bottom, top, down=False, most=4),
        "showgrid": True,
        "gridcolor": colour("hair"),
    }
    layout["annotations"].append(
        frame.text(
            0,
            1,
            "<b>higher</b>",
            xanchor="left" if phone else "right",
            xshift=-36 if phone else -8,
            yanchor="bottom",
            yshift=2,
            font={"color": colour("ink")},
        )
    )
    figure["data"] += [
        frame.band(x, low, high, "fan-1", name="heat model, 95 % range"),
        frame.line(x, model, "accent", 2, dash=frame.DASHED, name="heat model"),
    ]
    labels = [Edge(model[-1], "heat model", "ink-2")]
    if measured:
        span = (0.013 if phone else 0.009) * end
        points = [
            (one.distance_mm + (number - (len(one.runs) - 1) / 2) * min(span, 0.1 * end / len(one.runs)), day, um)
            for one in rises
            for number, (day, um) in enumerate(one.runs)
        ]
        figure["data"].append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": "measured at one check",
                "marker": frame.MARKERS["hot"] | {"size": 8},
                "x": [x for x, _, _ in points],
                "y": [numbers.scaled(um, unit) for _, _, um in points],
                "text": [
                    f"{words.day(day)}<br><b>{words.said(um, 'v', 'movement', unit)}</b>" for _, day, um in points
                ],
                "hovertemplate": "%{text}<extra></extra>",
            }
        )
        means = [numbers.scaled(one.mean_um, unit) for one in rises]
        places = [one.distance_mm for one in rises]
        last = means[-1]
        if len(means) > 1 and places[-1] > places[-2]:
            last += (means[-1] - means[-2]) / (places[-1] - places[-2]) * (end - places[-1])
        figure["data"].append(frame.line([0.0, *places, end], [0.0, *means, last], "ink", 1.4, name="mean measured"))
        labels.append(Edge(last, "measured", "ink", strong=True))
    if not phone:
        per_px = (top - bottom) / (height - edge["top"] - edge["bottom"])
        layout["annotations"] += frame.edges(labels, per_px=per_px, yref="y", down=False)
    return figure
