"""What if: one crew more, an outage moved, another limit; and what one plan has over another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fleet.planning.curves import Curves
from fleet.planning.problem import NO_VISIT, PlanError, Problem
from fleet.planning.situation import Situation
from fleet.planning.solving import Plan

Change = Literal["same", "added", "dropped", "earlier", "later", "elsewhere"]
"""What happens to a line from one plan to the other: not visited before, not visited any more, moved to an outage that
starts earlier, later, or at the same time under another code."""


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line that two plans treat differently.

    Parameters
    ----------
    line : its code
    change : what happens to it
    before, after : codes of its outages, None for no visit
    """

    line: str
    change: Change
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Difference:
    """What another plan has over the first; numbers are the other's less the first's.

    Parameters
    ----------
    lines : those treated differently, in the first plan's order
    days_over, weighted_days_over, cost_days, objective : of the sums, days
    visits, over_cap : of the counts
    hours : crew hours used, by outage code, of all outages of either plan
    proved : the difference of the sums is larger than both plans' distance to their optimum
    """

    lines: tuple[LineChange, ...]
    days_over: float
    weighted_days_over: float
    cost_days: float
    objective: float
    visits: int
    over_cap: int
    hours: dict[str, float]
    proved: bool


def with_crew_more(situation: Situation, outage: int, *, crews: float = 1.0) -> Situation:
    """Put more crews into one outage: as many more crew hours, and every visit there is done sooner.

    Parameters
    ----------
    situation : as it is
    outage : index of the outage
    crews : how many more (fewer: negative)

    Returns
    -------
    the situation as it would be

    Raises
    ------
    PlanError
        No crew would be left.
    """
    have = situation.outages.crews[outage]
    have = 1.0 if not np.isfinite(have) else float(have)
    then = have + crews
    if then <= 0.0:
        raise PlanError(f"outage {situation.outages.codes[outage]} would have {then:g} crews; keep one")
    hours = situation.outages.crew_hours.copy()
    # One crew's hours are those of all crews shared out; an outage without any crew has none to go by.
    hours[outage] = hours[outage] * then / have if have > 0.0 else hours[outage]
    number = situation.outages.crews.copy()
    number[outage] = then
    return replace(situation, outages=replace(situation.outages, crew_hours=hours, crews=number))


def with_crew_hours(situation: Situation, outage: int, *, crew_hours: float) -> Situation:
    """Give one outage so many crew hours.

    Parameters
    ----------
    situation : as it is
    outage : index of the outage
    crew_hours : how many it then has

    Returns
    -------
    the situation as it would be
    """
    hours = situation.outages.crew_hours.copy()
    hours[outage] = crew_hours
    return replace(situation, outages=replace(situation.outages, crew_hours=hours))


def with_outage_moved(situation: Situation, outage: int, *, by_days: float) -> Situation:
    """Begin and end one outage so many days later (earlier: negative); the plan's end stays, so that sums compare.

    Parameters
    ----------
    situation : as it is
    outage : index of the outage
    by_days : how far

    Returns
    -------
    the situation as it would be
    """
    start, end = situation.outages.start_day.copy(), situation.outages.end_day.copy()
    start[outage] += by_days
    end[outage] += by_days
    return replace(situation, outages=replace(situation.outages, start_day=start, end_day=end))


def with_curves(situation: Situation, curves: Curves) -> Situation:
    """Go by another forecast, such as one asked with another limit.

    Parameters
    ----------
    situation : as it is
    curves : of the same lines

    Returns
    -------
    the situation as it would be
    """
    return replace(situation, curves=curves)


def with_cap(situation: Situation, cap: float) -> Situation:
    """Ask for another cap on the chance before a visit."""
    return replace(situation, cap=cap)


def compare(first_problem: Problem, first: Plan, other_problem: Problem, other: Plan) -> Difference:
    """Tell what another plan has over the first: line by line, and in sums.

    Parameters
    ----------
    first_problem, first : a plan and what it was chosen from
    other_problem, other : another of the same lines; outages are matched by their codes

    Returns
    -------
    the difference, other less first

    Raises
    ------
    PlanError
        The plans are of different lines.
    """
    if first_problem.lines != other_problem.lines:
        only = sorted(set(first_problem.lines) ^ set(other_problem.lines))
        named = f" ({', '.join(only[:5])})" if only else ""
        raise PlanError(f"two plans of different lines{named} do not compare; plan both for the same ones")
    changed = []
    for line, was, now in zip(first_problem.lines, first.chosen.tolist(), other.chosen.tolist(), strict=True):
        before = None if was == NO_VISIT else first_problem.outages[was]
        after = None if now == NO_VISIT else other_problem.outages[now]
        starts = first_problem.start_day[was] if before else np.nan, other_problem.start_day[now] if after else np.nan
        change = _change(before, after, float(starts[0]), float(starts[1]))
        if change != "same":
            changed.append(LineChange(line, change, before, after))
    codes = list(dict.fromkeys([*first_problem.outages, *other_problem.outages]))
    used = dict(zip(first_problem.outages, first.hours_used.tolist(), strict=True))
    then = dict(zip(other_problem.outages, other.hours_used.tolist(), strict=True))
    a, b = first.parts, other.parts
    slack = max(a.objective - first.bound, b.objective - other.bound)
    return Difference(
        lines=tuple(changed),
        days_over=b.days_over - a.days_over,
        weighted_days_over=b.weighted_days_over - a.weighted_days_over,
        cost_days=b.cost_days - a.cost_days,
        objective=b.objective - a.objective,
        visits=b.visits - a.visits,
        over_cap=b.over_cap - a.over_cap,
        hours={code: then.get(code, 0.0) - used.get(code, 0.0) for code in codes},
        proved=abs(b.objective - a.objective) > slack,
    )


def _change(before: str | None, after: str | None, started: float, starts: float) -> Change:
    if before is None or after is None:
        if before == after:
            return "same"
        return "added" if before is None else "dropped"
    if starts != started:
        return "earlier" if starts < started else "later"
    return "same" if before == after else "elsewhere"
