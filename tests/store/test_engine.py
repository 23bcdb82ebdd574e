"""Opening the record, and transactions that keep everything or nothing."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest
from record_rows import NOON, add, fill
from sqlalchemy import func, insert, select, text
from sqlalchemy.exc import DBAPIError

from fleet.store import Intake, Line, Reading, Site, StoreError, audit, bulk, versions
from fleet.store.engine import Store, default_url, open_engine, open_store
from fleet.store.proof import AuditEntry


def lines(store: Store) -> int:
    with store.read() as session:
        return session.scalar(select(func.count()).select_from(Line)) or 0


def test_completed_block_is_kept(store: Store) -> None:
    with store.write() as session:
        add(session, Line(code="A01"))
    assert lines(store) == 1


def test_block_left_by_an_error_keeps_nothing(store: Store) -> None:
    def fail() -> None:
        with store.write() as session:
            add(session, Line(code="A01"))
            raise KeyError("half-way")

    with pytest.raises(KeyError):
        fail()
    assert lines(store) == 0


def test_reading_keeps_nothing(store: Store) -> None:
    def write_in_a_read() -> None:
        with store.read() as session:
            add(session, Line(code="A01"))

    if store.engine.dialect.name == "postgresql":
        with pytest.raises(DBAPIError, match="read-only transaction"):
            write_in_a_read()
    else:
        write_in_a_read()
    assert lines(store) == 0


def test_reader_sees_one_state_while_somebody_writes(store: Store) -> None:
    with store.read() as reading:
        count = select(func.count()).select_from(Line)
        assert reading.scalar(count) == 0
        with store.write() as writing:
            add(writing, Line(code="A01"))
        assert reading.scalar(count) == 0
    assert lines(store) == 1


def test_writers_that_read_first_queue_instead_of_failing(store: Store) -> None:
    with store.write() as session:
        add(session, Line(code="A01", visit_hours=0.0))
    failed: list[BaseException] = []

    def raise_hours() -> None:
        try:
            for _ in range(5):
                with store.write() as session:
                    session.scalar(select(func.count()).select_from(Line))
                    session.execute(text("update line set visit_hours = visit_hours + 1"))
        except BaseException as error:
            failed.append(error)

    workers = [threading.Thread(target=raise_hours) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert failed == []
    with store.read() as session:
        assert session.scalar(select(Line.visit_hours)) == 20.0


def test_sqlite_runs_with_wal_foreign_keys_and_a_waiting_time(sqlite_store: Store) -> None:
    with sqlite_store.engine.connect() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout", "recursive_triggers")
        }
    # synchronous: 1 is NORMAL (SQLite, documentation of PRAGMA synchronous)
    expected = {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 1, "recursive_triggers": 1}
    assert found.items() >= expected.items()
    assert found["busy_timeout"] >= 10_000


def test_missing_folder_is_made(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path / 'a' / 'b' / 'record.sqlite'}")
    with engine.connect():
        pass
    engine.dispose()
    assert (tmp_path / "a" / "b" / "record.sqlite").exists()


def test_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError) as told:
        open_engine(f"sqlite:///{tmp_path / 'file' / 'record.sqlite'}")
    assert str(told.value).startswith(f"the folder {tmp_path / 'file'} for the record cannot be made (")
    assert str(told.value).endswith("); name another database")


def test_persons_own_file_is_the_default(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("platformdirs.user_data_dir", lambda name, **_: str(tmp_path / "data" / name))
    assert default_url().get_backend_name() == "sqlite"
    assert default_url().database == str(tmp_path / "data" / "asleft" / "record.sqlite")


@pytest.mark.parametrize("url", ["mysql://a@b/c", "nonsense", "", "postgresql+nothing://a@b/c"])
def test_address_that_cannot_be_used_is_refused_without_repeating_it(url: str) -> None:
    with pytest.raises(StoreError) as told:
        open_engine(url)
    assert str(told.value) == (
        "this database address cannot be used; write sqlite:///FILE or postgresql://USER@HOST/NAME"
    )


def test_server_that_is_not_there_is_told_without_its_password(tmp_path: Path) -> None:
    store = open_store(f"postgresql://kim:opensesame@/record?host={tmp_path}")
    with pytest.raises(StoreError) as told, store.read():
        pass
    assert "cannot be reached" in str(told.value)
    assert "look whether it runs and try again" in str(told.value)
    assert "opensesame" not in str(told.value)


def test_file_that_is_no_record_is_told(tmp_path: Path) -> None:
    path = tmp_path / "letter.sqlite"
    path.write_text("Dear colleagues, " * 100)
    store = open_store(f"sqlite:///{path}")
    with pytest.raises(StoreError) as told, store.read():
        pass
    assert str(told.value) == (
        f"{path} is not a readable record (file is not a database); name another database or restore a backup"
    )


def test_record_that_was_never_brought_up_to_date_is_told(tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite"
    store = open_store(f"sqlite:///{path}")
    with pytest.raises(StoreError) as told, store.read() as session:
        session.scalar(select(func.count()).select_from(Line))
    assert str(told.value) == f"the record at {path} is not up to date; run `asleft db upgrade`"
    store.close()


def test_writer_that_waits_in_vain_is_told_to_try_again(sqlite_store: Store) -> None:
    path = str(sqlite_store.engine.url.database)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with sqlite_store.engine.connect() as connection:  # the pool hands this very connection out again
        cursor = connection.connection.cursor()
        cursor.execute("PRAGMA busy_timeout=50")
        cursor.close()
    with pytest.raises(StoreError) as told, sqlite_store.write() as session:
        add(session, Line(code="A01"))
    other.execute("ROLLBACK")
    other.close()
    assert str(told.value) == f"the record at {path} is busy with another writer; try again"


def test_full_disk_is_told_and_nothing_kept(sqlite_store: Store) -> None:
    def write_much() -> None:
        with sqlite_store.write() as session:
            pages = session.execute(text("PRAGMA page_count")).scalar_one()
            session.execute(text(f"PRAGMA max_page_count = {pages + 5}"))
            session.execute(insert(Site), [{"code": f"S{n}", "name": "x" * 1000} for n in range(500)])

    with pytest.raises(StoreError) as told:
        write_much()
    path = sqlite_store.engine.url.database
    assert str(told.value) == (
        f"the disk under the record at {path} is full; nothing was kept, make room and try again"
    )
    with sqlite_store.read() as session:
        assert session.scalar(select(func.count()).select_from(Site)) == 0


def test_data_version_rises_once_per_transaction_and_not_when_it_fails(store: Store) -> None:
    with store.write() as session:
        assert versions.data_version(session) == 0
        assert versions.raise_data_version(session) == 1
        assert versions.raise_data_version(session) == 1

    def fail() -> None:
        with store.write() as session:
            versions.raise_data_version(session)
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    with store.write() as session:
        assert versions.raise_data_version(session) == 2
        assert versions.derived_state(session) == (None, None)
        versions.mark_derived(session, version=2, on=NOON.date())
        assert versions.derived_state(session) == (2, NOON.date())


def test_audit_is_kept_with_the_change_or_not_at_all(store: Store) -> None:
    with store.write() as session:
        add(session, Line(code="A01"))
        audit.record(session, at=NOON, who="kim", what="added line A01", after={"b": NOON.date(), "a": "ä"})

    def fail() -> None:
        with store.write() as session:
            audit.record(session, at=NOON, who="kim", what="never")
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    with store.read() as session:
        rows = session.execute(
            select(AuditEntry.at, AuditEntry.who, AuditEntry.what, AuditEntry.before, AuditEntry.after)
        ).all()
    assert [tuple(row) for row in rows] == [(NOON, "kim", "added line A01", None, '{"a":"ä","b":"2024-03-04"}')]


COLUMNS = ("id", "survey_id", "sequence", "station_id", "v_entered", "h_entered", "unit", "v_um", "h_um", "taken_at")


def test_many_rows_go_in_with_their_types_and_the_databases_defaults(store: Store) -> None:
    ids = fill(store)
    with store.write() as session:
        fresh = bulk.new_ids(session, Reading, 30_000)
        assert len(set(fresh)) == 30_000
        rows = (
            (
                number,
                ids.draft["survey"],
                n,
                ids.station,
                "a\tb\\",
                "é",
                "um",
                float(n % 9),
                0.0,
                NOON if n % 2 else None,
            )
            for n, number in enumerate(fresh, start=2)
        )
        bulk.insert_rows(session, Reading, COLUMNS, rows)
    with store.read() as session:
        found = session.execute(
            select(Reading.taken_at, Reading.v_entered, Reading.beam_state, Reading.typed).where(Reading.sequence == 3)
        ).all()
        assert [tuple(row) for row in found] == [(NOON, "a\tb\\", 1, "{}")]
        assert session.scalar(select(func.count()).select_from(Reading)) == 30_002


def test_many_rows_are_refused_by_the_same_rules(store: Store) -> None:
    ids = fill(store)

    def row(survey: int, v_um: float) -> tuple[object, ...]:
        return (999, survey, 99, ids.station, "1", "1", "um", v_um, 0.0, None)

    for survey, v_um, text_told in (
        (ids.signed["survey"], 1.0, "the session is signed"),
        (ids.draft["survey"], 60_000.0, "ck_reading_v_um_in_bounds"),
    ):
        with pytest.raises(Exception, match=text_told), store.write() as session:
            bulk.insert_rows(session, Reading, COLUMNS, [row(survey, v_um)])


def test_ids_handed_out_are_not_those_of_rows_that_stand(store: Store) -> None:
    with store.write() as session:
        first = add(session, Intake(file_name="a", sha256="0", taken_at=NOON, taken_by="kim", rows_taken=0))
        assert bulk.new_ids(session, Intake, 0) == []
        assert first not in bulk.new_ids(session, Intake, 3)
