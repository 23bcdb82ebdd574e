"""Any table as a file: CSV text or an XLSX workbook, the unit in every header and what it is about beside it.

What a kind is comes from the column and is never guessed from the text. Lengths leave as they are stored, in
micrometres, or in the thou of a reader who asked for thou; nothing is rounded.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Final, Literal

from fleet.errors import InputError
from fleet.words import ReaderUnit

Kind = Literal["text", "number", "day", "moment", "yes or no"]
Extension = Literal["csv", "xlsx"]
EXTENSIONS: Final[tuple[Extension, ...]] = ("csv", "xlsx")
MEDIA_TYPES: Final[dict[Extension, str]] = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
MOST_ROWS: Final = 1_048_575
"""Rows below the header of a workbook's sheet (ECMA-376: 2^20 rows)."""

_SUFFIX: Final[dict[str, str]] = {
    "um": "um", "mm": "mm", "thou": "thou", "in": "in", "C": "c", "h": "h", "%": "percent", "1": "fraction",
    "um/year": "um_per_year", "thou/year": "thou_per_year", "um/m": "um_per_m", "thou/ft": "thou_per_ft",
    "um/1000 h": "um_per_1000_h", "thou/1000 h": "thou_per_1000_h", "um^2": "um2", "1/K": "per_k",
    "um/degree": "um_per_degree", "sd": "sd",
}  # fmt: skip
_FOR_THOU: Final[dict[str, tuple[str, float]]] = {
    "um": ("thou", 25.4),
    "mm": ("in", 25.4),
    "um/year": ("thou/year", 25.4),
    "um/1000 h": ("thou/1000 h", 25.4),
    "um/m": ("thou/ft", 25.4 / 0.3048),
}
"""What each unit is divided by for a reader of thou: 1 in is 25.4 mm, 1 ft 0.3048 m (NIST SP 811, appendix B)."""
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
_LEAST_WIDTH, _MOST_WIDTH = 9, 46


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its plain name, the unit of its figures, what kind they are, how to read them.

    Attributes
    ----------
    name : str
        In small letters with underscores: `deviation`; the unit is added to the header where it is not in the name.
    unit : str
        `um`, `mm`, `um/year`, `um/m`, `C`, `h`, `%`, `1` (0 to 1); nothing for texts, days, counts and codes.
    kind : Kind
        What its cells are; a `number` stays a number in a workbook, a `day` a date, a `moment` a text with its offset.
    says : str
        How to read it, for the about block: `+ above / right of target`.
    fixed : bool
        True where readers of thou are shown the same unit (a screw's size).
    """

    name: str
    unit: str = ""
    kind: Kind = "text"
    says: str = ""
    fixed: bool = False

    @property
    def header(self) -> str:
        """The name with its unit: `deviation_um`."""
        suffix = _SUFFIX.get(self.unit, re.sub(r"[^a-z0-9]+", "_", self.unit.lower()).strip("_"))
        return self.name if not suffix or self.name.endswith(f"_{suffix}") else f"{self.name}_{suffix}"


@dataclass(frozen=True, slots=True)
class Table:
    """A table ready to be a file.

    Attributes
    ----------
    title : str
        What it is, for the file's name and the about block: `Fleet`, `History ORR-07 B vertical`.
    columns : tuple of Column
    rows : tuple of tuples
        One value a column: str, int, float, bool, date, datetime (aware) or None where it is not known.
    about : tuple of (str, str)
        What a reader of the file alone must know: as of, zone, filters, version.
    dates : tuple of date
        First and last day it speaks of, or one day; for the file's name.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...]
    about: tuple[tuple[str, str], ...] = ()
    dates: tuple[date, ...] = ()


def in_unit(table: Table, unit: ReaderUnit) -> Table:
    """Return a table in the reader's unit: as it is for millimetres, lengths in thou and inches for thou."""
    if unit == "mm":
        return table
    columns, factors = [], []
    for column in table.columns:
        other, factor = ("", 1.0) if column.fixed else _FOR_THOU.get(column.unit, ("", 1.0))
        factors.append(factor if other else None)
        if other:
            was, now = f"_{_SUFFIX[column.unit]}", f"_{_SUFFIX[other]}"
            column = replace(column, name=column.name.removesuffix(was) + now, unit=other)
        columns.append(column)
    rows = tuple(
        tuple(
            value / factor if factor and isinstance(value, (int, float)) else value
            for value, factor in zip(row, factors, strict=True)
        )
        for row in table.rows
    )
    return replace(table, columns=tuple(columns), rows=rows)


def file_name(table: Table, query: str, extension: Extension) -> str:
    """Return a name that tells files apart: what it is, its dates, and a short hash of what was asked for.

    Parameters
    ----------
    table : the table
    query : the address it was asked for with; another selection has another hash
    extension : csv or xlsx
    """
    parts = [re.sub(r"[^A-Za-z0-9]+", "-", table.title).strip("-").lower() or "table"]
    parts += [day.isoformat() for day in dict.fromkeys(table.dates)]
    parts.append(hashlib.sha256(query.encode()).hexdigest()[:7])
    return f"{'_'.join(parts)}.{extension}"


def as_file(table: Table, extension: Extension) -> bytes:
    """Return a table's file in either form."""
    return xlsx_bytes(table) if extension == "xlsx" else csv_text(table).encode()


def csv_text(table: Table) -> str:
    """Return a table as CSV (RFC 4180): an about block of lines that begin with #, the header, the rows.

    Moments are ISO 8601 with their offset, days ISO 8601, numbers at full precision; an empty cell is a figure that is
    not known. Text that a spreadsheet would run as a formula begins with an apostrophe.

    Raises
    ------
    InputError
        A row has another number of cells than there are columns, or a moment has no zone.
    """
    out = io.StringIO()
    for name, said in about_block(table):
        out.write(f"# {name}: {' '.join(said.split())}\r\n")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.header for column in table.columns])
    for row in _checked(table):
        writer.writerow([_text(value) for value in row])
    return out.getvalue()


