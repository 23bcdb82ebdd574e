"""Running checks and hot surveys as the record holds them: measured rises with their temperatures, per station."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

import numpy as np

from fleet.services.plant import StationInfo
from fleet.services.series import FleetSeries
from fleet.services.temperatures import NONE_RECORDED, Own
from fleet.store import queries
from fleet.thermal.geometry import Temperatures
from fleet.thermal.measured import HOT_LABEL, before_soak, hot_survey_rise, measured_rise
from fleet.thermal.rise import Rise, rise
from fleet.trend.assembly import AS_LEFT
from fleet.values import FloatArray

RUNNING_LABEL: Final = "running"
BEFORE_SOAK: Final = "before soak"


AsLefts = dict[tuple[int, int], list[tuple[datetime, float, float]]]
"""By station id and axis: every as-left as (when, value, standard uncertainty), oldest first. [um]"""


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


def _day(fleet: FleetSeries, line: int, moment: datetime) -> date:
    return moment.astimezone(fleet.plant.lines[line].zone).date()


def nan_if_none(value: float | None) -> float:
    return np.nan if value is None else value


def running_checks(
    record: queries.Record,
    fleet: FleetSeries,
    station_of: dict[int, StationInfo],
    cutoffs: list[datetime],
    own: Mapping[tuple[int, datetime], Own],
) -> list[Check]:
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
        now = [_now(row, own.get((line_id, checked_at), NONE_RECORDED)) for row in rows]
        # Rows of one check mostly share their temperatures: one rise then serves them all.
        hot = {t: rise(geometry, now[k], at) for k, t in enumerate(map(repr, now))}
        # Where a zero's gearbox was read is not recorded apart; as everywhere, nothing said means the casing's mean.
        zero = {
            _zero(row): rise(geometry, Temperatures(row.zero_barrel_c, row.zero_gearbox_c, base_c=row.zero_base_c), at)
            for row in rows
        }
        for k, row in enumerate(rows):
            early = before_soak(np.array([nan_if_none(row.hours_since_heats_on)]), soak_hours=soak_hours)
            label = f"{RUNNING_LABEL}, {BEFORE_SOAK}" if early[0] else RUNNING_LABEL
            checks.append(_check(row, places[k], line, label, now[k], hot[repr(now[k])], zero[_zero(row)], k))
    return checks


def _now(row: Any, own: Own) -> Temperatures:
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
        np.array([row.v_rise_um, nan_if_none(row.h_rise_um)]),
        np.array([nan_if_none(row.u_um), nan_if_none(row.u_um)]),
        relative_to_floor=np.array([row.relative_to == "floor", False]),
        gearbox_rise_um=np.array([nan_if_none(row.gearbox_rise_um), np.nan]),
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


def as_lefts(fleet: FleetSeries) -> AsLefts:
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


def last_before(
    history: Sequence[tuple[datetime, float, float]], moment: datetime
) -> tuple[datetime, float, float] | None:
    earlier = [entry for entry in history if entry[0] <= moment]
    return max(earlier) if earlier else None


def hot_surveys(
    record: queries.Record,
    fleet: FleetSeries,
    station_of: dict[int, StationInfo],
    cutoffs: list[datetime],
    own: Mapping[int, Own],
    as_left: AsLefts,
) -> list[Check]:
    checks = []
    for row in queries.hot_offsets(record):
        line = fleet.line_index[row.line_id]
        before = [last_before(as_left.get((row.station_id, axis), ()), row.measured_at) for axis in (0, 1)]
        if row.measured_at > cutoffs[line] or before[0] is None or before[1] is None:
            continue
        station = station_of[row.station_id]
        now = Temperatures(
            row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own.get(row.survey_id, NONE_RECORDED)
        )
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


def running_temperatures(
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
