"""The read-only journey, as a planner and a technician go it: fleet, line, job sheet, paper.

Figures are worked out here from what the services return, beside the pages, and then looked for on them.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from browser_reader import Reader
from browser_server import DemoFleet
from playwright.sync_api import Page, expect

from fleet import words
from fleet.reports.cautions import LAST, OPEN_WORDS, cautions
from fleet.reports.job_sheet import JobSheet
from fleet.services.fleet_page import FleetFilters, FleetRow, fleet_view
from fleet.services.job_sheet import job_sheet

pytestmark = pytest.mark.browser


def most_urgent(demo: DemoFleet) -> FleetRow:
    return fleet_view(demo.store, FleetFilters()).rows[0]


def shown(page: Page) -> str:
    """Return a page's visible words, lines and runs of spaces folded, figures still bound to their words."""
    return re.sub(r"[ \n\t]+", " ", page.locator("body").inner_text())


def set_to(sheet: JobSheet) -> list[str]:
    """Return what the sheet has every station set to, vertical: '0.27 low'."""
    figures = [
        words.said(s.set_to_um[0], "v", "offset", "mm", with_unit=False) for s in sheet.stations if s.set_to_um[0]
    ]
    assert len(figures) >= 3
    return figures


def stays_within_its_width(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def test_the_journey_from_fleet_to_paper_shows_the_services_figures(reader: Reader, demo: DemoFleet) -> None:
    row = most_urgent(demo)
    assert row.deviation_um is not None
    assert row.axis is not None
    sheet = job_sheet(demo.store, row.line)
    page = reader.open("/")
    assert page.title() == "Fleet – Asleft"
    assert words.said(row.deviation_um, row.axis, "deviation", "mm", with_unit=False) in shown(page)
    assert stays_within_its_width(page)

    link = page.locator("a.ln:visible").first
    expect(link).to_have_text(row.line)
    link.click()
    reader.arrive(f"/line/{row.line}")
    expect(page.locator("h1")).to_contain_text(row.line)
    assert words.said(row.deviation_um, row.axis, "deviation", "mm") in shown(page)
    assert ("below" if row.deviation_um < 0 else "above") in words.said(row.deviation_um, "v", "deviation", "mm")
    assert stays_within_its_width(page)

    page.locator("main a.btn", has_text="Job sheet").click()
    reader.arrive(f"/job-sheet/{row.line}")
    expect(page.locator("h1")).to_contain_text(row.line)
    text = shown(page)
    assert [figure for figure in set_to(sheet) if figure not in text] == []
    assert stays_within_its_width(page)

    with reader.context.expect_page() as opened:
        page.get_by_role("link", name="Print").click()
    paper = opened.value
    paper.wait_for_load_state("load")
    assert paper.url == f"{demo.address}/job-sheet/{row.line}/print"
    text = shown(paper)
    assert row.line in paper.title()
    assert [figure for figure in set_to(sheet) if figure not in text] == []
    assert stays_within_its_width(paper)
    assert reader.foreign() == []
    assert len(reader.requested) > 20


def test_cautions_stand_in_full_at_the_desk_and_open_with_one_tap_on_the_phone(reader: Reader, demo: DemoFleet) -> None:
    row = most_urgent(demo)
    sheet = job_sheet(demo.store, row.line)
    page = reader.open(f"/job-sheet/{row.line}")
    wanted = [f"{lead} {rest}".replace(words.NBSP, " ") for lead, rest in cautions(sheet.length_growth_mm)] + [LAST]
    assert len(wanted) == 9

    def missing() -> list[str]:
        text = shown(page).replace(words.NBSP, " ")
        return [caution for caution in wanted if caution not in text]

    if reader.size == "phone":
        assert missing() == wanted[1:]
        page.get_by_text(OPEN_WORDS).click()
        expect(page.locator(".caut.tap").get_by_text(LAST)).to_be_visible()
    assert missing() == []
    cautions_end = page.locator(".caut:visible").bounding_box()
    figures_start = page.locator(".tbl.jx").first.bounding_box()
    assert cautions_end is not None
    assert figures_start is not None
    assert cautions_end["y"] + cautions_end["height"] <= figures_start["y"]


def test_the_print_view_is_two_pages_of_paper_with_cautions_and_figures(
    desk: Reader, demo: DemoFleet, pdftotext: str, tmp_path: Path
) -> None:
    sheet = job_sheet(demo.store, most_urgent(demo).line)
    paper = desk.context.new_page()
    paper.goto(f"{demo.address}/job-sheet/{sheet.line}/print")
    target = tmp_path / "sheet.pdf"
    paper.pdf(path=target, prefer_css_page_size=True, print_background=False)
    desk.complaints.clear()  # what the page says on screen is asked in the test of its button
    done = subprocess.run([pdftotext, str(target), "-"], capture_output=True, text=True, check=True)
    pages = [" ".join(text.split()) for text in done.stdout.split("\f")[:-1]]
    assert len(pages) == 2
    leads = [lead for lead, _ in cautions(sheet.length_growth_mm)]
    assert [lead for lead in [*leads, LAST] if lead not in pages[0]] == []
    figures = [figure.replace(words.NBSP, " ") for figure in set_to(sheet)]
    assert [figure for figure in figures if figure not in pages[0]] == []
    assert "Readings" in pages[1]
    assert "Print or PDF" not in pages[0]


def test_the_print_views_own_button_prints(desk: Reader, demo: DemoFleet) -> None:
    paper = desk.context.new_page()
    paper.goto(f"{demo.address}/job-sheet/{most_urgent(demo).line}/print")
    paper.evaluate("window.print = () => { document.title = 'was printed'; }")
    paper.get_by_role("button", name="Print or PDF").click()
    assert paper.title() == "was printed"


def test_the_keyboard_alone_reaches_the_first_line_and_opens_it(desk: Reader, demo: DemoFleet) -> None:
    row = most_urgent(demo)
    page = desk.open("/")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('a.ln')"):
            break
    assert page.evaluate("document.activeElement.textContent") == row.line
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
    page.keyboard.press("Enter")
    desk.arrive(f"/line/{row.line}")
    expect(page.locator("h1")).to_contain_text(row.line)
