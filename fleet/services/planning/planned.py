"""A plan worked out from the record: lines, outages, forecast and pins in, who goes where and why out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from fleet.planning import (
    CLOSED,
    NO_VISIT,
    LineReason,
    Plan,
    Problem,
    UnkeptLine,
    above_cap,
    problem_of,
    reasons,
    solve,
    unkept,
    window_hours,
)
from fleet.reports.plan_content import Choice, PlanContent, PlanRow, Stop
from fleet.services.background import Older, up_to_date_or_older
from fleet.services.forecasting import foresee, rows_of, worst
from fleet.services.planning.asking import GAP, Asked
from fleet.services.planning.known import Known, known
from fleet.services.planning.needs import with_needs
from fleet.services.planning.windows import notes_of
from fleet.services.reduction import reduce_if_needed
from fleet.services.refresh import is_fresh
from fleet.services.series import FleetSeries, current_series, load_series, older_series
from fleet.store import queries
from fleet.store.engine import Store
from fleet.store.versions import data_version
from fleet.values import STATUSES, Axis, FloatArray, Status


@dataclass(frozen=True, slots=True)
class Stands:
    """How a line stands today: its status, its worst place, and the days its chance reaches 10, 50, 90 %."""

    status: Status
    station: str | None
    axis: Axis | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None


@dataclass(frozen=True, slots=True)
class Solved:
    """A plan with everything it was made from."""

    known: Known
    problem: Problem
    plan: Plan
    stands: dict[str, Stands]
    data_version: int
    solved_at: datetime
    older: Older | None


_NO_STATE = Stands("no record", None, None, None, None, None)


def plan_content(store: Store, asked: Asked, *, now: datetime | None = None) -> PlanContent:
    """Work out who goes into which outage.

    Parameters
    ----------
    store : the record
    asked : which lines, how far ahead, what people pinned
    now : plan as of this moment, aware, with what had happened by the end of its day; None: today

    Raises
    ------
    PinError
        Pins cannot be kept; each is named and nothing is solved.
    PlanError
        An outage as recorded cannot be planned with.
    """
    done = solved(store, asked, now=now)
    return with_needs(store, content_of(done, asked), done.known.lines)


def solved(store: Store, asked: Asked, *, now: datetime | None = None) -> Solved:
    """Work out a plan, and return it with everything it was made from.

    Parameters
    ----------
    store, asked, now : as of `plan_content`

    Raises
    ------
    PinError, PlanError
        As of `plan_content`.
    """
    older = brought(store, now)
    with store.read() as record:
        fleet = series_then(record, older, now)
        known_now = known(record, fleet, asked, now=now)
        fresh = older is not None or is_fresh(queries.fleet_facets(record), now)
        stands = _as_kept(record, asked) if fresh else _as_foreseen(fleet, known_now)
        version = data_version(record)
    problem = problem_of(known_now.situation)
    plan = solve(problem, gap=GAP, time_limit_s=asked.seconds)
    moment = (now or datetime.now(UTC)).astimezone(known_now.zone)
    return Solved(known_now, problem, plan, stands, version, moment, older)


def brought(store: Store, now: datetime | None) -> Older | None:
    """Bring the record's results up to date; of a large fleet return what is older meanwhile."""
    if now is None:
        return up_to_date_or_older(store)
    reduce_if_needed(store)
    return None


def series_then(record: queries.Record, older: Older | None, now: datetime | None) -> FleetSeries:
    """Return the series a plan is made from, as of `now` or of today."""
    if now is not None:
        return load_series(record, now=now)
    return older_series(record) if older and older.series else current_series(record)


def _as_kept(record: queries.Record, asked: Asked) -> dict[str, Stands]:
    """Return how lines stand as the derived states have it, most urgent first."""
    conditions = queries.fleet_conditions(site=asked.site, status=None, foundation=None, screw_diameter_mm=None)
    return {
        row.line: Stands(row.status, row.station, row.axis, row.over_p10, row.over_p50, row.over_p90)
        for row in queries.fleet_page(record, conditions, limit=None, offset=0)
    }


def _as_foreseen(fleet: FleetSeries, known_now: Known) -> dict[str, Stands]:
    """Return how lines stand on another day than that of the derived states."""
    wanted = {line.code for line in known_now.lines}
    rows: dict[str, list[Any]] = {}
    for row in rows_of(foresee(fleet, np.arange(fleet.series.axis.size))):
        if row.line in wanted:
            rows.setdefault(row.line, []).append(row)
    found = {}
    for line, each in rows.items():
        judged = worst(each)
        if judged is not None:
            on = judged.over_on
            found[line] = Stands(judged.status, judged.station, judged.axis, on.p10, on.p50, on.p90)
    return found


