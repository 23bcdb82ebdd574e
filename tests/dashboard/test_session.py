"""A visit's page as a component tree, its papers over HTTP, and the links that lead to both."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from typing import Any

import orrindale
import pytest
from dash import dcc, html
from flask.testing import FlaskClient
from session_story import LATER
from trees import walk, with_class, words_of

from dashboard.address import parse
from dashboard.app import build, render
from dashboard.pages.page import Shown
from fleet.errors import InputError
from fleet.reports import job_sheet_html


def at(address: str) -> Shown:
    path, _, query = address.partition("?")
    return render(orrindale.SOURCES, parse(path, query))


def links(node: Any) -> dict[str, str]:
    return {words_of(one): one.href for one in walk(node) if isinstance(one, (html.A, dcc.Link))}


@pytest.fixture
def client() -> FlaskClient:
    return build(replace(orrindale.SOURCES, paper=job_sheet_html.render)).server.test_client()


def test_the_title_is_answered_before_any_table() -> None:
    shown = at("/session/S-08")
    said = words_of(shown.body)
    assert shown.title == "Visit S-08"
    answer = (
        "Visit S-08 of ORR-0720 Dec 2026, 08:10 (Europe/London, UTC): as-found and as-left by M. Adeyrin with I-04. "
        "As-found, farthest from target at station B: 0.187 mm below target."
    )
    assert said.index(answer) < said.index("What it came to")


def test_the_whole_record_is_on_the_page() -> None:
    said = words_of(at("/session/S-08").body)
    parts = ("WO-58213", "41 870 h", "rod bent, straightened", "calibrated 3 Mar 2026, holds until 3 Mar 2027",
             "Readings as the instrument showed them", "-0.213", "1e-1", "90° (9 o’clock)", "Gearbox22 °C (oil)",
             "A barrel 24 °C, base 22 °C", "0.190 mm higher", "gearbox feet", "own checks", "ran 0.06 high in June",
             "soft foot", "withdrawn 22 Dec 2026 by K. Dremmond: another line", "Sign turned?",
             "Kept as it was by M. Adeyrin (not verified): read twice.", "as-left within 0.05 mm",
             "Read again at the end, the first station came back within 0.006 mm vertical", "9c41" * 16,
             "S-07", "Times are those of Europe/London; data as of 23 Dec 2026, 08:10.")  # fmt: skip
    assert [part for part in parts if part not in said] == []


def test_a_noticed_slip_asks_nobody_to_choose_after_signing() -> None:
    said = words_of(at("/session/S-08").body)
    assert "Sign turned? Survey 1, as-found: h at station B, reading 3, does not fit" in said
    assert "until you choose" not in said


def test_correcting_begins_at_the_record_that_counts_only() -> None:
    assert links(at("/session/S-08").body)["Correct this visit"] == "/record/ORR-07?corrects=S-08"
    replaced = links(at("/session/S-07").body)
    assert "Correct this visit" not in replaced
    assert replaced["Open S-08, which counts"] == "/session/S-08"
    assert links(at("/session/S-08").body)["Open S-07, the record before"] == "/session/S-07"


def test_a_replaced_record_warns_first() -> None:
    body = at("/session/S-07").body
    assert "say warn" in body[0].className
    assert "S-08 replaced this record on 22 Dec 2026: inverted reading at B." in words_of(body[0])


def test_links_to_paper_and_pages_keep_the_readers_unit() -> None:
    found = links(at("/session/S-08?unit=thou").body)
    assert found["Print"] == "/session/S-08/print?unit=thou"
    assert found["PDF"] == "/session/S-08/pdf?unit=thou"
    assert found["ORR-07"] == "/line/ORR-07?unit=thou"
    assert "15.24 low ± 0.83" in words_of(at("/session/S-08?unit=thou").body)


def test_every_cell_of_a_wide_table_names_its_column_for_a_phone() -> None:
    cells = [
        (cell, column)
        for table in with_class(at("/session/S-08").body, "stk")
        for column in [words_of(head) for head in walk(table) if isinstance(head, html.Th)]
        for cell in walk(table)
        if isinstance(cell, html.Td) and cell.to_plotly_json()["props"]["data-label"] == column
    ]
    tables = with_class(at("/session/S-08").body, "stk")
    assert len(tables) >= 5
    assert len(cells) == sum(isinstance(cell, html.Td) for table in tables for cell in walk(table))


def test_moves_stand_under_the_cautions_and_without_moves_there_are_none() -> None:
    said = words_of(at("/session/S-08").body)
    assert said.index("Before you reach in") < said.index("Moves made")
    still = replace(orrindale.SOURCES, session=lambda _: replace(LATER, moves=()))
    assert "Before you reach in" not in words_of(render(still, parse("/session/S-08", "")).body)


def test_unknown_unnamed_and_unsigned_visits_are_three_sentences() -> None:
    assert "There is no visit ‘S-99’" in words_of(at("/session/S-99").body)
    assert "Open a line from the fleet" in words_of(at("/session").body)

    def draft(_: str) -> Any:
        raise InputError("Session 'D-1' of line ORR-07 is a draft: it can be shown once it is signed.")

    said = words_of(render(replace(orrindale.SOURCES, session=draft), parse("/session/D-1", "")).body)
    assert "is a draft: it can be shown once it is signed" in said


def test_the_line_pages_sessions_each_open_their_record() -> None:
    (table,) = with_class(at("/line/ORR-07?unit=thou").body, "ss")
    opened = {link.href for link in walk(table) if isinstance(link, dcc.Link)}
    assert opened == {f"/session/{row.session}?unit=thou" for row in orrindale.LINE.sessions}


def test_the_fleet_page_leads_to_labels_of_the_site_in_view() -> None:
    assert links(at("/").body)["Labels"] == "/labels/print"
    assert links(at("/?site=ORR").body)["Labels"] == "/labels/print?site=ORR"


def test_the_job_sheet_offers_print_and_pdf() -> None:
    found = links(at("/job-sheet/ORR-07?unit=thou").body)
    assert (found["Print"], found["PDF"]) == (
        "/job-sheet/ORR-07/print?unit=thou", "/job-sheet/ORR-07/pdf?unit=thou",
    )  # fmt: skip


def test_papers_run_their_print_button_and_nothing_else(client: FlaskClient) -> None:
    for address in ("/session/S-08/print", "/labels/print", "/job-sheet/ORR-07/print"):
        answer = client.get(address)
        assert (answer.status_code, answer.mimetype) == (200, "text/html")
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "<script" not in answer.get_data(as_text=True)
        assert answer.get_data(as_text=True).count('onclick="window.print()"') == 1


def test_a_papers_face_comes_from_the_own_host(client: FlaskClient) -> None:
    for address in ("/session/S-08/print", "/labels/print", "/job-sheet/ORR-07/print"):
        loaded = re.findall(r'url\("([^"]+)"\)', client.get(address).get_data(as_text=True))
        assert len(loaded) == 1
        with client.get(loaded[0]) as face:
            assert face.data.startswith(b"wOF2")
    assert "font-src 'self'" in client.get("/labels/print").headers["Content-Security-Policy"]


def test_the_paper_of_a_visit_comes_in_the_readers_unit(client: FlaskClient) -> None:
    text = client.get("/session/S-08/print?unit=thou").get_data(as_text=True).replace("\u00a0", " ")
    assert "15.24 low ± 0.83" in text
    assert "figures in thou" in text


def test_labels_are_those_of_the_lines_asked_for(client: FlaskClient) -> None:
    assert client.get("/labels/print").get_data(as_text=True).count('<section class="lab') == 2
    one = client.get("/labels/print?line=ORR-03&site=ORR").get_data(as_text=True)
    assert "ORR-03" in one
    assert "ORR-07" not in one


@pytest.mark.parametrize("address", ["/session/S-08/pdf", "/job-sheet/ORR-07/pdf", "/labels/pdf"])
def test_where_pdfs_cannot_be_made_the_answer_says_what_to_install(
    client: FlaskClient, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    answer = client.get(address)
    assert (answer.status_code, answer.mimetype) == (501, "text/plain")
    text = answer.get_data(as_text=True)
    assert "pip install 'asleft[pdf]'" in text
    assert "it is the same paper" in text


def test_a_pdf_is_made_of_the_same_paper(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    monkeypatch.setattr("dashboard.paper.as_pdf", lambda html, **_: made.append(html) or b"%PDF-")
    for paper in ("/session/S-08", "/job-sheet/ORR-07", "/labels"):
        answer = client.get(f"{paper}/pdf?unit=thou")
        assert (answer.data, answer.mimetype) == (b"%PDF-", "application/pdf")
        printed = client.get(f"{paper}/print?unit=thou").get_data(as_text=True)
        # The browser is told where the face lies; the maker of PDFs gets it as a file.
        assert re.sub(r"<style>@font-face.*?</style>(?=</head>)", "", printed) == made[-1]
    disposition = client.get("/session/S-08/pdf").headers["Content-Disposition"]
    assert disposition == "inline; filename*=UTF-8''session-S-08-2026-12-20.pdf"


def test_an_unknown_visit_on_paper_is_a_sentence(client: FlaskClient) -> None:
    missing = client.get("/session/S-99/print")
    assert (missing.status_code, missing.mimetype, missing.data) == (404, "text/plain", b"no session S-99\n")
