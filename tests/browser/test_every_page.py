"""What holds for every page at every width: quiet, at home, nothing cut off, no chart that sends, readable by all.

Each page is opened once per width and looked over; the tests ask what was found.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, cast

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_reader import SIZES, reading
from browser_server import DemoFleet
from pages_walked import PAGES, TITLES
from playwright.sync_api import Browser

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


def look_over(browser: Browser, address: str, path: str, size: str, scheme: str) -> Findings:
    with reading(browser, address, size, color_scheme=cast(Literal["light", "dark"], scheme)) as reader:
        page = reader.open(path)
        cut_off, charts = page.evaluate(_CUT_OFF), page.evaluate(_CHARTS)
        axe = Axe().run(page, options={"resultTypes": ["violations"]}).response
        return Findings(
            title=page.title(),
            wider_than_window_px=page.evaluate("document.documentElement.scrollWidth - window.innerWidth"),
            cut_off=cut_off,
            charts=charts,
            buttons=page.locator(".modebar-btn").evaluate_all("all => all.map((one) => one.dataset.title || '')"),
            fonts=page.evaluate(
                "[...document.fonts].filter((one) => one.status === 'loaded').map((one) => one.family)"
            ),
            heading_font=page.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily.split(',')[0]"),
            requested=list(reader.requested),
            foreign=reader.foreign(),
            complaints=list(reader.complaints),
            rules_passed=len(axe["passes"]),
            serious=[
                f"{finding['id']} ({finding['impact']}): {node['target']} {node['failureSummary']}"
                for finding in axe["violations"]
                if finding["impact"] in ("serious", "critical")
                for node in finding["nodes"]
            ],
        )


@pytest.fixture(scope="session")
def looked_over(browser: Browser, demo: DemoFleet) -> Callable[[str, str, str], Findings]:
    """Look a page over the first time it is asked about."""
    known: dict[tuple[str, str, str], Findings] = {}

    def find(path: str, size: str, scheme: str) -> Findings:
        key = (path, size, scheme)
        if key not in known:
            known[key] = look_over(browser, demo.address, path, size, scheme)
        return known[key]

    return find


@pytest.fixture(params=SIZES, scope="session")
def size(request: pytest.FixtureRequest) -> str:
    """Desk and phone in turn."""
    return str(request.param)


@pytest.fixture(params=PAGES, scope="session")
def found(request: pytest.FixtureRequest, size: str, looked_over: Callable[[str, str, str], Findings]) -> Findings:
    """Each page at each width in turn."""
    return looked_over(request.param, size, "light")


def test_a_page_is_quiet_and_asks_only_its_own_host(found: Findings) -> None:
    assert found.complaints == []
    assert found.foreign == []
    assert len(found.requested) > 15


def test_a_page_is_no_wider_than_its_window(found: Findings) -> None:
    assert found.wider_than_window_px <= 0


def test_nothing_on_a_page_is_cut_off_at_an_edge(found: Findings) -> None:
    # The page's main part hides what sticks out, so that its width alone would not tell.
    assert found.cut_off == []


def test_no_chart_offers_to_send_its_data_away(found: Findings) -> None:
    assert [chart for chart in found.charts if chart != {"sends": False, "server": "", "logo": False}] == []
    assert [title for title in found.buttons if re.search("cloud|share|chart studio|edit in", title, re.I)] == []


def test_line_and_cold_offsets_have_charts(size: str, looked_over: Callable[[str, str, str], Findings]) -> None:
    assert len(looked_over("/line/ORR-07", size, "light").charts) >= 2
    assert len(looked_over("/cold-offsets/ORR-07", size, "light").charts) >= 1


def test_fonts_come_from_the_own_host(found: Findings) -> None:
    assert found.heading_font.strip('"') in [family.strip('"') for family in found.fonts]
    assert [url for url in found.requested if ".woff2" in url and url not in found.foreign] != []


def test_each_title_names_the_page_and_its_line(size: str, looked_over: Callable[[str, str, str], Findings]) -> None:
    assert {path: looked_over(path, size, "light").title for path in TITLES} == TITLES


def test_a_page_has_no_serious_finding_by_the_rules_of_wcag(found: Findings) -> None:
    """Rules of WCAG 2.2, levels A and AA, and axe-core's own, as axe-core tests them."""
    assert found.rules_passed > 10
    assert found.serious == []


@pytest.mark.parametrize("path", PAGES)
def test_a_dark_page_has_no_serious_finding_either(
    path: str, size: str, looked_over: Callable[[str, str, str], Findings]
) -> None:
    assert looked_over(path, size, "dark").serious == []
