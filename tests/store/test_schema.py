"""The schema's history runs forth and back on both engines and ends at what the models say."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from record_rows import fill
from sqlalchemy import Engine, func, inspect, select, text

from fleet.store import Base, StoreError, schema
from fleet.store.engine import Store

ROOT = Path(__file__).parents[2]


def counts(store: Store) -> dict[str, int]:
    with store.read() as session:
        return {
            table.name: session.scalar(select(func.count()).select_from(table)) or 0
            for table in Base.metadata.sorted_tables
        }


def test_history_has_one_head_and_one_beginning() -> None:
    scripts = ScriptDirectory(str(schema.folder()))
    assert len(scripts.get_heads()) == 1
    assert len(scripts.get_bases()) == 1


def test_command_line_and_package_find_the_same_migrations() -> None:
    with (ROOT / "pyproject.toml").open("rb") as file:
        location = tomllib.load(file)["tool"]["alembic"]["script_location"]
    assert Path(location.replace("%(here)s", str(ROOT))) == schema.folder()
    config = Config(toml_file=str(ROOT / "pyproject.toml"))
    assert ScriptDirectory.from_config(config).get_current_head() == schema.head()


def test_every_revision_opens_with_a_sentence_and_can_go_back() -> None:
    for revision in ScriptDirectory(str(schema.folder())).walk_revisions():
        assert revision.doc.endswith("."), revision.revision
        assert callable(revision.module.downgrade), revision.revision


def test_empty_database_is_brought_to_what_the_models_say(empty_engine: Engine) -> None:
    assert schema.current(empty_engine) is None
    assert not schema.is_current(empty_engine)
    schema.upgrade(empty_engine)
    assert schema.current(empty_engine) == schema.head()
    assert schema.is_current(empty_engine)
    assert schema.check(empty_engine) == []


def test_bringing_an_up_to_date_record_up_to_date_changes_nothing(own_store: Store) -> None:
    fill(own_store)
    before = counts(own_store)
    schema.upgrade(own_store.engine)
    assert counts(own_store) == before


def test_check_tells_of_a_missing_index_trigger_and_column(own_store: Store) -> None:
    on = ' on "meter"' if own_store.engine.dialect.name == "postgresql" else ""
    with own_store.write() as session:
        session.execute(text("drop index uq_move_key"))
        session.execute(text(f"drop trigger frozen_meter_delete{on}"))
        session.execute(text('alter table "screw" drop column "diameter_mm"') if on else text("select 1"))
    told = " | ".join(schema.check(own_store.engine))
    assert "uq_move_key" in told
    assert "the trigger frozen_meter_delete is missing" in told
    if on:
        assert "diameter_mm" in told


def test_going_back_and_up_again_with_data_in_every_table_leaves_an_empty_current_record(own_store: Store) -> None:
    fill(own_store)
    assert all(count > 0 for count in counts(own_store).values()), "a table without rows is not tried"
    schema.downgrade(own_store.engine, "base")
    assert set(inspect(own_store.engine).get_table_names()) <= {"alembic_version"}
    schema.upgrade(own_store.engine)
    assert schema.check(own_store.engine) == []
    assert {name for name, count in counts(own_store).items() if count} == {"store_state"}


def test_running_the_migrations_over_a_full_record_keeps_rows_and_triggers(own_store: Store) -> None:
    fill(own_store)
    before = counts(own_store)
    with own_store.engine.connect() as connection, schema.migrating(connection):
        pass
    assert counts(own_store) == before
    assert schema.check(own_store.engine) == []


def test_rebuilding_a_parent_table_in_batch_mode_keeps_children_and_triggers(sqlite_store: Store) -> None:
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    fill(sqlite_store)
    before = counts(sqlite_store)
    with sqlite_store.engine.connect() as connection, schema.migrating(connection):
        operations = Operations(MigrationContext.configure(connection))
        with operations.batch_alter_table("session", recreate="always") as batch:
            batch.alter_column("reason", nullable=True)
    assert counts(sqlite_store) == before
    assert schema.check(sqlite_store.engine) == []


def test_failed_migration_leaves_everything_as_it_was(own_store: Store) -> None:
    fill(own_store)
    before = counts(own_store)

    def fail_half_way() -> None:
        with own_store.engine.connect() as connection, schema.migrating(connection):
            connection.exec_driver_sql("drop table line_state")
            raise RuntimeError("half-way")

    with pytest.raises(RuntimeError, match="half-way"):
        fail_half_way()
    assert counts(own_store) == before
    assert schema.check(own_store.engine) == []


def test_migration_that_leaves_orphans_on_sqlite_is_undone(sqlite_store: Store) -> None:
    fill(sqlite_store)
    before = counts(sqlite_store)
    with (
        pytest.raises(StoreError, match="the migration would leave rows without what they refer to, in placement"),
        sqlite_store.engine.connect() as connection,
        schema.migrating(connection),
    ):
        connection.exec_driver_sql("delete from gearbox")
    assert counts(sqlite_store) == before


def test_two_processes_that_bring_one_record_up_to_date_at_once_both_succeed(empty_engine: Engine) -> None:
    url = empty_engine.url.render_as_string(hide_password=False)
    script = (
        "import sys; from fleet.store import schema; from fleet.store.engine import open_engine;"
        " schema.upgrade(open_engine(sys.argv[1]))"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    started = [
        subprocess.Popen([sys.executable, "-c", script, url], env=environment, stderr=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    told = [process.communicate(timeout=60)[1] for process in started]
    assert [process.returncode for process in started] == [0, 0], told
    assert schema.check(empty_engine) == []


def test_record_of_a_newer_version_is_refused_with_the_remedy(own_store: Store) -> None:
    with own_store.write() as session:
        session.execute(text("update alembic_version set version_num = 'ffffffffffff'"))
    with pytest.raises(StoreError, match="it was written by a newer version: update asleft"):
        schema.upgrade(own_store.engine)
