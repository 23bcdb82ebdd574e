"""The tables of a plan as plain texts, one form for the paper and the terminal."""

from __future__ import annotations

from typing import Final

from fleet.reports import plan_words as say
from fleet.reports.plan_content import PlanContent, Stop
from fleet.reports.plan_figures import rounded
from fleet.reports.session_tables import Table
from fleet.reports.sheet_words import sentence
from fleet.words import chance, day

STOP_COLUMNS: Final = ("Line", "Status", "Crew h", "Window", "Over before", "If skipped", "Why", "Needs")
NONE: Final = "–"


def stop_title(stop: Stop) -> str:
    """Return 'ORR-2026-12-19, 19–30 Dec 2026'."""
    return f"{stop.code}, {say.stop_dates(stop)}"


def stop_note(stop: Stop) -> str:
    """Return what kind it is, whom it serves and what the plan takes of it: 'Full stop, 288 h; 56 of 96 crew h.'"""
    return sentence(f"{say.stop_kind(stop)}; serves {say.serves(stop)}; {say.stop_room(stop)}")


def stop_table(plan: PlanContent, stop: Stop) -> Table:
    """Return the lines that go into a stop, the likeliest to be over first."""
    at = plan.stops.index(stop)
    rows = tuple(
        (
            row.line,
            row.status,
            rounded(row.visit_hours),
            f"{say.fits(row.choices[at], stop)}: {say.window(row, stop)}",
            NONE if row.chance_before is None else chance(row.chance_before),
            say.risk(row, plan).removesuffix(" if skipped"),
            say.why(row, plan),
            "; ".join(row.needs) or NONE,
        )
        for row in plan.rows_of(stop.code)
    )
    return Table(stop_title(stop), STOP_COLUMNS, rows, stop_note(stop))


def unvisited_table(plan: PlanContent) -> Table | None:
    """Return the lines without a visit and why; None where every line has one."""
    rows = tuple(
        (row.line, row.status, say.risk(row, plan), say.reason(row, plan).removeprefix("no visit: "))
        for row in plan.rows_of(None)
    )
    return Table("No visit planned", ("Line", "Status", "Over", "Why"), rows) if rows else None


def above_table(plan: PlanContent) -> Table | None:
    """Return the lines that run above the cap and why; None where none does."""
    rows = tuple(
        (
            row.line,
            row.status,
            NONE if row.chance_before is None else chance(row.chance_before),
            row.chosen or "no visit",
            "; ".join(filter(None, (say.unkept(row, plan), say.above_cap(row, plan)))),
        )
        for row in plan.rows
        if row.unkept is not None or row.above_cap
    )
    title = f"Above the cap of {say.percent(plan.cap)}"
    return Table(title, ("Line", "Status", "Over before", "Goes into", "Why"), rows) if rows else None


def facts(plan: PlanContent) -> tuple[tuple[str, str], ...]:
    """Return what the plan is of and rests on, as names and values."""
    where = "every site" if plan.site is None else plan.site_name or plan.site
    asked = "as asked for" if plan.cap_asked else "by the settings"
    return (
        ("Plan of", f"{where}, {say.count(len(plan.rows), 'line')}, {say.count(len(plan.stops), 'stop')}"),
        ("State", say.state(plan)),
        ("Worked out", f"{say.solved(plan)}; record of {day(plan.as_of)}"),
        ("Cap before a visit", f"{say.percent(plan.cap)} chance of being over, {asked}"),
        ("Comes to", say.sums(plan)),
        ("Proved", say.gap(plan)),
    )


def zone_words(plan: PlanContent) -> str:
    """Return the zone of the times, or that each stop has its site's."""
    zones = {say.zone_name(stop.starts_at) for stop in plan.stops} or {say.zone_name(plan.solved_at)}
    return f"times of {zones.pop()}" if len(zones) == 1 else "times of each stop’s site"
