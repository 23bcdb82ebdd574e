"""What if: one crew more, an outage moved, another limit; and what one plan has over another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fleet.planning.curves import Curves
from fleet.planning.problem import NO_VISIT, Parts, PlanError, Problem
from fleet.planning.situation import Situation
from fleet.planning.solving import Plan

Change = Literal["same", "added", "dropped", "earlier", "later", "elsewhere"]
"""What happens to a line from one plan to the other: not visited before, not visited any more, moved to an outage that
starts earlier, later, or at the same time under another code."""


@dataclass(frozen=True, slots=True)
class Side:
    """A plan as far as another one is compared with it: solved just now, or kept some time ago.

    Parameters
    ----------
    lines : codes of all its lines
    outages : codes of those considered
    start_day : when each of these starts, days from a day that both sides share
    chosen : outage of every line, None for no visit
    parts : what it amounts to
    bound : least sum possible as far as is proved, weighted days
    hours_used : crew hours taken of every outage
    """

    lines: tuple[str, ...]
    outages: tuple[str, ...]
    start_day: tuple[float, ...]
    chosen: tuple[str | None, ...]
    parts: Parts
    bound: float
    hours_used: tuple[float, ...]


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
    lines : those of both plans that are treated differently, in the first plan's order
    days_over, weighted_days_over, cost_days, objective : of the sums, days
    visits, over_cap : of the counts
    hours : crew hours used, by outage code, of all outages of either plan
    proved : the difference of the sums is larger than both plans' distance to their optimum
    only_first, only_other : lines that only one of the plans has; the sums count them there
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
    only_first: tuple[str, ...] = ()
    only_other: tuple[str, ...] = ()


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


def side_of(problem: Problem, plan: Plan) -> Side:
    """Return a plan just solved as one side of a comparison; its days count from the problem's as-of.

    Parameters
    ----------
    problem, plan : a plan and what it was chosen from

    Returns
    -------
    the side
    """
    return Side(
        lines=problem.lines,
        outages=problem.outages,
        start_day=tuple(problem.start_day.tolist()),
        chosen=tuple(None if j == NO_VISIT else problem.outages[j] for j in plan.chosen.tolist()),
        parts=plan.parts,
        bound=plan.bound,
        hours_used=tuple(plan.hours_used.tolist()),
    )


def compare(first: Side, other: Side) -> Difference:
    """Tell what another plan has over the first: line by line, and in sums.

    Parameters
    ----------
    first, other : two plans; lines and outages are matched by their codes

    Returns
    -------
    the difference, other less first; lines that only one of them has are named

    Raises
    ------
    PlanError
        The plans have no line in common.
    """
    if first.lines and other.lines and not set(first.lines) & set(other.lines):
        raise PlanError(
            f"two plans without a line in common (one of {first.lines[0]}, the other of {other.lines[0]}) do not "
            "compare; take two of the same lines"
        )
    was, now = dict(zip(first.lines, first.chosen, strict=True)), dict(zip(other.lines, other.chosen, strict=True))
    started = dict(zip(first.outages, first.start_day, strict=True))
    starts = dict(zip(other.outages, other.start_day, strict=True))
    changed = []
    for line in first.lines:
        if line not in now:
            continue
        before, after = was[line], now[line]
        change = _change(before, after, started.get(before or "", np.nan), starts.get(after or "", np.nan))
        if change != "same":
            changed.append(LineChange(line, change, before, after))
    codes = list(dict.fromkeys([*first.outages, *other.outages]))
    used = dict(zip(first.outages, first.hours_used, strict=True))
    then = dict(zip(other.outages, other.hours_used, strict=True))
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
        only_first=tuple(line for line in first.lines if line not in now),
        only_other=tuple(line for line in other.lines if line not in was),
    )


def _change(before: str | None, after: str | None, started: float, starts: float) -> Change:
    if before is None or after is None:
        if before == after:
            return "same"
        return "added" if before is None else "dropped"
    if starts != started:
        return "earlier" if starts < started else "later"
    return "same" if before == after else "elsewhere"
