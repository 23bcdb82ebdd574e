"""The Fleet row's own pictures: when the limit is passed against the outages, and the share of the limit used.

Plain HTML, placed in per cent, so that a page of fifty rows is drawn at once and needs no chart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, Protocol

from dashboard.components import light
from dashboard.components.aria import aria
from dashboard.components.light import Element
from dashboard.components.marks import status_class
from fleet import words
from fleet.services.fleet_page import FleetRow, OutageMark
from fleet.values import Status

MONTHS_SHOWN: Final = 15
_LOOK_BACK: Final = timedelta(days=45)
SHARE_SHOWN: Final = 1.5
"""The share column runs from nothing to one and a half times the limit."""


class OverBy(Protocol):
    """A line as far as its strip draws it: the days its chance reaches 10, 50, 90 %, as a row of Fleet has them."""

    @property
    def line(self) -> str: ...
    @property
    def site(self) -> str | None: ...
    @property
    def status(self) -> Status: ...
    @property
    def deviation_um(self) -> float | None: ...
    @property
    def over_p10(self) -> date | None: ...
    @property
    def over_p50(self) -> date | None: ...
    @property
    def over_p90(self) -> date | None: ...


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """The stretch of days that all strips of a page share."""

    start: date
    end: date
    today: date

    def at(self, day: date) -> float:
        """Return where a day lies, in per cent of the strip's width; beyond the ends below 0 and above 100."""
        return 100.0 * (day - self.start).days / (self.end - self.start).days


def time_axis(as_of: date) -> TimeAxis:
    """Return the axis for a day: from the beginning of a month a little before it, fifteen months on."""
    back = as_of - _LOOK_BACK
    months = back.year * 12 + back.month - 1 + MONTHS_SHOWN
    return TimeAxis(date(back.year, back.month, 1), date(months // 12, months % 12 + 1, 1), as_of)


def serves(outage: OutageMark, line: str, site: str | None) -> bool:
    """Return whether a line can be realigned in an outage: its own, its site's, or one that names neither."""
    if outage.line is not None:
        return outage.line == line
    return outage.site is None or outage.site == site


def said(row: OverBy, horizon: date, as_of: date) -> str:
    """Return the dates of one row in words, as they stand above the bar."""
    if row.status == "no record" or row.deviation_um is None:
        return "no record, so no date"
    if row.over_p10 is None:
        return f"no date before {words.month(horizon)}"
    if row.over_p90 is None:
        return f"from {words.month(row.over_p10)}, no end before {words.month(horizon)}"
    if row.over_p90 <= as_of:
        return f"probably over since {words.month(row.over_p50 or row.over_p90)}"
    first, last = words.month(row.over_p10), words.month(row.over_p90)
    return first if first == last else f"{first} – {last}"


def earliest(row: OverBy, horizon: date) -> str:
    """Return the earliest date of a row that needs no strip: 'from Aug 2027'."""
    return f"no date before {words.month(horizon)}" if row.over_p10 is None else f"from {words.month(row.over_p10)}"


def label(row: OverBy, horizon: date, as_of: date) -> str:
    """Return what a screen reader is told of a strip: the three dates."""
    if row.over_p10 is None:
        return f"{row.line}: {said(row, horizon, as_of)}"
    parts = [
        f"{share} % by {words.month(day)}" if day else f"{share} % not before {words.month(horizon)}"
        for share, day in ((10, row.over_p10), (50, row.over_p50), (90, row.over_p90))
    ]
    return f"{row.line}, chance of having passed the limit: {', '.join(parts)}".replace(words.NBSP, " ")


def strip(
    row: OverBy,
    axis: TimeAxis,
    outages: tuple[OutageMark, ...],
    horizon: date,
    *,
    drawn: Sequence[Element] = (),
    also: str = "",
) -> Element:
    """Return the strip of one row: its outages, today, the over-by range and its dates in words.

    Parameters
    ----------
    row
        The line.
    axis
        Where a day lies.
    outages
        All in view; those that serve the line are drawn.
    horizon
        The day beyond which no date is given.
    drawn, also
        What a page draws over the outages, and what a screen reader is told of it.
    """
    parts: list[Any] = []
    for outage in outages:
        left, right = axis.at(outage.starts_at.date()), axis.at(outage.ends_at.date() + timedelta(days=1))
        if serves(outage, row.line, row.site) and right > 0 and left < 100:
            parts.append(
                light.I(
                    className="oc",
                    title=outage.kind or outage.code,
                    style={"left": f"{left:.2f}%", "width": f"{right - left:.2f}%"},
                )
            )
    parts += [*drawn, light.I(className="now", style={"left": f"{axis.at(axis.today):.2f}%"})]
    kind = status_class(row.status)
    text = said(row, horizon, axis.today)
    style: dict[str, str] = {"right": "5px"}
    quiet = True
    if row.status == "no record" or row.deviation_um is None:
        style = {"left": f"{axis.at(axis.today) + 1.3:.2f}%"}
    elif row.over_p10 is not None and (left := axis.at(row.over_p10)) < 100:
        quiet = False
        right = axis.at(row.over_p90 or horizon)
        parts.append(light.I(className=f"rg {kind}", style={"left": f"{left:.2f}%", "width": f"{right - left:.2f}%"}))
        if row.over_p50 is not None and 0 < axis.at(row.over_p50) < 100 and right > axis.at(axis.today):
            parts.append(light.I(className=f"md {kind}", style={"left": f"{axis.at(row.over_p50):.2f}%"}))
        # A label that begins too far right would be cut off at the strip's end.
        style = {"left": f"{max(left, 0.8):.2f}%"} if left < 58 and row.over_p90 is not None else {"right": "5px"}
    parts.append(light.Span(text, className=f"lab {'none' if quiet else 'bg'}", style=style))
    return light.Div(parts, className="strip", role="img", **aria(label=label(row, horizon, axis.today) + also))


def share_of_limit(row: FleetRow) -> Element:
    """Return the share of the limit that the deviation expected today uses, with its 95 % range."""
    if row.deviation_um is None or not row.limit_um:
        return light.Div([light.B("", className="num"), light.Div(className="share empty")], className="shf")
    share = abs(row.deviation_um) / row.limit_um
    spread = (row.u95_deviation_um or 0.0) / row.limit_um
    low, high = max(share - spread, 0.0), min(share + spread, SHARE_SHOWN)
    drawn = min(share, SHARE_SHOWN)
    marks: list[Any] = []
    if row.watch_um is not None:
        marks.append(light.I(className="wt", style={"left": _share(row.watch_um / row.limit_um)}))
    marks += [
        light.I(className="wk", style={"left": _share(low), "width": _share(max(high - low, 0.0))}),
        light.I(className=f"pt {status_class(row.status)}", style={"left": _share(drawn)}),
    ]
    return light.Div(
        [
            light.B(f"{share * 100:.0f}{words.NBSP}%", className=f"num{' hot' if share > 1 else ''}"),
            light.Div(marks, className="share", **aria(hidden="true")),
        ],
        className="shf",
    )


def _share(value: float) -> str:
    return f"{100 * value / SHARE_SHOWN:.1f}%"
