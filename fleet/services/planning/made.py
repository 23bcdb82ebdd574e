"""Visits that were made: in which outage, with what crew hours, and what their as-found showed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np

from fleet.reports.became_content import Found
from fleet.services.limits import Band, band_on, bands_over_time, verdict
from fleet.services.line_history import target_on
from fleet.services.planning.hours import hours_written
from fleet.services.planning.windows import Window
from fleet.services.plant import LineInfo
from fleet.services.series import FleetSeries, SessionInfo
from fleet.store import queries

AROUND: Final = timedelta(days=2)
"""A visit that names no outage belongs to one that it lies within, or so near to: crews begin early and end late."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit that counts and measured the line as found or as left.

    Parameters
    ----------
    line_id, session_id, session : which one
    started_at, on : when it began, and that day at its site
    outage : the outage it was made in, None outside any
    hours : crew hours written down, None where nobody did
    """

    line_id: int
    session_id: int
    session: str
    started_at: datetime
    on: date
    outage: Window | None
    hours: float | None


def visits_made(
    record: queries.Record, lines: Sequence[LineInfo], windows: Sequence[Window], *, until: datetime
) -> dict[int, tuple[Visit, ...]]:
    """Return the visits of some lines up to a moment, in time order, by id of the line.

    Parameters
    ----------
    record : open session of `Store.read()`
    lines : of which lines
    windows : every outage on record
    until : visits that began later are left out
    """
    by_id = {window.id: window for window in windows}
    hours: dict[int, list[float]] = defaultdict(list)
    for row in queries.crew_hours(record):
        if (written := hours_written(row.value, row.unit)) is not None:
            hours[row.session_id].append(written)
    infos = {line.id: line for line in lines}
    seen: dict[int, Any] = {}
    for row in queries.cold_surveys_of(record, list(infos)):
        if row.phase in ("as_found", "as_left") and row.started_at <= until:
            seen.setdefault(row.session_id, row)
    made: dict[int, list[Visit]] = defaultdict(list)
    for row in seen.values():
        info = infos[row.line_id]
        outage = by_id[row.outage_id] if row.outage_id is not None else _near(row.started_at, info, windows)
        made[info.id].append(
            Visit(
                line_id=info.id,
                session_id=row.session_id,
                session=row.session,
                started_at=row.started_at,
                on=row.started_at.astimezone(info.zone).date(),
                outage=outage,
                hours=sum(hours[row.session_id]) if hours[row.session_id] else None,
            )
        )
    return {line_id: tuple(visits) for line_id, visits in made.items()}


def serves(window: Window, line: LineInfo) -> bool:
    """Return whether an outage serves a line: its own, one of its site, or one of no site at all."""
    if window.line_id is not None:
        return window.line_id == line.id
    return window.site_id in (None, line.site_id)


def _near(moment: datetime, line: LineInfo, windows: Iterable[Window]) -> Window | None:
    """Return the outage in which, or nearest to which, a visit began that names none."""
    known = [
        (max(window.starts_at - moment, moment - window.last_at, timedelta(0)), window.starts_at, window.code, window)
        for window in windows
        if window.state != "cancelled" and serves(window, line)
    ]
    away, *_, nearest = min(known, key=lambda each: each[:3], default=(AROUND * 2, None))
    return nearest if away <= AROUND else None


def found_at(record: queries.Record, fleet: FleetSeries, session_ids: Collection[int]) -> dict[int, Found | None]:
    """Return what the as-found of some sessions showed, judged as on the line's own page: by the band of its day.

    Parameters
    ----------
    record, fleet : open session of `Store.read()`, and the series of the same record
    session_ids : which sessions

    Returns
    -------
    the worst place of each by id of the session, None where no limit held; sessions without an as-found are left out
    """
    wanted = [k for k, session in enumerate(fleet.sessions) if session.id in session_ids]
    if not wanted:
        return {}
    assembled = fleet.assembled
    rows = np.flatnonzero(np.isin(assembled.session, wanted) & (assembled.found_row >= 0)).tolist()
    line_ids = {fleet.plant.lines[fleet.sessions[k].line].id for k in wanted}
    tolerances = _grouped(row for row in queries.tolerances(record) if row.line_id in line_ids)
    targets: dict[tuple[int, str], list[tuple[datetime, float]]] = defaultdict(list)
    for row in queries.cold_targets(record):
        if row.line_id in line_ids:
            targets[row.station_id, "v"].append((row.started_at, row.v_um))
            targets[row.station_id, "h"].append((row.started_at, row.h_um))
    bands: dict[int, tuple[Band, ...]] = {}
    worst: dict[int, Found | None] = {}
    for k in rows:
        series = int(assembled.visits.series[k])
        if series not in bands:
            station = fleet.stations[fleet.of_station[series]]
            bands[series] = bands_over_time(tolerances.get(station.line_id, ()), station.id, fleet.of_axis[series])
        session = fleet.sessions[assembled.session[k]]
        place = _place(fleet, k, session, bands[series], targets)
        before = worst.setdefault(session.id, None)
        if place is not None:
            worst[session.id] = place if before is None else max(before, place, key=_used)
    return worst


def _place(
    fleet: FleetSeries,
    k: int,
    session: SessionInfo,
    bands: Sequence[Band],
    targets: Mapping[tuple[int, str], list[tuple[datetime, float]]],
) -> Found | None:
    """Return one station and axis of a visit's as-found; None where no limit held that day."""
    series, row = int(fleet.assembled.visits.series[k]), int(fleet.assembled.found_row[k])
    station, axis = fleet.stations[fleet.of_station[series]], fleet.of_axis[series]
    info = fleet.plant.lines[fleet.of_line[series]]
    on = fleet.measured_at[row].astimezone(info.zone).date()
    band = band_on(bands, on)
    target_um = target_on(targets.get((station.id, axis), []), session.started_at)
    deviation_um = float(fleet.measured.value_um[row]) - target_um
    told = verdict(deviation_um, band)
    if band is None or band.limit_um is None:
        return None
    return Found(
        session=session.code,
        on=on,
        station=station.code,
        axis=axis,
        deviation_um=deviation_um,
        limit_um=band.limit_um,
        over=told == "over",
        side=info.right_hand_side,
    )


def _used(found: Found) -> tuple[bool, float]:
    """Return how much of its limit a place uses; one that is over goes before any that is not."""
    return found.over, abs(found.deviation_um) / found.limit_um if found.limit_um > 0.0 else 0.0


def _grouped(rows: Iterable[Any]) -> dict[int, list[Any]]:
    grouped: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.line_id].append(row)
    return grouped
