"""Kept plans, and what the plan in view has over another, as tables."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from dashboard.address import Address
from dashboard.pages.outages_address import read
from dashboard.pages.outages_kept import STATES, compared
from dashboard.sources import Sources
from dashboard.tables.table import Maker, about
from fleet.errors import NotFoundError
from fleet.reports.table_file import Column, Table
from fleet.services.planning.beside import BesideRow
from fleet.services.planning.keeping import KeptLine

_OVER: Final = "of being over before the visit, before the plan's end without one"
_KEPT: Final = (
    Column("plan"),
    Column("state", says="saved, or signed off"),
    Column("site", says="empty: all sites"),
    Column("as_of", kind="day", says="first day that counts"),
    Column("saved_at", kind="moment"),
    Column("saved_by", says="as typed, not verified"),
    Column("signed_at", kind="moment"),
    Column("signed_by", says="as typed, not verified"),
    Column("visits", kind="number"),
    Column("days_over", kind="number", says="expected, of all its lines"),
    Column("first_stop_on", kind="day", says="of those a line goes into"),
    Column("note"),
)
_BESIDE: Final = (
    Column("line"),
    Column("change", says="added, dropped, earlier, later, or elsewhere: in another stop at the same time"),
    Column("before", says="outage in the other plan, empty for no visit"),
    Column("before_on", kind="day", says="it starts, at its site"),
    Column("after", says="outage in the plan in view, empty for no visit"),
    Column("after_on", kind="day", says="it starts, at its site"),
    Column("chance_before", "1", "number", f"in the other plan: {_OVER}"),
    Column("chance_after", "1", "number", f"in the plan in view: {_OVER}"),
    Column("days_over_before", kind="number", says="expected, in the other plan"),
    Column("days_over_after", kind="number", says="expected, in the plan in view"),
)


def kept_plans(sources: Sources, address: Address) -> Table:
    """Return every kept plan that the page lists, newest first.

    Raises
    ------
    NotFoundError
        The view is another page, or of a plan that is not kept.
    """
    if address.page != "outages":
        raise NotFoundError("Kept plans belong to the outages page; take them from there.")
    asked, _ = read(address)
    site = asked.asked.site if asked.plan is None else sources.plans.kept(asked.plan).site
    today = datetime.now(UTC).date()
    return Table(
        title="Kept plans",
        columns=_KEPT,
        rows=tuple(map(_kept, sources.plans.kept_plans(site))),
        about=about(address, today, ("plans", f"site {site} and of all sites" if site else "every plan")),
        dates=(today,),
    )


def beside(sources: Sources, address: Address) -> Table:
    """Return the lines that the plan in view treats otherwise than the one it is compared with.

    Raises
    ------
    NotFoundError
        The address compares nothing.
    """
    asked, _ = read(address)
    plan = sources.plans.content(asked.asked) if asked.plan is None else sources.plans.kept(asked.plan)
    told = None if asked.beside is None else compared(sources.plans, plan, asked.beside)
    if told is None:
        raise NotFoundError("This view compares no plan with another; choose Compare in the list of kept plans.")
    return Table(
        title=f"{told.other} beside {told.first}",
        columns=_BESIDE,
        rows=tuple(map(_beside, told.rows)),
        about=about(address, plan.as_of, ("difference", told.said), *(("apart", said) for said in told.apart)),
        dates=(plan.as_of,),
    )


def _kept(line: KeptLine) -> tuple[object, ...]:
    first = None if line.first_start is None else line.first_start.date()
    return (
        line.code, STATES[line.state], line.site, line.as_of, line.made_at, line.made_by, line.signed_at,
        line.signed_by, line.visits, line.days_over, first, line.note,
    )  # fmt: skip


def _beside(row: BesideRow) -> tuple[object, ...]:
    return (
        row.line, row.change, row.before, row.before_on, row.after, row.after_on, row.chance_before, row.chance_after,
        row.days_before, row.days_after,
    )  # fmt: skip


TABLES: Final[dict[str, Maker]] = {"kept-plans": kept_plans, "plan-beside": beside}
