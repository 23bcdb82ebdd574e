"""A source as a person brings it: look first what would happen, then take it in, and every bad row where it is refused.

Whatever comes of it stands in the list of what came in. Nothing of a refused source is stored but its first problems.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal

from fleet.errors import FleetError
from fleet.intake.raw import PROBLEMS_SHOWN, IntakeError, Problem, RawTable, Source, shown
from fleet.intake.source import WORKBOOK_ENDINGS, is_workbook, read_source
from fleet.intake.taking import IntakeResult, take
from fleet.services.refresh import bring_up_to_date
from fleet.store.engine import Store
from fleet.store.noting import CameIn, note_source

__all__ = ["WORKBOOK_ENDINGS", "BadRow", "Changed", "Outlook", "StoppedError", "Tell", "bring_in", "refused"]

Result = Literal["sound", "taken", "nothing new", "refused"]
Tell = Callable[[str, bool], None]
"""Told what is done now, and whether it can still be stopped; it stops it by raising `StoppedError`."""

MOST_SHOWN: Final = 200
_LONGEST_CELL: Final = 200


class StoppedError(FleetError):
    """Somebody stopped it; the record is as it was."""


@dataclass(frozen=True, slots=True)
class BadRow:
    """One thing that stands in the way of a source.

    Attributes
    ----------
    file : name of the file, or of the workbook's sheet
    row : counted from the header, which is row 1; None where it is the whole file
    column : its name; None where it is the whole row
    found : what stands there, as sent
    right : what is wrong with it and what would be right
    sent : the row's cells that are filled, by column
    """

    file: str
    row: int | None
    column: str | None
    found: str
    right: str
    sent: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Changed:
    """Plant data that take another value: which file and thing, which column, what it was and what it is."""

    file: str
    key: str
    column: str
    before: str | None
    after: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a source would do, or did.

    Attributes
    ----------
    result : what comes of it; `sound` where it could be taken and was only looked at
    source, sha256, container, files, rows_read : the source itself; `container` is `folder`, `workbook` or None
    intake : number of its row in the list of what came in; None where it was only looked at
    taken : new rows by file, in the order of the format
    changes, change_count : changed plant data, the first 200 and how many there are
    remarks, notes, note_count : what was noticed; notes are pairs of session and sentence, the first 200
    left_out : sessions that are left out, with how many problems each has
    bad, bad_count, bad_rows : what stands in the way, the first 200; how many there are; in how many rows
    sound_sessions, other_sessions : how many sessions could be taken without the others; None where that is no way on
    before : when the same bytes were taken in before
    """

    result: Result
    source: str
    sha256: str
    container: str | None
    files: int
    rows_read: int
    intake: int | None = None
    taken: tuple[tuple[str, int], ...] = ()
    changes: tuple[Changed, ...] = ()
    change_count: int = 0
    remarks: tuple[str, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    note_count: int = 0
    left_out: tuple[tuple[str, int], ...] = ()
    bad: tuple[BadRow, ...] = ()
    bad_count: int = 0
    bad_rows: int = 0
    sound_sessions: int | None = None
    other_sessions: int | None = None


def bring_in(
    store: Store,
    place: Path,
    *,
    name: str,
    who: str,
    by_session: bool = False,
    look_only: bool = False,
    tell: Tell | None = None,
    now: datetime | None = None,
) -> Outlook:
    """Look at a source, or take it in; a refusal and a source without anything new are noted in the list either way.

    Parameters
    ----------
    store : the record
    place : the workbook, or the folder with the CSV files
    name : what the source is called
    who : who brings it, as the record keeps it
    by_session : leave out the sessions that are not sound
    look_only : only tell what would happen
    tell : told what is done, and asked whether to go on
    now : the present moment, for tests

    Raises
    ------
    StoppedError
        `tell` stopped it; the record is as it was.
    StoreError
        The record cannot be reached or written; it is as it was.
    """
    say = tell or _untold
    at = now or datetime.now(UTC)
    say("reading the files", True)
    try:
        source = replace(read_source(place), name=name)
    except IntakeError as error:
        return _unread(store, place, error, name=name, who=who, at=at)
    try:
        result = take(
            store, source, who=who, by_session=by_session, dry_run=look_only, now=now, step=lambda what: say(what, True)
        )
    except IntakeError as error:
        return refused(store, source, error, who=who, at=at, now=now)
    if result.nothing_new and not result.left_out:
        return replace(_outlook(source, result), result="nothing new", intake=note_nothing_new(store, source, who, at))
    if not look_only:
        say("working out the figures", False)
        bring_up_to_date(
            store,
            progress=lambda done, of: say(f"working out the figures, {done} of {of} surveys", False),
            now=now,
        )
    return _outlook(source, result)


def _untold(_what: str, _can_stop: bool) -> None:
    """Nobody wants to know."""


def _outlook(source: Source, result: IntakeResult) -> Outlook:
    notes = [(session, note) for session, texts in result.notes.items() for note in texts]
    return Outlook(
        result="sound" if result.dry_run else "taken",
        source=source.name,
        sha256=source.sha256,
        container=source.container,
        files=len(source.tables),
        rows_read=source.rows,
        taken=tuple(result.taken.items()),
        changes=tuple(
            Changed(change.file, change.key, change.column, change.before, change.after)
            for change in result.changes[:MOST_SHOWN]
        ),
        change_count=len(result.changes),
        remarks=result.remarks[:MOST_SHOWN],
        notes=tuple(notes[:MOST_SHOWN]),
        note_count=len(notes),
        left_out=tuple((left.session, len(left.problems)) for left in result.left_out),
    )


def note_nothing_new(store: Store, source: Source, who: str, at: datetime) -> int:
    """Keep that a source held nothing the record does not hold already; return its row in the list."""
    with store.write() as record:
        return note_source(record, _came(source), result="nothing_new", who=who, at=at)


def refused(
    store: Store, source: Source, error: IntakeError, *, who: str, at: datetime, now: datetime | None = None
) -> Outlook:
    """Keep that a source was refused, with its first problems, and return all there is to say of it.

    Parameters
    ----------
    store, source, error : the record, what was brought, and what was said of it
    who, at : who brought it, and when (aware)
    now : the present moment, for tests
    """
    bad = _bad_rows(source, error)
    rows = len({(problem.label, problem.row) for problem in error.places if problem.row is not None})
    sound, others = _sound_sessions(store, source, who, now)
    outlook = Outlook(
        result="refused",
        source=source.name,
        sha256=source.sha256,
        container=source.container,
        files=len(source.tables),
        rows_read=source.rows,
        bad=bad,
        bad_count=error.count,
        bad_rows=rows,
        sound_sessions=sound,
        other_sessions=others,
    )
    return _noted(store, outlook, who, at)


def _noted(store: Store, outlook: Outlook, who: str, at: datetime) -> Outlook:
    told = {
        "problems": [asdict(row) for row in outlook.bad],
        "problem_count": outlook.bad_count,
        "sound_sessions": outlook.sound_sessions,
        "other_sessions": outlook.other_sessions,
    }
    came = CameIn(outlook.source, outlook.sha256, outlook.container, outlook.files, outlook.rows_read)
    with store.write() as record:
        number = note_source(record, came, result="refused", who=who, at=at, rows_refused=outlook.bad_rows, told=told)
    return replace(outlook, intake=number)


def _came(source: Source) -> CameIn:
    return CameIn(source.name, source.sha256, source.container, len(source.tables), source.rows)


def _unread(store: Store, place: Path, error: IntakeError, *, name: str, who: str, at: datetime) -> Outlook:
    """Return what there is to say of a source that could not even be read."""
    workbook = is_workbook(place)
    texts = [text.removeprefix(f"{place}: ") for text in error.problems]
    outlook = Outlook(
        result="refused",
        source=name,
        sha256=_digest(place) if workbook else hashlib.sha256(b"").hexdigest(),
        container="workbook" if workbook else "folder",
        files=0,
        rows_read=0,
        bad=tuple(BadRow(name, None, None, "", text, {}) for text in texts),
        bad_count=error.count,
    )
    return _noted(store, outlook, who, at)


def _digest(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _sound_sessions(store: Store, source: Source, who: str, now: datetime | None) -> tuple[int | None, int | None]:
    """Return how many sessions could be taken without the others, and how many these are; none where none can."""
    try:
        result = take(store, source, who=who, by_session=True, dry_run=True, now=now)
    except IntakeError:
        return None, None
    sound = result.taken.get("sessions", 0)
    return (sound, len(result.left_out)) if sound else (None, None)


def _bad_rows(source: Source, error: IntakeError) -> tuple[BadRow, ...]:
    tables = {table.label: table for table in source.tables.values()}
    wheres: dict[str, dict[int, int]] = {}
    found: list[BadRow] = []
    for problem in error.places[:PROBLEMS_SHOWN]:
        table = tables.get(problem.label)
        if table is not None and problem.label not in wheres:
            wheres[problem.label] = {row: at for at, row in enumerate(table.rows)}
        at = wheres[problem.label].get(problem.row) if table is not None and problem.row is not None else None
        found.append(_bad_row(problem, table, at))
    return tuple(found)


def _bad_row(problem: Problem, table: RawTable | None, at: int | None) -> BadRow:
    sent: dict[str, str] = {}
    if table is not None and at is not None:
        sent = {name: _cut(cells[at]) for name, cells in table.columns.items() if cells[at]}
    cell = sent.get(problem.column, "") if problem.column else ""
    # The sentence begins with the cell; beside a column of its own that would be said twice.
    right = problem.text
    if cell and right.startswith(beginning := f"{shown(cell)} "):
        right = right.removeprefix(beginning)
    return BadRow(problem.label, problem.row, problem.column, cell, right, sent)


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_CELL else f"{text[:_LONGEST_CELL]}…"
