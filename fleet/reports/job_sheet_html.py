"""A job sheet as one HTML file: for paper (two pages of A4), for a phone, and for the PDF; it loads nothing."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Final

import segno

from fleet.reports.cautions import HEADING, LAST, OPEN_WORDS, cautions
from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.reports.marks import axis_sketch, status_mark
from fleet.reports.sheet_facts import facts
from fleet.reports.sheet_layout import SheetLayout, layout
from fleet.reports.sheet_style import STYLE
from fleet.reports.sheet_words import (
    NO_STATIONS,
    SET_BASE_URL,
    Cell,
    Pieces,
    directions_sentence,
    distance,
    expect_note,
    expected_cell,
    good_enough_sentence,
    machine_line,
    moves_sentence,
    outage_line,
    pair_agreement,
    reading_sense_sentence,
    sentence,
    set_to_cell,
    span,
    station_cell,
    status_line,
    tolerance_sentence,
)
from fleet.values import Axis
from fleet.words import ReaderUnit, day

_CHEVRON: Final = (
    '<svg width="14" height="9" viewBox="0 0 14 9" aria-hidden="true">'
    '<path d="M1 1l6 6 6-6" fill="none" stroke="currentColor" stroke-width="2"/></svg>'
)
_CIRCLES: Final[dict[Axis, str]] = {"v": "high<br>low", "h": "right<br>left"}
_READING_BOXES: Final = (
    '<td><i class="sg"></i></td><td><i class="sg"></i></td><td><i></i></td><td><i class="sg"></i></td><td><i></i></td>'
)
_READING_HEAD: Final = "<th>beam<br>state</th><th>sign</th><th>v</th><th>sign</th><th>h</th>"
_READING_COLUMNS: Final = "".join(
    f"<col{f' style=width:{width}mm' if width else ''}>" for width in (18, 27, 10, 9, 0, 9, 0, 4, 10, 9, 0, 9, 0)
)


def render(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return a job sheet as a full HTML document that needs nothing beside itself.

    Parameters
    ----------
    sheet : JobSheet
        The sheet's content; lengths across the bore in um, distances in mm, temperatures in degrees Celsius.
    unit : {'mm', 'thou'}
        The reader's choice; distances then are mm or inches.

    Returns
    -------
    str
        The document: black on white on A4, nothing lost without background colours; one column on a phone.
    """
    plan = layout(sheet, unit)
    boxes = "" if plan.boxes_with_readings else _boxes(sheet, unit)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Job sheet {escape(sheet.line)}, {day(sheet.as_of)}</title><style>{STYLE}</style></head>\n"
        f'<body><main><article class="job" style="--box:{plan.box_mm:.2f}mm;--n:{len(sheet.stations)}">\n'
        f'<div class="p1{"" if plan.set_to_on_its_own_page else " whole"}">'
        f"{_head(sheet, unit, plan)}\n{_cautions(sheet, unit)}\n{_facts(sheet, unit)}\n"
        f"{_expect(sheet, unit)}\n{_set_to(sheet, unit, plan)}\n{boxes}\n{_foot(sheet)}</div>\n"
        f"{_readings(sheet, unit, plan)}</article>\n"
        '<div class="acts noprint"><button type="button" class="btn" onclick="window.print()">Print or PDF</button>'
        "</div></main></body></html>\n"
    )


def _pieces(pieces: Pieces) -> str:
    return "".join(f"<b>{escape(text)}</b>" if strong else escape(text) for text, strong in pieces)


def _paragraph(text: str, css_class: str) -> str:
    return f'<p class="{css_class}">{escape(text)}</p>' if text else ""


def _unbroken(html: str, part: str) -> str:
    return html.replace(part, f'<span class="num">{part}</span>', 1) if part else html


def _place(sheet: JobSheet) -> str:
    return escape(sheet.site_name or sheet.site or "")


def _crumb(sheet: JobSheet, page: int, pages: int, *, on_screen: bool) -> str:
    parts = ["Job sheet", _place(sheet), f"as of {day(sheet.as_of)}"]
    number = f"page {page} of {pages}"
    shown = " · ".join(filter(None, parts))
    return (
        f'<p class="crumb">{shown}<span class="po"> · {number}</span></p>'
        if on_screen
        else (f'<p class="crumb">{shown} · {number}</p>')
    )


def _head(sheet: JobSheet, unit: ReaderUnit, plan: SheetLayout) -> str:
    if sheet.address:
        code = segno.make(sheet.address, error="m").svg_inline(border=0, omitsize=True, svgclass="qr", lineclass=None)
        code = code.replace("<svg", '<svg role="img" aria-label="QR code: opens this job sheet"', 1)
    else:
        code = _paragraph(f"No QR code. {SET_BASE_URL}", "noqr")
    dates = span(sheet.outage_starts_on, sheet.outage_ends_on)
    about = " ".join(filter(None, (machine_line(sheet, unit), outage_line(sheet))))
    return (
        f'<header class="jh"><div>{_crumb(sheet, 1, plan.pages, on_screen=True)}'
        f"<h1>{escape(sheet.line)} {status_mark(sheet.status, 26, 'jst')}</h1>"
        f"{_unbroken(_paragraph(about, 'dim'), escape(dates))}{_paragraph(status_line(sheet), 'dim why')}"
        f"</div>{code}</header>"
    )


