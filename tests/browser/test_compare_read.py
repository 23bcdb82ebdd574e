"""Compare in a browser: choose an axis, a kind of group and what happened, and go on to a line."""

from __future__ import annotations

import pytest
from browser_reader import Reader, reading
from browser_server import DemoFleet
from playwright.sync_api import Browser, Locator, Page, expect

pytestmark = pytest.mark.browser


def choose(page: Page, label: str, value: str) -> None:
    """Open a choice by its label and follow one of its values."""
    found: Locator = page.locator("details.pop", has=page.locator("summary i", has_text=label))
    found.locator("summary").click()
    found.get_by_role("link", name=value, exact=True).click()


def test_a_reader_chooses_what_is_compared_and_the_address_keeps_it(reader: Reader) -> None:
    page = reader.open("/compare?unit=thou")
    expect(page.locator("h1")).to_have_text("Which lines move most, and is it real?")
    expect(page.locator(".lead")).to_contain_text("differ from the fleet, and that is real")
    choose(page, "Axis", "horizontal")
    page.wait_for_url("**axis=h**")
    expect(page.locator("p", has_text="Horizontal drift before and after")).to_be_visible()
    choose(page, "By", "site")
    page.wait_for_url("**by=site**")
    expect(page.locator(".gcmp")).to_contain_text("TAR")
    page.locator(".evk").get_by_role("link", name="Gearbox changed").click()
    page.wait_for_url("**event=gearbox+changed**")
    expect(page.locator(".evl")).to_contain_text("ORR-07, station")
    assert {"unit=thou", "axis=h", "by=site", "event=gearbox+changed"} <= set(page.url.partition("?")[2].split("&"))
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0


def test_the_ranking_leads_to_the_place_on_the_line_it_speaks_of(reader: Reader, demo: DemoFleet) -> None:
    page = reader.open("/compare?site=TAR")
    first = page.locator(".ln:visible").first
    line = first.inner_text()
    first.click()
    page.wait_for_url(f"{demo.address}/line/{line}?station=*")
    expect(page.locator("main")).to_contain_text(line)


def test_the_page_says_what_is_missing_where_nothing_is_stored(browser: Browser, empty_address: str) -> None:
    with reading(browser, empty_address, "desk") as found:
        expect(found.open("/compare").locator("main")).to_contain_text("The store is empty.")
        assert found.complaints == []
