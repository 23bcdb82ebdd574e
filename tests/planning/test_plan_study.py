"""The committed scores of plans on simulated fleets are what plans come to today, and hold what the page says."""

from __future__ import annotations

import plan_study
import pytest
from plan_study import ANEW, DOCUMENT, EVEN, HEADINGS, ONCE, PLANS, SIMPLE, TOO_FAR, cells, clearly, of, rows, same

TEXT = DOCUMENT.read_text(encoding="utf-8")
HEADING_OF = {id(way): heading for heading, way in HEADINGS.items()}
WANDER = "much wander"
CAPPED, FREE = PLANS


def compared(heading: str, plan: str) -> dict[tuple[str, str, str], str]:
    """Return the difference of a plan from either simple rule, by fleet, hours and rule."""
    table = cells(TEXT, heading)
    return {(row[0], row[1], rule): row[4 + at] for row in table for at, rule in enumerate(SIMPLE) if of(row, plan, at)}


def column(heading: str, rule: str, at: int) -> dict[tuple[str, str], float]:
    return {(row[0], row[1]): float(row[at]) for row in cells(TEXT, heading) if row[2] == rule}


@pytest.mark.simulation
@pytest.mark.parametrize("heading", HEADINGS)
def test_the_committed_scores_are_what_plans_come_to_today(heading: str) -> None:
    """Numbers within a twentieth: another release of the solver may find another plan within the gap."""
    today = rows(HEADINGS[heading])
    committed = cells(TEXT, heading)
    assert len(today) == len(committed) > 0
    for now, then in zip(today, committed, strict=True):
        assert all(same(a, b) for a, b in zip(now, then, strict=True)), (now, then)


def test_the_fleets_were_not_those_that_the_look_ahead_was_chosen_on() -> None:
    for way in (ONCE, ANEW, TOO_FAR):
        assert 1 not in way.seeds
        assert len(way.seeds) >= 20


@pytest.mark.parametrize("way", [ONCE, ANEW])
def test_at_the_same_hours_a_plan_has_fewer_months_over_and_is_nowhere_clearly_worse(way: object) -> None:
    got = compared(HEADING_OF[id(way)], FREE)
    assert len(got) == 12
    for (kind, share, rule), cell in got.items():
        assert clearly(cell) <= 0, (kind, share, rule, cell)
        if kind != WANDER or (way is ONCE and share == "every second"):
            assert clearly(cell) == -1, (kind, share, rule, cell)


@pytest.mark.parametrize("way", [ONCE, ANEW])
def test_where_visits_take_equal_hours_a_plan_makes_no_more_of_them(way: object) -> None:
    heading = HEADING_OF[id(way)]
    went = column(heading, FREE, 6)
    for rule in SIMPLE:
        for (kind, share), visits in column(heading, rule, 6).items():
            if kind != "uneven visits":
                assert went[kind, share] <= visits


def test_made_once_a_plan_of_no_more_visits_has_fewer_months_over_too() -> None:
    got = compared(HEADING_OF[id(ONCE)], EVEN)
    assert got
    assert all(clearly(cell) == -1 for cell in got.values())


def test_made_anew_with_uneven_visits_a_plan_of_no_more_visits_is_no_better_than_worst_first_and_that_is_said() -> None:
    cell = compared(HEADING_OF[id(ANEW)], EVEN)["uneven visits", "every fourth", "worst first"]
    assert clearly(cell) == 0
    assert "as worst first makes, it is no better than that rule" in TEXT


def test_the_words_of_the_page_are_those_of_the_study() -> None:
    assert TEXT.startswith(plan_study.TEXT)
    assert all(plan_study.SAYS[heading].format(len(way.seeds)) in TEXT for heading, way in HEADINGS.items())


@pytest.mark.parametrize("plan", [*PLANS, EVEN])
@pytest.mark.parametrize("way", [ONCE, ANEW])
def test_every_case_where_a_plan_is_not_clearly_better_is_named(way: object, plan: str) -> None:
    heading = HEADING_OF[id(way)]
    part = TEXT.split(f"{heading}\n")[1].split("\n## ")[0].split(f"* {plan}: ")[1].split("\n* ")[0]
    for (kind, share, rule), cell in compared(heading, plan).items():
        word = ("", "no clear difference from", "clearly worse than")[clearly(cell) + 1]
        named = f"{kind}, hours for all in {share}: {word} {rule} ({cell} months a fleet)"
        assert (named in part) == bool(word), (kind, share, rule, cell)


def test_the_cap_costs_months_where_hours_are_short_and_the_page_says_so() -> None:
    for way in (ONCE, ANEW):
        heading = HEADING_OF[id(way)]
        capped, free = column(heading, CAPPED, 3), column(heading, FREE, 3)
        for kind in ("steady drift", "uneven visits"):
            assert capped[kind, "every fourth"] > free[kind, "every fourth"]
    assert any(clearly(cell) == 1 for way in (ONCE, ANEW) for cell in compared(HEADING_OF[id(way)], CAPPED).values())
    assert "It then comes to more months than without the cap" in TEXT


def test_looking_too_far_while_planning_anew_is_worse_and_said_to_be() -> None:
    near, far = column(HEADING_OF[id(ANEW)], FREE, 3), column(HEADING_OF[id(TOO_FAR)], FREE, 3)
    assert near.keys() == far.keys()
    assert all(far[cell] > near[cell] for cell in near)
    assert "do not plan so" in TEXT
