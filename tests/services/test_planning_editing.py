"""An outage and a line's figures typed on the page: through the gate of every import, each change in the audit."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from record_sources import NOW
from sqlalchemy import text

from fleet.errors import InputError, NotFoundError
from fleet.intake import export
from fleet.services.planning.editing import (
    EditingError,
    edit_line,
    edit_outage,
    line_as_typed,
    outage_as_typed,
    outages_listed,
)
from fleet.store.engine import Store

SPRING = {
    "outage": "QE-2027-06", "site": "QE", "kind": "holiday", "starts_at": "2027-06-04 06:00",
    "ends_at": "2027-06-07T18:00", "crew_hours": "48,50", "crews": "2",
}  # fmt: skip


def audit(store: Store) -> list[tuple[str, str, dict[str, object], dict[str, object]]]:
    with store.read() as record:
        rows = record.execute(text("select who, what, before, after from audit order by id")).all()
    return [(who, what, json.loads(before or "{}"), json.loads(after or "{}")) for who, what, before, after in rows]


def test_a_new_outage_is_stored_as_typed_in_the_time_of_its_site(own_mill_c: Store) -> None:
    said = edit_outage(own_mill_c, SPRING, by="J. Quillam", new=True, now=NOW)
    assert said == (
        "Outage QE-2027-06 is stored: kind holiday; site QE; start 2027-06-04T06:00; end 2027-06-07T18:00; "
        "crew hours 48,50 h; crews 2. Times are of Europe/London.",
    )
    (listed,) = [each for each in outages_listed(own_mill_c, "QE", now=NOW) if each.code == "QE-2027-06"]
    # British Summer Time is an hour ahead of UTC (the Summer Time Order 2002): 6 o'clock there is 5 o'clock UTC.
    assert listed.starts_at == datetime(2027, 6, 4, 5, tzinfo=UTC)
    assert (listed.starts_at.hour, listed.whole_days, listed.crew_hours, listed.past) == (6, False, 48.5, False)
    # The decimal comma is normal for a page; the format keeps the point.
    assert outage_as_typed(own_mill_c, "QE-2027-06") == {
        **SPRING, "starts_at": "2027-06-04T06:00", "crew_hours": "48.50", "line": "", "state": "",
    }  # fmt: skip
    who, what, _, _ = audit(own_mill_c)[-1]
    assert (who, what) == ("J. Quillam (not verified)", "took a source in")


def test_a_known_outage_takes_new_values_and_the_audit_says_before_and_after(own_mill_c: Store) -> None:
    said = edit_outage(own_mill_c, {"outage": "QE-2026-12", "crew_hours": "55"}, by="J. Quillam", new=False, now=NOW)
    assert said == ("Outage QE-2026-12 is changed: crew hours 55 h instead of 40 h.",)
    entries = audit(own_mill_c)[-2:]
    assert entries[0] == (
        "J. Quillam (not verified)", "changed outages outage 'QE-2026-12'", {"crew_hours": 40.0}, {"crew_hours": 55.0},
    )  # fmt: skip
    again = edit_outage(own_mill_c, {"outage": "QE-2026-12", "crew_hours": "55.0"}, by="J. Quillam", now=NOW)
    assert again == ("Nothing was changed: the record holds outage QE-2026-12 like this already.",)
    # What was not typed is as it was.
    assert outage_as_typed(own_mill_c, "QE-2026-12")["starts_at"] == "2026-12-19T06:00"


def test_an_emptied_box_takes_away_what_was_recorded_and_an_import_does_not(own_mill_c: Store, tmp_path: Path) -> None:
    known = outage_as_typed(own_mill_c, "QE-2026-12")
    said = edit_outage(own_mill_c, {**known, "crew_hours": "", "site": "", "line": "C02"}, by="J. Quillam", now=NOW)
    assert said == (
        "Outage QE-2026-12 is changed: site QE taken away; line C02, not recorded before; crew hours 40 h taken away.",
    )
    (listed,) = [each for each in outages_listed(own_mill_c, now=NOW) if each.code == "QE-2026-12"]
    assert (listed.site, listed.line, listed.crew_hours) == ("QE", "C02", None)  # C02 stands at QE
    _, what, before, after = audit(own_mill_c)[-2]
    assert what == "changed outages outage 'QE-2026-12'"
    assert before == {"site": "QE", "line": None, "crew_hours": 40.0}
    assert after == {"site": None, "line": "C02", "crew_hours": None}
    # Written out it is empty, and taken in again nothing changes.
    export(own_mill_c, tmp_path / "out")
    row = next(
        row for row in (tmp_path / "out" / "outages.csv").read_text(encoding="utf-8-sig").splitlines()
        if row.startswith("QE-2026-12")
    )  # fmt: skip
    assert row == "QE-2026-12,,C02,maintenance stop,2026-12-19T06:00,2026-12-23T18:00,,2,planned"


def test_an_outage_goes_to_a_line_of_another_site_and_its_hours_are_read_there(own_mill_c: Store) -> None:
    known = outage_as_typed(own_mill_c, "QE-2026-12")
    said = edit_outage(own_mill_c, {**known, "site": "", "line": "C03"}, by="J. Quillam", now=NOW)
    assert said == (
        "Outage QE-2026-12 is changed: site QE taken away; line C03, not recorded before; start 2026-12-19T06:00, "
        "which is read in another zone now; end 2026-12-23T18:00, which is read in another zone now. "
        "Times are of Europe/Berlin.",
    )
    (listed,) = [each for each in outages_listed(own_mill_c, now=NOW) if each.code == "QE-2026-12"]
    # Central European Time is an hour ahead of UTC in winter (Directive 2000/84/EC leaves winter at standard time).
    assert (listed.site, listed.starts_at.astimezone(UTC)) == ("ER", datetime(2026, 12, 19, 5, tzinfo=UTC))


def test_a_whole_day_stays_on_its_day_and_ends_with_it(own_mill_c: Store) -> None:
    days = {"outage": "ER-2027-03", "site": "ER", "starts_at": "2027-03-27", "ends_at": "2027-03-28"}
    edit_outage(own_mill_c, days, by="J. Quillam", now=NOW)
    (listed,) = [each for each in outages_listed(own_mill_c, now=NOW) if each.code == "ER-2027-03"]
    berlin = ZoneInfo("Europe/Berlin")
    assert listed.whole_days
    assert listed.starts_at.astimezone(berlin).date() == date(2027, 3, 27)
    # 28 March 2027 has 23 hours there: summer time begins (Directive 2000/84/EC: the last Sunday of March, 01:00 UTC).
    assert listed.ends_at is not None
    assert listed.ends_at.astimezone(UTC) - listed.starts_at.astimezone(UTC) == timedelta(hours=47)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"ends_at": "2027-06-03T18:00"}, "End: '2027-06-03T18:00' lies before the start; correct one of them."),
        ({"crew_hours": "-4"}, "Crew hours: '-4' is negative; write a number from 0 to 1000000000."),
        ({"crews": "1.5"}, "Crews: '1.5' is not a whole number; write one."),
        (
            {"site": "XX"},
            "Site: there is no site 'XX'; correct the code, or bring the site in with a file first.",
        ),
        (
            {"site": "", "line": "X9"},
            "Line: there is no line 'X9'; correct the code, or bring the line in with a file first.",
        ),
        (
            {"starts_at": "2027-03-28T01:30"},
            "Start: '2027-03-28T01:30' does not exist in Europe/London: the clock change skips it; check the time.",
        ),
        ({"starts_at": ""}, "Start: nothing is typed; it has to be filled."),
        (
            {"starts_at": "4 June"},
            "Start: '4 June' is not a time; write YYYY-MM-DDTHH:MM, with an offset such as +01:00 or not.",
        ),
        ({"state": "off"}, "State: 'off' is not one of planned, done, cancelled; write one of them."),
    ],
)
def test_what_cannot_be_is_refused_by_the_name_of_its_box_and_nothing_is_stored(
    own_mill_c: Store, typed: dict[str, str], said: str
) -> None:
    before = audit(own_mill_c)
    with pytest.raises(EditingError) as refused:
        edit_outage(own_mill_c, {**SPRING, **typed}, by="J. Quillam", now=NOW)
    assert refused.value.problems == (said,)
    assert audit(own_mill_c) == before
    with pytest.raises(NotFoundError):
        outage_as_typed(own_mill_c, "QE-2027-06")


def test_what_only_a_page_can_know_is_refused_too(own_mill_c: Store) -> None:
    with pytest.raises(InputError, match=r"^Site and Line: an outage is of a site or of one line, not of ‘QE’ and "):
        edit_outage(own_mill_c, {**SPRING, "line": "C01"}, by="J. Quillam", now=NOW)
    with pytest.raises(InputError, match=r"^Code: there is an outage ‘QE-2026-12’ already; open that one"):
        edit_outage(own_mill_c, {**SPRING, "outage": "QE-2026-12"}, by="J. Quillam", new=True, now=NOW)
    with pytest.raises(NotFoundError, match=r"^The record holds no outage ‘QE-2027-06’; enter it as a new one\.$"):
        edit_outage(own_mill_c, SPRING, by="J. Quillam", new=False, now=NOW)
    with pytest.raises(InputError, match=r"^Code: nothing is typed"):
        edit_outage(own_mill_c, {**SPRING, "outage": " "}, by="J. Quillam", now=NOW)
    with pytest.raises(InputError, match=r"^The record keeps who wrote in it"):
        edit_outage(own_mill_c, SPRING, by=" ", now=NOW)


def test_an_outage_that_began_already_is_stored_and_it_is_said_that_no_plan_takes_it(own_mill_c: Store) -> None:
    past = {**SPRING, "starts_at": "2026-10-05T06:00", "ends_at": "2026-10-08T18:00"}
    said = edit_outage(own_mill_c, past, by="J. Quillam", now=NOW)
    assert said[1] == ("It has begun already, so no plan takes a line into it; say done or cancelled when that is so.")
    assert len(edit_outage(own_mill_c, {"outage": "QE-2027-06", "state": "done"}, by="J. Quillam", now=NOW)) == 1
    (listed,) = [each for each in outages_listed(own_mill_c, now=NOW) if each.code == "QE-2027-06"]
    assert (listed.state, listed.past) == ("done", True)


def test_the_list_has_every_state_in_time_order_and_a_sites_own_with_those_of_all_sites(own_mill_c: Store) -> None:
    every = outages_listed(own_mill_c, now=NOW)
    assert [each.starts_at for each in every] == sorted(each.starts_at for each in every)
    assert {each.state for each in every} == {"planned", "done", "cancelled"}
    assert [each.code for each in outages_listed(own_mill_c, "ER", now=NOW)] == [
        "ER-2026-04", "ER-2027-01", "ANY-2027-05", "ER-2027-08",
    ]  # fmt: skip
    assert "C01-2027-02" in [each.code for each in outages_listed(own_mill_c, "QE", now=NOW)]


def test_a_lines_figures_take_new_values_and_can_be_taken_away(own_mill_c: Store) -> None:
    known = line_as_typed(own_mill_c, "C02")
    assert known == {
        "visit_hours": "14", "visit_cost_days": "3", "weight": "3", "cool_down_h": "10", "screw_pull_h": "4",
        "heat_up_h": "6",
    }  # fmt: skip
    said = edit_line(
        own_mill_c, "C02", {**known, "visit_hours": "", "weight": "2,5", "heat_up_h": "7"}, by="J. Quillam", now=NOW
    )
    assert said == (
        "Line C02 is changed: weight 2,5 instead of 3; crew hours of a visit 14 h taken away; "
        "heat-up 7 h instead of 6 h.",
    )
    assert line_as_typed(own_mill_c, "C02") == {**known, "visit_hours": "", "weight": "2.5", "heat_up_h": "7"}
    _, what, before, after = audit(own_mill_c)[-2]
    assert what == "changed lines line 'C02'"
    assert before == {"weight": 3.0, "visit_hours": 14.0, "heat_up_h": 6.0}
    assert after == {"weight": 2.5, "visit_hours": None, "heat_up_h": 7.0}
    with own_mill_c.read() as record:
        row = record.execute(text("select description, feed_section_mm, typed from line where code = 'C02'")).one()
    assert (row.description, row.feed_section_mm) == ("152.4 mm line (invented)", 420.0)
    assert "visit_hours" not in json.loads(row.typed)
    # An emptied weight is 1 again, as in a file.
    edit_line(own_mill_c, "C02", {"weight": ""}, by="J. Quillam", now=NOW)
    with own_mill_c.read() as record:
        assert record.execute(text("select weight from line where code = 'C02'")).scalar_one() == 1.0


def test_a_line_that_is_not_there_is_not_made_and_negative_hours_are_refused(own_mill_c: Store) -> None:
    with pytest.raises(NotFoundError, match=r"^The record holds no line ‘C99’; choose one of its lines\.$"):
        edit_line(own_mill_c, "C99", {"visit_hours": "8"}, by="J. Quillam", now=NOW)
    with pytest.raises(EditingError) as refused:
        edit_line(own_mill_c, "C02", {"cool_down_h": "-1", "weight": "heavy"}, by="J. Quillam", now=NOW)
    assert refused.value.problems == (
        "Weight: 'heavy' is not a number; write digits, with a decimal point where needed.",
        "Cool-down: '-1' is negative; write a number from 0 to 1000000000.",
    )
    with pytest.raises(InputError, match=r"^‘site’ is not typed here; what is: visit_hours, "):
        edit_line(own_mill_c, "C02", {"site": "ER"}, by="J. Quillam", now=NOW)
    assert line_as_typed(own_mill_c, "C02")["cool_down_h"] == "10"
