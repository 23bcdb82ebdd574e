"""What if, on the three mills: held against a plan made anew after the record itself was changed accordingly."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from record_sources import NOW, TODAY
from sqlalchemy import text

from fleet.errors import InputError
from fleet.planning import PinError
from fleet.reports.plan_content import PlanContent
from fleet.reports.what_if_words import Changed, sentence
from fleet.services.limits import LimitAsked, set_limit
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import edit_outage
from fleet.services.planning.planned import plan_content
from fleet.services.planning.what_if import read_question, what_if, write_question
from fleet.store.engine import Store

ALL = Asked(seconds=20.0)


@pytest.fixture(scope="module")
def as_it_is(mills: Store) -> PlanContent:
    """The plan of the three mills, worked out once."""
    return plan_content(mills, ALL, now=NOW)


def places(plan: PlanContent) -> dict[str, str | None]:
    return {row.line: row.chosen for row in plan.rows}


@pytest.mark.parametrize(
    ("question", "typed"),
    [
        # Two crews have 120 h, so three have 180 h.
        ("crew:HB-2027-06", {"outage": "HB-2027-06", "crew_hours": "180", "crews": "3"}),
        ("crew:WS-2027-07:-1", {"outage": "WS-2027-07", "crew_hours": "60", "crews": "1"}),
        ("hours:TF-2027-07:30", {"outage": "TF-2027-07", "crew_hours": "30"}),
        ("without:HB-2026-12", {"outage": "HB-2026-12", "state": "cancelled"}),
        # Four weeks later by the site's own clock: from winter time into summer time.
        (
            "move:QE-2027-03:28",
            {"outage": "QE-2027-03", "starts_at": "2027-04-23T22:00", "ends_at": "2027-04-27T06:00"},
        ),
        (
            "move:NM-2026-12:-14",
            {"outage": "NM-2026-12", "starts_at": "2026-12-01T06:00", "ends_at": "2026-12-06T18:00"},
        ),
    ],
)
def test_the_answer_is_that_of_a_plan_made_after_the_record_was_changed(
    own_mills: Store, as_it_is: PlanContent, question: str, typed: dict[str, str]
) -> None:
    answer = what_if(own_mills, ALL, question, now=NOW)
    assert places(answer.first) == places(as_it_is)
    edit_outage(own_mills, typed, by="J. Quillam", now=NOW)
    anew = plan_content(own_mills, ALL, now=NOW)
    assert anew.end_on == as_it_is.end_on  # these outages are not the last, so the days compare
    # Both are proved to within a thousandth of their sum (what the solver is asked for).
    within = 1e-3 * (anew.weighted_days_over + anew.cost_days)
    assert answer.days_over == pytest.approx(anew.days_over - as_it_is.days_over, abs=within)
    assert answer.other.over_cap == anew.over_cap
    moved = {line for line, place in places(anew).items() if places(as_it_is)[line] != place}
    assert {line.first.line for line in answer.lines} == moved
    assert answer.visits == anew.visits - as_it_is.visits


def test_another_cap_is_the_plan_asked_with_that_cap(mills: Store, as_it_is: PlanContent) -> None:
    answer = what_if(mills, ALL, "cap:5", first=as_it_is, now=NOW)
    anew = plan_content(mills, replace(ALL, cap=0.05), now=NOW)
    assert (answer.other.over_cap, answer.other.visits) == (anew.over_cap, anew.visits)
    assert answer.other.days_over == pytest.approx(anew.days_over, rel=1e-3)
    assert answer.above_other == sum((row.chance_before or 0.0) > 0.05 for row in anew.rows)
    assert answer.changes == (Changed("cap", None, 0.05, 0.2),)


def test_another_limit_asks_the_chances_anew(own_mills: Store, as_it_is: PlanContent) -> None:
    with own_mills.read() as record:
        limits = record.execute(
            text(
                "select distinct t.station_id, t.limit_um from tolerance t join line l on l.id = t.line_id "
                "where l.code = 'A19' and t.measure = 'offset' and t.withdrawn_at is null"
            )
        ).all()
    assert limits == [(None, limits[0][1])]  # one limit for the whole line
    wider_um = limits[0][1] + 50.0
    by_so_much = what_if(own_mills, ALL, "limit:A19:+50", first=as_it_is, now=NOW)
    to = what_if(own_mills, ALL, f"limit:A19:{wider_um:g}", first=as_it_is, now=NOW)
    asked = LimitAsked(
        station=None, axes=("v", "h"), limit=f"{wider_um / 1000.0:g}", watch="", set_within="", unit="mm",
        from_on=TODAY.isoformat(), basis="tried out", by="J. Quillam",
    )  # fmt: skip
    set_limit(own_mills, "A19", asked, now=NOW)
    anew = plan_content(own_mills, ALL, now=NOW)
    assert by_so_much.days_over < 0.0
    for answer in (by_so_much, to):
        assert answer.other.days_over == pytest.approx(anew.days_over, rel=1e-3)
        (row,) = [row for row in answer.other.rows if row.line == "A19"]
        (then,) = [row for row in anew.rows if row.line == "A19"]
        assert row.chance_if_skipped == pytest.approx(then.chance_if_skipped, abs=1e-9)
        assert row.chosen == then.chosen


def test_a_change_nobody_needs_moves_nobody_and_says_so(mills: Store, as_it_is: PlanContent) -> None:
    answer = what_if(mills, ALL, "crew:ER-2027-01:2", first=as_it_is, now=NOW)
    assert (answer.lines, answer.days_over, answer.visits, answer.same) == ((), 0.0, 0, True)
    assert sentence(answer).replace("\u00a0", " ").startswith(
        "Two crews more in ER-2027-01: this makes no difference; the plan stays as it is, with 3 0"
    )  # fmt: skip


def test_pins_hold_in_both_plans_and_a_pin_into_a_cancelled_outage_is_named(mills: Store) -> None:
    held = replace(ALL, into=(("A13", "NM-2027-06"),))
    answer = what_if(mills, held, "hours:NM-2027-06:20", now=NOW)
    assert places(answer.other)["A13"] == "NM-2027-06"
    with pytest.raises(PinError, match="A13 cannot be pinned into NM-2027-06: the outage is not planned any more"):
        what_if(mills, held, "without:NM-2027-06", now=NOW)


def test_several_changes_count_together(mills: Store, as_it_is: PlanContent) -> None:
    one = what_if(mills, ALL, "without:HB-2026-12", first=as_it_is, now=NOW)
    both = what_if(mills, ALL, "without:HB-2026-12;hours:HB-2027-06:500", first=as_it_is, now=NOW)
    # More room is never worse: what was open stays open.
    assert both.other.weighted_days_over + both.other.cost_days <= (
        one.other.weighted_days_over + one.other.cost_days
    ) * (1 + 1e-3)
    assert both.visits > one.visits
    assert [change.before for change in both.changes] == [120.0, 120.0]


@pytest.mark.parametrize(
    ("question", "said"),
    [
        ("", "Nothing is asked; write crew:OUTAGE"),
        ("crew", "‘crew’ is no question; write crew:OUTAGE"),
        ("crew:NM-2026-12:0", "No crew more in NM-2026-12 changes nothing; write how many."),
        ("crew:NM-2026-12:x", "‘x’ is not a number of crews from -100 to 100."),
        ("crew:NM-2026-12:-2", "outage NM-2026-12 would have 0 crews; keep one"),
        ("hours:NM-2026-12:-1", "‘-1’ is not a number of crew hours from 0 to 1e+06."),
        ("move:NM-2026-12:0.5", "NM-2026-12 is moved by whole days, one or more; ‘0.5’ is not."),
        ("move:NM-2026-12:-45", "NM-2026-12 would begin on 31 Oct 2026, which is past; move it less."),
        ("without:XX", "‘XX’ is not among the outages of this plan: HB-2026-12, NM-2026-12, "),
        ("limit:XX:200", "‘XX’ is not among the lines of this plan; choose one of them, or * for all."),
        ("limit:B13:-50", "A limit of B13 is 0.048 mm; made 0.050 mm narrower, nothing is left of it. Try less."),
        ("limit:*:0", "A limit of 0 would call every line over"),
        ("cap:120", "‘120’ is not a cap in per cent from 0 to 100."),
        (";".join(["cap:10"] * 9), "9 things are tried out at once; try 8 or fewer."),
    ],
)
def test_what_cannot_be_asked_is_said(mills: Store, as_it_is: PlanContent, question: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        what_if(mills, ALL, question, first=as_it_is, now=NOW)
    assert str(refused.value).replace("\u00a0", " ").startswith(said)


def test_a_question_is_written_and_read_back_whatever_a_code_holds() -> None:
    changes = (
        Changed("crew", "A:1;b %", 1.0),
        Changed("crew", "ü/?&=+", -2.0),
        Changed("hours", "x", 0.0),
        Changed("move", "x", -14.0),
        Changed("limit", "*", 200.0),
        Changed("limit_by", "*", 50.0),
        Changed("limit_by", "L-1", -25.4),
        Changed("cap", None, 0.125),
    )
    assert read_question(write_question(changes)) == changes
    assert write_question(changes[:1]) == "crew:A%3A1%3Bb%20%25"
    # A plus sign that was typed into an address arrives as a space.
    assert read_question("limit:*: 50") == (Changed("limit_by", "*", 50.0),)


def test_a_moved_outage_keeps_its_hour_at_the_site(mills: Store, as_it_is: PlanContent) -> None:
    answer = what_if(mills, ALL, "move:QE-2027-03:28", first=as_it_is, now=NOW)
    was, then = as_it_is.stop("QE-2027-03"), answer.other.stop("QE-2027-03")
    assert (then.starts_at.hour, then.starts_at.date()) == (22, was.starts_at.date() + timedelta(days=28))
    # British Summer Time begins on 28 March 2027 (Summer Time Order 2002), between the two starts.
    assert (was.starts_at.utcoffset(), then.starts_at.utcoffset()) == (timedelta(0), timedelta(hours=1))
