"""The fleet's series as the trend sees them: visits, intervals, pooled rates and posteriors, as of a day.

Drift, forecast, pages and job sheets all stand on this one reading of the record.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from fleet.services.kept import Kept
from fleet.services.plant import LineInfo, Plant, StationInfo, load_plant
from fleet.services.settings import Settings, settings_of
from fleet.services.site_time import end_of_day, epoch_days, local_day_number, site_today, start_of_day, zone_of
from fleet.store import queries
from fleet.store.versions import data_version
from fleet.trend.assembly import (
    AS_FOUND,
    AS_LEFT,
    INTERIM,
    NO_MOVE,
    Assembled,
    Measured,
    Resets,
    Sessions,
    assemble,
)
from fleet.trend.clock import CALENDAR, LineClock, line_clock
from fleet.trend.pooling import Pooled, pool_rates
from fleet.trend.posterior import Posterior, posteriors
from fleet.trend.records import Intervals, Series, intervals
from fleet.values import AXES, Axis, FloatArray, IntArray

_PHASES = {"as_found": AS_FOUND, "interim": INTERIM, "as_left": AS_LEFT}


@dataclass(frozen=True, slots=True)
class SessionInfo:
    """One visit that counts."""

    id: int
    code: str
    line: int
    started_at: datetime


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Half-widths in force [um]; None: not recorded."""

    watch_um: float | None
    limit_um: float | None
    set_within_um: float | None


NO_TOLERANCE = Tolerance(None, None, None)


@dataclass(frozen=True, slots=True)
class OutageInfo:
    """One planned outage; `site_id` and `line_id` say whom it serves."""

    code: str
    site_id: int | None
    line_id: int | None
    site: str | None
    line: str | None
    kind: str | None
    starts_at: datetime
    ends_at: datetime | None
    crew_hours: float | None


@dataclass(frozen=True, slots=True)
class FleetSeries:
    """Everything the trend knows of a fleet as of a day at each line's site.

    `of_station[i]`, `of_axis[i]` and `of_line[i]` say what series i is (`series.line` counts every bore of a line as
    a barrel of its own, so that pooling never mixes bores); `measured_at[r]` when row r of the cold surveys was taken.
    """

    plant: Plant
    settings: Settings
    as_of: tuple[date, ...]
    sessions: tuple[SessionInfo, ...]
    session_days: FloatArray
    stations: tuple[StationInfo, ...]
    of_station: IntArray
    of_axis: tuple[Axis, ...]
    of_line: IntArray
    series: Series
    measured: Measured
    measured_at: tuple[datetime, ...]
    assembled: Assembled
    resets: Resets
    clocks: tuple[LineClock, ...]
    intervals: Intervals
    pooled: Pooled
    posterior: Posterior
    tolerances: dict[tuple[int, int | None, str], Tolerance]
    targets: dict[int, tuple[datetime, float, float]]
    outages: tuple[OutageInfo, ...]
    line_index: dict[int, int]

    def tolerance(self, station: StationInfo, axis: Axis) -> Tolerance:
        """Return the band in force for a station and axis; its own beats its line's."""
        own = self.tolerances.get((station.line_id, station.id, axis))
        return own or self.tolerances.get((station.line_id, None, axis), NO_TOLERANCE)

    def target_um(self, station: StationInfo, axis: Axis) -> float | None:
        """Return the newest cold target of a station and axis, None where none was ever recorded."""
        recorded = self.targets.get(station.id)
        if recorded is None:
            return None
        return recorded[1] if axis == "v" else recorded[2]

    def coming_outages(self, line: LineInfo, as_of: date) -> tuple[OutageInfo, ...]:
        """Return the planned outages ahead of a line: its own and its site's, in time order."""
        after = end_of_day(as_of, line.zone)
        return tuple(
            outage
            for outage in self.outages
            if outage.starts_at > after
            and (outage.line_id == line.id or (outage.line_id is None and outage.site_id == line.site_id is not None))
        )

    def rows_of(self, line_id: int) -> IntArray:
        """Return the series of one line."""
        return np.flatnonzero(self.of_line == self.line_index[line_id]).astype(np.int64)


