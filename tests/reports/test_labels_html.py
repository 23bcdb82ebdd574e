"""Labels on paper: the code that is printed reads back as the job sheet's address; without an address it says why."""

from __future__ import annotations

import re
import subprocess
from datetime import date
from pathlib import Path

import pdf_maker
import qr_reader

from fleet.reports.labels import SET_BASE_URL, Label, LabelSheet
from fleet.reports.labels_html import render
from fleet.reports.pdf import as_pdf

ON = date(2026, 11, 25)


def sheet(*lines: str, base: str | None = "https://a.example") -> LabelSheet:
    labels = tuple(Label(code, "Orrindale", "Pipe", f"{base}/job-sheet/{code}" if base else None) for code in lines)
    return LabelSheet(labels, "Every line", ON)


def codes(html: str) -> list[str]:
    return re.findall(r"<svg.*?</svg>", html, re.DOTALL)


def test_every_printed_code_reads_back_as_the_address_of_its_job_sheet() -> None:
    found = [qr_reader.read(code) for code in codes(render(sheet("ORR-03", "ORR-07")))]
    assert found == ["https://a.example/job-sheet/ORR-03", "https://a.example/job-sheet/ORR-07"]


def test_a_label_names_line_site_and_work_and_is_no_permission() -> None:
    html = render(sheet("ORR-07"))
    assert "<h2>ORR-07</h2><p>Orrindale</p><p>Pipe</p>" in html
    assert "This label is no permission to work." in html
    assert "record of 25\u00a0Nov\u00a02026" in html


def test_without_a_base_address_no_code_is_printed_and_the_sheet_says_what_to_set() -> None:
    html = render(sheet("ORR-07", base=None))
    assert codes(html) == []
    assert "ASLEFT_BASE_URL" in SET_BASE_URL
    assert SET_BASE_URL in html


def test_no_line_is_explained() -> None:
    assert "No line matches what was asked for." in render(sheet())


def test_names_are_shown_and_not_obeyed() -> None:
    html = render(LabelSheet((Label("<b>1", "<i>", "&", None),), "Line <b>1", ON))
    assert "<h2>&lt;b&gt;1</h2><p>&lt;i&gt;</p><p>&amp;</p>" in html


def test_seventeen_labels_are_three_pages_of_a_pdf(tmp_path: Path, pdftotext: str) -> None:
    pdf_maker.needed()
    lines = [f"L-{number:02d}" for number in range(17)]
    target = tmp_path / "labels.pdf"
    target.write_bytes(as_pdf(render(sheet(*lines))))
    text = subprocess.run([pdftotext, str(target), "-"], capture_output=True, text=True, check=True).stdout
    pages = text.split("\f")[:-1]
    assert [sum(line in page.splitlines() for line in lines) for page in pages] == [8, 8, 1]
