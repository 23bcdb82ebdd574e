"""Trading places: never worse, never beyond the hours, and on small problems nearly always the best there is."""

from __future__ import annotations

import numpy as np
import pytest
from small_plans import best_by_looking, drawn, problem

from fleet.planning import NO_VISIT, PinError, check_pins, improved
from fleet.planning.exchange import MOST_LINES, exchanged
from fleet.planning.problem import Problem, parts_of, steps_used


def held(of: Problem) -> np.ndarray:
    return improved(of, of.pin_into.copy())


def rank(of: Problem, chosen: np.ndarray) -> tuple[int, float]:
    parts = parts_of(of, chosen)
    return parts.over_cap, parts.objective


def test_two_lines_change_places_where_neither_can_move_alone() -> None:
    # By hand: both outages are full. L1 saves 90 days in O1 and 10 in O2, L2 the other way round.
    of = problem(
        np.array([[10.0, 90.0, 100.0], [90.0, 10.0, 100.0]]),
        hours=np.full((2, 2), 8.0),
        crew_hours=np.array([8.0, 8.0]),
    )
    assert exchanged(of, np.array([1, 0]), time_limit_s=1.0).tolist() == [0, 1]


def test_a_line_pushes_another_out_that_saves_less() -> None:
    # By hand: O1 has room for one; L1 saves 5 there, L2 50. L1 goes to O2, where it saves 4.
    of = problem(
        np.array([[95.0, 96.0, 100.0], [50.0, 100.0, 100.0]]), hours=np.full((2, 2), 8.0),
        crew_hours=np.array([8.0, 8.0]),
    )  # fmt: skip
    assert exchanged(of, np.array([0, NO_VISIT]), time_limit_s=1.0).tolist() == [1, 0]


def test_small_plans_come_out_no_worse_and_mostly_best() -> None:
    """Against the best of all plans there are, one by one: caps, pins, closed outages, full crews in them."""
    best = tried = 0
    for seed in range(60):
        of = drawn(seed, lines=5, outages=3)
        try:
            check_pins(of)
        except PinError:
            continue
        if of.visits_at_most is not None:
            continue
        start = held(of)
        got = exchanged(of, start, time_limit_s=1.0)
        assert rank(of, got) <= rank(of, start)
        assert np.all(steps_used(of, got) <= of.room_steps)
        assert np.all(of.may[np.arange(got.size), got])
        pinned = of.pin_into >= 0
        assert np.array_equal(got[pinned], of.pin_into[pinned])
        tried += 1
        above, total = rank(of, got)
        least = best_by_looking(of)
        best += above == least[0] and total == pytest.approx(least[1], abs=1e-6)
    assert tried > 30
    assert best >= 0.95 * tried


def test_too_many_lines_and_limited_visits_are_left_as_they_are() -> None:
    days = np.array([[1.0, 9.0]])
    few = problem(days.repeat(4, axis=0), hours=np.ones((4, 1)), crew_hours=np.array([9.0]), visits_at_most=1)
    start = np.full(4, NO_VISIT)
    assert exchanged(few, start, time_limit_s=1.0) is start
    n = MOST_LINES + 1
    many = problem(days.repeat(n, axis=0), hours=np.ones((n, 1)), crew_hours=np.array([9.0]))
    start = np.full(n, NO_VISIT)
    assert exchanged(many, start, time_limit_s=1.0) is start
