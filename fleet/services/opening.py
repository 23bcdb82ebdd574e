"""Opening the record: which store, brought up to date on first use with a word about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fleet.store import engine as store_engine
from fleet.store import schema
from fleet.store.engine import Store

__all__ = ["SchemaReport", "Store", "database_url", "demo_url", "open_store", "remove_demo_store", "schema_report"]


def database_url(given: str | None) -> str:
    """Return the address of the store: the one given, else the person's own file."""
    return given or store_engine.default_url().render_as_string(hide_password=False)


def _demo_file() -> Path:
    return Path(str(store_engine.default_url().database)).with_name("demo.sqlite")


def demo_url() -> str:
    """Return the address of the demo's own store, beside the person's and never the same."""
    return store_engine.default_url().set(database=str(_demo_file())).render_as_string(hide_password=False)


def remove_demo_store() -> None:
    """Delete the demo's own store, so that it is made anew; nothing else is ever deleted."""
    file = _demo_file()
    for part in (file, file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")):
        part.unlink(missing_ok=True)


def open_store(url: str | None, *, say: Callable[[str], None]) -> Store:
    """Open the record, made or brought up to date where it is missing or older.

    Parameters
    ----------
    url : address of the store; None: the person's own file
    say : told in a sentence when the store is made or changed

    Raises
    ------
    StoreError
        The store cannot be reached, made or brought up to date.
    """
    store = store_engine.open_store(url)
    stood = schema.current(store.engine)
    if stood != schema.head():
        place = store.engine.url.render_as_string(hide_password=True)
        say(f"Making a new store at {place}" if stood is None else f"Bringing the store at {place} up to date")
        schema.upgrade(store.engine)
    return store


@dataclass(frozen=True, slots=True)
class SchemaReport:
    """What `asleft db check` says: the text for people, and whether all is as it should be."""

    text: str
    sound: bool


def schema_report(store: Store) -> SchemaReport:
    """Check schema, frozen-record guards and references of a store."""
    place = store.engine.url.render_as_string(hide_password=True)
    wrong = schema.check(store.engine)
    if wrong:
        return SchemaReport("\n".join([f"The store at {place} is not as it should be:", *wrong]), sound=False)
    return SchemaReport(f"The store at {place} is sound: revision {schema.current(store.engine)}.", sound=True)
