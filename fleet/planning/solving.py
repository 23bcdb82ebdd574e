"""The plan: fewest lines above the cap, then least expected time over with what the visits cost.

Two mixed-integer programmes one after the other (HiGHS through scipy), or where visits are many a part of them at a
time, beside a plain search and a trade of places that always have a plan in hand: whichever is better counts, so that a
time limit costs certainty, never the plan.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic
from typing import Final

import numpy as np

from fleet.planning.apart import visits_apart
from fleet.planning.exchange import exchanged
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
_SOON: Final = 0.5
"""Share of what is left in which few visits, given whole, should come to their end."""
_PARTS: Final = 0.7
"""Share of what is left after that for a part at a time."""
_TRADES: Final = 0.15
"""Share of the time limit that trading places may take, before the solver is asked and between its stages."""
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
    best = exchanged(problem, improved(problem, held), time_limit_s=_TRADES * time_limit_s)
    groups = visits_apart(problem, held, together=WHOLE)
    chosen, said = held.copy(), ""
    # Without a visit left to choose there is only one plan.
    fewest, bound = idle.over_cap, idle.objective
    sizes = [row.size for row, _ in groups]
    for at, (row, visits) in enumerate(groups):
        # What a small group leaves of its time is for the larger ones after it.
        limit = max(until - monotonic(), 0.0) * sizes[at] / sum(sizes[at:])

        def traded(taken: BoolArray, row: IntArray = row, visits: Visits = visits, limit: float = limit) -> BoolArray:
            laid = best.copy()
            laid[row] = NO_VISIT
            laid[row[taken]] = visits.outage[taken]
            return np.asarray(exchanged(problem, laid, time_limit_s=_TRADES * limit)[row] == visits.outage)

        found = _least(visits, best[row] == visits.outage, traded, gap=gap, time_limit_s=limit)
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


def _least(
    visits: Visits, start: BoolArray, traded: Callable[[BoolArray], BoolArray], *, gap: float, time_limit_s: float
) -> _Found:
    """Choose the fewest lines above the cap, then the least sum.

    Few visits are given to the solver whole; where that does not end soon, and where visits are many, part by part, and
    then once more what could still be part of a better plan. The solver's choice of the fewest has no regard to the
    sum; trading places mends that.
    """
    began = monotonic()

    def left() -> float:
        return max(time_limit_s - (monotonic() - began), 0.0)

    few = relaxed(visits, None, time_limit_s=left())
    fewest, best, said, bound = whole_above(few.bound), start, "", -np.inf
    many = visits.line.size > WHOLE
    if not many:
        if visits.value(start)[0] > fewest:
            every, nobody = np.ones(visits.line.size, dtype=np.bool_), np.full(visits.lines, NO_VISIT)
            got = solved(visits, every, nobody, most_above=None, gap=0.0, time_limit_s=_FIRST_STAGE * left())
            fewest, said = whole_above(max(few.bound, got.bound)), got.said
            if got.taken is not None and visits.value(got.taken)[0] < visits.value(start)[0]:
                best = traded(got.taken)
        best, bound, said, ended = _proved(visits, best, gap=gap, time_limit_s=_SOON * left(), said=said)
        if ended:
            return _Found(best, fewest, bound, said)
    above = visits.value(best)[0]
    best, guide, said = by_parts(visits, best, few, fewest, gap=gap, time_limit_s=left() if many else _PARTS * left())
    # What was proved for more lines above the cap says nothing of fewer.
    bound = max(guide.bound, bound) if visits.value(best)[0] == above else guide.bound
    last, proved, said, _ = _proved(visits, best, gap=gap, time_limit_s=left(), said=said)
    bound = max(bound, proved) if visits.value(last)[0] == visits.value(best)[0] else proved
    return _Found(last, fewest, min(bound, visits.value(last)[1]), said)


def _proved(
    visits: Visits, best: BoolArray, *, gap: float, time_limit_s: float, said: str
) -> tuple[BoolArray, float, str, bool]:
    """Ask the solver for all that could be part of a better choice; return the better one, its bound, if it ended."""
    began = monotonic()
    above, total = visits.value(best)
    guide = relaxed(visits, above, time_limit_s=time_limit_s)
    if total - guide.bound <= max(gap * total, _SAME):
        return best, guide.bound, said, True
    # At these prices no other choice makes up for what it is worse by.
    matters = guide.over <= total - guide.bound + _SAME * max(abs(total), 1.0)
    if np.count_nonzero(matters) > WHOLE:
        return best, guide.bound, said, False
    nobody = np.full(visits.lines, NO_VISIT)
    limit = max(time_limit_s - (monotonic() - began), 0.0)
    got = solved(visits, matters, nobody, most_above=above, gap=gap, time_limit_s=limit)
    if got.taken is not None and visits.value(got.taken) < visits.value(best):
        best = got.taken
    return best, max(guide.bound, min(got.bound, total)), got.said, got.ended


def _better(problem: Problem, one: IntArray, other: IntArray) -> IntArray:
    """Return the plan with fewer lines above the cap, then with the smaller sum."""
    first, second = parts_of(problem, one), parts_of(problem, other)
    if (second.over_cap, second.objective) < (first.over_cap, first.objective):
        return other
    return one
