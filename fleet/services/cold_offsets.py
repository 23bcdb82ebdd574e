"""Cold offsets: the five ways of choosing them against what running checks showed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

import numpy as np

from fleet.services.plant import LineInfo, StationInfo
from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import ColdOffsetRow, Recommended, RunningCheckRow, WayRow, WouldHaveRun
from fleet.services.series import FleetSeries, load_series
from fleet.services.site_time import end_of_day, epoch_days
from fleet.store import queries
from fleet.store.engine import Store
from fleet.thermal.bore_size import BORE_SIZE_POINTS, bore_size_drop_um, bore_size_target_um
from fleet.thermal.choices import WAYS, Comparison, Places, RunRows, Way, compare, why
from fleet.thermal.geometry import Temperatures
from fleet.thermal.measured import HOT_LABEL, before_soak, group_runs, hot_survey_rise, measured_rise
from fleet.thermal.rise import Rise, rise
from fleet.trend.assembly import AS_LEFT
from fleet.values import AXES, Axis, FloatArray

RUNNING_LABEL: Final = "running"
BEFORE_SOAK: Final = "before soak"
_SIZE_STEP_MM: Final = 15.0
"""Lines whose bores round to one step count as alike; neighbouring screw sizes differ by about as much."""


@dataclass(frozen=True, slots=True)
class Check:
    """One station's row of a running check or a hot survey, as the record holds it [um]; index 0 v, 1 h."""

    line: int
    station: StationInfo
    checked_at: datetime
    label: str
    rise_um: tuple[float, float]
    u_um: tuple[float, float]
    modelled_um: float
    u_modelled_um: float
    temperatures: Temperatures
    hours_since_heats_on: float | None
    hot_survey: bool


@dataclass(frozen=True, slots=True)
class FleetComparison:
    """The ways compared over a whole fleet.

    `checks[row_check[r]]` is what row r of `rows` came from; `stations[p // 2]` is the station of place p. The
    temperatures are each line's medians while running, by index of the line.
    """

    fleet: FleetSeries
    checks: tuple[Check, ...]
    row_check: tuple[int, ...]
    rows: RunRows
    stations: tuple[StationInfo, ...]
    places: Places
    comparison: Comparison
    running_temperatures: dict[int, Temperatures]
    remarks: dict[int, tuple[str, ...]]


def compare_fleet(record: queries.Record, fleet: FleetSeries) -> FleetComparison:
    """Compare the ways over all lines of a fleet as of its day."""
    plant = fleet.plant
    cutoffs = [end_of_day(day, line.zone) for day, line in zip(fleet.as_of, plant.lines, strict=True)]
    station_of = {s.id: s for group in plant.stations.values() for s in group}
    checks = [
        *_running_checks(record, fleet, station_of, cutoffs),
        *_hot_surveys(record, fleet, station_of, cutoffs),
    ]
    as_left = _as_lefts(fleet)
    running, remarks = _running_temperatures(fleet, checks)
    size, cohort = _sizes_and_cohorts(fleet)
    rows, row_check = _run_rows(fleet, checks, as_left, cohort)
    stations = tuple(
        s
        for line, day in zip(plant.lines, fleet.as_of, strict=True)
        for s in plant.stations.get(line.id, ())
        if s.removed_on is None or s.removed_on > day
    )
    places = _places(fleet, stations, running, size, cohort)
    return FleetComparison(
        fleet, tuple(checks), row_check, rows, stations, places, compare(rows, places), running, remarks
    )


def _day(fleet: FleetSeries, line: int, moment: datetime) -> date:
    return moment.astimezone(fleet.plant.lines[line].zone).date()


def _temperatures_at_checks(
    record: queries.Record,
) -> dict[tuple[int, datetime], tuple[dict[str, float], dict[str, float]]]:
    own: dict[tuple[int, datetime], tuple[dict[str, float], dict[str, float]]] = defaultdict(lambda: ({}, {}))
    for row in queries.support_temperatures(record):
        if row.survey_id is None:
            for held, value in zip(own[row.line_id, row.checked_at], (row.barrel_c, row.base_c), strict=True):
                if value is not None:
                    held[row.support] = value
    return own


def _nan(value: float | None) -> float:
    return np.nan if value is None else value


