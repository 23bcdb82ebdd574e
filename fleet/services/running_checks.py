"""Running checks and hot surveys as the record holds them: measured rises with their temperatures, per station."""

from __future__ import annotations

import statistics
from bisect import bisect_right
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
from fleet.thermal.rise import Frame, frame_of, rises
from fleet.trend.assembly import AS_LEFT
from fleet.values import BoolArray, FloatArray

RUNNING_LABEL: Final = "running"
BEFORE_SOAK: Final = "before soak"


_NO_ZERO: Final = (None, None, None)

AsLefts = dict[tuple[int, int], list[tuple[datetime, float, float]]]
"""By station id and axis: every as-left as (when, value, standard uncertainty), oldest first. [um]"""


@dataclass(frozen=True, slots=True)
class Check:
    """One station's row of a running check or a hot survey, as the record holds it [um]; index 0 v, 1 h.

    `u_modelled_record_um` is the part of the model's uncertainty that comes from this record's temperatures. `early`:
    taken before the line had soaked; `counts` is False where an extrapolated rise counts in its place.
    """

    line: int
    station: StationInfo
    checked_at: datetime
    label: str
    rise_um: tuple[float, float]
    u_um: tuple[float, float]
    modelled_um: float
    u_modelled_um: float
    u_modelled_record_um: float
    temperatures: Temperatures
    hours_since_heats_on: float | None
    hot_survey: bool
    early: bool = False
    counts: bool = True


def _day(fleet: FleetSeries, line: int, moment: datetime) -> date:
    return moment.astimezone(fleet.plant.lines[line].zone).date()


def nan_if_none(value: float | None) -> float:
    return np.nan if value is None else value


class Frames:
    """What stood on every line, with its stations; worked out once for each stretch of days without a change."""

    def __init__(self, fleet: FleetSeries) -> None:
        self._fleet = fleet
        self._changed: dict[int, list[date]] = {}
        self._known: dict[tuple[int, int], int] = {}
        self.frames: list[Frame] = []

    def on(self, line: int, day: date) -> int:
        """Return the place in `frames` of a line (by index) as it stood that day; stations as the plant lists them."""
        plant = self._fleet.plant
        info = plant.lines[line]
        if line not in self._changed:
            self._changed[line] = plant.changed_on(info.id)
        key = line, bisect_right(self._changed[line], day)
        if key not in self._known:
            x = np.array([station.distance_mm for station in plant.stations.get(info.id, ())], dtype=np.float64)
            self._known[key] = len(self.frames)
            self.frames.append(frame_of(plant.geometry(info, day), x))
        return self._known[key]


def rows_in_frames(fleet: FleetSeries) -> dict[int, int]:
    """Return where every station (by id) stands among its line's."""
    return {station.id: k for group in fleet.plant.stations.values() for k, station in enumerate(group)}


@dataclass(frozen=True, slots=True)
class _Modelled:
    """What the heat model says of every row (n,) [um]: at the check, at its zero; NaN where it does not apply."""

    rise_um: FloatArray
    u_rise_um: FloatArray
    u_record_um: FloatArray
    gearbox_um: FloatArray
    u_gearbox_um: FloatArray
    zero_um: FloatArray
    u_zero_um: FloatArray
    zero_gearbox_um: FloatArray


def running_checks(
    record: queries.Record,
    fleet: FleetSeries,
    station_of: dict[int, StationInfo],
    cutoffs: list[datetime],
    own: Mapping[tuple[int, datetime], Own],
    frames: Frames,
) -> list[Check]:
    """Return every running check up to its line's cutoff, one element a station, by line and time."""
    rows = [row for row in queries.running_checks(record) if row.checked_at <= cutoffs[fleet.line_index[row.line_id]]]
    if not rows:
        return []
    places = [station_of[row.station_id] for row in rows]
    lines = [fleet.line_index[row.line_id] for row in rows]
    now = [_now(row, own.get((row.line_id, row.checked_at), NONE_RECORDED)) for row in rows]
    modelled = _modelled(fleet, rows, lines, places, now, frames)
    rise_um, u_um = _measured(rows, modelled)
    early = _early(fleet, rows, lines)
    return [
        Check(
            line=line,
            station=station,
            checked_at=row.checked_at,
            label=f"{RUNNING_LABEL}, {BEFORE_SOAK}" if is_early else RUNNING_LABEL,
            rise_um=(v, h),
            u_um=(u_v, u_h),
            modelled_um=model,
            u_modelled_um=u_model,
            u_modelled_record_um=u_record,
            temperatures=temperatures,
            hours_since_heats_on=row.hours_since_heats_on,
            hot_survey=False,
            early=is_early,
        )
        for row, line, station, temperatures, v, h, u_v, u_h, model, u_model, u_record, is_early in zip(
            rows, lines, places, now, *rise_um.tolist(), *u_um.tolist(), modelled.rise_um.tolist(),
            modelled.u_rise_um.tolist(), modelled.u_record_um.tolist(), early.tolist(), strict=True,
        )
    ]  # fmt: skip


def _now(row: Any, own: Own) -> Temperatures:
    return Temperatures(row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own)


def _zero(row: Any) -> tuple[float | None, float | None, float | None]:
    return row.zero_barrel_c, row.zero_gearbox_c, row.zero_base_c


def _early(fleet: FleetSeries, rows: Sequence[Any], lines: Sequence[int]) -> BoolArray:
    soak: dict[tuple[int | None, date], float] = {}
    hours = np.empty(len(rows))
    for k, (row, line) in enumerate(zip(rows, lines, strict=True)):
        site, day = fleet.plant.lines[line].site_id, _day(fleet, line, row.checked_at)
        if (site, day) not in soak:
            soak[site, day] = fleet.settings.number("soak_hours", site, day)
        hours[k] = nan_if_none(row.hours_since_heats_on) - soak[site, day]
    return before_soak(hours, soak_hours=0.0)


