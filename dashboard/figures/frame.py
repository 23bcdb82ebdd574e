"""What every chart shares: its margins, ticks, words at the ends of an axis, labels at its right edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

from dashboard.figures.palette import colour
from fleet.services.line_history import Phase
from fleet.values import Axis

Figure = dict[str, Any]
"""A chart as plain data: `data` and `layout`, as the drawing library takes them."""

FACE: Final = '"Atkinson Hyperlegible Next", system-ui, -apple-system, "Segoe UI", Roboto, sans-serif'
DASH_DOT: Final = "14px,3px,3px,3px"
DASHED: Final = "6px,4px"
DOTTED: Final = "2px,3px"

END_WORDS: Final[dict[str, dict[Axis, tuple[str, str]]]] = {
    "offset": {"v": ("high", "low"), "h": ("left", "right")},
    "deviation": {"v": ("above", "below"), "h": ("left of", "right of")},
}
"""Words at the upper and the lower end of an axis; horizontal is drawn as a plan, left up and right down."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A label at the right edge of a chart, beside the line it names."""

    value: float
    text: str
    token: str = "ink-3"
    strong: bool = False


def layout(*, height: int, left: int, right: int, top: int, bottom: int, font_px: float = 12.5) -> dict[str, Any]:
    """Return the layout every chart begins with: transparent, no title, no legend, nothing to drag."""
    return {
        "height": height,
        "margin": {"l": left, "r": right, "t": top, "b": bottom, "pad": 0},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FACE, "size": font_px, "color": colour("ink-2")},
        "showlegend": False,
        "dragmode": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": colour("sheet"),
            "bordercolor": colour("rule"),
            "font": {"family": FACE, "size": 13, "color": colour("ink")},
            "align": "left",
        },
        "shapes": [],
        "annotations": [],
    }


def step(extent: float, most: int = 6) -> float:
    """Return the tick distance of 1, 2 or 5 times a power of ten that gives at most `most` steps over an extent."""
    if extent <= 0:
        return 1.0
    raw = extent / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * (1 - 1e-9))


def ticks(low: float, high: float, most: int = 6) -> tuple[list[float], list[str]]:
    """Return tick values between two bounds and their unsigned figures, all with the same decimals ('0' for zero)."""
    size = step(high - low, most)
    decimals = max(0, -math.floor(math.log10(size) + 1e-9))
    values = [n * size for n in range(math.ceil(low / size - 1e-9), math.floor(high / size + 1e-9) + 1)]
    return values, ["0" if abs(value) < size / 2 else f"{abs(value):.{decimals}f}" for value in values]


def value_axis(
    low: float, high: float, *, down: bool, domain: Sequence[float] = (0.0, 1.0), most: int = 6, clear: float = 0.0
) -> dict[str, Any]:
    """Return an axis across the bore: unsigned figures, no grid, right drawn downward where `down`.

    `clear` is the share of its length at either end kept free of figures, for the words that stand there.
    """
    edge = clear * (high - low)
    values, texts = ticks(low + edge, high - edge, most)
    return {
        "range": [high, low] if down else [low, high],
        "domain": list(domain),
        "tickvals": values,
        "ticktext": texts,
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": colour("rule"),
        "tickfont": {"color": colour("ink-3")},
        "showgrid": False,
        "zeroline": False,
        "showline": False,
        "fixedrange": True,
    }


def literal(words: str) -> str:
    """Return a recorded name so that markup in it is shown, not obeyed."""
    return escape(words, quote=False)


def text(x: float, y: float, words: str, **more: Any) -> dict[str, Any]:
    """Return an annotation without an arrow, placed on the paper unless told otherwise."""
    return {"x": x, "y": y, "text": words, "showarrow": False, "xref": "paper", "yref": "paper", **more}


def edges(
    labels: Sequence[Edge], *, per_px: float, yref: str, down: bool, gap_px: float = 15.0
) -> list[dict[str, Any]]:
    """Return labels at the right edge, pushed apart so that none covers another.

    Parameters
    ----------
    labels
        What to name, at which value.
    per_px
        How much of the axis one pixel covers.
    yref
        The axis the values belong to.
    down
        Whether larger values are drawn lower.
    """
    sign = 1.0 if down else -1.0
    ordered = sorted(labels, key=lambda label: sign * label.value)
    wanted = [sign * label.value / per_px for label in ordered]
    placed: list[float] = []
    for position in wanted:
        placed.append(max(position, placed[-1] + gap_px) if placed else position)
    # A cluster that was pushed down moves back up by half its push, as far as its neighbour above lets it.
    for at in range(len(placed) - 1, -1, -1):
        room = placed[at - 1] + gap_px if at else -math.inf
        placed[at] = max(room, placed[at] - (placed[at] - wanted[at]) / 2)
    return [
        {
            "x": 1,
            "xref": "paper",
            "xanchor": "left",
            "xshift": 6,
            "y": label.value,
            "yref": yref,
            "yshift": -(at - want),
            "yanchor": "middle",
            "text": f"<b>{label.text}</b>" if label.strong else label.text,
            "showarrow": False,
            "font": {"color": colour(label.token)},
        }
        for label, at, want in zip(ordered, placed, wanted, strict=True)
    ]


def line(
    x: Sequence[Any], y: Sequence[Any], token: str, width: float, *, dash: str = "solid", **more: Any
) -> dict[str, Any]:
    """Return a line that says nothing when pointed at; `None` breaks it."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(x),
        "y": list(y),
        "line": {"color": colour(token), "width": width, "dash": dash},
        "hoverinfo": "skip",
        **more,
    }


def band(x: Sequence[Any], low: Sequence[float], high: Sequence[float], token: str, **more: Any) -> dict[str, Any]:
    """Return a filled band between two lines over the same x."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [*x, *reversed(x)],
        "y": [*high, *reversed(low)],
        "fill": "toself",
        "fillcolor": colour(token),
        "line": {"width": 0, "color": colour(token)},
        "hoverinfo": "skip",
        **more,
    }


MARKERS: Final[dict[Phase, dict[str, Any]]] = {
    "as_found": {
        "symbol": "circle",
        "size": 10,
        "color": colour("sheet"),
        "line": {"width": 1.8, "color": colour("ink")},
    },
    "as_left": {"symbol": "circle", "size": 10, "color": colour("ink"), "line": {"width": 1.6, "color": colour("ink")}},
    "interim": {
        "symbol": "circle",
        "size": 10,
        "color": colour("sheet"),
        "line": {"width": 1.8, "color": colour("ink")},
    },
    "hot": {
        "symbol": "diamond",
        "size": 10,
        "color": colour("sheet"),
        "line": {"width": 1.8, "color": colour("accent")},
    },
}
"""Open ring, filled disc, half disc (with `half_disc`), open diamond in the accent."""


def half_disc(x: Any, y: float, *, yref: str = "y") -> dict[str, Any]:
    """Return the filled left half that makes a ring a half disc."""
    return {
        "type": "path",
        "xref": "x",
        "yref": yref,
        "xsizemode": "pixel",
        "ysizemode": "pixel",
        "xanchor": x,
        "yanchor": y,
        "path": "M0,5 C-6.67,5 -6.67,-5 0,-5 Z",
        "fillcolor": colour("ink"),
        "line": {"width": 0},
        "layer": "above",
    }
