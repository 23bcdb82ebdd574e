"""Deciding on a change of drift and setting a limit on the Line page, in a browser, in a demo fleet of their own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_server import serving

import seed_demo
from fleet.services.importing import import_folder
from fleet.services.opening import open_store
from fleet.services.regimes import proposals

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def offered(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A demo fleet that may be written to: where it is served, and a line that a change of drift is proposed for."""
    assert chromium_path
    folder: Path = tmp_path_factory.mktemp("line-decided")
    seed_demo.write(folder / "records", today=date.today())  # noqa: DTZ011 - the plant's own calendar day
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = open_store(url, say=print)
    import_folder(store, folder / "records", who="demo")
    line = proposals(store)[0].line
    store.close()
    with serving(url, folder) as address:
        yield address, line


def sound(page: Page) -> None:
    """Hold a page to its width, and its accessibility to WCAG 2.2 AA as far as axe-core can tell."""
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response
    assert len(found["passes"]) > 20
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


def test_a_limit_to_come_is_set_on_the_phone(browser: Browser, offered: tuple[str, str]) -> None:
    from browser_reader import reading

    address, line = offered
    with reading(browser, address, "phone") as reader:
        page = reader.open(f"/line/{line}")
        page.get_by_text("Set a new limit").click()
        page.get_by_label("Share of the clearance").fill("50")
        page.get_by_label("Share of the clearance").press("Tab")
        limit = page.get_by_label("Limit to either side")
        page.wait_for_function("() => document.querySelector('#limit-limit').value !== ''")
        # Half of a thousandth of 150 mm, the screw of this line, from memory: 0.075 mm.
        assert limit.input_value() == "0.075"
        sound(page)
        page.get_by_role("button", name="Set the limit").click()
        page.wait_for_selector("#limit-said .refused")
        assert page.locator("#limit-said").inner_text() == "The record keeps who wrote in it; type your name."
        assert limit.input_value() == "0.075"
        begins = date.today() + timedelta(days=30)  # noqa: DTZ011 - the plant's own calendar day
        page.locator("#limit-from").fill(begins.isoformat())
        page.locator("#limit-by").fill("M. Adeyrin")
        page.get_by_role("button", name="Set the limit").click()
        page.wait_for_selector(".done")
        assert "Verdicts on earlier visits stand." in page.locator(".done").inner_text()
        listed = reader.settle().locator(".ivp.lim").inner_text().replace("\u00a0", " ")
        assert "0.075 mm either side" in listed
        assert "to come" in listed
        assert reader.complaints == []
        assert reader.foreign() == []


def test_a_change_of_drift_is_accepted_by_the_keyboard_and_the_event_stands_on_the_page(
    browser: Browser, offered: tuple[str, str]
) -> None:
    from browser_reader import reading

    address, line = offered
    with reading(browser, address, "desk") as reader:
        page = reader.open(f"/line/{line}")
        assert "times likelier with the change than without" in page.locator(".offer").inner_text()
        sound(page)
        page.get_by_label("What happened then").focus()
        page.keyboard.type("the slab settled after drain works")
        page.keyboard.press("Tab")
        page.keyboard.type("M. Adeyrin")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "It changed"
        page.keyboard.press("Enter")
        page.wait_for_selector(".done")
        assert page.locator(".done").inner_text().startswith("Accepted: the event 'drift changed'")
        reader.settle()
        assert page.locator(".offer").count() == 0
        page.get_by_text("Show as a table").click()
        told = page.locator(".astable table").first.inner_text()
        assert "drift changed: the slab settled after drain works, the trend starts anew" in told
        assert reader.complaints == []
