"""The demo fleet and an empty store, each served by the real command; a reader at the desk and one with a phone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from browser_server import DemoFleet, serving

import seed_demo
from fleet.services.importing import import_folder
from fleet.services.opening import open_store
from fleet.services.planning.example import keep_example

if TYPE_CHECKING:
    from browser_reader import Reader
    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def demo(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoFleet]:
    """The demo fleet of today; asks for Chromium first, because without it nobody looks."""
    assert chromium_path
    folder = tmp_path_factory.mktemp("demo-served")
    records = folder / "records"
    seed_demo.write(records, today=date.today())  # noqa: DTZ011 - the plant's own calendar day, as the command takes it
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = open_store(url, say=print)
    import_folder(store, records, who="demo")
    keep_example(store)
    with serving(url, folder) as address:
        yield DemoFleet(store, url, address)
    store.close()


@pytest.fixture(scope="session")
def empty_address(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where a new, empty store is served."""
    assert chromium_path
    folder: Path = tmp_path_factory.mktemp("empty-served")
    with serving(f"sqlite:///{folder / 'empty.sqlite'}", folder) as address:
        yield address


@pytest.fixture(params=["desk", "phone"])
def reader(request: pytest.FixtureRequest, browser: Browser, demo: DemoFleet) -> Iterator[Reader]:
    """A fresh window on the demo fleet, at desk and phone width in turn; whatever it does, it stays quiet at home."""
    from browser_reader import reading

    with reading(browser, demo.address, request.param) as found:
        yield found
        assert found.complaints == []
        assert found.foreign() == []


@pytest.fixture
def desk(browser: Browser, demo: DemoFleet) -> Iterator[Reader]:
    """A fresh window on the demo fleet at the desk."""
    from browser_reader import reading

    with reading(browser, demo.address, "desk") as found:
        yield found
        assert found.complaints == []
        assert found.foreign() == []
