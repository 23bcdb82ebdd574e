"""The sheet as a page: whole, escaped, and complete on paper without its background colours."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sample_sheets import ALL, FULL, HOSTILE, NO_RECORD, with_stations

from fleet.reports.cautions import LAST, cautions
from fleet.reports.job_sheet import JobSheet
from fleet.reports.job_sheet_html import render
from fleet.reports.job_sheet_text import WIDTH, render_text
from fleet.reports.marks import STATUS_CLASS, status_mark
from fleet.reports.sheet_layout import layout
from fleet.values import STATUSES, Status
from fleet.words import NBSP, ReaderUnit

if TYPE_CHECKING:
    from playwright.sync_api import Browser

VOID = {"meta", "br", "col", "path", "circle"}
TAGS = VOID | {
    *("html", "head", "title", "style", "body", "main", "article", "section", "header", "footer", "div", "span"),
    *("h1", "h2", "h3", "p", "b", "i", "small", "ul", "li", "dl", "dt", "dd", "details", "summary", "button"),
    *("table", "colgroup", "thead", "tbody", "tr", "th", "td", "svg", "text"),
}


class Page(HTMLParser):
    """Reads a page strictly: every element closed in its turn; keeps tags, attributes and the text outside style."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.words))


@pytest.mark.parametrize("unit", ["mm", "thou"])
@pytest.mark.parametrize("name", sorted(ALL))
def test_every_page_is_whole_and_shows_no_empty_value(name: str, unit: ReaderUnit) -> None:
    page = Page(render(ALL[name], unit))
    assert page.open == []
    assert {tag for tag, _ in page.tags} <= TAGS
    assert not re.search(r"\b(None|nan|NaN|inf)\b", page.text)


@pytest.mark.parametrize("name", sorted(ALL))
def test_a_page_loads_nothing_and_links_nowhere(name: str) -> None:
    page = Page(render(ALL[name], "mm"))
    assert not [attrs for _, attrs in page.tags if {"src", "href"} & set(attrs)]
    assert "url(" not in render(ALL[name], "mm").replace("xmlns", "")
    assert "@import" not in render(ALL[name], "mm")


def test_what_a_person_typed_is_text_and_never_markup() -> None:
    html = render(HOSTILE, "mm")
    assert "<script" not in html
    assert "<img" not in html
    page = Page(html)
    for typed in ("<script>alert(1)</script>", "<script>remark</script>", "<script>T. Halvorsby</script>", "<A>"):
        assert typed in page.text
    handlers = [(tag, name) for tag, attrs in page.tags for name in attrs if name.startswith("on")]
    assert handlers == [("button", "onclick")]


@pytest.mark.parametrize("on", ["page", "terminal"])
@pytest.mark.parametrize("name", sorted(ALL))
def test_the_nine_cautions_stand_in_full_on_page_and_terminal(name: str, on: str) -> None:
    sheet = ALL[name]
    text = re.sub(r"\s+", " ", Page(render(sheet, "mm")).text if on == "page" else render_text(sheet, "mm"))
    last_place = -1
    for lead, rest in cautions(ALL[name].length_growth_mm):
        place = text.find(f"{lead} {rest}".replace(NBSP, " "))
        assert place > last_place
        last_place = place
    assert text.find(LAST) > last_place
    assert last_place < text.lower().find("last as-left", text.find(LAST))


def test_the_full_block_of_cautions_is_not_the_folded_one() -> None:
    html = render(FULL, "mm")
    block = html[html.index('<section class="caut full"') : html.index('<details class="caut tap"')]
    assert block.count("<li>") == 8
    assert LAST in block


def test_every_box_has_its_words() -> None:
    html = render(FULL, "mm")
    after = re.findall(r'<span class="bx[^"]*"></span><span[^>]*>(.*?)</span>', html)
    assert len(after) == html.count('class="bx') == 2 * 2 * 6 + 2 * 2
    assert set(after) == {"high<br>low", "right<br>left", "higher / lower", "right / left"}
    assert html.count("by screw / shim") == 4
    assert re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", html) == [
        ("Hour meter", "h"),
        ("Heats off for", "h"),
        ("Barrel", "°C"),
        ("Gearbox", "°C"),
        ("Base", "°C"),
        ("Instrument", ""),
        ("Name, date, signature", ""),
    ]
    for words in ("out / in", "on / off", "torqued / loose"):
        assert f'<span class="rg">{words}</span>' in html


def test_each_station_has_a_reversal_for_found_and_left_and_the_first_comes_again() -> None:
    html = render(FULL, "mm")
    readings = html[html.index('<table class="rt"') :]
    assert re.findall(r'rowspan="2"><b>(.*?)</b>', readings) == ["1", "2", "A", "4", "B", "6", "1 again"]
    # beam state, sign, v, sign, h; as-found and as-left; two rolls a station
    assert readings.count("<i") == 7 * 2 * 2 * 5
    assert readings.count("12 o’clock") == readings.count("6 o’clock") == 7


