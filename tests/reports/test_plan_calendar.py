"""The calendar of a plan, read back by a library that shares no code with the one that wrote it.

Reader: vobject, which takes a zone's rules from the file itself (by dateutil) and knows no zone by its name. Expected
instants are those the stops were made with, by the system's own zone database.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import vobject
from hand_over_story import ROWS, STOPS, kept, plan, row, stop

from fleet.reports.calendar_zone import zone_rules
from fleet.reports.plan_calendar import REFRESH, calendar, visits_of
from fleet.reports.plan_content import Stop


def alone(only: Stop, **more: Any) -> Any:
    """The event of one line that goes into one stop, as the reader has it."""
    made = row("ORR-07", (0.95,), 0.99, chosen=only.code, chance_before=0.95, reason="keeps_cap", **more)
    content = plan(stops=(only,), rows=(made,))
    return vobject.readOne(calendar(visits_of(content), name="Visits", base_url=None).decode()).vevent


def instants(event: Any) -> tuple[datetime, datetime]:
    return event.dtstart.value.astimezone(UTC), event.dtend.value.astimezone(UTC)


@pytest.mark.parametrize(
    ("zone", "start", "end"),
    [
        # The clocks of each change between start and end, and again before another stop's end (tzdata).
        ("America/New_York", (2027, 3, 14, 1, 30), (2027, 3, 14, 3, 30)),
        ("America/New_York", (2027, 3, 14, 3, 15), (2027, 11, 7, 0, 45)),
        ("America/New_York", (2027, 11, 6, 22), (2027, 11, 7, 6)),
        ("Europe/Berlin", (2027, 3, 27, 22), (2027, 3, 28, 3, 30)),
        ("Europe/Berlin", (2027, 3, 28, 3, 30), (2027, 10, 31, 3, 30)),
        ("Australia/Lord_Howe", (2027, 4, 3, 22), (2027, 10, 3, 2, 45)),
        ("Australia/Lord_Howe", (2027, 4, 4, 2, 15), (2027, 4, 4, 6)),
        ("Africa/Casablanca", (2027, 2, 6, 22), (2027, 3, 15, 6)),
        ("Asia/Kathmandu", (2027, 2, 6, 22), (2027, 3, 15, 6)),
        ("UTC", (2027, 2, 6, 22), (2027, 3, 15, 6)),
    ],
)
def test_the_instants_are_those_of_the_store_over_every_change_of_the_clocks(
    zone: str, start: tuple[int, ...], end: tuple[int, ...]
) -> None:
    only = stop("ORR-X", start, end, ZoneInfo(zone))
    assert only.ends_at is not None
    assert instants(alone(only)) == (only.starts_at.astimezone(UTC), only.ends_at.astimezone(UTC))


@pytest.mark.parametrize(("zone", "day"), [("Europe/Berlin", (2027, 10, 31)), ("America/New_York", (2027, 11, 7))])
@pytest.mark.parametrize("fold", [0, 1])
def test_a_stop_that_begins_in_the_hour_that_comes_twice_begins_at_the_right_one(
    zone: str, day: tuple[int, int, int], fold: int
) -> None:
    hour = 2 if zone == "Europe/Berlin" else 1
    starts = datetime(*day, hour, 30, tzinfo=ZoneInfo(zone), fold=fold)
    only = replace(stop("ORR-X", (*day, 0), (*day, 12), ZoneInfo(zone)), starts_at=starts)
    assert only.ends_at is not None
    assert instants(alone(only)) == (starts.astimezone(UTC), only.ends_at.astimezone(UTC))


def test_the_rules_of_a_zone_are_those_the_standard_prints() -> None:
    # RFC 5545, section 3.6.5: New York from 2007: daylight from 11 March 2007 02:00 (-0500 to -0400), standard from
    # 4 November 2007 02:00 (-0400 to -0500).
    shown = zone_rules("America/New_York", date(2007, 1, 1), date(2007, 12, 31)).to_ical().decode()
    daylight = shown[shown.index("BEGIN:DAYLIGHT") : shown.index("END:DAYLIGHT")]
    assert "DTSTART:20070311T020000\r\n" in daylight
    assert "TZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400" in daylight
    standard = shown[shown.rindex("BEGIN:STANDARD") :]
    assert "DTSTART:20071104T020000\r\n" in standard
    assert "TZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500" in standard


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "Pacific/Kiritimati", "America/Los_Angeles", "UTC"])
def test_a_stop_of_whole_days_stays_on_its_days_east_and_west(zone: str) -> None:
    event = alone(stop("ORR-X", (2026, 12, 19), (2026, 12, 30), ZoneInfo(zone)))
    assert type(event.dtstart.value) is date
    # The end of days is the day after the last (RFC 5545, 3.6.1: "non-inclusive end").
    assert (event.dtstart.value, event.dtend.value) == (date(2026, 12, 19), date(2026, 12, 31))
    one = alone(stop("ORR-X", (2027, 3, 28), (2027, 3, 28), ZoneInfo(zone)))
    assert one.dtend.value - one.dtstart.value == timedelta(days=1)


def test_a_stop_without_an_end_has_none_and_one_of_no_length_neither() -> None:
    # RFC 5545, 3.8.2.2: the end "MUST be later in time than" the start.
    open_ = alone(stop("ORR-X", (2027, 10, 16, 6), None))
    assert not hasattr(open_, "dtend")
    assert open_.dtstart.value.astimezone(UTC) == datetime(2027, 10, 16, 10, tzinfo=UTC)
    days = stop("ORR-X", (2027, 10, 16), None)
    assert not hasattr(alone(days), "dtend")
    assert not hasattr(alone(replace(days, ends_at=days.starts_at)), "dtend")
    hours = stop("ORR-X", (2027, 10, 16, 6), (2027, 10, 16, 6))
    assert not hasattr(alone(hours), "dtend")


TOLD = "shims; 0.10, 0.20 mm \\ new\r\nמשקולת 🚧🏗️ over\x07 the gearbox " + "é" * 90


def test_texts_come_back_word_for_word_whatever_they_hold() -> None:
    event = alone(stop("ORR,1;\\x", (2027, 10, 16, 6), (2027, 10, 17, 6)), needs=(TOLD,))
    assert event.summary.value == "Realign ORR-07 (full stop ORR,1;\\x)"
    # A control character may not stand in a text (RFC 5545, 3.3.11); line breaks do.
    said = TOLD.replace("\r\n", "\n").replace("\x07", " ")
    assert f"Needs: {said}\n" in event.description.value


def test_lines_are_75_octets_at_most_and_end_as_the_standard_asks() -> None:
    content = plan(rows=(replace(ROWS[0], needs=(TOLD,)),))
    raw = calendar(visits_of(content), name="Visits 🚧" * 20, base_url="https://asleft.plant.example")
    # RFC 5545, 3.1: lines of content end with CRLF and are no longer than 75 octets without it.
    lines = raw.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode()  # no letter is torn apart


def test_an_event_says_what_the_visit_is() -> None:
    content = plan(kept=kept())
    raw = calendar(visits_of(content), name="Visits", base_url="https://asleft.plant.example/", refresh=REFRESH)
    read = vobject.readOne(raw.decode())
    assert read.prodid.value == "-//Asleft//Plan of visits//EN"
    assert read.contents["refresh-interval"][0].value == "PT1H"
    assert len(read.vevent_list) == 5
    seven = read.vevent_list[0]
    assert seven.summary.value == "Realign ORR-07 (full stop ORR-2026-12-19)"
    assert seven.status.value == "CONFIRMED"
    # By hand: 2,521 days and 510 minutes from 1 Jan 2020 to the signature, 26 Nov 2026 08:30 UTC.
    assert seven.sequence.value == str(2521 * 1440 + 510)
    assert seven.transp.value == "TRANSPARENT"
    assert seven.categories.value == ["Realignment"]
    assert seven.dtstamp.value.astimezone(UTC) == datetime(2026, 11, 26, 8, 30, tzinfo=UTC)
    assert seven.description.value.split("\n") == [
        "ORR-07 into ORR-2026-12-19 (full stop, 288 h), 19–30 Dec 2026.",
        "Visit: 14 crew h, median of the line’s own visits.",
        "Window: cool-down 16, pull 8, visit 7, heat-up 10 h; fits, 41 of 288 h.",
        "Chance of being over before it: 95 %, as of 25 Nov 2026.",
        "If skipped: 99 % before ORR-2027-04-03 (3 Apr 2027).",
        "Why: no stop open to it is early enough for 20 %; the visit saves 609 days over.",
        "Needs: crane, 2 t",
        "Needs: new shims; 0.10, 0.20 mm",
        "Job sheet: https://asleft.plant.example/job-sheet/ORR-07",
        "Plan P-3, signed off by J. Quillam (not verified), 26 Nov 2026, 08:30.",
        "A plan is no permission to work on a machine.",
    ]


def test_without_a_base_address_it_says_what_to_set_and_an_unsaved_plan_is_tentative() -> None:
    event = alone(STOPS[0])
    assert "Job sheet: no address known. Set ASLEFT_BASE_URL to the address of this Asleft." in event.description.value
    assert event.status.value == "TENTATIVE"
    assert not hasattr(event, "url")


def test_a_visit_keeps_its_name_from_plan_to_plan_and_every_visit_has_its_own() -> None:
    def names(raw: bytes) -> list[str]:
        return [event.uid.value for event in vobject.readOne(raw.decode()).vevent_list]

    first = names(calendar(visits_of(plan()), name="a", base_url=None))
    again = names(calendar(visits_of(plan(kept=kept(version=9))), name="b", base_url="https://asleft.plant.example"))
    assert first == again
    assert len(set(first)) == len(first) == 5


def test_a_plan_without_a_visit_is_a_calendar_all_the_same() -> None:
    # RFC 5545, 3.6: an object has one component at least; an empty one here holds the rules of UTC.
    raw = calendar((), name="Visits", base_url=None).decode()
    assert "BEGIN:VTIMEZONE" in raw
    assert not hasattr(vobject.readOne(raw), "vevent")
