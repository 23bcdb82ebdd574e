"""Cold offsets in a browser: from a line to its way of choosing, across all lines, and back to the line."""

from __future__ import annotations

import pytest
from browser_reader import Reader
from browser_server import DemoFleet
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

LINE = "ORR-07"


def test_a_reader_goes_from_a_line_to_all_lines_and_back(reader: Reader, demo: DemoFleet) -> None:
    page = reader.open(f"/cold-offsets/{LINE}?unit=thou")
    expect(page.locator("main")).to_contain_text("What to set next, station by station")
    page.get_by_role("link", name="By way of choosing", exact=True).click()
    page.wait_for_url(f"{demo.address}/cold-offsets?line={LINE}*")
    reader.settle()
    expect(page.locator(".lead")).to_contain_text("came out closest to the axis vertically")
    assert "unit=thou" in page.url
    expect(page.locator(".lw .mine .ln")).to_have_text(LINE)
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0

    grouped = page.locator("details.pop", has=page.locator("summary i", has_text="Grouped by"))
    grouped.locator("summary").click()
    grouped.get_by_role("link", name="saddle").click()
    page.wait_for_url("**by=saddle**")
    reader.settle()
    expect(page.locator("h2", has_text="How far off, by saddle")).to_be_visible()

    page.get_by_role("link", name="By line", exact=True).click()
    page.wait_for_url(f"{demo.address}/cold-offsets/{LINE}*")
    reader.settle()
    expect(page.locator(".crumb")).to_contain_text(LINE)
    assert "unit=thou" in page.url


def test_a_line_without_a_check_shows_the_cautions_beside_its_next_step(reader: Reader) -> None:
    page = reader.open("/cold-offsets/VES-06")
    expect(page.locator("main")).to_contain_text("No running check yet")
    expect(page.locator(".caut:visible").first).to_contain_text("The line is live and hot;")
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
