"""What a planned visit needs beside people: a permit, lifting gear, parts, an instrument whose calibration holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final

from fleet.reports.plan_content import PlanContent, PlanRow, Stop
from fleet.reports.sheet_words import joined
from fleet.services.plant import LineInfo
from fleet.store import queries
from fleet.store.engine import Store
from fleet.words import day

PERMIT: Final = "permit to work; drive, heaters and stored energy isolated"
LIFTING_GEAR: Final = "lifting gear for the screw"
_LONGEST: Final = 160
"""A note of a finding may be long; what a visit needs is a phrase."""

Certificates = Sequence[tuple[date, date | None]]
"""When calibrated, and until when that holds (None: no end recorded)."""


def with_needs(store: Store, plan: PlanContent, lines: Sequence[LineInfo]) -> PlanContent:
    """Return a plan with what each of its visits needs, as known when it was worked out.

    Parameters
    ----------
    store : the record
    plan : as worked out
    lines : its lines, and others
    """
    with store.read() as record:
        needs = needs_of(record, lines, plan.rows, plan.stops, until=plan.solved_at)
    return replace(plan, rows=tuple(replace(row, needs=needs.get(row.line, ())) for row in plan.rows))


def needs_of(
    record: queries.Record,
    lines: Sequence[LineInfo],
    rows: Sequence[PlanRow],
    stops: Sequence[Stop],
    *,
    until: datetime,
) -> dict[str, tuple[str, ...]]:
    """Return what every visit of a plan needs, a phrase each.

    Parameters
    ----------
    record : open session of `Store.read()`
    lines : those of the rows, and others
    rows : the plan's; lines without a visit need nothing
    stops : the plan's, which the rows name
    until : the moment the plan is made; what happened later is not known yet

    Returns
    -------
    phrases by code of the line, of those lines only that are visited
    """
    by_code = {stop.code: stop for stop in stops}
    visited = {row.line: (row, by_code[row.chosen]) for row in rows if row.chosen is not None}
    infos = {line.code: line for line in lines if line.code in visited}
    ids = [line.id for line in infos.values()]
    surveys = _by_line(row for row in queries.cold_surveys_of(record, ids) if row.started_at <= until)
    findings = _by_line(row for row in queries.findings_of_lines(record, ids) if row.started_at <= until)
    supports = _by_line(queries.stepped_supports(record, ids))
    certificates: dict[int, list[tuple[date, date | None]]] = defaultdict(list)
    for found in queries.calibrations(record) if visited else ():
        certificates[found.instrument_id].append((found.calibrated_on, found.due_on))
    needs: dict[str, tuple[str, ...]] = {}
    for code, info in infos.items():
        row, stop = visited[code]
        needs[code] = (
            PERMIT,
            *([LIFTING_GEAR] if row.screw_pull_h and not stop.screw_out else []),
            *_shims(supports[info.id], _first_day(stop, info)),
            *_found(findings[info.id], surveys[info.id], info),
            *_instrument(surveys[info.id], certificates, stop, info, until),
        )
    return needs


def _by_line(rows: Iterable[Any]) -> defaultdict[int, list[Any]]:
    grouped: defaultdict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.line_id].append(row)
    return grouped


def _first_day(stop: Stop, info: LineInfo) -> date:
    return stop.starts_at.astimezone(info.zone).date()


def _last_day(stop: Stop, info: LineInfo) -> date:
    """Return the last day a stop reaches into; one that ends at midnight ends on the day before."""
    if stop.ends_at is None or stop.ends_at <= stop.starts_at:
        return _first_day(stop, info)
    return (stop.ends_at.astimezone(info.zone) - timedelta(microseconds=1)).date()


def _shims(supports: Sequence[Any], on: date) -> tuple[str, ...]:
    stood = [
        s.code
        for s in supports
        if (s.added_on is None or s.added_on <= on) and (s.removed_on is None or on < s.removed_on)
    ]
    return (f"shims for {'support' if len(stood) == 1 else 'supports'} {joined(stood)}",) if stood else ()


def _found(findings: Sequence[Any], surveys: Sequence[Any], info: LineInfo) -> tuple[str, ...]:
    """Return what was found at the newest visit with a cold survey and since; an earlier finding was seen to there."""
    newest = surveys[-1].started_at if surveys else None
    return tuple(
        f"finding of {day(row.started_at.astimezone(info.zone))}: {_said(row)}"
        for row in findings
        if (newest is None or row.started_at >= newest) and row.item.strip().lower() != queries.CREW_HOURS
    )


def _said(row: Any) -> str:
    value = " ".join(filter(None, (row.value, row.unit)))
    text = ", ".join(filter(None, (f"{row.item} {value}".strip(), row.note)))
    text = " ".join(text.split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1].rstrip()}…"


def _instrument(
    surveys: Sequence[Any],
    certificates: dict[int, list[tuple[date, date | None]]],
    stop: Stop,
    info: LineInfo,
    until: datetime,
) -> tuple[str, ...]:
    """Return the instrument that measured the line last, with how its calibration stands to the stop."""
    used = next((row for row in reversed(surveys) if row.instrument_id is not None), None)
    if used is None:
        return ()
    today = until.astimezone(info.zone).date()
    known = [each for each in certificates[used.instrument_id] if each[0] <= today]
    return (f"instrument {used.instrument}, {holds(known, _first_day(stop, info), _last_day(stop, info), today)}",)


def holds(known: Certificates, first: date, last: date, today: date) -> str:
    """Say how an instrument's calibration stands to a stop; the day it is due is the last one it covers.

    Parameters
    ----------
    known : its certificates as of today, in any order
    first, last : days of the stop
    today : as of which this is said
    """
    if not known:
        return "no calibration on record"
    if any(due is None for _, due in known):
        return f"calibrated {day(max(on for on, due in known if due is None))}, no end on record"
    due = max(due for _, due in known if due is not None)
    if due >= last:
        return f"calibration valid to {day(due)}"
    when = "before this stop" if due < first else "during this stop"
    return f"calibration {'lapsed' if due < today else 'lapses'} {day(due)}, {when}"
