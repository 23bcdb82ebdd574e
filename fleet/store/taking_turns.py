"""One process at a time: a lock on a whole store for work that any process could do and one is enough for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy import text

from fleet.store.engine import Store

REFRESH_KEY: Final = 7_270_451
"""The number PostgreSQL knows the lock by; any that nobody else of the database uses."""


@contextmanager
def turn(store: Store) -> Iterator[bool]:
    """Give True to whoever holds the store's lock, False at once to everybody else; let go at the end.

    PostgreSQL keeps an advisory lock with the connection; beside a SQLite file lies a file that is locked. Either is
    let go by the system if its process dies. A store in memory has no other process.
    """
    if store.engine.dialect.name == "postgresql":
        with store.engine.connect() as connection:
            held = bool(
                connection.execute(text("select pg_try_advisory_lock(:key)"), {"key": REFRESH_KEY}).scalar_one()
            )
            connection.rollback()
            try:
                yield held
            finally:
                if held:
                    connection.execute(text("select pg_advisory_unlock(:key)"), {"key": REFRESH_KEY})
                    connection.rollback()
        return
    name = store.engine.url.database
    if name in (None, "", ":memory:"):
        yield True
        return
    with _locked_file(Path(str(name)).with_name(f"{Path(str(name)).name}-refresh")) as held:
        yield held


@contextmanager
def _locked_file(path: Path) -> Iterator[bool]:
    try:
        import fcntl
    except ImportError:
        # Without fork there is one process; its own lock is enough.
        yield True
        return
    with path.open("ab") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        # Closing the file lets go of the lock.
        yield True
