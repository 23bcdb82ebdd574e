"""Job sheet: what was left, what shall I expect, what shall I set?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from dash import html

from dashboard.address import Address
from dashboard.components import cautions, marks, notices
from dashboard.components.foot import axis_sketch
from dashboard.components.rich import pieces, rich
from dashboard.pages.page import Shown
from fleet import words
from fleet.reports import sheet_words
from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.reports.sheet_facts import facts
from fleet.values import AXES
from fleet.words import ReaderUnit


def job_sheet_page(sheet: JobSheet, address: Address) -> Shown:
    """Return the screen form of a job sheet: one column on a phone, with the button for its paper form.

    Parameters
    ----------
    sheet
        The content, the same the paper form is made of.
    address
        The reader's unit.
    """
    unit = address.unit
    article: list[Any] = [_head(sheet, unit), *cautions.panels(sheet.length_growth_mm, unit), _facts(sheet, unit)]
    article += [html.P(remark, className="note remark") for remark in sheet.remarks]
    if sheet.stations:
        article += [_expect(sheet, unit), _set_to(sheet, unit)]
    else:
        article.append(notices.no_record(sheet.line, sheet.status_why))
    article.append(_foot(sheet))
    query = "?unit=thou" if unit == "thou" else ""
    paper = f"/job-sheet/{quote(sheet.line, safe='')}"
    acts = html.Div(
        [
            html.A("Print", href=f"{paper}/print{query}", className="btn main", target="_blank"),
            html.A("PDF", href=f"{paper}/pdf{query}", className="btn", target="_blank"),
        ],
        className="acts noprint",
    )
    return Shown(f"Job sheet {sheet.line}", [html.Article(article, className="job sheet"), acts])


def _head(sheet: JobSheet, unit: ReaderUnit) -> html.Header:
    crumb = " · ".join(
        part for part in ("Job sheet", sheet.site_name or sheet.site, f"as of {words.day(sheet.as_of)}") if part
    )
    stands = f"{sheet_words.machine_line(sheet, unit)} {sheet_words.outage_line(sheet)}".strip()
    why = sheet_words.status_line(sheet)
    return html.Header(
        html.Div(
            [
                html.P(crumb, className="crumb"),
                html.H1([f"{sheet.line} ", html.Span(marks.status(sheet.status), className="jst")]),
                html.P(stands, className="dim"),
                *([html.P(why, className="dim")] if why else []),
            ]
        ),
        className="jh",
    )


def _facts(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    return html.Section(
        [html.Div([html.H2(fact.title), html.P(rich(pieces(fact.pieces)))]) for fact in facts(sheet, unit)],
        className="facts",
    )


def _station(station: SheetStation, unit: ReaderUnit) -> html.Td:
    code, where = sheet_words.station_cell(station, unit)
    return html.Td([html.B(code), html.Small(where)])


def _cell(lead: str, rest: str, class_name: str) -> html.Td:
    parts: list[Any] = [html.B(lead, className="num")]
    return html.Td([*parts, " ", html.Span(rest, className="u")] if rest else parts, className=class_name)


def _table(sheet: JobSheet, unit: ReaderUnit, cell: Callable[..., tuple[str, str]]) -> html.Table:
    header = html.Thead(html.Tr([html.Th(text) for text in ("Station", "Vertical", "Horizontal")]))
    rows = [
        html.Tr(
            [
                _station(station, unit),
                *(
                    _cell(*cell(station, axis, unit, sheet.right_hand_side), "stv" if axis == "v" else "hz")
                    for axis in AXES
                ),
            ]
        )
        for station in sheet.stations
    ]
    return html.Table([header, html.Tbody(rows)], className="tbl jx")


def _expect(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    return html.Section(
        [
            html.H2("1 Expect to find"),
            html.P(sheet_words.expect_note(sheet, unit), className="note"),
            _table(sheet, unit, sheet_words.expected_cell),
        ],
        className="jt",
    )


def _set_to(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    note: list[Any] = [f"In {unit}. "]
    if good := sheet_words.good_enough_sentence(sheet, unit):
        note += [html.B(good), " "]
    note.append(f"{sheet_words.moves_sentence(sheet, unit)} {sheet_words.tolerance_sentence(sheet, unit)}".strip())
    return html.Section(
        [html.H2("2 Set to"), html.P(note, className="note"), _table(sheet, unit, sheet_words.set_to_cell)],
        className="jt",
    )


def _foot(sheet: JobSheet) -> html.Footer:
    text = rich(pieces(sheet_words.directions_sentence(sheet.right_hand_side)))
    return html.Footer(
        [
            axis_sketch(sheet.right_hand_side),
            html.P([html.B("How to read a number."), " ", *text], className="note"),
        ],
        className="jf",
    )
