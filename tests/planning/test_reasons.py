"""Why every line is where it is, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_plans import drawn, problem

from fleet.planning import CLOSED, NO_VISIT, in_turn, reasons, solve, unkept, worst_first


def test_every_kind_of_line_is_told_its_reason() -> None:
    nan = np.nan
    out, past = CLOSED.index("pinned_out"), CLOSED.index("past")
    #        days O1     O2     none   chance O1, O2, none   closed        into
    rows = [
        ([10.0, 20.0, 90.0], [0.05, 0.1, 0.6], [0, 0], NO_VISIT),  # keeps_cap
        ([10.0, 12.0, 40.0], [0.02, 0.03, 0.1], [0, 0], NO_VISIT),  # saves_days, in O2: O1 is full
        ([40.0, 60.0, 99.0], [0.5, 0.6, 0.9], [past, 0], NO_VISIT),  # above_cap_anyway
        ([1.0, 1.0, 1.5], [0.0, 0.0, 0.01], [0, 0], NO_VISIT),  # not_worth_it: saves 0.5, costs 5
        ([nan, nan, nan], [nan, nan, nan], [0, 0], NO_VISIT),  # no_forecast
        ([1.0, 1.0, 50.0], [0.0, 0.0, 0.1], [out, past], NO_VISIT),  # pinned_out
        ([1.0, 1.0, 50.0], [0.0, 0.0, 0.1], [past, past], NO_VISIT),  # no_outage_open
        ([9.0, 9.0, 9.0], [0.0, 0.0, 0.0], [0, 0], 1),  # pinned_into
        ([10.0, 11.0, 30.0], [0.0, 0.0, 0.1], [0, 0], NO_VISIT),  # no_room: saves less than those that go
    ]
    asked = problem(
        np.array([row[0] for row in rows]), hours=np.full((9, 2), 4.0), crew_hours=np.array([4.0, 12.0]),
        chance_before=np.array([row[1] for row in rows]), closed=np.array([row[2] for row in rows]),
        pin_into=np.array([row[3] for row in rows]), cost=np.full(9, 5.0), cap=0.2,
    )  # fmt: skip
    plan = solve(asked, gap=0.0)
    told = reasons(asked, plan)
    assert [(line.chosen, line.reason) for line in told] == [
        (0, "keeps_cap"), (1, "saves_days"), (1, "above_cap_anyway"), (NO_VISIT, "not_worth_it"),
        (NO_VISIT, "no_forecast"), (NO_VISIT, "pinned_out"), (NO_VISIT, "no_outage_open"), (1, "pinned_into"),
        (NO_VISIT, "no_room"),
    ]  # fmt: skip
    last = told[-1]
    assert (last.rather, last.hours_missing, last.hours, last.saves) == (0, 4.0, 0.0, 0.0)
    assert (last.chance_if_skipped, last.days_if_skipped) == (0.1, 30.0)
    assert (told[0].saves, told[0].hours, told[0].chance_before, told[0].chance_if_skipped) == (80.0, 4.0, 0.05, 0.6)
    assert told[5].closed == ("pinned_out", "past")
    (line,) = unkept(asked, plan)
    assert (line.line, line.why, line.first_outage, line.chosen) == (2, "above_before_first", 1, 1)


def test_a_line_that_comes_late_because_hours_went_elsewhere_is_told_so() -> None:
    chance = np.array([[0.1, 0.3, 0.8], [0.1, 0.3, 0.8]])
    days = np.array([[5.0, 20.0, 100.0], [5.0, 20.0, 90.0]])
    asked = problem(days, hours=np.full((2, 2), 4.0), crew_hours=np.array([6.0, 6.0]), chance_before=chance, cap=0.2)
    told = reasons(asked, solve(asked))
    assert sorted(line.reason for line in told) == ["keeps_cap", "late_for_lack_of_room"]
    late = next(line for line in told if line.reason == "late_for_lack_of_room")
    assert (late.chosen, late.rather, late.hours_missing) == (1, 0, pytest.approx(2.0))


def test_why_no_choice_keeps_a_line_is_told_apart() -> None:
    chance = np.array([[0.4, 0.9], [0.1, 0.9], [0.1, 0.9], [0.3, 0.9]])
    asked = problem(
        np.array([[10.0, 90.0]] * 4), hours=np.ones((4, 1)), crew_hours=np.array([9.0]), chance_before=chance,
        closed=np.array([[0], [CLOSED.index("pinned_out")], [CLOSED.index("past")], [0]]), cap=0.2,
    )  # fmt: skip
    now = np.array([0.35, 0.0, 0.0, 0.0])
    asked = replace(asked, chance_now=now)
    told = {line.line: line for line in unkept(asked, solve(asked))}
    assert {i: line.why for i, line in told.items()} == {
        0: "above_now", 1: "pinned_past_it", 2: "no_outage_open", 3: "above_before_first",
    }  # fmt: skip
    assert [told[i].chance_at_first for i in range(4)] == [0.4, 0.9, 0.9, 0.3]
    # The riskiest first.
    assert list(told) == [1, 2, 0, 3]
    assert [told[i].chosen for i in range(4)] == [0, NO_VISIT, NO_VISIT, 0]


def test_who_would_rather_be_elsewhere_finds_no_room_there() -> None:
    told_no_room = 0
    for seed in range(60):
        asked = drawn(seed, lines=6, outages=3)
        plan = solve(asked, time_limit_s=0.0 if seed % 2 else 30.0)
        for line in reasons(asked, plan):
            if line.rather is None or line.rather == NO_VISIT:
                continue
            told_no_room += 1
            used = sum(asked.hours[i, line.rather] for i in np.flatnonzero(plan.chosen == line.rather))
            short = used + asked.hours[line.line, line.rather] > asked.crew_hours[line.rather] + 1e-9
            assert short == (line.hours_missing > 0.0), seed
            full = asked.visits_at_most is not None and plan.parts.visits >= asked.visits_at_most
            assert short or full, seed
    assert told_no_room > 20


def test_worst_first_fills_the_first_outage_with_the_likeliest() -> None:
    chance = np.array([[0.1, 0.2, 0.3], [0.5, 0.6, 0.7], [0.3, 0.4, 0.5], [0.2, 0.9, 0.9]])
    asked = problem(np.ones((4, 3)), hours=np.full((4, 2), 4.0), crew_hours=np.array([8.0, 4.0]), chance_before=chance)
    # O1: L2, L3 are likeliest; O2: of L1 and L4 it is L4.
    assert worst_first(asked).tolist() == [NO_VISIT, 0, 0, 1]


def test_in_turn_takes_those_longest_ago_a_share_at_a_time() -> None:
    asked = problem(np.ones((4, 3)), hours=np.full((4, 2), 1.0), crew_hours=np.array([9.0, 9.0]))
    assert in_turn(asked, np.array([10.0, np.inf, 300.0, 20.0])).tolist() == [1, 0, 0, 1]
    assert in_turn(asked, np.array([10.0, np.inf, 300.0, 20.0]), every=4).tolist() == [NO_VISIT, 0, 1, NO_VISIT]