def _modelled(
    fleet: FleetSeries,
    rows: Sequence[Any],
    lines: Sequence[int],
    places: Sequence[StationInfo],
    now: Sequence[Temperatures],
    frames: Frames,
) -> _Modelled:
    """Work out the heat model of every row."""
    where = rows_in_frames(fleet)
    station = np.array([where[place.id] for place in places], dtype=np.int64)
    moments_of = dict.fromkeys((line, row.checked_at) for row, line in zip(rows, lines, strict=True))
    stood = {at: frames.on(at[0], _day(fleet, *at)) for at in moments_of}
    frame = [stood[line, row.checked_at] for row, line in zip(rows, lines, strict=True)]
    # Rows of one check mostly share their temperatures: one record then serves them all.
    moments: dict[Any, int] = {}
    record = np.array(
        [
            moments.setdefault(
                (f, row.checked_at, row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c), len(moments)
            )
            for f, row in zip(frame, rows, strict=True)
        ]
    )
    first = np.unique(record, return_index=True)[1].tolist()
    of_record = np.array([frame[k] for k in first])
    hot = rises(frames.frames, of_record, [now[k] for k in first], record, station)
    # A zero without temperatures was taken at the cold reference. Where a zero's gearbox was read is not recorded
    # apart; as everywhere, nothing said is the casing's mean.
    zeroed = [k for k, row in enumerate(rows) if _zero(row) != _NO_ZERO]
    zeros = [Temperatures(b, g, base_c=c) for b, g, c in (_zero(rows[k]) for k in zeroed)]
    of_zero = np.array([frame[k] for k in zeroed], dtype=np.int64)
    cold = rises(frames.frames, of_zero, zeros, np.arange(len(zeroed)), station[zeroed])
    at_zero = np.zeros((3, len(rows)))
    at_zero[:, zeroed] = np.nan_to_num((cold.v_um, cold.u_um, cold.gearbox_rise_um))
    return _Modelled(hot.v_um, hot.u_um, hot.u_record_um, hot.gearbox_rise_um, hot.u_gearbox_rise_um, *at_zero)


def _measured(rows: Sequence[Any], modelled: _Modelled) -> tuple[FloatArray, FloatArray]:
    """Return rises relative to the gearbox axis from the cold reference, and their uncertainties, (2, n): v and h."""
    n = len(rows)
    u = np.array([nan_if_none(row.u_um) for row in rows], dtype=np.float64)
    none, zero = np.full(n, np.nan), np.zeros(n)
    v = measured_rise(
        np.array([row.v_rise_um for row in rows], dtype=np.float64),
        u,
        relative_to_floor=np.array([row.relative_to == "floor" for row in rows], dtype=np.bool_),
        gearbox_rise_um=np.array([nan_if_none(row.gearbox_rise_um) for row in rows], dtype=np.float64),
        gearbox_modelled_um=modelled.gearbox_um - modelled.zero_gearbox_um,
        u_gearbox_modelled_um=modelled.u_gearbox_um,
        zero_rise_um=modelled.zero_um,
        u_zero_rise_um=modelled.u_zero_um,
    )
    # The gearbox rises straight up and a warm zero does not touch h.
    h = measured_rise(
        np.array([nan_if_none(row.h_rise_um) for row in rows], dtype=np.float64),
        u,
        relative_to_floor=np.zeros(n, dtype=np.bool_),
        gearbox_rise_um=none,
        gearbox_modelled_um=zero,
        u_gearbox_modelled_um=zero,
        zero_rise_um=zero,
        u_zero_rise_um=zero,
    )
    return np.stack([v.rise_um, h.rise_um]), np.stack([v.u_rise_um, h.u_rise_um])


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
    """Return the last as-left at or before a moment; the history is in time order."""
    at = bisect_right(history, moment, key=lambda entry: entry[0])
    return history[at - 1] if at else None


def hot_surveys(
    record: queries.Record,
    fleet: FleetSeries,
    station_of: dict[int, StationInfo],
    cutoffs: list[datetime],
    own: Mapping[int, Own],
    as_left: AsLefts,
    frames: Frames,
) -> list[Check]:
    """Return every hot survey with an as-left before it, one element a station."""
    checks = []
    where, one = rows_in_frames(fleet), np.zeros(1, dtype=np.int64)
    for row in queries.hot_offsets(record):
        line = fleet.line_index[row.line_id]
        before = [last_before(as_left.get((row.station_id, axis), ()), row.measured_at) for axis in (0, 1)]
        if row.measured_at > cutoffs[line] or before[0] is None or before[1] is None:
            continue
        station = station_of[row.station_id]
        now = Temperatures(
            row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own.get(row.survey_id, NONE_RECORDED)
        )
        frame = np.array([frames.on(line, _day(fleet, line, row.measured_at))])
        model = rises(frames.frames, frame, [now], one, np.array([where[station.id]]))
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
                modelled_um=float(model.v_um[0]),
                u_modelled_um=float(model.u_um[0]),
                u_modelled_record_um=float(model.u_record_um[0]),
                temperatures=now,
                hours_since_heats_on=None,
                hot_survey=True,
            )
        )
    return checks


def _median(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return statistics.median(known) if known else None


def running_temperatures(checks: Sequence[Check]) -> dict[int, Temperatures]:
    """Return every line's median temperatures while running, by index of the line."""
    seen: dict[int, dict[datetime, Temperatures]] = defaultdict(dict)
    for check in checks:
        if not check.hot_survey:
            seen[check.line][check.checked_at] = check.temperatures
    medians: dict[int, Temperatures] = {}
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
    return medians