def _running_checks(
    record: queries.Record, fleet: FleetSeries, station_of: dict[int, StationInfo], cutoffs: list[datetime]
) -> list[Check]:
    own = _temperatures_at_checks(record)
    grouped: dict[tuple[int, datetime], list[Any]] = defaultdict(list)
    for row in queries.running_checks(record):
        if row.checked_at <= cutoffs[fleet.line_index[row.line_id]]:
            grouped[row.line_id, row.checked_at].append(row)
    checks: list[Check] = []
    for (line_id, checked_at), rows in grouped.items():
        line = fleet.line_index[line_id]
        info = fleet.plant.lines[line]
        day = _day(fleet, line, checked_at)
        soak_hours = fleet.settings.number("soak_hours", info.site_id, day)
        geometry = fleet.plant.geometry(info, day)
        places = [station_of[row.station_id] for row in rows]
        at = np.array([station.distance_mm for station in places], dtype=np.float64)
        now = [_now(row, own.get((line_id, checked_at), ({}, {}))) for row in rows]
        # Rows of one check mostly share their temperatures: one rise then serves them all.
        hot = {t: rise(geometry, now[k], at) for k, t in enumerate(map(repr, now))}
        # Where a zero's gearbox was read is not recorded apart; as everywhere, nothing said means the casing's mean.
        zero = {
            _zero(row): rise(geometry, Temperatures(row.zero_barrel_c, row.zero_gearbox_c, base_c=row.zero_base_c), at)
            for row in rows
        }
        for k, row in enumerate(rows):
            early = before_soak(np.array([_nan(row.hours_since_heats_on)]), soak_hours=soak_hours)
            label = f"{RUNNING_LABEL}, {BEFORE_SOAK}" if early[0] else RUNNING_LABEL
            checks.append(_check(row, places[k], line, label, now[k], hot[repr(now[k])], zero[_zero(row)], k))
    return checks


def _now(row: Any, own: tuple[dict[str, float], dict[str, float]]) -> Temperatures:
    return Temperatures(row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own)


def _zero(row: Any) -> tuple[float | None, float | None, float | None]:
    return row.zero_barrel_c, row.zero_gearbox_c, row.zero_base_c


def _check(
    row: Any, station: StationInfo, line: int, label: str, now: Temperatures, hot: Rise, cold: Rise, k: int
) -> Check:
    """Return one row as a rise relative to the gearbox axis from the cold reference; `k` is its place in the rises."""
    modelled = hot.gearbox_rise_um - cold.gearbox_rise_um if hot.gearbox_known else np.nan
    # The vertical gearbox rise and a warm zero do not touch h.
    got = measured_rise(
        np.array([row.v_rise_um, _nan(row.h_rise_um)]),
        np.array([_nan(row.u_um), _nan(row.u_um)]),
        relative_to_floor=np.array([row.relative_to == "floor", False]),
        gearbox_rise_um=np.array([_nan(row.gearbox_rise_um), np.nan]),
        gearbox_modelled_um=np.array([modelled, 0.0]),
        u_gearbox_modelled_um=np.array([hot.u_gearbox_rise_um, 0.0]),
        zero_rise_um=np.array([float(cold.v_um[k]), 0.0]),
        u_zero_rise_um=np.array([float(cold.u_um[k]), 0.0]),
    )
    return Check(
        line=line,
        station=station,
        checked_at=row.checked_at,
        label=label,
        rise_um=(float(got.rise_um[0]), float(got.rise_um[1])),
        u_um=(float(got.u_rise_um[0]), float(got.u_rise_um[1])),
        modelled_um=float(hot.v_um[k]) if hot.applicable else np.nan,
        u_modelled_um=float(hot.u_um[k]) if hot.applicable else np.nan,
        temperatures=now,
        hours_since_heats_on=row.hours_since_heats_on,
        hot_survey=False,
    )


def _as_lefts(fleet: FleetSeries) -> dict[tuple[int, int], list[tuple[datetime, float, float]]]:
    """Return every as-left of every station and axis as (when, value, standard uncertainty), oldest first [um]."""
    history: dict[tuple[int, int], list[tuple[datetime, float, float]]] = defaultdict(list)
    visits = fleet.assembled.visits
    for visit, row in enumerate(fleet.assembled.left_row.tolist()):
        if row >= 0 and fleet.measured.phase[row] == AS_LEFT:
            series = int(visits.series[visit])
            station = fleet.stations[fleet.of_station[series]].id
            left = (fleet.measured_at[row], float(visits.left_um[visit]), float(visits.left_var_um2[visit] ** 0.5))
            history[station, int(fleet.series.axis[series])].append(left)
    return history


def _last_before(
    history: Sequence[tuple[datetime, float, float]], moment: datetime
) -> tuple[datetime, float, float] | None:
    earlier = [entry for entry in history if entry[0] <= moment]
    return max(earlier) if earlier else None


