"""Compare: which lines move most, and is it real?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, marks, notices, numbers
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from dashboard.components.foot import foot
from dashboard.components.pop import choice
from dashboard.components.rich import rich
from dashboard.figures import compare as pictures
from dashboard.pages import compare_events, compare_groups
from dashboard.pages import compare_words as said
from dashboard.pages.compare_address import AT_WORDS, BY_WORDS, read, write
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.services.compare import PAGE_ROWS, PLACES, CohortBy, CompareFilters, CompareView, Ranked
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit

TITLE = "Which lines move most, and is it real?"


def compare_page(view: CompareView, address: Address) -> Shown:
    """Return the Compare page for one selection.

    Parameters
    ----------
    view
        The ranking's page, groups, matrix and events of the selected lines.
    address
        The reader's unit and what they chose.
    """
    unit = address.unit
    notes = list(read(address)[1])
    if view.lines_in_store == 0:
        return Shown("Compare", [*head(TITLE, None), notices.empty_store(), foot(unit)], tuple(notes))
    event = view.filters.event
    if event is not None and event != view.events.chosen:
        notes.append(f"Nothing of the kind ‘{event}’ happened to the lines in view.")
    empty = _nothing(view, address)
    if empty is not None:
        body = [*head(TITLE, None), _filters(view, address), empty, foot(unit)]
        return Shown("Compare", body, tuple(notes))
    body = [
        *head(TITLE, rich(said.lead(view, unit))),
        _filters(view, address),
        *_ranking(view, address),
        html.Div(
            [
                compare_groups.matrix_sheet(view, unit),
                html.Div(
                    [
                        compare_groups.groups_sheet(view, address, unit),
                        compare_events.events_sheet(view, address, unit),
                    ],
                    className="stack",
                ),
            ],
            className="two cmp2",
        ),
        foot(unit, _side(view), _how(view)),
    ]
    return Shown("Compare", body, tuple(notes))


def _side(view: CompareView) -> str | None:
    sides = {row.right_hand_side for row in view.ranked if row.right_hand_side}
    return sides.pop() if len(sides) == 1 else None


def _how(view: CompareView) -> str:
    return (
        "Drift is how the bore moves against the gearbox axis while nobody touches the line; a year is one of the "
        "line’s usual running hours where it has a meter, else of the calendar. Only intervals since the last event "
        "that began its drift anew count, and where one rate explains all of them none is taken for a jump. "
        f"Data as of {words.day(view.as_of)}."
    )


def _nothing(view: CompareView, address: Address) -> html.Section | None:
    if view.in_view == 0:
        return notices.filtered_away(view.lines_in_store, write(address, CompareFilters()))
    if view.total == 0:
        return notices.notice(
            "No drift to compare yet",
            f"None of {cold.lines(view.in_view)} in view has an interval: a survey that was left and the next one "
            "found, with nothing moved between. Next: import older sheets, or record the next visit.",
            html.P(html.Code("asleft import FOLDER")),
        )
    return None


def _filters(view: CompareView, address: Address) -> html.Div:
    chosen = view.filters
    name = view.site_names.get

    def to(**changes: Any) -> str:
        return write(address, replace(chosen, **{"page": 1, **changes}))

    return html.Div(
        [
            choice(
                "Site",
                "all" if chosen.site is None else name(chosen.site, chosen.site),
                [("all", to(site=None)), *((name(code, code), to(site=code)) for code in view.sites)],
            ),
            choice(
                "Axis",
                numbers.AXIS_WORDS[chosen.axis],
                [(numbers.AXIS_WORDS[axis], to(axis=axis)) for axis in AXES],
            ),
            choice(
                "Foundation",
                chosen.foundation or "all",
                [("all", to(foundation=None)), *((kind, to(foundation=kind)) for kind in view.foundations)],
            ),
            choice(
                "Screw size",
                "all" if chosen.screw_diameter_mm is None else numbers.diameter(chosen.screw_diameter_mm),
                [
                    ("all", to(screw_diameter_mm=None)),
                    *((numbers.diameter(size), to(screw_diameter_mm=size)) for size in view.screw_diameters_mm),
                ],
            ),
            choice("At", AT_WORDS[chosen.at], [(AT_WORDS[place], to(at=place)) for place in PLACES]),
            html.Span(
                [
                    html.Span(f"Data of {words.day(view.as_of)}", className="dim mid"),
                    table_links("compare-lines", address, "every ranked line in view"),
                ],
                className="end",
            ),
        ],
        className="filters",
    )


def _kind(row: Ranked, by: CohortBy) -> str:
    """Return what a line is, by the kind that groups are looked at by."""
    if by == "size":
        return numbers.diameter(row.screw_diameter_mm) if row.screw_diameter_mm else "–"
    text = {"foundation": row.foundation, "frame": row.frame, "saddle": row.saddle, "site": row.site}[by]
    if not text:
        return "–"
    return said.group_name(by, text).lower() if by == "saddle" else text


def _ranking(view: CompareView, address: Address) -> list[Any]:
    unit, filters = address.unit, view.filters
    on = pictures.scale(*view.scale, unit)
    clear = said.fleet_clear(view)
    beside = address.said("line")
    rows, cards = [], []
    for row in view.ranked:
        word = said.verdict(row, fleet_clear=clear)
        label = _label(row, view, unit, word)
        to = href(Address(page="line", code=row.line, unit=unit, station=row.station, axis=filters.axis))
        link = dcc.Link(said.name_of(row), href=to, className="ln")
        sure: list[Any] = [html.B(word), f", {words.chance(row.sure)} sure"] if row.told_apart else [word]
        mine = "mine" if row.line == beside else ""
        rate: list[Any] = [
            html.B(numbers.rate(row.rate, filters.axis, unit, with_unit=False)),
            " ",
            html.Span(words.plus_minus(row.u95_rate, unit, fine=True), className="u"),
        ]
        rows.append(
            html.Tr(
                [
                    html.Td(str(row.place), className="dim3"),
                    html.Td(link),
                    html.Td(_kind(row, filters.by)),
                    html.Td(str(row.intervals), className="r"),
                    html.Td(rate, className="num"),
                    html.Td(pictures.ranked_strip(row, on, label=label), className="gz"),
                    html.Td(numbers.rate(row.own, filters.axis, unit, with_unit=False), className="num dim"),
                    html.Td(cold.percent(row.borrowed), className="r"),
                    html.Td(sure, className="is"),
                ],
                className=mine,
            )
        )
        cards.append(
            html.Li(
                [
                    html.Div([html.Span([f"{row.place}. ", link]), html.Span(rate, className="num")], className="l1"),
                    pictures.ranked_strip(row, on, label=label, most=3),
                    html.P([f"{said.intervals(row.intervals)}, {_kind(row, filters.by)}; ", *sure], className="note"),
                ],
                className=mine,
            )
        )
    header = html.Tr(
        [
            html.Th(html.Span("Rank", className="vh")),
            html.Th("Line"),
            html.Th(cold.capital(BY_WORDS[filters.by].removesuffix(" of the supports"))),
            html.Th("Intervals", className="r"),
            html.Th([f"Drift, {unit} {said.A_YEAR},", html.Br(), "with 95 % interval"]),
            html.Th(pictures.head(on, filters.axis, view.fleet), className="gz"),
            html.Th(["Own record alone,", html.Br(), f"{unit} {said.A_YEAR}"]),
            html.Th("Borrowed", className="r"),
            html.Th("Is it real?"),
        ]
    )
    widths = ("48px", "96px", "118px", "78px", "178px", "auto", "130px", "80px", "176px")
    table = html.Table(
        [html.Colgroup([html.Col(style={"width": width}) for width in widths]), html.Thead(header), html.Tbody(rows)],
        className="tbl wide-only cmp",
    )
    phone = html.Div(
        [
            pictures.head(on, filters.axis, view.fleet, most=3, phone=True),
            html.P(
                f"Drift, {unit} {said.A_YEAR}, with 95 % interval; on the scale, {pictures.ENDS[filters.axis][0]} is "
                "drawn on the left",
                className="note",
            ),
        ],
        className="narrow-only cax",
    )
    return [
        html.Section(
            [
                html.H2(
                    f"Lines by rank: drift at the {AT_WORDS[filters.at]}, {unit} {said.A_YEAR}, with 95 % interval",
                    className="vh",
                ),
                table,
                phone,
                html.Ol(cards, className="narrow-only cl"),
            ],
            className="sheet",
        ),
        *_pages(view, address),
        marks.key(
            ("k-told", "best estimate, 95 %: told apart from the fleet"),
            ("k-same", "cannot be told apart"),
            ("k-cross", "the line’s own record alone; dots show how far it is drawn to the fleet"),
            ("k-fleet", "the fleet’s mean at the same distance"),
        ),
        html.P(_many(view), className="note many"),
    ]


def _many(view: CompareView) -> str:
    left = ""
    if view.without_rate:
        have = "line has" if view.without_rate == 1 else "lines have"
        left = f" {cold.capital(numbers.count(view.without_rate))} {have} no interval to judge by and no rank."
    return (
        f"With {cold.lines(view.ranked_in_store)} looked at, some look odd by chance. A line is told apart where its "
        "own intervals differ from the fleet’s mean beyond that: of all lines so called, at most one in twenty is "
        "expected to be wrong. The filters do not change it. “Sure” is the chance that the line lies on that side of "
        "the fleet’s mean. Borrowed: the share of the estimate that does not come from the line’s own record there."
        + left
    )


def _label(row: Ranked, view: CompareView, unit: ReaderUnit, word: str) -> str:
    axis = view.filters.axis
    text = (
        f"{said.name_of(row)}: {said.per_year(row.rate, axis, unit)} "
        f"{words.plus_minus(row.u95_rate, unit, fine=True)}; "
        f"own record alone {said.per_year(row.own, axis, unit)}; fleet {said.per_year(row.fleet, axis, unit)}; {word}"
    )
    return text.replace(NBSP, " ")


def _pages(view: CompareView, address: Address) -> list[Any]:
    if view.pages <= 1:
        return []
    page = view.filters.page or 1
    first = (page - 1) * PAGE_ROWS + 1
    last = first + len(view.ranked) - 1
    parts: list[Any] = [
        html.Span(f"Lines {numbers.grouped(first)}–{numbers.grouped(last)} of {numbers.grouped(view.total)}")
    ]
    for number, text in ((page - 1, "Earlier 50"), (page + 1, "Next 50")):
        if 1 <= number <= view.pages:
            parts.append(dcc.Link(text, href=write(address, replace(view.filters, page=number)), className="btn"))
    return [html.Nav(parts, className="pages", **aria(label="Pages of the table"))]
