"""How far the barrel rises from cold to running: measured and modelled, from nothing at the flange onward."""

from __future__ import annotations

from dashboard.components import numbers
from dashboard.figures import frame
from dashboard.figures.frame import Edge, Figure
from dashboard.figures.palette import colour
from fleet import words
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.words import ReaderUnit


def rise_figure(view: ColdOffsetsView, unit: ReaderUnit, *, phone: bool = False) -> Figure | None:
    """Draw the modelled rise with its band and the measured rises of the shown station; None without a model.

    Parameters
    ----------
    view
        The line's cold-offset view, with its parts by support.
    unit
        The reader's unit.
    phone
        A narrower figure without labels at its edge.
    """
    parts = sorted(view.parts, key=lambda part: part.distance_mm)
    if not parts or view.axis != "v":
        return None
    end = parts[-1].distance_mm * 1.2
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
    measured = [numbers.scaled(check.rise_um, unit) for check in view.checks]
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
    at = next((part.distance_mm for part in parts if part.support == view.station), None)
    if measured and at is not None:
        span = 0.009 * end
        figure["data"].append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": "measured at one check",
                "marker": frame.MARKERS["hot"],
                "x": [at + (number - (len(measured) - 1) / 2) * span for number in range(len(measured))],
                "y": measured,
                "text": [
                    f"{words.day(check.checked_at)}<br><b>{words.said(check.rise_um, 'v', 'movement', unit)}</b>"
                    for check in view.checks
                ],
                "hovertemplate": "%{text}<extra></extra>",
            }
        )
        mean = sum(measured) / len(measured)
        figure["data"].append(
            frame.line([at - 6 * span, at + 6 * span], [mean, mean], "ink", 1.4, name="mean measured")
        )
        layout["annotations"].append(
            {
                "x": at + 6 * span,
                "xref": "x",
                "y": mean,
                "yref": "y",
                "text": "<b>measured</b>",
                "showarrow": False,
                "xanchor": "right" if phone else "left",
                "xshift": 0 if phone else 6,
                "yanchor": "bottom" if phone else "middle",
                "font": {"color": colour("ink")},
            }
        )
    if not phone:
        per_px = (top - bottom) / (height - edge["top"] - edge["bottom"])
        layout["annotations"] += frame.edges(labels, per_px=per_px, yref="y", down=False)
    return figure
