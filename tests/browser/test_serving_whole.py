"""What the real command serves: an empty store, and a server that has answered nobody yet."""

from __future__ import annotations

import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from browser_reader import reading
from browser_server import COMMAND, DemoFleet, serving
from playwright.sync_api import Browser, expect

pytestmark = pytest.mark.browser

_SLOW_TO_REGISTER = f"""
import time
from dash import Dash
walk = Dash._walk_assets_directory
def slow(self):
    time.sleep(0.5)
    walk(self)
Dash._walk_assets_directory = slow
{COMMAND}
"""
"""The real command where the first request takes its time to register the scripts, as on a busy machine."""


@pytest.mark.parametrize("path", ["/", "/line", "/job-sheet", "/cold-offsets"])
def test_an_empty_store_says_what_is_missing_and_the_next_step(path: str, empty_address: str, browser: Browser) -> None:
    with reading(browser, empty_address, "phone") as reader:
        page = reader.open(path)
        expect(page.locator("main")).to_contain_text("The store is empty.")
        expect(page.locator("main")).to_contain_text("asleft import FOLDER")
        expect(page.locator("main")).to_contain_text("asleft demo")
        assert page.evaluate("document.documentElement.scrollWidth") == 360
        assert reader.complaints == []
        assert reader.foreign() == []


def status_of(url: str, together: threading.Barrier) -> int:
    together.wait()
    try:
        with urlopen(url) as answer:
            answer.read()
            return int(answer.status)
    except HTTPError as error:
        error.close()
        return error.code


def test_the_first_requests_in_parallel_are_all_answered(demo: DemoFleet, tmp_path: Path) -> None:
    with urlopen(f"{demo.address}/") as answer:
        scripts = re.findall(r'src="(/[^"]+\.js[^"]*)"', answer.read().decode())
    assert len(scripts) >= 5
    # Asked of a server that never gave anyone its first page, every process of it at once, while registering is slow.
    paths = [*scripts, "/", "/_dash-layout", "/_dash-dependencies"] * 2
    with (
        serving(f"sqlite:///{tmp_path / 'new.sqlite'}", tmp_path, command=_SLOW_TO_REGISTER) as address,
        ThreadPoolExecutor(len(paths)) as threads,
    ):
        together = threading.Barrier(len(paths))
        asked = {path: threads.submit(status_of, f"{address}{path}", together) for path in paths[: len(paths) // 2]}
        twins = {path: threads.submit(status_of, f"{address}{path}", together) for path in paths[len(paths) // 2 :]}
        answered = {path: (asked[path].result(), twins[path].result()) for path in asked}
    assert {path: codes for path, codes in answered.items() if codes != (200, 200)} == {}
