"""What a plan says in words; whole sentences, wordings by the design page, `common practice, no source` elsewhere."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from hand_over_story import ROWS, STOPS, kept, plan, row, stop

from fleet.planning import CLOSED, Reason, Unkept
from fleet.reports import plan_words as say
from fleet.reports.plan_content import Choice

BERLIN = ZoneInfo("Europe/Berlin")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")


def spaced(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_the_lead_says_visits_stops_and_who_no_choice_keeps() -> None:
    whole = plan(rows=tuple(replace(each, above_cap=False) for each in ROWS), over_cap=0)
    assert spaced(say.lead(whole)) == (
        "Five visits in two stops. Two lines are already above 20 % before the first stop; this plan takes them then. "
        "Earlier needs an extra stop."
    )


def test_lines_above_the_cap_for_lack_of_room_are_told_with_the_fewest_possible() -> None:
    sure = spaced(say.lead(plan(rows=ROWS[4:], over_cap=2, over_cap_bound=2)))
    assert sure == (
        "One visit in one stop. Two lines run above 20 % before their visit for lack of room; with these hours it "
        "cannot be fewer."
    )
    open_ = spaced(say.lead(plan(rows=ROWS[4:], over_cap=2, over_cap_bound=1, gap=0.034)))
    assert open_ == (
        "One visit in one stop. Two lines run above 20 % before their visit for lack of room; whether it could be "
        "fewer, down to one line, was not settled in 5 s. This is the best plan found in 5 s; another could be better "
        "by up to 3.4 % of its sum. Give it more time to know."
    )


def test_empty_plans_say_what_is_missing() -> None:
    assert say.lead(plan(rows=(), site=None)) == "No line is on record, so there is nothing to plan."
    assert say.lead(plan(rows=())) == "No line is at site ORR, so there is nothing to plan."
    alone = replace(ROWS[6], choices=())
    assert spaced(say.lead(plan(rows=(alone,), stops=(), over_cap=0))) == (
        "No planned outage ahead within twelve months, so no visit is planned. Enter an outage, or look further ahead."
    )
    assert spaced(say.lead(plan(rows=(ROWS[6],), over_cap=0))) == (
        "No visit in the four stops ahead. Every line with a forecast stays under 20 % before its visit."
    )


def test_lines_that_no_stop_serves_need_an_extra_one() -> None:
    shut = tuple(replace(c, closed="serves_others") for c in ROWS[0].choices)
    one = replace(ROWS[0], choices=shut, chosen=None, unkept="no_outage_open", reason="no_outage_open")
    said = spaced(say.lead(plan(rows=(one,), over_cap=0)))
    assert said == (
        "No visit in the four stops ahead. No stop ahead is open to ORR-07, above 20 % before the plan’s end, Oct "
        "2028: it needs an extra stop."
    )
    two = spaced(say.lead(plan(rows=(one, replace(one, line="ORR-14")), over_cap=0)))
    assert two.endswith(
        "open to ORR-07 and ORR-14, above 20 % before the plan’s end, Oct 2028: they need an extra stop."
    )


def test_a_line_held_past_the_cap_names_its_pin() -> None:
    held = replace(ROWS[3], unkept="pinned_past_it", above_cap=False)
    assert spaced(say.lead(plan(rows=(held,), over_cap=0))) == (
        "One visit in one stop. ORR-02 is held above 20 % by hand: take the pin away to keep the cap."
    )


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("ORR-07", "no stop open to it is early enough for 20 %; the visit saves 609 days over"),
        ("ORR-09", "keeps it under 20 %: without a visit 70 % by the plan’s end, Oct 2028"),
        ("ORR-02", "pinned into ORR-2026-12-19 by hand"),
        ("ORR-05", "saves 40 days over; a visit costs 5 days"),
        ("ORR-12", "no visit: ORR-2027-04-03 would be worth it, but 4 crew h are missing there"),
        ("ORR-08", "no visit: under 20 % to Oct 2028"),
        ("ORR-13", "no visit: nothing to plan by until it has a survey and a limit"),
    ],
)
def test_the_reason_of_a_line(line: str, said: str) -> None:
    chosen = next(each for each in ROWS if each.line == line)
    assert spaced(say.reason(chosen, plan())) == said


def test_every_code_of_the_planner_has_its_words() -> None:
    # The codes themselves are those of the pure planning part; a new one there must be given words here.
    for code in get_args(Reason):
        assert say.reason(replace(ROWS[0], reason=code), plan())
    for code in get_args(Unkept):
        assert say.unkept(replace(ROWS[0], unkept=code), plan())
    for code in CLOSED:
        long = say.closed(Choice(0.1, code, 300.0), ROWS[0], STOPS[0])
        short = say.closed_short(Choice(0.1, code, 300.0), ROWS[0], STOPS[0])
        assert bool(long) == bool(short) == (code != "open")


def test_a_visit_that_costs_more_than_it_saves_though_above_the_cap() -> None:
    risky = replace(ROWS[6], chance_if_skipped=0.5)
    assert spaced(say.reason(risky, plan())) == "no visit: it would cost more (5 days) than it saves"


def test_a_line_that_counts_more_says_how_much() -> None:
    assert spaced(say.reason(replace(ROWS[4], weight=2.5), plan())) == (
        "saves 40 days over, counted 2.5-fold; a visit costs 5 days"
    )


def test_the_risk_of_skipping_is_up_to_the_next_stop_that_serves_it() -> None:
    assert spaced(say.risk(ROWS[0], plan())) == "99 % before ORR-2027-04-03 (3 Apr 2027) if skipped"
    last = replace(ROWS[0], chosen="ORR-2027-10-16")
    assert spaced(say.risk(last, plan())) == "> 99 % before the plan’s end, Oct 2028 if skipped"
    assert spaced(say.risk(ROWS[6], plan())) == "3 % before the plan’s end, Oct 2028"
    assert say.risk(ROWS[7], plan()) == "no chance can be given"


def test_why_a_stop_is_closed_short_and_long() -> None:
    twelve = ROWS[5]
    few, _, out, _ = (
        (say.closed_short(c, twelve, s), say.closed(c, twelve, s)) for c, s in zip(twelve.choices, STOPS, strict=True)
    )
    assert spaced(few[0]) == "4 crew h too few"
    assert spaced(few[1]) == "A visit to ORR-12 takes 100 crew h, ORR-2026-12-19 has 96 crew h in all."
    assert out == ("kept out", "ORR-12 is kept out of ORR-2027-07-24 by hand.")
    short = stop("ORR-2027-05-01", (2027, 5, 1, 6), (2027, 5, 2, 17))
    too_long = Choice(0.1, "window_too_short", 41.0)
    assert spaced(say.closed_short(too_long, ROWS[0], short)) == "too short by 6 h"
    assert spaced(say.closed(too_long, ROWS[0], short)) == (
        "ORR-2027-05-01 is too short by 6 h for ORR-07: cool-down 16, pull 8, visit 7, heat-up 10 h; it lasts 35 h."
    )
    assert say.closed(Choice(0.1, "window_too_short", None), ROWS[0], replace(short, crews=0.0)) == (
        "ORR-2027-05-01 has no crew for a visit."
    )
    only = replace(short, line="ORR-05")
    assert say.closed(Choice(None, "serves_others", 41.0), ROWS[0], only) == "ORR-2027-05-01 serves line ORR-05 only."


def test_the_window_names_its_parts_and_what_is_not_recorded() -> None:
    assert spaced(say.window(ROWS[0], STOPS[0])) == "cool-down 16, pull 8, visit 7, heat-up 10 h"
    assert spaced(say.window(ROWS[0], replace(STOPS[0], screw_out=True))) == "cool-down 16, visit 7, heat-up 10 h"
    assert spaced(say.window(ROWS[7], STOPS[0])) == "visit 4, heat-up 10 h; cool-down and pull not recorded, counted 0"
    assert spaced(say.fits(ROWS[0].choices[0], STOPS[0])) == "fits, 41 of 288 h"
    assert spaced(say.fits(ROWS[0].choices[3], STOPS[3])) == "41 h, no end recorded"


def test_days_of_a_stop_are_days_and_hours_have_their_zone() -> None:
    assert [spaced(say.stop_dates(each)) for each in STOPS] == [
        "19–30 Dec 2026",
        "3 Apr 2027, 06:00 – 7 Apr 2027, 06:00 (America/New_York)",
        "24 Jul–8 Aug 2027",
        "from 16 Oct 2027, 06:00 (America/New_York)",
    ]
    one_day = stop("VES-1", (2027, 1, 5), (2027, 1, 5), BERLIN)
    assert spaced(say.stop_dates(one_day)) == "5 Jan 2027"
    within = stop("VES-2", (2027, 1, 5, 6), (2027, 1, 5, 18), BERLIN)
    assert spaced(say.stop_dates(within)) == "5 Jan 2027, 06:00–18:00 (Europe/Berlin)"


def test_a_stop_over_a_change_of_the_clocks_tells_both_offsets() -> None:
    # Clocks in Berlin go back on 31 Oct 2027, 03:00 summer time, on Lord Howe by half an hour on 4 Apr 2027 (tzdata).
    berlin = stop("VES-3", (2027, 10, 30, 22), (2027, 10, 31, 6), BERLIN)
    assert spaced(say.stop_dates(berlin)) == "30 Oct 2027, 22:00 UTC+2 – 31 Oct 2027, 06:00 UTC+1 (Europe/Berlin)"
    howe = stop("LHI-1", (2027, 4, 3, 22), (2027, 4, 4, 6), LORD_HOWE)
    assert (
        spaced(say.stop_dates(howe)) == "3 Apr 2027, 22:00 UTC+11 – 4 Apr 2027, 06:00 UTC+10:30 (Australia/Lord_Howe)"
    )
    twice = replace(berlin, starts_at=datetime(2027, 10, 31, 2, 30, tzinfo=BERLIN, fold=1))
    assert spaced(say.stop_dates(twice)) == "31 Oct 2027, 02:30 UTC+1 – 31 Oct 2027, 06:00 (Europe/Berlin)"


def test_hours_of_a_stop_over_a_change_of_the_clocks_are_those_that_pass() -> None:
    # From 22:00 to 06:00 in the night the clocks go back by one hour, or on Lord Howe by half an hour (tzdata).
    berlin = stop("VES-3", (2027, 10, 30, 22), (2027, 10, 31, 6), BERLIN)
    assert berlin.hours == 9.0
    assert spaced(say.stop_kind(berlin)) == "full stop, 9 h"
    assert stop("LHI-1", (2027, 4, 3, 22), (2027, 4, 4, 6), LORD_HOWE).hours == 8.5


def test_kind_room_and_state() -> None:
    assert spaced(say.stop_kind(STOPS[0])) == "full stop, 288 h"
    assert spaced(say.stop_kind(replace(STOPS[3], screw_out=True))) == "weekend, screw out, no end recorded"
    assert [spaced(say.stop_room(each)) for each in STOPS[:3]] == [
        "56 of 96 crew h", "12 of 40 crew h", "0 crew h, no limit recorded",
    ]  # fmt: skip
    assert say.state(plan()) == "Not saved."
    assert spaced(say.state(plan(kept=kept()))) == (
        "Plan P-3, signed off by J. Quillam (not verified), 26 Nov 2026, 08:30."
    )
    assert spaced(say.state(plan(kept=kept(state="saved", signed_by=None, signed_at=None)))) == (
        "Plan P-3, saved by J. Quillam (not verified), 25 Nov 2026, 13:00; not signed off."
    )
    assert spaced(say.solved(plan())) == "Solved 25 Nov 2026, 07:12 (America/New_York); 2 pinned"
    assert spaced(say.solved(plan(solved_at=datetime(2026, 11, 25, 7, 12, tzinfo=UTC), rows=()))) == (
        "Solved 25 Nov 2026, 07:12 (UTC)"
    )
    assert spaced(say.sums(plan())) == (
        "95 days over expected by the plan’s end, Oct 2028; 1 439 days with no visit but the pinned ones."
    )


def test_why_says_all_of_it_and_nothing_twice() -> None:
    assert spaced(say.why(ROWS[0], plan())) == "already above 20 % today; the visit saves 609 days over"
    assert spaced(say.why(ROWS[5], plan())) == (
        "above 20 % without a visit, though a stop open to it would keep it; no visit: ORR-2027-04-03 would be worth "
        "it, but 4 crew h are missing there"
    )
    assert spaced(say.why(ROWS[3], plan())) == "pinned into ORR-2026-12-19 by hand"


def test_figures_of_days_keep_the_digit_that_matters() -> None:
    lots = row("ORR-20", (0.1, 0.1, 0.1, 0.1), 0.5, reason="saves_days", saves=0.04, visit_cost_days=1.0)
    assert spaced(say.reason(lots, plan())) == "saves < 0.1 days over; a visit costs 1 day"
