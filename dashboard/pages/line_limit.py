"""A line's limits: what holds and what held, the places without one, and a form that sets a new one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import numbers
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from fleet import words
from fleet.services.limits import SHARES, LimitRow, LimitsView, clearance_at
from fleet.services.line_page import LineView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

WHERE: Final = "limit-where"
AXIS: Final = "limit-axis"
SHARE: Final = "limit-share"
LIMIT: Final = "limit-limit"
WATCH: Final = "limit-watch"
WITHIN: Final = "limit-within"
FROM: Final = "limit-from"
BASIS: Final = "limit-basis"
BY: Final = "limit-by"
SET: Final = "limit-set"
SAID: Final = "limit-said"
AXES_TYPED: Final[dict[str, tuple[Axis, ...]]] = {
    "": AXES,
    "both": AXES,
    "vertical": ("v",),
    "v": ("v",),
    "horizontal": ("h",),
    "h": ("h",),
}
"""What may be typed for an axis; nothing is both."""
_STANDING: Final = {"in force": "in force", "to come": "to come", "followed by another": "held until the next"}


def notice(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return what stands under the lead of a line that has stations without a limit, with the way to set one."""
    limits = view.limits
    if limits is None or not limits.missing or not limits.stations:
        return []
    every = len(limits.missing) == 2 * len(limits.stations)
    title = "No limit to judge it by" if every else "Some places have no limit"
    said = f"{view.line} has no limit recorded, so nothing can be called over or within." if every else _missing(limits)
    return [
        html.Section(
            [
                html.H2(title, className="say-head"),
                html.P([f"{said} ", clearance(limits, unit), " ", html.A("Set a limit", href="#limits"), "."]),
            ],
            className="say slip noprint",
        )
    ]


def _missing(limits: LimitsView) -> str:
    by_axis = {axis: [station for station, other in limits.missing if other == axis] for axis in AXES}
    said = [
        f"{numbers.AXIS_WORDS[axis]} at {'every station' if len(codes) == len(limits.stations) else ', '.join(codes)}"
        for axis, codes in by_axis.items()
        if codes
    ]
    return f"No limit is recorded {' and '.join(said)}: nothing can be called over or within there."


def clearance(limits: LimitsView, unit: ReaderUnit) -> str:
    """Say what a limit may be taken from: the screw's radial clearance, and shares of it."""
    if limits.clearance_um is None or limits.screw_diameter_mm is None:
        return "The screw’s diameter is not recorded, so its clearance cannot be given as a measure."
    shares = ", ".join(
        f"{100 * share:g}{NBSP}% of it {words.figure(limits.clearance_um * share, unit, fine=True)}{NBSP}{unit}"
        for share in SHARES
        if share < 1.0
    )
    whole = f"{words.figure(limits.clearance_um, unit, fine=True)}{NBSP}{unit}"
    return (
        f"A new screw of {numbers.diameter(limits.screw_diameter_mm)} has a radial clearance of about {whole} (a "
        f"thousandth of its diameter, a rule of thumb); {shares}. Which share holds is for the plant to say."
    )


def section(view: LineView, address: Address) -> list[Any]:
    """Return the section of limits; nothing for a line without stations, which has nothing to be judged."""
    limits, unit = view.limits, address.unit
    if limits is None or not limits.stations:
        return []
    links = html.Div(table_links("line-limits", address, "every limit of this line"), className="under-table")
    form = _form(limits, unit)
    name = "Set a new limit" if limits.rows else "Set a limit"
    return [
        html.Section(
            [
                html.H2("Limits", id="limits"),
                html.P(
                    "Every visit is judged by the limit of its own day; over means more than the limit, not equal to "
                    "it. A new limit holds from its day on, and what was judged before stays judged.",
                    className="dim fact",
                ),
                *([_table(limits, unit), _list(limits, unit), links] if limits.rows else []),
                html.Details([html.Summary(name), form], className="astable noprint", open=bool(limits.missing)),
            ],
            className="sheet pad",
            style={"marginTop": "24px"},
        )
    ]


def _where(row: LimitRow) -> str:
    return f"station {row.station}" if row.station else "whole line"


def _since(row: LimitRow) -> str:
    return words.day(row.from_on) if row.from_on else "always"


def _width(um: float | None, unit: ReaderUnit) -> str:
    return "–" if um is None else words.figure(um, unit, fine=True)


