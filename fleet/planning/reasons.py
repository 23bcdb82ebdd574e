"""Why every line is where it is in a plan: codes with figures, for others to say in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.planning.problem import CLOSED, HOURS_STEP, NO_VISIT, OPEN, Problem, steps_used
from fleet.planning.solving import Plan

Reason = Literal[
    "pinned_into", "above_cap_anyway", "late_for_lack_of_room", "keeps_cap", "saves_days",
    "no_forecast", "pinned_out", "no_outage_open", "no_room", "not_worth_it",
]  # fmt: skip
"""The first five are of lines visited, the others of lines left for later.

pinned_into: by a person. above_cap_anyway: no choice open keeps the cap, the visit saves more days than it costs.
late_for_lack_of_room: an earlier choice would have kept the cap, but hours (or visits) went elsewhere. keeps_cap:
without the visit the chance would grow above the cap. saves_days: it saves more weighted days than it costs.
no_forecast: nothing to plan by. pinned_out: a person keeps it out of all outages it could go into. no_outage_open: none
serves it in time. no_room: a visit would be worth it, but hours (or visits) went elsewhere. not_worth_it: a visit costs
more than it saves.
"""

Unkept = Literal["above_now", "above_before_first", "no_outage_open", "pinned_past_it"]
"""Why no choice keeps a line under the cap: it is above today already; it will be before the first outage open to it;
it will be by the end and no outage is open to it; or a pin leaves only choices above it."""

_SAME: Final = 1e-9


@dataclass(frozen=True, slots=True)
class LineReason:
    """Why one line is where it is; figures are NaN for a line without a forecast.

    Parameters
    ----------
    line : its index
    chosen : index of its outage, `NO_VISIT` for none
    reason : the code
    chance_before : chance of being over before the visit, or before the end
    chance_if_skipped : chance of being over before the end without a visit
    days_over : expected days over as planned
    days_if_skipped : expected days over without a visit
    saves : weighted days that the visit saves, its cost not taken off; 0 without one
    hours : crew hours of the visit, 0 without one
    rather : index of the choice the line would be better off with if there were room, None where there is none
    hours_missing : crew hours that are missing there, 0 where it is the number of visits
    closed : for every outage the reason it is not open to the line (of `CLOSED`)
    """

    line: int
    chosen: int
    reason: Reason
    chance_before: float
    chance_if_skipped: float
    days_over: float
    days_if_skipped: float
    saves: float
    hours: float
    rather: int | None
    hours_missing: float
    closed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnkeptLine:
    """A line that no choice keeps under the cap.

    Parameters
    ----------
    line : its index
    why : the code
    chance_now : chance of being over by as-of
    first_outage : index of the first outage open to it, None where there is none
    chance_at_first : chance of being over before that, or before the end
    chosen : index of the outage the plan takes it in, `NO_VISIT` for none
    """

    line: int
    why: Unkept
    chance_now: float
    first_outage: int | None
    chance_at_first: float
    chosen: int


def reasons(problem: Problem, plan: Plan) -> tuple[LineReason, ...]:
    """Tell for every line why it is where it is.

    Parameters
    ----------
    problem : what was to be chosen
    plan : what `solve` chose

    Returns
    -------
    one for each line, in their order
    """
    cost, breaks, may, beyond = problem.cost, problem.breaks, problem.may, problem.beyond_cap
    keepable, foreseen = problem.keepable, problem.foreseen
    room = problem.room_steps - steps_used(problem, plan.chosen)
    told = []
    for i, at in enumerate(plan.chosen.tolist()):
        pinned = int(problem.pin_into[i]) >= 0
        rather, missing = (None, 0.0) if pinned else _rather(problem, cost[i], breaks[i], may[i], i, at, room)
        reason: Reason
        if pinned:
            reason = "pinned_into"
        elif at != NO_VISIT:
            if not keepable[i]:
                reason = "above_cap_anyway"
            elif breaks[i, at]:
                reason = "late_for_lack_of_room"
            else:
                reason = "keeps_cap" if beyond[i, NO_VISIT] else "saves_days"
        elif not foreseen[i]:
            reason = "no_forecast"
        elif not np.any(may[i, :NO_VISIT]):
            kept_out = np.any(problem.closed[i] == CLOSED.index("pinned_out"))
            reason = "pinned_out" if kept_out else "no_outage_open"
        else:
            reason = "not_worth_it" if rather is None else "no_room"
        skipped = float(problem.days_over[i, NO_VISIT])
        days = float(problem.days_over[i, at])
        told.append(
            LineReason(
                line=i,
                chosen=at,
                reason=reason,
                chance_before=float(problem.chance_before[i, at]),
                chance_if_skipped=float(problem.chance_before[i, NO_VISIT]),
                days_over=days,
                days_if_skipped=skipped,
                saves=float(problem.weight[i]) * (skipped - days),
                hours=0.0 if at == NO_VISIT else float(problem.hours[i, at]),
                rather=rather,
                hours_missing=missing,
                closed=tuple(CLOSED[code] for code in problem.closed[i]),
            )
        )
    return tuple(told)


def _rather(
    problem: Problem, cost: np.ndarray, breaks: np.ndarray, may: np.ndarray, line: int, at: int, room: np.ndarray
) -> tuple[int | None, float]:
    """Return the choice that this line alone would be best off with, and what hours are missing there."""
    order = np.lexsort((cost, breaks, ~may))
    best = int(order[0])
    if breaks[best] == breaks[at] and cost[best] >= cost[at] - _SAME * max(1.0, abs(float(cost[at]))):
        return None, 0.0
    if best == len(problem.outages):
        return NO_VISIT, 0.0
    short = float(problem.hour_steps[line, best] - room[best]) * HOURS_STEP
    return best, max(short, 0.0)


def unkept(problem: Problem, plan: Plan) -> tuple[UnkeptLine, ...]:
    """Name the lines that no choice open to them keeps under the cap, by the plan's outages, the riskiest first.

    Parameters
    ----------
    problem : what was to be chosen
    plan : what `solve` chose

    Returns
    -------
    one for each such line
    """
    found, may = [], problem.may
    early_first = np.argsort(problem.start_day, kind="stable")
    for i in np.flatnonzero(~problem.keepable & problem.foreseen):
        ways = [int(j) for j in early_first if may[i, j]]
        first = ways[0] if ways else None
        at_first = float(problem.chance_before[i, NO_VISIT if first is None else first])
        now = float(problem.chance_now[i])
        unpinned = np.append(np.isin(problem.closed[i], (OPEN, CLOSED.index("pinned_out"))), True)
        why: Unkept
        if now > problem.cap:
            why = "above_now"
        elif np.any(unpinned & ~problem.beyond_cap[i]):
            why = "pinned_past_it"
        else:
            why = "no_outage_open" if first is None else "above_before_first"
        found.append(UnkeptLine(int(i), why, now, first, at_first, int(plan.chosen[i])))
    return tuple(sorted(found, key=lambda line: (-line.chance_at_first, line.line)))


def above_cap(problem: Problem, plan: Plan) -> tuple[int, ...]:
    """Return the lines that run above the cap before their visit though some choice open to them would have kept it."""
    return tuple(np.flatnonzero(problem.breaks[np.arange(plan.chosen.size), plan.chosen]).tolist())
