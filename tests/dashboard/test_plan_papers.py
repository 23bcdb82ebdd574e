"""What is handed over of a plan at plain addresses, its tables and the feeds' form; content is invented and by hand.

Calendars are read back with vobject, PDFs with poppler, workbooks with openpyxl: none of them wrote what they read.
"""

from __future__ import annotations

import io
import re
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

import hand_over_story as story
import openpyxl
import orrindale
import outages_story
import pdf_maker
import pytest
import vobject
from flask.testing import FlaskClient
from taken import take
from trees import walk

from dashboard import feed_forms, hand_over_sources
from dashboard.address import parse
from dashboard.app import build
from dashboard.hand_over_sources import HandOverSources
from dashboard.pages import outages_hand_over
from dashboard.pages.outages_address import OutagesAsked
from dashboard.sources import Sources
from fleet.errors import InputError, NotFoundError
from fleet.reports.job_sheet import JobSheet
from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import Asked
from fleet.services.planning.feeds import FeedListed, FeedMade
from fleet.store.engine import Store

ASKED: list[Asked] = []


def content(asked: Asked) -> PlanContent:
    ASKED.append(asked)
    if asked.site == "XX":
        raise InputError("Pins cannot be kept.")
    if asked.site == "MANY":
        return story.plan(rows=story.ROWS[6:7] * 501)
    return story.plan(site=asked.site, site_name="Orrindale" if asked.site else None)


def kept(code: str) -> PlanContent:
    if code != "P-3":
        raise NotFoundError(f"There is no kept plan ‘{code}’.")
    return story.plan(kept=story.kept())


def sheets(plan: PlanContent, stop: str, part: int) -> tuple[JobSheet, ...]:
    assert part == 1
    return tuple(replace(orrindale.SHEET, line=row.line, outage=stop) for row in plan.rows_of(stop))


def sources(**more: Any) -> Sources:
    own = replace(outages_story.HAND_OVER, job_sheets=sheets, **more)
    return replace(orrindale.SOURCES, plans=replace(outages_story.SOURCES, content=content, kept=kept, hand_over=own))


@pytest.fixture
def client() -> FlaskClient:
    return build(sources()).server.test_client()


def pages(answer: Any, pdftotext: str, folder: Path) -> list[str]:
    file = folder / "taken.pdf"
    file.write_bytes(answer.get_data())
    done = subprocess.run([pdftotext, "-layout", str(file), "-"], capture_output=True, text=True, check=True)
    return [re.sub(r"\s+", " ", page) for page in done.stdout.split("\f")[:-1]]


def test_the_paper_is_of_the_view_itself(client: FlaskClient) -> None:
    answer = client.get("/outages/print?site=ORR&cap=15&ahead=6&into=ORR-05:ORR-2026-12-19&unit=thou")
    assert ASKED[-1] == Asked(site="ORR", cap=0.15, ahead_months=6, into=(("ORR-05", "ORR-2026-12-19"),))
    assert "Plan of visits, Orrindale" in answer.text
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    signed = client.get("/outages/print?plan=P-3")
    assert "Plan P-3, signed off by J. Quillam" in signed.text


def test_what_cannot_be_shown_is_a_sentence(client: FlaskClient) -> None:
    for path, status, said in (
        ("/outages/print?plan=P-9", 404, "There is no kept plan ‘P-9’."),
        ("/outages/calendar.ics?site=XX", 400, "Pins cannot be kept."),
        ("/outages/pdf?site=MANY", 400, "The plan has 501 lines; a PDF of more than 500 takes too long here."),
        ("/outages/job-sheets.pdf", 400, "Which stop are the job sheets for?"),
    ):
        answer = client.get(path)
        assert (answer.status_code, answer.mimetype) == (status, "text/plain"), path
        assert answer.text.startswith(said)


def test_the_pdf_is_the_same_paper(client: FlaskClient, pdftotext: str, tmp_path: Path) -> None:
    pdf_maker.needed()
    answer = client.get("/outages/pdf?plan=P-3")
    assert answer.mimetype == "application/pdf"
    assert answer.headers["Content-Disposition"] == "inline; filename*=UTF-8''plan-P-3.pdf"
    first, *_ = pages(answer, pdftotext, tmp_path)
    assert "Plan P-3, signed off by J. Quillam (not verified)" in first