def test_a_sheet_without_an_address_says_what_to_set() -> None:
    assert "Set ASLEFT_BASE_URL" in render(NO_RECORD, "mm")
    assert "Set ASLEFT_BASE_URL" in render_text(NO_RECORD, "mm")
    with_address = render(FULL, "mm")
    assert "ASLEFT_BASE_URL" not in with_address
    assert "QR code: opens this job sheet" in with_address
    assert FULL.address is not None
    assert FULL.address not in with_address


def test_left_is_never_said_of_what_was_set() -> None:
    for text in (Page(render(FULL, "mm")).text, render_text(FULL, "mm")):
        for before in re.findall(r"(\S+)[ \n]left\b", text):
            assert before in {"mm", "/", "and", "0.05", "0.10", "right"} or before.startswith("right")
        assert "as left" not in text.lower()


@pytest.mark.parametrize("status", STATUSES)
def test_a_status_is_a_word_with_a_shape_of_its_own(status: Status) -> None:
    mark = status_mark(status)
    assert mark.endswith(f"</svg>{status}</span>")
    assert STATUS_CLASS[status] in mark
    others = {re.sub(r"<span.*?>|over|due|watch|within|no record", "", status_mark(other)) for other in STATUSES}
    assert len(others) == len(STATUSES)


@pytest.mark.parametrize("unit", ["mm", "thou"])
@pytest.mark.parametrize("name", sorted(ALL))
def test_the_text_for_the_terminal_is_narrow_and_obeys_no_control_signs(name: str, unit: ReaderUnit) -> None:
    text = render_text(ALL[name], unit)
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    assert all(sign.isprintable() or sign == "\n" for sign in text)
    assert not re.search(r"\b(None|nan)\b", text)
    assert not re.search(r"\)[0-9n]", text), "two columns touch"


def test_the_text_for_the_terminal_holds_the_figures_with_unit_direction_and_date() -> None:
    text = render_text(FULL, "mm")
    assert "B at 3 150 mm 0.59 low ± 0.10" in text
    assert "0.06 right (operator side) ± 0.10" in text
    assert re.search(
        r"0\.20 low \(target 0\.26 low, 0\.06 higher +0\.02 right \(operator side\)\n +against drift\)\n", text
    )
    assert "Vertical, mm" in text
    assert "19 Dec 2026, cold, 20 °C." in text
    assert "right and left swap" in text
    assert "ORR-07: over" in text


def printed(sheet: JobSheet, unit: ReaderUnit, folder: Path, browser: Browser, pdftotext: str) -> list[str]:
    """Return the text of each page of a sheet printed without background colours."""
    target = folder / "sheet.pdf"
    page = browser.new_page()
    page.set_content(render(sheet, unit))
    page.pdf(path=target, prefer_css_page_size=True, print_background=False)
    page.close()
    done = subprocess.run([pdftotext, str(target), "-"], capture_output=True, text=True, check=True)
    return [re.sub(r"\s+", " ", text) for text in done.stdout.split("\f")[:-1]]


@pytest.mark.browser
@pytest.mark.parametrize("unit", ["mm", "thou"])
def test_a_printed_sheet_is_two_pages_with_cautions_and_figures(
    unit: ReaderUnit, tmp_path: Path, browser: Browser, pdftotext: str
) -> None:
    pages = printed(FULL, unit, tmp_path, browser, pdftotext)
    assert len(pages) == 2
    lead = [lead for lead, _ in cautions(8.1)]
    assert all(words in pages[0] for words in [*lead, LAST, "Last as-left", "Ring the word", "Name, date, signature"])
    figures = ("0.59 low", "± 0.10", "0.20 low", "page 1 of 2") if unit == "mm" else ("23.2 low", "± 3.9", "7.9 low")
    assert all(words in pages[0] for words in figures)
    assert all(words in pages[1] for words in ("ORR-07 Readings", "Set the beam", "1 again", "Remarks"))
    assert "Print or PDF" not in pages[0] + pages[1]


@pytest.mark.browser
@pytest.mark.parametrize(("stations", "supports", "count"), [(3, 2, 2), (6, 4, 2), (8, 2, 2), (9, 2, 3), (12, 4, 4)])
def test_a_line_of_any_length_prints_on_the_pages_it_counts(
    stations: int, supports: int, count: int, tmp_path: Path, browser: Browser, pdftotext: str
) -> None:
    sheet = with_stations(stations, ("A", "B", "C", "D")[:supports])
    pages = printed(sheet, "mm", tmp_path, browser, pdftotext)
    assert len(pages) == layout(sheet, "mm").pages == count
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {count}" in text
        assert "ORR-07" in text
    assert sum(text.count("Hour meter") for text in pages) == 1


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 390, 700])
@pytest.mark.parametrize("name", ["full", "hostile", "sparse"])
def test_a_phone_reads_it_in_one_column_without_scrolling_sideways(name: str, width: int, browser: Browser) -> None:
    long_words = replace(ALL[name], description="D" * 90, right_hand_side="the side with the control cabinet")
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.set_content(render(long_words, "mm"))
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.locator(".caut.tap").is_visible()
    assert not page.locator(".caut.full").is_visible()
    page.close()