def _table(limits: LimitsView, unit: ReaderUnit) -> html.Table:
    heads = (
        "From",
        "Where",
        "Axis",
        f"Limit, {unit}, either side",
        f"Watch, {unit}",
        f"Set within, {unit}",
        "Where it comes from",
        "Today",
    )
    rows = [
        html.Tr(
            [
                html.Td(_since(row), className="num"),
                html.Td(_where(row), className="num"),
                html.Td(numbers.AXIS_WORDS[row.axis]),
                html.Td(html.B(_width(row.limit_um, unit)), className="num"),
                html.Td(_width(row.watch_um, unit), className="num"),
                html.Td(_width(row.set_within_um, unit), className="num"),
                html.Td(row.basis or "not recorded"),
                html.Td(_STANDING[row.standing]),
            ]
        )
        for row in limits.rows
    ]
    return html.Table(
        [html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)], className="tbl wide-only lim"
    )


def _list(limits: LimitsView, unit: ReaderUnit) -> html.Ul:
    entries = []
    for row in limits.rows:
        small = [f"from {_since(row)}" if row.from_on else "always", _STANDING[row.standing]]
        if row.watch_um is not None:
            small.append(f"watch {_width(row.watch_um, unit)}{NBSP}{unit}")
        if row.set_within_um is not None:
            small.append(f"set within {_width(row.set_within_um, unit)}{NBSP}{unit}")
        small.append(row.basis or "where it comes from is not recorded")
        entries.append(
            html.Li(
                [
                    html.B(f"{_width(row.limit_um, unit)}{NBSP}{unit} either side"),
                    f", {_where(row)}, {numbers.AXIS_WORDS[row.axis]}",
                    html.Small(" · ".join(small)),
                ]
            )
        )
    return html.Ul(entries, className="narrow-only ivp flat lim")


def _text(name: str, label: str, *, wide: bool = False, **more: Any) -> html.Label:
    return html.Label(
        [label, dcc.Input(id=name, type="text", autoComplete="off", **more)], className="fld grow" if wide else "fld"
    )


def _offered(name: str, label: str, values: Sequence[str]) -> html.Label:
    """Return a field with its usual values at hand: the browser's own list, which keyboard and screen reader know."""
    known = f"{name}-known"
    return html.Label(
        [
            label,
            dcc.Input(id=name, type="text", autoComplete="off", list=known),
            html.Datalist([html.Option(value=value) for value in values], id=known),
        ],
        className="fld",
    )


def _form(limits: LimitsView, unit: ReaderUnit) -> html.Div:
    share = [_text(SHARE, "Share of the clearance, %", debounce=True)] if limits.clearance_um else []
    return html.Div(
        [
            html.P(clearance(limits, unit), className="fact"),
            html.Div(
                [
                    _offered(WHERE, "Station (empty: the whole line)", limits.stations),
                    _offered(AXIS, "Axis (empty: both)", ("both", "vertical", "horizontal")),
                    *share,
                    _text(LIMIT, f"Limit to either side of the target, {unit}"),
                    _text(WATCH, f"Watch width, {unit} (empty: half the limit)"),
                    _text(WITHIN, f"Set within, {unit} (may be empty)"),
                    _text(FROM, f"From the day ({'empty: always' if not limits.rows else 'as 2026-12-01'})"),
                ],
                className="flds",
            ),
            html.Div(
                [
                    _text(BASIS, "Where it comes from", wide=True),
                    html.Label(
                        ["Your name (kept as typed, not verified)", dcc.Input(id=BY, type="text", autoComplete="name")],
                        className="fld",
                    ),
                ],
                className="flds",
            ),
            html.Div(
                [
                    html.Button("Set the limit", id=SET, className="btn main", type="button"),
                    html.Div(id=SAID, className="form-said", role="status", **aria(live="polite")),
                ],
                className="acts",
            ),
        ],
        className="lform",
    )


def worked_out(share: str | None, screw_diameter_mm: float | None, unit: ReaderUnit) -> tuple[str, str]:
    """Return limit and grounds for a share typed in per cent of a new screw's clearance; empty texts where none is."""
    typed = (share or "").strip().rstrip("%").strip().replace(",", ".")
    if screw_diameter_mm is None or not typed.isascii() or not typed.replace(".", "", 1).isdigit():
        return "", ""
    um = clearance_at(screw_diameter_mm, float(typed) / 100.0)
    grounds = (
        f"{typed} % of the radial clearance of a new {screw_diameter_mm:g} mm screw, a thousandth of its diameter "
        "(rule of thumb)"
    )
    return words.figure(um, unit, fine=True), grounds
