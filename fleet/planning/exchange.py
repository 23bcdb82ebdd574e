"""Better plans by trading places: lines move, change places, or push another one out, again from many starts.

Where outages are full to the hour no single line can move. The solver proves what is best, but finds good plans of some
dozens of lines late; trading finds them in a second, and what is proved afterwards has less to look at.
"""

from __future__ import annotations

from time import monotonic
from typing import Final

import numpy as np

from fleet.planning.problem import NO_VISIT, Problem, steps_used
from fleet.planning.search import value
from fleet.values import BoolArray, FloatArray, IntArray

MOST_LINES: Final = 400
"""Every pair of lines is looked at; beyond so many that takes too long."""
_PATIENCE: Final = 300
"""Starts in a row that may find nothing better."""
_FEWEST_OUT: Final = 3
_SAME: Final = 1e-9


class _Places:
    """Who is where, what every place is worth to everybody, and how much room is left."""

    def __init__(self, problem: Problem, chosen: IntArray) -> None:
        n = chosen.size
        self.rows = np.arange(n)
        self.may = problem.may
        self.free = problem.pin_into < 0
        self.may[~self.free] = False
        self.may[self.rows, chosen] = True
        self.steps = np.column_stack([problem.hour_steps, np.zeros(n, dtype=np.int64)]).astype(np.float64)
        self.worth = np.where(self.may, value(problem), np.inf)
        self.chosen = chosen.copy()
        self.room = np.append(problem.room_steps - steps_used(problem, chosen), np.inf)
        self.scale = _SAME * max(1.0, float(np.max(np.abs(self.worth[np.isfinite(self.worth)]), initial=0.0)))

    @property
    def sum(self) -> float:
        return float(np.sum(self.worth[self.rows, self.chosen]))

    def put(self, line: int, to: int) -> None:
        """Move a line; room and place follow."""
        self.room[self.chosen[line]] += self.steps[line, self.chosen[line]]
        self.room[to] -= self.steps[line, to]
        self.chosen[line] = to

    def settle(self) -> None:
        """Take the best trade until there is none that gains."""
        while self._move() or self._trade():
            pass

    def _move(self) -> bool:
        now = self.worth[self.rows, self.chosen]
        gain = np.where(self.steps <= self.room, now[:, None] - self.worth, -np.inf)
        line, to = np.unravel_index(np.argmax(gain), gain.shape)
        if gain[line, to] <= self.scale:
            return False
        self.put(int(line), int(to) if to < self.steps.shape[1] - 1 else NO_VISIT)
        return True

    def _trade(self) -> bool:
        """Let a line take another's place, which takes the first one's, or whatever else it can have."""
        now, own = self.worth[self.rows, self.chosen], self.steps[self.rows, self.chosen]
        to_other = self.worth[:, self.chosen]
        needs = self.steps[:, self.chosen]
        # Room where the other stands, once it is gone.
        fits = needs <= (self.room[self.chosen] + own)[None, :]
        elsewhere = self.chosen[:, None] != self.chosen[None, :]
        first = np.where(fits & elsewhere, now[:, None] - to_other, -np.inf)
        swap = first + first.T
        # The other goes to the best place that has room for it as things stand.
        away = np.where(self.steps <= self.room, now[:, None] - self.worth, -np.inf)
        away[self.rows, self.chosen] = -np.inf
        best_away = np.argmax(away, axis=1)
        push = first + away[self.rows, best_away][None, :]
        at_swap, at_push = int(np.argmax(swap)), int(np.argmax(push))
        i, k = np.unravel_index(at_swap, swap.shape)
        line, other = np.unravel_index(at_push, push.shape)
        if swap[i, k] <= self.scale and push[line, other] <= self.scale:
            return False
        if swap[i, k] >= push[line, other]:
            here, there = int(self.chosen[i]), int(self.chosen[k])
            self.put(int(i), there)
            self.put(int(k), here)
        else:
            there, to = int(self.chosen[other]), int(best_away[other])
            self.put(int(other), to if to < self.steps.shape[1] - 1 else NO_VISIT)
            self.put(int(line), there)
        return True


def exchanged(problem: Problem, chosen: IntArray, *, time_limit_s: float) -> IntArray:
    """Improve a plan by trading places, from the plan and from many starts near the best one.

    A start near a plan sends a few lines home, most from two outages, and lets the others settle first.

    Parameters
    ----------
    problem : what is to be chosen
    chosen : a plan within the crew hours, shape (n,)
    time_limit_s : seconds

    Returns
    -------
    a plan at least as good, shape (n,); as it was where there are more lines than `MOST_LINES`, or where the number of
    visits is limited, which a trade may not keep

    References
    ----------
    Shift, swap and ejection for the generalised assignment problem: Yagiura, Ibaraki and Glover (2004), An ejection
    chain approach for the generalized assignment problem, INFORMS Journal on Computing 16, 133-151. Starts anew near
    the best: iterated local search (from memory).
    """
    began = monotonic()
    if not 1 < chosen.size <= MOST_LINES or problem.visits_at_most is not None:
        return chosen
    places = _Places(problem, chosen)
    places.settle()
    best, least = places.chosen.copy(), places.sum
    movable = places.free & (np.count_nonzero(places.may, axis=1) > 1)
    chance = np.random.default_rng(0)
    idle = 0
    while idle < _PATIENCE and monotonic() - began < time_limit_s and np.any(movable):
        for line in _sent_home(best, movable, chance):
            places.put(int(line), NO_VISIT)
        places.settle()
        if places.sum < least - places.scale:
            best, least, idle = places.chosen.copy(), places.sum, 0
        else:
            idle += 1
            for line in np.flatnonzero(places.chosen != best):
                places.put(int(line), int(best[line]))
    return best


def _sent_home(best: IntArray, movable: BoolArray, chance: np.random.Generator) -> IntArray:
    """Draw the lines that lose their visit: of two outages most, of the others few."""
    there = np.flatnonzero(movable & (best != NO_VISIT))
    if there.size == 0:
        return there
    two = chance.choice(np.unique(best[there]), 2)
    likely: FloatArray = np.where(np.isin(best[there], two), 0.6, 0.05)
    drawn = there[chance.random(there.size) < likely]
    return drawn if drawn.size else there[chance.permutation(there.size)[:_FEWEST_OUT]]
