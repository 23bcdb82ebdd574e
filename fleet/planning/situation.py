"""What the planner knows on the day: lines, outages, what the forecast says; and which outages are open to whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.planning.curves import Curves, expectations
from fleet.planning.problem import CLOSED, HOURS_STEP, NO_VISIT, OPEN, PlanError, Problem
from fleet.values import BoolArray, FloatArray, IntArray

ANY: Final = -1
"""In place of the index of a site or line: an outage that serves any."""


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines that are planned for; every array has shape (n,).

    Parameters
    ----------
    codes : of the lines
    site : index of each line's site
    weight : what a day over counts
    visit_hours : crew hours of a visit
    visit_cost_days : what a visit costs, in weighted days over
    cool_down_h, screw_pull_h, heat_up_h : before and after a visit; NaN where nothing is recorded counts 0
    """

    codes: tuple[str, ...]
    site: IntArray
    weight: FloatArray
    visit_hours: FloatArray
    visit_cost_days: FloatArray
    cool_down_h: FloatArray
    screw_pull_h: FloatArray
    heat_up_h: FloatArray


@dataclass(frozen=True, slots=True)
class Outages:
    """The outages that are considered; every array has shape (J,).

    Parameters
    ----------
    codes : of the outages
    site, line : index of the site or the one line that each serves, `ANY` where it says none
    start_day, end_day : days from as-of to start and end, the end NaN where none is recorded
    crew_hours : crew hours together, NaN where none are recorded: not limited
    crews : crews at work, NaN where none are recorded: one
    planned : its state is planned
    screw_out : its kind has the screw out anyway
    """

    codes: tuple[str, ...]
    site: IntArray
    line: IntArray
    start_day: FloatArray
    end_day: FloatArray
    crew_hours: FloatArray
    crews: FloatArray
    planned: BoolArray
    screw_out: BoolArray


@dataclass(frozen=True, slots=True)
class Situation:
    """Everything a plan is made from.

    Parameters
    ----------
    lines, outages : as recorded
    curves : what the forecast says of every line
    end_day : days from as-of to the plan's end, of `plan_end_day`
    pin_into : index of the outage a line is pinned into, `NO_VISIT` for none, shape (n,)
    pin_out : outages a line is kept out of, shape (n, J)
    cap : highest chance before its visit that a line may run
    visits_at_most : of the whole plan; None: as many as the hours allow
    """

    lines: Lines
    outages: Outages
    curves: Curves
    end_day: float
    pin_into: IntArray
    pin_out: BoolArray
    cap: float = 0.2
    visits_at_most: int | None = None


def no_pins(n_lines: int, n_outages: int) -> tuple[IntArray, BoolArray]:
    """Return `pin_into` and `pin_out` of lines that are free to go anywhere."""
    return np.full(n_lines, NO_VISIT, dtype=np.int64), np.zeros((n_lines, n_outages), dtype=np.bool_)


def window_hours(lines: Lines, outages: Outages) -> FloatArray:
    """Return the hours from the heats off to the line ready again, for a visit in each outage.

    Cool-down, screw pull (not where the screw is out anyway), the visit by all crews at once, heat-up.

    Parameters
    ----------
    lines, outages : n and J of them

    Returns
    -------
    hours, shape (n, J)
    """
    crews = np.maximum(np.where(np.isfinite(outages.crews), outages.crews, 1.0), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        work = np.where(lines.visit_hours[:, None] > 0.0, lines.visit_hours[:, None] / crews, 0.0)
    pull = np.nan_to_num(lines.screw_pull_h)[:, None] * ~outages.screw_out
    around = np.nan_to_num(lines.cool_down_h) + np.nan_to_num(lines.heat_up_h)
    return np.asarray(around[:, None] + pull + work, dtype=np.float64)


def why_closed(lines: Lines, outages: Outages, *, end_day: float, pin_out: BoolArray) -> IntArray:
    """Tell for every line and outage whether it is open, or the first reason why not.

    Parameters
    ----------
    lines, outages : n and J of them
    end_day : days from as-of to the plan's end
    pin_out : outages a line is kept out of, shape (n, J)

    Returns
    -------
    indices into `CLOSED`, shape (n, J)
    """
    n, j = len(lines.codes), len(outages.codes)
    serves = (outages.line == np.arange(n)[:, None]) | ((outages.line == ANY) & (outages.site == lines.site[:, None]))
    serves |= (outages.line == ANY) & (outages.site == ANY)
    open_h = (outages.end_day - outages.start_day) * 24.0
    short = np.isfinite(open_h) & (window_hours(lines, outages) > open_h + HOURS_STEP / 2.0)
    crew = np.where(np.isfinite(outages.crew_hours), outages.crew_hours, np.inf)
    few = lines.visit_hours[:, None] > crew + HOURS_STEP / 2.0
    rules = [
        np.broadcast_to(~outages.planned, (n, j)),
        np.broadcast_to(outages.start_day <= 0.0, (n, j)),
        np.broadcast_to(outages.start_day >= end_day, (n, j)),
        ~serves, short, few, pin_out,
    ]  # fmt: skip
    return np.select(rules, list(range(1, len(CLOSED))), default=OPEN).astype(np.int64)


def problem_of(situation: Situation) -> Problem:
    """Bring lines, outages and curves together into the tables that a plan is chosen from.

    Parameters
    ----------
    situation : what is known on the day

    Returns
    -------
    the problem

    Raises
    ------
    PlanError
        An outage's end lies before its start, crew hours or crews are negative, curves do not reach the end, or shapes
        do not fit.
    """
    lines, outages = situation.lines, situation.outages
    n, j = len(lines.codes), len(outages.codes)
    backwards = np.flatnonzero(outages.end_day < outages.start_day)
    if backwards.size:
        raise PlanError(f"outage {outages.codes[backwards[0]]} ends before it starts; correct one of the two")
    for name, table in (("crew hours", outages.crew_hours), ("crews", outages.crews)):
        below = np.flatnonzero(table < 0.0)
        if below.size:
            raise PlanError(
                f"outage {outages.codes[below[0]]} has {table[below[0]]:g} {name}; give a number of 0 or more"
            )
    if situation.curves.chance.shape[0] != n:
        raise PlanError(f"the forecast speaks of {situation.curves.chance.shape[0]} lines, the plan of {n}")
    expected = expectations(situation.curves, start_day=outages.start_day, end_day=situation.end_day)
    return Problem(
        lines=lines.codes,
        outages=outages.codes,
        days_over=expected.days_over,
        chance_before=expected.chance_before,
        chance_now=expected.chance_now,
        hours=np.broadcast_to(lines.visit_hours[:, None], (n, j)).copy(),
        crew_hours=np.where(np.isfinite(outages.crew_hours), outages.crew_hours, np.inf),
        closed=why_closed(lines, outages, end_day=situation.end_day, pin_out=situation.pin_out),
        weight=lines.weight,
        visit_cost_days=lines.visit_cost_days,
        pin_into=situation.pin_into,
        start_day=outages.start_day,
        cap=situation.cap,
        visits_at_most=situation.visits_at_most,
    )
