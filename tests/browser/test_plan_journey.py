"""A planner's whole way in a demo fleet of its own: pin, work out anew, save, sign off, take along."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import icalendar
import openpyxl
import pytest
from browser_server import serving

import seed_demo
from fleet.services.importing import import_folder
from fleet.services.opening import open_store
from fleet.services.planning.asking import Asked
from fleet.services.planning.planned import plan_content

if TYPE_CHECKING:
    from browser_reader import Reader
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

SITE = "ORR"
PLANNER = "J. Quillam"


@pytest.fixture(scope="module")
def written(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str, str]]:
    """A demo fleet that may be written to: where it is served, a line of its plan, and the stop it shall go into."""
    assert chromium_path
    folder: Path = tmp_path_factory.mktemp("plan-journey")
    seed_demo.write(folder / "records", today=date.today())  # noqa: DTZ011 - the plant's own calendar day
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = open_store(url, say=print)
    import_folder(store, folder / "records", who="demo")
    plan = plan_content(store, Asked(site=SITE))
    line, stop = next(
        (row.line, stop.code)
        for row in plan.rows
        for stop, choice in zip(plan.stops, row.choices, strict=True)
        if row.chosen not in (None, stop.code) and choice.closed == "open"
    )
    store.close()
    with serving(url, folder) as address:
        yield address, line, stop


def held(page: Page, size: str, line: str, stop: str) -> None:
    """Pin a line into a stop: in the table at the desk, from its card on a phone."""
    if size == "desk":
        page.locator(f"td[data-cell='{line} {stop}'] a.pl-open").click()
        return
    card = page.locator(".pl-list > ul > li", has=page.get_by_role("link", name=line, exact=True))
    card.locator(".pl-move > summary").click()
    card.locator(".pl-moves > a", has_text=stop).click()


def calendar_of(reader: Reader) -> str:
    """Return the text of the calendar file that the page offers."""
    to = reader.page.get_by_role("link", name="Calendar file").get_attribute("href")
    answer = reader.context.request.get(f"{reader.address}{to}")
    assert answer.ok
    return answer.text()


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_planner_pins_saves_signs_off_and_hands_over(
    browser: Browser, written: tuple[str, str, str], size: str, tmp_path: Path
) -> None:
    from browser_reader import reading
    from playwright.sync_api import expect

    address, line, stop = written
    with reading(browser, address, size) as reader:
        page = reader.open(f"/outages?site={SITE}")
        held(page, size, line, stop)
        page.wait_for_url(f"**into={line}:{stop}")
        reader.settle()
        expect(page.locator(".filters")).to_contain_text("1 pinned")
        page.get_by_role("link", name="Save plan").click()
        form = page.locator("section", has=page.locator("#keep"))
        expect(form).to_be_in_viewport()
        form.get_by_label("Code").fill(f"PLAN-{size}")
        form.get_by_role("button", name="Save plan").click()
        # Without a name nothing is saved, and what was typed stays.
        expect(form.locator(".refused")).to_be_visible()
        expect(form.get_by_label("Code")).to_have_value(f"PLAN-{size}")
        form.get_by_label("Your name").fill(PLANNER)
        form.get_by_role("button", name="Save plan").click()
        page.get_by_role("link", name="Open it, to sign it off or hand it over").click()
        page.wait_for_url(f"**plan=PLAN-{size}")
        reader.settle()
        expect(page.locator("main")).to_contain_text(f"saved by {PLANNER}")
        signing = page.locator("section", has=page.locator("#keep"))
        signing.get_by_label("Your name").fill(PLANNER)
        signing.get_by_role("button").click()
        expect(page.locator("main")).to_contain_text(f"signed off by {PLANNER}")

        with page.expect_download() as waiting:
            page.get_by_role("link", name="XLSX: every line of the plan").click()
        saved = tmp_path / waiting.value.suggested_filename
        waiting.value.save_as(saved)
        sheet = openpyxl.load_workbook(saved).worksheets[0]
        assert any({line, stop} <= {cell.value for cell in row} for row in sheet.iter_rows())
        # Read by the library icalendar, which knows nothing of how the file was written (RFC 5545).
        calendar = icalendar.Calendar.from_ical(calendar_of(reader))
        told = [f"{event.get('SUMMARY')} {event.get('DESCRIPTION')}" for event in calendar.walk("VEVENT")]
        assert any(line in text and stop in text for text in told)
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
        assert reader.complaints == []
        assert reader.foreign() == []
