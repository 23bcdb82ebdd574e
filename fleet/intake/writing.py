"""Writing the record out in the exchange format: what was typed, in an order that never changes.

Only what counts as record leaves: signed sessions with all that hangs from them, and facts that were not withdrawn. A
typed number or time is written again as long as it still means what the store holds; where it no longer does (a site's
time zone was changed since), the value itself is written, a time in UTC.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from fleet.errors import InputError, NotFoundError
from fleet.intake import cells
from fleet.intake.homes import BY_SURVEY, MODELS, WITHDRAWABLE, Ids, Shelf, fetch, keeps_typed
from fleet.intake.layout import SHEETS, Column, Sheet
from fleet.intake.of_line import of_line
from fleet.intake.parsing import Places
from fleet.intake.raw import IntakeError
from fleet.store import Line, Survey, VisitSession
from fleet.store.bulk import table_of
from fleet.store.engine import Store

_FLAG: Final = {True: "yes", False: "no"}
_ALWAYS_PAST: Final = date(2199, 12, 30)


@dataclass(frozen=True, slots=True)
class ExportResult:
    """Where an export went and how many rows each file has."""

    target: str
    rows: Mapping[str, int]


def export(store: Store, target: Path, *, line: str | None = None) -> ExportResult:
    """Write the record, or one line's, as a folder of CSV files.

    Parameters
    ----------
    store
        An up-to-date store.
    target
        A folder that is not there yet, or holds no CSV files; files appear only once all are written.
    line
        Code of the line whose record alone is written, with what it refers to; none: all lines.

    Returns
    -------
    ExportResult
        The folder and the rows by file; an empty sheet has no file.

    Raises
    ------
    IntakeError
        The folder holds CSV files already, or cannot be written.
    NotFoundError
        No line has this code.
    StoreError
        The database cannot be read.
    """
    try:
        if target.exists() and not target.is_dir():
            raise IntakeError((f"{target}: this is not a folder; name a folder for the CSV files",))
        if target.is_dir() and any(entry.name.lower().endswith(".csv") for entry in target.iterdir()):
            raise IntakeError((f"{target}: there are CSV files in this folder already; name an empty one",))
        target.mkdir(parents=True, exist_ok=True)
        counts: dict[str, int] = {}
        parts: list[tuple[Path, Path]] = []
        try:
            with store.read() as session:
                for sheet, header, columns in record_as_text(session, line=line):
                    part = target / f".{sheet.name}.part"
                    parts.append((part, target / f"{sheet.name}.csv"))
                    counts[sheet.name] = _write_csv(part, header, columns)
            for part, final in parts:
                part.replace(final)
        finally:
            for part, _ in parts:
                part.unlink(missing_ok=True)
    except OSError as error:
        raise IntakeError(
            (f"{target}: cannot be written ({error.strerror}); check the folder and the disk",)
        ) from error
    return ExportResult(str(target), counts)


def record_as_text(session: Session, *, line: str | None = None) -> Iterator[tuple[Sheet, list[str], list[list[str]]]]:
    """Yield each sheet that has rows: the sheet, its header, and its cells column by column, in the order of the keys.

    Parameters
    ----------
    session
        A session that sees one state of the record throughout.
    line
        Code of the line whose record alone is wanted; none: all lines.

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    number = None if line is None else session.scalar(select(Line.id).where(Line.code == line))
    if line is not None and number is None:
        raise NotFoundError(f"the store holds no line {line!r}; there is nothing of it to write")
    ids = Ids()
    places = Places()
    checks: set[tuple[str, datetime]] = set()
    for sheet in SHEETS:
        shelf = fetch(session, sheet.name, ids, *_conditions(sheet.name, number))
        values = shelf.values
        if sheet.name == "sites":
            places.site_zone = {s: z for s, z in zip(values["site"], values["time_zone"], strict=True) if z}
        elif sheet.name == "lines":
            places.line_site = dict(zip(values["line"], values["site"], strict=True))
        elif sheet.name == "sessions":
            places.session_line = dict(zip(values["session"], values["line"], strict=True))
        elif sheet.name == "running_checks":
            checks = set(zip(values["line"], values["checked_at"], strict=True))
        order = sorted(range(len(shelf)), key=_by_key(shelf))
        if sheet.name == "support_temperatures":
            # Temperatures of a running check that was withdrawn altogether have lost what they belong to
            pairs = list(zip(values["line"], values["checked_at"], strict=True))
            order = [at for at in order if pairs[at][0] is None or pairs[at] in checks]
        if not order:
            continue
        columns = [[texts[at] for at in order] for texts in _texts(shelf, places)]
        yield sheet, [column.name for column in sheet.columns], columns


def row_as_text(session: Session, sheet: str, code: str) -> dict[str, str] | None:
    """Return one line or outage as an export writes it, by column; None where the store holds none of this code.

    Parameters
    ----------
    session
        A session that sees one state of the record throughout.
    sheet
        `lines` or `outages`.
    code
        Its code.
    """
    ids, places = Ids(), Places()
    table = table_of(MODELS[sheet])
    sites = fetch(session, "sites", ids).values
    places.site_zone = {s: z for s, z in zip(sites["site"], sites["time_zone"], strict=True) if z}
    if sheet != "lines":
        lines = fetch(session, "lines", ids, Line.id.in_(select(table.c.line_id).where(table.c.code == code))).values
        places.line_site = dict(zip(lines["line"], lines["site"], strict=True))
    shelf = fetch(session, sheet, ids, table.c.code == code)
    if not len(shelf):
        return None
    return {column.name: texts[0] for column, texts in zip(shelf.sheet.columns, _texts(shelf, places), strict=True)}


