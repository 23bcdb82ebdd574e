"""The link is the view: units, filters and choices live in the address, and a bad address says so."""

from __future__ import annotations

import re

import pytest
from browser_reader import Reader, reading
from browser_server import DemoFleet
from playwright.sync_api import Browser, Page, expect

from fleet import words
from fleet.services.cold_offsets_page import cold_offsets_view
from fleet.services.fleet_page import FleetFilters, fleet_view

pytestmark = pytest.mark.browser


@pytest.fixture
def reader(desk: Reader) -> Reader:
    """One window at the desk: an address is the same at every width, and each takes a while to open."""
    return desk


WELL_CHECKED = "ORR-07"
"""The demo's line with the longest record of running checks."""


def view(page: Page) -> list[str]:
    """Return what a reader would compare two views by: heading, lead, choices, unit."""
    parts = ["h1", ".crumb", ".lead", ".filters .sel", ".filters .chip.on", ".pick .on"]
    return [f"{part}: {' | '.join(page.locator(part).all_inner_texts())}" for part in parts]


def choose_unit(reader: Reader, unit: str) -> Page:
    reader.page.locator(".pick").get_by_text(unit, exact=True).click()
    expect(reader.page.locator(".pick .on")).to_have_text(unit)
    return reader.settle()


def test_cold_offsets_in_thou_are_the_same_lengths_and_the_address_keeps_them(
    reader: Reader, demo: DemoFleet, browser: Browser
) -> None:
    found = cold_offsets_view(demo.store, WELL_CHECKED)
    assert found.recommended_target_um is not None
    page = reader.open(f"/cold-offsets/{WELL_CHECKED}")
    assert words.said(found.recommended_target_um, found.axis, "offset", "mm") in page.locator(".lead").inner_text()

    choose_unit(reader, "thou")
    in_thou = words.said(found.recommended_target_um, found.axis, "offset", "thou")
    # 1 thou is 25.4 um exactly: international inch, NIST SP 811 appendix B.
    assert float(in_thou.split(words.NBSP)[0]) == pytest.approx(abs(found.recommended_target_um) / 25.4, abs=0.05)
    assert in_thou in page.locator(".lead").inner_text()
    assert page.url == f"{demo.address}/cold-offsets/{WELL_CHECKED}?unit=thou"
    assert re.search(rf"\d{words.NBSP}mm\b", page.locator(".lead").inner_text()) is None

    before = view(page)
    page.reload()
    reader.settle()
    assert view(page) == before
    with reading(browser, demo.address, reader.size) as another:
        another.page.goto(page.url)
        another.settle()
        assert view(another.page) == before


def test_a_chosen_station_and_axis_are_in_the_link(reader: Reader, demo: DemoFleet, browser: Browser) -> None:
    page = reader.open(f"/cold-offsets/{WELL_CHECKED}?unit=thou")
    station = cold_offsets_view(demo.store, WELL_CHECKED).stations[0]
    for label, value in (("Station", station), ("Axis", "horizontal")):
        choice = page.locator("details.pop", has=page.locator("summary i", has_text=label))
        choice.locator("summary").click()
        choice.locator("li", has_text=re.compile(rf"^{re.escape(value)}$")).locator("a, span").click()
        expect(page.locator(".crumb")).to_contain_text(value)
        reader.settle()
    assert "axis=h" in page.url
    assert f"station={station}" in page.url
    assert "unit=thou" in page.url
    with reading(browser, demo.address, reader.size) as another:
        another.page.goto(page.url)
        another.settle()
        assert view(another.page) == view(page)


def statuses(page: Page) -> list[str]:
    """Return the status word of every line in view, in the table at the desk, on the cards of a phone."""
    found = page.locator(".tbl.fleet tbody tr td:first-child:visible, .cards .card:visible .c1 > :last-child")
    return [text.strip() for text in found.all_inner_texts()]


def test_the_status_filter_narrows_the_fleet_and_back_widens_it(
    reader: Reader, demo: DemoFleet, browser: Browser
) -> None:
    everything = fleet_view(demo.store, FleetFilters())
    page = reader.open("/")
    assert len(statuses(page)) == everything.total == len(everything.rows)
    page.locator(".chip", has_text="due").click()
    reader.arrive("/?status=due")
    due = everything.counts["due"]
    assert 0 < due < everything.total
    expect(page.locator("a.ln:visible")).to_have_count(due)
    assert statuses(page) == ["due"] * due
    with reading(browser, demo.address, reader.size) as another:
        another.page.goto(page.url)
        another.settle()
        assert view(another.page) == view(page)
        assert statuses(another.page) == ["due"] * due
    page.go_back()
    reader.arrive("/")
    expect(page.locator("a.ln:visible")).to_have_count(everything.total)


def test_the_unit_follows_from_page_to_page(desk: Reader) -> None:
    page = desk.open("/?unit=thou")
    code = page.locator("a.ln:visible").first.inner_text()
    page.locator("a.ln:visible").first.click()
    desk.arrive(f"/line/{code}?unit=thou")
    assert re.search(rf"\d\.\d{words.NBSP}thou", page.locator(".lead").inner_text())


@pytest.mark.parametrize(
    ("path", "complaint", "kept"),
    [
        ("/?unit=furlong", "‘furlong’ is not a unit", "mm"),
        ("/?status=wobbly&unit=thou", "‘wobbly’ is not a status", "thou"),
        ("/?screw=fat", "‘fat’ is not a screw size", "mm"),
        ("/?page=-3", "‘-3’ is not a page number", "mm"),
        (f"/line/{WELL_CHECKED}?axis=sideways", "‘sideways’ is not an axis", "mm"),
        (f"/line/{WELL_CHECKED}?a=NOBODY", "no survey ‘NOBODY’", "mm"),
        (f"/line/{WELL_CHECKED}?station=ZZ", "ZZ", "mm"),
        (f"/cold-offsets/{WELL_CHECKED}?station=ZZ", "ZZ", "mm"),
    ],
)
def test_a_value_that_cannot_be_read_falls_back_and_the_page_says_so(
    path: str, complaint: str, kept: str, desk: Reader
) -> None:
    page = desk.open(path)
    assert any(complaint in text for text in page.get_by_role("status").all_inner_texts())
    expect(page.locator(".pick .on")).to_have_text(kept)
    assert page.locator("h1").count() == 1


@pytest.mark.parametrize("page_name", ["line", "job-sheet", "cold-offsets"])
def test_a_line_that_is_not_in_the_store_is_said_with_a_way_back(page_name: str, reader: Reader) -> None:
    page = reader.open(f"/{page_name}/NOPE-1")
    expect(page.locator("main")).to_contain_text("No line NOPE-1")
    assert "NOPE-1" in page.title()
    page.get_by_role("link", name="Look for it in the fleet").click()
    reader.arrive("/")
    expect(page.locator("h1")).to_have_text("Which lines need us, and when?")


def test_filters_that_leave_no_line_say_so_and_offer_every_line(desk: Reader, demo: DemoFleet) -> None:
    page = desk.open("/?site=NOWHERE")
    total = fleet_view(demo.store, FleetFilters()).total
    expect(page.locator("main")).to_contain_text(f"None of the {total} lines in the store matches")
    page.get_by_role("link", name="Show every line").click()
    desk.arrive("/")
    expect(page.locator("a.ln:visible")).to_have_count(total)
