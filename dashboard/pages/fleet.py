"""Fleet: which lines need us, and when?"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any
from urllib.parse import urlencode

from dash import html

from dashboard.address import Address, href
from dashboard.components import light, marks, notices, numbers, sentences, strip
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from dashboard.components.foot import foot
from dashboard.components.light import Element
from dashboard.components.pop import choice
from dashboard.components.rich import rich
from dashboard.pages import held
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.services import explaining
from fleet.services.fleet_page import FleetFilters, FleetRow, FleetView, OutageMark
from fleet.values import STATUSES
from fleet.words import NBSP, ReaderUnit

_LANES = 3
"""With more sites in view than this the header names no outages; each row still shows its own."""
_NEEDS_SOMEONE = ("over", "due", "watch")


def fleet_page(view: FleetView, address: Address) -> Shown:
    """Return the Fleet page for one selection.

    Parameters
    ----------
    view
        One page of the selected rows and what the filters can choose from.
    address
        The reader's unit and filters.
    """
    unit = address.unit
    title = "Which lines need us, and when?"
    if view.lines_in_store == 0:
        return Shown("Fleet", [*head(title, None), notices.empty_store(), foot(unit)])
    axis = strip.time_axis(view.as_of)
    older = [notices.older(view.as_of, failed=view.older.failed)] if view.older else []
    body: list[Any] = [*head(title, rich(sentences.fleet_lead(view)), acts=[_labels(view)]), *older]
    body.append(_filters(view, address))
    if not view.rows:
        every = href(replace(address, filters=FleetFilters()))
        body.append(notices.filtered_away(view.lines_in_store, every))
    else:
        shown = _outages_in_view(view)
        body += [
            _table(view, address, axis, shown),
            *_cards(view, address, axis, shown),
            *_pages(view, address),
            _key(),
        ]
    body.append(held.section(address))
    sides = {row.right_hand_side for row in view.rows if row.right_hand_side}
    last = (
        "Drift is against the gearbox axis. Dates are forecasts, not promises: no date is given beyond "
        f"{words.month(view.horizon)}."
    )
    body.append(foot(unit, sides.pop() if len(sides) == 1 else None, last))
    return Shown("Fleet", body)


def _to(address: Address, **changes: Any) -> str:
    """Return the address with some filters changed; a changed filter begins at its first page again."""
    return href(replace(address, filters=replace(address.filters, **{"page": 1, **changes})))


def _labels(view: FleetView) -> html.A:
    site = view.filters.site
    return html.A(
        "Labels",
        href="/labels/print" + (f"?{urlencode({'site': site})}" if site else ""),
        className="btn wide-only",
        target="_blank",
        title="a sheet of labels for the machines, each opening its line’s job sheet",
    )


def _filters(view: FleetView, address: Address) -> Element:
    chosen = view.filters
    name = view.site_names.get
    site = choice(
        "Site",
        "all" if chosen.site is None else name(chosen.site, chosen.site),
        [("all", _to(address, site=None)), *((name(code, code), _to(address, site=code)) for code in view.sites)],
    )
    chips = []
    for status in STATUSES:
        on = chosen.status == status
        chips.append(
            light.Link(
                [marks.status(status), light.B(str(view.counts.get(status, 0)))],
                href=_to(address, status=None if on else status),
                className="chip on" if on else "chip",
                title="shown alone; choose again for every status" if on else f"show only {status}",
            )
        )
    foundation = choice(
        "Foundation",
        chosen.foundation or "all",
        [("all", _to(address, foundation=None)), *((kind, _to(address, foundation=kind)) for kind in view.foundations)],
    )
    screw = choice(
        "Screw size",
        "all" if chosen.screw_diameter_mm is None else numbers.diameter(chosen.screw_diameter_mm),
        [
            ("all", _to(address, screw_diameter_mm=None)),
            *((numbers.diameter(size), _to(address, screw_diameter_mm=size)) for size in view.screw_diameters_mm),
        ],
    )
    made = view.refreshed_at
    state = f"State of {words.day(made)}, {made:%H:%M} {made.tzname() or ''}".strip()
    if view.older:
        state = f"State of {words.day(view.as_of)}"
    selection = replace(address, page="fleet", filters=replace(chosen, page=1))
    return light.Div(
        [
            site,
            light.Span(chips, className="chips", role="group", **aria(label="Status")),
            foundation,
            screw,
            light.Span(
                [
                    light.Span(state, className="dim mid"),
                    table_links("fleet", selection, "every selected line"),
                ],
                className="end",
            ),
        ],
        className="filters",
    )


def _outages_in_view(view: FleetView) -> tuple[OutageMark, ...]:
    """Return the planned outages that serve a row of this page."""
    return tuple(
        outage for outage in view.outages if any(strip.serves(outage, row.line, row.site) for row in view.rows)
    )


def _shared_stops(view: FleetView) -> tuple[str, str]:
    """Return the headers of both chance columns: the day where all rows have the same stop, else what it is."""
    marks_by_code = {outage.code: outage for outage in view.outages}
    headers: list[str] = []
    for name, otherwise in (("next_outage", "the next outage"), ("following_outage", "the one after")):
        codes = {getattr(row, name) for row in view.rows if row.status != "no record"}
        mark = marks_by_code.get(next(iter(codes)) or "") if len(codes) == 1 else None
        headers.append(numbers.day_of_year(mark.starts_at) if mark else otherwise)
    return headers[0], headers[1]


def _table(view: FleetView, address: Address, axis: strip.TimeAxis, outages: tuple[OutageMark, ...]) -> Element:
    widths = ("108px", "122px", "286px", "166px", "62px", "66px", "auto")
    first, second = _shared_stops(view)
    share_head = light.Th(
        [
            "Share of the limit",
            light.Span(
                [
                    light.I("watch", style={"left": "34%", "transform": "translateX(-78%)"}),
                    light.I("limit", className="k", style={"left": "66.67%", "transform": "translateX(-35%)"}),
                ],
                className="sca",
            ),
        ],
        className="shh",
        rowSpan=2,
    )
    header = light.Thead(
        [
            light.Tr(
                [
                    light.Th("Status", rowSpan=2),
                    light.Th("Line", rowSpan=2),
                    light.Th(f"Worst place: deviation expected today, {address.unit}", rowSpan=2),
                    share_head,
                    light.Th("Chance of being over before", colSpan=2, className="cho"),
                    light.Th(_axis_head(view, axis, outages), rowSpan=2, className="sx"),
                ]
            ),
            light.Tr([light.Th(first, className="r"), light.Th(second, className="r")]),
        ]
    )
    rows = [
        _row(row, view, address, axis, outages, last=following is None or following.status != row.status)
        for row, following in pairwise([*view.rows, None])
        if row is not None
    ]
    return light.Div(
        light.Table(
            [light.Colgroup([light.Col(style={"width": width}) for width in widths]), header, light.Tbody(rows)],
            className="tbl fleet",
        ),
        className="sheet wide-only",
    )


def _row(
    row: FleetRow,
    view: FleetView,
    address: Address,
    axis: strip.TimeAxis,
    outages: tuple[OutageMark, ...],
    *,
    last: bool,
) -> Element:
    return light.Tr(
        [
            light.Td(_status(row)),
            light.Td([_line_link(row, address), light.Small(describe(row), title=describe(row))]),
            light.Td(_worst(row, address.unit), className="dv"),
            light.Td(strip.share_of_limit(row), className="sh"),
            _chance(row.chance_next),
            _chance(row.chance_following),
            light.Td(strip.strip(row, axis, outages, view.horizon), className="sx"),
        ],
        className="e" if last else "",
    )


def _status(row: FleetRow) -> Element:
    return light.Span(row.status, className=f"st {marks.status_class(row.status)}")


def describe(row: FleetRow) -> str:
    """Return what kind of line a row is, in few words; the screw's size where the description does not name it."""
    size = numbers.diameter(row.screw_diameter_mm) if row.screw_diameter_mm else ""
    if row.description:
        named = not size or size.split(NBSP)[0] in row.description
        return row.description if named else f"{row.description}, {size}"
    return f"screw {size}" if size else (row.site or "")


