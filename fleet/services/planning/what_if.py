"""What if: one crew more, an outage moved or cancelled, another limit or cap; both plans solved and compared.

A question is a text as it stands in an address: `crew:OUTAGE:n` (n crews more), `hours:OUTAGE:h`, `move:OUTAGE:days`,
`limit:LINE:um` (`*` for every line; with a sign: so many um wider or narrower), `cap:percent`, `without:OUTAGE`;
several are joined by `;`, and codes are percent-quoted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final
from urllib.parse import quote, unquote

import numpy as np

from fleet import words
from fleet.errors import InputError
from fleet.planning import (
    NO_VISIT,
    Plan,
    Problem,
    Situation,
    parts_of,
    problem_of,
    solve,
    with_cap,
    with_crew_hours,
    with_crew_more,
    with_curves,
    with_outage_moved,
)
from fleet.planning.problem import HOURS_STEP, steps_used
from fleet.reports.plan_content import PlanContent
from fleet.reports.what_if_words import EVERY_LINE, Changed, ChangeKind, MovedLine, WhatIfAnswer
from fleet.services.planning.asking import GAP, Asked
from fleet.services.planning.beside import beside
from fleet.services.planning.known import Known, known
from fleet.services.planning.planned import Solved, brought, content_of, series_then, solved
from fleet.services.planning.risk import curves_of
from fleet.services.planning.windows import Window, is_ahead
from fleet.services.series import FleetSeries
from fleet.store.engine import Store
from fleet.store.versions import data_version
from fleet.values import IntArray

MOST: Final = 8
"""So many things are tried out at once; more is another plan, not a question."""
_SHAPES: Final = (
    "crew:OUTAGE, crew:OUTAGE:n, hours:OUTAGE:h, move:OUTAGE:days, limit:LINE:um, cap:percent or without:OUTAGE"
)
_MOST_DAYS: Final = 3660.0
_WIDEST_UM: Final = 50_000.0


def read_question(text: str) -> tuple[Changed, ...]:
    """Return what a question tries out.

    Raises
    ------
    InputError
        It cannot be read; the sentence says which part.
    """
    parts = [part for part in text.split(";") if part.strip()]
    if not parts:
        raise InputError(f"Nothing is asked; write {_SHAPES}.")
    if len(parts) > MOST:
        raise InputError(f"{len(parts)} things are tried out at once; try {MOST} or fewer.")
    return tuple(_read(part.strip()) for part in parts)


def _read(part: str) -> Changed:
    kind, *raw = part.split(":")
    rest = [unquote(each).strip() for each in raw]
    wrong = InputError(f"‘{unquote(part)}’ is no question; write {_SHAPES}.")
    if not all(rest):
        raise wrong
    if kind == "without" and len(rest) == 1:
        return Changed("without", rest[0], 0.0)
    if kind == "crew" and len(rest) in (1, 2):
        more = _number(rest[1], -100.0, 100.0, "a number of crews") if len(rest) == 2 else 1.0
        if more == 0.0:
            raise InputError(f"No crew more in {rest[0]} changes nothing; write how many.")
        return Changed("crew", rest[0], more)
    if kind == "hours" and len(rest) == 2:
        return Changed("hours", rest[0], _number(rest[1], 0.0, 1e6, "a number of crew hours"))
    if kind == "move" and len(rest) == 2:
        by = _number(rest[1], -_MOST_DAYS, _MOST_DAYS, "a number of days")
        if by == 0.0 or not by.is_integer():
            raise InputError(f"{rest[0]} is moved by whole days, one or more; ‘{rest[1]}’ is not.")
        return Changed("move", rest[0], by)
    if kind == "limit" and len(rest) == 2:
        # A plus sign typed into an address by hand arrives as a space.
        by_so_much = raw[1][:1] in ("+", "-", " ")
        um = _number(rest[1], -_WIDEST_UM, _WIDEST_UM, "a limit in um")
        if um == 0.0:
            raise InputError("A limit of 0 would call every line over, and one changed by 0 stays; write another.")
        return Changed("limit_by" if by_so_much else "limit", rest[0], um)
    if kind == "cap" and len(rest) == 1:
        return Changed("cap", None, _number(rest[0], 0.0, 100.0, "a cap in per cent") / 100.0)
    raise wrong


def _number(text: str, low: float, high: float, what: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not low <= number <= high:
        raise InputError(f"‘{text}’ is not {what} from {low:g} to {high:g}.")
    return number


def write_question(changes: Iterable[Changed]) -> str:
    """Return a question as it stands in an address, for `read_question`."""
    return ";".join(_written(change) for change in changes)


def _written(change: Changed) -> str:
    code, number = quote(change.code or "", safe="*"), f"{change.number:.10g}"
    name: dict[ChangeKind, str] = {"limit_by": "limit"}
    kind = name.get(change.kind, change.kind)
    if change.kind == "cap":
        return f"cap:{change.number * 100:.4g}"
    if change.kind == "without":
        return f"without:{code}"
    if change.kind == "crew" and change.number == 1.0:
        return f"crew:{code}"
    if change.kind == "limit_by" and change.number > 0.0:
        number = f"+{number}"
    return f"{kind}:{code}:{number}"


@dataclass(frozen=True, slots=True)
class _Tried:
    """What is known, changed as asked; `before` is what held, change by change."""

    known: Known
    fleet: FleetSeries
    changes: tuple[Changed, ...]
    anew: bool


def what_if(
    store: Store, asked: Asked, question: str, *, first: PlanContent | None = None, now: datetime | None = None
) -> WhatIfAnswer:
    """Tell what a change makes of a plan: both are solved and compared.

    The plan's end stays where it is, so that the days of both compare.

    Parameters
    ----------
    store : the record
    asked : the plan as it is
    question : what is tried out, as of `read_question`
    first : the plan of `asked` where it is worked out already, from the facts as they are now
    now : plan as of this moment, aware; None: today

    Raises
    ------
    InputError
        The question cannot be read, names an outage or line that is not in the plan, or cannot be.
    PinError, PlanError
        As of `plan_content`, of either plan.
    """
    changes = read_question(question)
    older = brought(store, now)
    with store.read() as record:
        fleet = series_then(record, older, now)
        version = data_version(record)
        tried = _tried(known(record, fleet, asked, now=now), fleet, changes, now)
        situation = tried.known.situation
        if tried.anew:
            lines = [fleet.line_index[line.id] for line in tried.known.lines]
            curves = curves_of(
                record, tried.fleet, lines, start_day=situation.outages.start_day, end_day=situation.end_day
            )
            situation = with_curves(situation, curves)
    if first is None or first.kept is not None or first.data_version != version:
        first = content_of(solved(store, asked, now=now), asked)
    problem = problem_of(situation)
    plan = _not_worse(problem, solve(problem, gap=GAP, time_limit_s=asked.seconds), first)
    here = replace(tried.known, situation=situation)
    moment = (now or datetime.now(UTC)).astimezone(here.zone)
    other = content_of(Solved(here, problem, plan, {}, version, moment, older), asked)
    difference = beside(first, other)
    was, then = {row.line: row for row in first.rows}, {row.line: row for row in other.rows}
    return WhatIfAnswer(
        changes=tried.changes,
        first=first,
        other=other,
        lines=tuple(
            MovedLine(each.change, was[each.line], then[each.line])
            for each in difference.lines
            # A line that stays in an outage which is moved goes along with it: it is not treated differently.
            if each.change != "same" and each.before != each.after
        ),
        days_over=difference.days_over,
        weighted_days_over=difference.weighted_days_over,
        visits=difference.visits,
        above_first=_above(first),
        above_other=_above(other),
        # Fewer lines above the cap come before any sum, and whole lines are told apart.
        proved=difference.proved or difference.over_cap != 0,
    )


def _above(plan: PlanContent) -> int:
    return sum(row.chance_before is not None and row.chance_before > plan.cap for row in plan.rows)


def _not_worse(problem: Problem, plan: Plan, first: PlanContent) -> Plan:
    """Return the solver's plan, or the one as it is where that is open and as good: then nobody need move."""
    column = {code: j for j, code in enumerate(problem.outages)}
    at = {row.line: row.chosen for row in first.rows}
    stay: IntArray = np.array(
        [NO_VISIT if (code := at.get(line)) is None else column.get(code, NO_VISIT) for line in problem.lines],
        dtype=np.int64,
    )
    rows = np.arange(stay.size)
    if not np.all(problem.may[rows, stay]) or np.any(steps_used(problem, stay) > problem.room_steps):
        return plan
    parts = parts_of(problem, stay)
    if (parts.over_cap, parts.objective) > (plan.parts.over_cap, plan.parts.objective):
        return plan
    return replace(
        plan, chosen=stay, parts=parts, bound=min(plan.bound, parts.objective),
        over_cap_bound=min(plan.over_cap_bound, parts.over_cap),
        hours_used=np.asarray(steps_used(problem, stay) * HOURS_STEP, dtype=np.float64),
    )  # fmt: skip


