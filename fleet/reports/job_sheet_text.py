"""A job sheet as plain text for the terminal: the same content, at most 100 columns wide."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable
from typing import Final

from fleet.reports.cautions import HEADING, LAST, cautions
from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.reports.sheet_facts import facts
from fleet.reports.sheet_words import (
    NO_STATIONS,
    SET_BASE_URL,
    Cell,
    directions_sentence,
    expect_note,
    expected_cell,
    good_enough_sentence,
    machine_line,
    moves_sentence,
    outage_line,
    plain,
    sentence,
    set_to_cell,
    station_cell,
    status_line,
    tolerance_sentence,
)
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit, day

WIDTH: Final = 100
_COLUMNS: Final = (52, 34)


def printable(text: str) -> str:
    """Return a text on one line without control characters, which a terminal would obey."""
    kept = "".join(sign if sign.isprintable() or sign == NBSP else " " for sign in text)
    return re.sub(" +", " ", kept).strip(" ")


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    indent = " " * len(first) if rest is None else rest
    return textwrap.wrap(printable(text), WIDTH, initial_indent=first, subsequent_indent=indent)


def _table(
    sheet: JobSheet, unit: ReaderUnit, cell: Callable[[SheetStation, Axis, ReaderUnit, str | None], Cell]
) -> list[str]:
    places = [" ".join(station_cell(station, unit)) for station in sheet.stations]
    first = min(max((len(printable(place)) for place in places), default=0) + 1, WIDTH - sum(_COLUMNS))
    lines = [f"{'Station':<{first}}{f'Vertical, {unit}':<{_COLUMNS[0]}}Horizontal, {unit}"]
    for station, place in zip(sheet.stations, places, strict=True):
        columns = [textwrap.wrap(printable(place), first - 1) or [""]]
        for axis, width in zip(AXES, _COLUMNS, strict=True):
            lead, rest = cell(station, axis, unit, sheet.right_hand_side)
            columns.append(textwrap.wrap(printable(f"{lead} {rest}"), width - 1, subsequent_indent="  "))
        for row in range(max(len(column) for column in columns)):
            texts = [column[row] if row < len(column) else "" for column in columns]
            lines.append(f"{texts[0]:<{first}}{texts[1]:<{_COLUMNS[0]}}{texts[2]}".rstrip())
    return lines


def render_text(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return a job sheet as plain text, at most 100 columns wide, ending with a line feed.

    Parameters
    ----------
    sheet : JobSheet
        The sheet's content; lengths across the bore in um, distances in mm, temperatures in degrees Celsius.
    unit : {'mm', 'thou'}
        The reader's choice; distances then are mm or inches.
    """
    place = sheet.site_name or sheet.site
    about = " ".join(filter(None, (machine_line(sheet, unit), outage_line(sheet))))
    lines = [
        *_wrapped(" · ".join(filter(None, ("Job sheet", place, f"as of {day(sheet.as_of)}")))),
        *_wrapped(f"{sheet.line}: {sheet.status}"),
        *_wrapped(about),
        *_wrapped(status_line(sheet)),
        "",
        HEADING.upper(),
    ]
    for lead, rest in cautions(sheet.length_growth_mm, unit):
        lines += _wrapped(f"{lead} {rest}", "- ")
    lines += _wrapped(LAST)
    for fact in facts(sheet, unit):
        lines += ["", fact.title.upper(), *_wrapped(fact.text)]
    if any(remark.strip() for remark in sheet.remarks):
        lines.append("")
        for remark in sheet.remarks:
            lines += _wrapped(sentence(remark), "- ")
    if not sheet.stations:
        lines += ["", *_wrapped(NO_STATIONS)]
    else:
        notes = (good_enough_sentence(sheet, unit), moves_sentence(sheet, unit), tolerance_sentence(sheet, unit))
        lines += ["", "1 EXPECT TO FIND", *_wrapped(expect_note(sheet, unit)), *_table(sheet, unit, expected_cell)]
        lines += ["", "2 SET TO", *_wrapped(" ".join(filter(None, (f"In {unit}.", *notes))))]
        lines += _table(sheet, unit, set_to_cell)
    lines += ["", *_wrapped(plain(directions_sentence(sheet.right_hand_side)))]
    lines += [
        "",
        *_wrapped(f"Address: {sheet.address}" if sheet.address else f"No address for a phone. {SET_BASE_URL}"),
    ]
    return "\n".join(lines).replace(NBSP, " ") + "\n"