def _line_link(row: FleetRow, address: Address) -> Element:
    return light.Link(row.line, href=href(Address(page="line", code=row.line, unit=address.unit)), className="ln")


def _worst(row: FleetRow, unit: ReaderUnit, *, with_unit: bool = False) -> list[Any]:
    """Return the worst place of a line: deviation expected today, what was measured when, and what that stands on."""
    if row.deviation_um is None or row.axis is None:
        small = f"commissioned {words.day(row.commissioned_on)}" if row.commissioned_on else (row.why or "")
        return [
            light.Span(row.why or "no survey yet", className="dim3"),
            light.Small(small if small != row.why else ""),
        ]
    word = words.direction(row.deviation_um, row.axis, "deviation", unit)
    side = numbers.right_word(word, row.right_hand_side)
    parts: list[Any] = [
        light.B(words.said(row.deviation_um, row.axis, "deviation", unit, with_unit=False), className="num")
    ]
    if side:
        parts += [" ", light.Small(side, className="ops")]
    parts += numbers.plus_minus(row.u95_deviation_um, unit)
    if with_unit:
        parts.append(f" {unit}")
    small = f"station {row.station}"
    if row.measured_deviation_um is not None:
        measured = numbers.short_of(row.measured_deviation_um, row.axis, unit)
        if with_unit and measured[0].isdigit():
            measured = measured.replace(NBSP, f"{NBSP}{unit}{NBSP}", 1)
        small += f" · measured {measured}"
        if row.measured_on:
            small += f", {words.day(row.measured_on)}"
    parts.append(light.Small(small))
    if row.evidence is not None and row.status != "within":
        # The limit and the dates are drawn beside it; the whole sentence stands on the line's own page.
        told = explaining.in_short(row.evidence, unit)
        parts.append(light.Small(told[:1].upper() + told[1:], className="why"))
    return parts


