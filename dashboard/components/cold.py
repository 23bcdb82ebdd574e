"""What both readings of the cold offsets share: names of the ways, the switch between the readings, shares, spreads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers
from dashboard.components.aria import aria
from fleet import words
from fleet.services.cold_offset_groups import BINS, SHOWN_SHARE, Group, Share, Spread, Way, WayInGroup
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

ORDER: Final[tuple[Way, ...]] = ("own_record", "pooled", "heat_model", "bore_size", "none")
"""From what knows most of the line to what knows nothing of it: how tables list the ways."""
OF_FLEET: Final[dict[Way, tuple[str, str]]] = {
    "own_record": ("Each line’s own checks", "leaving out the check that is judged"),
    "pooled": ("Comparable lines", "measured over modelled rise, same saddle and size"),
    "heat_model": ("Heat model", "barrel, base and gearbox axis"),
    "bore_size": ("By bore size", "trade’s rule of thumb"),
    "none": ("No offset", "set it to the axis"),
}
CHOOSING: Final[dict[Way, str]] = {
    "own_record": "each line’s own checks",
    "pooled": "comparable lines’ checks",
    "heat_model": "the heat model",
    "bore_size": "the rule by bore size",
    "none": "no offset",
}
"""The ways as running text names them."""
SHORT: Final[dict[Way, str]] = {
    "own_record": "own checks",
    "pooled": "comparable lines",
    "heat_model": "heat model",
    "bore_size": "bore size",
    "none": "no offset",
}
RAN: Final[dict[Axis, tuple[str, str]]] = {"v": ("ran low", "ran high"), "h": ("ran left", "ran right")}


def switch(address: Address, line: str | None) -> html.Nav:
    """Return the switch between the two readings; `line` is the one to read by, None where there is none."""
    by_line = replace(address, page="cold-offsets", code=line)
    by_way = replace(address, page="cold-offsets", code=None, station=None, beside=line)
    entries: list[Any] = []
    for text, to, here in (("By line", by_line, address.code), ("By way of choosing", by_way, address.code is None)):
        if here:
            entries.append(html.Span(text, className="on", **aria(current="page")))
        elif to is by_way or line is not None:
            entries.append(dcc.Link(text, href=href(to)))
    return html.Nav(entries, className="read", **aria(label="Direction of reading"))


def bias(way: WayInGroup, axis: Axis, unit: ReaderUnit) -> list[Any]:
    """Return where the runs lay on average, to a place more than a run is shown: '0.018 high ± 0.004'."""
    if way.bias_um is None:
        return [html.Span("–", className="dim3")]
    said = words.said(way.bias_um, axis, "running", unit, fine=True, with_unit=False)
    return [html.Span(said, className="num"), *spread(way.u95_bias_um, unit)]


def rms(way: WayInGroup, unit: ReaderUnit) -> list[Any]:
    """Return how far off the runs were, the figure bold: '0.018 ± 0.003'; a dash where unknown."""
    if way.rms_um is None:
        return [html.Span("–", className="dim3")]
    return [html.B(words.figure(way.rms_um, unit, fine=True)), *spread(way.u95_rms_um, unit)]


def spread(u95_um: float | None, unit: ReaderUnit) -> list[Any]:
    """Return the expanded uncertainty of a figure over many runs, in the quieter ink."""
    if u95_um is None:
        return []
    return [" ", html.Span(words.plus_minus(u95_um, unit, fine=True), className="u num")]


def share(value: Share | None) -> list[Any]:
    """Return a share of runs with its 95 % range beneath; a dash where no tolerance is recorded."""
    if value is None:
        return [html.Span("–", className="dim3", title="no tolerance recorded")]
    return [html.Span(percent(value.share), className="num"), html.Small(span(value), className="num u")]


def span(value: Share) -> str:
    """Return the 95 % range of a share: '96–100 %'."""
    low, high = percent(value.low), percent(value.high)
    return low if low == high else f"{low.removesuffix(f'{NBSP}%')}–{high}"


def percent(value: float) -> str:
    """Return a share in whole per cent, never rounded up to all nor down to none."""
    whole = int(Decimal(repr(float(value))).scaleb(2).quantize(Decimal(1), rounding=ROUND_HALF_UP))
    if whole == 100 and value < 1.0:
        whole = 99
    if whole == 0 and value > 0.0:
        whole = 1
    return f"{whole}{NBSP}%"


def tag(group: Group, way: Way) -> list[Any]:
    """Return the word beside a way's name: closest, or as good where it cannot be told from it."""
    if way == group.closest:
        return [" ", html.Span("closest", className="tag")]
    return [" ", html.Span("as good", className="tag soft")] if way in group.as_good else []


