"""Entering an outage and asking what if on the Outages page, in a browser, in a demo fleet of its own."""

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
from fleet.services.planning.editing import outage_as_typed

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def written(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A demo fleet that may be written to: where it is served, and where it is kept."""
    assert chromium_path
    folder: Path = tmp_path_factory.mktemp("outages-edited")
    seed_demo.write(folder / "records", today=date.today())  # noqa: DTZ011 - the plant's own calendar day
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = open_store(url, say=print)
    import_folder(store, folder / "records", who="demo")
    store.close()
    with serving(url, folder) as address:
        yield address, url


def sound(page: Page) -> None:
    """Hold a page to its width, and its accessibility to WCAG 2.2 AA as far as axe-core can tell."""
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response
    assert len(found["passes"]) > 20
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_new_outage_is_typed_its_wrong_end_refused_with_nothing_lost_and_then_planned_into(
    browser: Browser, written: tuple[str, str], size: str
) -> None:
    from browser_reader import reading

    address, url = written
    begins = date.today() + timedelta(days=40)  # noqa: DTZ011 - the plant's own calendar day
    code = f"ORR-{size}"
    with reading(browser, address, size) as reader:
        page = reader.open("/outages?site=ORR&edit=new")
        sound(page)
        too_early = begins - timedelta(days=2)
        typed = {
            "Code": code, "Kind": "extra stop", "Start": f"{begins} 06:00", "End": f"{too_early} 18:00",
            "Crew hours, h": "30,5", "Crews": "2",
        }  # fmt: skip
        for label, text in typed.items():
            page.locator(".ol-edit").get_by_label(label, exact=True).fill(text)
        form = page.locator(".ol-edit")
        # The site in view is there already, and its zone is named beside the times.
        assert form.get_by_label("Site").input_value() == "ORR"
        assert "ORR Europe/London" in form.inner_text()
        form.get_by_label("Your name").fill("J. Quillam")
        form.get_by_role("button", name="Store the outage").click()
        page.wait_for_selector("#outage-edit-said .refused")
        assert page.locator("#outage-edit-said").inner_text() == (
            f"End: '{too_early}T18:00' lies before the start; correct one of them."
        )
        for label, text in typed.items():
            assert form.get_by_label(label, exact=True).input_value() == text
        form.get_by_label("End").fill(f"{begins + timedelta(days=3)} 18:00")
        form.get_by_role("button", name="Store the outage").click()
        page.wait_for_selector(".done")
        said = page.locator(".done").inner_text()
        assert said.startswith(f"Outage {code} is stored: kind extra stop; site ORR; start {begins}T06:00; end ")
        assert "crew hours 30,5 h; crews 2; state planned. Times are of Europe/London." in said
        assert page.locator(".done").is_visible()
        # It stands in the plan at once, and its own address opens what was typed.
        reader.settle()
        plan = page.locator(".plan" if size == "desk" else ".pl-list").all_inner_texts()
        assert any(code in text for text in plan)
        page = reader.open(f"/outages?site=ORR&edit={code}")
        assert page.locator(".ol-edit").get_by_label("Start").input_value() == f"{begins}T06:00"
        assert page.locator(".ol-edit h2").inner_text() == f"Change outage {code}"
        page.locator(".ol-edit").get_by_label("State").fill("cancelled")
        page.locator(".ol-edit").get_by_label("Your name").fill("J. Quillam")
        page.get_by_role("button", name="Store the outage").click()
        page.wait_for_selector(".done")
        assert page.locator(".done").inner_text() == f"Outage {code} is changed: state cancelled instead of planned."
        assert reader.complaints == []
        assert reader.foreign() == []
    store = open_store(url, say=print)
    assert outage_as_typed(store, code)["state"] == "cancelled"
    store.close()


def test_a_lines_hours_say_where_they_come_from_and_a_typed_figure_takes_their_place(
    browser: Browser, written: tuple[str, str]
) -> None:
    from browser_reader import reading

    address, _ = written
    with reading(browser, address, "phone") as reader:
        page = reader.open("/outages?site=ORR&edit=line%3AORR-05")
        form = page.locator(".ol-edit")
        sound(page)
        box = form.get_by_label("Crew hours of a visit, h")
        assert box.input_value() != ""
        assert "hold in place of" in form.inner_text()
        box.fill("")
        form.get_by_label("Your name").fill("J. Quillam")
        form.get_by_role("button", name="Store the figures").click()
        page.wait_for_selector(".done")
        assert "taken away" in page.locator(".done").inner_text()
        assert "No crew hours are typed, so " in reader.settle().locator(".ol-edit").inner_text()
        page.locator(".ol-edit").get_by_label("Crew hours of a visit, h").fill("-2")
        page.locator(".ol-edit").get_by_label("Your name").fill("J. Quillam")
        page.get_by_role("button", name="Store the figures").click()
        page.wait_for_selector("#outage-edit-said .refused")
        said = page.locator("#outage-edit-said").inner_text()
        assert said == "Crew hours of a visit: '-2' is negative; write a number from 0 to 1000000000."
        assert reader.complaints == []


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_what_if_is_asked_by_a_link_and_by_own_figures_and_the_address_is_the_answer(
    browser: Browser, written: tuple[str, str], size: str
) -> None:
    from browser_reader import reading

    address, _ = written
    with reading(browser, address, size) as reader:
        page = reader.open("/outages?site=ORR")
        page.get_by_role("link", name="A cap of 10 % instead of 20 %").click()
        page.wait_for_selector(".wi")
        assert page.url.endswith("/outages?site=ORR&if=cap:10")
        said = page.locator(".wi-said").inner_text().replace("\u00a0", " ")
        assert said.startswith("A cap of 10 % instead of 20 %: ")
        sound(page)
        # The link is the view: opened afresh it says the same.
        page = reader.open("/outages?site=ORR&if=cap:10")
        assert page.locator(".wi-said").inner_text().replace("\u00a0", " ") == said
        page.get_by_role("link", name="Back to the plan as it is").click()
        page.wait_for_selector(".wi", state="detached")
        page.get_by_text("Own figures").click()
        own = page.locator(".wi-below")
        own.get_by_label("Crews more").fill("1")
        own.get_by_role("button", name="Ask").click()
        page.wait_for_selector("#what-if-said .refused")
        assert page.locator("#what-if-said").inner_text() == (
            "Outage: nothing is typed; say which one is meant by 1 crews more."
        )
        code = page.locator(".pl-code:visible").first.inner_text()
        own.get_by_label("Outage").fill(code)
        own.get_by_role("button", name="Ask").click()
        page.wait_for_selector(".wi-said")
        assert page.locator(".wi-said").inner_text().startswith(f"One crew more in {code}: ")
        assert page.url.endswith(f"if=crew:{code}")
        assert reader.complaints == []
        assert reader.foreign() == []
