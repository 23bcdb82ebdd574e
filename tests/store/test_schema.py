"""The schema's history runs forth and back on both engines and ends at what the models say."""

from __future__ import annotations

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


def test_bringing_an_up_to_date_record_up_to_date_changes_nothing(store: Store) -> None:
    fill(store)
    before = counts(store)
    schema.upgrade(store.engine)
    assert counts(store) == before


def test_check_tells_of_a_missing_index_trigger_and_column(store: Store) -> None:
    on = ' on "meter"' if store.engine.dialect.name == "postgresql" else ""
    with store.write() as session:
        session.execute(text("drop index uq_move_key"))
        session.execute(text(f"drop trigger frozen_meter_delete{on}"))
        session.execute(text('alter table "screw" drop column "diameter_mm"') if on else text("select 1"))
    told = " | ".join(schema.check(store.engine))
    assert "uq_move_key" in told
    assert "the trigger frozen_meter_delete is missing" in told
    if on:
        assert "diameter_mm" in told


def test_going_back_and_up_again_with_data_in_every_table_leaves_an_empty_current_record(store: Store) -> None:
    fill(store)
    assert all(count > 0 for count in counts(store).values()), "a table without rows is not tried"
    schema.downgrade(store.engine, "base")
    assert set(inspect(store.engine).get_table_names()) <= {"alembic_version"}
    schema.upgrade(store.engine)
    assert schema.check(store.engine) == []
    assert {name for name, count in counts(store).items() if count} == {"store_state"}


def test_running_the_migrations_over_a_full_record_keeps_rows_and_triggers(store: Store) -> None:
    fill(store)
    before = counts(store)
    with store.engine.connect() as connection, schema.migrating(connection):
        pass
    assert counts(store) == before
    assert schema.check(store.engine) == []


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


def test_failed_migration_leaves_everything_as_it_was(store: Store) -> None:
    fill(store)
    before = counts(store)

    def fail_half_way() -> None:
        with store.engine.connect() as connection, schema.migrating(connection):
            connection.exec_driver_sql("drop table line_state")
            raise RuntimeError("half-way")

    with pytest.raises(RuntimeError, match="half-way"):
        fail_half_way()
    assert counts(store) == before
    assert schema.check(store.engine) == []


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


def test_record_of_a_newer_version_is_refused_with_the_remedy(store: Store) -> None:
    with store.write() as session:
        session.execute(text("update alembic_version set version_num = 'ffffffffffff'"))
    with pytest.raises(StoreError, match="it was written by a newer version: update asleft"):
        schema.upgrade(store.engine)
