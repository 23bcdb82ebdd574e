"""The schema's history: bringing a record up to date, back, and telling whether it is what the models say.

Migrations are the only way the schema changes. A run of them is one transaction: foreign keys are off meanwhile on
SQLite (its batch mode rebuilds tables, and dropping a parent with them on deletes the children) and checked before the
end, the freezing triggers are lifted first and restored last, and two processes never run them at once.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import CheckConstraint, Connection, Engine, inspect
from sqlalchemy.exc import DBAPIError

from fleet.store import freeze
from fleet.store.engine import WRITES, in_words
from fleet.store.errors import StoreError
from fleet.store.types import Base

_LOCK: Final = 7_426_113_508
"""Any number, the same in every process: PostgreSQL's lock under which migrations run."""


def folder() -> Path:
    """Return where the migrations lie: inside the package once installed, beside it in a checkout."""
    package = Path(__file__).parents[1]
    installed = package / "_migrations"
    return installed if installed.is_dir() else package.parent / "migrations"


def head() -> str | None:
    """Return the newest revision there is."""
    return ScriptDirectory(str(folder())).get_current_head()


def current(engine: Engine) -> str | None:
    """Return the revision the database stands at; none where it is empty.

    Raises
    ------
    StoreError
        The database cannot be reached or read.
    """
    with _said(engine), engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def is_current(engine: Engine) -> bool:
    """Return whether the database stands at the newest revision."""
    return current(engine) == head()


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Bring the database to a revision, all the way or not at all.

    Raises
    ------
    StoreError
        The database cannot be reached, or was written by a newer version than this one.
    """
    if revision == "head" and is_current(engine):
        return
    with _said(engine), engine.connect() as connection:
        command.upgrade(_config(connection), revision)


def downgrade(engine: Engine, revision: str) -> None:
    """Bring the database back to an older revision (`base`: empty), all the way or not at all.

    Raises
    ------
    StoreError
        The database cannot be reached, or the revision is unknown.
    """
    with _said(engine), engine.connect() as connection:
        command.downgrade(_config(connection), revision)


def check(engine: Engine) -> list[str]:
    """Return what in the database differs from the models, a sentence each; nothing where all is as it should be.

    Beyond what a comparison of models sees: the names of CHECKs, indexes over expressions on SQLite, and triggers.

    Raises
    ------
    StoreError
        The database cannot be reached or read.
    """
    with _said(engine), engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        with warnings.catch_warnings():
            # SQLite does not reflect indexes over expressions; their names are compared below instead.
            warnings.filterwarnings("ignore", message="(?s).*(expression-based|functional) index")
            differences = [
                f"the models differ: {difference}" for difference in compare_metadata(context, Base.metadata)
            ]
        return [*differences, *_constraints(connection), *_triggers(connection)]


def _constraints(connection: Connection) -> list[str]:
    inspector = inspect(connection)
    stands = set(inspector.get_table_names())
    wanted: set[str] = set()
    found: set[str] = set()
    for table in Base.metadata.sorted_tables:
        if table.name not in stands:
            continue
        wanted |= {str(each.name) for each in table.constraints if isinstance(each, CheckConstraint)}
        found |= {str(each["name"]) for each in inspector.get_check_constraints(table.name)}
    if connection.dialect.name == "sqlite":
        wanted |= {str(index.name) for table in Base.metadata.sorted_tables for index in table.indexes}
        query = "select name from sqlite_master where type = 'index' and sql is not null"
        found |= {row[0] for row in connection.exec_driver_sql(query)}
    return [
        *(f"the constraint or index {name} is missing" for name in sorted(wanted - found)),
        *(f"the constraint or index {name} is not in the models" for name in sorted(found - wanted)),
    ]


def _triggers(connection: Connection) -> list[str]:
    wanted = freeze.expected(connection.dialect.name, freeze.columns_of(Base.metadata))
    found = freeze.present(connection)
    return [
        *(f"the trigger {name} is missing" for name in wanted if name not in found),
        *(f"the trigger {name} is not one of ours" for name in found if name not in wanted),
        *(
            f"the trigger {name} is not as it was written"
            for name in wanted
            if connection.dialect.name == "sqlite" and name in found and found[name] != _as_kept(wanted[name])
        ),
    ]


def _as_kept(statement: str) -> str:
    # SQLite keeps the text of a trigger as given, its first two words in capitals.
    return "CREATE TRIGGER" + statement[len("create trigger") :]


def _config(connection: Connection) -> Config:
    config = Config()
    # A per cent sign begins an interpolation in this kind of option.
    config.set_main_option("script_location", str(folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


@contextmanager
def migrating(connection: Connection) -> Iterator[None]:
    """Give the one transaction a run of migrations lives in; `env.py` runs the steps inside."""
    sqlite = connection.dialect.name == "sqlite"
    connection.execution_options(**{WRITES: True})
    if sqlite:
        # Only outside of a transaction does this have an effect; straight on the driver, as Core would begin one.
        _driver_sql(connection, "PRAGMA foreign_keys=OFF")
    try:
        with connection.begin():
            if not sqlite:
                connection.exec_driver_sql(f"select pg_advisory_xact_lock({_LOCK})")
            freeze.lift(connection)
            yield
            freeze.restore(connection)
            if sqlite:
                orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if orphans:
                    tables = ", ".join(sorted({str(row[0]) for row in orphans}))
                    raise StoreError(f"the migration would leave rows without what they refer to, in {tables}")
    finally:
        if sqlite and not connection.invalidated:
            _driver_sql(connection, "PRAGMA foreign_keys=ON")


def _driver_sql(connection: Connection, statement: str) -> None:
    cursor = connection.connection.cursor()
    cursor.execute(statement)
    cursor.close()


@contextmanager
def _said(engine: Engine) -> Iterator[None]:
    try:
        yield
    except DBAPIError as error:
        said = in_words(error, engine.url)
        if said is None:
            raise
        raise said from error
    except CommandError as error:
        raise StoreError(
            f"the record's schema is not known here ({error}); it was written by a newer version: update asleft"
        ) from error