def load_series(record: queries.Record, *, as_of: date | None = None, now: datetime | None = None) -> FleetSeries:
    """Read the record and bring it to series, pooled rates and posteriors.

    Parameters
    ----------
    record : open session of `Store.read()`
    as_of : use only what had happened by the end of this day at each line's site; None: today there
    now : the present moment, for tests; None: the clock
    """
    plant = load_plant(record)
    settings = settings_of(queries.settings(record))
    days = tuple(as_of or site_today(line.zone, now) for line in plant.lines)
    cutoffs = [end_of_day(day, line.zone) for day, line in zip(days, plant.lines, strict=True)]
    line_index = {line.id: index for index, line in enumerate(plant.lines)}

    session_rows = [row for row in queries.sessions(record) if row.started_at <= cutoffs[line_index[row.line_id]]]
    # The store sorts by line id; the trend wants them by index of the line, then time.
    session_rows.sort(key=lambda row: (line_index[row.line_id], row.started_at, row.code))
    session_infos = tuple(
        SessionInfo(row.id, row.code, line_index[row.line_id], row.started_at) for row in session_rows
    )
    session_index = {session.id: index for index, session in enumerate(session_infos)}
    sessions = _sessions(session_infos, plant, queries.moves_made(record), session_index)

    measured_rows = [row for row in queries.cold_offsets(record) if row.session_id in session_index]
    station_of = {station.id: station for group in plant.stations.values() for station in group}
    station_ids = sorted(
        {row.station_id for row in measured_rows}, key=lambda i: _station_order(station_of[i], line_index)
    )
    stations = tuple(station_of[station_id] for station_id in station_ids)
    place = {station.id: index for index, station in enumerate(stations)}
    measured, measured_at = _measured(measured_rows, session_index, session_infos, place)

    of_station = np.repeat(np.arange(len(stations)), 2)
    of_axis: tuple[Axis, ...] = AXES * len(stations)
    series = _series(stations, plant, days, line_index)
    clocks = _clocks(queries.meters(record), plant, cutoffs, line_index)
    clock_years = np.array(
        [clocks[s.line].years(np.array([d]))[0] for s, d in zip(session_infos, sessions.days, strict=True)]
    )
    resets = _resets(queries.events(record), plant, stations, cutoffs, line_index)
    assembled = assemble(sessions, measured, resets, clock_years)
    found = intervals(assembled.visits)
    pooled = pool_rates(found, series)
    return FleetSeries(
        plant=plant,
        settings=settings,
        as_of=days,
        sessions=session_infos,
        session_days=sessions.days,
        stations=stations,
        of_station=of_station,
        of_axis=of_axis,
        of_line=np.repeat(np.array([line_index[s.line_id] for s in stations], dtype=np.int64), 2),
        series=series,
        measured=measured,
        measured_at=measured_at,
        assembled=assembled,
        resets=resets,
        clocks=clocks,
        intervals=found,
        pooled=pooled,
        posterior=posteriors(assembled.visits, found, series, pooled, regime_now=resets.count(series.axis.size)),
        tolerances=bands_in_force(
            queries.tolerances(record), {line.id: day for line, day in zip(plant.lines, days, strict=True)}
        ),
        targets=_targets(queries.cold_targets(record), cutoffs, line_index),
        outages=tuple(
            OutageInfo(
                row.code, row.site_id, row.line_id, row.site, row.line, row.kind, row.starts_at, row.ends_at,
                row.crew_hours,
            )
            for row in queries.outages(record)
        ),
        line_index=line_index,
    )  # fmt: skip


_KEPT: Kept[FleetSeries] = Kept()


def current_series(record: queries.Record, *, now: datetime | None = None) -> FleetSeries:
    """Return the fleet's series as of today at each site, worked out once per version of the facts and day."""
    return _KEPT.of(record, _days(record, now), lambda: load_series(record, now=now))


