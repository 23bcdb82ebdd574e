"""Two plans side by side: what the other has over the first, line by line and in sums."""

from __future__ import annotations

from fleet.planning import Difference, Parts, Side, compare
from fleet.reports.plan_content import PlanContent
from fleet.services.site_time import epoch_days


def side_of_content(plan: PlanContent) -> Side:
    """Return a plan, kept or solved just now, as one side of a comparison; its days count from 1 January 1970, UTC.

    Parameters
    ----------
    plan : any plan
    """
    return Side(
        lines=tuple(row.line for row in plan.rows),
        outages=tuple(stop.code for stop in plan.stops),
        start_day=tuple(epoch_days(stop.starts_at) for stop in plan.stops),
        chosen=tuple(row.chosen for row in plan.rows),
        parts=Parts(
            weighted_days_over=plan.weighted_days_over,
            cost_days=plan.cost_days,
            days_over=plan.days_over,
            visits=plan.visits,
            over_cap=plan.over_cap,
        ),
        bound=plan.bound,
        hours_used=tuple(stop.hours_used for stop in plan.stops),
    )


def beside(first: PlanContent, other: PlanContent) -> Difference:
    """Tell what another plan has over the first.

    Sums compare as far as both plans count the same days: see `same_days`.

    Parameters
    ----------
    first, other : two plans, each kept or solved just now

    Raises
    ------
    PlanError
        They have no line in common.
    """
    return compare(side_of_content(first), side_of_content(other))


def same_days(first: PlanContent, other: PlanContent) -> bool:
    """Return whether two plans count the days from the same day to the same day, so that their sums compare."""
    return (first.as_of, first.end_on) == (other.as_of, other.end_on)
