"""Past as-lefts beside their own targets and beside what the record would have recommended on that day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from fleet.services.cold_offset_ways import expanded_95
from fleet.services.cold_offsets import FleetComparison, line_places, number, sizes_and_cohorts
from fleet.services.plant import LineInfo, StationInfo
from fleet.services.running_checks import Frames, as_lefts, running_temperatures
from fleet.services.series import NO_TOLERANCE, Tolerance, bands_in_force
from fleet.services.warm_ups import EXTRAPOLATED
from fleet.store import queries
from fleet.thermal.choices import WAYS, Comparison, RunRows, Way, compare
from fleet.trend.assembly import AS_LEFT
from fleet.values import AXES, Axis, BoolArray

_SHARE_OF_WATCH = 0.5
"""Where half the watch width is less than the usual good-enough width, that is what is good enough."""


@dataclass(frozen=True, slots=True)
class TargetLeft:
    """One past as-left at one station and axis, beside its own target and what the record would have recommended then.

    Lengths in um, offsets at the cold reference. `target_um` is the cold target in force (`target_own`: chosen at this
    visit). `recommended_um` is worked out from what had been measured before this as-left, with the lines, tolerances
    and settings of that day. `met` says whether |as-left - target| was within `set_within_um` (None: no target).
    `ran_um` is where the line ran after it, mean of the first run before the next as-left; `would_have_run_um` where it
    would have run with the recommended target. None: no figure.
    """

    session: str
    on: date
    technician: str | None
    station: str
    distance_mm: float
    axis: Axis
    target_um: float | None
    target_own: bool
    basis: str | None
    reason: str | None
    recommended_way: Way | None
    recommended_um: float | None
    u95_recommended_um: float | None
    runs_known: int
    as_left_um: float
    u95_as_left_um: float
    set_within_um: float
    met: bool | None
    ran_um: float | None
    would_have_run_um: float | None


@dataclass(frozen=True, slots=True)
class PastVisits:
    """What the record says of a line's visits and bands beside the measured offsets, as rows of the store."""

    technician: dict[str, str | None]
    targets: tuple[Any, ...]
    tolerances: tuple[Any, ...]


def past_visits(record: queries.Record, info: LineInfo) -> PastVisits:
    """Read a line's technicians, cold targets and tolerances."""
    return PastVisits(
        technician={row.code: row.technician for row in queries.visits_of_line(record, info.id)},
        targets=tuple(row for row in queries.cold_targets(record) if row.line_id == info.id),
        tolerances=tuple(row for row in queries.tolerances(record) if row.line_id == info.id),
    )


@dataclass(frozen=True, slots=True)
class _Left:
    """The as-left of one session: when it was measured and (value, standard uncertainty) by station id and axis."""

    session: str
    started_at: datetime
    measured_at: datetime
    offsets_um: dict[tuple[int, int], tuple[float, float]]


def targets_left(compared: FleetComparison, info: LineInfo, visits: PastVisits) -> tuple[TargetLeft, ...]:
    """Return every past as-left of a line, by station and axis, newest first.

    Parameters
    ----------
    compared : the fleet's ways
    info : the line
    visits : from `past_visits`
    """
    fleet, index = compared.fleet, compared.fleet.line_index[info.id]
    stations = {s.id: s for s in fleet.plant.stations.get(info.id, ())}
    ran = _Ran(compared, index)
    told: list[TargetLeft] = []
    for left in _lefts(compared, index):
        day = left.started_at.astimezone(info.zone).date()
        there = [stations[s] for s in dict.fromkeys(s for s, _ in left.offsets_um)]
        there.sort(key=lambda s: (s.distance_mm, s.code))
        then, place_of = _compared_then(compared, index, day, left.measured_at, there)
        bands = bands_in_force(visits.tolerances, {info.id: day})
        usual = fleet.settings.number("set_within_um", info.site_id, day)
        targets = {row.station_id: row for row in visits.targets if row.started_at <= left.started_at}
        for station in there:
            for pick, axis in enumerate(AXES):
                offset = left.offsets_um.get((station.id, pick))
                if offset is None:
                    continue
                place = place_of[station.id, pick]
                way = int(then.choice.way[place])
                recommended = number(then.target_um[place, way]) if way >= 0 else None
                target = targets.get(station.id)
                target_um = None if target is None else (target.v_um if axis == "v" else target.h_um)
                within = _set_within(_band(bands, station, axis), usual)
                rise = ran.rise_after(station.id, pick, left.measured_at)
                told.append(
                    TargetLeft(
                        session=left.session,
                        on=day,
                        technician=visits.technician.get(left.session),
                        station=station.code,
                        distance_mm=station.distance_mm,
                        axis=axis,
                        target_um=target_um,
                        target_own=target is not None and target.started_at == left.started_at,
                        basis=target.basis if target is not None else None,
                        reason=target.reason if target is not None else None,
                        recommended_way=WAYS[way] if way >= 0 else None,
                        recommended_um=recommended,
                        u95_recommended_um=expanded_95(then.u_target_um[place, way]) if way >= 0 else None,
                        runs_known=int(then.by_place.runs[place, 0]),
                        as_left_um=offset[0],
                        u95_as_left_um=expanded_95(offset[1]) or 0.0,
                        set_within_um=within,
                        met=None if target_um is None else abs(offset[0] - target_um) <= within,
                        ran_um=None if rise is None else offset[0] + rise,
                        would_have_run_um=None if rise is None or recommended is None else recommended + rise,
                    )
                )
    return tuple(told)


