"""Taking a source into the store: whole or not at all, in one transaction, the same content never twice."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fleet.intake import notes
from fleet.intake.checking import check, said_key
from fleet.intake.comparing import Change, Outcome, compare
from fleet.intake.homes import MODELS, OWN_CODE, attributes, keeps_typed
from fleet.intake.known import View
from fleet.intake.layout import SHEET, SHEETS
from fleet.intake.loading import Library, load
from fleet.intake.parsing import Places, Table, understand
from fleet.intake.raw import PROBLEMS_SHOWN, IntakeError, Problem, Source, refusal, shown
from fleet.intake.source import read_source
from fleet.store import Intake, SessionCheck, SessionSignedView, VisitSession
from fleet.store.audit import as_text, record
from fleet.store.bulk import insert_rows, new_ids, table_of
from fleet.store.drafts import close_draft
from fleet.store.engine import Store
from fleet.store.versions import raise_data_version

Step = Callable[[str], None]
"""Told what is done next, in a few words; whatever it raises leaves the store as it was."""


@dataclass(frozen=True, slots=True)
class MasterChange:
    """One change of master data: which thing, which column, what it was and what it is, as text."""

    file: str
    key: str
    column: str
    before: str | None
    after: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A session that was not taken, and why."""

    session: str
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IntakeResult:
    """What an intake did, or would do (`dry_run`).

    `taken` counts new rows by file. `lines` are the codes of lines whose record changed. `notes` is what signing would
    have asked about, by session. `problems` (the first 200 of `problem_count`) are those of sessions left out.
    """

    source: str
    sha256: str
    taken: Mapping[str, int]
    changes: tuple[MasterChange, ...]
    remarks: tuple[str, ...]
    notes: Mapping[str, tuple[str, ...]]
    left_out: tuple[LeftOut, ...]
    problems: tuple[str, ...]
    problem_count: int
    lines: tuple[str, ...]
    nothing_new: bool
    dry_run: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """Something noticed while a visit was recorded, and how it was settled: `kept`, `corrected` or `read_again`."""

    survey: int | None
    check: str
    evidence: str
    settled: str
    accepted_by: str
    why: str


@dataclass(frozen=True, slots=True)
class Signing:
    """One session that was recorded and is signed by a person, rather than brought in a file.

    Parameters
    ----------
    signed_by, created_by
        Who signs, and who began to record it.
    client_key, version
        The draft it comes from and the version of it that was looked at; it is closed in the same transaction.
    settled
        What was noticed and how it was settled.
    shown
        What the signer saw, as text.
    """

    signed_by: str
    created_by: str
    client_key: str
    version: int
    settled: tuple[Settled, ...]
    shown: str


def take(
    store: Store,
    source: Path | Source,
    *,
    who: str,
    by_session: bool = False,
    dry_run: bool = False,
    today: date | None = None,
    now: datetime | None = None,
    signing: Signing | None = None,
    step: Step | None = None,
) -> IntakeResult:
    """Take a source into the store, whole or not at all.

    Parameters
    ----------
    store
        An up-to-date store.
    source
        A folder of CSV files or an XLSX workbook, or what a reader yielded.
    who
        Who brings it; signs the sessions.
    by_session
        Take the sound sessions and leave the others out.
    dry_run
        Only tell what would happen.
    today
        The day up to which things can have happened (tomorrow is let pass); none: today in UTC.
    now
        The moment of signing, aware; none: now.
    signing
        The source is one session recorded on the page, and this is how it is signed; none: `who` signs all of it.
    step
        Told what is done next; it may raise to stop it.

    Returns
    -------
    IntakeResult
        What was taken, changed, remarked on and left out.

    Raises
    ------
    IntakeError
        The source cannot be taken; the store is as it was. Its `problems` name every place.
    StaleDraftError
        The draft that is signed was changed since; the store is as it was.
    StoreError
        The database cannot be reached, is busy or full; the store is as it was.
    """
    moment = now or datetime.now(UTC)
    day = today or moment.astimezone(UTC).date()
    container = read_source(source) if isinstance(source, Path) else source
    told = step or _untold
    try:
        return _take(
            store,
            container,
            who=who,
            by_session=by_session,
            dry_run=dry_run,
            today=day,
            now=moment,
            signing=signing,
            step=told,
        )
    except IntegrityError as error:
        # Every rule of the database is checked beforehand: what breaks one now was written by somebody else meanwhile
        said = str(error.orig).splitlines()[0]
        raise IntakeError(
            (f"{container.name}: another change to the store came between ({said}); nothing was kept, try again",)
        ) from error


