"""The session report on paper: whole on A4 from the browser and as PDF, headings with their content, as of when."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pdf_maker
import pytest
from session_story import FIRST, FOUND, LATER, offset

from fleet.reports import session_tables
from fleet.reports.cautions import LAST, cautions
from fleet.reports.pdf import PdfUnavailableError, as_pdf
from fleet.reports.session_content import SessionRecord
from fleet.reports.session_html import render

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MANY = replace(
    LATER,
    surveys=(
        replace(
            FOUND,
            readings=tuple(
                replace(FOUND.readings[k % 3], sequence=k + 1, typed=(f"0.{k:03d}", "0")) for k in range(60)
            ),
            offsets=tuple(offset(f"P{k}", 100.0 * k, -10.0 * k, 0.0) for k in range(1, 10)),
        ),
    ),
)
"""More readings and stations than a page holds."""
HEADINGS = ("What it came to", "The visit", "What was noticed", "What was done", "The record", "Survey 1, as-found",
            "Moves made", "Readings as the instrument showed them", "What they came to, mm from the gearbox axis",
            "Corrections", "Found beside the alignment", "Cold targets decided")  # fmt: skip

Pages = Callable[[SessionRecord], list[list[str]]]


def lines_of(pdf: Path, pdftotext: str) -> list[list[str]]:
    done = subprocess.run([pdftotext, "-layout", str(pdf), "-"], capture_output=True, text=True, check=True)
    return [
        [re.sub(r"\s+", " ", line).strip() for line in page.splitlines() if line.strip()]
        for page in done.stdout.split("\f")[:-1]
    ]


@pytest.fixture(params=["browser", "pdf"], scope="module")
def pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, pdftotext: str) -> Pages:
    """Print a record from a browser without background colours, and as PDF: the lines of every page, made once."""
    if request.param == "pdf":
        pdf_maker.needed()
    browser: Browser | None = request.getfixturevalue("browser") if request.param == "browser" else None
    folder = tmp_path_factory.mktemp("papers")
    known: dict[int, list[list[str]]] = {}

    def made(record: SessionRecord) -> list[list[str]]:
        if id(record) in known:
            return known[id(record)]
        target = folder / "report.pdf"
        if browser is None:
            target.write_bytes(as_pdf(render(record, "mm")))
        else:
            page = browser.new_page()
            page.set_content(render(record, "mm"))
            page.pdf(path=target, prefer_css_page_size=True, print_background=False)
            page.close()
        known[id(record)] = lines_of(target, pdftotext)
        return known[id(record)]

    return made


def test_every_row_of_every_table_is_in_the_document() -> None:
    html = render(LATER, "mm")
    tables = [session_tables.chain(LATER), session_tables.findings(LATER), session_tables.moves(LATER, "mm"),
              session_tables.targets(LATER, "mm"), session_tables.readings(LATER, FOUND)]  # fmt: skip
    cells = [cell for table in tables if table is not None for row in table.rows for cell in row]
    # Records 2 x 5, findings 2 x 3, moves 2 x 7, targets 1 x 6, readings 3 x 7.
    assert len(cells) == 57
    assert [cell for cell in cells if f">{cell}</td>" not in html] == []


@pytest.mark.browser
def test_paper_is_whole_with_asset_unit_zone_and_age_on_every_page(pages: Pages) -> None:
    found = pages(MANY)
    assert len(found) >= 3
    for number, page in enumerate(found, start=1):
        head = " ".join(page[:3])
        assert "Visit S-08 of ORR-07" in head
        assert "figures in mm" in head
        assert "times of Europe/London" in head
        assert "data as of 23 Dec 2026, 08:10" in head
        assert f"page {number} of {len(found)}" in head
    lines = [line for page in found for line in page]
    readings = [line for line in lines if re.match(r"\d+ [AB] [12] \d+° \(", line)]
    assert [int(line.split()[0]) for line in readings] == list(range(1, 61))
    assert [line for line in readings if f"0.{int(line.split()[0]) - 1:03d}" not in line] == []
    # Every station twice: in the table of one axis and of the other.
    assert [sum(line.startswith(f"P{k} {k}00 mm") for line in lines) for k in range(1, 10)] == [2] * 9
    # A table that goes on over a page says its columns again.
    assert sum(line.startswith("No. Station Beam state") for line in lines) >= 2


@pytest.mark.browser
def test_no_heading_is_the_last_thing_on_a_page(pages: Pages) -> None:
    found = pages(MANY)
    seen = [line for page in found for line in page if line in HEADINGS]
    assert len(seen) >= 10
    assert [page[-1] for page in found if page[-1] in HEADINGS] == []


@pytest.mark.browser
def test_no_heading_is_stranded_wherever_the_page_ends(browser: Browser, tmp_path: Path, pdftotext: str) -> None:
    page = browser.new_page()
    page.set_content(render(LATER, "mm"))
    stranded = []
    for shift_mm in range(0, 60, 10):
        page.evaluate("(mm) => { document.querySelector('header').style.paddingBottom = `${mm}mm`; }", shift_mm)
        page.pdf(path=tmp_path / "shifted.pdf", prefer_css_page_size=True)
        ends = [lines[-1] for lines in lines_of(tmp_path / "shifted.pdf", pdftotext)]
        stranded += [(shift_mm, end) for end in ends if end in HEADINGS]
    page.close()
    assert stranded == []


@pytest.mark.browser
def test_paper_shows_work_only_under_the_cautions_and_drops_the_buttons(pages: Pages) -> None:
    text = " ".join(line for page in pages(LATER) for line in page)
    leads = [lead for lead, _ in cautions(8.2)]
    assert [lead for lead in leads if lead not in text] == []
    assert text.index("Before you reach in") < text.index("Moves made")
    assert "This sheet is no permission to work." in text
    assert "it grows about 8 mm in length" in text
    assert re.search(r"\bPrint\b", text) is None


def test_a_record_without_moves_needs_no_cautions_but_its_last_line() -> None:
    html = render(replace(LATER, moves=()), "mm")
    assert "Before you reach in" not in html
    assert LAST.replace("This sheet", "This report") in html


def test_a_replaced_record_says_so_before_any_figure() -> None:
    html = render(FIRST, "mm")
    assert 0 < html.index("S-08 replaced this record") < html.index("What it came to")


def test_what_people_wrote_is_shown_and_never_obeyed() -> None:
    hostile = replace(
        LATER, remarks="<script>1</script>", right_hand_side="<b>side", site_name='"}</style><script>', zone="A&B"
    )
    html = render(hostile, "thou")
    assert "<script" not in html
    assert html.count("</style>") == 1
    assert "&lt;script&gt;1&lt;/script&gt;" in html


def test_the_drawing_carries_both_surveys_between_the_limits_in_black_on_white() -> None:
    html = render(LATER, "mm")
    drawing = re.search(r'<svg class="prof".*?</svg>', html, re.DOTALL)
    assert drawing is not None
    # Two stations, two surveys, two views: eight marks, half of them filled (as-left).
    discs = re.findall(r'<circle [^>]*fill="([^"]+)"', drawing[0])
    assert sorted(discs) == ["#000"] * 4 + ["#fff"] * 4
    assert drawing[0].count(">limit</text>") == 4
    assert "var(" not in drawing[0]
    # Right is down in the plan: A as-found (15 um right) lies lower than B as-found (28 um left).
    plan = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="4.2" fill="#fff"', drawing[0])[2:]
    assert float(plan[0][1]) > float(plan[1][1])


def test_the_pdf_has_the_papers_face_embedded(tmp_path: Path, pdftotext: str) -> None:
    pdf_maker.needed()
    face = Path(__file__).parents[2] / "dashboard/assets/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2"
    target = tmp_path / "report.pdf"
    target.write_bytes(as_pdf("<p style='font-family:Atkinson Hyperlegible Next'>0.31 <b>below</b></p>", face=face))
    fonts = subprocess.run(
        [str(Path(pdftotext).with_name("pdffonts")), str(target)], capture_output=True, text=True, check=True
    ).stdout
    assert "Atkinson-Hyperlegible-Next" in fonts
    assert [line for line in fonts.splitlines()[2:] if " yes yes " not in line] == []


def test_without_its_maker_a_pdf_is_refused_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(PdfUnavailableError, match=r"asleft\[pdf\].*pango.*it is the same paper\."):
        as_pdf("<p>")
