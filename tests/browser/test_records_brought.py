"""The keeper's journey: a source is refused, put right, taken in and brought again; a fact goes and comes back.

On a server and a store of its own, because it writes.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_reader import Reader, reading
from browser_server import serving
from playwright.sync_api import Page, expect

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

FILES = {
    "sites": "site,name,time_zone\nEA,East works,Asia/Tokyo\n",
    "lines": "line,site\nE1,EA\n",
    "stations": "line,station,distance_mm\nE1,S1,1500\n",
    "sessions": "session,line,started_at\nV1,E1,2020-06-01T08:00\nV2,E1,2021-06-01T08:00\n",
    "surveys": "session,survey,phase\nV1,1,as_found\nV2,1,as_found\n",
    "meters": "line,read_at,running_hours\nE1,2020-06-01T08:00,20388\n",
}
OFFSETS = "session,survey,station,v,h,unit\nV1,1,S1,-0.10,0.02,mm\nV2,1,S1,-4,0,{unit}\n"


@pytest.fixture
def week(tmp_path: Path) -> Path:
    """A folder of CSV files in which row 3 of offsets.csv stands in the way."""
    folder = tmp_path / "week-47"
    folder.mkdir()
    for name, text in FILES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "offsets.csv").write_text(OFFSETS.format(unit="thous"), encoding="utf-8")
    return folder


@pytest.fixture
def keeper(browser: Browser, tmp_path: Path) -> Iterator[Reader]:
    """A window on an empty record of its own."""
    with (
        serving(f"sqlite:///{tmp_path / 'keeper.sqlite'}", tmp_path) as address,
        reading(browser, address) as found,
    ):
        yield found
        assert found.complaints == []
        assert found.foreign() == []


def choose(page: Page, folder: Path) -> None:
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Choose a folder").click()
    chooser.value.set_files(folder)


def serious(page: Page) -> list[str]:
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [
        f"{each['id']}: {each['nodes'][0]['target']}" for each in found if each["impact"] in ("serious", "critical")
    ]


def test_a_refused_source_is_put_right_taken_in_and_brought_again_and_a_fact_goes_and_comes_back(
    keeper: Reader, week: Path
) -> None:
    page = keeper.open("/records")
    page.get_by_label("Your name").fill("K. Dremmond")
    choose(page, week)
    panel = page.locator("#refused")
    expect(panel).to_contain_text("week-47: one row stands in the way of 10")
    expect(panel.locator(".bad tbody tr")).to_have_count(1)
    expect(panel.locator(".bad tbody tr td")).to_have_text(
        ["offsets.csv", "3", "unit", "thous", "is not a unit; use um, mm, in or thou"]
    )
    with page.expect_download() as download:
        panel.get_by_role("link", name="Refused rows as CSV").click()
    lines = Path(download.value.path()).read_text(encoding="utf-8").splitlines()
    (row,) = csv.DictReader(line for line in lines if not line.startswith("#"))
    assert (row["file"], row["row"], row["column"], row["found_there"]) == ("offsets.csv", "3", "unit", "thous")

    # The sound session alone would do; the keeper looks at that, and puts the source right instead.
    panel.get_by_role("button", name="Take the 1 sound session without the other 1").click()
    expect(page.locator("[data-found]")).to_contain_text("Left out: 1 session. V2")
    page.get_by_role("button", name="Leave it").click()
    expect(page.locator("[data-found]")).to_have_count(0)
    (week / "offsets.csv").write_text(OFFSETS.format(unit="thou"), encoding="utf-8")
    choose(page, week)
    found = page.locator("[data-found]")
    expect(found).to_contain_text("What would happen: 10 new rows from week-47")
    assert serious(page) == []
    found.get_by_role("button", name="Take it in").click()
    expect(page.locator("[data-heard]")).to_contain_text("10 rows were taken from week-47")
    keeper.settle()
    results = page.locator(".itk tbody tr td:nth-child(4)")
    expect(results).to_have_text(["taken", "refused"])

    choose(page, week)
    expect(page.locator("[data-found]")).to_contain_text("Nothing new in week-47")

    page = keeper.open("/records?show=meters")
    page.get_by_role("link", name="Withdraw the meter reading").click()
    expect(page.get_by_label("Your name")).to_have_value("K. Dremmond")
    page.get_by_label("Reason").fill("wrong line")
    assert serious(page) == []
    # By keyboard: the reason's box hands the form in.
    page.get_by_label("Reason").press("Enter")
    expect(page.locator("[data-heard]")).to_contain_text("Withdrawn: a meter reading.")
    expect(page.locator(".fct tbody tr")).to_contain_text(["withdrawn"])
    page.get_by_role("link", name="Record anew").click()
    page.get_by_label("Reason").fill("it was right")
    page.get_by_role("button", name="Record it anew").click()
    expect(page.locator(".fct tbody tr td:nth-child(5)")).to_contain_text(["in force", "withdrawn"])

    page = keeper.open("/records?show=changes")
    expect(page.locator(".chg tbody tr td:nth-child(3)")).to_have_text(
        ["recorded anew", "withdrawn", "import", "import", "import refused"]
    )


def test_files_let_go_over_the_page_are_looked_at_and_a_missing_name_is_asked_for(keeper: Reader) -> None:
    page = keeper.open("/records")
    page.evaluate(
        """() => {
          const transfer = new DataTransfer();
          transfer.items.add(new File(["site,name,time_zone\\nEA,East works,Asia/Tokyo\\n"], "sites.csv"));
          const drop = document.querySelector("[data-drop]");
          drop.dispatchEvent(new DragEvent("drop", { dataTransfer: transfer, bubbles: true, cancelable: true }));
        }"""
    )
    expect(page.locator("[data-picked]")).to_contain_text("sites.csv")
    expect(page.locator("[data-sending]")).to_have_text("Type your name, then see what would happen.")
    page.keyboard.type("ann")
    page.keyboard.press("Enter")
    expect(page.locator("[data-found]")).to_contain_text("What would happen: 1 new row from sites.csv")