def _hot_surveys(
    record: queries.Record, fleet: FleetSeries, station_of: dict[int, StationInfo], cutoffs: list[datetime]
) -> list[Check]:
    as_left = _as_lefts(fleet)
    own: dict[int, tuple[dict[str, float], dict[str, float]]] = defaultdict(lambda: ({}, {}))
    for row in queries.support_temperatures(record):
        if row.survey_id is not None:
            for held, value in zip(own[row.survey_id], (row.barrel_c, row.base_c), strict=True):
                if value is not None:
                    held[row.support] = value
    checks = []
    for row in queries.hot_offsets(record):
        line = fleet.line_index[row.line_id]
        before = [_last_before(as_left.get((row.station_id, axis), ()), row.measured_at) for axis in (0, 1)]
        if row.measured_at > cutoffs[line] or before[0] is None or before[1] is None:
            continue
        station = station_of[row.station_id]
        now = Temperatures(row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own.get(row.survey_id, ({}, {})))
        info = fleet.plant.lines[line]
        model = rise(
            fleet.plant.geometry(info, _day(fleet, line, row.measured_at)), now, np.array([station.distance_mm])
        )
        got, u = hot_survey_rise(
            np.array([row.v_um, row.h_um]),
            np.array([row.u_v_um, row.u_h_um]),
            np.array([before[0][1], before[1][1]]),
            np.array([before[0][2], before[1][2]]),
        )
        checks.append(
            Check(
                line=line,
                station=station,
                checked_at=row.measured_at,
                label=HOT_LABEL,
                rise_um=(float(got[0]), float(got[1])),
                u_um=(float(u[0]), float(u[1])),
                modelled_um=float(model.v_um[0]) if model.applicable else np.nan,
                u_modelled_um=float(model.u_um[0]) if model.applicable else np.nan,
                temperatures=now,
                hours_since_heats_on=None,
                hot_survey=True,
            )
        )
    return checks


