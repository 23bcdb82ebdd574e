"""The Records page on invented records: what it says, what its addresses mean, what is sent and taken along."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict, replace
from datetime import date
from typing import Any

import orrindale
import pytest
import records_story as story
from flask.testing import FlaskClient
from trees import walk, with_class, words_of

from dashboard.address import Address, href, parse
from dashboard.app import build, render
from dashboard.pages.records import records_page
from dashboard.pages.records_changes import entry_of
from dashboard.pages.records_choice import asked
from dashboard.pages.records_facts import said_of
from dashboard.pages.records_intake import outlook
from fleet.services.records_page import RecordsChoice
from fleet.services.records_page_facts import FactRow
from fleet.services.taking_in import Changed, Outlook, Tell


def page(search: str = "", view: Any = None) -> tuple[str, list[Any]]:
    address = parse("/records", search)
    choice, notes = asked(address)
    shown = records_page(view or story.view(choice), address, notes, story.NOW)
    return words_of(shown.body), shown.body


@pytest.fixture
def client() -> FlaskClient:
    served: FlaskClient = build(orrindale.SOURCES).server.test_client()
    return served


def test_the_lead_answers_what_waits_and_what_was_corrected() -> None:
    text, _ = page()
    assert "One source waits to be put right: nothing of it was taken." in text
    assert "One visit has been corrected; both versions are kept." in text
    two = replace(story.VIEW, waiting=(story.REFUSED, story.REFUSED), correction_total=13)
    assert "Two sources wait to be put right: nothing of them was taken. 13 visits have been" in page(view=two)[0]
    assert "The store is empty. Bring a workbook" in page(view=story.EMPTY)[0]
    assert "Nothing was changed yet." in page(view=story.EMPTY)[0]


def test_each_source_says_when_by_whom_with_what_result_and_how_many_rows() -> None:
    _, body = page()
    table = with_class(body, "itk")[0]
    rows = [[words_of(cell) for cell in row.children] for row in walk(table) if type(row).__name__ == "Tr"][1:]
    assert rows == [
        [
            "25 Nov 2026, 06:40", "readings-week-47folder, 5 files", "K. Dremmond", "refused", "0", "3",
            "nothing of it was taken; see below",
        ],
        [
            "24 Nov 2026, 16:05", "orrindale-2019.xlsxworkbook", "K. Dremmond", "nothing new", "0", "0",
            "the same content as on 24 Nov 2026, 16:02",
        ],
        [
            "24 Nov 2026, 16:02", "orrindale-2019.xlsxworkbook", "K. Dremmond", "taken", "412", "0",
            "14 sessions, signed on import",
        ],
    ]  # fmt: skip


def test_every_bad_row_is_listed_with_three_ways_on() -> None:
    _, body = page()
    (panel,) = with_class(body, "big")
    text = words_of(panel)
    assert "readings-week-47: three rows stand in the way of 1 206" in text
    assert "The header is row 1. A source is taken whole or not at all." in text
    cells = [words_of(cell) for cell in walk(with_class(panel, "bad")[0]) if type(cell).__name__ == "Td"]
    assert cells[:5] == ["readings.csv", "41", "unit", "thous", "is not a unit; use um, mm, in or thou"]
    assert cells[10:] == ["calibration.csv", "", "", "", "not a file of the exchange format; rename it or take it out"]
    assert "readings.csv row 388, column station‘C’ there is no station 'C' on line 'ORR-05'" in text
    ways = [words_of(each) for each in with_class(panel, "btn")]
    assert ways == [
        "Send the corrected source", "Refused rows as CSV", "Take the 11 sound sessions without the other 2",
    ]  # fmt: skip
    alone = replace(story.VIEW, opened=replace(story.OPENED, sound_sessions=None, other_sessions=None))
    assert "sound session" not in page(view=alone)[0]


def test_a_correction_says_what_became_what_by_whom_and_why_and_leads_to_both_visits() -> None:
    text, body = page()
    assert "ORR-07, 12 Aug 2024corrected 2 Sep 2024 by T. Halvorsby" in text
    assert "Station 4, as-found, reading of v at 180°, as the instrument shows it: 0.131  -0.131 mm" in text
    assert "“inverted reading, seen against the sheet”" in text
    links = [getattr(each, "href", "") for each in walk(body) if type(each).__name__ == "Link"]
    assert {"/session/S-04C", "/session/S-04"} < set(links)


def test_a_visit_not_signed_yet_says_its_author_and_age_and_leads_to_it() -> None:
    text, body = page()
    assert "ORR-05, M. Adeyrin, since 1 Nov 2026, 24 days" in text
    assert "/record/ORR-05?draft=5f1c" in [getattr(each, "href", None) for each in walk(body)]


def test_changes_say_when_who_what_on_what_before_and_after() -> None:
    entries = [entry_of(change, "mm") for change in story.CHANGES]
    assert [(e.what, e.on) for e in entries] == [
        ("import refused", "readings-week-47"),
        ("import", "orrindale-2019.xlsx"),
        ("plant data", "calibrations instrument 'I-04', calibrated_on '2026-03-03'"),
        ("withdrawn", "meter reading, ORR-05"),
    ]
    assert [e.after.replace("\u00a0", " ") for e in entries] == [
        "3 rows refused, nothing taken", "412 rows", "due 3 Mar 2027", "“read off the wrong line”",
    ]  # fmt: skip
    assert entries[2].before.replace("\u00a0", " ") == "due 3 Sep 2026"
    assert entries[3].before.replace("\u00a0", " ") == "on 5 Nov 2026, 07:00 UTC, running hours 75 644 h"


def said(row: FactRow, unit: Any = "mm") -> str:
    return said_of(row, unit).replace("\u00a0", " ")


def test_facts_are_said_with_figure_unit_and_direction_in_the_readers_unit() -> None:
    assert said(story.CHECK) == "0.265 mm higher, 0.012 mm to the left; barrel 210 °C, gearbox 43 °C"
    # 265 um / 25.4 = 10.433 thou, 12 um / 25.4 = 0.472 thou.
    assert said(story.CHECK, "thou").startswith("10.43 thou higher, 0.47 thou to the left")
    assert said(story.METER) == "75 644 h run, 260 starts"
    assert said(story.TOLERANCE) == "vertical: watch 0.150 mm, limit 0.250 mm"
    # 120 um/m = 0.120 mm/m; 1 mm/m is 12 thou/ft.
    assert said(story.SLOPE) == "vertical, slope: limit 0.120 mm/m"
    assert said(story.SLOPE, "thou") == "vertical, slope: limit 1.44 thou/ft"


def test_a_list_of_facts_tells_what_was_withdrawn_and_offers_the_way_back() -> None:
    text, body = page("?show=meters")
    assert "withdrawn8 Nov 2026, K. Dremmond: “read off the wrong line”" in text
    acts = [words_of(each) for each in walk(with_class(body, "fct")[0]) if type(each).__name__ == "Link"]
    assert acts == [
        "Withdraw the meter reading of ORR-05, 5 Nov 2026, 07:00",
        "Record anew the meter reading of ORR-05, 5 Nov 2026, 07:00",
    ]


def test_withdrawing_asks_for_a_name_and_a_reason_and_says_what_goes_with_it() -> None:
    text, body = page("?show=meters&fact=meters-12")
    assert "Withdraw this meter reading?" in text
    assert "Running hours around it are worked out from the other readings of the meter." in text
    assert "Your name" in text
    assert "Reason" in text
    (panel,) = with_class(body, "found")
    told = {name: getattr(panel, f"data-{name}") for name in ("post", "kind", "number", "then")}
    assert told == {"post": "/records/withdraw", "kind": "meters", "number": "12", "then": "/records?show=meters"}
    text, body = page("?show=meters&fact=meters-11")
    assert "It was withdrawn on 8 Nov 2026 by K. Dremmond: “read off the wrong line”." in text
    assert getattr(with_class(body, "found")[0], "data-post", None) == "/records/anew"


def test_the_address_holds_every_choice_and_what_it_cannot_read_is_said() -> None:
    search = "?show=changes&line=ORR-07&who=R.+Osterby&what=plant&from=2026-01-01&to=2026-12-31&page=3&unit=thou"
    address = parse("/records", search)
    assert asked(address) == (
        RecordsChoice(
            show="changes", line="ORR-07", who="R. Osterby", what="plant", from_on=date(2026, 1, 1),
            to_on=date(2026, 12, 31), page=3,
        ),
        (),
    )  # fmt: skip
    assert href(address) == f"/records{search}"
    _, notes = asked(parse("/records", "?show=x&what=y&from=1+May&to=2026-13-01&source=-3&page=0"))
    assert len(notes) == 6
    assert "‘1 May’ is not a day; write it as 2026-11-25. Shown without it." in notes
    assert asked(parse("/records", "?from=2026-05-02&to=2026-05-01"))[0] == RecordsChoice()


def test_empty_lists_say_whether_nothing_is_there_or_nothing_matches() -> None:
    assert "No events are recorded yet." in page("?show=events")[0]
    none = replace(story.VIEW, changes=(), choice=RecordsChoice(who="nobody"))
    assert "None of the 4 entries matches what is chosen above." in page("?who=nobody", none)[0]
    gone = replace(story.VIEW, sources=(), source_total=0, opened=None, choice=RecordsChoice(line="ORR-05"))
    assert "No source matches what is chosen above." in page("?line=ORR-05", gone)[0]


def test_times_say_whose_they_are() -> None:
    assert "Times are the site’s, Orrindale (Europe/London)." in page()[0]
    both = replace(story.VIEW, zone="UTC", zone_of=None)
    assert "Times are UTC, because the sites lie in different zones" in page(view=both)[0]


# --- what would happen ----------------------------------------------------------------------------------------------


def test_what_would_happen_is_told_before_anything_is_taken() -> None:
    answer = Outlook(
        "sound", "week-47", "ab" * 32, "folder", 3, 20, taken=(("sessions", 1), ("readings", 19)),
        changes=(Changed("lines.csv", "line 'E1'", "screw_diameter_mm", "90.0", "120"),), change_count=1,
        remarks=("surveys.csv row 2: taken without values",), notes=(("S-9", "no barrel temperature"),), note_count=1,
        left_out=(("S-8", 2),),
    )  # fmt: skip
    text = words_of(outlook(asdict(answer)))
    assert text.startswith("What would happen: 20 new rows from week-47Nothing is taken yet.")
    assert "1 session19 readings" in text
    assert "Left out: 1 session. S-8" in text
    assert "1 change of plant data" in text
    assert "lines.csv line 'E1'screw_diameter_mm90.0120" in text
    assert "surveys.csv row 2: taken without values" in text
    assert "S-9: no barrel temperature" in text
    assert text.endswith("Take it inLeave it")


def test_nothing_new_says_so_and_offers_nothing_to_take() -> None:
    answer = Outlook("nothing new", "week-47", "ab" * 32, "folder", 3, 20, intake=4)
    text = words_of(outlook(asdict(answer)))
    assert text.startswith("Nothing new in week-47The record holds all of it already")
    assert "Take it in" not in text
    assert outlook(None) == []
    assert outlook({"result": "taken"}) == []


# --- plain addresses ------------------------------------------------------------------------------------------------

KEY = "0123456789abcdef"


def send(client: FlaskClient, what: str, *files: str, headers: Any = None, **form: str) -> Any:
    data: dict[str, Any] = {"who": "ann", "key": KEY, **form}
    data["files"] = [(io.BytesIO(b"line\n"), name) for name in files]
    return client.post(f"/records/intake/{what}", data=data, headers=headers or {})


def test_files_of_a_folder_are_looked_at_under_its_name_and_others_left_aside(client: FlaskClient) -> None:
    answer = send(client, "look", "week/lines.csv", "week/sites.csv", "week/notes.txt", "week/old/lines.csv")
    assert answer.status_code == 200
    told = answer.get_json()
    assert (told["result"], told["source"]) == ("sound", "week")
    assert told["taken"] == [["lines.csv", 1], ["sites.csv", 1]]
    assert told["remarks"] == ["ann (not verified)", "whole"]
    taken = send(client, "take", "a.xlsx", by_session="yes").get_json()
    assert (taken["result"], taken["source"], taken["container"]) == ("taken", "a.xlsx", "workbook")
    assert taken["remarks"][1] == "by session"
    assert send(client, "look", "b.csv", "a.csv", "c.csv").get_json()["source"] == "a.csv and 2 more"


@pytest.mark.parametrize(
    ("files", "form", "sentence"),
    [
        (("notes.txt",), {}, "There is no workbook and no CSV file among what was sent; nothing was looked at."),
        (("a.xlsx", "lines.csv"), {}, "a.xlsx came together with other files; send one workbook alone"),
        (("lines.csv",), {"who": " "}, "type your name"),
        (("lines.csv",), {"key": "../../x"}, "the page did not say which sending this is"),
        (("x/lines.csv", "y/lines.csv"), {}, "lines.csv was sent twice; send each file once."),
    ],
)
def test_what_cannot_be_looked_at_is_a_sentence(
    client: FlaskClient, files: tuple[str, ...], form: dict[str, str], sentence: str
) -> None:
    answer = send(client, "look", *files, **form)
    assert answer.status_code == 400
    assert sentence in answer.get_json()["error"]


def test_more_than_a_gigabyte_is_refused_before_it_is_read(client: FlaskClient) -> None:
    answer = client.post(
        "/records/intake/look",
        content_type="multipart/form-data; boundary=x",
        environ_overrides={"CONTENT_LENGTH": "1100000000"},
    )
    assert answer.status_code == 413
    assert answer.get_json()["error"].startswith("More than 1 GB was sent, and nothing of it was looked at")


def test_a_page_of_another_site_writes_nothing(client: FlaskClient) -> None:
    foreign = {"Origin": "http://elsewhere.invalid"}
    assert send(client, "take", "lines.csv", headers=foreign).status_code == 403
    for path in ("/records/withdraw", "/records/anew", f"/records/intake/{KEY}/stop"):
        answer = client.post(path, json={"kind": "meters", "number": 1}, headers={"Sec-Fetch-Site": "cross-site"})
        assert answer.status_code == 403
        assert b"Nothing was changed" in answer.data


def test_a_sending_that_is_stopped_says_so_and_tells_how_far_it_was() -> None:
    seen: list[Any] = []

    def slow(*_: Any, tell: Tell, **__: Any) -> Outlook:
        tell("reading the rows", True)
        seen.append(served.get(f"/records/intake/{KEY}").get_json())
        seen.append(served.post(f"/records/intake/{KEY}/stop").get_json())
        tell("comparing them with the record", True)
        raise AssertionError("it was not stopped")

    sources = replace(orrindale.SOURCES, records=replace(story.SOURCES, bring_in=slow))
    served = build(sources).server.test_client()
    answer = send(served, "take", "lines.csv")
    assert answer.get_json() == {"stopped": "Stopped. Nothing was taken; the record is as it was."}
    assert seen == [{"what": "reading the rows", "can_stop": True}, {"asked": True}]
    assert served.get(f"/records/intake/{KEY}").get_json() == {}
    assert served.post(f"/records/intake/{KEY}/stop").get_json() == {"asked": False}


def test_what_is_kept_already_cannot_be_stopped_any_more() -> None:
    def kept(*args: Any, tell: Tell, **how: Any) -> Outlook:
        tell("working out the figures", False)
        assert served.post(f"/records/intake/{KEY}/stop").get_json() == {"asked": False}
        tell("working out the figures, 1 of 2 surveys", False)
        return story.bring_in(*args, tell=tell, **how)

    served = build(replace(orrindale.SOURCES, records=replace(story.SOURCES, bring_in=kept))).server.test_client()
    assert send(served, "take", "lines.csv").get_json()["result"] == "taken"


def test_a_fact_is_withdrawn_and_recorded_anew_by_post(client: FlaskClient) -> None:
    body = {"kind": "meters", "number": 12, "who": "ann", "why": "wrong line"}
    assert client.post("/records/withdraw", json=body).get_json() == {"said": "withdrew meters 12 for ann: wrong line"}
    assert client.post("/records/anew", json=body).get_json()["said"].startswith("brought back meters 12")
    for wrong in ({**body, "why": ""}, {**body, "number": "12"}, {**body, "number": True}):
        assert client.post("/records/withdraw", json=wrong).status_code == 400
    assert client.post("/records/withdraw", data="kind=meters").status_code == 400


def test_records_and_the_template_are_taken_along(client: FlaskClient) -> None:
    answer = client.get("/records/export.zip?line=ORR-07")
    assert (answer.data, answer.mimetype) == (b"zip of ORR-07", "application/zip")
    assert "records-ORR-07.zip" in answer.headers["Content-Disposition"]
    assert client.get("/records/export.xlsx").data == b"xlsx of None"
    template = client.get("/records/template.xlsx")
    assert (template.status_code, template.data) == (200, b"empty workbook")
    assert client.get("/records/export.pdf").status_code == 200  # the shell: no such plain address


def rows_of(client: FlaskClient, address: str) -> list[dict[str, str]]:
    text = client.get(address).get_data(as_text=True)
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(io.StringIO("\n".join(lines))))


def test_refused_rows_are_a_csv_with_what_would_be_right_and_the_row_as_sent(client: FlaskClient) -> None:
    rows = rows_of(client, "/download/refused-rows.csv?view=/records%3Fsource%3D3")
    assert [(row["file"], row["row"], row["column"], row["found_there"]) for row in rows] == [
        ("readings.csv", "41", "unit", "thous"), ("readings.csv", "388", "station", "C"),
        ("calibration.csv", "", "", ""),
    ]  # fmt: skip
    assert rows[0]["what_would_be_right"] == "is not a unit; use um, mm, in or thou"
    assert rows[0]["row_as_sent"] == '{"station": "1", "unit": "thous"}'
    assert client.get("/download/refused-rows.csv?view=/records%3Fsource%3D9").status_code == 404


def test_changes_are_a_csv_of_the_selection_with_moments_that_say_their_offset(client: FlaskClient) -> None:
    rows = rows_of(client, "/download/changes.csv?view=/records%3Fwho%3DR.%2BOsterby")
    assert [(row["when"], row["who"]) for row in rows] == [("2026-11-09T08:03:00+00:00", "R. Osterby")]
    assert len(rows_of(client, "/download/changes.csv?view=/records")) == 4


def test_the_page_is_reached_by_its_address() -> None:
    shown = render(orrindale.SOURCES, Address(page="records"))
    assert shown.title == "Records"
    assert "What came in, what was refused, who changed what?" in words_of(shown.body)
