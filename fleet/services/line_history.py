"""The history of one station and axis: visits, drift and realignment, events, targets, and the fan ahead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any, Final, Literal

import numpy as np

from fleet.services.drift import intervals_of
from fleet.services.forecasting import Foreseen
from fleet.services.limits import Band, Verdict, band_on, bands_over_time, verdict
from fleet.services.plant import LineInfo
from fleet.services.rows import ForecastRow
from fleet.services.series import FleetSeries
from fleet.services.site_time import EPOCH, start_of_day
from fleet.values import AXES, DAYS_PER_YEAR, NORMAL_95, Axis

Phase = Literal["as_found", "interim", "as_left", "hot"]
Joins = Literal["drift", "realigned", "across", "gap"] | None
_PHASES: Final[tuple[Phase, ...]] = ("as_found", "interim", "as_left")


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One measured deviation from the target of its day [um], in time order, judged by the limit of its day.

    `joins` tells what leads here from the point before: `drift` (nobody touched it), `realigned` (a move by a
    person), `across` (an event that resets the trend lies between), `gap` (not known to belong together) or None.
    """

    at: datetime
    session: str
    phase: Phase
    deviation_um: float
    u95_um: float
    target_um: float
    joins: Joins
    verdict: Verdict = "no limit"


@dataclass(frozen=True, slots=True)
class FanPoint:
    """The deviation expected on one day if nobody touches the line [um]: mean, 80 % and 50 % range."""

    on: date
    mean_um: float
    q10_um: float
    q25_um: float
    q75_um: float
    q90_um: float


@dataclass(frozen=True, slots=True)
class EventMark:
    """Something that may change how the line moves."""

    at: datetime
    kind: str
    note: str | None
    resets_trend: bool


@dataclass(frozen=True, slots=True)
class TargetChange:
    """The cold target of the shown station and axis changed at a visit [um]."""

    at: datetime
    before_um: float
    after_um: float


@dataclass(frozen=True, slots=True)
class Habits:
    """What the forecast counts beside the rate of the shown station and axis; None where the record shows none.

    `wander_um` is the standard deviation of what a year adds at random. A year's swing reaches `swing_um` to either
    side, to the high or right one about `swing_peak`, a day of any year. Comparable stations jump by `jump_um`
    (standard deviation) once in `jump_every_years`.
    """

    wander_um: float
    swing_um: float | None
    swing_peak: date | None
    jump_um: float | None
    jump_every_years: float | None


@dataclass(frozen=True, slots=True)
class History:
    """The shown station and axis over time, with its forecast and the chance dates.

    `watch_um` and `limit_um` hold today; `bands` are all there ever were and that are to come, oldest first.
    """

    station: str
    axis: Axis
    points: tuple[HistoryPoint, ...]
    fan: tuple[FanPoint, ...]
    events: tuple[EventMark, ...]
    target_changes: tuple[TargetChange, ...]
    watch_um: float | None
    limit_um: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    rate_um_per_year: float | None
    u95_rate_um_per_year: float | None
    rate_um_per_1000_h: float | None
    intervals: int
    borrowed_weight: float | None
    borrowed_lines: int | None
    habits: Habits
    bands: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True)
class DriftRow:
    """One interval of the shown station and axis: nobody touched the line between these visits, so it drifted.

    `rate` is um per 1 000 running hours where the line has a meter, else um per year (`rate_unit`).
    """

    from_at: datetime
    to_at: datetime
    running_hours: float | None
    moved_um: float
    u95_um: float
    rate: float | None
    rate_unit: Literal["um_per_1000_h", "um_per_year"]
    beyond_measurement: bool
    unusual: bool


def _series_of(fleet: FleetSeries, info: LineInfo, chosen: ForecastRow) -> int:
    return next(
        int(i)
        for i in fleet.rows_of(info.id)
        if fleet.stations[fleet.of_station[i]].code == chosen.station and fleet.of_axis[i] == chosen.axis
    )


def history_of(
    fleet: FleetSeries,
    info: LineInfo,
    foreseen: Foreseen,
    rows: list[ForecastRow],
    chosen: ForecastRow,
    events: list[Any],
    targets: list[Any],
    tolerances: Sequence[Any],
) -> History:
    series = _series_of(fleet, info, chosen)
    station = fleet.stations[fleet.of_station[series]]
    pick = 1 + AXES.index(chosen.axis)
    own_targets = [
        (row.started_at, row.v_um if pick == 1 else row.h_um) for row in targets if row.station_id == station.id
    ]
    now = target_on(own_targets, None)
    bands = bands_over_time(tolerances, station.id, chosen.axis)
    at = next(k for k, row in enumerate(rows) if (row.station, row.axis) == (chosen.station, chosen.axis))
    return History(
        station=chosen.station,
        axis=chosen.axis,
        points=_points(fleet, info, series, own_targets, bands),
        fan=tuple(
            FanPoint(e.at, e.mean_um - now, e.q10 - now, e.q25 - now, e.q75 - now, e.q90 - now)
            for e in rows[at].expected
        ),
        events=_events(fleet, info, station.id, station.support_id, events),
        target_changes=tuple(
            TargetChange(when.astimezone(info.zone), before, after)
            for (_, before), (when, after) in pairwise(own_targets)
            if before != after
        ),
        watch_um=chosen.watch_um,
        limit_um=chosen.limit_um,
        over_p10=chosen.over_on.p10,
        over_p50=chosen.over_on.p50,
        over_p90=chosen.over_on.p90,
        rate_um_per_year=chosen.rate_um_per_year,
        u95_rate_um_per_year=NORMAL_95 * chosen.u_rate_um_per_year,
        rate_um_per_1000_h=chosen.rate_um_per_1000_h,
        intervals=int(fleet.posterior.n_intervals[foreseen.rows[at]]),
        borrowed_weight=chosen.borrowed_from.weight,
        borrowed_lines=chosen.borrowed_from.lines,
        habits=_habits(fleet, series),
        bands=bands,
    )


