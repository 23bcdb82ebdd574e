"""Cold offsets: the five ways of choosing them against what running checks showed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isnan
from typing import Final

import numpy as np

from fleet.services.kept import Kept
from fleet.services.plant import LineInfo, StationInfo
from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import ColdOffsetRow, Recommended, RunningCheckRow, WayRow, WouldHaveRun
from fleet.services.running_checks import (
    AsLefts,
    Check,
    Frames,
    as_lefts,
    hot_surveys,
    last_before,
    nan_if_none,
    rows_in_frames,
    running_checks,
    running_temperatures,
)
from fleet.services.series import FleetSeries, load_series
from fleet.services.site_time import end_of_day, epoch_days
from fleet.services.temperatures import own_temperatures
from fleet.services.warm_ups import with_warm_ups
from fleet.store import queries
from fleet.store.engine import Store
from fleet.thermal.bore_size import BORE_SIZE_POINTS, bore_size_drop_um, bore_size_target_um
from fleet.thermal.choices import WAYS, Comparison, Places, RunRows, Way, compare, why
from fleet.thermal.geometry import Temperatures
from fleet.thermal.measured import group_runs
from fleet.thermal.rise import rise, rises
from fleet.trend.assembly import AS_LEFT
from fleet.values import AXES, Axis, FloatArray, IntArray

SIZE_STEP_MM: Final = 15.0
"""Lines whose bores round to one step count as alike; neighbouring screw sizes differ by about as much."""


@dataclass(frozen=True, slots=True)
class FleetComparison:
    """The ways compared over a whole fleet.

    `checks[row_check[r]]` is what row r of `rows` came from and `check_run[c]` the run of check c; `stations[p // 2]`
    is the station of place p. The temperatures are each line's medians while running, by index of the line.
    """

    fleet: FleetSeries
    checks: tuple[Check, ...]
    check_run: IntArray
    row_check: tuple[int, ...]
    rows: RunRows
    stations: tuple[StationInfo, ...]
    places: Places
    comparison: Comparison
    running_temperatures: dict[int, Temperatures]
    remarks: Mapping[int, tuple[str, ...]]


class _Remarks(Mapping[int, tuple[str, ...]]):
    """What the heat model remarks on a line (by index) at its running temperatures; worked out when asked."""

    def __init__(self, fleet: FleetSeries, running: Mapping[int, Temperatures]) -> None:
        self._fleet, self._running = fleet, running

    def __getitem__(self, line: int) -> tuple[str, ...]:
        geometry = self._fleet.plant.geometry(self._fleet.plant.lines[line], self._fleet.as_of[line])
        return rise(geometry, self._running[line], np.empty(0)).remarks

    def __iter__(self) -> Iterator[int]:
        return iter(self._running)

    def __len__(self) -> int:
        return len(self._running)


def compare_fleet(record: queries.Record, fleet: FleetSeries) -> FleetComparison:
    """Compare the ways over all lines of a fleet as of its day."""
    plant = fleet.plant
    cutoffs = [end_of_day(day, line.zone) for day, line in zip(fleet.as_of, plant.lines, strict=True)]
    station_of = {s.id: s for group in plant.stations.values() for s in group}
    own = own_temperatures(record)
    as_left, frames = as_lefts(fleet), Frames(fleet)
    checks = [
        *running_checks(record, fleet, station_of, cutoffs, own.at_check, frames),
        *hot_surveys(record, fleet, station_of, cutoffs, own.at_survey, as_left, frames),
    ]
    checks, check_run = with_warm_ups(checks, _runs(fleet, checks))
    running = running_temperatures(checks)
    size, cohort = sizes_and_cohorts(fleet, fleet.as_of)
    rows, row_check = _run_rows(fleet, checks, check_run, as_left, cohort)
    stations = tuple(
        s
        for line, day in zip(plant.lines, fleet.as_of, strict=True)
        for s in plant.stations.get(line.id, ())
        if s.removed_on is None or s.removed_on > day
    )
    places = line_places(fleet, fleet.as_of, stations, running, size, cohort, frames)
    return FleetComparison(
        fleet=fleet,
        checks=tuple(checks),
        check_run=check_run,
        row_check=row_check,
        rows=rows,
        stations=stations,
        places=places,
        comparison=compare(rows, places),
        running_temperatures=running,
        remarks=_Remarks(fleet, running),
    )


_KEPT: Kept[FleetComparison] = Kept()


def current_comparison(record: queries.Record, fleet: FleetSeries) -> FleetComparison:
    """Return the comparison of a fleet as of today, worked out once per version of the facts and day.

    Parameters
    ----------
    record : open session of `Store.read()`
    fleet : the record brought to series as of today
    """
    return _KEPT.of(record, fleet.as_of, lambda: compare_fleet(record, fleet))


def _bore_mm(fleet: FleetSeries, line: LineInfo, day: date) -> float | None:
    barrel = fleet.plant.standing(line.id, "barrel", day)
    return (barrel.bore_mm if barrel else None) or line.screw_diameter_mm


def sizes_and_cohorts(fleet: FleetSeries, days: Sequence[date]) -> tuple[list[int], list[int]]:
    """Return a number for the bore size of every line on its day, and one for its saddle and size together."""
    sizes, cohorts = [], []
    numbers: dict[tuple[str, int], int] = {}
    for line, day in zip(fleet.plant.lines, days, strict=True):
        bore = _bore_mm(fleet, line, day)
        size = -1 if bore is None else round(bore / SIZE_STEP_MM)
        saddles = sorted({s.geometry.saddle or "" for s in fleet.plant.supports.get(line.id, ()) if s.on(day)})
        sizes.append(size)
        cohorts.append(numbers.setdefault(("+".join(saddles), size), len(numbers)))
    return sizes, cohorts


def _runs(fleet: FleetSeries, checks: Sequence[Check]) -> IntArray:
    """Return the run of every check."""
    series = fleet.assembled.visits.series
    left_at = sorted(
        {
            (int(fleet.of_line[series[visit]]), fleet.measured_at[row])
            for visit, row in enumerate(fleet.assembled.left_row.tolist())
            if row >= 0 and fleet.measured.phase[row] == AS_LEFT
        }
    )
    return group_runs(
        np.array([check.line for check in checks], dtype=np.int64),
        np.array([epoch_days(check.checked_at) * 24.0 for check in checks], dtype=np.float64),
        np.array([at[0] for at in left_at], dtype=np.int64),
        np.array([epoch_days(at[1]) * 24.0 for at in left_at], dtype=np.float64),
    )


def _run_rows(
    fleet: FleetSeries,
    checks: Sequence[Check],
    run: IntArray,
    as_left: AsLefts,
    cohort: list[int],
) -> tuple[RunRows, tuple[int, ...]]:
    picked, columns = [], []
    bands: dict[int, tuple[tuple[float, float], ...]] = {}
    for index, check in enumerate(checks):
        station = check.station.id
        if station not in bands:
            own = [fleet.tolerance(check.station, name) for name in AXES]
            bands[station] = tuple((nan_if_none(band.watch_um), nan_if_none(band.limit_um)) for band in own)
        for axis, band in enumerate(bands[station]):
            if isnan(check.rise_um[axis]):
                continue
            before = last_before(as_left.get((station, axis), ()), check.checked_at)
            picked.append(index)
            columns.append(
                (
                    axis, check.rise_um[axis], check.u_um[axis], check.modelled_um if axis == 0 else 0.0,
                    check.u_modelled_um if axis == 0 else 0.0, np.nan if before is None else before[1], *band,
                    check.u_modelled_record_um if axis == 0 else 0.0, float(check.counts),
                )
            )  # fmt: skip
    at = np.array(picked, dtype=np.int64)
    table = np.array(columns, dtype=np.float64).reshape(len(columns), 10)
    rows = RunRows(
        line=np.array([checks[i].line for i in picked], dtype=np.int64),
        run=run[at],
        station=np.array([checks[i].station.id for i in picked], dtype=np.int64),
        axis=table[:, 0].astype(np.int64),
        cohort=np.array([cohort[checks[i].line] for i in picked], dtype=np.int64),
        rise_um=table[:, 1],
        # An entered uncertainty of 0 would let one check outvote all others.
        u_rise_um=np.maximum(table[:, 2], 1.0),
        modelled_um=table[:, 3],
        u_modelled_um=table[:, 4],
        as_left_um=table[:, 5],
        watch_um=table[:, 6],
        limit_um=table[:, 7],
        u_modelled_record_um=table[:, 8],
        counts=table[:, 9] > 0.0,
    )
    return rows, tuple(picked)


def _points(fleet: FleetSeries, line: LineInfo, day: date) -> tuple[tuple[float, float], ...]:
    written = fleet.settings.text("bore_size_points", line.site_id, day)
    if written is None:
        return BORE_SIZE_POINTS
    pairs = [pair.split(":") for pair in written.split(";") if pair.strip()]
    return tuple((float(bore), float(drop)) for bore, drop in pairs)


def _drops_um(fleet: FleetSeries, days: Sequence[date], lines: Sequence[int]) -> dict[int, float]:
    """Return the rule of thumb's drop of every line, by its index; NaN without a bore [um]."""
    with_points: dict[tuple[tuple[float, float], ...], list[int]] = defaultdict(list)
    for index in lines:
        with_points[_points(fleet, fleet.plant.lines[index], days[index])].append(index)
    drops: dict[int, float] = {}
    for points, at in with_points.items():
        bore = np.array([nan_if_none(_bore_mm(fleet, fleet.plant.lines[i], days[i])) for i in at])
        drops.update(zip(at, bore_size_drop_um(bore, points).tolist(), strict=True))
    return drops


