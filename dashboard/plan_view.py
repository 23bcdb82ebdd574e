"""The plan an address of Outages shows: a kept one as it was, else the one worked out for what is asked."""

from __future__ import annotations

from dashboard.address import Address
from dashboard.pages.outages_address import read
from dashboard.plan_sources import PlanSources
from fleet.errors import NotFoundError
from fleet.reports.plan_content import PlanContent


def plan_of(sources: PlanSources, address: Address) -> PlanContent:
    """Return the plan of a view, for papers, tables and calendars.

    Raises
    ------
    NotFoundError
        The address is not one of Outages, or there is no kept plan of the code it names.
    FleetError
        The plan cannot be worked out; the message says why.
    """
    if address.page != "outages":
        raise NotFoundError("a plan is shown on the Outages page only; take it from there")
    shown, _ = read(address)
    return sources.kept(shown.plan) if shown.plan else sources.content(shown.asked)


def plan_name(plan: PlanContent) -> str:
    """Return what files of a plan are called: 'plan-ORR-2026-11-25', 'plan-P-3'."""
    if plan.kept is not None:
        return f"plan-{plan.kept.code}"
    return "-".join(filter(None, ("plan", plan.site, plan.as_of.isoformat())))
