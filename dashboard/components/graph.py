"""The one way a chart reaches a page: it sends nothing, traps no scroll, and says in words what it shows."""

from __future__ import annotations

from typing import Any, Final

from dash import dcc, html

from dashboard.components.aria import aria
from dashboard.components.downloads import Take, figure_links
from dashboard.figures.frame import Figure

CONFIG: Final[Any] = {
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displaylogo": False,
    "displayModeBar": False,
    "scrollZoom": False,
    "doubleClick": False,
    "showTips": False,
    "showAxisDragHandles": False,
}


def graph(name: str, figure: Figure, *, label: str, class_name: str = "", take: Take | None = None) -> html.Div:
    """Return a chart in a labelled region, as tall as its figure asks for.

    Parameters
    ----------
    name
        The chart's id, with its page's prefix.
    figure
        What to draw.
    label
        One sentence that says what the chart shows; the numbers stand in a table on the same page.
    class_name
        `wide-only` or `narrow-only` where desk and phone have a figure each.
    take
        What the line below it offers to take along: the picture as PNG and SVG, its numbers.
    """
    chart = html.Div(
        dcc.Graph(
            id=name,
            figure=figure,
            config=CONFIG,
            responsive=True,
            style={"height": f"{figure['layout']['height']}px"},
        ),
        className="chart",
        role="img",
        **aria(label=label),
    )
    return html.Div(
        [chart, *([figure_links(name, take, label)] if take else [])], className=f"figure {class_name}".strip()
    )
