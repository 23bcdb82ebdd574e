"""The three mills in one store, imported once; a test that writes gets a copy of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
import two_shores
from record_sources import MILLS, NAMES, NOW, TODAY, write_source
from visit_typing import few_lines

from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.drift import drift_rows
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.offsets import offset_rows
from fleet.services.rows import ColdOffsetRow, DriftInterval, ForecastRow, OffsetRow
from fleet.store.engine import Store, open_store


@pytest.fixture(scope="session")
def mills_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds the three mills, its derived results made; to be copied, never written to."""
    path = tmp_path_factory.mktemp("mills") / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    for name in NAMES:
        import_folder(store, MILLS / name, who="tester", now=NOW)
    store.close()  # the last connection folds the write-ahead log into the file
    return path


@pytest.fixture(scope="session")
def mills(mills_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The three mills for tests that only read."""
    path = tmp_path_factory.mktemp("reading") / "record.sqlite"
    shutil.copyfile(mills_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture(scope="session")
def mill_c_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds the small, rich mill only: a page of it costs a tenth; to be copied, never written to."""
    path = tmp_path_factory.mktemp("mill-c") / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, MILLS / "mill-c", who="tester", now=NOW)
    store.close()
    return path


@pytest.fixture(scope="session")
def mill_c(mill_c_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The small, rich mill for tests that only read."""
    path = tmp_path_factory.mktemp("reading-c") / "record.sqlite"
    shutil.copyfile(mill_c_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture
def own_mill_c(mill_c_file: Path, tmp_path: Path) -> Iterator[Store]:
    """The small, rich mill for a test that writes or listens."""
    path = tmp_path / "mill-c.sqlite"
    shutil.copyfile(mill_c_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture(scope="session")
def few_lines_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds three lines of the small mill; to be copied, never written to."""
    return few_lines(sqlite_template, tmp_path_factory.mktemp("few-lines"))


@pytest.fixture
def own_lines(few_lines_file: Path, tmp_path: Path) -> Iterator[Store]:
    """Three lines of the small mill for a test that records a visit."""
    path = tmp_path / "lines.sqlite"
    shutil.copyfile(few_lines_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture
def own_mills(mills_file: Path, tmp_path: Path) -> Iterator[Store]:
    """The three mills for a test that writes."""
    path = tmp_path / "mills.sqlite"
    shutil.copyfile(mills_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture(scope="session")
def shores_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds the two shores, taken in late on 1 Nov UTC; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("shores")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, two_shores.laid(folder / "source"), who="ann", now=two_shores.LATE)
    store.close()
    return path


@pytest.fixture
def shores(shores_file: Path, tmp_path: Path) -> Iterator[Callable[[], Store]]:
    """A way to have the two shores for a test that writes."""
    path = tmp_path / "shores.sqlite"
    shutil.copyfile(shores_file, path)
    store = open_store(f"sqlite:///{path}")
    yield lambda: store
    store.close()


@pytest.fixture
def store_of(sqlite_template: Path, tmp_path: Path) -> Iterator[Callable[..., Store]]:
    """A way to have a store of one's own that holds a source: a folder, or files by name."""
    opened: list[Store] = []

    def make(*sources: Path | Mapping[str, str]) -> Store:
        number = len(opened)
        path = tmp_path / f"own{number}.sqlite"
        shutil.copyfile(sqlite_template, path)
        store = open_store(f"sqlite:///{path}")
        opened.append(store)
        for place, source in enumerate(sources):
            folder = source if isinstance(source, Path) else write_source(tmp_path / f"own{number}-{place}", source)
            import_folder(store, folder, who="tester", now=NOW)
        return store

    yield make
    for store in opened:
        store.close()


@pytest.fixture(scope="session")
def forecasts(mills: Store) -> list[ForecastRow]:
    """The forecast of the three mills, with two days to look at."""
    return forecast_rows(mills, as_of=TODAY, at=(TODAY, TODAY.replace(year=2027)))


@pytest.fixture(scope="session")
def offsets(mills: Store) -> list[OffsetRow]:
    """All surveys of the three mills, reduced."""
    return offset_rows(mills)


@pytest.fixture(scope="session")
def drifts(mills: Store) -> list[DriftInterval]:
    """All intervals of the three mills."""
    return drift_rows(mills, now=NOW)


@pytest.fixture(scope="session")
def comparison(mills: Store) -> list[ColdOffsetRow]:
    """The comparison of cold offsets over the three mills."""
    return cold_offset_rows(mills, now=NOW)
