"""One thing changed and solved again, and two plans side by side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_plans import situation

from fleet.planning import (
    Curves,
    Parts,
    PlanError,
    Side,
    Situation,
    compare,
    problem_of,
    side_of,
    solve,
    with_cap,
    with_crew_hours,
    with_crew_more,
    with_curves,
    with_outage_moved,
)


def three_lines(crew_hours: float = 4.0) -> Situation:
    """Chances grow by 0.001, 0.0008, 0.0002 a day, not at all after a visit; outages are on day 100 and day 200."""
    return situation(
        per_day=np.array([0.001, 0.0008, 0.0002]), after_per_day=np.zeros(3), starts=np.array([100.0, 200.0]),
        crew_hours=crew_hours,
    )  # fmt: skip


def test_one_crew_more_takes_one_line_more() -> None:
    first = replace(three_lines(), cap=1.0)
    other = with_crew_more(first, 0)
    assert other.outages.crew_hours.tolist() == [8.0, 4.0]
    assert other.outages.crews.tolist() == [2.0, 1.0]
    a, b = problem_of(first), problem_of(other)
    plan, more = solve(a), solve(b)
    assert plan.chosen.tolist() == [0, 1, -1]
    assert more.chosen.tolist() == [0, 0, 1]
    told = compare(side_of(a, plan), side_of(b, more))
    assert [(line.line, line.change, line.before, line.after) for line in told.lines] == [
        ("L2", "earlier", "O2", "O1"), ("L3", "added", None, "O2"),
    ]  # fmt: skip
    # By hand, c t^2 / 2: L2 from day 200 to day 100 saves 16 - 4; L3 from day 500 to day 200 saves 25 - 4.
    assert told.days_over == pytest.approx(-33.0)
    assert told.objective == pytest.approx(-33.0)
    assert (told.visits, told.over_cap, told.proved) == (1, 0, True)
    assert told.hours == {"O1": 4.0, "O2": 0.0}
    back = compare(side_of(b, more), side_of(a, plan))
    assert [(line.line, line.change) for line in back.lines] == [("L2", "later"), ("L3", "dropped")]


def test_a_crew_more_where_no_hours_are_recorded_shortens_the_visit_only() -> None:
    first = three_lines(crew_hours=float("nan"))
    other = with_crew_more(first, 1)
    assert np.isnan(other.outages.crew_hours).all()
    assert other.outages.crews.tolist() == [1.0, 2.0]
    with pytest.raises(PlanError, match="outage O1 would have 0 crews; keep one"):
        with_crew_more(first, 0, crews=-1.0)


def test_a_crew_more_opens_an_outage_whose_window_was_too_short() -> None:
    first = three_lines()
    tight = replace(first, outages=replace(first.outages, end_day=first.outages.start_day + 21.0 / 24.0))
    assert solve(problem_of(tight)).parts.visits == 0
    # 22 h are needed with one crew, 20 h with two.
    assert solve(problem_of(with_crew_more(tight, 0))).chosen.tolist() == [0, 0, -1]


def test_an_outage_moved_is_planned_anew_up_to_the_same_end() -> None:
    first = replace(three_lines(crew_hours=12.0), cap=1.0)
    other = with_outage_moved(first, 0, by_days=50.0)
    assert (other.outages.start_day.tolist(), other.outages.end_day.tolist()) == ([150.0, 200.0], [153.0, 203.0])
    assert other.end_day == first.end_day
    a, b = problem_of(first), problem_of(other)
    told = compare(side_of(a, solve(a)), side_of(b, solve(b)))
    # By hand: 0.002 in all, (150^2 - 100^2) / 2 of it.
    assert told.days_over == pytest.approx(0.002 * 6250.0)
    assert {line.change for line in told.lines} == {"later"}


def test_another_limit_comes_as_another_forecast() -> None:
    first = replace(three_lines(), cap=1.0)
    days = first.curves.days
    wider = Curves(days, first.curves.chance / 2.0, days, first.curves.chance_after)
    a, b = problem_of(first), problem_of(with_curves(first, wider))
    told = compare(side_of(a, solve(a)), side_of(b, solve(b)))
    # By hand: 5 for L1 on day 100, 16 for L2 on day 200, 25 for L3 never; half of that.
    assert told.objective == pytest.approx(-23.0)
    assert told.lines == ()


def test_another_cap_changes_who_goes_first() -> None:
    first = with_cap(three_lines(), 0.15)
    # On day 200 L1 is at 0.2 and L2 at 0.16; on day 100 there is room for one of them.
    assert solve(problem_of(first)).parts.over_cap == 1
    assert solve(problem_of(with_crew_hours(first, 0, crew_hours=8.0))).parts.over_cap == 0
    assert solve(problem_of(with_cap(first, 0.16))).parts.over_cap == 0


def side(chosen: dict[str, str | None], starts: dict[str, float], *, days: float = 0.0, bound: float = 0.0) -> Side:
    """Return a plan as it may have been kept: lines with their outages, and when those start."""
    visits = sum(code is not None for code in chosen.values())
    return Side(
        lines=tuple(chosen), outages=tuple(starts), start_day=tuple(starts.values()), chosen=tuple(chosen.values()),
        parts=Parts(days, 0.0, days, visits, 0), bound=bound,
        hours_used=tuple(4.0 * sum(code == stop for code in chosen.values()) for stop in starts),
    )  # fmt: skip


def test_a_line_that_only_one_plan_has_is_named_and_not_refused() -> None:
    kept = side({"L1": "O1", "L2": None, "gone": "O1"}, {"O1": 100.0}, days=40.0, bound=40.0)
    now = side({"L1": "O2", "L2": None, "new": "O2"}, {"O2": 100.0}, days=30.0, bound=30.0)
    told = compare(kept, now)
    # The outages start at the same moment under two codes.
    assert [(line.line, line.change) for line in told.lines] == [("L1", "elsewhere")]
    assert (told.only_first, told.only_other) == (("gone",), ("new",))
    assert (told.days_over, told.visits, told.hours) == (-10.0, 0, {"O1": -8.0, "O2": 8.0})


def test_an_outage_that_moved_makes_its_lines_earlier_or_later_under_the_same_code() -> None:
    kept = side({"L1": "O1"}, {"O1": 100.0})
    assert [line.change for line in compare(kept, side({"L1": "O1"}, {"O1": 130.0})).lines] == ["later"]
    assert compare(kept, kept).lines == ()


def test_a_difference_within_what_the_plans_may_be_worse_than_best_is_not_proved() -> None:
    one, other = side({"L1": None}, {}, days=40.0, bound=35.0), side({"L1": None}, {}, days=36.0, bound=36.0)
    assert not compare(one, other).proved
    assert compare(side({"L1": None}, {}, days=42.0, bound=37.0), other).proved


def test_plans_without_a_line_in_common_do_not_compare() -> None:
    with pytest.raises(PlanError, match=r"^two plans without a line in common \(one of L1, the other of X\) do not"):
        compare(side({"L1": None}, {}), side({"X": None}, {}))
    # A plan of no line at all is told as such: everything is only in the other.
    assert compare(side({}, {}), side({"X": None}, {})).only_other == ("X",)
