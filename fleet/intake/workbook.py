"""An XLSX workbook as a source: which sheets are there, and their cells as the text a CSV file would hold.

Hidden sheets, rows and columns are read like all others. Sheets of other names are let pass while they are empty.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fleet.errors import InputError
from fleet.intake.archive import damaged, open_workbook_file
from fleet.intake.layout import MOST_CHARACTERS, MOST_ROWS, SHEET, Sheet
from fleet.intake.raw import IntakeError, Problem, RawTable, Source, header_problems, shown, too_long
from fleet.intake.sheetcells import Cell, text_of

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

Row = list[tuple[int, Cell]]
"""The cells of a row that hold something, with their column, counted from 0."""

_KINDS: Final = {"n": "number", "b": "truth", "e": "error"}


class _DamagedError(Exception):
    """The library could not go on reading."""


def read_workbook(path: Path) -> Source:
    """Read an XLSX workbook.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    Source
        The sheets found, the SHA-256 of the file, and every problem of the container.

    Raises
    ------
    IntakeError
        The file cannot be opened or is no sound workbook of this kind, or holds none of the sheets.

    References
    ----------
    ECMA-376-1:2016, "Office Open XML File Formats", 18.3 (worksheets), 18.8.30 (number formats), 18.17.4 (dates).
    """
    file, sha256 = open_workbook_file(path)
    with file, warnings.catch_warnings():
        # What the library warns of (a chart's extension, a drop-down of a newer kind) holds no cells
        warnings.simplefilter("ignore")
        try:
            book = _opened(file)
            tables, problems, unread = _tables(book)
        except _DamagedError as error:
            raise IntakeError((f"{path}: {damaged()}",)) from error
    if not tables and not problems:
        raise IntakeError(
            (f"{path}: there is no sheet of the exchange format in this workbook; it holds sheets such as lines",)
        )
    return Source(path.name, sha256, tables, problems, frozenset(unread), "workbook")


def _opened(file: Any) -> Workbook:
    from openpyxl import load_workbook

    try:
        return load_workbook(file, read_only=True, keep_links=False)
    except Exception as error:
        # The archive is sound: whatever the library trips over now is a part that breaks the format's rules
        raise _DamagedError from error


def _tables(book: Workbook) -> tuple[dict[str, RawTable], list[Problem], set[str]]:
    tables: dict[str, RawTable] = {}
    problems: list[Problem] = []
    unread: set[str] = set()
    for page in book.worksheets:
        name = page.title
        rows = _rows(page)
        if name not in SHEET:
            if next(rows, None) is not None:
                near = name.strip().lower() if name.strip().lower() in SHEET else None
                remedy = (
                    f"rename it to {near}" if near else "rename it to one of the sheets of the format or take it out"
                )
                problems.append(
                    Problem(f"sheet {shown(name)}", None, None, f"not a sheet of the exchange format; {remedy}")
                )
                if near:
                    unread.add(near)
            continue
        table, found = _table(SHEET[name], rows)
        problems += found
        if found:
            unread.add(name)
        elif table is not None:
            tables[name] = table
    return tables, problems, unread


def _rows(page: Any) -> Iterator[tuple[int, Row]]:
    """Yield the rows of a sheet that hold something, with their number; at last the first one beyond the limit."""
    from openpyxl.styles.numbers import is_datetime

    shows: dict[str, str] = {}
    # What a file says of its own extent may be wrong, and cells beyond it would be lost
    page.reset_dimensions()
    rows = page.iter_rows()
    for number in range(1, MOST_ROWS + 2):
        found: Row = []
        try:
            row = next(rows, None)
            if row is None:
                return
            for at, cell in enumerate(row):
                value = cell.value
                if value is None or value == "":
                    continue
                kind = cell.data_type
                if kind == "s":
                    found.append((at, Cell("text", value)))
                elif kind == "f":
                    found.append((at, Cell("formula", _formula(value))))
                elif kind == "d":
                    style = cell.number_format
                    if style not in shows:
                        shows[style] = is_datetime(style) or "datetime"
                    found.append((at, Cell("time", value, style, clock=shows[style] != "date")))
                else:
                    found.append((at, Cell(_KINDS[kind], value, cell.number_format)))
        except Exception as error:
            # As above: the library reads as it goes, and what it trips over breaks the format's rules
            raise _DamagedError from error
        if found or number > MOST_ROWS:
            yield number, found


def _formula(value: Any) -> str:
    return value if isinstance(value, str) else str(getattr(value, "text", None) or "=TABLE()")


class _Columns:
    """Texts of a sheet column by column; a cell like one met before in its column is not understood again."""

    def __init__(self, sheet: Sheet, header: list[str]) -> None:
        self.header = header
        self.kinds = [sheet.by_name[name] for name in header]
        self.texts: list[list[str]] = [[] for _ in header]
        self.known: list[dict[Cell, str]] = [{} for _ in header]

    def add(self, cells: Row, fail: Callable[[str | None, str], None]) -> None:
        """Add one row; `fail` is told the column and what is wrong with a cell."""
        row = [""] * len(self.header)
        for at, cell in cells:
            if at >= len(self.header):
                place = _letters(at)
                fail(None, f"a cell in column {place} stands under no header; name the column or empty the cell")
                continue
            text = self.known[at].get(cell)
            if text is None:
                try:
                    text = text_of(cell, self.kinds[at])
                except InputError as error:
                    fail(self.header[at], str(error))
                    continue
                # An apostrophe that shields the text is no part of it
                if len(text) > MOST_CHARACTERS + text.startswith("'"):
                    fail(self.header[at], too_long(text))
                    continue
                self.known[at][cell] = text
            row[at] = text
        for texts, text in zip(self.texts, row, strict=True):
            texts.append(text)


def _table(sheet: Sheet, rows: Iterator[tuple[int, Row]]) -> tuple[RawTable | None, list[Problem]]:
    """Return the records of one sheet; nothing where the whole sheet is empty."""
    label = f"sheet {sheet.name}"
    problems: list[Problem] = []
    columns: _Columns | None = None
    numbers: list[int] = []
    for number, cells in rows:
        if number > MOST_ROWS:
            return None, [*problems, Problem(label, None, None, f"more than {MOST_ROWS} rows; split the workbook")]
        if all(cell.kind == "text" and not cell.value.strip() for _, cell in cells):
            continue
        if columns is None:
            header, found = _header(sheet, label, number, cells)
            if found:
                return None, found
            columns = _Columns(sheet, header)
            continue

        def fail(column: str | None, text: str, row: int = number) -> None:
            problems.append(Problem(label, row, column, text))

        columns.add(cells, fail)
        numbers.append(number)
    if columns is None or problems:
        return None, problems
    return RawTable(sheet.name, label, dict(zip(columns.header, columns.texts, strict=True)), numbers), []


def _header(sheet: Sheet, label: str, number: int, cells: Row) -> tuple[list[str], list[Problem]]:
    header = [""] * (cells[-1][0] + 1)
    for at, cell in cells:
        try:
            header[at] = text_of(cell, None)
        except InputError as error:
            return [], [Problem(label, number, None, f"the header in column {_letters(at)}: {error}")]
    return header, header_problems(sheet.name, label, header, number)


def _letters(at: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(at + 1))