def line_places(
    fleet: FleetSeries,
    days: Sequence[date],
    stations: Sequence[StationInfo],
    running: Mapping[int, Temperatures],
    size: Sequence[int],
    cohort: Sequence[int],
    frames: Frames,
) -> Places:
    """Return where targets are wanted, as the lines stood on their days.

    `days`, `size`, `cohort` and the running temperatures go by the index of the line.
    """
    line = np.array([fleet.line_index[s.line_id] for s in stations], dtype=np.int64)
    bore, model, u_model = (np.full(len(stations), np.nan) for _ in range(3))
    of_line: dict[int, list[int]] = defaultdict(list)
    for at_station, of in enumerate(line.tolist()):
        of_line[of].append(at_station)
    drops, frame = _drops_um(fleet, days, list(of_line)), {}
    for index, at in of_line.items():
        info, day = fleet.plant.lines[index], days[index]
        frame[index] = frames.on(index, day)
        geometry = frames.frames[frame[index]].geometry
        distance = np.array([stations[i].distance_mm for i in at], dtype=np.float64)
        rigid = np.array([s.distance_mm for s in geometry.supports if s.carries != "floating"], dtype=np.float64)
        shape = fleet.settings.text("bore_size_shape", info.site_id, day)
        bore[at] = bore_size_target_um(
            distance, rigid, drop_um=drops[index], shape="last_support" if shape == "last_support" else "every_support"
        )
    ran = [index for index in of_line if index in running]
    record = {index: k for k, index in enumerate(ran)}
    known = [k for k, index in enumerate(line.tolist()) if index in record]
    where = rows_in_frames(fleet)
    got = rises(
        frames.frames,
        np.array([frame[index] for index in ran], dtype=np.int64),
        [running[index] for index in ran],
        np.array([record[int(line[k])] for k in known], dtype=np.int64),
        np.array([where[stations[k].id] for k in known], dtype=np.int64),
    )
    model[known], u_model[known] = got.v_um, got.u_um

    def both(v: FloatArray) -> FloatArray:
        return np.column_stack([v, np.zeros(v.size)]).ravel()

    return Places(
        line=np.repeat(line, 2),
        station=np.repeat(np.array([s.id for s in stations], dtype=np.int64), 2),
        axis=np.tile(np.array([0, 1], dtype=np.int64), len(stations)),
        cohort=np.repeat(np.array([cohort[i] for i in line], dtype=np.int64), 2),
        size=np.repeat(np.array([size[i] for i in line], dtype=np.int64), 2),
        bore_size_um=both(bore),
        model_median_um=both(model),
        u_model_median_um=both(u_model),
    )