def _untold(_: str) -> None:
    """Nobody wants to know."""


def _take(
    store: Store,
    container: Source,
    *,
    who: str,
    by_session: bool,
    dry_run: bool,
    today: date,
    now: datetime,
    signing: Signing | None,
    step: Step,
) -> IntakeResult:
    step("waiting for the record")
    with store.read() if dry_run else store.write() as session:
        library, places = load(session, container)
        step("reading the rows")
        tables, found = understand(container, places, today=today)
        library.ids.session_line.update(places.session_line)
        notes.settle_phases(tables)
        view = View(tables, library.known, container.unread)
        step("checking the rows against each other")
        checked, remarks = check(view, places)
        step("comparing them with the record")
        outcome = compare(view, library)
        problems = _ordered([*container.problems, *found, *checked, *outcome.problems], tables)
        left_out = _left_out(problems, view, by_session=by_session)
        _drop(outcome, tables, set(left_out))
        noted = notes.of_sessions(view, places, outcome.new.get("sessions", []))
        result = _result(container, outcome, tables, places, remarks, noted, left_out, problems, dry_run=dry_run)
        if not dry_run and not result.nothing_new:
            _write(session, container, outcome, tables, library, result, who=who, now=now, signing=signing, step=step)
            step("keeping it")
    return result


def _ordered(problems: list[Problem], tables: Mapping[str, Table]) -> list[Problem]:
    """Return problems file by file in the order of the format, row by row."""
    rank = {sheet.name: at for at, sheet in enumerate(SHEETS)}
    labels = {table.label: rank[name] for name, table in tables.items()}
    return sorted(problems, key=lambda problem: (labels.get(problem.label, -1), problem.label, problem.row or 0))


def _left_out(problems: list[Problem], view: View, *, by_session: bool) -> dict[str, list[str]]:
    """Return the sessions to leave out with their problems.

    Raises
    ------
    IntakeError
        There are problems, and they are not all those of single sessions that may be left out.
    """
    if problems and (not by_session or any(problem.session is None for problem in problems)):
        raise refusal(problems)
    out: defaultdict[str, list[str]] = defaultdict(list)
    for problem in problems:
        if problem.session is not None:
            out[problem.session].append(str(problem))
    table = view.tables.get("sessions")
    grown = table is not None
    while grown and table is not None:
        grown = False
        for position, (code, old) in enumerate(zip(table.values["session"], table.values["corrects"], strict=True)):
            if code and code not in out and old in out and (old,) not in view.known.of("sessions"):
                text = f"session {shown(old)}, which it corrects, is left out"
                out[code].append(str(table.problem(position, "corrects", text)))
                grown = True
    return dict(out)


def _drop(outcome: Outcome, tables: Mapping[str, Table], sessions: set[str]) -> None:
    """Take all rows of some sessions out of what is new."""
    for name, positions in outcome.new.items():
        table = tables.get(name)
        if sessions and table is not None and "session" in table.values:
            outcome.new[name] = [at for at in positions if table.session_of(at) not in sessions]


