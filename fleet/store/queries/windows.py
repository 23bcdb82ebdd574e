"""Every outage on record, whatever became of it."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from fleet.store.planning import Outage
from fleet.store.plant import Line, Site
from fleet.store.queries.reading import Record, Rows, fetched


def all_outages(record: Record) -> Rows:
    """Return every outage in time order: codes of site and line, the site it is at and that site's zone, its state."""
    line_site = aliased(Site)
    return fetched(
        record,
        select(
            Outage.id,
            Outage.code,
            Outage.site_id,
            Outage.line_id,
            Outage.kind,
            Site.code.label("site"),
            Line.code.label("line"),
            Outage.starts_at,
            Outage.ends_at,
            Outage.crew_hours,
            Outage.crews,
            Outage.state,
            func.coalesce(Outage.site_id, Line.site_id).label("at_site_id"),
            func.coalesce(Site.code, line_site.code).label("at_site"),
            func.coalesce(Site.time_zone, line_site.time_zone).label("time_zone"),
        )
        .outerjoin(Site, Site.id == Outage.site_id)
        .outerjoin(Line, Line.id == Outage.line_id)
        .outerjoin(line_site, line_site.id == Line.site_id)
        .order_by(Outage.starts_at, Outage.code),
    )


def line_figures(record: Record) -> Rows:
    """Return what a visit to every line takes and what a day over counts, by code."""
    return fetched(
        record,
        select(
            Line.id,
            Line.code,
            Line.weight,
            Line.visit_hours,
            Line.visit_cost_days,
            Line.cool_down_h,
            Line.heat_up_h,
            Line.screw_pull_h,
        ).order_by(Line.code),
    )