def test_job_sheets_of_a_stop_are_one_pdf_each_from_a_fresh_page_in_the_plans_order(
    client: FlaskClient, pdftotext: str, tmp_path: Path
) -> None:
    pdf_maker.needed()
    answer = client.get("/outages/job-sheets.pdf?site=ORR&stop=ORR-2026-12-19")
    assert answer.headers["Content-Disposition"] == "inline; filename*=UTF-8''job-sheets-ORR-2026-12-19.pdf"
    shown = pages(answer, pdftotext, tmp_path)
    firsts = [page for page in shown if "page 1 of 2" in page]
    assert len(shown) == 2 * len(firsts) == 8
    # Pages count within each sheet, and every first page is a whole one: cautions and all.
    assert [next(line for line in ("ORR-07", "ORR-03", "ORR-09", "ORR-02") if line in page) for page in firsts] == [
        "ORR-07", "ORR-03", "ORR-09", "ORR-02",
    ]  # fmt: skip
    assert all("Before you reach in" in page and "no permission to work" in page for page in firsts)
    alone = client.get("/outages/job-sheets.pdf?site=ORR&stop=ORR-2027-04-03")
    assert len(pages(alone, pdftotext, tmp_path)) == 2


def test_the_calendar_file_holds_the_visits_of_the_view(client: FlaskClient) -> None:
    answer = client.get("/outages/calendar.ics?plan=P-3")
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Content-Disposition"] == "attachment; filename*=UTF-8''plan-P-3.ics"
    events = vobject.readOne(answer.text).vevent_list
    assert [event.summary.value.split()[1] for event in events] == ["ORR-07", "ORR-03", "ORR-09", "ORR-02", "ORR-05"]


def test_the_table_has_a_row_a_line_with_every_figure(client: FlaskClient) -> None:
    found = take(client, "plan", "/outages?site=ORR")
    assert [row["line"] for row in found.rows] == [row.line for row in story.ROWS]
    seven, twelve = found.rows[0], found.rows[5]
    assert (seven["outage"], seven["starts_at"]) == ("ORR-2026-12-19", "2026-12-19T00:00:00-05:00")
    assert (seven["chance_before_fraction"], seven["chance_if_skipped_fraction"]) == ("0.95", "0.99")
    assert (seven["skipped_until"], seven["chance_without_visit_fraction"]) == ("ORR-2027-04-03", "0.995")
    assert (seven["crew_hours_h"], seven["window_h"], seven["days_over_day"]) == ("14.0", "41.0", "31.0")
    assert (seven["no_choice_keeps_cap"], seven["as_of"]) == ("already above 20 % today", "2026-11-25")
    assert (twelve["outage"], twelve["rather"], twelve["hours_missing_h"]) == ("", "ORR-2027-04-03", "4.0")
    assert twelve["closed_ORR-2026-12-19"] == "4 crew h too few"
    assert twelve["kept_out_of"] == "ORR-2027-07-24"
    assert found.about["cap"] == "0.2 chance before a visit, by the settings"
    assert found.about["plan"] == "Not saved."
    assert "permission" in found.about["note"]


def test_the_workbook_and_the_table_of_stops(client: FlaskClient) -> None:
    view = quote("/outages?plan=P-3")
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/download/plan.xlsx?view={view}").get_data()))
    header, first, *_ = book["Table"].iter_rows()
    at = {cell.value: number for number, cell in enumerate(header)}
    assert first[at["chance_before_fraction"]].value == 0.95
    stops = take(client, "plan-stops", "/outages?plan=P-3").rows
    assert [row["outage"] for row in stops] == [stop.code for stop in story.STOPS]
    assert (stops[0]["length_h"], stops[0]["lines"]) == ("288.0", "ORR-07, ORR-03, ORR-09, ORR-02")
    assert (stops[3]["ends_at"], stops[3]["length_h"]) == ("", "")


def section(plan: PlanContent, view: str, **more: Any) -> list[Any]:
    return list(walk(outages_hand_over.section(sources(**more).plans, plan, OutagesAsked(), parse("/outages", view))))


def links(parts: list[Any]) -> list[str]:
    return [part.href for part in parts if getattr(part, "href", None)]


def test_the_page_hands_over_the_view_with_its_pins_and_unit() -> None:
    view = "?site=ORR&into=ORR-05:ORR-2026-12-19&unit=thou"
    shown = links(section(story.plan(), view))
    assert shown[:3] == [f"/outages/{what}{view}" for what in ("print", "pdf", "calendar.ics")]
    assert f"/outages/job-sheets.pdf{view}&stop=ORR-2026-12-19" in shown
    assert "/download/plan.xlsx?view=" + quote(f"/outages{view}", safe="/") in shown
    assert not [link for link in shown if "stop=ORR-2027-07-24" in link], "no visit, no job sheets"


