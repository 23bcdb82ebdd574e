"""Outages in a browser: see the plan, hold a line where it shall go, see it worked out anew, take the pin away."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from browser_reader import Reader, reading
from browser_server import DemoFleet
from playwright.sync_api import Browser, Locator, Page, expect

from fleet.reports.plan_content import PlanContent, PlanRow
from fleet.services.planning.asking import Asked
from fleet.services.planning.planned import plan_content

pytestmark = pytest.mark.browser

SITE = "ORR"


@pytest.fixture(scope="module")
def plan(demo: DemoFleet) -> PlanContent:
    """What the page shows of Orrindale before anybody holds a line."""
    return plan_content(demo.store, Asked(site=SITE))


def moved(plan: PlanContent) -> tuple[PlanRow, str]:
    """Return a line that is visited, and the first other stop that is open to it."""
    for row in plan.rows:
        for stop, choice in zip(plan.stops, row.choices, strict=True):
            if row.chosen not in (None, stop.code) and choice.closed == "open":
                return row, stop.code
    raise AssertionError("no line of the demo fleet could go elsewhere")


def cell(page: Page, line: str, stop: str) -> Locator:
    return page.locator(f"td[data-cell='{line} {stop}']")


def pinned(address: str, line: str, stop: str) -> str:
    return f"{address}/outages?site={SITE}&into={quote(line)}:{quote(stop)}"


def assert_pinned(page: Page, plan: PlanContent, demo: DemoFleet, row: PlanRow, stop: str) -> None:
    """The line is in the stop with the pin's mark, and the page shows what the service then works out."""
    expect(page.locator(".filters")).to_contain_text("1 pinned")
    block = cell(page, row.line, stop).locator(".pl-block")
    expect(block.locator(".pinm")).to_be_visible()
    expect(block).to_contain_text("Visit")
    again = plan_content(demo.store, Asked(site=SITE, into=((row.line, stop),)))
    visits = {f"{each.line} {each.chosen}" for each in again.rows if each.chosen}
    shown = page.locator("td.pl-visit").evaluate_all("all => all.map((one) => one.dataset.cell)")
    assert set(shown) == visits != {f"{each.line} {each.chosen}" for each in plan.rows if each.chosen}


def test_a_planner_sees_the_plan_pins_a_line_and_takes_the_pin_away(
    desk: Reader, demo: DemoFleet, plan: PlanContent
) -> None:
    page = desk.open(f"/outages?site={SITE}")
    expect(page.locator("h1")).to_have_text("Who goes into which outage?")
    expect(page.locator(".head .lead")).to_contain_text("visits in" if plan.visits > 1 else "visit")
    expect(page.locator("td.pl-visit")).to_have_count(plan.visits)
    row, stop = moved(plan)
    cell(page, row.line, stop).get_by_role("link").click()
    page.wait_for_url(pinned(demo.address, row.line, stop))
    desk.settle()
    assert_pinned(page, plan, demo, row, stop)
    # Who goes on by keyboard is still in the cell.
    expect(cell(page, row.line, stop).locator("a:focus")).to_have_count(1)
    cell(page, row.line, stop).get_by_role("link", name="unpin").click()
    page.wait_for_url(f"{demo.address}/outages?site={SITE}")
    expect(page.locator(".pinm:visible")).to_have_count(1)  # that of the key


def test_dragging_a_visit_to_another_stop_pins_it_there(desk: Reader, demo: DemoFleet, plan: PlanContent) -> None:
    page = desk.open(f"/outages?site={SITE}")
    row, stop = moved(plan)
    assert row.chosen is not None
    cell(page, row.line, row.chosen).locator(".pl-block").drag_to(cell(page, row.line, stop))
    page.wait_for_url(pinned(demo.address, row.line, stop))
    desk.settle()
    assert_pinned(page, plan, demo, row, stop)


def test_a_visit_dropped_on_another_lines_row_stays_where_it_is(desk: Reader) -> None:
    page = desk.open(f"/outages?site={SITE}")
    rows = page.locator("tr.visited")
    before = page.url
    rows.nth(0).locator(".pl-block").drag_to(rows.nth(1).locator("td.pl-drop").first)
    page.wait_for_timeout(800)
    assert page.url == before


def test_on_a_phone_a_line_is_moved_from_its_card(browser: Browser, demo: DemoFleet, plan: PlanContent) -> None:
    row, stop = moved(plan)
    with reading(browser, demo.address, "phone") as phone:
        page = phone.open(f"/outages?site={SITE}")
        card = page.locator(".pl-list > ul > li", has=page.get_by_role("link", name=row.line, exact=True))
        card.locator(".pl-move > summary").click()
        link = card.locator(".pl-moves > a", has_text=stop)
        box = link.bounding_box()
        # A target that a thumb in a glove hits: 48 CSS px, common practice, no source; WCAG 2.2, 2.5.8 asks for 24.
        assert box is not None
        assert box["height"] >= 48
        link.click()
        page.wait_for_url(pinned(demo.address, row.line, stop))
        phone.settle()
        section = page.locator(".pl-list", has=page.locator("header", has_text=stop))
        expect(section.locator("li .pinm:visible")).to_have_count(1)
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
        assert phone.complaints == []


def test_the_views_are_in_the_link_and_pins_go_along(reader: Reader, plan: PlanContent) -> None:
    row, stop = moved(plan)
    page = reader.open(f"/outages?site={SITE}&into={quote(row.line)}:{quote(stop)}")
    page.get_by_role("link", name="Time axis").click()
    page.wait_for_url("**view=time")
    strip = page.get_by_role("img", name=f"{row.line}, chance of having passed the limit")
    expect(strip).to_have_count(1)
    assert f"visit planned in {stop}" in (strip.get_attribute("aria-label") or "")
    assert "pinned by hand" in (strip.get_attribute("aria-label") or "")
    expect(strip.locator(".pt-visit .pinm")).to_be_visible()
    page.get_by_role("link", name="Calendar", exact=True).click()
    page.wait_for_url("**view=calendar")
    expect(page.locator(".pc-told", has_text=stop).first).to_contain_text("Europe/London")
    expect(page.locator(".pc-months")).to_contain_text("planned")


def test_pins_that_cannot_be_kept_are_named_with_a_way_out(desk: Reader, demo: DemoFleet, plan: PlanContent) -> None:
    stop = plan.stops[0].code
    every = ",".join(f"{row.line}:{stop}" for row in plan.rows)
    desk.page.goto(f"{demo.address}/outages?site={SITE}&into={every}&out={plan.rows[0].line}:{stop}")
    page = desk.settle()
    expect(page.locator(".notice")).to_contain_text(f"{plan.rows[0].line} cannot be pinned into {stop}")
    page.get_by_role("link", name="Take all pins away").click()
    page.wait_for_url(f"{demo.address}/outages?site={SITE}")
    expect(page.locator("td.pl-visit")).to_have_count(plan.visits)


def test_the_page_says_what_is_missing_where_nothing_is_stored(browser: Browser, empty_address: str) -> None:
    with reading(browser, empty_address, "desk") as found:
        expect(found.open("/outages").locator("main")).to_contain_text("The store is empty.")
        assert found.complaints == []
