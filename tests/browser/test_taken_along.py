"""What is taken along, as a reader does it: pictures drawn in the browser, numbers from the server, the unit kept."""

from __future__ import annotations

import csv
import re
import struct
from pathlib import Path

import pytest
from browser_reader import Reader, reading
from browser_server import DemoFleet
from playwright.sync_api import Browser, Page, expect

from fleet import words
from fleet.services.fleet_page import FleetFilters, fleet_view
from fleet.services.line_page import line_view

pytestmark = pytest.mark.browser

LINE = "ORR-07"


def saved(page: Page, what: str, folder: Path) -> Path:
    """Click what is offered below the history figure and return the saved file."""
    figure = page.locator(".figure:visible", has=page.locator("#line-history"))
    with page.expect_download() as waiting:
        figure.locator(".get", has_text=what).click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def test_a_figure_is_taken_along_as_svg_and_png_light_and_with_its_heading_even_from_a_dark_page(
    browser: Browser, demo: DemoFleet, tmp_path: Path
) -> None:
    view = line_view(demo.store, LINE)
    assert view.history is not None
    with reading(browser, demo.address, "desk", color_scheme="dark") as reader:
        page = reader.open(f"/line/{LINE}")
        picture = saved(page, "SVG", tmp_path)
        text = picture.read_text(encoding="utf-8")
        # An SVG 1.1 document begins with its root element in this namespace (w3.org/TR/SVG11/struct.html).
        assert re.match(r"<svg[^>]*xmlns=\"http://www.w3.org/2000/svg\"", text)
        said = re.sub("<[^>]+>", " ", text).replace("\u00a0", " ")
        said = re.sub(r"\s+", " ", said)
        assert f"{LINE}, station {view.history.station}, vertical: deviation from target, mm" in said
        assert f"As of {words.day(view.as_of)}.".replace("\u00a0", " ") in said
        # Light whatever the page is, and nothing left to a style sheet: rgb(23, 26, 36) is the light theme's ink.
        assert "rgb(23, 26, 36)" in text
        assert "var(--" not in text
        data = saved(page, "PNG", tmp_path).read_bytes()
        # Signature and size of a PNG (W3C, Portable Network Graphics, 5.2 and 11.2.2), at twice the figure's pixels.
        assert data[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", data[16:24])
        box = page.locator("#line-history").bounding_box()
        assert box is not None
        assert width == pytest.approx(2 * box["width"], abs=4)
        assert height > 2 * box["height"]
        assert reader.foreign() == []
        assert reader.complaints == []


def test_a_figures_numbers_are_the_visits_the_page_draws(desk: Reader, demo: DemoFleet, tmp_path: Path) -> None:
    page = desk.open(f"/line/{LINE}?unit=thou")
    file = saved(page, "numbers", tmp_path)
    assert file.name.startswith("history-orr-07-")
    lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("# ")]
    rows = [row for row in csv.DictReader(lines) if row["kind"] == "measured"]
    history = line_view(demo.store, LINE).history
    assert history is not None
    # 25.4 um to the thou.
    assert [float(row["deviation_thou"]) for row in rows] == pytest.approx(
        [point.deviation_um / 25.4 for point in history.points]
    )


def test_the_fleets_file_holds_the_lines_the_filter_leaves(desk: Reader, demo: DemoFleet, tmp_path: Path) -> None:
    page = desk.open("/?status=due")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="CSV: every selected line").click()
    path = tmp_path / "fleet.csv"
    waiting.value.save_as(path)
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("# ")]
    assert [row["line"] for row in csv.DictReader(lines)] == page.locator("a.ln:visible").all_inner_texts()
    assert len(lines) - 1 == fleet_view(demo.store, FleetFilters()).counts["due"]


def test_the_unit_a_reader_chose_is_kept_for_the_next_visit_and_the_address_goes_before_it(desk: Reader) -> None:
    page = desk.open("/")
    page.locator(".pick").get_by_text("thou", exact=True).click()
    expect(page.locator(".pick .on")).to_have_text("thou")
    desk.settle()
    page.goto(f"{desk.address}/line/{LINE}")
    desk.settle()
    expect(page.locator(".pick .on")).to_have_text("thou")
    assert page.url == f"{desk.address}/line/{LINE}?unit=thou"
    desk.open(f"/line/{LINE}?unit=mm&axis=h")
    expect(page.locator(".pick .on")).to_have_text("mm")
    # Looking at somebody's link in another unit changes nothing of what was chosen; choosing does.
    desk.open("/")
    expect(page.locator(".pick .on")).to_have_text("thou")
    page.locator(".pick").get_by_text("mm", exact=True).click()
    expect(page.locator(".pick .on")).to_have_text("mm")
    desk.settle()
    desk.open("/")
    expect(page.locator(".pick .on")).to_have_text("mm")
