"""The database itself refuses to change what was signed, dated or audited, whichever client asks.

The rules are the project's own, from its design of the record; what is tried here is written as plain SQL, as a
foreign client would.
"""

from __future__ import annotations

import sqlite3
import threading

import pytest
from record_rows import NOON, Ids, add, fill, hang_facts
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from fleet.store import Base, FrozenError, VisitSession, freeze
from fleet.store.engine import Store

HANGING = (*freeze.BY_SESSION, *freeze.BY_SURVEY)
SIGNED = freeze.SIGNED
TEXT_OF = {"session_check": "why", "session_signed_view": "shown"}
"""The column that is edited, where a table keeps no cells as they were typed."""
ONE_A_SESSION = {"session_signed_view"}


def run(store: Store, statement: str, **values: object) -> int:
    with store.write() as session:
        return session.execute(text(statement), values).rowcount  # type: ignore[attr-defined, no-any-return]


def copy_of(table: str, row: int, **changes: object) -> str:
    """Return the INSERT of a row like another."""
    columns = [column.name for column in Base.metadata.tables[table].columns if column.name != "id"]
    values = ", ".join(f"'{changes[name]}'" if name in changes else f'"{name}"' for name in columns)
    listed = ", ".join(f'"{name}"' for name in columns)
    return f'insert into "{table}" ({listed}) select {values} from "{table}" where id = {row}'


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def test_every_table_that_refers_to_a_session_or_survey_is_frozen_with_it_or_derived() -> None:
    derived = {"reduction", "reduced_offset"}
    # A draft names the session it is going to correct; nothing of it is a fact yet.
    others = {*freeze.ADDED_TO, "draft"}
    hanging = {
        table.name
        for table in Base.metadata.sorted_tables
        for key in table.foreign_keys
        if key.column.table.name in {"session", "survey"}
    }
    assert hanging - others == {*HANGING, "session", *derived}


def test_triggers_in_the_database_are_those_expected(store: Store) -> None:
    expected = freeze.expected(store.engine.dialect.name, freeze.columns_of(Base.metadata))
    with store.engine.connect() as connection:
        assert list(freeze.present(connection)) == list(expected)


@pytest.mark.parametrize("table", ["session", *HANGING])
def test_signed_session_and_its_facts_refuse_update_and_delete(store: Store, ids: Ids, table: str) -> None:
    # A survey that nothing refers to: foreign keys must not be what refuses.
    row = ids.signed["bare_survey" if table == "survey" else table]
    with pytest.raises(FrozenError) as told:
        run(store, f"update \"{table}\" set {TEXT_OF.get(table, 'typed')} = '[]' where id = {row}")
    assert str(told.value) == SIGNED
    with pytest.raises(FrozenError) as told:
        run(store, f'delete from "{table}" where id = {row}')
    assert str(told.value) == SIGNED


@pytest.mark.parametrize("table", [table for table in HANGING if table not in ONE_A_SESSION])
def test_signed_session_refuses_to_be_added_to(store: Store, ids: Ids, table: str) -> None:
    parent = (
        {"session_id": ids.signed["session"]} if table in freeze.BY_SESSION else {"survey_id": ids.signed["survey"]}
    )
    # Unlike what is there already in its key, so that only the freezing can refuse it.
    other: dict[str, dict[str, object]] = {
        "survey": {"number": 7},
        "reading": {"sequence": 7},
        "finding": {"item": "bearing play"},
        "session_check": {"why": "read thrice"},
    }
    if table in ("offset_entered", "cold_target"):
        with store.write() as session:
            session.execute(
                text("insert into station (line_id, code, distance_mm) values (:line, 'S9', 1)"), {"line": ids.line}
            )
            station = session.scalar(text("select id from station where code = 'S9'"))
        other[table] = {"station_id": station}
    if table in ("move", "support_temperature"):
        with store.write() as session:
            session.execute(
                text("insert into support (line_id, code, distance_mm) values (:line, 'U9', 1)"), {"line": ids.line}
            )
            support = session.scalar(text("select id from support where code = 'U9'"))
        other[table] = {"support_id": support}
    added = copy_of(table, ids.draft[table], **parent, **other[table])
    with pytest.raises(FrozenError) as told:
        run(store, added)
    assert str(told.value) == SIGNED
    # The very same row is taken where the session is a draft.
    parent = {"session_id": ids.draft["session"]} if table in freeze.BY_SESSION else {"survey_id": ids.draft["survey"]}
    assert run(store, copy_of(table, ids.draft[table], **parent, **other[table])) == 1