def xlsx_bytes(table: Table) -> bytes:
    """Return a table as a workbook: the rows on one sheet, what it is about on a second one.

    Raises
    ------
    InputError
        As for `csv_text`, or there are more rows than a sheet has.
    """
    import xlsxwriter

    if len(table.rows) > MOST_ROWS:
        raise InputError(f"{len(table.rows)} rows do not fit on a sheet; filter them or take the CSV file")
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
        bold = book.add_format({"bold": True})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        sheet = book.add_worksheet("Table")
        sheet.freeze_panes(1, 0)
        widths = [len(column.header) for column in table.columns]
        for at, column in enumerate(table.columns):
            sheet.write_string(0, at, column.header, heading)
        for number, row in enumerate(_checked(table), start=1):
            for at, value in enumerate(row):
                if value is None:
                    continue
                if isinstance(value, bool) or not isinstance(value, (int, float, date)) or isinstance(value, datetime):
                    text = _plain(value)
                    sheet.write_string(number, at, text)
                    widths[at] = max(widths[at], len(text))
                elif isinstance(value, date):
                    sheet.write_datetime(number, at, datetime(value.year, value.month, value.day), day)  # noqa: DTZ001
                    widths[at] = max(widths[at], 11)
                else:
                    sheet.write_number(number, at, value)
        for at, width in enumerate(widths):
            sheet.set_column(at, at, min(max(width + 2, _LEAST_WIDTH), _MOST_WIDTH))
        if table.rows and table.columns:
            sheet.autofilter(0, 0, len(table.rows), len(table.columns) - 1)
        told = book.add_worksheet("About")
        told.set_column(0, 0, 34)
        told.set_column(1, 1, 100)
        for number, (name, said) in enumerate(about_block(table)):
            told.write_string(number, 0, name, bold)
            told.write_string(number, 1, said, wrapped)
    return out.getvalue()


def about_block(table: Table) -> list[tuple[str, str]]:
    """Return what stands beside the rows: the title, what the page said of them, how many, how to read each column."""
    columns = [
        (column.header, ", ".join(part for part in (_unit_said(column.unit), column.says) if part))
        for column in table.columns
    ]
    return [
        ("table", table.title),
        *table.about,
        ("rows", str(len(table.rows))),
        *((f"column {name}", said) for name, said in columns if said),
    ]


def _unit_said(unit: str) -> str:
    return {"": "", "1": "from 0 to 1", "um": "um: micrometres, 0.001 mm"}.get(unit, unit)


def _checked(table: Table) -> Iterable[Sequence[Any]]:
    """Yield the rows with what cannot be a figure left empty; a row that does not fit its columns is refused."""
    width = len(table.columns)
    for row in table.rows:
        if len(row) != width:
            raise InputError(f"a row of '{table.title}' has {len(row)} cells where there are {width} columns")
        yield [None if isinstance(value, float) and not math.isfinite(value) else value for value in row]


def _plain(value: Any) -> str:
    """Return a cell as text: yes or no, ISO 8601, a number at full precision."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise InputError(f"{value.isoformat()} has no time zone; a file needs one")
        return value.isoformat(timespec="seconds" if value.microsecond == 0 else "auto")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(float(value))
    return str(value)


def _text(value: Any) -> str:
    text = _plain(value)
    is_text = not isinstance(value, (int, float, date))
    return f"'{text}" if is_text and text.startswith(_FORMULA_STARTS) else text
