"""Plans that were kept: their list, and one of them as it was."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from fleet.store.plan_tables import KeptPlan, PlanChoice, PlanItem, PlanStop
from fleet.store.planning import Outage
from fleet.store.plant import Line, Site
from fleet.store.queries.reading import Record, Rows, fetched


def kept_plans(record: Record, site: str | None = None) -> Rows:
    """Return every kept plan (those of a site and of all sites), newest first, with visits and its first stop's start.

    The first stop is the first one that the plan takes a line into.
    """
    visits = (
        select(PlanItem.plan_id, func.count().label("visits"), func.min(PlanStop.starts_at).label("first_start"))
        .join(PlanStop, (PlanStop.plan_id == PlanItem.plan_id) & (PlanStop.outage_id == PlanItem.outage_id))
        .group_by(PlanItem.plan_id)
        .subquery()
    )
    statement = (
        select(
            KeptPlan.code,
            KeptPlan.state,
            Site.code.label("site"),
            Site.time_zone,
            KeptPlan.as_of,
            KeptPlan.made_by,
            KeptPlan.made_at,
            KeptPlan.signed_by,
            KeptPlan.signed_at,
            KeptPlan.note,
            KeptPlan.data_version,
            KeptPlan.days_over,
            KeptPlan.version,
            func.coalesce(visits.c.visits, 0).label("visits"),
            visits.c.first_start,
        )
        .outerjoin(Site, Site.id == KeptPlan.site_id)
        .outerjoin(visits, visits.c.plan_id == KeptPlan.id)
        .order_by(KeptPlan.made_at.desc(), KeptPlan.id.desc())
    )
    if site is not None:
        statement = statement.where((Site.code == site) | KeptPlan.site_id.is_(None))
    return fetched(record, statement)


def kept_plan(record: Record, code: str) -> Any | None:
    """Return the head of a kept plan by its code, None where there is none."""
    return record.execute(
        select(KeptPlan, Site.code.label("site"), Site.name.label("site_name"), Site.time_zone)
        .outerjoin(Site, Site.id == KeptPlan.site_id)
        .where(KeptPlan.code == code)
    ).first()


def plan_stops(record: Record, plan_id: int) -> Rows:
    """Return the outages of a kept plan as they were then, in order, with the zone of the site they are at."""
    own, line_site = aliased(Site), aliased(Site)
    return fetched(
        record,
        select(
            PlanStop,
            Outage.code.label("outage"),
            own.code.label("site"),
            Line.code.label("line"),
            func.coalesce(own.time_zone, line_site.time_zone).label("time_zone"),
        )
        .join(Outage, Outage.id == PlanStop.outage_id)
        .outerjoin(own, own.id == PlanStop.site_id)
        .outerjoin(Line, Line.id == PlanStop.line_id)
        .outerjoin(line_site, line_site.id == Line.site_id)
        .where(PlanStop.plan_id == plan_id)
        .order_by(PlanStop.position),
    )


def plan_items(record: Record, plan_id: int) -> Rows:
    """Return the lines of a kept plan in its order, the outages they go into or would rather go into as codes."""
    into, rather = aliased(Outage), aliased(Outage)
    return fetched(
        record,
        select(
            PlanItem,
            Line.code.label("line"),
            Line.description,
            Site.code.label("site"),
            Site.time_zone,
            into.code.label("outage"),
            rather.code.label("rather"),
        )
        .join(Line, Line.id == PlanItem.line_id)
        .outerjoin(Site, Site.id == PlanItem.site_id)
        .outerjoin(into, into.id == PlanItem.outage_id)
        .outerjoin(rather, rather.id == PlanItem.rather_id)
        .where(PlanItem.plan_id == plan_id)
        .order_by(PlanItem.position),
    )


def sites_with_lines(record: Record) -> Rows:
    """Return the sites that have lines, with their names and zones, by code; a row of none for lines without a site."""
    return fetched(
        record,
        select(Site.code, Site.name, Site.time_zone)
        .select_from(Line)
        .outerjoin(Site, Site.id == Line.site_id)
        .distinct()
        .order_by(Site.code),
    )


def plan_choices(record: Record, plan_id: int) -> Rows:
    """Return what a kept plan says of every line and outage, lines and then outages in its order."""
    return fetched(
        record,
        select(
            PlanItem.position.label("item"),
            PlanStop.position.label("stop"),
            PlanChoice.chance_before,
            PlanChoice.closed,
            PlanChoice.window_h,
            PlanChoice.kept_out,
        )
        .join(PlanItem, PlanItem.id == PlanChoice.plan_item_id)
        .join(PlanStop, PlanStop.id == PlanChoice.plan_stop_id)
        .where(PlanItem.plan_id == plan_id)
        .order_by(PlanItem.position, PlanStop.position),
    )