def _habits(fleet: FleetSeries, series: int) -> Habits:
    known, clock = fleet.posterior, fleet.clocks[fleet.of_line[series]]
    cosine, sine = known.swing_um[series].tolist()
    swing, often = math.hypot(cosine, sine), float(known.jumps_per_year[series]) * clock.pace
    peak = math.atan2(sine, cosine) / (2.0 * math.pi) % 1.0 * DAYS_PER_YEAR
    return Habits(
        wander_um=float(known.sigma_um[series]) * math.sqrt(clock.pace),
        swing_um=swing or None,
        swing_peak=EPOCH.date() + timedelta(days=peak) if swing else None,
        jump_um=float(known.jump_um[series]) if often else None,
        jump_every_years=1.0 / often if often else None,
    )


def target_on(targets: list[tuple[datetime, float]], moment: datetime | None) -> float:
    """Return the target of a day: the newest recorded at or before a moment (None: the newest), 0 before the first."""
    known = [value for when, value in targets if moment is None or when <= moment]
    return known[-1] if known else 0.0


def _points(
    fleet: FleetSeries,
    info: LineInfo,
    series: int,
    targets: list[tuple[datetime, float]],
    bands: Sequence[Band],
) -> tuple[HistoryPoint, ...]:
    visits, found = fleet.assembled.visits, fleet.intervals
    own = np.flatnonzero(found.series == series)
    ending = {int(found.to_visit[i]): bool(found.across_event[i]) for i in own}
    points: list[HistoryPoint] = []
    for visit in np.flatnonzero(visits.series == series).tolist():
        session = fleet.sessions[fleet.assembled.session[visit]]
        target = target_on(targets, session.started_at)
        rows = [int(fleet.assembled.found_row[visit]), int(fleet.assembled.left_row[visit])]
        for place, row in enumerate(dict.fromkeys(r for r in rows if r >= 0)):
            joins: Joins = None
            if place == 1:
                joins = "realigned" if visits.moved[visit] else "drift"
            elif points:
                joins = ("across" if ending[visit] else "drift") if visit in ending else "gap"
            at = fleet.measured_at[row].astimezone(info.zone)
            deviation_um = float(fleet.measured.value_um[row]) - target
            points.append(
                HistoryPoint(
                    at=at,
                    session=session.code,
                    phase=_PHASES[int(fleet.measured.phase[row])],
                    deviation_um=deviation_um,
                    u95_um=NORMAL_95 * float(fleet.measured.var_um2[row]) ** 0.5,
                    target_um=target,
                    joins=joins,
                    verdict=verdict(deviation_um, band_on(bands, at.date())),
                )
            )
    return tuple(points)


def _events(
    fleet: FleetSeries, info: LineInfo, station_id: int, support_id: int | None, events: list[Any]
) -> tuple[EventMark, ...]:
    marks = [
        EventMark(row.happened_at.astimezone(info.zone), row.kind, row.note, row.resets_trend)
        for row in events
        if row.station_id in (None, station_id) and (row.support_id is None or row.support_id == support_id)
    ]
    told = {mark.at.date() for mark in marks if mark.resets_trend}
    marks += [
        EventMark(start_of_day(day, info.zone).astimezone(info.zone), f"{kind} changed", None, True)
        for day, kind in fleet.plant.swaps(info.id)
        if day not in told
    ]
    return tuple(sorted(marks, key=lambda mark: mark.at))


def drift_of(fleet: FleetSeries, info: LineInfo, chosen: ForecastRow) -> tuple[DriftRow, ...]:
    rows = intervals_of(fleet, _series_of(fleet, info, chosen))
    return tuple(
        DriftRow(
            from_at=row.from_at,
            to_at=row.to_at,
            running_hours=row.running_hours,
            moved_um=row.moved_um,
            u95_um=NORMAL_95 * row.u_um,
            rate=row.rate,
            rate_unit=row.rate_unit,
            beyond_measurement=row.beyond_measurement,
            unusual=row.unusual,
        )
        for row in reversed(rows)
    )
