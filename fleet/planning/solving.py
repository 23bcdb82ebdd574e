"""The plan: fewest lines above the cap, then least expected time over with what the visits cost.

Two mixed-integer programmes one after the other (HiGHS through scipy), beside a plain search that always has a plan in
hand: whichever is better counts, so that a time limit costs certainty, never the plan.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic
from typing import Final

import numpy as np
from scipy.sparse import coo_array, csr_array, vstack

from fleet.planning.problem import (
    HOURS_STEP,
    NO_VISIT,
    Parts,
    PlanError,
    Problem,
    check_pins,
    parts_of,
    steps_used,
)
from fleet.planning.programme import CORE_LINES, WHOLE, Visits, least
from fleet.planning.search import improved
from fleet.values import BoolArray, FloatArray, IntArray

_BOTH: Final = 0.35
"""Share of the time limit for both aims at once, where lines are many."""
_FIRST_STAGE: Final = 0.5
_FIRST_OF_MANY: Final = 0.25
"""Share of the time left that the cap's stage may take; less where both aims have been followed before."""
_AGAIN: Final = 0.5
"""Share of the time left for both aims once more, where the cap's stage has moved lines without regard to days."""
_HEAVY: Final = 10.0
"""What a line above the cap counts there beside the largest saving of a visit."""
_SAME: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Plan:
    """Which line goes into which outage, and how far from the best that can be.

    Parameters
    ----------
    chosen : index of the outage of every line, `NO_VISIT` for none, shape (n,)
    parts : what it amounts to
    no_visits : what it would amount to if no line were visited that is not pinned
    over_cap_bound : fewest lines above the cap that any plan can have, as far as is proved
    bound : least sum that any plan with so few lines above the cap can have, as far as is proved, weighted days
    hours_used : crew hours taken of every outage, shape (J,)
    solver_said : the solver's own words about the last programme, empty where there was nothing to solve
    """

    chosen: IntArray
    parts: Parts
    no_visits: Parts
    over_cap_bound: int
    bound: float
    hours_used: FloatArray
    solver_said: str

    @property
    def gap(self) -> float:
        """How much of its sum the plan could be worse than the best with as few lines above the cap, 0 to 1."""
        if self.parts.objective <= self.bound + _SAME:
            return 0.0
        return (self.parts.objective - self.bound) / self.parts.objective

    @property
    def fewest_above_cap(self) -> bool:
        """Whether it is proved that no plan has fewer lines above the cap."""
        return self.parts.over_cap <= self.over_cap_bound


@dataclass(frozen=True, slots=True)
class _Free:
    """The visits that are still to be chosen: those that could be worth it, of lines that nobody pinned."""

    row: IntArray
    outage: IntArray
    saves: FloatArray
    """What the sum changes by against no visit."""
    mends: FloatArray
    """What the number of lines above the cap changes by against no visit."""
    line: IntArray
    shared: csr_array
    room: FloatArray

    def taken(self, chosen: IntArray) -> BoolArray:
        """Tell which of the visits a plan takes."""
        return np.asarray(chosen[self.row] == self.outage)

    def both(self, of_none: float, above: int) -> Visits:
        """Ask for both at once, a line above the cap counting many times the largest saving of any one visit."""
        heavy = _HEAVY * float(np.max(np.abs(self.saves)))
        return Visits(self.line, self.shared, self.room, self.saves + heavy * self.mends, of_none + heavy * above)

    def fewest(self, of_none: int) -> Visits:
        """Ask for the fewest lines above the cap."""
        return Visits(self.line, self.shared, self.room, self.mends, float(of_none), True, self.saves)

    def least(self, of_none: float, mends: float) -> Visits:
        """Ask for the least sum with no more lines above the cap than that."""
        shared = vstack([self.shared, coo_array(self.mends[None, :])], format="csr")
        return Visits(self.line, shared, np.append(self.room, mends), self.saves, of_none)


