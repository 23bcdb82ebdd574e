"""Taking records in: the intake, then the derived results it touches, then what to tell the person who brought them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from fleet.intake.raw import IntakeError
from fleet.intake.source import read_source
from fleet.intake.taking import IntakeResult, take
from fleet.services.refresh import Progress, bring_up_to_date
from fleet.services.taking_in import note_nothing_new, refused
from fleet.store.engine import Store

NOTES_SHOWN: Final = 10


@dataclass(frozen=True, slots=True)
class Taken:
    """What an import did, in sentences; `left_out` are the sessions that were not taken, with every problem."""

    summary: str
    sentences: tuple[str, ...]
    left_out: tuple[str, ...]
    result: IntakeResult


def import_folder(
    store: Store,
    source: Path,
    *,
    who: str,
    by_session: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
    now: datetime | None = None,
) -> Taken:
    """Take in a folder of CSV files, or a workbook, and bring the derived results up to date.

    Parameters
    ----------
    store : the record
    source : the folder, or the XLSX workbook
    who : the person who brought it, for the record
    by_session : take the sound sessions and list the others
    dry_run : tell what would happen, change nothing
    progress : told how many surveys of how many are reduced
    now : the present moment, for tests

    Raises
    ------
    IntakeError
        The source is refused; nothing was stored but that it came in and what was wrong with it.
    """
    container = read_source(source)
    at = now or datetime.now(UTC)
    try:
        result = take(store, container, who=who, by_session=by_session, dry_run=dry_run, now=now)
    except IntakeError as error:
        if not dry_run:
            refused(store, container, error, who=who, at=at, now=now)
        raise
    if not dry_run:
        if result.nothing_new and not result.left_out:
            note_nothing_new(store, container, who, at)
        bring_up_to_date(store, progress=progress, now=now)
    return Taken(_summary(result), _sentences(result), _left_out(result), result)


def _summary(result: IntakeResult) -> str:
    if result.nothing_new:
        return f"Nothing new in {result.source}: the store holds all of it already."
    counted = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in result.taken.items() if count)
    verb = "would be taken" if result.dry_run else "taken"
    changed = len(result.changes)
    more = f"; {changed} change{'s' if changed != 1 else ''} of plant data" if changed else ""
    return f"{counted or 'no new rows'} {verb} from {result.source}{more}."


def _sentences(result: IntakeResult) -> tuple[str, ...]:
    changes = (
        f"{change.file} {change.key}: {change.column} was {change.before if change.before is not None else 'empty'}, "
        f"is now {change.after}"
        for change in result.changes
    )
    noted = [f"session {session}: {note}" for session, notes in result.notes.items() for note in notes]
    more = len(noted) - NOTES_SHOWN
    tail = (f"... and {more} more notes on sessions, kept with the import's audit entry",) if more > 0 else ()
    return (_summary(result), *changes, *result.remarks, *noted[:NOTES_SHOWN], *tail)


def _left_out(result: IntakeResult) -> tuple[str, ...]:
    if not result.left_out:
        return ()
    head = (f"session {left.session} was left out" for left in result.left_out)
    more = result.problem_count - len(result.problems)
    tail = (f"... and {more} more problems",) if more > 0 else ()
    return (*head, *result.problems, *tail)
