"""Writing the record out as one XLSX workbook: the same texts as the CSV files, as cells a spreadsheet can work with.

A number or time becomes a cell of that kind only where reading the workbook gives back the very text; everything else
stays text.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from fleet.intake.layout import MOST_ROWS, SHEET, Column, Sheet
from fleet.intake.pages import DAY_FORMAT, MINUTE_FORMAT, SECOND_FORMAT, Book, check_target, unwritten
from fleet.intake.raw import IntakeError, shown
from fleet.intake.writing import ExportResult, record_as_text
from fleet.store.engine import Store

_PLAIN: Final = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.([0-9]+))?")
_MOST_DIGITS: Final = 15
_MOST_PLACES: Final = 20
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?")
_UNSURE: Final = re.compile(r"_x[0-9A-Fa-f]{4}_x[0-9A-Fa-f]{4}_")
"""The library escapes only every other one of such codes in a row, so that another text would be read back."""
_FIRST_YEAR: Final = 1901
"""Spreadsheets count days from 1900 and disagree about that year (ECMA-376-1:2016, 18.17.4.1)."""


def export_workbook(store: Store, target: Path, *, line: str | None = None) -> ExportResult:
    """Write the record, or one line's, as one XLSX workbook.

    Parameters
    ----------
    store
        An up-to-date store.
    target
        A file that is not there yet, its name ending in .xlsx; it appears only once all is written.
    line
        Code of the line whose record alone is written, with what it refers to; none: all lines.

    Returns
    -------
    ExportResult
        The file and the rows by sheet; an empty sheet is left out (of an empty record, `lines` is there).

    Raises
    ------
    IntakeError
        The file is there already, cannot be written, or a text or sheet is too long for a workbook.
    NotFoundError
        No line has this code.
    StoreError
        The database cannot be read.
    """
    from xlsxwriter.exceptions import XlsxWriterException

    check_target(target)
    counts: dict[str, int] = {}
    book = Book(target)
    try:
        with store.read() as session:
            for sheet, _, columns in record_as_text(session, line=line):
                counts[sheet.name] = _write(book, target, sheet, columns)
        if not counts:
            book.page(SHEET["lines"])
        book.finish()
    except (OSError, XlsxWriterException) as error:
        raise unwritten(target, error) from error
    finally:
        book.discard()
    return ExportResult(str(target), counts)


def _write(book: Book, target: Path, sheet: Sheet, columns: list[list[str]]) -> int:
    count = len(columns[0])
    if count >= MOST_ROWS:
        raise IntakeError(
            (
                f"{target}: sheet {sheet.name} would have {count} rows and a header, at most {MOST_ROWS} fit; "
                "export a folder of CSV files",
            )
        )
    page = book.page(sheet)
    ways: list[dict[str, Callable[[int, int], int]]] = [{} for _ in columns]
    for at, row in enumerate(zip(*columns, strict=True), start=1):
        for place, text in enumerate(row):
            if text == "":
                continue
            write = ways[place].get(text)
            if write is None:
                write = ways[place][text] = _way(book, page, sheet.columns[place], text)
                if _UNSURE.search(text):
                    what = "holds codes between underscores that a workbook would change"
                    raise _unfit(target, sheet, at, place, text, what)
            if write(at, place):
                raise _unfit(target, sheet, at, place, text, "is longer than a cell of a workbook holds")
    return count


def _unfit(target: Path, sheet: Sheet, at: int, place: int, text: str, what: str) -> IntakeError:
    where = f"{target}: sheet {sheet.name} row {at + 1}, column {sheet.columns[place].name}"
    return IntakeError((f"{where}: {shown(text[:20])} {what}; export a folder of CSV files",))


def _way(book: Book, page: Any, column: Column, text: str) -> Callable[[int, int], int]:
    """Return how a text is written at a row and column; the answer is not 0 where it does not fit."""
    if column.kind in ("number", "whole", "length"):
        match = _PLAIN.fullmatch(text)
        places = len(match[1] or "") if match else 0
        digits = sum(character.isdigit() for character in text)
        if match and digits <= _MOST_DIGITS and places <= _MOST_PLACES and not _is_minus_zero(text):
            number = float(text)
            shape = book.format(f"0.{'0' * places}") if places else None
            return lambda row, at: int(page.write_number(row, at, number, shape))
    elif column.kind in ("date", "time"):
        moment, shape = _moment(text, column), book.format(_moment_format(text))
        if moment is not None:
            return lambda row, at: int(page.write_datetime(row, at, moment, shape))
    if text.startswith("<r>") and text.endswith("</r>"):
        # The library takes such a text for its own markup; in two runs it stays text
        run = book.format("@")
        return lambda row, at: int(page.write_rich_string(row, at, text[:1], run, text[1:]))
    return lambda row, at: int(page.write_string(row, at, text))


def _is_minus_zero(text: str) -> bool:
    return text.startswith("-") and not text.strip("-0.")


def _moment(text: str, column: Column) -> datetime | None:
    """Return a date or time that a cell can hold so that exactly this text is read back."""
    if not (_DAY.fullmatch(text) or (column.kind == "time" and _MOMENT.fullmatch(text))):
        return None
    moment = datetime.fromisoformat(text)
    with_clock = "T" in text
    if moment.year < _FIRST_YEAR or (with_clock and text.count(":") == 2 and moment.second == 0):
        return None
    midnight = with_clock and not moment.hour and not moment.minute and not moment.second
    return None if midnight else moment


def _moment_format(text: str) -> str:
    if "T" not in text:
        return DAY_FORMAT
    return SECOND_FORMAT if text.count(":") == 2 else MINUTE_FORMAT