def test_signed_session_is_given_no_view_of_its_signing_afterwards(store: Store, ids: Ids) -> None:
    with store.write() as session:
        add(
            session,
            VisitSession(
                code="A01-04", line_id=ids.line, started_at=NOON, state="signed", signed_by="kim", signed_at=NOON
            ),
        )
    given = "insert into session_signed_view (session_id, shown) select id, '{}' from session where code = 'A01-04'"
    with pytest.raises(FrozenError) as told:
        run(store, given)
    assert str(told.value) == SIGNED


@pytest.mark.parametrize("table", HANGING)
def test_fact_of_a_draft_cannot_be_moved_into_a_signed_session(store: Store, ids: Ids, table: str) -> None:
    # The signed session's own row stands in the way of some keys: the database may refuse for either reason.
    column, parent = ("session_id", "session") if table in freeze.BY_SESSION else ("survey_id", "survey")
    with pytest.raises((FrozenError, IntegrityError)):
        run(store, f'update "{table}" set {column} = {ids.signed[parent]} where id = {ids.draft[table]}')


def test_survey_of_a_draft_cannot_be_moved_into_a_signed_session(store: Store, ids: Ids) -> None:
    with pytest.raises(FrozenError):
        run(
            store,
            f"update survey set session_id = {ids.signed['session']}, number = 9 where id = {ids.draft['survey']}",
        )


@pytest.mark.parametrize("table", ["session", *HANGING])
def test_draft_can_be_edited(store: Store, ids: Ids, table: str) -> None:
    column = TEXT_OF.get(table, "typed")
    assert run(store, f"update \"{table}\" set {column} = '{{}}' where id = {ids.draft[table]}") == 1


def test_draft_can_be_thrown_away(store: Store, ids: Ids) -> None:
    with store.write() as session:
        for table in (
            "reading",
            "offset_entered",
            "support_temperature",
            "move",
            "cold_target",
            "finding",
            "session_check",
            "session_signed_view",
            "bare_survey",
            "survey",
            "session",
        ):
            gone = session.execute(text(f'delete from "{table.removeprefix("bare_")}" where id = {ids.draft[table]}'))
            assert gone.rowcount == 1  # type: ignore[attr-defined]


def test_intake_can_insert_children_first_and_sign_last(store: Store, ids: Ids) -> None:
    with store.write() as session:
        visit = add(session, VisitSession(code="A01-03", line_id=ids.line, started_at=NOON))
        hang_facts(session, visit, ids.station, ids.support)
        session.execute(
            text("update session set state = 'signed', signed_by = 'kim', signed_at = started_at where id = :visit"),
            {"visit": visit},
        )
    with pytest.raises(FrozenError):
        run(store, f"update session set remarks = 'later' where id = {visit}")


def test_signed_session_cannot_become_a_draft_again(store: Store, ids: Ids) -> None:
    with pytest.raises(FrozenError):
        run(
            store,
            "update session set state = 'draft', signed_by = null, signed_at = null where id = :row",
            row=ids.signed["session"],
        )


def test_finding_of_a_signed_session_can_be_withdrawn_once_and_not_changed(store: Store, ids: Ids) -> None:
    row = ids.signed["finding"]
    withdraw = "update finding set withdrawn_at = :at, withdrawn_by = 'kim', withdrawn_why = :why where id = :row"
    at = NOON.replace(tzinfo=None) if store.engine.dialect.name == "sqlite" else NOON
    with pytest.raises(FrozenError):
        run(store, f"update finding set note = 'x', withdrawn_why = 'y' where id = {row}")
    assert run(store, withdraw, at=str(at), why="another line's", row=row) == 1
    with pytest.raises(FrozenError) as told:
        run(store, withdraw, at=str(at), why="second thoughts", row=row)
    assert str(told.value) == freeze.WITHDRAWN