def _result(
    source: Source,
    outcome: Outcome,
    tables: Mapping[str, Table],
    places: Places,
    remarks: list[str],
    noted: Mapping[str, tuple[str, ...]],
    left_out: Mapping[str, list[str]],
    problems: list[Problem],
    *,
    dry_run: bool,
) -> IntakeResult:
    taken = {name: len(positions) for name, positions in outcome.new.items() if positions}
    texts = [str(problem) for problem in problems]
    return IntakeResult(
        source=source.name,
        sha256=source.sha256,
        taken=taken,
        changes=tuple(
            MasterChange(
                tables[change.sheet].label,
                said_key(SHEET[change.sheet].keys, change.key),
                column,
                None if change.before[column] is None else str(change.before[column]),
                change.typed[column],
            )
            for change in outcome.changes
            for column in change.after
        ),
        remarks=(*remarks, *outcome.remarks),
        notes=noted,
        left_out=tuple(LeftOut(session, tuple(found)) for session, found in left_out.items()),
        problems=tuple(texts[:PROBLEMS_SHOWN]),
        problem_count=len(texts),
        lines=_lines(outcome, tables, places),
        nothing_new=not taken and not outcome.changes,
        dry_run=dry_run,
    )


def _lines(outcome: Outcome, tables: Mapping[str, Table], places: Places) -> tuple[str, ...]:
    touched: set[str | None] = set()
    positions = {name: list(at) for name, at in outcome.new.items()}
    for change in outcome.changes:
        positions.setdefault(change.sheet, []).append(change.position)
    for name, rows in positions.items():
        values = tables[name].values if rows else {}
        if "line" in values:
            touched |= {values["line"][at] for at in rows}
        if "session" in values:
            touched |= {places.session_line.get(values["session"][at]) for at in rows if values["session"][at]}
    return tuple(sorted(line for line in touched if line))


def _write(
    session: Session,
    source: Source,
    outcome: Outcome,
    tables: Mapping[str, Table],
    library: Library,
    result: IntakeResult,
    *,
    who: str,
    now: datetime,
    signing: Signing | None,
    step: Step,
) -> None:
    """Write what is new, children before the signature, and the proof of it."""
    (intake,) = new_ids(session, Intake, 1)
    told: dict[str, object] = {
        "taken": dict(result.taken),
        "changed": len(outcome.changes),
        "lines": list(result.lines),
    }
    if result.left_out:
        told["left_out"] = [each.session for each in result.left_out]
    proof = {
        "id": intake,
        "file_name": source.name,
        "sha256": source.sha256,
        "taken_at": now,
        "taken_by": who,
        "rows_taken": sum(result.taken.values()),
        "rows_refused": result.problem_count,
        "container": source.container,
        "files": len(source.tables),
        "rows_read": source.rows,
        "told": as_text(told),
    }
    session.execute(insert(table_of(Intake)), [proof])
    visits: list[int] = []
    # What is changed may now name what is new, and the other way round: new codes first, then the changes
    for sheet in SHEETS:
        positions = outcome.new.get(sheet.name, [])
        if not positions:
            continue
        step(f"writing {sheet.name.replace('_', ' ')}")
        if sheet.name == "sessions":
            positions = _corrected_first(tables["sessions"], positions)
        numbers = _insert(session, sheet.name, tables[sheet.name], positions, library, intake=intake, who=who, now=now)
        if sheet.name == "sessions":
            visits = numbers
    for change in outcome.changes:
        _update(session, change, library, who=who, now=now)
    after = {
        "source": source.name,
        "sha256": source.sha256,
        "taken": dict(result.taken),
        "changed": len(outcome.changes),
        "lines": list(result.lines),
        "left_out": [each.session for each in result.left_out],
        "notes": {code: list(texts) for code, texts in result.notes.items()},
    }
    record(session, at=now, who=who, what="took a source in", after=after)
    raise_data_version(session)
    if visits:
        signer = f"{who} (import, sha256 {source.sha256})"
        if signing is not None:
            signer = signing.signed_by
            _settle(session, visits, signing)
            (code,), (line,) = tables["sessions"].values["session"], tables["sessions"].values["line"]
            kept = {"session": code, "line": line, "draft": signing.client_key, "version": signing.version}
            record(session, at=now, who=who, what=f"signed session {code!r} of line {line!r}", after=kept)
        _sign(session, intake, signer, now)