def _conditions(name: str, line_id: int | None) -> list[ColumnElement[bool]]:
    table = table_of(MODELS[name])
    conditions = [] if line_id is None else of_line(name, line_id)
    signed = select(VisitSession.id).where(VisitSession.state == "signed")
    if name == "sessions":
        conditions.append(table.c.state == "signed")
    elif name in BY_SURVEY:
        of_signed = table.c.survey_id.in_(select(Survey.id).where(Survey.session_id.in_(signed)))
        conditions.append(of_signed if name != "support_temperatures" else of_signed | table.c.survey_id.is_(None))
    elif "session_id" in table.c:
        conditions.append(table.c.session_id.in_(signed))
    if name in WITHDRAWABLE:
        conditions.append(table.c.withdrawn_at.is_(None))
    return conditions


def _by_key(shelf: Shelf) -> Callable[[int], tuple[Any, ...]]:
    keys = shelf.keys()

    def place(at: int) -> tuple[Any, ...]:
        return tuple((part is not None, part) if part is not None else (False,) for part in keys[at])

    return place


def _texts(shelf: Shelf, places: Places) -> Iterator[list[str]]:
    sheet = shelf.sheet
    typed = _typed_columns(shelf)
    for column in sheet.columns:
        values = shelf.values[column.name]
        written = typed.get(column.name)
        if column.kind == "length":
            yield [text or "" for text in shelf.entered[column.name]]
        elif column.kind == "time":
            yield _times(column, values, written, list(places.zones(sheet, shelf.values)))
        elif written is not None:
            yield _as_typed(column, values, written)
        else:
            plain = {value: _plain(column, value) for value in set(values)}
            yield [plain[value] for value in values]


def _typed_columns(shelf: Shelf) -> dict[str, list[str]]:
    names = [column.name for column in shelf.sheet.columns if keeps_typed(shelf.sheet.name, column)]
    rows = [json.loads(text) for text in shelf.typed]
    return {name: [row.get(name, "") for row in rows] for name in names}


def _as_typed(column: Column, values: list[Any], written: list[str]) -> list[str]:
    """Return texts as typed where they still mean the value, else the value; empty where it was assumed."""
    known: dict[tuple[Any, str], str] = {}
    for pair in set(zip(values, written, strict=True)):
        value, text = pair
        if text and (column.name == "phase" or _means(column, text, value)):
            known[pair] = text
        elif text == "" and column.assumed is not None and _means(column, column.assumed, value):
            known[pair] = ""
        else:
            known[pair] = _plain(column, value)
    return [known[pair] for pair in zip(values, written, strict=True)]


def _means(column: Column, text: str, value: Any) -> bool:
    if value is None:
        return False
    if column.kind in ("number", "whole"):
        return cells.is_number(text) and float(Decimal(text)) == value
    return text == (_FLAG[value] if column.kind == "flag" else value)


def _plain(column: Column, value: Any) -> str:
    if value is None:
        return ""
    match column.kind:
        case "flag":
            return _FLAG[value]
        case "number" | "whole":
            return cells.plain(float(value)) if column.kind == "number" else str(int(value))
        case "date":
            day: date = value
            return day.isoformat()
        case "code":
            return cells.shielded(value)
        case "text":
            text: str = value
            # A finding's or a setting's number is a number, not text
            return text if column.name == "value" and cells.is_number(text) else cells.shielded(text)
        case _:
            return str(value)


def _times(column: Column, values: list[Any], written: list[str] | None, zones: list[str]) -> list[str]:
    known: dict[tuple[Any, str, str], str] = {}
    texts = written if written is not None else [""] * len(values)
    triples = list(zip(values, texts, zones, strict=True))
    for triple in set(triples):
        value, text, zone = triple
        if value is None:
            known[triple] = ""
            continue
        known[triple] = text if text and _still(column, value, text, zone) else cells.utc_text(value)
    return [known[triple] for triple in triples]


def _still(column: Column, value: datetime, text: str, zone: str) -> bool:
    try:
        return cells.time_of(text, column, zone=zone, today=_ALWAYS_PAST) == value
    except InputError:
        return False


def _write_csv(path: Path, header: list[str], columns: list[list[str]]) -> int:
    """Write one file (RFC 4180 quotes, LF line ends, UTF-8 without a mark) and return its number of rows."""
    quoted = [_quoted(texts) for texts in columns]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(header) + "\n")
        file.writelines(",".join(row) + "\n" for row in zip(*quoted, strict=True))
    return len(columns[0])


def _quoted(texts: list[str]) -> list[str]:
    known = {text: _quote(text) for text in set(texts)}
    return [known[text] for text in texts]


def _quote(text: str) -> str:
    if any(mark in text for mark in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text
