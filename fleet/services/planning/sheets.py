"""The job sheets of one stop: what every line that goes into it was left at, what to expect, what to set."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from fleet.errors import InputError, NotFoundError
from fleet.reports.job_sheet import JobSheet
from fleet.reports.plan_content import PlanContent
from fleet.services.job_sheet import job_sheet
from fleet.store.engine import Store

A_PART: Final = 20
"""So many sheets are made at once; more would keep a page waiting longer than a server lets it."""


def parts(plan: PlanContent, stop: str) -> int:
    """Return in how many parts the job sheets of a stop are taken."""
    return -(-len(plan.rows_of(stop)) // A_PART)


def job_sheets(
    store: Store, plan: PlanContent, stop: str, *, part: int | None = None, now: datetime | None = None
) -> tuple[JobSheet, ...]:
    """Return the job sheets of the lines that a plan takes into a stop, in the plan's order.

    Parameters
    ----------
    store : the record
    plan : kept, or worked out just now
    stop : code of the outage; every sheet expects what the line will be at its start
    part : from 1, of `parts`; None: all of them
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        The plan does not know the stop, or it has not so many parts.
    InputError
        No line goes into it, or the outage is not ahead any more.
    """
    if stop not in {each.code for each in plan.stops}:
        raise NotFoundError(f"There is no stop ‘{stop}’ in this plan; take the job sheets from the page that shows it.")
    lines = [row.line for row in plan.rows_of(stop)]
    if not lines:
        raise InputError(f"This plan takes no line into {stop}, so there are no job sheets for it.")
    if part is not None:
        if not 1 <= part <= parts(plan, stop):
            raise NotFoundError(f"The job sheets of {stop} have no part {part}; there are {parts(plan, stop)}.")
        lines = lines[(part - 1) * A_PART : part * A_PART]
    return tuple(job_sheet(store, line, outage=stop, now=now) for line in lines)