def test_many_job_sheets_are_taken_in_parts() -> None:
    rows = tuple(replace(story.ROWS[0], line=f"ORR-{k:03d}") for k in range(85))
    shown = [link for link in links(section(story.plan(rows=rows), "")) if "job-sheets" in link]
    assert shown == [f"/outages/job-sheets.pdf?stop=ORR-2026-12-19&part={k}" for k in (1, 2, 3, 4, 5)]


def test_nothing_is_handed_over_of_an_empty_plan() -> None:
    assert section(story.plan(rows=(), stops=()), "") == []


def made(name: str, site: str | None, by: str) -> FeedMade:
    if not by:
        raise InputError("The record keeps who wrote in it; type your name.")
    return FeedMade(4, "/calendar/SECRET.ics", f"Copy it now, {name} of {site}.")


def texts(parts: Any) -> str:
    return " ".join(str(part.children) for part in walk(parts) if isinstance(getattr(part, "children", None), str))


def test_a_feeds_address_is_shown_once_as_others_reach_it(monkeypatch: pytest.MonkeyPatch) -> None:
    own = replace(outages_story.HAND_OVER, make_feed=made)
    monkeypatch.setenv("ASLEFT_BASE_URL", "https://asleft.plant.example/")
    done, shown = feed_forms.make(own, "office", "ORR", "J. Quillam", "http://127.0.0.1:8050/")
    assert done
    assert texts(shown) == "Copy it now, office of ORR. https://asleft.plant.example/calendar/SECRET.ics"
    monkeypatch.delenv("ASLEFT_BASE_URL")
    _, here = feed_forms.make(own, "office", "ORR", "J. Quillam", "http://127.0.0.1:8050/")
    assert "http://127.0.0.1:8050/calendar/SECRET.ics This address is as your browser reaches Asleft." in texts(here)
    assert "ASLEFT_BASE_URL" in texts(here)
    refused, said = feed_forms.make(own, "office", "ORR", None, "http://127.0.0.1:8050/")
    assert not refused
    assert texts(said) == "The record keeps who wrote in it; type your name."


def test_feeds_are_listed_without_their_secret_each_with_its_end() -> None:
    feed = FeedListed(4, "Maintenance office", None, "J. Quillam (not verified)", story.kept().made_at)
    parts = section(story.plan(), "", feeds=lambda: (feed,))
    ends = [part.id for part in parts if isinstance(getattr(part, "id", None), dict)]
    assert ends == [{"type": "feed-end", "number": 4}]
    assert "Maintenance office" in texts(parts)


@pytest.fixture
def real(sqlite_store: Store) -> tuple[FlaskClient, HandOverSources]:
    own = hand_over_sources.from_store(sqlite_store)
    plans = replace(outages_story.SOURCES, hand_over=own)
    return build(replace(orrindale.SOURCES, plans=plans)).server.test_client(), own


def test_a_feed_answers_until_it_is_ended_and_tells_who_has_it_already(
    real: tuple[FlaskClient, HandOverSources],
) -> None:
    client, own = real
    feed = own.make_feed("office", None, "J. Quillam")
    answer = client.get(feed.path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert answer.headers["Cache-Control"] == "private, max-age=900"
    assert "X-PUBLISHED-TTL" in answer.text
    assert vobject.readOne(answer.text).contents["x-wr-calname"][0].value == "Visits at every site"
    # RFC 9110, 13.1.2: the same tag again is answered with 304 and no body.
    again = client.get(feed.path, headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status_code, again.get_data()) == (304, b"")
    own.end_feed(feed.number, "J. Quillam")
    ended, unknown = client.get(feed.path), client.get("/calendar/nobody-knows-this.ics")
    assert (ended.status_code, ended.get_data()) == (unknown.status_code, unknown.get_data())
    assert ended.status_code == 404
    assert ended.text == "There is no calendar under this address; ask the planner for a new one.\n"


def test_odd_secrets_are_answered_as_unknown_ones(
    real: tuple[FlaskClient, HandOverSources], caplog: pytest.LogCaptureFixture
) -> None:
    client, _ = real
    for odd in ("x" * 5000, "%00", "%ff", "%F0%9F%9A%A7", "a.b"):
        assert client.get(f"/calendar/{odd}.ics").status_code == 404, odd
    assert not caplog.records