def content_of(done: Solved, asked: Asked) -> PlanContent:
    """Return a solved plan as content.

    Parameters
    ----------
    done : of `solved`
    asked : what was asked for
    """
    here, problem, plan = done.known, done.problem, done.plan
    why = reasons(problem, plan)
    risky = {line.line: line for line in unkept(problem, plan)}
    above = set(above_cap(problem, plan))
    takes = window_hours(here.situation.lines, here.situation.outages)
    rows = [_row(done, i, why[i], risky.get(i), i in above, takes[i]) for i in range(len(here.lines))]
    place = {w.code: at for at, w in enumerate(here.windows)}

    def in_order(row: PlanRow) -> tuple[float, float, int, str]:
        last = len(place) if row.chosen is None else place[row.chosen]
        return last, -(row.chance_before or 0.0), STATUSES.index(row.status), row.line

    site = asked.site
    return PlanContent(
        site=site,
        site_name=next((line.site_name or site for line in here.lines), site) if site else None,
        cap=here.cap,
        cap_asked=asked.cap is not None,
        ahead_months=asked.ahead_months,
        as_of=here.as_of,
        end_on=here.end_on,
        solved_at=done.solved_at,
        data_version=done.data_version,
        stops=tuple(_stop(done, j) for j in range(len(here.windows))),
        aside=here.aside,
        rows=tuple(sorted(rows, key=in_order)),
        days_over=plan.parts.days_over,
        days_if_none=plan.no_visits.days_over,
        weighted_days_over=plan.parts.weighted_days_over,
        cost_days=plan.parts.cost_days,
        over_cap=plan.parts.over_cap,
        over_cap_bound=plan.over_cap_bound,
        bound=plan.bound,
        gap=plan.gap,
        seconds=asked.seconds,
        site_names=here.site_names,
        lines_in_store=here.lines_in_store,
        outages_in_store=here.outages_in_store,
        dropped=here.dropped,
        older=_older(done.older),
    )


def _older(older: Older | None) -> str | None:
    if older is None:
        return None
    if older.failed:
        return "Newer records could not be worked on yet; this plan stands on the state before them."
    return "Newer records are being worked on; this plan stands on the state before them. Look again in a minute."


def _stop(done: Solved, j: int) -> Stop:
    window = done.known.windows[j]
    return Stop(
        code=window.code,
        kind=window.kind,
        site=window.site,
        line=window.line,
        starts_at=window.starts_at,
        ends_at=window.ends_at,
        whole_days=window.whole_days,
        crew_hours=window.crew_hours,
        crews=window.crews,
        screw_out=window.screw_out,
        hours_used=float(done.plan.hours_used[j]),
        visits=int(np.count_nonzero(done.plan.chosen == j)),
        notes=notes_of(window, done.known.windows),
    )


def _row(done: Solved, i: int, why: LineReason, risky: UnkeptLine | None, above: bool, takes: FloatArray) -> PlanRow:
    here, problem = done.known, done.problem
    line, figures = here.lines[i], here.figures[i]
    codes = problem.outages
    pins = here.situation
    stands = done.stands.get(line.code, _NO_STATE)
    foreseen = bool(problem.foreseen[i])
    held = int(pins.pin_into[i]) != NO_VISIT
    out = tuple(codes[j] for j in np.flatnonzero(pins.pin_out[i]))
    rather = None if why.rather in (None, NO_VISIT) else codes[why.rather]
    return PlanRow(
        line=line.code,
        site=line.site,
        description=line.description,
        status=stands.status,
        station=stands.station,
        axis=stands.axis,
        chance_now=_number(problem.chance_now[i]),
        over_p10=stands.over_p10,
        over_p50=stands.over_p50,
        over_p90=stands.over_p90,
        weight=float(problem.weight[i]),
        visit_hours=float(pins.lines.visit_hours[i]),
        hours_from=here.hours_from[i],
        visit_cost_days=float(problem.visit_cost_days[i]),
        cool_down_h=figures.cool_down_h,
        screw_pull_h=figures.screw_pull_h,
        heat_up_h=figures.heat_up_h,
        choices=tuple(
            Choice(
                chance_before=_number(problem.chance_before[i, j]),
                closed=CLOSED[problem.closed[i, j]],
                window_h=_number(takes[j]),
            )
            for j in range(len(codes))
        ),
        chosen=None if why.chosen == NO_VISIT else codes[why.chosen],
        pin="into" if held else "out" if out else None,
        kept_out=out,
        chance_before=_number(why.chance_before),
        chance_if_skipped=_number(why.chance_if_skipped),
        days_over=_number(why.days_over),
        days_if_skipped=_number(why.days_if_skipped),
        saves=_number(why.saves) if foreseen else None,
        reason=why.reason,
        rather=rather,
        hours_missing=why.hours_missing,
        unkept=risky.why if risky else None,
        above_cap=above,
    )


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
