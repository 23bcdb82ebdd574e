"""A plan as tables: a row a line with where it goes, why and what it risks; and a row a stop."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from dashboard.address import Address
from dashboard.plan_view import plan_of
from dashboard.sources import Sources
from dashboard.tables.table import Maker, about
from fleet.reports import plan_words as said
from fleet.reports.plan_content import AsideStop, Choice, PlanContent, PlanRow, Stop, after_skipping
from fleet.reports.table_file import Column, Table
from fleet.words import NBSP

_CHANCE: Final = "chance of the deviation having passed the limit"
_LINE_COLUMNS: Final = (
    Column("line"), Column("site"), Column("description"), Column("status"),
    Column("station", says="the worst place of the line"),
    Column("axis", says="v vertical, h horizontal"),
    Column("outage", says="the stop the plan takes it into; empty: no visit"),
    Column("starts_at", kind="moment"), Column("ends_at", kind="moment"),
    Column("pinned", kind="yes or no", says="held in its stop by a person"),
    Column("kept_out_of", says="stops a person keeps it out of"),
    Column("reason", says="why it is where it is, as a code"),
    Column("why", says="the same in words"),
    Column("chance_now", "1", "number", f"{_CHANCE} by as_of"),
    Column("chance_before", "1", "number", f"{_CHANCE} before its stop starts, without one the plan's end"),
    Column("skipped_until", says="the next stop that serves it; empty: the plan's end"),
    Column("chance_if_skipped", "1", "number", f"{_CHANCE} before that if the visit is skipped"),
    Column("chance_without_visit", "1", "number", f"{_CHANCE} before the plan's end without any visit"),
    Column("days_over", "day", "number", "expected, from as_of to the plan's end, as planned"),
    Column("days_over_without_visit", "day", "number", "the same without a visit"),
    Column("weight", "", "number", "what a day over counts"),
    Column("visit_saves", "day", "number", "weighted days, the visit's cost not taken off"),
    Column("visit_costs", "day", "number", "weighted days"),
    Column("crew_hours", "h", "number", "of the visit, or of one if it had one"),
    Column("crew_hours_from"),
    Column("cool_down", "h", "number", "by the clock"), Column("screw_pull", "h", "number", "by the clock"),
    Column("heat_up", "h", "number", "by the clock"),
    Column("window", "h", "number", "by the clock from heats off to ready again, in its stop"),
    Column("rather", says="stop it would be better off with if there were room"),
    Column("hours_missing", "h", "number", "crew hours missing there"),
    Column("above_cap", kind="yes or no", says="above the cap though a stop open to it would have kept it"),
    Column("no_choice_keeps_cap", says="why no stop open to it keeps it under the cap"),
    Column("over_10_percent_by", kind="day"), Column("over_50_percent_by", kind="day"),
    Column("over_90_percent_by", kind="day"),
    Column("needs", says="what the visit needs beside people"),
)  # fmt: skip
_STOP_COLUMNS: Final = (
    Column("outage"), Column("kind"), Column("serves"), Column("starts_at", kind="moment"),
    Column("ends_at", kind="moment"), Column("whole_days", kind="yes or no"),
    Column("length", "h", "number", "by the clock"),
    Column("crew_hours", "h", "number", "empty: not recorded, not limited"), Column("crews", "", "number"),
    Column("screw_out", kind="yes or no", says="its kind has the screw out anyway"),
    Column("visits", "", "number"), Column("crew_hours_used", "h", "number"), Column("lines"),
    Column("not_planned_into", says="why the plan takes nothing into it"), Column("notes"),
    Column("as_of", kind="day"),
)  # fmt: skip


def plan_lines(sources: Sources, address: Address) -> Table:
    """Return every line of the plan in view with where it goes, why, and what it risks; and its chance at each stop."""
    plan = plan_of(sources.plans, address)
    each = tuple(Column(f"chance_before_{stop.code}", "1", "number", _CHANCE) for stop in plan.stops)
    closed = tuple(Column(f"closed_{stop.code}", says="why it is not open to the line") for stop in plan.stops)
    return Table(
        title=_title("Plan", plan),
        columns=(*_LINE_COLUMNS, *each, *closed, Column("as_of", kind="day")),
        rows=tuple(_line(plan, row) for row in plan.rows),
        about=_about(plan, address),
        dates=_dates(plan),
    )


def plan_stops(sources: Sources, address: Address) -> Table:
    """Return every stop ahead with what the plan takes of it, those that are not planned into too."""
    plan = plan_of(sources.plans, address)
    return Table(
        title=_title("Plan stops", plan),
        columns=_STOP_COLUMNS,
        rows=(*(_stop(plan, stop) for stop in plan.stops), *(_stop(plan, stop) for stop in plan.aside)),
        about=_about(plan, address),
        dates=_dates(plan),
    )


def _title(what: str, plan: PlanContent) -> str:
    return " ".join(filter(None, (what, plan.site, plan.kept.code if plan.kept else None)))


def _dates(plan: PlanContent) -> tuple[date, ...]:
    return (plan.as_of, plan.end_on)


def _about(plan: PlanContent, address: Address) -> tuple[tuple[str, str], ...]:
    return about(
        address,
        plan.as_of,
        ("plan", _plain(said.state(plan))),
        ("lines", "every site" if plan.site is None else f"site {plan.site}"),
        ("cap", f"{plan.cap:g} chance before a visit, {'asked for' if plan.cap_asked else 'by the settings'}"),
        ("plan's end", plan.end_on.isoformat()),
        ("worked out", plan.solved_at.isoformat(timespec="seconds")),
        ("came to", _plain(f"{said.sums(plan)} {said.gap(plan)}")),
        ("note", said.NO_PERMISSION),
    )


def _line(plan: PlanContent, row: PlanRow) -> tuple[Any, ...]:
    stop = None if row.chosen is None else plan.stop(row.chosen)
    choice = None if stop is None else row.choices[plan.stops.index(stop)]
    until, skipped = after_skipping(plan, row)
    return (
        row.line, row.site, row.description, row.status, row.station, row.axis, row.chosen,
        stop and stop.starts_at, stop and stop.ends_at, row.pin == "into", ", ".join(row.kept_out) or None,
        row.reason, _plain(said.why(row, plan)), row.chance_now, row.chance_before,
        until and until.code, skipped, row.chance_if_skipped, row.days_over, row.days_if_skipped, row.weight,
        row.saves, row.visit_cost_days, row.visit_hours, said.hours_from(row), row.cool_down_h, row.screw_pull_h,
        row.heat_up_h, choice and choice.window_h, row.rather, row.hours_missing, row.above_cap,
        _plain(said.unkept(row, plan)) or None, row.over_p10, row.over_p50, row.over_p90,
        "; ".join(row.needs) or None,
        *(each.chance_before for each in row.choices),
        *(_closed(each, row, at) for each, at in zip(row.choices, plan.stops, strict=True)),
        plan.as_of,
    )  # fmt: skip


def _closed(choice: Choice, row: PlanRow, stop: Stop) -> str | None:
    return _plain(said.closed_short(choice, row, stop)) or None


def _stop(plan: PlanContent, stop: Stop | AsideStop) -> tuple[Any, ...]:
    used: tuple[Any, ...] = (None, None, None, None)
    why, notes = None, None
    if isinstance(stop, Stop):
        lines = ", ".join(row.line for row in plan.rows_of(stop.code)) or None
        used = (stop.screw_out, stop.visits, stop.hours_used, lines)
        notes = " ".join(stop.notes) or None
    else:
        why = stop.why
    length = said.length_h(stop)
    return (
        stop.code, stop.kind, said.serves(stop), stop.starts_at, stop.ends_at, stop.whole_days, length,
        stop.crew_hours, stop.crews, *used, why, notes, plan.as_of,
    )  # fmt: skip


def _plain(text: str) -> str:
    return text.replace(NBSP, " ")


TABLES: Final[dict[str, Maker]] = {"plan": plan_lines, "plan-stops": plan_stops}
