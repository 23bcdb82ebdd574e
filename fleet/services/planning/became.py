"""After the outage: what became of a plan, and what the planner's stated chances were worth.

A chance is judged where its line was looked at for the first time since the plan was made, in an outage that the plan
had considered: only for that did it say anything. What was found is judged as everywhere else, by the limit of the day.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any, Final

import numpy as np

from fleet.errors import NotFoundError
from fleet.planning import BANDS, NO_VISIT, planned_and_done
from fleet.planning import score as judged
from fleet.reports.became_content import (
    Became,
    BecameLine,
    BecameStop,
    Deed,
    Found,
    Looked,
    ScoreBand,
    ScoreContent,
)
from fleet.services.background import up_to_date_or_older
from fleet.services.kept import Kept
from fleet.services.planning.made import AROUND, Visit, found_at, visits_made
from fleet.services.planning.windows import Window, windows_of
from fleet.services.plant import LineInfo
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import FleetSeries, current_series, load_series, older_series
from fleet.services.site_time import end_of_day
from fleet.store import queries
from fleet.store.engine import Store

_end_of_day = lru_cache(maxsize=1024)(end_of_day)
"""Asked for every line of every plan; days and zones are few."""
_ORDER: Final[dict[Deed | None, int]] = {
    "missed": 0, "other_outage": 1, "as_planned": 2, "extra": 3, None: 4, "left_as_planned": 5,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Item:
    """One line of a kept plan: the outage it goes into, and the crew hours of that."""

    line: LineInfo
    outage_id: int | None
    hours: float


@dataclass(frozen=True, slots=True)
class _Plan:
    """One kept plan: `chances` by id of line and outage, `stops` the outages it considered, in order.

    `last_at` is when the last of them is over for good, None where it considered none.
    """

    code: str
    state: Any
    as_of: date
    signed_at: datetime | None
    items: tuple[_Item, ...]
    stops: tuple[Window, ...]
    chances: dict[tuple[int, int], float]
    last_at: datetime | None


@dataclass(frozen=True, slots=True)
class _Past:
    """What has happened by a moment: visits by line, what they found by session."""

    moment: datetime
    visits: dict[int, tuple[Visit, ...]]
    found: dict[int, Found | None]

    def since(self, plan: _Plan, line: LineInfo) -> tuple[Visit, ...]:
        """Return the visits of a line after a plan's first day, up to the end of its last stop."""
        visits = self.visits.get(line.id, ())
        if not visits or plan.last_at is None:
            return ()
        after = _end_of_day(plan.as_of, line.zone)
        return tuple(visit for visit in visits if after < visit.started_at <= plan.last_at)


def became(store: Store, code: str, *, now: datetime | None = None) -> Became:
    """Return what became of a kept plan: planned against done, and its chances against what was found.

    Parameters
    ----------
    store : the record
    code : of the plan
    now : the present moment; None: the clock

    Raises
    ------
    NotFoundError
        No plan has this code.
    """
    behind = _made_ready(store, now)
    with store.read() as record:
        heads = queries.plans_to_judge(record, code)
        if not heads:
            raise NotFoundError(
                f"There is no plan '{code}' in the store; the Outages page lists the plans that were kept."
            )
        (plan,), past = _load(record, _series(record, now, behind=behind), heads, now, behind=behind)
    lines = _with_deeds(plan, [_line(plan, item, past) for item in plan.items], past.moment)
    gone = [stop for stop in plan.stops if stop.last_at <= past.moment]
    looks = [look for item in plan.items if (look := _look(plan, item, past)) is not None]
    return Became(
        plan=plan.code,
        state=plan.state,
        as_of=plan.as_of,
        stops=tuple(_stop(stop, lines) for stop in gone),
        to_come=len(plan.stops) - len(gone),
        lines=tuple(sorted(lines, key=lambda line: (_ORDER[line.deed], line.line))),
        score=_score([plan.code], looks, _not_judged(plan, past)),
    )


def own_score(store: Store, site: str | None = None, *, now: datetime | None = None) -> ScoreContent:
    """Return what the chances of all plans that were signed off were worth.

    A visit counts once: by the newest plan that was signed off before the outage began.

    Parameters
    ----------
    store : the record
    site : lines of this site only
    now : the present moment; None: the clock
    """
    behind = _made_ready(store, now)
    with store.read() as record:
        heads = queries.plans_to_judge(record)
        if not heads:
            return _score((), (), 0)
        fleet = _series(record, now, behind=behind)
        # The same plans, facts and day give the same answer at every page.
        key = (fleet.as_of, tuple((head.id, head.signed_at) for head in heads))
        looks, aside = (
            _looks(*_load(record, fleet, heads, now, behind=behind))
            if behind or now is not None
            else _SCORED.of(record, key, lambda: _looks(*_load(record, fleet, heads, now, behind=behind)))
        )
    here = [look for look in looks if site in (None, look.site)]
    judging = {look.plan for look in here}
    return _score(
        [head.code for head in heads if head.code in judging], here, sum(site in (None, each) for each in aside)
    )