def _lefts(compared: FleetComparison, index: int) -> list[_Left]:
    """Return the as-lefts of a line, newest first."""
    fleet = compared.fleet
    visits = fleet.assembled.visits
    found: dict[int, _Left] = {}
    for visit, row in enumerate(fleet.assembled.left_row.tolist()):
        series = int(visits.series[visit])
        if row < 0 or int(fleet.of_line[series]) != index or fleet.measured.phase[row] != AS_LEFT:
            continue
        number_of = int(fleet.measured.session[row])
        session = fleet.sessions[number_of]
        left = found.setdefault(number_of, _Left(session.code, session.started_at, fleet.measured_at[row], {}))
        place = fleet.stations[fleet.of_station[series]].id, int(fleet.series.axis[series])
        left.offsets_um[place] = float(visits.left_um[visit]), float(visits.left_var_um2[visit] ** 0.5)
    return sorted(found.values(), key=lambda left: left.measured_at, reverse=True)


def _compared_then(
    compared: FleetComparison, index: int, day: date, moment: datetime, stations: Sequence[StationInfo]
) -> tuple[Comparison, dict[tuple[int, int], int]]:
    """Return the ways at a line's stations as known just before a moment, and the place of each station and axis."""
    fleet = compared.fleet
    days = [min(day, as_of) for as_of in fleet.as_of]
    size, cohort = sizes_and_cohorts(fleet, days)
    rows = _rows_before(compared, moment)
    rows = replace(rows, cohort=np.array(cohort, dtype=np.int64)[rows.line])
    known = [c for c in compared.checks if c.line == index and c.checked_at < moment]
    places = line_places(fleet, days, stations, running_temperatures(known), size, cohort, Frames(fleet))
    place_of = {(s.id, axis): 2 * k + axis for k, s in enumerate(stations) for axis in (0, 1)}
    return compare(rows, places), place_of


def _rows_before(compared: FleetComparison, moment: datetime) -> RunRows:
    """Return the rows of runs measured before a moment; a warm-up not over then was not extrapolated yet."""
    earlier = np.array([check.checked_at < moment for check in compared.checks], dtype=np.bool_)
    open_runs = set(compared.check_run[~earlier].tolist())
    running = np.array([run in open_runs for run in compared.check_run.tolist()], dtype=np.bool_)
    extrapolated = np.array([check.label == EXTRAPOLATED for check in compared.checks], dtype=np.bool_)
    of_row = np.array(compared.row_check, dtype=np.int64)
    rows, keep = compared.rows, (earlier & ~(running & extrapolated))[of_row]
    rows = replace(rows, counts=rows.counts | running[of_row])
    return _picked(rows, keep)


def _picked(rows: RunRows, keep: BoolArray) -> RunRows:
    return RunRows(**{f.name: getattr(rows, f.name)[keep] for f in fields(rows)})


class _Ran:
    """The measured rises of one line, to be found by the as-left they followed."""

    def __init__(self, compared: FleetComparison, index: int) -> None:
        self._lefts = as_lefts(compared.fleet)
        self._rises: dict[tuple[int, int], list[tuple[datetime, int, float]]] = defaultdict(list)
        rows = compared.rows
        for row in np.flatnonzero((rows.line == index) & rows.counts).tolist():
            when = compared.checks[compared.row_check[row]].checked_at
            place = int(rows.station[row]), int(rows.axis[row])
            self._rises[place].append((when, int(rows.run[row]), float(rows.rise_um[row])))

    def rise_after(self, station: int, axis: int, moment: datetime) -> float | None:
        """Return the mean rise of the first run after an as-left and before the next one; None without any [um]."""
        later = [at for at, _, _ in self._lefts.get((station, axis), ()) if at > moment]
        until = min(later, default=None)
        after = sorted(r for r in self._rises[station, axis] if r[0] >= moment and (until is None or r[0] < until))
        return float(np.mean([rise for _, run, rise in after if run == after[0][1]])) if after else None


def _band(bands: dict[tuple[int, int | None, str], Tolerance], station: StationInfo, axis: Axis) -> Tolerance:
    own = bands.get((station.line_id, station.id, axis))
    return own or bands.get((station.line_id, None, axis), NO_TOLERANCE)


def _set_within(band: Tolerance, usual_um: float) -> float:
    if band.set_within_um is not None:
        return band.set_within_um
    return usual_um if band.watch_um is None else min(usual_um, _SHARE_OF_WATCH * band.watch_um)