def _tried(here: Known, fleet: FleetSeries, changes: Sequence[Changed], now: datetime | None) -> _Tried:
    said: list[Changed] = []
    anew = False
    for change in changes:
        if change.kind == "cap":
            said.append(replace(change, before=here.cap))
            here = replace(here, cap=change.number, situation=with_cap(here.situation, change.number))
        elif change.kind in ("limit", "limit_by"):
            fleet, anew = _with_limit(here, fleet, change), True
            said.append(change)
        else:
            j = _outage(here, change.code or "")
            said.append(replace(change, before=here.windows[j].crew_hours))
            here, anew = _with_outage(here, j, change, now), anew or change.kind == "move"
    return _Tried(here, fleet, tuple(said), anew)


def _outage(here: Known, code: str) -> int:
    for j, window in enumerate(here.windows):
        if window.code == code:
            return j
    codes = ", ".join(window.code for window in here.windows) or "none is ahead"
    raise InputError(f"‘{code}’ is not among the outages of this plan: {codes}.")


def _with_outage(here: Known, j: int, change: Changed, now: datetime | None) -> Known:
    window, situation = here.windows[j], here.situation
    if change.kind == "crew":
        situation = with_crew_more(situation, j, crews=change.number)
    elif change.kind == "hours":
        situation = with_crew_hours(situation, j, crew_hours=change.number)
    elif change.kind == "without":
        planned = situation.outages.planned.copy()
        planned[j] = False
        situation = replace(situation, outages=replace(situation.outages, planned=planned))
    else:
        # Its hour stays the site's, whatever the clocks do in between.
        starts = window.starts_at + timedelta(days=change.number)
        by_days = (starts.astimezone(UTC) - window.starts_at.astimezone(UTC)) / timedelta(days=1)
        ends = None
        if window.ends_at is not None:
            ends = (window.ends_at.astimezone(UTC) + timedelta(days=by_days)).astimezone(starts.tzinfo)
        window = replace(window, starts_at=starts, ends_at=ends)
        if not is_ahead(window, now):
            raise InputError(f"{window.code} would begin on {words.day(starts)}, which is past; move it less.")
        situation = with_outage_moved(situation, j, by_days=by_days)
    return replace(here, situation=situation, windows=_replaced(here.windows, j, window, situation))