def _cautions(sheet: JobSheet, unit: ReaderUnit) -> str:
    items = [f"<b>{escape(lead)}</b> {escape(rest)}" for lead, rest in cautions(sheet.length_growth_mm, unit)]
    last = f"<p><b>{escape(LAST)}</b></p>"
    whole = "".join(f"<li>{item}</li>" for item in items)
    others = "".join(f"<li>{item}</li>" for item in items[1:])
    return (
        f'<section class="caut full" aria-label="Cautions"><h3>{HEADING}</h3><ul>{whole}</ul>{last}</section>'
        f'<details class="caut tap"><summary><span>{items[0]}</span>'
        f'<span class="more"><b>{OPEN_WORDS}</b>{_CHEVRON}</span></summary><ul>{others}</ul>{last}</details>'
    )


def _facts(sheet: JobSheet, unit: ReaderUnit) -> str:
    columns = "".join(f"<div><h2>{fact.title}</h2><p>{_pieces(fact.pieces)}</p></div>" for fact in facts(sheet, unit))
    remarks = "".join(f"<li>{escape(sentence(remark))}</li>" for remark in sheet.remarks if remark.strip())
    know = f'<ul class="know" aria-label="Remarks">{remarks}</ul>' if remarks else ""
    return f'<section class="facts">{columns}</section>{know}'


