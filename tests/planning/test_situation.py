"""Which outages are open to whom, and the way from what is recorded to a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_plans import situation

from fleet.planning import ANY, CLOSED, NO_VISIT, PlanError, Situation, problem_of, solve, why_closed, window_hours


def codes(of_situation: Situation) -> list[list[str]]:
    closed = why_closed(
        of_situation.lines, of_situation.outages, end_day=of_situation.end_day, pin_out=of_situation.pin_out
    )
    return [[CLOSED[code] for code in row] for row in closed]


def test_the_window_holds_cool_down_screw_pull_visit_and_heat_up() -> None:
    one = situation(per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([50.0, 90.0, 130.0]))
    outages = replace(one.outages, crews=np.array([1.0, 2.0, np.nan]), screw_out=np.array([False, False, True]))
    # By hand: 8 + 4 + 4 + 6; two crews need 2 h instead of 4; with the screw out no pull.
    assert window_hours(one.lines, outages).tolist() == [[22.0, 20.0, 18.0]]


def test_a_visit_must_fit_between_start_and_end_the_minute_allowed() -> None:
    starts = np.array([50.0, 90.0, 130.0])
    one = situation(
        per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=starts,
        ends=starts + np.array([22.0 / 24.0, 21.9 / 24.0, np.nan]),
    )  # fmt: skip
    # 22 h are needed; an outage without an end sets no window.
    assert codes(one) == [["open", "window_too_short", "open"]]


def test_what_was_not_recorded_takes_no_hours() -> None:
    starts = np.array([50.0])
    one = situation(per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=starts, ends=starts + 4.0 / 24.0)
    bare = replace(one.lines, cool_down_h=np.array([np.nan]), screw_pull_h=np.array([np.nan]),
                   heat_up_h=np.array([np.nan]))  # fmt: skip
    assert codes(replace(one, lines=bare)) == [["open"]]


def test_an_outage_serves_its_line_or_its_site_or_anyone() -> None:
    two = situation(per_day=np.full(3, 0.001), after_per_day=np.full(3, 0.001), starts=np.array([50.0, 60.0, 70.0]))
    lines = replace(two.lines, site=np.array([0, 0, 1]))
    outages = replace(two.outages, site=np.array([1, 0, ANY]), line=np.array([ANY, 1, ANY]))
    assert codes(replace(two, lines=lines, outages=outages)) == [
        ["serves_others", "serves_others", "open"],
        ["serves_others", "open", "open"],
        ["open", "serves_others", "open"],
    ]


def test_cancelled_past_and_too_late_outages_take_nobody() -> None:
    one = situation(
        per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([50.0, 0.0, -30.0, 500.0, 60.0])
    )
    outages = replace(one.outages, planned=np.array([False, True, True, True, True]))
    pinned = replace(one, outages=outages, pin_out=np.array([[False, False, False, False, True]]))
    assert codes(pinned) == [["not_planned", "past", "past", "after_end", "pinned_out"]]
    plan = solve(problem_of(pinned))
    assert plan.chosen.tolist() == [NO_VISIT]
    # By hand: 0.001 a day up to day 500 is 125 days over.
    assert plan.parts.objective == pytest.approx(125.0)


def test_a_visit_longer_than_all_crew_hours_is_closed_out() -> None:
    one = situation(
        per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([50.0]), hours=6.0, crew_hours=5.5
    )
    assert codes(one) == [["crew_hours_too_few"]]
    unlimited = replace(one, outages=replace(one.outages, crew_hours=np.array([np.nan])))
    assert codes(unlimited) == [["open"]]


def test_no_crew_takes_nobody() -> None:
    one = situation(per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([50.0]))
    assert codes(replace(one, outages=replace(one.outages, crews=np.array([0.0])))) == [["window_too_short"]]


def test_overlapping_outages_have_hours_of_their_own() -> None:
    both = situation(
        per_day=np.full(2, 0.001), after_per_day=np.full(2, 0.0002), starts=np.array([50.0, 51.0]), crew_hours=4.0
    )
    plan = solve(problem_of(both))
    assert sorted(plan.chosen.tolist()) == [0, 1]
    assert plan.hours_used.tolist() == [4.0, 4.0]


def test_a_visit_goes_where_the_days_before_and_after_it_are_fewest() -> None:
    # By hand: 0.001 a day, before and after alike, over 500 days: at day s it is (s^2 + (500 - s)^2) / 2000 days over,
    # least at 250 (62.5); 100 gives 85, 400 gives 85, none gives 125.
    one = situation(per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([100.0, 250.0, 400.0]))
    asked = replace(one, cap=1.0)
    plan = solve(problem_of(asked))
    assert plan.chosen.tolist() == [1]
    assert plan.parts.objective == pytest.approx(62.5)
    dear = replace(asked, lines=replace(asked.lines, visit_cost_days=np.array([62.6])))
    assert solve(problem_of(dear)).chosen.tolist() == [NO_VISIT]
    cheap = replace(asked, lines=replace(asked.lines, visit_cost_days=np.array([62.4])))
    assert solve(problem_of(cheap)).chosen.tolist() == [1]


def test_what_cannot_be_is_refused_by_name() -> None:
    one = situation(per_day=np.array([0.001]), after_per_day=np.array([0.001]), starts=np.array([50.0]))
    with pytest.raises(PlanError, match="outage O1 ends before it starts; correct one of the two"):
        problem_of(replace(one, outages=replace(one.outages, end_day=np.array([49.0]))))
    with pytest.raises(PlanError, match="outage O1 has -5 crew hours; give a number of 0 or more"):
        problem_of(replace(one, outages=replace(one.outages, crew_hours=np.array([-5.0]))))