def _replaced(windows: tuple[Window, ...], j: int, window: Window, situation: Situation) -> tuple[Window, ...]:
    outages = situation.outages

    def number(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    then = replace(
        window,
        crew_hours=number(outages.crew_hours[j]),
        crews=number(outages.crews[j]),
        start_day=float(outages.start_day[j]),
        end_day=number(outages.end_day[j]),
    )
    return (*windows[:j], then, *windows[j + 1 :])


def _with_limit(here: Known, fleet: FleetSeries, change: Changed) -> FleetSeries:
    """Return the series judged by other limits: of one line or of all in view; a place without one stays without."""
    ids = {line.id for line in here.lines if change.code in (EVERY_LINE, line.code)}
    if not ids:
        raise InputError(f"‘{change.code}’ is not among the lines of this plan; choose one of them, or * for all.")
    tolerances = dict(fleet.tolerances)
    found = False
    for place, band in fleet.tolerances.items():
        if place[0] not in ids or band.limit_um is None:
            continue
        found = True
        then = change.number if change.kind == "limit" else band.limit_um + change.number
        if then <= 0.0:
            code = next(line.code for line in here.lines if line.id == place[0])
            raise InputError(
                f"A limit of {code} is {_mm(band.limit_um)}; made {_mm(abs(change.number))} narrower, nothing is left "
                "of it. Try less."
            )
        tolerances[place] = replace(band, limit_um=then)
    if not found:
        what = "no line of this plan" if change.code == EVERY_LINE else f"not {change.code}"
        raise InputError(f"A limit is recorded for {what}, so none can be changed; set one on the line’s page first.")
    return replace(fleet, tolerances=tolerances)


def _mm(um: float) -> str:
    return f"{words.figure(um, 'mm', fine=True)}{words.NBSP}mm"