def _corrected_first(table: Table, positions: list[int]) -> list[int]:
    """Return rows of sessions so that each stands after the one it corrects."""
    olds = {table.values["session"][at]: table.values["corrects"][at] for at in positions}

    def depth(at: int) -> int:
        steps, code = 0, table.values["corrects"][at]
        while code is not None:
            steps, code = steps + 1, olds.get(code)
        return steps

    return sorted(positions, key=depth)


def _insert(
    session: Session,
    name: str,
    table: Table,
    positions: list[int],
    library: Library,
    *,
    intake: int,
    who: str,
    now: datetime,
) -> list[int]:
    model = MODELS[name]
    numbers = new_ids(session, model, len(positions))
    if name in OWN_CODE:
        keys = table.keys()
        library.ids.add(name, (keys[at] for at in positions), numbers)
    columns: dict[str, Iterable[Any]] = {"id": numbers, **attributes(name, table, positions, library.ids)}
    if name == "sessions":
        count = len(positions)
        columns |= {
            "state": ["draft"] * count,
            "created_by": [who] * count,
            "updated_at": [now] * count,
            "intake_id": [intake] * count,
        }
    insert_rows(session, model, list(columns), zip(*columns.values(), strict=True))
    return numbers


def _update(session: Session, change: Change, library: Library, *, who: str, now: datetime) -> None:
    """Give a known row its new values, with what it was and is in the audit."""
    sheet = SHEET[change.sheet]
    target = table_of(MODELS[change.sheet])
    values: dict[str, Any] = {}
    for column, value in change.after.items():
        if column in ("site", "line"):
            values[f"{column}_id"] = None if value is None else library.ids.by_key[f"{column}s"][value,]
        elif column == "support":
            values["support_id"] = None if value is None else library.ids.by_key["supports"][change.key[0], value]
        else:
            values[column] = value
    typed = json.loads(session.scalar(select(target.c.typed).where(target.c.id == change.id)) or "{}")
    typed |= {name: text for name, text in change.typed.items() if keeps_typed(change.sheet, sheet.by_name[name])}
    typed = {name: text for name, text in typed.items() if text}
    values["typed"] = json.dumps(typed, ensure_ascii=False, separators=(",", ":"))
    session.execute(update(target).where(target.c.id == change.id).values(**values))
    what = f"changed {sheet.name} {said_key(sheet.keys, change.key)}"
    record(session, at=now, who=who, what=what, before=change.before, after=change.after)


def _settle(session: Session, visits: list[int], signing: Signing) -> None:
    """Hang from a recorded session what was settled and seen, and close the draft it comes from."""
    (visit,) = visits
    session.execute(
        update(table_of(VisitSession))
        .where(table_of(VisitSession).c.id == visit)
        .values(created_by=signing.created_by, client_key=signing.client_key, version=signing.version)
    )
    if signing.settled:
        rows = [
            {
                "session_id": visit,
                "survey_number": each.survey,
                "check": each.check,
                "evidence": each.evidence,
                "settled": each.settled,
                "accepted_by": each.accepted_by,
                "why": each.why,
            }
            for each in signing.settled
        ]
        session.execute(insert(table_of(SessionCheck)), rows)
    session.execute(insert(table_of(SessionSignedView)), [{"session_id": visit, "shown": signing.shown}])
    close_draft(session, signing.client_key, version=signing.version)


def _sign(session: Session, intake: int, signer: str, now: datetime) -> None:
    target = table_of(VisitSession)
    session.execute(
        update(target).where(target.c.intake_id == intake).values(state="signed", signed_by=signer, signed_at=now)
    )
