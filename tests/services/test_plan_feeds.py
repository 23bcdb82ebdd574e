"""Calendar feeds: what an address with a secret gives, who may make and end it, and what is kept of it.

Calendars are read back with vobject, which shares no code with the writer. What a feed holds follows the project's
own rule: for every line the newest plan that is signed off and covers it. The rest is `common practice, no source`.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from record_sources import NOW

from fleet.errors import InputError, NotFoundError
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import edit_outage
from fleet.services.planning.feeds import calendar_of, end_feed, feed_calendar, feeds, make_feed
from fleet.services.planning.keeping import keep, kept_plan, reopen, sign_off
from fleet.services.planning.planned import plan_content
from fleet.services.planning.sheets import job_sheets
from fleet.services.records_page import RecordsChoice, all_changes
from fleet.store import StoreError
from fleet.store.engine import Store

WHO = "J. Quillam"
MARKED = "J. Quillam (not verified)"
LATER = NOW + timedelta(hours=3)
INTO = (("C01", "QE-2027-03"), ("C03", "ER-2027-08"))


def signed(store: Store, asked: Asked, *, at: datetime = NOW) -> str:
    code = keep(store, asked, by=WHO, now=at).code
    sign_off(store, code, by=WHO, version=1, now=at)
    return code


def token_of(path: str) -> str:
    return path.removeprefix("/calendar/").removesuffix(".ics")


def events(store: Store, path: str, *, now: datetime = LATER) -> dict[str, Any]:
    read = vobject.readOne(feed_calendar(store, token_of(path), now=now).decode())
    return {event.summary.value: event for event in getattr(read, "vevent_list", ())}


def pinned(found: dict[str, Any]) -> dict[str, Any]:
    """Those of the two lines that the tests pin; the others go where the plan takes them."""
    return {name: event for name, event in found.items() if "C01" in name or "C03" in name}


def test_a_feed_gives_the_visits_signed_off_and_none_before(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="Maintenance office", site=None, by=WHO, now=NOW)
    assert made.said.startswith("Copy it now: it is not shown again.")
    code = keep(own_mill_c, Asked(into=INTO), by=WHO, now=NOW).code
    empty = feed_calendar(own_mill_c, token_of(made.path), now=NOW)
    assert b"VEVENT" not in empty
    sign_off(own_mill_c, code, by=WHO, version=1, now=LATER)
    found = pinned(events(own_mill_c, made.path))
    assert sorted(found) == ["Realign C01 (screw change QE-2027-03)", "Realign C03 (screw change ER-2027-08)"]
    first = found["Realign C01 (screw change QE-2027-03)"]
    # Stored for London, 26 March 2027 22:00 GMT to 30 March 06:00 BST: the clocks go forward on the 28th (tzdata).
    assert first.dtstart.value.astimezone(UTC) == datetime(2027, 3, 26, 22, tzinfo=UTC)
    assert first.dtend.value.astimezone(UTC) == datetime(2027, 3, 30, 5, tzinfo=UTC)
    assert first.status.value == "CONFIRMED"
    reopen(own_mill_c, code, by=WHO, why="the stop moved", version=2, now=LATER)
    assert events(own_mill_c, made.path) == {}


def test_a_feed_of_a_site_holds_its_lines_only(own_mill_c: Store) -> None:
    signed(own_mill_c, Asked(into=INTO))
    of_er = make_feed(own_mill_c, name="Eskrigg", site="ER", by=WHO, now=NOW)
    assert list(pinned(events(own_mill_c, of_er.path))) == ["Realign C03 (screw change ER-2027-08)"]


def test_the_newest_plan_signed_off_that_covers_a_line_counts(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="office", site=None, by=WHO, now=NOW)
    signed(own_mill_c, Asked(into=INTO))
    older = {name: int(event.sequence.value) for name, event in events(own_mill_c, made.path).items()}
    signed(own_mill_c, Asked(site="QE", into=(("C01", "QE-2026-12"),)), at=LATER)
    newer = {name: int(event.sequence.value) for name, event in events(own_mill_c, made.path).items()}
    # RFC 5545, 3.8.7.4: a calendar takes the edition with the higher number, whichever plan it comes from.
    assert all(newer[name] >= older[name] for name in newer.keys() & older.keys())
    assert max(newer.values()) > max(older.values())
    assert sorted(pinned(events(own_mill_c, made.path))) == [
        "Realign C01 (maintenance stop QE-2026-12)", "Realign C03 (screw change ER-2027-08)",
    ]  # fmt: skip
    # Without a visit in the newest plan there is none, whatever an older plan said.
    out = tuple(("C01", stop) for stop in ("QE-2026-12", "QE-2027-03", "C01-2027-02", "ANY-2027-05"))
    signed(own_mill_c, Asked(site="QE", out=out), at=LATER + timedelta(hours=1))
    assert list(pinned(events(own_mill_c, made.path))) == ["Realign C03 (screw change ER-2027-08)"]


def test_a_visit_stands_until_its_stop_is_over_by_a_year(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="office", site=None, by=WHO, now=NOW)
    signed(own_mill_c, Asked(into=INTO))
    ends = datetime(2027, 3, 30, 5, tzinfo=UTC)
    assert len(pinned(events(own_mill_c, made.path, now=ends + timedelta(days=364)))) == 2
    assert len(pinned(events(own_mill_c, made.path, now=ends + timedelta(days=366)))) == 1


def test_a_stop_moved_or_cancelled_since_says_so_where_it_now_is(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="office", site=None, by=WHO, now=NOW)
    signed(own_mill_c, Asked(into=INTO))
    before = int(pinned(events(own_mill_c, made.path))["Realign C01 (screw change QE-2027-03)"].sequence.value)
    edit_outage(
        own_mill_c, {"outage": "QE-2027-03", "starts_at": "2027-04-23T22:00", "ends_at": "2027-04-27T06:00"},
        by=WHO, new=False, now=LATER,
    )  # fmt: skip
    edit_outage(own_mill_c, {"outage": "ER-2027-08", "state": "cancelled"}, by=WHO, new=False, now=LATER)
    moved, cancelled = pinned(events(own_mill_c, made.path)).values()
    assert moved.dtstart.value.astimezone(UTC) == datetime(2027, 4, 23, 21, tzinfo=UTC)
    assert int(moved.sequence.value) > before
    assert moved.description.value.startswith(
        "Moved: QE-2027-03 was 26 Mar 2027, 22:00 UTC – 30 Mar 2027, 06:00 UTC+1 (Europe/London) when the plan was kept"
    )
    assert cancelled.status.value == "CANCELLED"
    assert cancelled.description.value.startswith("Cancelled: ER-2027-08 is cancelled since the plan was kept.")


def test_an_unknown_and_an_ended_address_answer_alike(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="office", site=None, by=WHO, now=NOW)
    with pytest.raises(NotFoundError) as unknown:
        feed_calendar(own_mill_c, "x" * 43)
    said = end_feed(own_mill_c, made.number, by="M. Adeyrin", now=LATER)
    assert said == "The calendar feed ‘office’ is ended; its address answers no longer."
    with pytest.raises(NotFoundError) as ended:
        feed_calendar(own_mill_c, token_of(made.path))
    assert str(unknown.value) == str(ended.value)
    with pytest.raises(StoreError, match=r"was ended already, by M\. Adeyrin \(not verified\)\.$"):
        end_feed(own_mill_c, made.number, by=WHO)
    with pytest.raises(StoreError, match="There is no such calendar feed"):
        end_feed(own_mill_c, made.number + 1, by=WHO)
    assert feeds(own_mill_c) == ()


def test_the_secret_is_long_of_its_own_and_stands_nowhere_in_the_record(own_mill_c: Store) -> None:
    one = make_feed(own_mill_c, name="one", site=None, by=WHO, now=NOW)
    two = make_feed(own_mill_c, name=" two\n offices ", site="QE", by=WHO, now=LATER)
    token = token_of(one.path)
    # 32 bytes, six bits a letter (RFC 4648, base64url without padding).
    assert len(token) == len(token_of(two.path)) == 43
    assert token != token_of(two.path)
    own_mill_c.engine.dispose()
    database = own_mill_c.engine.url.database
    assert database is not None
    for file in Path(database).parent.glob(f"{Path(database).name}*"):
        assert token.encode() not in file.read_bytes(), file.name
    listed = feeds(own_mill_c)
    assert [(feed.number, feed.name, feed.site, feed.made_by) for feed in listed] == [
        (two.number, "two offices", "QE", MARKED), (one.number, "one", None, MARKED),
    ]  # fmt: skip
    assert listed[0].made_at == LATER


def test_making_and_ending_stand_in_the_audit(own_mill_c: Store) -> None:
    made = make_feed(own_mill_c, name="office", site="ER", by=WHO, now=NOW)
    end_feed(own_mill_c, made.number, by="M. Adeyrin", now=LATER)
    told = [(row.who, row.what) for row in all_changes(own_mill_c, RecordsChoice())[0]][:2]
    assert told == [
        ("M. Adeyrin (not verified)", f"ended the calendar feed {made.number}"),
        (MARKED, f"made the calendar feed {made.number}"),
    ]


def test_a_feed_without_a_name_a_person_or_a_known_site_is_not_made(own_mill_c: Store) -> None:
    for how, said in (
        ({"name": " ", "site": None, "by": WHO}, "type whose calendar it is for"),
        ({"name": "x" * 81, "site": None, "by": WHO}, "has 81 characters; write it in 80 or fewer"),
        ({"name": "office", "site": None, "by": ""}, "type your name"),
    ):
        with pytest.raises(InputError, match=said):
            make_feed(own_mill_c, **how)  # type: ignore[arg-type]
    with pytest.raises(StoreError, match="There is no site ‘XX’, so no calendar feed was made"):
        make_feed(own_mill_c, name="office", site="XX", by=WHO)
    assert feeds(own_mill_c) == ()


def test_a_plan_as_a_file_is_tentative_until_it_is_signed(own_mill_c: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ASLEFT_BASE_URL", "https://asleft.plant.example/")
    plan = plan_content(own_mill_c, Asked(into=INTO), now=NOW)
    read = vobject.readOne(calendar_of(plan).decode())
    assert {event.status.value for event in read.vevent_list} == {"TENTATIVE"}
    assert len(read.vevent_list) == plan.visits
    assert "https://asleft.plant.example/job-sheet/C01" in {event.url.value for event in read.vevent_list}
    code = signed(own_mill_c, Asked(into=INTO))
    kept = vobject.readOne(calendar_of(kept_plan(own_mill_c, code)).decode())
    assert {event.status.value for event in kept.vevent_list} == {"CONFIRMED"}
    assert [e.uid.value for e in kept.vevent_list] == [e.uid.value for e in read.vevent_list]


def test_job_sheets_of_a_stop_expect_the_day_it_begins_not_the_lines_next_outage(own_mill_c: Store) -> None:
    plan = plan_content(own_mill_c, Asked(into=INTO), now=NOW)
    sheets = job_sheets(own_mill_c, plan, "QE-2027-03", now=NOW)
    assert [sheet.line for sheet in sheets] == [row.line for row in plan.rows_of("QE-2027-03")]
    sheet = next(sheet for sheet in sheets if sheet.line == "C01")
    assert (sheet.outage, str(sheet.expected_on), str(sheet.outage_ends_on)) == (
        "QE-2027-03",
        "2027-03-26",
        "2027-03-30",
    )
    with pytest.raises(NotFoundError, match="There is no stop ‘XX’ in this plan"):
        job_sheets(own_mill_c, plan, "XX")
    idle = next(stop.code for stop in plan.stops if not stop.visits)
    with pytest.raises(InputError, match=f"This plan takes no line into {idle}"):
        job_sheets(own_mill_c, plan, idle)
    edit_outage(own_mill_c, {"outage": "QE-2027-03", "state": "cancelled"}, by=WHO, new=False, now=NOW)
    with pytest.raises(InputError, match="The outage QE-2027-03 is not planned ahead any more"):
        job_sheets(own_mill_c, plan, "QE-2027-03", now=NOW)