def _looks(plans: Sequence[_Plan], past: _Past) -> tuple[tuple[Looked, ...], tuple[str | None, ...]]:
    """Return every look with the newest chance stated in time for it, and the sites of looks without any."""
    newest: dict[str, tuple[datetime, Looked]] = {}
    aside: dict[str, str | None] = {}
    for plan in plans:
        assert plan.signed_at is not None
        for item in plan.items:
            visit = next(iter(past.since(plan, item.line)), None)
            if visit is None or visit.outage is None or plan.signed_at >= visit.outage.starts_at:
                continue
            look = _look(plan, item, past)
            if look is None and visit.session_id in past.found:
                aside[visit.session] = item.line.site
            elif look is not None and (visit.session not in newest or plan.signed_at >= newest[visit.session][0]):
                newest[visit.session] = (plan.signed_at, look)
    return (
        tuple(look for _, look in newest.values()),
        tuple(site for session, site in aside.items() if session not in newest),
    )


_SCORED: Kept[tuple[tuple[Looked, ...], tuple[str | None, ...]]] = Kept()


def _made_ready(store: Store, now: datetime | None) -> bool:
    """See that there are results to judge by; return whether those at hand are older than the facts."""
    if now is not None:
        reduce_if_needed(store)
        return False
    older = up_to_date_or_older(store)
    return older is not None and older.series


def _series(record: queries.Record, now: datetime | None, *, behind: bool) -> FleetSeries:
    if now is not None:
        return load_series(record, now=now)
    return older_series(record) if behind else current_series(record)


def _load(
    record: queries.Record, fleet: FleetSeries, heads: Sequence[Any], now: datetime | None, *, behind: bool
) -> tuple[tuple[_Plan, ...], _Past]:
    """Read some plans, and what has happened to their lines."""
    moment = now or datetime.now(UTC)
    windows = windows_of(queries.all_outages(record), fleet.settings, now)
    plans = _plans(record, fleet, heads, windows, moment)
    lines = {item.line.id: item.line for plan in plans for item in plan.items}
    visits = visits_made(record, tuple(lines.values()), windows, until=moment)
    # What lies before the first plan was judged by none.
    first = min((plan.as_of for plan in plans), default=moment.date())
    sessions = {visit.session_id for each in visits.values() for visit in each if visit.on >= first}
    found = found_at(record, fleet, sessions) if behind else _kept_found(record, fleet, sessions)
    return plans, _Past(moment, visits, found)


_KEPT: Kept[dict[int, tuple[Found | None] | None]] = Kept()
"""What sessions showed, once per version of the facts and day; None for one without an as-found."""


def _kept_found(record: queries.Record, fleet: FleetSeries, sessions: set[int]) -> dict[int, Found | None]:
    kept = _KEPT.of(record, fleet.as_of, dict)
    if missing := sessions - kept.keys():
        found = found_at(record, fleet, missing)
        kept.update({session: (found[session],) if session in found else None for session in missing})
    return {session: seen[0] for session in sessions if (seen := kept[session]) is not None}


def _plans(
    record: queries.Record, fleet: FleetSeries, heads: Sequence[Any], windows: Sequence[Window], moment: datetime
) -> tuple[_Plan, ...]:
    by_id = {window.id: window for window in windows}
    infos = {line.id: line for line in fleet.plant.lines}
    ids = [head.id for head in heads]
    items = _by_plan(queries.planned_visits(record, ids))
    stops = _by_plan(queries.planned_stops(record, ids))
    begun = sorted(
        {row.outage_id for rows in stops.values() for row in rows if by_id[row.outage_id].starts_at <= moment}
    )
    chances: dict[int, dict[tuple[int, int], float]] = defaultdict(dict)
    for row in queries.chances_stated(record, ids, begun):
        chances[row.plan_id][row.line_id, row.outage_id] = row.chance_before
    return tuple(
        _Plan(
            code=head.code,
            state=head.state,
            as_of=head.as_of,
            signed_at=head.signed_at,
            items=tuple(
                _Item(infos[row.line_id], row.outage_id, row.visit_hours)
                for row in items[head.id]
                if row.line_id in infos
            ),
            stops=tuple(by_id[row.outage_id] for row in stops[head.id]),
            chances=chances[head.id],
            last_at=max((by_id[row.outage_id].last_at + AROUND for row in stops[head.id]), default=None),
        )
        for head in heads
    )


def _by_plan(rows: Iterable[Any]) -> defaultdict[int, list[Any]]:
    grouped: defaultdict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.plan_id].append(row)
    return grouped