def solve(problem: Problem, *, gap: float = 1e-4, time_limit_s: float = 30.0) -> Plan:
    """Choose for every line one outage or none.

    First as few lines as possible run above the cap before their visit though some choice open to them would keep it;
    among those plans the least sum of weight times expected days over and of the visits' costs. No outage is given more
    than its crew hours.

    Parameters
    ----------
    problem : what is to be chosen
    gap : share of the sum within which the plan is good enough
    time_limit_s : seconds for the solver; then the best plan so far counts, and its gap says how good it is

    Returns
    -------
    the plan

    Raises
    ------
    PinError
        Pins cannot be kept; nothing is solved.
    PlanError
        The gap or the time limit is negative.

    References
    ----------
    A generalised assignment problem (Martello and Toth 1990, Knapsack Problems, chapter 7) with "none" allowed, solved
    by branch and cut: Huangfu and Hall (2018), Parallelizing the dual revised simplex method, Math. Prog. Comp. 10.
    """
    if gap < 0 or time_limit_s < 0:
        raise PlanError(f"a gap of {gap:g} and a time limit of {time_limit_s:g} s must both be 0 or more")
    check_pins(problem)
    began = monotonic()
    held = problem.pin_into.copy()
    idle = parts_of(problem, held)
    best = improved(problem, held)
    free = _free(problem, held)
    # Without a visit left to choose there is only one plan.
    bound, over_bound = _at_least(problem) if free.row.size else (idle.objective, idle.over_cap)
    said = ""
    if free.row.size:
        many = free.row.size > WHOLE and np.unique(free.line).size > CORE_LINES and bool(np.any(free.mends))
        if many:
            best, said = _nearer(problem, held, free, idle, best, gap, _BOTH * time_limit_s)
        if parts_of(problem, best).over_cap > over_bound:
            left = max(time_limit_s - (monotonic() - began), 0.0)
            over = parts_of(problem, best).over_cap
            share = _FIRST_OF_MANY if many else _FIRST_STAGE
            few = least(free.fewest(idle.over_cap), free.taken(best), gap=0.0, time_limit_s=share * left)
            best, said = _better(problem, best, _laid(held, free, few.taken)), few.said
            over_bound = max(over_bound, round(few.bound))
            if many and parts_of(problem, best).over_cap < over:
                left = max(time_limit_s - (monotonic() - began), 0.0)
                best, said = _nearer(problem, held, free, idle, best, gap, _AGAIN * left)
        mends = float(parts_of(problem, best).over_cap - idle.over_cap)
        left = max(time_limit_s - (monotonic() - began), 0.0)
        low = least(free.least(idle.objective, mends), free.taken(best), gap=gap, time_limit_s=left)
        best, said = _better(problem, best, _laid(held, free, low.taken)), low.said
        bound = max(bound, low.bound)
    parts = parts_of(problem, best)
    if np.any(steps_used(problem, best) > problem.room_steps):
        raise PlanError("the solver filled an outage beyond its crew hours; round the visits' hours and solve again")
    return Plan(
        chosen=best,
        parts=parts,
        no_visits=idle,
        over_cap_bound=min(over_bound, parts.over_cap),
        bound=min(bound, parts.objective),
        hours_used=np.asarray(steps_used(problem, best) * HOURS_STEP, dtype=np.float64),
        solver_said=said,
    )


def _nearer(
    problem: Problem, held: IntArray, free: _Free, idle: Parts, best: IntArray, gap: float, limit_s: float
) -> tuple[IntArray, str]:
    """Follow both aims at once, which a part of the lines at a time does well; return the better plan and the words."""
    both = free.both(idle.objective, idle.over_cap)
    near = gap / 2.0 * idle.objective / max(both.of_none, 1.0)
    found = least(both, free.taken(best), gap=near, time_limit_s=limit_s)
    return _better(problem, best, _laid(held, free, found.taken)), found.said


def _free(problem: Problem, held: IntArray) -> _Free:
    """Collect the visits that are open to lines without a pin and better than none in either regard."""
    cost, breaks = problem.cost, problem.breaks.astype(np.float64)
    saves = cost[:, :NO_VISIT] - cost[:, NO_VISIT:]
    mends = breaks[:, :NO_VISIT] - breaks[:, NO_VISIT:]
    room = problem.room_steps - steps_used(problem, held)
    may = problem.may[:, :NO_VISIT] & (held == NO_VISIT)[:, None]
    may &= ((saves < 0) | (mends < 0)) & (problem.hour_steps <= room)
    row, outage = np.nonzero(may)
    size = row.size
    shared, there = [], []
    for j in np.flatnonzero(np.isfinite(room)):
        takes = np.where(outage == j, problem.hour_steps[row, outage], 0)
        # In the largest unit that all visits are whole numbers of: small numbers are exact and make bounds tight.
        unit = max(int(np.gcd.reduce(takes)), 1)
        shared.append(coo_array((takes // unit).astype(np.float64)[None, :]))
        there.append(np.array([np.floor(room[j] / unit)]))
    if problem.visits_at_most is not None:
        shared.append(coo_array(np.ones((1, size))))
        there.append(np.array([float(problem.visits_at_most - np.count_nonzero(held >= 0))]))
    return _Free(
        row=row, outage=outage, saves=saves[row, outage], mends=mends[row, outage],
        line=np.unique(row, return_inverse=True)[1],
        shared=vstack(shared or [coo_array((0, size))], format="csr"),
        room=np.concatenate(there or [np.empty(0)]),
    )  # fmt: skip


def _at_least(problem: Problem) -> tuple[float, int]:
    """Return what the sum and the lines above the cap cannot fall below: every line's own best choice."""
    may = problem.may
    cost = np.where(may, problem.cost, np.inf)
    breaks = np.where(may, problem.breaks, True)
    return float(np.sum(np.min(cost, axis=1))), int(np.count_nonzero(np.all(breaks, axis=1)))


def _laid(held: IntArray, free: _Free, taken: BoolArray | None) -> IntArray | None:
    if taken is None:
        return None
    chosen = held.copy()
    chosen[free.row[taken]] = free.outage[taken]
    return chosen


def _better(problem: Problem, one: IntArray, other: IntArray | None) -> IntArray:
    """Return the plan with fewer lines above the cap, then with the smaller sum; the other is improved first."""
    if other is None:
        return one
    other = improved(problem, other)
    first, second = parts_of(problem, one), parts_of(problem, other)
    if (second.over_cap, second.objective) < (first.over_cap, first.objective):
        return other
    return one
