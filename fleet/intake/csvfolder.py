"""A folder of CSV files as a source: which files are there, whether they may be opened, and their cells as text.

Records follow RFC 4180 with strict quotes; a line break may be CRLF, LF or CR. Nothing is opened that is not a regular
file within the folder.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from fleet.intake.files import UnopenedError, open_regular
from fleet.intake.layout import (
    FILE_BYTES,
    MOST_CHARACTERS,
    MOST_ROWS,
    SHEET,
    TOTAL_BYTES,
)
from fleet.intake.raw import IntakeError, Problem, RawTable, Source, header_problems, shown, too_long

_BLOCK: Final = 8192
_QUOTED: Final = re.compile(r'[^"]*"')


class _QuoteError(Exception):
    """A quote stands where none may; the record it was met in is known to the caller."""


def read_folder(folder: Path) -> Source:
    """Read a folder of CSV files.

    Parameters
    ----------
    folder
        The folder; files in it that do not end in .csv (any case) are ignored.

    Returns
    -------
    Source
        The sheets found, a SHA-256 over the names and bytes of the files, and every problem of the container.

    Raises
    ------
    IntakeError
        There is no such folder, it is not a folder, cannot be read, or holds none of the files.

    References
    ----------
    RFC 4180, "Common Format and MIME Type for Comma-Separated Values (CSV) Files", section 2.
    """
    names = _csv_names(folder)
    problems: list[Problem] = []
    tables: dict[str, RawTable] = {}
    unread: set[str] = set()
    digests: list[tuple[str, str]] = []
    total = 0
    for name in names:
        stem = name[: -len(".csv")]
        if not name.endswith(".csv") or stem not in SHEET:
            near = stem.lower() if stem.lower() in SHEET else None
            remedy = (
                f"rename it to {near}.csv" if near else "rename it to one of the files of the format or take it out"
            )
            problems.append(Problem(name, None, None, f"not a file of the exchange format; {remedy}"))
            if near:
                unread.add(near)
            continue
        data, trouble = _bytes_within(folder, name, TOTAL_BYTES - total)
        if data is None:
            problems.append(Problem(name, None, None, trouble))
            unread.add(stem)
            continue
        total += len(data)
        digests.append((name, hashlib.sha256(data).hexdigest()))
        table, found = _table(stem, name, data)
        problems += found
        if table is None:
            unread.add(stem)
        else:
            tables[stem] = table
    if not names:
        raise IntakeError(
            (f"{folder}: there is no file of the exchange format in this folder; it holds files such as lines.csv",)
        )
    lines = "".join(f"{digest}  {name}\n" for name, digest in sorted(digests))
    sha256 = hashlib.sha256(lines.encode("utf-8")).hexdigest()
    return Source(folder.resolve().name or str(folder), sha256, tables, problems, frozenset(unread), "folder")


def _csv_names(folder: Path) -> list[str]:
    try:
        if not folder.exists():
            raise IntakeError((f"{folder}: there is no such folder; check the path",))
        if not folder.is_dir():
            raise IntakeError(
                (
                    f"{folder}: this is neither a folder nor an .xlsx workbook; name the folder that holds the CSV "
                    "files, or the workbook",
                )
            )
        return sorted(entry.name for entry in os.scandir(folder) if entry.name.lower().endswith(".csv"))
    except OSError as error:
        raise IntakeError((f"{folder}: cannot be read ({error.strerror}); check the permissions",)) from error


def _bytes_within(folder: Path, name: str, left: int) -> tuple[bytes | None, str]:
    """Return the bytes of a regular file within the folder, or nothing and the reason."""
    try:
        with open_regular(folder, name) as file:
            if os.fstat(file.fileno()).st_size > left:
                return None, f"the files together hold more than {TOTAL_BYTES // 1_000_000_000} GB; split the folder"
            data = file.read(FILE_BYTES + 1)
            if len(data) > FILE_BYTES:
                return None, f"more than {FILE_BYTES // 1_000_000} MB; split it"
            return data, ""
    except UnopenedError as error:
        return None, str(error)
    except OSError as error:
        return None, f"cannot be read ({error.strerror}); put a readable file here"


def _table(name: str, label: str, data: bytes) -> tuple[RawTable | None, list[Problem]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return None, [
            Problem(label, None, None, f"byte {error.start + 1} (line {line}) is not UTF-8; save the file as UTF-8")
        ]
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        return None, [Problem(label, None, None, f"line {line} holds a NUL character; this is not a text file")]
    first = next((line for line in io.StringIO(text, newline="") if line.strip()), "")
    if not first:
        return None, [Problem(label, None, None, "the file is empty; it needs a header row")]
    if ";" in first and "," in first:
        return None, [Problem(label, 1, None, "the header has commas and semicolons; use one of them throughout")]
    delimiter = ";" if ";" in first else ","
    return _records(name, label, text, delimiter)


def _records(name: str, label: str, text: str, delimiter: str) -> tuple[RawTable | None, list[Problem]]:
    """Return the records of one file column by column.

    Equal texts of a column are kept once: a million readings repeat a few thousand texts.
    """
    problems: list[Problem] = []
    header: list[str] = []
    known: list[dict[str, str]] = []
    cells: list[list[str]] = []
    numbers: list[int] = []
    row = 0
    block: list[list[str]] = []
    block_rows: list[int] = []

    def flush() -> None:
        if not block:
            return
        for position, texts in enumerate(zip(*block, strict=True)):
            same = known[position].setdefault
            cells[position].extend([same(cell, cell) for cell in texts])
        numbers.extend(block_rows)
        block.clear()
        block_rows.clear()

    reader = csv.reader(_strict_lines(io.StringIO(text, newline=""), delimiter), delimiter=delimiter, strict=True)
    try:
        for record in reader:
            row += 1
            if row > MOST_ROWS:
                return None, [Problem(label, None, None, f"more than {MOST_ROWS} rows; split the file")]
            if not record or (not record[0].strip() and not any(map(str.strip, record))):
                continue
            if not header:
                header = record
                found = header_problems(name, label, header, row)
                if found:
                    return None, found
                known = [{} for _ in header]
                cells = [[] for _ in header]
                continue
            if len(record) != len(header):
                remedy = (
                    "put quotes around a cell that holds the separator" if len(record) > len(header) else "add them"
                )
                problems.append(
                    Problem(label, row, None, f"{len(record)} cells where the header has {len(header)}; {remedy}")
                )
                continue
            block.append(record)
            block_rows.append(row)
            if len(block) == _BLOCK:
                flush()
        flush()
    except _QuoteError as error:
        return None, [*problems, Problem(label, row + 1, None, str(error))]
    except csv.Error as error:
        return None, [*problems, Problem(label, row + 1, None, _said(error))]
    columns = dict(zip(header, cells, strict=True))
    for column, texts in columns.items():
        if any(len(cell) > MOST_CHARACTERS for cell in known[header.index(column)]):
            for at, cell in zip(numbers, texts, strict=True):
                # An apostrophe that shields the text is no part of it
                if len(cell) > MOST_CHARACTERS + cell.startswith("'"):
                    problems.append(Problem(label, at, column, too_long(cell)))
    if problems:
        return None, sorted(problems, key=lambda problem: problem.row or 0)
    return RawTable(name, label, columns, numbers, decimal_comma=delimiter == ";"), []


def _said(error: csv.Error) -> str:
    if "field larger" in str(error):
        return f"a cell has more than {MOST_CHARACTERS} characters; perhaps a quote before it is not closed"
    return f"the quotes are not in order ({error}); write a quote within quotes twice"


def _strict_lines(lines: Iterable[str], delimiter: str) -> Iterator[str]:
    """Pass lines on, making sure that quotes only open a cell, close one or stand doubled inside.

    The reader of the standard library lets a quote in the middle of an unquoted cell pass (RFC 4180, 2.5: "If fields
    are not enclosed with double quotes, then double quotes may not appear inside the fields").
    """
    inside = False
    for line in lines:
        if inside or '"' in line:
            inside = _inside_after(line, delimiter, inside)
        yield line
    if inside:
        raise _QuoteError("a quote is opened and never closed; close it")


def _inside_after(line: str, delimiter: str, inside: bool) -> bool:
    """Return whether the end of the line lies within quotes."""
    at = 0
    ends = len(line)
    while at < ends:
        if inside:
            closing = _QUOTED.match(line, at)
            if closing is None:
                return True
            at = closing.end()
            if line.startswith('"', at):
                at += 1
                continue
            inside = False
            if at < ends and line[at] not in (delimiter, "\r", "\n"):
                raise _QuoteError(
                    f"{shown(line[at : at + 10].rstrip())} follows a closing quote; write a quote within quotes twice"
                )
        elif line[at] == '"' and (at == 0 or line[at - 1] == delimiter):
            inside = True
            at += 1
        else:
            stop = line.find(delimiter, at)
            cell = line[at : stop if stop >= 0 else ends]
            if '"' in cell:
                raise _QuoteError(
                    f"a quote stands inside the unquoted cell {shown(cell.rstrip())}; "
                    "put the cell in quotes and double the quote"
                )
            at = stop + 1 if stop >= 0 else ends
    return inside