def number(value: float) -> float | None:
    """Return a figure, None where there is none."""
    return float(value) if np.isfinite(value) else None


def place_rows(compared: FleetComparison) -> dict[int, list[int]]:
    """Return the rows of runs of every place, in time order, an extrapolated rise behind the checks it stands for."""
    by_place: dict[int, list[int]] = defaultdict(list)
    for row, place in enumerate(compared.comparison.row_place.tolist()):
        if place >= 0:
            by_place[place].append(row)
    for rows in by_place.values():
        rows.sort(key=lambda row: compared.checks[compared.row_check[row]].checked_at)
    return by_place


def as_listed(compared: FleetComparison, rows: Sequence[int]) -> list[int]:
    """Return the rows of one place as they are listed: in time order, what was measured behind what stands for it."""
    checks = [compared.checks[compared.row_check[row]] for row in rows]
    return [rows[k] for k in sorted(range(len(rows)), key=lambda k: (checks[k].checked_at, not checks[k].counts))]


def cold_offset_rows(store: Store, *, line: str | None = None, now: datetime | None = None) -> list[ColdOffsetRow]:
    """Return the comparison of a line or of the whole fleet, by line, station and axis.

    Parameters
    ----------
    store : the record
    line : its code; None: all lines
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    reduce_if_needed(store)
    with store.read() as record:
        fleet = load_series(record, now=now)
        compared = current_comparison(record, fleet)
    wanted = None if line is None else fleet.line_index[fleet.plant.line(line).id]
    by_place = place_rows(compared)
    return [
        _row(compared, place, as_listed(compared, by_place.get(place, [])))
        for place in range(compared.places.line.size)
        if wanted in (None, int(compared.places.line[place]))
    ]


def recommended(compared: FleetComparison, place: int) -> Recommended:
    """Return what to set at one place next, and why."""
    got = compared.comparison
    way = int(got.choice.way[place])
    reason = why(got, place)
    if way < 0:
        return Recommended(None, None, None, None, f"{reason}.")
    return Recommended(
        way=WAYS[way],
        target_um=number(got.target_um[place, way]),
        u_um=number(got.u_target_um[place, way]),
        expected_running_um=number(got.expected_running_um[place]),
        why=f"{reason}.",
    )


WAY_WORDS: Final[dict[Way, str]] = {
    "none": "No offset",
    "bore_size": "The trade's rule of thumb by bore size",
    "heat_model": "The heat model",
    "own_record": "This line's own running checks",
    "pooled": "Comparable lines' running checks",
}


def reason(compared: FleetComparison, place: int) -> str:
    """Return why the way recommended at one place is, as a sentence for people; lengths stand beside it, not in it."""
    choice = compared.comparison.choice
    way = int(choice.way[place])
    if way < 0:
        return "Nothing to choose by yet: record the supports, the temperatures while running, or a running check."
    words = WAY_WORDS[WAYS[way]]
    runs = int(compared.comparison.by_place.runs[place, way])
    counted = "one past run" if runs == 1 else f"{runs or 'no'} past runs"
    if not choice.judged[place]:
        return f"{words}: with {counted} to judge by, no way has proved itself here yet."
    if choice.tied[place]:
        best = WAY_WORDS[WAYS[int(choice.best[place])]]
        return (
            f"{words}: over {counted} {best[0].lower()}{best[1:]} came out closer, but by no more than chance may do; "
            "such a tie goes to the simpler way."
        )
    return f"{words}: it came out closest to the axis over {counted}."


def _row(compared: FleetComparison, place: int, rows: list[int]) -> ColdOffsetRow:
    got, judged = compared.comparison, compared.comparison.by_place
    fleet = compared.fleet
    line = fleet.plant.lines[int(compared.places.line[place])]
    axis: Axis = AXES[int(compared.places.axis[place])]
    checks = [compared.checks[compared.row_check[row]] for row in rows]
    return ColdOffsetRow(
        line=line.code,
        station=compared.stations[place // 2].code,
        axis=axis,
        recommended=recommended(compared, place),
        checks=tuple(
            RunningCheckRow(
                checked_at=check.checked_at.astimezone(line.zone),
                label=check.label,
                ran_um=number(got.ran_um[row]),
                rise_um=float(compared.rows.rise_um[row]),
                barrel_c=check.temperatures.barrel_c,
            )
            for row, check in zip(rows, checks, strict=True)
        ),
        ways=tuple(
            WayRow(
                way=way,
                target_um=number(got.target_um[place, k]),
                runs=int(judged.runs[place, k]),
                bias_um=number(judged.bias_um[place, k]),
                rms_um=number(judged.rms_um[place, k]),
                within_watch=number(judged.within_watch[place, k]),
                within_limit=number(judged.within_limit[place, k]),
                checks=tuple(
                    WouldHaveRun(check.checked_at.astimezone(line.zone), float(got.would_have_run_um[row, k]))
                    for row, check in zip(rows, checks, strict=True)
                    if np.isfinite(got.would_have_run_um[row, k])
                ),
            )
            for k, way in enumerate(WAYS)
        ),
    )
