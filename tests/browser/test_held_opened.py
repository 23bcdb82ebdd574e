"""How well the forecast has held, opened by a reader of the demo fleet at both widths."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

if TYPE_CHECKING:
    from browser_reader import Reader

pytestmark = pytest.mark.browser

_VERDICT = r"^Of [\d ]+ as-found values of [\d ]+ visits, [\d ]+ \(\d+ %\) lay inside their 95 % range \(expected"


def test_the_verdict_comes_when_the_section_is_opened_by_the_keyboard(reader: Reader) -> None:
    page = reader.open("/")
    assert page.locator(".held .lead").count() == 0
    summary = page.locator(".held > summary")
    summary.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".held .lead", timeout=120_000)
    assert re.search(_VERDICT, page.locator(".held .lead").inner_text().replace("\u00a0", " "))
    assert page.locator(".held .tbl").count() == 2
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    for table in page.locator(".held .tbl").all():
        box = table.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= page.evaluate("window.innerWidth") + 1
    found = Axe().run(page, context=".held", options={"resultTypes": ["violations"]}).response
    assert len(found["passes"]) > 5
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
