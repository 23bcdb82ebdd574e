"""Which paper a job sheet needs: how tall its rows may be and where its pages break.

Heights are millimetres on A4 with the sheet's margins, read off prints with the widest of the fallback faces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from fleet.reports.job_sheet import JobSheet
from fleet.reports.sheet_facts import facts
from fleet.reports.sheet_words import moves_sentence, status_line, tolerance_sentence
from fleet.words import ReaderUnit

_PAGE_MM: Final = 275.0
_FIXED_MM: Final = 123.0
_LINE_MM: Final = 3.8
_ROW_MM: Final = (6.6, 7.3)
_BOX_GAP_MM: Final = 1.1
_FACT_COLUMN_CHARS: Final = (50, 42, 42)
_NOTE_CHARS: Final = 130
_NAMED_SUPPORT_MM: Final = 1.9
_BOXES_MM: Final = 20.0
_SUPPORT_ROW_MM: Final = 6.8
_READINGS_MM: Final = 178.0
_READINGS_ROW_MM: Final = (6.9, 10.0)
_READINGS_GAP_MM: Final = 1.9
_REMARK_LINE_MM: Final = 8.5
_STATIONS_A_PAGE: Final = 11


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """Heights and breaks of one sheet on paper.

    Page 1 ends with the boxes for the machine and its supports; where it is full, `boxes_with_readings` sends them to
    the page of readings, and where that is full too, `set_to_on_its_own_page` begins a page with *Set to*.
    `reading_pages`: how many stations, the first read again among them, stand on each page of readings;
    `reading_box_mm` and `remark_lines` of each of these.
    """

    box_mm: float
    boxes_with_readings: bool
    set_to_on_its_own_page: bool
    reading_pages: tuple[int, ...]
    reading_box_mm: tuple[float, ...]
    remark_lines: tuple[int, ...]

    @property
    def pages(self) -> int:
        """How many pages the sheet is."""
        return 1 + self.set_to_on_its_own_page + len(self.reading_pages)


def _text_mm(sheet: JobSheet, unit: ReaderUnit) -> float:
    """Return how high the texts of page 1 are that differ from sheet to sheet."""
    facts_lines = max(
        math.ceil(len(fact.text) / width) for fact, width in zip(facts(sheet, unit), _FACT_COLUMN_CHARS, strict=True)
    )
    notes = (*sheet.remarks, status_line(sheet), moves_sentence(sheet, unit) + tolerance_sentence(sheet, unit))
    named = sum(1 for station in sheet.stations if station.support not in (None, station.station))
    lines = facts_lines + sum(math.ceil(len(note) / _NOTE_CHARS) for note in notes)
    return _LINE_MM * lines + 2 * named * _NAMED_SUPPORT_MM


def layout(sheet: JobSheet, unit: ReaderUnit) -> SheetLayout:
    """Return the layout: two pages where they hold it all, else three and more."""
    text_mm = _FIXED_MM + _text_mm(sheet, unit)
    boxes_mm = _BOXES_MM + _SUPPORT_ROW_MM * len(sheet.supports)
    entries = len(sheet.stations) + 1 if sheet.stations else 0

    def page_1_holds(extra_mm: float, row_mm: float = _ROW_MM[0]) -> bool:
        return text_mm + extra_mm + 2 * len(sheet.stations) * row_mm <= _PAGE_MM

    room_with_readings = 0 < 2 * entries * _READINGS_ROW_MM[0] <= _READINGS_MM - boxes_mm
    moved = not page_1_holds(boxes_mm) and room_with_readings and page_1_holds(0.0)
    on_page_1_mm = 0.0 if moved else boxes_mm
    own_page = not page_1_holds(on_page_1_mm)

    pages = math.ceil(entries / _STATIONS_A_PAGE)
    counts = tuple(entries // pages + (number < entries % pages) for number in range(pages))
    free_mm = _READINGS_MM - (boxes_mm if moved else 0.0)
    row_mm = [min(_READINGS_ROW_MM[1], free_mm / (2 * count)) for count in counts]
    left_over = [free_mm - 2 * count * row for count, row in zip(counts, row_mm, strict=True)]
    return SheetLayout(
        box_mm=_ROW_MM[own_page or page_1_holds(on_page_1_mm, _ROW_MM[1])] - _BOX_GAP_MM,
        boxes_with_readings=moved,
        set_to_on_its_own_page=own_page,
        reading_pages=counts,
        reading_box_mm=tuple(round(row - _READINGS_GAP_MM, 2) for row in row_mm),
        remark_lines=tuple(1 + min(3, int(free // _REMARK_LINE_MM)) for free in left_over),
    )
