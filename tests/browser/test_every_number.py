"""A walk over every page: each number shown carries its unit and, where it has one, its direction word."""

from __future__ import annotations

import pytest
from browser_reader import SIZES, reading
from browser_server import DemoFleet
from number_rules import COLLECT, Shown, faults
from pages_walked import MORE_VIEWS, PAGES
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

LEAST = 10
"""A page of this tool shows more numbers than that; fewer pieces found would mean that the walk does not look."""
FEW = ("/line",)
"""Pages that only let a line be chosen."""


@pytest.mark.parametrize("size", SIZES)
def test_every_number_of_every_page_is_said_with_unit_and_direction(
    size: str, browser: Browser, demo: DemoFleet
) -> None:
    wrong: list[str] = []
    with reading(browser, demo.address, size) as reader:
        for path in (*PAGES, *MORE_VIEWS):
            page = reader.open(path)
            page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")
            reader.settle()
            pieces = [Shown(piece["text"], piece["context"]) for piece in page.evaluate(COLLECT)]
            assert len(pieces) > LEAST or path in FEW, path
            wrong += [f"{path}: {fault}" for piece in pieces for fault in faults(piece)]
    assert wrong == []
