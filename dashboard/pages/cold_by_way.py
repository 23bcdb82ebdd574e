"""Cold offsets by way of choosing: how each way came out over the fleet, its sizes, saddles, sites and lines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, marks, notices, numbers, running_cautions
from dashboard.components.downloads import table_links
from dashboard.components.foot import foot
from dashboard.components.pop import choice
from dashboard.components.rich import Bold, Sentence, rich
from dashboard.pages import cold_by_way_groups as groups
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.services.cold_offset_groups import Way, WayInGroup, WaysView
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit


def cold_by_way_page(view: WaysView, address: Address) -> Shown:
    """Return the page of all lines, read by way of choosing.

    Parameters
    ----------
    view
        The ways over the lines in view, by group and by line.
    address
        The reader's unit, axis, site, grouping, way and the line they came from.
    """
    unit = address.unit
    title = "Which way of choosing came out right when running?"
    if not view.lines:
        empty = view.site is None
        said = notices.empty_store() if empty else _no_such_site(view, address)
        return Shown("Cold offsets", [*head(title, None), said, foot(unit)])
    body: list[Any] = [
        *head(title, rich(by_way_lead(view, unit))),
        html.Div(
            [
                cold.switch(address, address.beside or _most_checked(view)),
                choice(
                    "Axis",
                    numbers.AXIS_WORDS[view.axis],
                    [(numbers.AXIS_WORDS[axis], href(replace(address, axis=axis))) for axis in AXES],
                ),
                choice("Site", view.site or "every", _sites(view, address)),
                html.Span(table_links("cold-offsets", address, "every line, station and way"), className="end"),
            ],
            className="filters",
        ),
    ]
    if not view.fleet.runs:
        body += [*_nothing_measured(view), *groups.line_by_line(view, address, None)]
        return Shown("Cold offsets", [*body, foot(unit)])
    way = address.way or view.fleet.closest or "own_record"
    body += [
        *_ways(view, address, unit),
        *groups.by_group(view, address, unit),
        *groups.one_way(view, address, way, unit),
        *groups.line_by_line(view, address, way),
        foot(
            unit,
            None,
            "Where a line would have run = the target of that way and the rise measured at that check together. RMS is "
            "the root mean square of that, over running checks; one check counts once. ± speaks of the checks that "
            "were made; a line without any may differ more. Limits differ from line to line: strips show the share of "
            "each line’s own.",
        ),
    ]
    return Shown("Cold offsets", body)


def by_way_lead(view: WaysView, unit: ReaderUnit) -> Sentence:
    """Say which way came out closest over the lines in view, what cannot be told from it, how far off the others."""
    fleet = view.fleet
    if not fleet.runs:
        return (f"No running check on any of {cold.lines(fleet.lines)}: nothing tells which way comes out right.",)
    how = "vertically" if view.axis == "v" else "horizontally"
    over = f"over {cold.checks(fleet.runs)} on {cold.lines(fleet.checked)}, to {words.day(view.as_of)}"
    if fleet.closest is None:
        return (f"{cold.capital(over)}: fewer than three checks judge any way, so none can be called closest yet.",)
    ways = {way.way: way for way in fleet.ways}
    first = ways[fleet.closest]
    parts: list[str] = [
        "Choosing by ",
        Bold(cold.CHOOSING[fleet.closest]),
        f" came out closest to the axis {how}: ",
        Bold(_off(first, unit)),
        "" if first.u95_rms_um is None else f" {words.plus_minus(first.u95_rms_um, unit, fine=True)}",
        f" root mean square {over}.",
    ]
    if fleet.as_good:
        named = [cold.CHOOSING[way] for way in cold.ORDER if way in fleet.as_good]
        parts.append(f" {cold.capital(cold.joined(named))} cannot be told from that.")
    others = [ways[way] for way in cold.ORDER if way not in (fleet.closest, *fleet.as_good)]
    said = [f"{cold.CHOOSING[way.way]} {_off(way, unit)}" for way in others if way.rms_um is not None]
    if said:
        parts.append(f" Farther off: {cold.joined(said)}.")
    missing = fleet.lines - fleet.checked
    if missing:
        have = "line has" if missing == 1 else "lines have"
        parts.append(f" {cold.capital(numbers.count(missing))} {have} no check to judge by.")
    return tuple(part for part in parts if part)


def _off(way: WayInGroup, unit: ReaderUnit) -> str:
    return f"{words.figure(way.rms_um or 0.0, unit, fine=True)}{NBSP}{unit}"


def _most_checked(view: WaysView) -> str:
    return max(view.lines, key=lambda line: line.group.runs).line


def _sites(view: WaysView, here: Address) -> list[tuple[str, str]]:
    return [
        (site or "every", href(replace(here, filters=replace(here.filters, site=site)))) for site in (None, *view.sites)
    ]


def _no_such_site(view: WaysView, address: Address) -> html.Section:
    every = href(replace(address, filters=replace(address.filters, site=None)))
    return notices.notice(
        "No line matches",
        f"No line stands at a site ‘{view.site}’.",
        html.P(dcc.Link("Show every site", href=every)),
    )


def _nothing_measured(view: WaysView) -> list[Any]:
    moves = "rises" if view.axis == "v" else "moves sideways"
    return [
        notices.notice(
            "No running check yet",
            f"How far a line {moves} from cold to running has not been measured on any line in view. Next: put "
            "indicators on one line before start-up, read them once it has soaked, and import the running check.",
        ),
        *running_cautions.panels(),
    ]


def _ways(view: WaysView, here: Address, unit: ReaderUnit) -> list[Any]:
    spreads = {way.way: spread for way, spread in zip(view.fleet.ways, view.spreads, strict=True)}
    by_way = {way.way: way for way in view.fleet.ways}
    rows, cards = [], []
    for name in cold.ORDER:
        way = by_way[name]
        title, note = cold.OF_FLEET[name]
        served = _served(view, name)
        link = dcc.Link(title, href=href(replace(here, way=name)), title="look at this way, group by group")
        first: list[Any] = [html.B(link), *cold.tag(view.fleet, name)]
        rows.append(
            html.Tr(
                [
                    html.Td([*first, html.Small(note)], className="wy"),
                    html.Td(cold.spread_strip(spreads[name], view.axis), className="ln2"),
                    html.Td(cold.bias(way, view.axis, unit), className="num"),
                    html.Td(cold.rms(way, unit), className="num"),
                    html.Td(cold.share(way.within_watch)),
                    html.Td(cold.share(way.within_limit)),
                    html.Td(served),
                ],
                className="rec" if name == view.fleet.closest else "",
            )
        )
        cards.append(
            html.Li(
                [
                    html.Div(first, className="l1"),
                    html.P(note, className="note"),
                    cold.spread_strip(spreads[name], view.axis),
                    html.P(["bias ", *cold.bias(way, view.axis, unit), f" · RMS{NBSP}", *cold.rms(way, unit)],
                           className="l3"),
                    html.P([*cold.inside(way), f" · closest or as good on {served}"], className="l3"),
                ],
                className="rec" if name == view.fleet.closest else "",
            )
        )  # fmt: skip
    header = html.Tr(
        [
            html.Th("Way of choosing"),
            html.Th([html.Span("Where the runs would have come out", className="vh"), cold.spread_head(view.axis)],
                    className="ln2"),
            html.Th(f"Bias, {unit}"),
            html.Th(f"RMS, {unit}"),
            html.Th("Within watch"),
            html.Th("Within limit"),
            html.Th("Closest, or as good, on"),
        ]
    )  # fmt: skip
    return [
        html.Div(
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl cold cw"), className="sheet wide-only"
        ),
        html.Div(cold.spread_head(view.axis), className="narrow-only"),
        numbers.in_unit(unit),
        html.Ol(cards, className="narrow-only cc"),
        marks.key(
            ("k-bars", "how many values would have come out there, one a check and station"),
            ("k-step", "mean"),
            ("k-corr", "each line’s own limit, and the axis"),
        ),
    ]


def _served(view: WaysView, way: Way) -> str:
    """Return on how many of the lines that can be told apart a way is the closest, or as good."""
    judged = [line.group for line in view.lines if line.group.closest is not None]
    best = [group for group in judged if way == group.closest or way in group.as_good]
    return f"{len(best)} of {cold.lines(len(judged))}" if judged else "–"
