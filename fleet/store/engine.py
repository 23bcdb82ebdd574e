"""Opening the database and handing out transactions that keep everything or nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import platformdirs
from sqlalchemy import URL, Engine, create_engine, event, make_url
from sqlalchemy.engine import Connection
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError
from sqlalchemy.orm import Session

from fleet.store.errors import FrozenError, StoreError

WRITES: Final = "asleft_writes"
"""Execution option of a connection that is going to write."""

FROZEN_MARK: Final = "frozen: "
"""What the text of every refusal by a freezing trigger begins with."""

_BUSY_MS: Final = 30_000
_ENGINES: Final = ("sqlite", "postgresql")


def default_url() -> URL:
    """Return the address of the person's own SQLite file."""
    folder = Path(platformdirs.user_data_dir("asleft", appauthor=False))
    return URL.create("sqlite", database=str(folder / "record.sqlite"))


def open_engine(url: str | URL | None = None) -> Engine:
    """Return an engine for the record at a database URL; nothing is connected yet.

    SQLite runs with a write-ahead log, foreign keys on and explicit transactions; `postgresql://` is psycopg 3.

    Parameters
    ----------
    url : str or URL, optional
        `sqlite:///file` or `postgresql://...`; none: the person's own SQLite file. A missing folder is created.

    Raises
    ------
    StoreError
        The address cannot be read, names another engine, or its folder cannot be made.
    """
    address = _address(url)
    if address.get_backend_name() == "sqlite":
        _make_folder(address)
        engine = create_engine(address)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    # A pooled connection may have died with its server: asking first costs one round trip and saves the page.
    return create_engine(address, pool_pre_ping=True, connect_args={"connect_timeout": 10})


def _address(url: str | URL | None) -> URL:
    if url is None:
        return default_url()
    try:
        address = make_url(url)
        backend = address.get_backend_name()
        address.get_dialect()
    except (ArgumentError, NoSuchModuleError, ValueError):
        backend = ""
    if backend not in _ENGINES:
        raise StoreError("this database address cannot be used; write sqlite:///FILE or postgresql://USER@HOST/NAME")
    return address


def _make_folder(address: URL) -> None:
    if address.database in (None, "", ":memory:"):
        return
    folder = Path(str(address.database)).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"the folder {folder} for the record cannot be made ({error.strerror}); name another database"
        ) from error


def _prepare_sqlite(dbapi_connection: Any, _record: Any) -> None:
    # No implicit BEGIN by the driver: it would leave DDL and reads outside of transactions.
    dbapi_connection.isolation_level = None
    cursor = dbapi_connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={_BUSY_MS}")
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=NORMAL")
    cursor.execute("PRAGMA foreign_keys=ON")
    # REPLACE deletes without firing delete triggers unless this is on; frozen rows must not vanish that way.
    cursor.execute("PRAGMA recursive_triggers=ON")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that reads first and writes later fails at once when another wrote between; taking the write
    # lock at the start makes writers queue instead.
    immediate = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


@dataclass(frozen=True, slots=True)
class Store:
    """The record behind an engine.

    Attributes
    ----------
    engine : Engine
        From `open_engine`.
    """

    engine: Engine

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Give a session that sees one state of the record throughout and keeps nothing.

        Raises
        ------
        StoreError
            The database cannot be reached or read.
        """
        options: dict[str, Any] = {}
        if self.engine.dialect.name == "postgresql":
            options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with (
            self._said(),
            self.engine.connect() as connection,
            Session(connection.execution_options(**options)) as session,
        ):
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """Give a session whose changes are kept, all together, if the block is completed; else none is.

        Raises
        ------
        FrozenError
            Something signed, dated or audited would have been changed.
        StoreError
            The database cannot be reached, is busy or full.
        IntegrityError
            A constraint does not allow the values (SQLAlchemy's own error: what it means is the caller's knowledge).
        """
        with (
            self._said(),
            self.engine.connect() as connection,
            Session(connection.execution_options(**{WRITES: True})) as session,
        ):
            yield session
            session.commit()

    @contextmanager
    def _said(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            said = in_words(error, self.engine.url)
            if said is None:
                raise
            raise said from error

    def close(self) -> None:
        """Let all pooled connections go."""
        self.engine.dispose()


def open_store(url: str | URL | None = None) -> Store:
    """Return the record at a database URL (none: the person's own SQLite file); `schema` brings it up to date."""
    return Store(open_engine(url))


def in_words(error: DBAPIError, url: URL) -> StoreError | None:
    """Return what a driver's error means, or nothing where only the caller can know."""
    text = str(error.orig)
    first = text.splitlines()[0] if text else ""
    if FROZEN_MARK in first:
        return FrozenError(first.split(FROZEN_MARK, 1)[1])
    if isinstance(error, IntegrityError):
        return None
    place = url.database if url.get_backend_name() == "sqlite" else url.render_as_string(hide_password=True)
    if "database is locked" in first:
        return StoreError(f"the record at {place} is busy with another writer; try again")
    if "deadlock detected" in first or "could not serialize" in first:
        return StoreError(f"another change to the record at {place} came between; try again")
    if "is full" in first or "No space left" in text:
        return StoreError(f"the disk under the record at {place} is full; nothing was kept, make room and try again")
    if "not a database" in first or "malformed" in first:
        return StoreError(f"{place} is not a readable record ({first}); name another database or restore a backup")
    if "no such table" in first or "UndefinedTable" in type(error.orig).__name__:
        return StoreError(f"the record at {place} is not up to date; run `asleft db upgrade`")
    if "readonly database" in first:
        return StoreError(f"the record at {place} cannot be written to ({first}); look at its permissions")
    if "unable to open" in first or error.connection_invalidated or not _was_connected(error):
        return StoreError(f"the database at {place} cannot be reached ({first}); look whether it runs and try again")
    return None


def _was_connected(error: DBAPIError) -> bool:
    # An error without a statement arose while connecting.
    return error.statement is not None
