"""Two simple rules that a plan has to beat: worst first until full, and everything in turn."""

from __future__ import annotations

import numpy as np

from fleet.planning.problem import NO_VISIT, Problem, check_pins, steps_used
from fleet.values import FloatArray, IntArray


def worst_first(problem: Problem) -> IntArray:
    """Fill one outage after the other with the lines that are then likeliest to be over, until no hours are left.

    Parameters
    ----------
    problem : what is to be chosen

    Returns
    -------
    index of the outage of every line, `NO_VISIT` for none, shape (n,); pins are kept

    Raises
    ------
    PinError
        Pins cannot be kept.
    """
    risk = np.where(problem.foreseen[:, None], problem.chance_before[:, :NO_VISIT], -1.0)
    return _filled(problem, risk)


def in_turn(problem: Problem, days_since: FloatArray, *, every: int = 2) -> IntArray:
    """Visit every line in every so-many-th outage: in each outage a part of the fleet, those longest ago first.

    Parameters
    ----------
    problem : what is to be chosen
    days_since : days from the last visit to as-of, inf for a line never visited, shape (n,)
    every : in how many outages the whole fleet is gone through

    Returns
    -------
    index of the outage of every line, `NO_VISIT` for none, shape (n,); pins are kept, hours too

    Raises
    ------
    PinError
        Pins cannot be kept.
    """
    share = int(np.ceil(len(problem.lines) / max(every, 1)))
    urgency = np.broadcast_to(days_since[:, None], problem.hours.shape)
    return _filled(problem, urgency, share)


def _filled(problem: Problem, urgency: FloatArray, most: int | None = None) -> IntArray:
    """Fill outage after outage in time order, most urgent first; every outage takes so many lines at most."""
    check_pins(problem)
    chosen = problem.pin_into.copy()
    may, steps = problem.may, problem.hour_steps
    room = problem.room_steps - steps_used(problem, chosen)
    left = np.inf if problem.visits_at_most is None else problem.visits_at_most - np.count_nonzero(chosen >= 0)
    for j in np.argsort(problem.start_day, kind="stable"):
        taken = int(np.count_nonzero(chosen == j))
        for i in np.argsort(-urgency[:, j], kind="stable"):
            if left < 1 or (most is not None and taken >= most):
                break
            if chosen[i] == NO_VISIT and may[i, j] and steps[i, j] <= room[j]:
                chosen[i] = j
                room[j] -= steps[i, j]
                taken, left = taken + 1, left - 1
    return chosen
