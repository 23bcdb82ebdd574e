"""The job sheets of one stop: what every line that goes into it was left at, what to expect, what to set."""

from __future__ import annotations

from datetime import datetime

from fleet.errors import InputError, NotFoundError
from fleet.reports.job_sheet import JobSheet
from fleet.reports.plan_content import PlanContent
from fleet.services.job_sheet import job_sheet
from fleet.store.engine import Store


def job_sheets(store: Store, plan: PlanContent, stop: str, *, now: datetime | None = None) -> tuple[JobSheet, ...]:
    """Return the job sheets of the lines that a plan takes into a stop, in the plan's order.

    Parameters
    ----------
    store : the record
    plan : kept, or worked out just now
    stop : code of the outage; every sheet expects what the line will be at its start
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        The plan does not know the stop.
    InputError
        No line goes into it, or the outage is not ahead any more.
    """
    if stop not in {each.code for each in plan.stops}:
        raise NotFoundError(f"There is no stop ‘{stop}’ in this plan; take the job sheets from the page that shows it.")
    lines = [row.line for row in plan.rows_of(stop)]
    if not lines:
        raise InputError(f"This plan takes no line into {stop}, so there are no job sheets for it.")
    return tuple(job_sheet(store, line, outage=stop, now=now) for line in lines)
