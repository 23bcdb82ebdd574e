"""What holds for every page at every width: quiet, at home, nothing cut off, no chart that sends, readable by all.

Each page is opened once per width and looked over whole, in the light and then in the dark: a window for every question
would take most of the tests' time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_reader import SIZES, reading
from browser_server import DemoFleet
from pages_walked import PAGES, TITLES
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

_CUT_OFF = """() => [...document.querySelectorAll(
    "main :is(h1, h2, h3, p, td, th, li, a, summary, table), .main-svg text")]
  .filter((one) => one.textContent.trim() !== "" && one.checkVisibility({ visibilityProperty: true }))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    const frame = one.closest(".main-svg");
    const edge = frame === null ? { left: 0, right: window.innerWidth } : frame.getBoundingClientRect();
    return box.width > 0 && (box.right > edge.right + 1 || box.left < edge.left - 1);
  })
  .map((one) => `${one.tagName} ${one.textContent.slice(0, 60)}`)"""
_CHARTS = """() => [...document.querySelectorAll(".js-plotly-plot")].map((chart) => ({
  sends: chart._context.showSendToCloud || chart._context.showEditInChartStudio || false,
  server: chart._context.plotlyServerURL,
  logo: chart._context.displaylogo,
}))"""
CHARTS = {"/line/ORR-07": 2, "/cold-offsets/ORR-07": 1}
"""How many charts a page has at least."""
_GROUND = "getComputedStyle(document.body).backgroundColor"


@dataclass(frozen=True)
class Findings:
    """What one page at one width was found to be."""

    title: str
    wider_than_window_px: int
    cut_off: list[str]
    charts: list[dict[str, Any]]
    buttons: list[str]
    fonts: list[str]
    heading_font: str
    requested: list[str]
    foreign: list[str]
    complaints: list[str]
    rules_passed: int
    serious: list[str]
    serious_in_the_dark: list[str]


def look_over(browser: Browser, address: str, path: str, size: str) -> Findings:
    with reading(browser, address, size) as reader:
        page = reader.open(path)
        cut_off, charts = page.evaluate(_CUT_OFF), page.evaluate(_CHARTS)
        passed, serious = by_the_rules(page)
        buttons = page.locator(".modebar-btn").evaluate_all("all => all.map((one) => one.dataset.title || '')")
        wider = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        light = page.evaluate(_GROUND)
        page.emulate_media(color_scheme="dark")
        reader.settle()
        assert page.evaluate(_GROUND) != light, "the page did not turn dark"
        _, in_the_dark = by_the_rules(page)
        return Findings(
            title=page.title(),
            wider_than_window_px=wider,
            cut_off=cut_off,
            charts=charts,
            buttons=buttons,
            fonts=page.evaluate(
                "[...document.fonts].filter((one) => one.status === 'loaded').map((one) => one.family)"
            ),
            heading_font=page.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily.split(',')[0]"),
            requested=list(reader.requested),
            foreign=reader.foreign(),
            complaints=list(reader.complaints),
            rules_passed=passed,
            serious=serious,
            serious_in_the_dark=in_the_dark,
        )


def by_the_rules(page: Page) -> tuple[int, list[str]]:
    """Return how many rules of axe-core a page keeps, and where it breaks one that matters."""
    axe = Axe().run(page, options={"resultTypes": ["violations"]}).response
    return len(axe["passes"]), [
        f"{finding['id']} ({finding['impact']}): {node['target']} {node['failureSummary']}"
        for finding in axe["violations"]
        if finding["impact"] in ("serious", "critical")
        for node in finding["nodes"]
    ]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_quiet_whole_and_readable_in_light_and_dark(
    path: str, size: str, browser: Browser, demo: DemoFleet
) -> None:
    """Among others the rules of WCAG 2.2, levels A and AA, and axe-core's own, as axe-core tests them."""
    found = look_over(browser, demo.address, path, size)
    wrong = {
        "complaints": found.complaints,
        "other hosts": found.foreign,
        "wider than its window, px": max(found.wider_than_window_px, 0),
        # The page's main part hides what sticks out, so that its width alone would not tell.
        "cut off at an edge": found.cut_off,
        "charts that could send": [
            chart for chart in found.charts if chart != {"sends": False, "server": "", "logo": False}
        ],
        "buttons that send": [
            title for title in found.buttons if re.search("cloud|share|chart studio|edit in", title, re.I)
        ],
        "serious in the light": found.serious,
        "serious in the dark": found.serious_in_the_dark,
    }
    assert {what: got for what, got in wrong.items() if got} == {}
    # A look that saw nothing would find nothing.
    assert len(found.requested) > 15
    assert found.rules_passed > 10
    assert len(found.charts) >= CHARTS.get(path, 0)
    assert found.title == TITLES.get(path, found.title)
    assert found.heading_font.strip('"') in [family.strip('"') for family in found.fonts]
    assert [url for url in found.requested if ".woff2" in url and url not in found.foreign] != []
