"""Job sheet: what was left, what shall I expect, what shall I set?"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from dash import html

from dashboard.address import Address
from dashboard.components import cautions, marks, notices, numbers, sentences
from dashboard.components.foot import axis_sketch
from dashboard.components.rich import rich
from dashboard.pages.page import Shown
from fleet import words
from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.values import AXES, Axis
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
    if any(value is not None for station in sheet.stations for value in (*station.expected_um, *station.set_to_um)):
        article += [_expect(sheet, unit), _set_to(sheet, unit)]
    else:
        article.append(notices.no_record(sheet.line, sheet.status_why))
    article.append(_foot(sheet))
    query = "?unit=thou" if unit == "thou" else ""
    paper = f"/job-sheet/{quote(sheet.line, safe='')}/print{query}"
    acts = html.Div(
        [html.A("Print or PDF", href=paper, className="btn main", target="_blank")], className="acts noprint"
    )
    return Shown(f"Job sheet {sheet.line}", [html.Article(article, className="job sheet"), acts])


def _head(sheet: JobSheet, unit: ReaderUnit) -> html.Header:
    crumb = " · ".join(
        part for part in ("Job sheet", sheet.site_name or sheet.site, f"as of {words.day(sheet.as_of)}") if part
    )
    facts = [part for part in (sheet.description,) if part]
    if sheet.screw_diameter_mm:
        facts.append(f"screw {numbers.diameter(sheet.screw_diameter_mm)}")
    if sheet.barrel_outside_diameter_mm:
        facts.append(f"barrel {numbers.diameter(sheet.barrel_outside_diameter_mm)} outside")
    if sheet.foundation:
        facts.append(sheet.foundation)
    text = f"{', '.join(facts)}." if facts else ""
    if sheet.outage_starts_on and sheet.outage_ends_on:
        name = sheet.outage_kind or "outage"
        when = f"{numbers.span(sheet.outage_starts_on, sheet.outage_ends_on)} {sheet.outage_ends_on.year}"
        text += f" {name[:1].upper()}{name[1:]}, {when}."
    lines: list[Any] = [
        html.P(crumb, className="crumb"),
        html.H1([f"{sheet.line} ", html.Span(marks.status(sheet.status), className="jst")]),
        html.P(text.strip(), className="dim"),
    ]
    if sheet.status_why:
        lines.append(html.P(sheet.status_why, className="note"))
    return html.Header(html.Div(lines), className="jh")


def _facts(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    if sheet.last_as_left is not None:
        last = rich(sentences.past_survey(sheet.last_as_left, unit))
    else:
        last = ["No as-left is on record."]
    if sheet.measured_since is not None:
        last += rich(sentences.measured_since(sheet.measured_since, sheet.worst, unit))
    ran = (
        rich(sentences.running(sheet.running, unit))
        if sheet.running is not None
        else ["No running check after that as-left is on record."]
    )
    why = [part for part in (sheet.target_why, sheet.drift_why) if part]
    return html.Section(
        [
            html.Div([html.H2("Last as-left"), html.P(last)]),
            html.Div([html.H2("How it came out running"), html.P(ran)]),
            html.Div([html.H2("Why this target"), html.P(" ".join(f"{part.rstrip('.')}." for part in why))]),
        ],
        className="facts",
    )


def _station(station: SheetStation, unit: ReaderUnit) -> html.Td:
    return html.Td([html.B(station.station), html.Small(numbers.distance(station.distance_mm, unit))])


def _offset(um: float | None, axis: Axis, unit: ReaderUnit, side: str | None) -> list[Any]:
    if um is None:
        return [html.Span("not known", className="dim3")]
    parts: list[Any] = [html.B(words.said(um, axis, "offset", unit, with_unit=False), className="num")]
    if word := numbers.right_word(words.direction(um, axis, "offset", unit), side):
        parts += [" ", html.Span(word, className="u")]
    return parts


def _header() -> html.Thead:
    return html.Thead(html.Tr([html.Th(text) for text in ("Station", "Vertical", "Horizontal")]))


def _expect(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    rows = []
    for station in sheet.stations:
        cells: list[Any] = [_station(station, unit)]
        for index, axis in enumerate(AXES):
            shown = _offset(station.expected_um[index], axis, unit, sheet.right_hand_side)
            spread = station.u95_expected_um[index] if station.expected_um[index] is not None else None
            cells.append(html.Td([*shown, *numbers.plus_minus(spread, unit)], className="" if axis == "v" else "hz"))
        rows.append(html.Tr(cells))
    note = (
        f"{words.day(sheet.expected_on)}, cold, {numbers.celsius(sheet.cold_reference_c)}. {unit}; range 95 %. "
        "Outside it: read again before you move anything."
    )
    return html.Section(
        [
            html.H2("1 Expect to find"),
            html.P(note, className="note"),
            html.Table([_header(), html.Tbody(rows)], className="tbl jx"),
        ],
        className="jt",
    )


def _set_to(sheet: JobSheet, unit: ReaderUnit) -> html.Section:
    rows = []
    for station in sheet.stations:
        cells: list[Any] = [_station(station, unit)]
        for index, axis in enumerate(AXES):
            shown = _offset(station.set_to_um[index], axis, unit, sheet.right_hand_side)
            parts = sentences.set_to_parts(station, axis, unit)
            against = station.against_drift_um[index]
            # Where nothing is added against the drift on the horizontal, the target is the figure itself.
            if parts and (axis == "v" or (against is not None and words.quantised(against, unit) != 0)):
                shown += [" ", html.Span(parts, className="u")]
            cells.append(html.Td(shown, className="stv" if axis == "v" else "hz"))
        rows.append(html.Tr(cells))
    note: list[Any] = [f"{unit}. "]
    if sheet.good_enough_um is not None:
        figure = f"{words.figure(sheet.good_enough_um, unit)} {unit}".replace(" ", words.NBSP)
        note += [html.B(f"Good enough: within {figure} of the bold figure."), " "]
    note += [*rich(sentences.moves_to_make(sheet, unit)), " ", *rich(sentences.tolerance(sheet, unit))]
    return html.Section(
        [
            html.H2("2 Set to"),
            html.P(note, className="note"),
            html.Table([_header(), html.Tbody(rows)], className="tbl jx"),
        ],
        className="jt",
    )


def _foot(sheet: JobSheet) -> html.Footer:
    side = f"right ({sheet.right_hand_side}) / left" if sheet.right_hand_side else "right / left"
    return html.Footer(
        [
            axis_sketch(sheet.right_hand_side),
            html.P(
                [
                    html.B("How to read a number."),
                    " v: ",
                    html.B("high / low"),
                    " of the gearbox axis. h: ",
                    html.B(side),
                    ", looking from the gearbox toward the discharge end. ",
                    html.B("Standing at the discharge end, right and left swap."),
                ],
                className="note",
            ),
        ],
        className="jf",
    )