def _median(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else None


def _running_temperatures(
    fleet: FleetSeries, checks: Sequence[Check]
) -> tuple[dict[int, Temperatures], dict[int, tuple[str, ...]]]:
    """Return every line's median temperatures while running, and what the heat model remarks on with them."""
    seen: dict[int, dict[datetime, Temperatures]] = defaultdict(dict)
    for check in checks:
        if not check.hot_survey:
            seen[check.line][check.checked_at] = check.temperatures
    medians: dict[int, Temperatures] = {}
    remarks: dict[int, tuple[str, ...]] = {}
    for line, by_time in seen.items():
        at = list(by_time.values())
        where = Counter(t.gearbox_c_at for t in at if t.gearbox_c is not None)
        common = where.most_common(1)[0][0] if where else "casing_mean"
        codes = {code for t in at for code in t.support_barrel_c}, {code for t in at for code in t.support_base_c}
        medians[line] = Temperatures(
            barrel_c=_median([t.barrel_c for t in at]),
            gearbox_c=_median([t.gearbox_c for t in at if t.gearbox_c_at == common]),
            gearbox_c_at=common,
            base_c=_median([t.base_c for t in at]),
            support_barrel_c={
                c: m for c in codes[0] if (m := _median([t.support_barrel_c.get(c) for t in at])) is not None
            },
            support_base_c={
                c: m for c in codes[1] if (m := _median([t.support_base_c.get(c) for t in at])) is not None
            },
        )
        remarks[line] = _rise_today(fleet, line, medians[line], np.empty(0)).remarks
    return medians, remarks


def _rise_today(fleet: FleetSeries, line: int, temperatures: Temperatures, distance_mm: FloatArray) -> Rise:
    info = fleet.plant.lines[line]
    return rise(fleet.plant.geometry(info, fleet.as_of[line]), temperatures, distance_mm)


def _bore_mm(fleet: FleetSeries, line: LineInfo, day: date) -> float | None:
    barrel = fleet.plant.standing(line.id, "barrel", day)
    return (barrel.bore_mm if barrel else None) or line.screw_diameter_mm


def _sizes_and_cohorts(fleet: FleetSeries) -> tuple[list[int], list[int]]:
    """Return a number for the bore size of every line, and one for its saddle and size together."""
    sizes, cohorts = [], []
    numbers: dict[tuple[str, int], int] = {}
    for line, day in zip(fleet.plant.lines, fleet.as_of, strict=True):
        bore = _bore_mm(fleet, line, day)
        size = -1 if bore is None else round(bore / _SIZE_STEP_MM)
        saddles = sorted({s.geometry.saddle or "" for s in fleet.plant.supports.get(line.id, ()) if s.on(day)})
        sizes.append(size)
        cohorts.append(numbers.setdefault(("+".join(saddles), size), len(numbers)))
    return sizes, cohorts


def _run_rows(
    fleet: FleetSeries,
    checks: Sequence[Check],
    as_left: dict[tuple[int, int], list[tuple[datetime, float, float]]],
    cohort: list[int],
) -> tuple[RunRows, tuple[int, ...]]:
    line = np.array([check.line for check in checks], dtype=np.int64)
    hours = np.array([epoch_days(check.checked_at) * 24.0 for check in checks], dtype=np.float64)
    series = fleet.assembled.visits.series
    left_at = sorted(
        {
            (int(fleet.series.line[series[visit]]), fleet.measured_at[row])
            for visit, row in enumerate(fleet.assembled.left_row.tolist())
            if row >= 0 and fleet.measured.phase[row] == AS_LEFT
        }
    )
    run = group_runs(
        line,
        hours,
        np.array([at[0] for at in left_at], dtype=np.int64),
        np.array([epoch_days(at[1]) * 24.0 for at in left_at], dtype=np.float64),
    )
    picked, columns = [], []
    for index, check in enumerate(checks):
        for axis, name in enumerate(AXES):
            if np.isnan(check.rise_um[axis]):
                continue
            before = _last_before(as_left.get((check.station.id, axis), ()), check.checked_at)
            band = fleet.tolerance(check.station, name)
            picked.append(index)
            columns.append(
                (
                    axis, check.rise_um[axis], check.u_um[axis], check.modelled_um if axis == 0 else 0.0,
                    check.u_modelled_um if axis == 0 else 0.0, np.nan if before is None else before[1],
                    _nan(band.watch_um), _nan(band.limit_um),
                )
            )  # fmt: skip
    at = np.array(picked, dtype=np.int64)
    table = np.array(columns, dtype=np.float64).reshape(len(columns), 8)
    rows = RunRows(
        line=line[at],
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
    )
    return rows, tuple(picked)


def _points(fleet: FleetSeries, line: LineInfo, day: date) -> tuple[tuple[float, float], ...]:
    written = fleet.settings.text("bore_size_points", line.site_id, day)
    if written is None:
        return BORE_SIZE_POINTS
    pairs = [pair.split(":") for pair in written.split(";") if pair.strip()]
    return tuple((float(bore), float(drop)) for bore, drop in pairs)


def _places(
    fleet: FleetSeries,
    stations: tuple[StationInfo, ...],
    running: dict[int, Temperatures],
    size: list[int],
    cohort: list[int],
) -> Places:
    line = np.array([fleet.line_index[s.line_id] for s in stations], dtype=np.int64)
    bore, model, u_model = (np.full(len(stations), np.nan) for _ in range(3))
    for index in np.unique(line).tolist():
        at = np.flatnonzero(line == index)
        info, day = fleet.plant.lines[index], fleet.as_of[index]
        distance = np.array([stations[i].distance_mm for i in at], dtype=np.float64)
        geometry = fleet.plant.geometry(info, day)
        rigid = np.array([s.distance_mm for s in geometry.supports if s.carries != "floating"], dtype=np.float64)
        drop = bore_size_drop_um(_nan(_bore_mm(fleet, info, day)), _points(fleet, info, day))
        shape = fleet.settings.text("bore_size_shape", info.site_id, day)
        bore[at] = bore_size_target_um(
            distance, rigid, drop_um=float(drop), shape="last_support" if shape == "last_support" else "every_support"
        )
        if index in running:
            got = rise(geometry, running[index], distance)
            if got.applicable:
                model[at], u_model[at] = got.v_um, got.u_um

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
    """Return the rows of runs of every place, in time order."""
    by_place: dict[int, list[int]] = defaultdict(list)
    for row, place in enumerate(compared.comparison.row_place.tolist()):
        if place >= 0:
            by_place[place].append(row)
    for rows in by_place.values():
        rows.sort(key=lambda row: compared.checks[compared.row_check[row]].checked_at)
    return by_place


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
        compared = compare_fleet(record, fleet)
    wanted = None if line is None else fleet.line_index[fleet.plant.line(line).id]
    by_place = place_rows(compared)
    return [
        _row(compared, place, by_place.get(place, []))
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


_WAY_WORDS: Final[dict[Way, str]] = {
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
    words = _WAY_WORDS[WAYS[way]]
    runs = int(compared.comparison.by_place.runs[place, way])
    counted = "one past run" if runs == 1 else f"{runs or 'no'} past runs"
    if not choice.judged[place]:
        return f"{words}: with {counted} to judge by, no way has proved itself here yet."
    if choice.tied[place]:
        best = _WAY_WORDS[WAYS[int(choice.best[place])]]
        return f"{words}: over {counted} it cannot be told from the closest ({best[0].lower()}{best[1:]})."
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
