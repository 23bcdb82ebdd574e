"""Two plans side by side: what the plan in view has over another, in a sentence, line by line, and stop by stop."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet import words
from fleet.planning import Change, Difference, Parts, Side, compare
from fleet.reports.plan_content import PlanContent, PlanRow
from fleet.reports.plan_figures import count, days, percent
from fleet.services.site_time import epoch_days

_SAME_DAYS = 0.05
"""Less than this and sums are told as the same: they are shown to a tenth of a day."""


@dataclass(frozen=True, slots=True)
class BesideRow:
    """A line that the two plans treat differently; `before` is the other plan, `after` the one in view.

    Parameters
    ----------
    line, change : its code, and what becomes of it
    before, after : codes of its outages, None for no visit
    before_on, after_on : the days these begin at their sites
    chance_before, chance_after : chance of being over before that visit (before the plan's end without one)
    days_before, days_after : expected days over, None without a forecast
    """

    line: str
    change: Change
    before: str | None
    after: str | None
    before_on: date | None
    after_on: date | None
    chance_before: float | None
    chance_after: float | None
    days_before: float | None
    days_after: float | None


@dataclass(frozen=True, slots=True)
class Beside:
    """What the plan in view has over another.

    Parameters
    ----------
    first, other : what the other plan and the one in view are called
    said : the answer in a sentence or two
    apart : what makes the two hard to compare, a sentence each
    rows : lines treated differently: by change, then as the other plan has them
    hours : outages that hold other crew hours: code, hours in the other plan, hours in the one in view
    difference : as computed, the plan in view less the other
    """

    first: str
    other: str
    said: str
    apart: tuple[str, ...]
    rows: tuple[BesideRow, ...]
    hours: tuple[tuple[str, float, float], ...]
    difference: Difference


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
    """Tell what another plan has over the first, as numbers.

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


def side_by_side(first: PlanContent, other: PlanContent) -> Beside:
    """Tell what the plan in view has over another, in words and line by line.

    Parameters
    ----------
    first : the other plan
    other : the plan in view

    Raises
    ------
    PlanError
        They have no line in common.
    """
    told = beside(first, other)
    names = name_of(first), name_of(other)
    was, now = {row.line: row for row in first.rows}, {row.line: row for row in other.rows}
    order: tuple[Change, ...] = ("added", "dropped", "earlier", "later", "elsewhere")
    rows = [_row(change.line, change.change, was[change.line], now[change.line], first, other) for change in told.lines]
    used = ({stop.code: stop.hours_used for stop in plan.stops} for plan in (first, other))
    before, after = used
    return Beside(
        first=names[0],
        other=names[1],
        said=_said(told, first, other),
        apart=_apart(told, first, other),
        rows=tuple(sorted(rows, key=lambda row: order.index(row.change))),
        hours=tuple(
            (code, before.get(code, 0.0), after.get(code, 0.0))
            for code, more in told.hours.items()
            if abs(more) >= _SAME_DAYS
        ),
        difference=told,
    )


def name_of(plan: PlanContent) -> str:
    """Return what a plan is called in a sentence: its code, or that it was solved now."""
    return "the plan solved now" if plan.kept is None else plan.kept.code


def _row(line: str, change: Change, was: PlanRow, now: PlanRow, first: PlanContent, other: PlanContent) -> BesideRow:
    return BesideRow(
        line=line,
        change=change,
        before=was.chosen,
        after=now.chosen,
        before_on=None if was.chosen is None else first.stop(was.chosen).starts_at.date(),
        after_on=None if now.chosen is None else other.stop(now.chosen).starts_at.date(),
        chance_before=was.chance_before,
        chance_after=now.chance_before,
        days_before=was.days_over,
        days_after=now.days_over,
    )


def _said(told: Difference, first: PlanContent, other: PlanContent) -> str:
    one, two = name_of(first), _capital(name_of(other))
    visits = f"{_more(told.visits, 'visit')}"
    cap = f" and {_more(told.over_cap, 'line')} above its cap for lack of room" if told.over_cap else ""
    if not same_days(first, other):
        moved = len(told.lines)
        lines = "no line otherwise" if moved == 0 else f"{count(moved, 'line')} otherwise"
        return f"{two} takes {lines} than {one}, with {visits}{cap}; their sums of days over do not compare."
    if not told.lines and abs(told.days_over) < _SAME_DAYS and not (told.only_first or told.only_other):
        return f"{two} takes every line where {one} takes it, and has as many days over."
    if abs(told.days_over) < _SAME_DAYS:
        over = f"as many days over as {one}"
    else:
        over = f"{days(abs(told.days_over))} over {'fewer' if told.days_over < 0 else 'more'} than {one}"
    sure = (
        "" if told.proved or not told.lines else " That is within what either may be worse than the best plan there is."
    )
    return f"{two} has {over} with {visits}{cap}.{sure}"


def _more(difference: int, one: str) -> str:
    """Return 'one visit more', 'two visits fewer', 'as many visits'."""
    if difference == 0:
        return f"as many {one}s"
    return f"{count(abs(difference), one)} {'more' if difference > 0 else 'fewer'}"


def _apart(told: Difference, first: PlanContent, other: PlanContent) -> tuple[str, ...]:
    """Return what the two do not have in common, a sentence each."""
    one, two = _capital(name_of(first)), name_of(other)
    said: list[str] = []
    if not same_days(first, other):
        said.append(f"{one} counts the days {_span(first)}, {two} those {_span(other)}.")
    if first.cap != other.cap:
        said.append(f"{one} was asked for a cap of {percent(first.cap)}, {two} for one of {percent(other.cap)}.")
    if first.data_version != other.data_version:
        said.append("The record changed between the two, so their chances and hours may differ for that alone.")
    for name, lines in ((one, told.only_first), (_capital(two), told.only_other)):
        if lines:
            shown = ", ".join(lines[:5]) + (f" and {len(lines) - 5} more" if len(lines) > 5 else "")
            said.append(f"{name} alone has {shown}; its sums count {'it' if len(lines) == 1 else 'them'}.")
    return tuple(said)


def _span(plan: PlanContent) -> str:
    return f"from {words.day(plan.as_of)} to {words.day(plan.end_on)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