@pytest.mark.parametrize("table", [*freeze.WITHDRAWN_KEYS, "support_temperature"])
def test_dated_fact_is_withdrawn_once_and_never_changed_or_deleted(store: Store, ids: Ids, table: str) -> None:
    row = ids.run[table]
    for refused in (f'delete from "{table}" where id = {row}', f"update \"{table}\" set typed = '[]' where id = {row}"):
        with pytest.raises(FrozenError) as told:
            run(store, refused)
        assert str(told.value) == freeze.WITHDRAW
    at = str(NOON.replace(tzinfo=None) if store.engine.dialect.name == "sqlite" else NOON)
    withdraw = (
        f"update \"{table}\" set withdrawn_at = :at, withdrawn_by = 'kim', withdrawn_why = 'mistyped' where id = {row}"
    )
    assert run(store, withdraw, at=at) == 1
    with pytest.raises(FrozenError) as told:
        run(
            store,
            f'update "{table}" set withdrawn_at = null, withdrawn_by = null, withdrawn_why = null where id = {row}',
        )
    assert str(told.value) == freeze.WITHDRAWN
    # One that takes its place has the same key.
    columns = [
        c.name for c in Base.metadata.tables[table].columns if c.name != "id" and not c.name.startswith("withdrawn")
    ]
    listed = ", ".join(f'"{name}"' for name in columns)
    assert run(store, f'insert into "{table}" ({listed}) select {listed} from "{table}" where id = {row}') == 1


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("update audit set who = 'nobody'", freeze.AUDIT),
        ("delete from audit", freeze.AUDIT),
        ("update proposal set why = 'second thoughts'", freeze.DECIDED),
        ("delete from proposal", freeze.DECIDED),
    ],
)
def test_audit_and_decisions_are_only_added_to(
    store: Store,
    ids: Ids,  # noqa: ARG001 - fills the record
    statement: str,
    message: str,
) -> None:
    with pytest.raises(FrozenError) as told:
        run(store, statement)
    assert str(told.value) == message


@pytest.mark.parametrize("table", ["session", *HANGING, *freeze.WITHDRAWN_KEYS, *freeze.ADDED_TO])
def test_foreign_sqlite_client_cannot_replace_a_frozen_row(sqlite_store: Store, table: str) -> None:
    ids = fill(sqlite_store)
    row = {**ids.signed, **{name: ids.run[name] for name in freeze.WITHDRAWN_KEYS}, "audit": 1, "proposal": 1}[table]
    # A plain client: foreign keys off and recursive triggers off, as SQLite comes.
    client = sqlite3.connect(str(sqlite_store.engine.url.database))
    names = [column.name for column in Base.metadata.tables[table].columns]
    kept = client.execute(f'select * from "{table}" where id = {row}').fetchone()
    for key in (names, [name for name in names if name != "id"]):
        if table in freeze.ADDED_TO and key is not names:
            continue
        listed = ", ".join(f'"{name}"' for name in key)
        with pytest.raises(sqlite3.IntegrityError):
            client.execute(
                f'insert or replace into "{table}" ({listed}) select {listed} from "{table}" where id = {row}'
            )
    assert client.execute(f'select * from "{table}" where id = {row}').fetchone() == kept
    client.close()


@pytest.mark.postgres
@pytest.mark.parametrize("table", ["session", *HANGING, *freeze.WITHDRAWN_KEYS, *freeze.ADDED_TO])
def test_postgresql_refuses_to_truncate_what_is_frozen(postgres_store: Store, table: str) -> None:
    fill(postgres_store)
    with pytest.raises(FrozenError):
        run(postgres_store, f'truncate "{table}" cascade')


@pytest.mark.postgres
def test_signing_on_postgresql_waits_for_whoever_still_adds_to_the_session(postgres_store: Store) -> None:
    ids = fill(postgres_store)
    draft, survey = ids.draft["session"], ids.draft["survey"]
    adding, finished = threading.Event(), threading.Event()
    order: list[str] = []

    def sign() -> None:
        adding.wait(10)
        run(
            postgres_store,
            "update session set state = 'signed', signed_by = 'kim', signed_at = started_at where id = :row",
            row=draft,
        )
        order.append("signed")
        finished.set()

    signer = threading.Thread(target=sign)
    signer.start()
    with postgres_store.write() as session:
        session.execute(text(copy_of("reading", ids.draft["reading"], sequence=2)))
        adding.set()
        assert not finished.wait(0.5), "signed although another transaction is adding a reading"
        order.append("added")
    signer.join(10)
    assert order == ["added", "signed"]
    with pytest.raises(FrozenError):
        run(postgres_store, copy_of("reading", ids.draft["reading"], sequence=3, survey_id=survey))


def test_one_correction_per_session(store: Store, ids: Ids) -> None:
    def correct(code: str) -> None:
        with store.write() as session:
            add(
                session,
                VisitSession(
                    code=code,
                    line_id=ids.line,
                    started_at=NOON,
                    corrects_id=ids.signed["session"],
                    correction_reason="unit mistyped",
                ),
            )

    correct("A01-01b")
    with pytest.raises(IntegrityError):
        correct("A01-01c")