def checks(number: int) -> str:
    """Return '75 checks', '1 check'."""
    return f"{numbers.grouped(number)}{NBSP}{'check' if number == 1 else 'checks'}"


def lines(number: int) -> str:
    """Return '8 lines', '1 line'."""
    return f"{numbers.grouped(number)}{NBSP}{'line' if number == 1 else 'lines'}"


def inside(way: WayInGroup, *, ranges: bool = False) -> list[Any]:
    """Return 'in watch 83 % · in limit 95 %', with their 95 % ranges where asked for."""
    parts: list[Any] = []
    for word, value in (("watch", way.within_watch), ("limit", way.within_limit)):
        if value is not None:
            parts += [" · "] if parts else []
            parts += [f"in {word} ", html.B(percent(value.share), className="num")]
            parts += [html.Span(f" ({span(value)})", className="u num")] if ranges else []
    return parts


def capital(text: str) -> str:
    """Return a text with a capital first letter."""
    return text[:1].upper() + text[1:]


def joined(names: Sequence[str], word: str = "and") -> str:
    """Return 'a', 'a and b', 'a, b and c'."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"


def spread_strip(spread: Spread, axis: Axis) -> html.Div:
    """Return where a way would have let the runs come out, counted along the corridor between both limits."""
    most = max(spread.counts, default=0)
    if not most:
        return html.Div(html.Span("no limit to judge by", className="dim3"), className="wstrip sp")
    bars = "".join(
        f"<rect x='{k}' y='{54 - 34 * count / most:.1f}' width='.8' height='{34 * count / most:.1f}'/>"
        for k, count in enumerate(spread.counts)
        if count
    )
    svg = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {BINS} 54' preserveAspectRatio='none'>{bars}</svg>"
    image = f'url("data:image/svg+xml,{quote(svg)}")'
    parts: list[Any] = [
        html.I(className="co", style={"left": f"{_at(-1.0):.2f}%", "width": f"{_at(1.0) - _at(-1.0):.2f}%"}),
        html.I(className="bars", style={"maskImage": image, "WebkitMaskImage": image}),
        *(html.I(className="li", style={"left": f"{_at(side):.2f}%"}) for side in (-1.0, 1.0)),
        html.I(className="ax", style={"left": f"{_at(0.0):.2f}%"}),
    ]
    for count, end in ((spread.below, "l"), (spread.above, "r")):
        if count:
            parts.append(html.Span(f"{numbers.grouped(count)} beyond", className=f"bey {end}"))
    if spread.mean is not None:
        parts.append(html.I(className="me", style={"left": f"{min(max(_at(spread.mean), 0.5), 99.5):.2f}%"}))
    return html.Div(parts, className="wstrip sp", role="img", **aria(label=_spread_words(spread, axis)))


def _spread_words(spread: Spread, axis: Axis) -> str:
    total = sum(spread.counts) + spread.below + spread.above
    step = 2.0 * SHOWN_SHARE / BINS
    middles = [-SHOWN_SHARE + (k + 0.5) * step for k in range(BINS)]
    low = spread.below + sum(n for n, at in zip(spread.counts, middles, strict=True) if at < -1.0)
    high = spread.above + sum(n for n, at in zip(spread.counts, middles, strict=True) if at > 1.0)
    less, more = RAN[axis]
    return f"{total} values: about {total - low - high} within the limit, {low} {less} past it, {high} {more} past it"


def spread_head(axis: Axis) -> html.Div:
    """Return the words over the strips: the ends, both limits, the axis."""
    low, high = RAN[axis]
    parts = [
        html.Span(low, className="e0"),
        html.Span(high, className="e1"),
        *(html.Span("limit", className="s k", style={"left": f"{_at(side):.2f}%"}) for side in (-1.0, 1.0)),
        html.Span("axis", className="s k", style={"left": f"{_at(0.0):.2f}%"}),
    ]
    return html.Div(parts, className="whead", **aria(hidden="true"))


def _at(share_of_limit: float) -> float:
    return 100.0 * (share_of_limit + SHOWN_SHARE) / (2.0 * SHOWN_SHARE)