def _chance(value: float | None) -> Element:
    if value is None:
        return light.Td("–", className="r pc dim3")
    return light.Td(words.chance(value), className="r pc hot" if value >= 0.2 else "r pc")


def _name(outage: OutageMark) -> str:
    return outage.kind or outage.code


def _axis_head(
    view: FleetView, axis: strip.TimeAxis, outages: tuple[OutageMark, ...], *, phone: bool = False
) -> list[Any]:
    """Return the shared time axis above the strips: outages by name and day, one lane a site, months, today."""
    width = 350.0 if phone else 440.0
    sites = list(dict.fromkeys(row.site for row in view.rows))
    lanes: list[Any] = []
    if len(sites) <= (1 if phone else _LANES):
        for site in sites:
            lane = [outage for outage in outages if outage.line is None and outage.site in (None, site)]
            lanes.append(_lane(lane, axis, width, view.site_names.get(site or "", "") if len(sites) > 1 else "", phone))
    elif not phone:
        lanes.append(light.Div("columns: the outages of each line’s own site", className="note lane-note"))
    months: list[Any] = []
    for number in range(strip.MONTHS_SHOWN):
        count = axis.start.year * 12 + axis.start.month - 1 + number
        first = axis.start.replace(year=count // 12, month=count % 12 + 1)
        if first.month not in (1, 4, 7, 10):
            continue
        at = axis.at(first)
        if abs(at - axis.at(axis.today) + 1) < (9 if phone else 5):
            continue
        text = words.month(first) if first.month == 1 and not phone else words.month(first).split(NBSP)[0]
        months.append(light.Span(text, className="mo", style={"left": f"{at:.2f}%"}))
    today = light.Span("today", className="nowl", style={"left": f"{axis.at(axis.today):.2f}%"})
    return [*lanes, light.Div([*months, today], className="mos")]


def _lane(outages: list[OutageMark], axis: strip.TimeAxis, width_px: float, site: str, phone: bool) -> Element:
    """Return the outages of one site over the axis; one that would cover its neighbour is left to its column alone.

    With several sites a lane has the site's name and the days only, so that the nearest stops are not crowded out.
    """
    parts: list[Any] = [light.Span(site, className="lane-site")] if site else []
    lines: list[Any]
    taken = 0.0
    for outage in sorted(outages, key=lambda outage: outage.starts_at):
        middle = (axis.at(outage.starts_at.date()) + axis.at(outage.ends_at.date() + timedelta(days=1))) / 2
        if not 0 < middle < 100:
            continue
        hours = f"{outage.crew_hours:g}{NBSP}crew{NBSP}h" if outage.crew_hours is not None else ""
        when = numbers.span(outage.starts_at, outage.ends_at)
        day = numbers.day_of_year(outage.starts_at)
        name = light.B(_name(outage))
        if site:
            lines, longest = [light.B(when)], len(when)
        elif phone:
            lines, longest = [name, day], max(len(_name(outage)), len(day))
        else:
            lines = [name, when, *([light.Br(), hours] if hours else [])]
            longest = max(len(_name(outage)), len(when), len(hours))
        half = 3.2 * longest
        at = middle / 100 * width_px
        if at - half < taken:
            continue
        if at + half > width_px:
            at = width_px - half
        taken = at + half + 4
        told = ", ".join(part for part in (outage.code, outage.kind, when, hours) if part)
        parts.append(light.Span(lines, className="oh", style={"left": f"{100 * at / width_px:.2f}%"}, title=told))
    return light.Div(parts, className="ohs lane" if site else "ohs")


def _cards(view: FleetView, address: Address, axis: strip.TimeAxis, outages: tuple[OutageMark, ...]) -> list[Any]:
    """Return the phone's form: one card a line under one time axis that stays in view."""
    stops = {outage.code: f"before {numbers.day_of_year(outage.starts_at)}" for outage in view.outages}
    cards = []
    for row in view.rows:
        parts: list[Any] = [
            light.Div(
                [_line_link(row, address), light.Span(describe(row), className="dim"), _status(row)],
                className="c1",
            ),
            light.Div(_worst(row, address.unit, with_unit=True), className="c2"),
        ]
        chances: list[Any] = []
        for value, code, otherwise in (
            (row.chance_next, row.next_outage, "before the next outage"),
            (row.chance_following, row.following_outage, "before the one after"),
        ):
            if value is not None:
                chances += [
                    light.Span(
                        [
                            light.B(words.chance(value), className="hot" if value >= 0.2 else ""),
                            f" {stops.get(code or '', otherwise)}",
                        ]
                    ),
                    " ",
                ]
        if row.status in _NEEDS_SOMEONE:
            parts += [light.P(chances, className="c3"), strip.strip(row, axis, outages, view.horizon)]
        elif row.deviation_um is not None:
            early = light.Span(strip.earliest(row, view.horizon), className="early")
            parts.append(light.P([*chances[-2:], early], className="c3 q"))
        cards.append(light.Li(parts, className="card"))
    head_ = light.Div(_axis_head(view, axis, outages, phone=True), className="narrow-only pax")
    return [head_, light.Ol(cards, className="narrow-only cards")]


def _pages(view: FleetView, address: Address) -> list[Any]:
    if view.pages <= 1:
        return []
    page = view.filters.page
    first = (page - 1) * 50 + 1
    parts: list[Any] = [
        light.Span(
            f"Lines {numbers.grouped(first)}–{numbers.grouped(first + len(view.rows) - 1)} "
            f"of {numbers.grouped(view.total)}"
        )
    ]
    if page > 1:
        parts.append(light.Link("Earlier 50", href=_to(address, page=page - 1), className="btn"))
    if page < view.pages:
        parts.append(light.Link("Next 50", href=_to(address, page=page + 1), className="btn"))
    return [light.Nav(parts, className="pages", **aria(label="Pages of the table"))]


def _key() -> html.Div:
    return marks.key(
        ("k-over", "over by: chance of having passed the limit grows from 10 % to 90 %, mark at 50 %"),
        ("k-outage", "outage"),
        ("k-range", "expected today, 95 % range"),
        ("", "chances of 20 % and more are set in bold"),
    )
