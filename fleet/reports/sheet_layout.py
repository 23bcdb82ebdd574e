"""Which paper a job sheet needs: how tall its rows may be and where its pages break.

Heights are millimetres on A4 with the sheet's margins, read off prints with the widest of the fallback faces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from fleet.reports.job_sheet import JobSheet
from fleet.reports.sheet_facts import facts
from fleet.words import ReaderUnit

_PAGE_MM: Final = 280.0
_ROOMY_ROW_MM: Final = 7.4
_TIGHT_ROW_MM: Final = 6.4
_BOX_GAP_MM: Final = 1.2
_SUPPORT_ROW_MM: Final = 6.9
_LINE_MM: Final = 3.8
_FIXED_MM: Final = 160.0
_FACT_COLUMN_CHARS: Final = (44, 37, 37)
_NOTE_CHARS: Final = 125
_READINGS_MM: Final = 176.0
_READINGS_ROW_MM: Final = (7.4, 10.0)
_REMARK_LINE_MM: Final = 8.5
_STATIONS_A_PAGE: Final = 11


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """Heights and breaks of one sheet on paper.

    `set_to_on_its_own_page`: page 1 ends after *Expect to find*. `reading_pages`: how many stations, the first read
    again among them, stand on each page of readings. `reading_box_mm`, `remark_lines`: of each of these pages.
    """

    box_mm: float
    set_to_on_its_own_page: bool
    reading_pages: tuple[int, ...]
    reading_box_mm: tuple[float, ...]
    remark_lines: tuple[int, ...]

    @property
    def pages(self) -> int:
        """How many pages the sheet is."""
        return 1 + self.set_to_on_its_own_page + len(self.reading_pages)


def _text_lines(sheet: JobSheet, unit: ReaderUnit) -> int:
    """Return how many lines the texts of page 1 need beside its fixed parts."""
    facts_lines = max(
        math.ceil(len(fact.text) / width) for fact, width in zip(facts(sheet, unit), _FACT_COLUMN_CHARS, strict=True)
    )
    remarks = sum(math.ceil(len(remark) / _NOTE_CHARS) for remark in sheet.remarks)
    return facts_lines + remarks + math.ceil(len(sheet.status_why or "") / _NOTE_CHARS)


def layout(sheet: JobSheet, unit: ReaderUnit) -> SheetLayout:
    """Return the layout: two pages where page 1 holds both tables, else three and more."""
    rows = 2 * len(sheet.stations)
    other = _FIXED_MM + _LINE_MM * _text_lines(sheet, unit) + _SUPPORT_ROW_MM * len(sheet.supports)
    roomy = other + rows * _ROOMY_ROW_MM <= _PAGE_MM
    tight = other + rows * _TIGHT_ROW_MM <= _PAGE_MM
    entries = len(sheet.stations) + 1 if sheet.stations else 0
    pages = math.ceil(entries / _STATIONS_A_PAGE)
    counts = tuple(entries // pages + (number < entries % pages) for number in range(pages))
    row_mm = [min(_READINGS_ROW_MM[1], _READINGS_MM / max(1, 2 * count)) for count in counts]
    left_over = [_READINGS_MM - 2 * count * row for count, row in zip(counts, row_mm, strict=True)]
    return SheetLayout(
        box_mm=(_ROOMY_ROW_MM if roomy or not tight else _TIGHT_ROW_MM) - _BOX_GAP_MM,
        set_to_on_its_own_page=not tight,
        reading_pages=counts,
        reading_box_mm=tuple(round(row - 1.9, 2) for row in row_mm),
        remark_lines=tuple(1 + min(3, int(free // _REMARK_LINE_MM)) for free in left_over),
    )
