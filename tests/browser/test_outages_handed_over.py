"""Handing a plan over on the Outages page, in a browser, in a demo fleet of its own: signed off, then taken along."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import openpyxl
import pytest
import vobject
from axe_playwright_python.sync_playwright import Axe
from browser_server import serving

import seed_demo
from fleet.services.importing import import_folder
from fleet.services.opening import open_store
from fleet.services.planning.asking import Asked
from fleet.services.planning.keeping import keep, sign_off

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def signed(chromium_path: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A demo fleet with a plan of Orrindale that is signed off: where it is served, and the plan's code."""
    assert chromium_path
    folder: Path = tmp_path_factory.mktemp("handed-over")
    seed_demo.write(folder / "records", today=date.today())  # noqa: DTZ011 - the plant's own calendar day
    url = f"sqlite:///{folder / 'demo.sqlite'}"
    store = open_store(url, say=print)
    import_folder(store, folder / "records", who="demo")
    code = keep(store, Asked(site="ORR"), by="J. Quillam").code
    sign_off(store, code, by="J. Quillam", version=1)
    store.close()
    with serving(url, folder) as address:
        yield address, code


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_feed_is_made_read_by_a_calendar_and_ended_and_the_tables_hold_the_plan(
    browser: Browser, signed: tuple[str, str], size: str
) -> None:
    from browser_reader import reading

    address, code = signed
    with reading(browser, address, size) as reader:
        page = reader.open(f"/outages?plan={code}")
        section = page.locator("section:has(#hand-over)")
        assert f"Plan {code}, signed off by J. Quillam (not verified)" in section.inner_text().replace("\u00a0", " ")
        page.get_by_role("button", name="Make an address").click()
        section.get_by_text("The record keeps who wrote in it; type your name.").wait_for()
        page.get_by_label("Your name (kept as typed, not verified)").last.fill("J. Quillam")
        page.get_by_label("Name (whose calendar it is for)").fill(f"office, {size}")
        page.get_by_role("button", name="Make an address").click()
        shown = page.locator("#feed-address")
        shown.wait_for()
        feed = shown.inner_text()
        assert "Copy it now" in section.inner_text()
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
        found = Axe().run(page, options={"resultTypes": ["violations"]}).response
        assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
        visits = vobject.readOne(page.request.get(feed).text()).vevent_list
        table = page.request.get(f"{address}/download/plan.xlsx?view=%2Foutages%3Fplan%3D{code}").body()
        header, *rows = openpyxl.load_workbook(io.BytesIO(table))["Table"].iter_rows(values_only=True)
        into = {row[header.index("line")]: row[header.index("outage")] for row in rows}
        assert {(event.summary.value.split()[1], event.summary.value.rstrip(")").split()[-1]) for event in visits} == {
            (line, stop) for line, stop in into.items() if stop
        }
        assert all(event.status.value == "CONFIRMED" for event in visits)
        # The address is shown this once only.
        reader.open(f"/outages?plan={code}")
        assert page.locator("#feed-address").count() == 0
        page.get_by_label("Your name (kept as typed, not verified)").last.fill("J. Quillam")
        page.get_by_role("button", name=f"End the calendar feed office, {size}").click()
        section.get_by_text("is ended; its address answers no longer.").wait_for()
        assert page.request.get(feed).status == 404
