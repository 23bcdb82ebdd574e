"""What a process keeps of the fleet's series is a saving: the store's version and the day at the sites decide."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from fleet.services.importing import import_folder
from fleet.services.series import current_series
from fleet.store.engine import Store, open_store

DATA = Path(__file__).parents[1] / "data"
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def test_the_series_are_worked_out_once_while_nothing_changes(sqlite_store: Store) -> None:
    import_folder(sqlite_store, DATA / "mill-c", who="tester")
    with sqlite_store.read() as record:
        first = current_series(record, now=NOW)
    with sqlite_store.read() as record:
        assert current_series(record, now=NOW) is first


def test_another_process_that_adds_records_is_seen_at_once(sqlite_store: Store) -> None:
    import_folder(sqlite_store, DATA / "mill-c", who="tester")
    with sqlite_store.read() as record:
        assert len(current_series(record, now=NOW).plant.lines) == 8
    elsewhere = open_store(sqlite_store.engine.url)
    import_folder(elsewhere, DATA / "mill-b", who="somebody else")
    elsewhere.close()
    with sqlite_store.read() as record:
        assert len(current_series(record, now=NOW).plant.lines) == 48


def test_a_new_day_at_a_site_brings_new_series(sqlite_store: Store) -> None:
    import_folder(sqlite_store, DATA / "mill-c", who="tester")
    with sqlite_store.read() as record:
        today = current_series(record, now=NOW)
        tomorrow = current_series(record, now=NOW + timedelta(days=1))
    assert tomorrow.as_of == tuple(day + timedelta(days=1) for day in today.as_of)