def _table(
    sheet: JobSheet, unit: ReaderUnit, cell: Callable[[SheetStation, Axis, ReaderUnit, str | None], Cell], boxes: str
) -> str:
    side = sheet.right_hand_side
    rows = []
    for station in sheet.stations:
        code, where = station_cell(station, unit)
        cells = "".join(
            f'<td><div><b>{escape(lead)}</b> <span class="u">{escape(rest)}</span></div></td>'
            for lead, rest in (cell(station, axis, unit, side) for axis in ("v", "h"))
        )
        fill = "".join(
            f'<td class="w"><div><span class="bx"></span><span class="cir">{_CIRCLES[axis]}</span></div></td>'
            for axis in ("v", "h")
        )
        rows.append(f'<tr><th scope="row"><b>{escape(code)}</b> <small>{escape(where)}</small></th>{cells}{fill}</tr>')
    return (
        f'<table class="tbl"><thead><tr><th class="cs" scope="col">Station</th>'
        f'<th class="cv" scope="col">Vertical, {unit}</th><th class="ch" scope="col">Horizontal, {unit}</th>'
        f'<th class="w cw" scope="col">{boxes}, vertical</th>'
        f'<th class="w cw" scope="col">{boxes}, horizontal</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )


def _expect(sheet: JobSheet, unit: ReaderUnit) -> str:
    if not sheet.stations:
        return f'<section class="jt"><h2>Expect to find, set to</h2>{_paragraph(NO_STATIONS, "note")}</section>'
    table = _table(sheet, unit, expected_cell, "Found")
    return (
        f'<section class="jt"><h2>1 Expect to find</h2>{_paragraph(expect_note(sheet, unit), "note")}{table}</section>'
    )


def _set_to(sheet: JobSheet, unit: ReaderUnit, plan: SheetLayout) -> str:
    if not sheet.stations:
        return ""
    good = good_enough_sentence(sheet, unit)
    note = " ".join(filter(None, (moves_sentence(sheet, unit), tolerance_sentence(sheet, unit))))
    bold = f"<b>{escape(good)}</b> " if good else ""
    own_page = plan.set_to_on_its_own_page
    crumb = _crumb(sheet, 2, plan.pages, on_screen=False) if own_page else ""
    head = f'<div class="po">{crumb}<h1>{escape(sheet.line)}</h1></div>' if own_page else ""
    return (
        f'<section class="jt set{" newpage" if own_page else ""}">{head}<h2>2 Set to</h2>'
        f'<p class="note">In {unit}. {bold}{escape(note)}</p>{_table(sheet, unit, set_to_cell, "As-left")}</section>'
    )


def _boxes(sheet: JobSheet, unit: ReaderUnit) -> str:
    degrees = "°C / °F" if unit == "thou" else "°C"
    boxes = (
        ("Hour meter", "h"),
        ("Heats off for", "h"),
        ("Barrel", degrees),
        ("Gearbox", degrees),
        ("Base", degrees),
    )
    filled = "".join(f"<dl><dt>{name}</dt><dd>{word}</dd></dl>" for name, word in boxes)
    rings = "".join(
        f'<p>{name} <span class="rg">{words}</span></p>'
        for name, words in (("Screw", "out / in"), ("Die", "on / off"), ("Bolts", "torqued / loose"))
    )
    moved = "".join(
        f'<div class="sp"><b>{escape(support)}</b><span class="bx s"></span><span>higher / lower</span>'
        '<span class="by">by screw / shim</span><span class="bx s"></span><span>right / left</span>'
        '<span class="by">by screw / shim</span></div>'
        for support in sheet.supports
    )
    supports = (
        f'<div class="sps"><p class="sh">Support moved, {unit}; ring one word in each pair</p>{moved}</div>'
        if moved
        else ""
    )
    return f'<section class="po fill"><div class="cd">{filled}<div class="rgs">{rings}</div></div>{supports}</section>'


def _foot(sheet: JobSheet) -> str:
    return (
        f'<footer class="jf"><div>{axis_sketch(sheet.right_hand_side)}</div>'
        f'<p class="note">{_pieces(directions_sentence(sheet.right_hand_side))}'
        '<span class="po"> Ring the word beside each box.</span></p>'
        '<div class="sign"><dl><dt>Instrument</dt><dd></dd></dl><dl><dt>Name, date, signature</dt><dd></dd></dl></div>'
        "</footer>"
    )


def _set_the_beam(sheet: JobSheet, unit: ReaderUnit) -> str:
    ends = sorted(sheet.stations, key=lambda station: station.distance_mm)
    rows = "".join(
        f'<tr><th scope="row"><b>{escape(station.station)}</b> {word}, {distance(station.distance_mm, unit)}</th>'
        + "<td><i></i></td>" * 6
        + "</tr>"
        for station, word in ((ends[0], "nearest"), (ends[-1], "farthest"))
    )
    heads = "".join(
        f'<th scope="col">{head}</th>'
        for head in ("Station", "0° v", "0° h", "180° v", "180° h", "pair differs, v", "pair differs, h")
    )
    return (
        f'<h2>Set the beam</h2><table class="bt"><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>'
        '<p class="note">Half the difference is how far the beam is off there. With it still at 180°, trim until it '
        f"reads the mean of the pair. Go on when both pairs agree within {pair_agreement(sheet, unit)}.</p>"
    )


def _reading_rows(station: SheetStation, unit: ReaderUnit, *, again: bool) -> str:
    name = escape(station.station) + (" again" if again else "")
    return (
        f'<tr class="f"><th class="sn" scope="rowgroup" rowspan="2"><b>{name}</b> '
        f"<small>{distance(station.distance_mm, unit)}</small></th>"
        f'<td class="ro"><b>0°</b> 12 o’clock</td>{_READING_BOXES}<td class="gap"></td>{_READING_BOXES}</tr>'
        f'<tr><td class="ro"><b>180°</b> 6 o’clock</td>{_READING_BOXES}<td class="gap"></td>{_READING_BOXES}</tr>'
    )


def _readings(sheet: JobSheet, unit: ReaderUnit, plan: SheetLayout) -> str:
    if not sheet.stations:
        return ""
    entries = [_reading_rows(station, unit, again=False) for station in sheet.stations]
    entries.append(_reading_rows(sheet.stations[0], unit, again=True))
    pages, start = [], 0
    first = plan.pages - len(plan.reading_pages) + 1
    for number, count in enumerate(plan.reading_pages):
        beam = _set_the_beam(sheet, unit) if number == 0 else ""
        boxes = _boxes(sheet, unit) if number == 0 and plan.boxes_with_readings else ""
        lines = '<p class="ln"></p>' * plan.remark_lines[number]
        pages.append(
            f'<section class="po rd newpage" style="--read:{plan.reading_box_mm[number]}mm"><header class="jh2">'
            f"<div>{_crumb(sheet, first + number, plan.pages, on_screen=False)}"
            f'<h1>{escape(sheet.line)} Readings</h1></div><p class="unit">Unit, ring one: '
            "<b>mm</b> <b>um</b> <b>thou</b> <b>in</b></p></header>"
            '<p class="note">As the instrument shows it, sign in the small box. Clock seen from the gearbox. Beam '
            f"state: 1; add one each time anyone adjusts the beam.</p>{beam}"
            f'<table class="rt"><colgroup>{_READING_COLUMNS}</colgroup><thead><tr class="top">'
            '<th rowspan="2">Station</th><th rowspan="2">Beam roll</th><th colspan="5">As-found</th>'
            f'<th class="gap"></th><th colspan="5">As-left</th></tr>'
            f'<tr>{_READING_HEAD}<th class="gap"></th>{_READING_HEAD}</tr></thead>'
            f"<tbody>{''.join(entries[start : start + count])}</tbody></table>"
            f'<p class="note">{escape(reading_sense_sentence(sheet))} The first station read again shows what wandered '
            "meanwhile. Into the boxes for found and as-left goes the mean of a pair, never a single reading. This "
            f'sheet is no permission to work.</p>{boxes}<p class="rem">Remarks</p>{lines}</section>\n'
        )
        start += count
    return "".join(pages)