def kept_is_current(record: queries.Record, *, now: datetime | None = None) -> bool | None:
    """Return whether what this process keeps is of the facts and days of now; None where it keeps nothing."""
    kept = _KEPT.version(record)
    return None if kept is None else kept == (data_version(record), _days(record, now))


def older_series(record: queries.Record, *, now: datetime | None = None) -> FleetSeries:
    """Return the series this process keeps, however old, or else those of now; a page that shows them says so."""
    return _KEPT.newest(record) or current_series(record, now=now)


def _days(record: queries.Record, now: datetime | None) -> tuple[tuple[str | None, date], ...]:
    return tuple((zone, site_today(zone_of(zone), now)) for zone in queries.time_zones(record))


def _station_order(station: StationInfo, line_index: dict[int, int]) -> tuple[int, float, str]:
    return line_index[station.line_id], station.distance_mm, station.code


def _sessions(infos: tuple[SessionInfo, ...], plant: Plant, moves: Any, index: dict[int, int]) -> Sessions:
    n = len(infos)
    has_moves = np.zeros(n, dtype=np.bool_)
    first, last = np.full(n, NO_MOVE, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    for row in moves:
        at = index.get(row.session_id)
        if at is None:
            continue
        has_moves[at] = True
        if (row.v_um or 0.0) != 0.0 or (row.h_um or 0.0) != 0.0:
            after = row.after or 0
            first[at], last[at] = min(first[at], after), max(last[at], after)
    return Sessions(
        line=np.array([s.line for s in infos], dtype=np.int64),
        days=np.array([epoch_days(s.started_at) for s in infos], dtype=np.float64),
        local_day=np.array([local_day_number(s.started_at, plant.lines[s.line].zone) for s in infos], dtype=np.int64),
        has_moves=has_moves,
        first_move_after=first,
        last_move_after=last,
    )


def _measured(
    rows: list[Any], session_index: dict[int, int], sessions: tuple[SessionInfo, ...], place: dict[int, int]
) -> tuple[Measured, tuple[datetime, ...]]:
    session = np.array([session_index[row.session_id] for row in rows], dtype=np.int64)
    number = np.array([row.number for row in rows], dtype=np.int64)
    phase = np.array([_PHASES[row.phase] for row in rows], dtype=np.int64)
    station = np.array([place[row.station_id] for row in rows], dtype=np.int64)
    values = np.array(
        [
            (row.v_cold_um, row.h_cold_um, row.u_v_cold_um, row.u_h_cold_um, row.setup_v_um2, row.setup_h_um2)
            for row in rows
        ],
        dtype=np.float64,
    ).reshape(len(rows), 6)
    at = tuple(row.measured_at or sessions[i].started_at for row, i in zip(rows, session, strict=True))
    both = Measured(
        session=np.concatenate([session, session]),
        number=np.concatenate([number, number]),
        phase=np.concatenate([phase, phase]),
        series=np.concatenate([2 * station, 2 * station + 1]),
        value_um=np.concatenate([values[:, 0], values[:, 1]]),
        var_um2=np.concatenate([values[:, 2], values[:, 3]]) ** 2,
        setup_um2=np.concatenate([values[:, 4], values[:, 5]]),
    )
    return both, at + at


def _series(
    stations: tuple[StationInfo, ...], plant: Plant, days: tuple[date, ...], line_index: dict[int, int]
) -> Series:
    farthest: dict[int, float] = defaultdict(float)
    for group in plant.stations.values():
        for station in group:
            farthest[station.line_id] = max(farthest[station.line_id], station.distance_mm)
    foundations = sorted({line.foundation for line in plant.lines if line.foundation})
    codes = {name: code for code, name in enumerate(foundations)}
    sites = sorted({line.site_id for line in plant.lines if line.site_id is not None})
    site_codes: dict[int | None, int] = {site: code for code, site in enumerate(sites)}
    share, line, foundation, site = [], [], [], []
    for station in stations:
        index = line_index[station.line_id]
        barrel = plant.standing(station.line_id, "barrel", days[index])
        length = (barrel.length_mm if barrel else None) or farthest[station.line_id]
        share.append(station.distance_mm / length if length else 0.0)
        line.append(index + (station.bore - 1) * len(plant.lines))
        foundation.append(codes.get(plant.lines[index].foundation or "", -1))
        site.append(site_codes.get(plant.lines[index].site_id, -1))
    return Series(
        axis=np.tile(np.array([0, 1], dtype=np.int64), len(stations)),
        share=np.repeat(np.array(share, dtype=np.float64), 2),
        line=np.repeat(np.array(line, dtype=np.int64), 2),
        foundation=np.repeat(np.array(foundation, dtype=np.int64), 2),
        site=np.repeat(np.array(site, dtype=np.int64), 2),
    )


def _clocks(rows: Any, plant: Plant, cutoffs: list[datetime], line_index: dict[int, int]) -> tuple[LineClock, ...]:
    read: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for row in rows:
        index = line_index[row.line_id]
        if row.read_at <= cutoffs[index]:
            read[index].append((epoch_days(row.read_at), row.running_hours))
    return tuple(
        line_clock(*(np.array(column) for column in zip(*read[index], strict=True))) if index in read else CALENDAR
        for index in range(len(plant.lines))
    )


def _resets(
    events: Any, plant: Plant, stations: tuple[StationInfo, ...], cutoffs: list[datetime], line_index: dict[int, int]
) -> Resets:
    of_line: dict[int, list[int]] = defaultdict(list)
    for index, station in enumerate(stations):
        of_line[station.line_id].append(index)
    happened: list[tuple[int, datetime]] = []
    for row in events:
        if row.resets_trend and row.happened_at <= cutoffs[line_index[row.line_id]]:
            happened += [
                (index, row.happened_at)
                for index in of_line[row.line_id]
                if (row.station_id is None or stations[index].id == row.station_id)
                and (row.support_id is None or stations[index].support_id == row.support_id)
            ]
    for line in plant.lines:
        for day, _ in plant.swaps(line.id):
            moment = start_of_day(day, line.zone)
            if moment <= cutoffs[line_index[line.id]]:
                happened += [(index, moment) for index in of_line[line.id]]
    series, days, local = [], [], []
    for index, moment in happened:
        zone = plant.lines[line_index[stations[index].line_id]].zone
        for axis in (0, 1):
            series.append(2 * index + axis)
            days.append(epoch_days(moment))
            local.append(local_day_number(moment, zone))
    of = np.array(series, dtype=np.int64)
    return Resets(of, np.array(days, dtype=np.float64), np.array(local, dtype=np.int64))


def bands_in_force(rows: Any, days: Mapping[int, date]) -> dict[tuple[int, int | None, str], Tolerance]:
    """Return the newest band of every line (id), station (None: whole line) and axis, as of each line's day.

    Parameters
    ----------
    rows : of `queries.tolerances`
    days : as of which day, by line id; lines without one are left out
    """
    in_force: dict[tuple[int, int | None, str], Tolerance] = {}
    for row in sorted(rows, key=lambda r: r.from_on or date.min):
        if row.line_id in days and (row.from_on is None or row.from_on <= days[row.line_id]):
            in_force[row.line_id, row.station_id, row.axis] = Tolerance(row.watch_um, row.limit_um, row.set_within_um)
    return in_force


def _targets(
    rows: Any, cutoffs: list[datetime], line_index: dict[int, int]
) -> dict[int, tuple[datetime, float, float]]:
    newest: dict[int, tuple[datetime, float, float]] = {}
    for row in rows:
        if row.started_at <= cutoffs[line_index[row.line_id]]:
            newest[row.station_id] = (row.started_at, row.v_um, row.h_um)
    return newest
