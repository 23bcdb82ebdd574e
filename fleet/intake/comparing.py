"""A source against the store: what is new, what is there already, what master data change, what has to be refused.

Content is compared by meaning: `0.10` is `0.1`, 0.1 mm is 100 um, an assumed value is what it is assumed to be.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from fleet.intake.cells import is_number
from fleet.intake.checking import said_key
from fleet.intake.homes import Shelf
from fleet.intake.known import Key, Stored, View
from fleet.intake.layout import SESSION_SHEETS
from fleet.intake.loading import Library
from fleet.intake.parsing import Table
from fleet.intake.raw import Problem, shown

CHILDREN: Final = (*SESSION_SHEETS[1:], "support_temperatures")


@dataclass(frozen=True, slots=True)
class Change:
    """New values of a row that is known: by column, before and after, as meant; `typed` as written."""

    sheet: str
    position: int
    id: int
    key: Key
    before: dict[str, Any]
    after: dict[str, Any]
    typed: dict[str, str]


@dataclass(slots=True)
class Outcome:
    """What an intake would do."""

    new: dict[str, list[int]] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def meaning(sheet: str, column: str, value: Any) -> Any:
    """Return a value as it is compared: numbers within free text by their worth."""
    if column == "value" and sheet in ("settings", "findings") and isinstance(value, str) and is_number(value):
        return Decimal(value)
    return value


def compare(view: View, library: Library) -> Outcome:
    """Compare every row of a source with the store; rows with a problem are passed over.

    Parameters
    ----------
    view
        The source with what the store knows.
    library
        The store's rows; what hangs from known sessions is read through it.
    """
    outcome = Outcome()
    for name, table in view.tables.items():
        if name in CHILDREN or name == "sessions":
            continue
        if table.sheet.treatment in ("master", "placement"):
            _master(name, table, view, outcome)
        else:
            _facts(name, table, range(len(table)), view, library, outcome)
    _visits(view, library, outcome)
    return outcome


def _master(name: str, table: Table, view: View, outcome: Outcome) -> None:
    new = outcome.new.setdefault(name, [])
    known = view.known.of(name)
    for position, key in enumerate(table.keys()):
        if position in table.bad:
            continue
        stored = known.get(key)
        if stored is None:
            new.append(position)
            continue
        change = _change(name, table, position, key, stored)
        if change is None:
            continue
        locked = [c for c in change.after if c != "removed_on"] if table.sheet.treatment == "placement" else []
        if not locked and table.sheet.treatment == "placement" and change.before["removed_on"] is not None:
            locked = ["removed_on"]
        for column in locked:
            outcome.problems.append(
                table.problem(
                    position,
                    column,
                    f"{shown(table.typed[column][position])} differs from the store, which holds "
                    f"{shown(str(change.before[column]))}; a placement can only gain removed_on",
                )
            )
        if not locked:
            outcome.changes.append(change)


def _change(name: str, table: Table, position: int, key: Key, stored: Stored) -> Change | None:
    """Return what the filled (or emptying) cells of a row change, if anything."""
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    typed: dict[str, str] = {}
    for column in table.sheet.columns:
        text = table.typed[column.name][position]
        if column.key or (text == "" and column.name not in table.empties):
            continue
        value, was = table.values[column.name][position], stored.values[column.name]
        if meaning(name, column.name, value) != meaning(name, column.name, was):
            before[column.name], after[column.name], typed[column.name] = was, value, text
    return Change(name, position, stored.id, key, before, after, typed) if after else None


def _rows(name: str, values: dict[str, list[Any]]) -> Iterator[tuple[Any, ...]]:
    columns = [
        [meaning(name, column, value) for value in cells] if column == "value" else cells
        for column, cells in values.items()
        if column != "unit" or name == "findings"
    ]
    return zip(*columns, strict=True)


def _facts(
    name: str, table: Table, positions: range | list[int], view: View, library: Library, outcome: Outcome
) -> None:
    """Sort dated facts into new, known and refused; what was withdrawn stays so."""
    new = outcome.new.setdefault(name, [])
    known = view.known.of(name)
    shelf = library.shelves.get(name)
    order = list(table.values)
    withdrawn = _withdrawn(name, shelf, order)
    rows = list(_rows(name, table.values))
    kept = [column for column in order if column != "unit" or name == "findings"]
    keys = table.keys()
    for position in positions:
        if position in table.bad:
            continue
        stored = known.get(keys[position])
        if rows[position] in withdrawn and (stored is None or rows[position] != _as_row(name, kept, stored)):
            outcome.remarks.append(
                f"{table.label} row {table.rows[position]}: this fact was withdrawn from the store and stays so"
            )
            continue
        if stored is None:
            new.append(position)
            continue
        for column, value in zip(kept, rows[position], strict=True):
            was = meaning(name, column, stored.values[column])
            if value != was:
                outcome.problems.append(_differs(table, position, column, was))


def _as_row(name: str, kept: list[str], stored: Stored) -> tuple[Any, ...]:
    """Return a fact in force as it is compared with the rows of a source."""
    return tuple(meaning(name, column, stored.values[column]) for column in kept)


def _withdrawn(name: str, shelf: Shelf | None, order: list[str]) -> set[tuple[Any, ...]]:
    if shelf is None or "withdrawn" not in shelf.state:
        return set()
    rows = _rows(name, {column: shelf.values[column] for column in order})
    return {row for row, state in zip(rows, shelf.state, strict=True) if state == "withdrawn"}


def _differs(table: Table, position: int, column: str, was: Any) -> Problem:
    written = table.typed[column][position]
    given = shown(written) if written else "an empty cell"
    there = "nothing" if was is None else shown(str(was))
    remedy = "withdraw it there first" if table.sheet.name != "sessions" else "record a session that corrects it"
    return table.problem(position, column, f"{given} differs from the store, which holds {there}; {remedy}")


def _visits(view: View, library: Library, outcome: Outcome) -> None:
    """Sort sessions and what hangs from them: a known session has to be the same altogether."""
    known = view.known.of("sessions")
    listed: dict[str, int] = {}
    table = view.tables.get("sessions")
    if table is not None:
        new = outcome.new.setdefault("sessions", [])
        for position, (code,) in enumerate(table.keys()):
            if code is None or position in table.bad:
                continue
            stored = known.get((code,))
            if stored is None:
                new.append(position)
                continue
            if stored.state == "draft":
                outcome.problems.append(
                    table.problem(
                        position, "session", f"{shown(code)} is a draft in the store; sign or discard it first"
                    )
                )
                continue
            listed[code] = position
            for column, cells in table.values.items():
                if cells[position] != stored.values[column]:
                    outcome.problems.append(_differs(table, position, column, stored.values[column]))
    frozen = {key[0] for key in known}
    for name in CHILDREN:
        child = view.tables.get(name)
        if child is not None or listed:
            _hanging(name, child, frozen, listed, view, library, outcome)


def _hanging(
    name: str,
    table: Table | None,
    frozen: set[str],
    listed: dict[str, int],
    view: View,
    library: Library,
    outcome: Outcome,
) -> None:
    new: list[int] = []
    old: defaultdict[str, list[int]] = defaultdict(list)
    runs: list[int] = []
    if table is not None:
        for position, session in enumerate(table.values["session"]):
            if session in frozen:
                old[session].append(position)
            elif position in table.bad:
                continue
            elif session is None:
                runs.append(position)
            else:
                new.append(position)
        outcome.new[name] = new
        if runs and name == "support_temperatures":
            _facts(name, table, runs, view, library, outcome)
    touched = set(old) | set(listed)
    if not touched:
        return
    shelf = library.contents(name, touched)
    order = list(shelf.values)
    content: defaultdict[str, Counter[tuple[Any, ...]]] = defaultdict(Counter)
    for session, row in zip(shelf.values["session"], _rows(name, shelf.values), strict=True):
        content[session][row] += 1
    rows = list(_rows(name, {column: table.values[column] for column in order})) if table is not None else []
    drafts = {key[0] for key, stored in view.known.of("sessions").items() if stored.state == "draft"}
    for session in sorted(touched):
        mine = old.get(session, [])
        if session in drafts and table is not None:
            text = f"session {shown(session)} is a draft in the store; sign or discard it first"
            outcome.problems.append(table.problem(mine[0], "session", text))
            continue
        stranger = next((at for at in mine if rows[at] not in content[session]), None)
        if stranger is not None and table is not None:
            if stranger not in table.bad:
                key = said_key(table.sheet.keys, table.keys()[stranger])
                outcome.problems.append(
                    table.problem(
                        stranger,
                        None,
                        f"{key} is not so in the store, where session {shown(session)} is signed; "
                        "record a session that corrects it",
                    )
                )
        elif session in listed and len(mine) < content[session].total():
            sessions = view.tables["sessions"]
            outcome.problems.append(
                sessions.problem(
                    listed[session],
                    None,
                    f"session {shown(session)} is signed in the store with {content[session].total()} rows of {name}, "
                    f"here are {len(mine)}; leave it as it was or record a session that corrects it",
                )
            )
