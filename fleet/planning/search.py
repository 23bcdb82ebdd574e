"""A plain search that always has a plan in hand: single lines move to where they gain most for the hours they take."""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.planning.problem import NO_VISIT, Problem, steps_used
from fleet.values import FloatArray, IntArray

_SAME: Final = 1e-9


def value(problem: Problem) -> FloatArray:
    """Return what every choice counts, lines above the cap before days over, shape (n, J + 1)."""
    cost = problem.cost
    # A line above the cap counts more than all days that any plan could save.
    heavy = 1.0 + float(np.sum(np.max(cost, axis=1, initial=0.0) - np.min(cost, axis=1, initial=np.inf)))
    return np.asarray(cost + heavy * problem.breaks, dtype=np.float64)


def improved(problem: Problem, chosen: IntArray) -> IntArray:
    """Move single lines to a better choice as long as there is one with room for it.

    What gains most for the crew hours that it takes goes first; lines above the cap go before days over. Pinned lines
    stay. So in what is returned every line that would rather be elsewhere finds too few hours (or visits) there.

    Parameters
    ----------
    problem : what is to be chosen
    chosen : a plan within the crew hours, shape (n,)

    Returns
    -------
    a plan at least as good, shape (n,)
    """
    chosen = chosen.copy()
    n = chosen.size
    if n == 0:
        return chosen
    rows = np.arange(n)
    may = problem.may
    may[problem.pin_into >= 0] = False
    steps = np.column_stack([problem.hour_steps, np.zeros(n, dtype=np.int64)])
    room = np.append(problem.room_steps - steps_used(problem, chosen), np.inf)
    most = np.inf if problem.visits_at_most is None else float(problem.visits_at_most)
    worth = value(problem)
    now = worth[rows, chosen]
    gain = np.where(may, now[:, None] - worth, -np.inf)
    per_hour = gain / np.maximum(steps, 1)
    visits = int(np.count_nonzero(chosen != NO_VISIT))
    while True:
        fits = (steps <= room) & (gain > _SAME * np.maximum(1.0, np.abs(now))[:, None])
        if visits >= most:
            fits[chosen == NO_VISIT, :NO_VISIT] = False
        if not fits.any():
            return chosen
        i, j = np.unravel_index(np.argmax(np.where(fits, per_hour, -np.inf)), fits.shape)
        to = int(j) if j < len(problem.outages) else NO_VISIT
        visits += int(to != NO_VISIT) - int(chosen[i] != NO_VISIT)
        room[chosen[i]] += steps[i, chosen[i]]
        room[to] -= steps[i, to]
        chosen[i] = to
        now[i] = worth[i, to]
        gain[i] = np.where(may[i], now[i] - worth[i], -np.inf)
        per_hour[i] = gain[i] / np.maximum(steps[i], 1)
