"""Compare's own pictures: a rate with its interval on a scale that all rows share.

Plain HTML, placed in per cent, as on Fleet: a page of fifty rows is drawn at once and needs no chart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dash import html

from dashboard.components import numbers
from dashboard.components.aria import aria
from dashboard.figures.frame import ticks
from fleet.services.compare import Change, Ranked
from fleet.values import Axis
from fleet.words import ReaderUnit

_MARGIN: Final = 0.03
ENDS: Final[dict[Axis, tuple[str, str]]] = {"v": ("lower", "higher"), "h": ("to the left", "to the right")}
"""Words at the left and the right end of a scale of rates."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A stretch of rates, um per year, that rows share; `ticks` are in the reader's unit."""

    low_um: float
    high_um: float
    unit: ReaderUnit

    def at(self, um: float) -> float:
        """Return where a rate lies, in per cent of the width, kept within it."""
        return min(max(100.0 * (um - self.low_um) / (self.high_um - self.low_um), 0.0), 100.0)

    def holds(self, um: float) -> bool:
        """Return whether a rate lies on the scale."""
        return self.low_um <= um <= self.high_um

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Return the place in per cent and the unsigned figure of every tick."""
        per = 1000.0 if self.unit == "mm" else 25.4
        values, texts = ticks(self.low_um / per, self.high_um / per, most)
        return [(self.at(value * per), text) for value, text in zip(values, texts, strict=True)]


def scale(low_um: float, high_um: float, unit: ReaderUnit) -> Scale:
    """Return the scale that holds two rates with a little room; never without extent."""
    extent = max(high_um - low_um, 1.0)
    return Scale(low_um - _MARGIN * extent, high_um + _MARGIN * extent, unit)


def scale_of(values: Sequence[float | None], unit: ReaderUnit) -> Scale:
    """Return the scale that holds zero and all known values."""
    known = [0.0, *(value for value in values if value is not None)]
    return scale(min(known), max(known), unit)


def head(on: Scale, axis: Axis, fleet_um: float | None = None, *, most: int = 6, phone: bool = False) -> html.Div:
    """Return the scale above the rows: figures, the fleet's mean, words at both ends (a phone has no room for them)."""
    parts: list[Any] = [
        html.Span(text, className="q" if text != "0" else "q z", style={"left": f"{place:.2f}%"})
        for place, text in on.ticks(most)
    ]
    if not phone:
        parts += [html.Span(ENDS[axis][0], className="e0"), html.Span(ENDS[axis][1], className="e1")]
    if fleet_um is not None:
        edge = 22.0 if phone else 9.0
        place = min(max(on.at(fleet_um), edge), 100.0 - edge)
        parts.append(
            html.Span(f"fleet {numbers.rate(fleet_um, axis, on.unit, with_unit=False)}", className="k",
                      style={"left": f"{place:.2f}%"})
        )  # fmt: skip
    label = f"Scale of drift, {on.unit} a year, from {ENDS[axis][0]} to {ENDS[axis][1]}"
    return html.Div(parts, className="rhead", role="group", **aria(label=label))


def _grid(on: Scale, most: int) -> list[Any]:
    return [
        html.I(className="g0" if text == "0" else "g", style={"left": f"{place:.2f}%"})
        for place, text in on.ticks(most)
    ]


def _bar(on: Scale, rate_um: float, u95_um: float, kind: str) -> list[Any]:
    low, high = on.at(rate_um - u95_um), on.at(rate_um + u95_um)
    return [
        html.I(className=f"br {kind}", style={"left": f"{low:.2f}%", "width": f"{max(high - low, 0.4):.2f}%"}),
        html.I(className=f"dc {kind}", style={"left": f"{on.at(rate_um):.2f}%"}),
    ]


def ranked_strip(row: Ranked, on: Scale, *, label: str, most: int = 6) -> html.Div:
    """Return one line's rate: disc and bar together, a cross for its own record, dots for how far it is drawn."""
    own, rate = on.at(row.own), on.at(row.rate)
    left, right = min(own, rate), max(own, rate)
    kind = "told" if row.told_apart else "same"
    parts = [
        *_grid(on, most),
        html.I(className="fl", style={"left": f"{on.at(row.fleet):.2f}%"}),
        html.I(className="dl", style={"left": f"{left:.2f}%", "width": f"{right - left:.2f}%"}),
        html.I(className="cr" if on.holds(row.own) else "cr out", style={"left": f"{own:.2f}%"}),
        *_bar(on, row.rate, row.u95_rate, kind),
    ]
    return html.Div(parts, className="rstrip", role="img", **aria(label=label))


def mean_strip(mean_um: float, u95_um: float, on: Scale, *, told: bool, most: int = 5) -> html.Div:
    """Return a mean with its interval; the numbers stand beside it."""
    bar = _bar(on, mean_um, u95_um, "told" if told else "same")
    return html.Div([*_grid(on, most), *bar], className="rstrip", **aria(hidden="true"))


def change_strip(change: Change, on: Scale, *, most: int = 5) -> html.Div:
    """Return a line before (ring) and after (disc) something happened; the numbers stand beside it."""
    parts: list[Any] = [*_grid(on, most)]
    for kind, rate, u95 in (
        ("bef", change.before, change.u95_before),
        ("aft", change.after, change.u95_after),
    ):
        if rate is not None and u95 is not None:
            parts += _bar(on, rate, u95, kind)
    sides = html.Div([html.Span("before"), html.Span("after")], className="sides")
    return html.Div([sides, html.Div(parts, className="rstrip two-rows")], className="bast", **aria(hidden="true"))