def _look(plan: _Plan, item: _Item, past: _Past) -> Looked | None:
    """Return the first look at a line since a plan with the chance stated for it; None where either is missing."""
    visit = next(iter(past.since(plan, item.line)), None)
    if visit is None or visit.outage is None:
        return None
    stated, found = plan.chances.get((item.line.id, visit.outage.id)), past.found.get(visit.session_id)
    if stated is None or found is None:
        return None
    return Looked(plan.code, item.line.code, item.line.site, visit.outage.code, stated, found)


def _not_judged(plan: _Plan, past: _Past) -> int:
    """Return how many lines were measured as found without a chance or a limit to judge by."""
    firsts = [(item, next(iter(past.since(plan, item.line)), None)) for item in plan.items]
    return sum(
        visit is not None and visit.session_id in past.found and _look(plan, item, past) is None
        for item, visit in firsts
    )


def _line(plan: _Plan, item: _Item, past: _Past) -> BecameLine:
    """Return one line, what became of it left open."""
    visits = past.since(plan, item.line)
    visit = _counting(visits, item.outage_id)
    first = visit is not None and visit is visits[0]
    outage = visit.outage if visit else None
    codes = {stop.id: stop.code for stop in plan.stops}
    return BecameLine(
        line=item.line.code,
        site=item.line.site,
        deed=None,
        planned=codes.get(item.outage_id) if item.outage_id is not None else None,
        session=visit.session if visit else None,
        on=visit.on if visit else None,
        done=outage.code if outage else None,
        hours_planned=item.hours if item.outage_id is not None else None,
        hours_done=visit.hours if visit else None,
        stated=plan.chances.get((item.line.id, outage.id)) if first and outage else None,
        found=past.found.get(visit.session_id) if visit else None,
    )


def _counting(visits: Sequence[Visit], planned: int | None) -> Visit | None:
    """Return the visit that counts for a line: one in the outage it was planned into, else its first."""
    return next((v for v in visits if v.outage is not None and v.outage.id == planned), visits[0] if visits else None)


def _with_deeds(plan: _Plan, lines: Sequence[BecameLine], moment: datetime) -> tuple[BecameLine, ...]:
    """Return lines with what became of them; None for one whose stop is still to come."""
    codes = [stop.code for stop in plan.stops]
    place = {code: at for at, code in enumerate(dict.fromkeys([*codes, *(line.done for line in lines if line.done)]))}
    outside = len(place)
    gone = {stop.code for stop in plan.stops if stop.last_at <= moment}
    due = [line for line in lines if line.planned is None or line.planned in gone or line.done == line.planned]

    def where(line: BecameLine) -> int:
        if line.session is None:
            return NO_VISIT
        return outside if line.done is None else place[line.done]

    def hours(values: Iterable[float | None]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array([math.nan if value is None else value for value in values], dtype=np.float64)

    deeds = planned_and_done(
        np.array([NO_VISIT if line.planned is None else place[line.planned] for line in due], dtype=np.int64),
        np.array([where(line) for line in due], dtype=np.int64),
        hours_planned=hours(line.hours_planned for line in due),
        hours_done=hours(line.hours_done for line in due),
        n_outages=outside + 1,
    )
    told = {line.line: deed for line, deed in zip(due, deeds.each, strict=True)}
    return tuple(replace(line, deed=told.get(line.line)) for line in lines)


def _stop(stop: Window, lines: Sequence[BecameLine]) -> BecameStop:
    planned = [line for line in lines if line.planned == stop.code]
    there = [line for line in lines if line.done == stop.code]
    made = sum(line.done == stop.code for line in planned)
    hours = [line.hours_done for line in there if line.hours_done is not None]
    return BecameStop(
        code=stop.code,
        kind=stop.kind,
        starts_at=stop.starts_at,
        ends_at=stop.ends_at,
        whole_days=stop.whole_days,
        cancelled=stop.state == "cancelled",
        planned=len(planned),
        made=made,
        missed=len(planned) - made,
        extra=len(there) - made,
        hours_planned=math.fsum(line.hours_planned or 0.0 for line in planned),
        hours_done=math.fsum(hours) if hours else None,
        hours_written=len(hours),
    )


def _score(plans: Sequence[str], looks: Sequence[Looked], not_judged: int) -> ScoreContent:
    """Judge the chances of lines that were looked at."""
    n = len(looks)
    told = judged(
        np.array([look.stated for look in looks], dtype=np.float64),
        np.array([look.found.over for look in looks], dtype=np.bool_),
        looked_at=np.ones(n, dtype=np.bool_),
    )
    return ScoreContent(
        plans=tuple(plans),
        expected=told.expected,
        found=told.found,
        surprise=told.surprise if n else None,
        brier=told.brier if n else None,
        brier_of_rate=told.brier_of_rate if n else None,
        bands=tuple(
            ScoreBand(BANDS[k], BANDS[k + 1], int(row[0]), float(row[1]), int(row[2]))
            for k, row in enumerate(told.bands)
        ),
        lines=tuple(sorted(looks, key=lambda look: (-look.stated, look.line, look.found.on))),
        not_judged=not_judged,
    )
