"""The plan on one time axis: when each line is over, which stops there are, and where its visit lies."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from dashboard.address import Address, href
from dashboard.components import light, marks, strip
from dashboard.components.light import Element
from dashboard.pages.outages_address import OutagesAsked
from dashboard.pages.outages_groups import Group, groups, stop_of
from fleet import words
from fleet.reports import plan_words as said
from fleet.reports.plan_content import PlanContent, PlanRow, Stop
from fleet.services.fleet_page import OutageMark
from fleet.values import Status
from fleet.words import NBSP

_LOOK_BACK: Final = timedelta(days=45)
_LEAST_MONTHS: Final = 15
_LEAST_APART: Final = 7.0
_PHONE_APART: Final = 17.0
"""Per cent of the axis that two days above it need between them, at the desk and on a phone."""


@dataclass(frozen=True, slots=True)
class Dates:
    """What the strip of a line draws; the deviation is None where no chance can be given, else not drawn."""

    line: str
    site: str | None
    status: Status
    deviation_um: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None


def time_view(plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return every line's over-by range against the stops that serve it, its visit marked.

    Parameters
    ----------
    plan
        The plan in view.
    shown
        The question, for the page of lines.
    address
        The reader's unit.
    """
    axis = axis_of(plan)
    body: list[Any] = []
    for group in groups(plan, shown):
        if group.name:
            body.append(light.H2(group.name, className="pl-site"))
        rows = [_row(plan, row, group, axis, address) for row in group.rows]
        body.append(light.Div([_head(plan, group, axis), light.Ul(rows, className="pt-rows")], className="sheet ptime"))
    return [
        *body,
        marks.key(
            ("k-over", "over by: chance of having passed the limit grows from 10 % to 90 %, mark at 50 %"),
            ("k-outage", "a stop that serves the line"),
            ("k-visit", "the planned visit"),
            ("pinm", "pinned by hand"),
        ),
    ]


def axis_of(plan: PlanContent) -> strip.TimeAxis:
    """Return the axis: from a month before as-of to the month after the last stop, fifteen months at least."""
    back = plan.as_of - _LOOK_BACK
    first = back.year * 12 + back.month - 1
    ends = [_last(stop) for stop in plan.stops]
    last = max([first + _LEAST_MONTHS, *(day.year * 12 + day.month for day in ends)])
    return strip.TimeAxis(date(back.year, back.month, 1), date(last // 12, last % 12 + 1, 1), plan.as_of)


def _last(stop: Stop) -> date:
    return said.last_day(stop.starts_at, stop.ends_at or stop.starts_at) if stop.whole_days else _end(stop).date()


def _end(stop: Stop) -> datetime:
    return stop.ends_at or stop.starts_at


def _mark(stop: Stop) -> OutageMark:
    # A stop that ends at midnight does not reach into the day that begins then.
    ends = _end(stop) - timedelta(days=1) if stop.whole_days and _end(stop) > stop.starts_at else _end(stop)
    return OutageMark(stop.code, stop.code, stop.site, stop.line, stop.starts_at, ends, stop.crew_hours)


def _head(plan: PlanContent, group: Group, axis: strip.TimeAxis) -> Element:
    """Return the months, today, and the stops' days where they do not cover one another."""
    parts: list[Any] = []
    taken, taken_phone = -_LEAST_APART, -_PHONE_APART
    for number in group.stops:
        stop = plan.stops[number]
        at = axis.at(stop.starts_at.date())
        if not 0 <= at <= 100 - _LEAST_APART or at - taken < _LEAST_APART:
            continue
        taken = at
        phone = at <= 100 - _PHONE_APART and at - taken_phone >= _PHONE_APART
        taken_phone = at if phone else taken_phone
        day = NBSP.join(words.day(stop.starts_at).split(NBSP)[:2])
        name = "pt-stop" if phone else "pt-stop wide-only"
        parts.append(light.Span(day, className=name, style={"left": f"{at:.2f}%"}, title=stop.code))
    months = []
    count = (axis.end.year - axis.start.year) * 12 + axis.end.month - axis.start.month
    step = 3 if count <= 2 * _LEAST_MONTHS else 12
    for number in range(count):
        whole = axis.start.year * 12 + axis.start.month - 1 + number
        first = date(whole // 12, whole % 12 + 1, 1)
        if (first.month - 1) % step == 0:
            text = str(first.year) if first.month == 1 else words.month_of_year(first)
            months.append(light.Span(text, className="mo", style={"left": f"{axis.at(first):.2f}%"}))
    today = light.Span("today", className="nowl", style={"left": f"{axis.at(axis.today):.2f}%"})
    return light.Div(
        [
            light.Div("Status, line and visit", className="pt-what note"),
            light.Div([light.Div(parts, className="pt-lane"), light.Div([*months, today], className="mos")]),
        ],
        className="pt-head",
    )


def _row(plan: PlanContent, row: PlanRow, group: Group, axis: strip.TimeAxis, address: Address) -> Element:
    line = href(Address(page="line", code=row.line, unit=address.unit, station=row.station, axis=row.axis))
    visit = stop_of(plan, row)
    serving = tuple(
        _mark(plan.stops[number]) for number in group.stops if row.choices[number].closed != "serves_others"
    )
    # A range that begins after the plan's end is beyond what the plan looks at: no date before that end.
    within = row.over_p10 is not None and row.over_p10 <= plan.end_on
    dates = Dates(
        line=row.line,
        site=row.site,
        status=row.status,
        deviation_um=0.0 if row.chance_now is not None else None,
        over_p10=row.over_p10 if within else None,
        over_p50=row.over_p50 if within else None,
        over_p90=row.over_p90 if within else None,
    )
    also, drawn = "no visit planned", []
    words_beside: list[Any] = [light.Small("no visit")]
    if visit is not None:
        stop = visit[0]
        hand = row.pin == "into"
        left, right = axis.at(stop.starts_at.date()), axis.at(_last(stop) + timedelta(days=1))
        mark = [light.I(className="pinm")] if hand else []
        drawn = [
            light.Span(
                mark, className="pt-visit", style={"left": f"{left:.2f}%", "width": f"{max(right - left, 0.6):.2f}%"}
            )
        ]
        also = f"visit planned in {stop.code}, {said.stop_dates(stop)}{', pinned by hand' if hand else ''}"
        words_beside = [
            light.Small([light.I(className="pinm") if hand else "", light.B(stop.code), f", {said.before(row)}"])
        ]
    told = f"; {also}".replace(NBSP, " ")
    pictured = strip.strip(dates, axis, serving, plan.end_on, drawn=drawn, also=told)
    return light.Li(
        [
            light.Div(
                [
                    light.Span(row.status, className=f"st {marks.status_class(row.status)}"),
                    light.Link(row.line, href=line, className="ln"),
                    light.Span(words_beside, className="pt-said"),
                ],
                className="pt-what",
            ),
            pictured,
        ]
    )
