"""What the database itself refuses, whichever client asks: triggers for both engines.

A signed session and all that hangs from it is never updated, deleted or added to, so an intake inserts children first
and sets `signed` last in the same transaction. Running checks, meters, tolerances, events, wear (and the findings of a
signed session) can be withdrawn, once, and are otherwise never changed or deleted. The audit and the decisions on
proposals are only ever added to.

The triggers are written from the columns a database has: every run of migrations lifts them first and restores them
last, in its own transaction, because SQLite's batch mode rebuilds tables and drops their triggers without a word.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from sqlalchemy import Connection, MetaData, inspect

from fleet.store.engine import FROZEN_MARK
from fleet.store.types import WITHDRAW_COLUMNS

PREFIX: Final = "frozen_"

BY_SESSION: Final = ("survey", "move", "cold_target", "finding", "session_check", "session_signed_view")
"""Tables whose rows hang from a session by session_id."""

BY_SURVEY: Final = ("reading", "offset_entered", "support_temperature")
"""Tables whose rows hang from a session by survey_id."""

WITHDRAWN_KEYS: Final = {
    "running_check": ("line_id", "checked_at", "station_id"),
    "meter": ("line_id", "read_at"),
    "tolerance": ("line_id", "station_id", "axis", "measure", "from_on"),
    "event": ("line_id", "happened_at", "kind", "station_id", "support_id"),
    "wear": ("gearbox_id", "barrel_id", "screw_id", "measured_at", "distance_mm"),
}
"""Dated facts that are withdrawn, never deleted, with what is unique among those in force."""

SIGNED: Final = "the session is signed; record a correction, a new session that corrects it"
WITHDRAW: Final = "this fact is never changed or deleted; withdraw it and record it anew"
WITHDRAWN: Final = "this fact was withdrawn already and stays as it is"
AUDIT: Final = "the audit is only ever added to"
DECIDED: Final = "a decision on a proposal is never changed or deleted; withdraw the event it made"

ADDED_TO: Final = {"audit": AUDIT, "proposal": DECIDED}
"""Tables whose rows are never changed, never deleted and never withdrawn."""

Columns = Mapping[str, Sequence[str]]


def expected(dialect: str, columns: Columns) -> dict[str, str]:
    """Return the triggers a database with these tables and columns has: {name: CREATE TRIGGER ...}."""
    built = _sqlite(columns) if dialect == "sqlite" else _postgresql(columns)
    return dict(sorted(built.items()))


def columns_of(metadata: MetaData) -> dict[str, list[str]]:
    """Return the tables and columns of the models."""
    return {table.name: [column.name for column in table.columns] for table in metadata.sorted_tables}


def present(connection: Connection) -> dict[str, str]:
    """Return the freezing triggers that stand in the database: {name: definition as the database keeps it}."""
    if connection.dialect.name == "sqlite":
        query = "select name, sql from sqlite_master where type = 'trigger'"
    else:
        query = (
            "select t.tgname, pg_get_triggerdef(t.oid) from pg_trigger t join pg_class c on c.oid = t.tgrelid"
            " where not t.tgisinternal and c.relnamespace = current_schema()::regnamespace"
        )
    rows = connection.exec_driver_sql(query)
    return {name: text for name, text in sorted((row[0], row[1]) for row in rows) if name.startswith(PREFIX)}


def lift(connection: Connection) -> None:
    """Take the freezing triggers off, for migrations only: `restore` belongs into the same transaction."""
    if connection.dialect.name == "sqlite":
        for name in present(connection):
            connection.exec_driver_sql(f'drop trigger "{name}"')
        return
    # In PostgreSQL a trigger goes with its function.
    for name in _FUNCTIONS:
        connection.exec_driver_sql(f"drop function if exists {name}() cascade")


def restore(connection: Connection) -> None:
    """Put the freezing triggers on, as the tables and columns that stand there want them."""
    inspector = inspect(connection)
    columns = {name: [column["name"] for column in inspector.get_columns(name)] for name in inspector.get_table_names()}
    lift(connection)
    if connection.dialect.name == "postgresql" and "session" in columns:
        for body in _FUNCTIONS.values():
            # The driver reads % as the start of a parameter.
            connection.exec_driver_sql(body.replace("%", "%%"))
    for statement in expected(connection.dialect.name, columns).values():
        connection.exec_driver_sql(statement)


def _fixed(table: str, columns: Columns) -> str:
    """Return all columns of a table but those that withdraw it."""
    return ", ".join(column for column in columns[table] if column not in WITHDRAW_COLUMNS)


# --- SQLite ---------------------------------------------------------------------------------------------------------


def _sqlite(columns: Columns) -> dict[str, str]:
    built: dict[str, str] = {}

    def add(table: str, what: str, moment: str, when: str, message: str) -> None:
        name = f"{PREFIX}{table}_{what}"
        condition = f" when {when}" if when else ""
        built[name] = (
            f'create trigger "{name}" before {moment} on "{table}" for each row{condition}'
            f" begin select raise(abort, '{message}'); end"
        )

    def refuse(table: str, what: str, moment: str, when: str, message: str) -> None:
        add(table, what, moment, when, FROZEN_MARK + message)

    def keep_from_replace(table: str, kept: str) -> None:
        # INSERT OR REPLACE deletes what stands in its way without asking the delete trigger (unless the client turned
        # recursive_triggers on); told as the breach of uniqueness that a plain INSERT commits here.
        message = f"UNIQUE constraint failed: {table} (what stands there is never replaced)"
        add(table, "replace", "insert", f'exists (select 1 from "{table}" kept where {kept})', message)

    if "session" not in columns:
        return built
    refuse("session", "update", "update", "old.state = 'signed'", SIGNED)
    refuse("session", "delete", "delete", "old.state = 'signed'", SIGNED)
    keep_from_replace(
        "session",
        "kept.state = 'signed' and (kept.id = new.id or kept.code = new.code or kept.client_key = new.client_key"
        " or kept.corrects_id = new.corrects_id)",
    )
    for table in (*BY_SESSION, *BY_SURVEY):
        if table not in columns:
            continue
        of = f"update of {_fixed(table, columns)}" if table == "finding" else "update"
        old, new = _is_signed(table, "old"), _is_signed(table, "new")
        replaced = f'exists (select 1 from "{table}" kept where kept.id = new.id and {_is_signed(table, "kept")})'
        refuse(table, "insert", "insert", f"{new} or {replaced}", SIGNED)
        refuse(table, "update", of, f"{old} or {new}", SIGNED)
        refuse(table, "delete", "delete", old, SIGNED)
    if "support_temperature" in columns:
        table, of_run = "support_temperature", "old.line_id is not null"
        refuse(table, "run_update", f"update of {_fixed(table, columns)}", of_run, WITHDRAW)
        refuse(table, "run_delete", "delete", of_run, WITHDRAW)
    for table in (*WITHDRAWN_KEYS, "finding", "support_temperature"):
        if table in columns:
            refuse(table, "withdrawn", "update", "old.withdrawn_at is not null", WITHDRAWN)
    for table, key in WITHDRAWN_KEYS.items():
        if table not in columns:
            continue
        refuse(table, "update", f"update of {_fixed(table, columns)}", "", WITHDRAW)
        refuse(table, "delete", "delete", "", WITHDRAW)
        same = " and ".join(f"kept.{column} is new.{column}" for column in key)
        in_force = "kept.withdrawn_at is null and new.withdrawn_at is null"
        keep_from_replace(table, f"kept.id = new.id or ({in_force} and {same})")
    for table, message in ADDED_TO.items():
        if table in columns:
            refuse(table, "update", "update", "", message)
            refuse(table, "delete", "delete", "", message)
            keep_from_replace(table, "kept.id = new.id")
    return built


def _is_signed(table: str, row: str) -> str:
    """Return the SQL that tells whether the session a row hangs from is signed."""
    if table in BY_SESSION:
        return f"exists (select 1 from session s where s.id = {row}.session_id and s.state = 'signed')"
    return (
        "exists (select 1 from survey v join session s on s.id = v.session_id"
        f" where v.id = {row}.survey_id and s.state = 'signed')"
    )


# --- PostgreSQL -----------------------------------------------------------------------------------------------------
# Rows that hang from a session are looked at once per statement, by transition tables: a million readings copied in
# cost one join. The session's row is locked FOR SHARE, so that nobody signs it while somebody else still adds to it.

_RAISE: Final = f"raise exception '{FROZEN_MARK}%', {{what}} using errcode = 'restrict_violation';"
_REFUSE_SIGNED: Final = "if found_state = 'signed' then " + _RAISE.format(what="'" + SIGNED + "'") + " end if;"

_FUNCTIONS: Final = {
    f"{PREFIX}refuse": f"create function {PREFIX}refuse() returns trigger language plpgsql as $$ begin "
    + _RAISE.format(what="tg_argv[0]")
    + " end $$",
    f"{PREFIX}by_session": f"create function {PREFIX}by_session() returns trigger language plpgsql as $$"
    " declare found_state text; begin"
    " for found_state in select s.state from session s where s.id in (select session_id from touched)"
    f" order by s.id for share loop {_REFUSE_SIGNED} end loop; return null; end $$",
    f"{PREFIX}by_survey": f"create function {PREFIX}by_survey() returns trigger language plpgsql as $$"
    " declare found_state text; begin"
    " for found_state in select s.state from session s where s.id in"
    " (select v.session_id from survey v where v.id in (select survey_id from touched))"
    f" order by s.id for share loop {_REFUSE_SIGNED} end loop; return null; end $$",
    f"{PREFIX}row_by_session": f"create function {PREFIX}row_by_session() returns trigger language plpgsql as $$"
    " declare found_state text; begin"
    " for found_state in select s.state from session s where s.id in (old.session_id, new.session_id)"
    f" order by s.id for share loop {_REFUSE_SIGNED} end loop; return new; end $$",
}


def _postgresql(columns: Columns) -> dict[str, str]:
    built: dict[str, str] = {}

    def add(table: str, what: str, moment: str, rest: str) -> None:
        name = f"{PREFIX}{table}_{what}"
        built[name] = f'create trigger "{name}" {moment} on "{table}" {rest}'

    def refuse(table: str, what: str, moment: str, when: str, message: str) -> None:
        condition = f"when ({when}) " if when else ""
        add(table, what, f"before {moment}", f"for each row {condition}execute function {PREFIX}refuse('{message}')")

    def refuse_truncate(table: str, message: str) -> None:
        add(table, "truncate", "before truncate", f"for each statement execute function {PREFIX}refuse('{message}')")

    if "session" not in columns:
        return built
    refuse("session", "update", "update", "old.state = 'signed'", SIGNED)
    refuse("session", "delete", "delete", "old.state = 'signed'", SIGNED)
    refuse_truncate("session", SIGNED)
    for table in (*BY_SESSION, *BY_SURVEY):
        if table not in columns:
            continue
        function = f"{PREFIX}by_session()" if table in BY_SESSION else f"{PREFIX}by_survey()"
        touched = "referencing {} table as touched for each statement execute function " + function
        add(table, "insert", "after insert", touched.format("new"))
        add(table, "delete", "after delete", touched.format("old"))
        if table == "finding":
            row = f"for each row execute function {PREFIX}row_by_session()"
            add(table, "update", f"before update of {_fixed(table, columns)}", row)
        else:
            add(table, "update", "after update", touched.format("old"))
            add(table, "update_into", "after update", touched.format("new"))
        refuse_truncate(table, SIGNED)
    if "support_temperature" in columns:
        table, of_run = "support_temperature", "old.line_id is not null"
        refuse(table, "run_update", f"update of {_fixed(table, columns)}", of_run, WITHDRAW)
        refuse(table, "run_delete", "delete", of_run, WITHDRAW)
    for table in (*WITHDRAWN_KEYS, "finding", "support_temperature"):
        if table in columns:
            refuse(table, "withdrawn", "update", "old.withdrawn_at is not null", WITHDRAWN)
    for table in WITHDRAWN_KEYS:
        if table not in columns:
            continue
        refuse(table, "update", f"update of {_fixed(table, columns)}", "", WITHDRAW)
        refuse(table, "delete", "delete", "", WITHDRAW)
        refuse_truncate(table, WITHDRAW)
    for table, message in ADDED_TO.items():
        if table in columns:
            refuse(table, "update", "update", "", message)
            refuse(table, "delete", "delete", "", message)
            refuse_truncate(table, message)
    return built
