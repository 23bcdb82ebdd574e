"""A plan on paper and in the terminal: whole, with head and foot on every page, from the browser and as PDF.

What stands on the paper is read out of the PDF by poppler; which words stand there is `common practice, no source`.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import pdf_maker
import pytest
from hand_over_story import ROWS, STOPS, kept, plan

from fleet.reports import plan_words as say
from fleet.reports.cautions import CAUTIONS
from fleet.reports.pdf import as_pdf
from fleet.reports.plan_content import AsideStop, PlanContent
from fleet.reports.plan_html import render
from fleet.reports.plan_text import render_text

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MANY = plan(
    kept=kept(note="Crane is booked."),
    rows=(*(replace(ROWS[0], line=f"ORR-{k:03d}") for k in range(100, 140)), *ROWS),
)
"""More lines than a page holds."""
Pages = Callable[[PlanContent], list[str]]


def plain(text: str) -> str:
    return re.sub(r"[\s\u00a0]+", " ", text).strip()


@pytest.fixture(params=["browser", "pdf"], scope="module")
def pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, pdftotext: str) -> Pages:
    """Print a plan from a browser without background colours, and as PDF: the text of every page."""
    if request.param == "pdf":
        pdf_maker.needed()
    browser: Browser | None = request.getfixturevalue("browser") if request.param == "browser" else None
    target = tmp_path_factory.mktemp("papers") / "plan.pdf"

    def made(content: PlanContent) -> list[str]:
        if browser is None:
            target.write_bytes(as_pdf(render(content, "mm")))
        else:
            page = browser.new_page()
            page.set_content(render(content, "mm"))
            page.pdf(path=target, prefer_css_page_size=True, print_background=False)
            page.close()
        done = subprocess.run([pdftotext, "-layout", str(target), "-"], capture_output=True, text=True, check=True)
        return [plain(text) for text in done.stdout.split("\f")[:-1]]

    return made


def test_head_and_foot_stand_on_every_page(pages: Pages) -> None:
    shown = pages(MANY)
    assert len(shown) > 3
    for number, text in enumerate(shown, start=1):
        assert text.startswith(
            "Plan of visits, Orrindale · plan P-3, signed off · hours in h, chances in % · "
            "times of America/New_York · as of 25 Nov 2026"
        )
        assert f"page {number} of {len(shown)}" in text
        assert "A plan is no permission to work on a machine." in text


def test_every_line_stands_on_paper_once_where_it_goes_with_a_box(pages: Pages) -> None:
    text = " ".join(pages(MANY))
    for row in MANY.rows:
        in_tables = 1 + (row.unkept is not None or row.above_cap)
        assert len(re.findall(rf"\b{row.line}\b(?!-)", text)) == in_tables, row.line
    assert text.count("Done Line Status") >= 2
    assert "Day and sign" in text


def test_paper_says_who_signed_what_it_comes_to_and_what_is_not_planned(pages: Pages) -> None:
    aside = AsideStop(
        "ORR-2026-11-28", "weekend", "ORR", None, STOPS[0].starts_at, None, False, None, None, "planned",
        "ORR-2026-11-28 has begun; nothing is planned into it any more.",
    )  # fmt: skip
    text = " ".join(
        pages(replace(MANY, aside=(aside,), older="Newer records are being worked on.", dropped=("x is no line.",)))
    )
    for said in (
        "Plan P-3, signed off by J. Quillam (not verified), 26 Nov 2026, 08:30.",
        "Crane is booked.",
        "20 % chance of being over, by the settings",
        "95 days over expected by the plan’s end, Oct 2028; 1 439 days with no visit but the pinned ones.",
        "ORR-2026-11-28 has begun; nothing is planned into it any more.",
        "Newer records are being worked on.",
        "x is no line.",
        "Full stop, 288 h; serves site ORR; 56 of 96 crew h.",
        "This plan is no permission to work.",
    ):
        assert said in text, said
    for lead, _ in CAUTIONS:
        assert lead in text


def test_a_plan_that_nobody_kept_says_so_on_every_page(pages: Pages) -> None:
    for text in pages(plan()):
        assert "Plan of visits, Orrindale · not saved · " in text


def test_text_from_outside_stays_text() -> None:
    html = render(plan(site_name="<b>Orr</b>", rows=(replace(ROWS[0], needs=('<img src=x onerror="1">',)),)), "mm")
    assert "<img" not in html
    assert "<b>Orr" not in html


def test_the_terminal_says_the_same_as_the_paper() -> None:
    said = plain(render_text(MANY, "mm"))
    paper = plain(re.sub(r"<[^>]+>", " ", render(MANY, "mm").partition("<body>")[2]).replace("&#x27;", "'"))
    for row in MANY.rows:
        assert row.line in said
    for sentence in (say.lead(MANY), say.sums(MANY), say.gap(MANY), say.state(MANY), say.NO_PERMISSION):
        assert plain(sentence) in said
        assert plain(sentence) in paper
    assert "ORR-12 watch 50 % before the plan’s end, Oct 2028 ORR-2027-04-03 would be worth it" in said
