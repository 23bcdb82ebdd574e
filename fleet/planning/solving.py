"""The plan: fewest lines above the cap, then least expected time over with what the visits cost.

Two mixed-integer programmes one after the other (HiGHS through scipy), or where visits are many a part of them at a
time, beside a plain search that always has a plan in hand: whichever is better counts, so that a time limit costs
certainty, never the plan.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic
from typing import Final

import numpy as np

from fleet.planning.apart import visits_apart
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
from fleet.planning.programme import Visits, relaxed, solved, whole_above
from fleet.planning.rounds import by_parts
from fleet.planning.search import improved
from fleet.values import BoolArray, FloatArray, IntArray

WHOLE: Final = 1_000
"""So many visits are given to the solver all at once, which can then prove the best."""
_FIRST_STAGE: Final = 0.5
"""Share of the time that the fewest lines above the cap may take of it."""
_ALL_AT_ONCE_S: Final = 5.0
"""Seconds for a linear programme of everything, where the groups' bounds do not add up."""
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
class _Found:
    """The best visits found, and what no others fall below: in lines above the cap, and in the sum with so few."""

    taken: BoolArray
    fewest: int
    bound: float
    said: str


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
    until = monotonic() + time_limit_s
    held = problem.pin_into.copy()
    idle = parts_of(problem, held)
    best = improved(problem, held)
    groups = visits_apart(problem, held, together=WHOLE)
    chosen, said = held.copy(), ""
    # Without a visit left to choose there is only one plan.
    fewest, bound = idle.over_cap, idle.objective
    sizes = [row.size for row, _ in groups]
    for at, (row, visits) in enumerate(groups):
        # What a small group leaves of its time is for the larger ones after it.
        limit = max(until - monotonic(), 0.0) * sizes[at] / sum(sizes[at:])
        found = _least(visits, best[row] == visits.outage, gap=gap, time_limit_s=limit)
        chosen[row[found.taken]] = visits.outage[found.taken]
        fewest += found.fewest - visits.above
        bound += found.bound - visits.of_none
        said = found.said or said
    best = _better(problem, best, improved(problem, chosen))
    parts = parts_of(problem, best)
    if len(groups) > 1 and parts.over_cap > fewest:
        # A group may have one line more above the cap where another could have one less: ask for all at once.
        ((_, visits),) = visits_apart(problem, held, together=sum(sizes))
        most = parts.over_cap - (idle.over_cap - visits.above)
        bound = relaxed(visits, most, time_limit_s=_ALL_AT_ONCE_S).bound
    if np.any(steps_used(problem, best) > problem.room_steps):
        raise PlanError("the solver filled an outage beyond its crew hours; round the visits' hours and solve again")
    return Plan(
        chosen=best,
        parts=parts,
        no_visits=idle,
        over_cap_bound=min(fewest, parts.over_cap),
        bound=min(bound, parts.objective),
        hours_used=np.asarray(steps_used(problem, best) * HOURS_STEP, dtype=np.float64),
        solver_said=said,
    )


def _least(visits: Visits, start: BoolArray, *, gap: float, time_limit_s: float) -> _Found:
    """Choose the fewest lines above the cap, then the least sum; many visits part by part."""
    began = monotonic()

    def left() -> float:
        return max(time_limit_s - (monotonic() - began), 0.0)

    few = relaxed(visits, None, time_limit_s=left())
    fewest = whole_above(few.bound)
    nobody = np.full(visits.lines, NO_VISIT)
    if visits.line.size > WHOLE:
        best, guide, said = by_parts(visits, start, few, fewest, gap=gap, time_limit_s=left())
        above, total = visits.value(best)
    else:
        best, said = start, ""
        if visits.value(start)[0] > fewest:
            every = np.ones(visits.line.size, dtype=np.bool_)
            got = solved(visits, every, nobody, most_above=None, gap=0.0, time_limit_s=_FIRST_STAGE * left())
            fewest, said = whole_above(max(few.bound, got.bound)), got.said
            if got.taken is not None and visits.value(got.taken) < visits.value(start):
                best = got.taken
        above, total = visits.value(best)
        guide = relaxed(visits, above, time_limit_s=left())
    if total - guide.bound <= max(gap * total, _SAME):
        return _Found(best, fewest, guide.bound, said)
    # What could be part of a better plan: at these prices no other choice makes up for what it is worse by.
    matters = guide.over <= total - guide.bound + _SAME * max(abs(total), 1.0)
    bound = guide.bound
    if np.count_nonzero(matters) <= WHOLE:
        got = solved(visits, matters, nobody, most_above=above, gap=gap, time_limit_s=left())
        bound, said = max(bound, min(got.bound, total)), got.said
        if got.taken is not None and visits.value(got.taken) < visits.value(best):
            best = got.taken
    return _Found(best, fewest, bound, said)


def _better(problem: Problem, one: IntArray, other: IntArray) -> IntArray:
    """Return the plan with fewer lines above the cap, then with the smaller sum."""
    first, second = parts_of(problem, one), parts_of(problem, other)
    if (second.over_cap, second.objective) < (first.over_cap, first.objective):
        return other
    return one
