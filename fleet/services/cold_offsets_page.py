"""Cold offsets: which way of choosing came out right when running?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from fleet.errors import InputError
from fleet.services.cold_offset_advice import ColdOffsetAdvice, advise
from fleet.services.cold_offset_past import past_visits
from fleet.services.cold_offset_ways import WayFigures, expanded_95, figures
from fleet.services.cold_offsets import (
    FleetComparison,
    as_listed,
    current_comparison,
    number,
    place_rows,
    reason,
    recommended,
)
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import current_series
from fleet.store.engine import Store
from fleet.thermal.choices import WAYS, Scope, Way
from fleet.thermal.judging import judge, score_runs
from fleet.thermal.rise import rise
from fleet.values import AXES, NORMAL_95, Axis

__all__ = ["ColdOffsetsView", "RisePart", "RunningRow", "WayFigures", "cold_offsets_view"]


@dataclass(frozen=True, slots=True)
class RunningRow:
    """One measured rise [um] and where the line ran that day (None: no as-left before it)."""

    checked_at: datetime
    label: str
    rise_um: float
    u95_rise_um: float | None
    ran_um: float | None
    barrel_c: float | None


@dataclass(frozen=True, slots=True)
class RisePart:
    """One support's modelled rise [um] by its parts; all vertical."""

    support: str
    distance_mm: float
    barrel_um: float
    base_um: float
    gearbox_um: float
    total_um: float
    u95_total_um: float


@dataclass(frozen=True, slots=True)
class ColdOffsetsView:
    """One line, station and axis: the ways compared, the recommendation and the evidence; and the fleet's table."""

    line: str
    site_name: str | None
    right_hand_side: str | None
    stations: tuple[str, ...]
    station: str
    axis: Axis
    recommended_way: Way | None
    recommended_target_um: float | None
    u95_recommended_um: float | None
    expected_running_um: float | None
    u95_expected_running_um: float | None
    why: str
    ways: tuple[WayFigures, ...]
    as_left: WayFigures | None
    checks: tuple[RunningRow, ...]
    parts: tuple[RisePart, ...]
    watch_um: float | None
    limit_um: float | None
    fleet_ways: tuple[WayFigures, ...]
    fleet_lines: int
    fleet_runs: int
    remarks: tuple[str, ...]
    as_of: date
    advice: ColdOffsetAdvice | None = None


def cold_offsets_view(
    store: Store, line: str, *, station: str | None = None, axis: Axis | None = None, now: datetime | None = None
) -> ColdOffsetsView:
    """Return the comparison of one station and axis of a line, and the fleet's.

    Parameters
    ----------
    store : the record
    line : its code
    station, axis : None, or a station the line does not have: the last one with running checks, vertical
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        The line has no stations.
    """
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        info = fleet.plant.line(line)
        compared = current_comparison(record, fleet)
        visits = past_visits(record, info)
    index = fleet.line_index[info.id]
    places = np.flatnonzero(compared.places.line == index).tolist()
    if not places:
        raise InputError(f"Line '{line}' has no stations yet; import its stations, then its surveys.")
    by_place = place_rows(compared)
    place = _chosen(compared, places, by_place, station, axis or "v")
    rows = as_listed(compared, by_place.get(place, []))
    got, pick = compared.comparison, AXES.index(axis or "v")
    shown = compared.stations[place // 2]
    band = fleet.tolerance(shown, AXES[pick])
    choice = recommended(compared, place)
    way = int(got.choice.way[place])
    return ColdOffsetsView(
        line=info.code,
        site_name=info.site_name,
        right_hand_side=info.right_hand_side,
        stations=tuple(compared.stations[p // 2].code for p in places[::2]),
        station=shown.code,
        axis=AXES[pick],
        recommended_way=choice.way,
        recommended_target_um=choice.target_um,
        u95_recommended_um=None if choice.u_um is None else NORMAL_95 * choice.u_um,
        expected_running_um=choice.expected_running_um,
        u95_expected_running_um=number((got.high_um[place] - got.low_um[place]) / 2.0),
        why=reason(compared, place),
        ways=tuple(
            WayFigures(
                way=name,
                target_um=number(got.target_um[place, k]),
                u95_target_um=expanded_95(got.u_target_um[place, k]),
                would_have_run_um=tuple(float(x) for x in got.would_have_run_um[rows, k] if np.isfinite(x)),
                **figures(got.by_place, place, k),
            )
            for k, name in enumerate(WAYS)
        ),
        as_left=_as_left(compared, rows, way=choice.way or "none"),
        checks=tuple(_running_row(compared, row, info.zone) for row in reversed(rows)),
        parts=_parts(compared, index),
        watch_um=band.watch_um,
        limit_um=band.limit_um,
        fleet_ways=_fleet_ways(got.by_fleet, pick),
        fleet_lines=len(set(compared.rows.line[compared.rows.axis == pick].tolist())),
        fleet_runs=len(set(compared.rows.run[compared.rows.axis == pick].tolist())),
        remarks=compared.remarks.get(index, ())
        + (() if way >= 0 or rows else ("no running check on this line yet; one tells more than any rule",)),
        as_of=fleet.as_of[index],
        advice=advise(compared, info, visits),
    )


def _chosen(
    compared: FleetComparison, places: list[int], by_place: dict[int, list[int]], station: str | None, axis: Axis
) -> int:
    of_axis = [p for p in places if int(compared.places.axis[p]) == AXES.index(axis)]
    named = [p for p in of_axis if compared.stations[p // 2].code == station]
    with_checks = [p for p in of_axis if by_place.get(p)]
    return (named or with_checks[-1:] or of_axis)[0]


def _fleet_ways(scope: Scope, axis: int) -> tuple[WayFigures, ...]:
    groups = np.flatnonzero(scope.axis == axis).tolist()
    return tuple(
        WayFigures(
            way=name, target_um=None, u95_target_um=None, would_have_run_um=(),
            **figures(scope.judgement, groups[0], k),
        )
        for k, name in enumerate(WAYS)
        if groups
    )  # fmt: skip


def _as_left(compared: FleetComparison, rows: list[int], *, way: Way) -> WayFigures | None:
    """Return where the line really ran, judged as the ways are, for comparison; `way` only fills the column."""
    counted = compared.rows.counts & np.isfinite(compared.comparison.ran_um)
    at = np.array([row for row in rows if counted[row]], dtype=np.int64)
    if not at.size:
        return None
    ran = compared.comparison.ran_um[at]
    judged = judge(
        score_runs(
            np.zeros(at.size, dtype=np.int64), compared.rows.run[at], ran[:, None], compared.rows.watch_um[at],
            compared.rows.limit_um[at],
        ),
        1,
    )  # fmt: skip
    return WayFigures(
        way=way,
        target_um=number(float(np.mean(compared.rows.as_left_um[at]))),
        u95_target_um=None,
        would_have_run_um=tuple(ran.tolist()),
        **figures(judged, 0, 0),
    )


def _running_row(compared: FleetComparison, row: int, zone: ZoneInfo) -> RunningRow:
    check = compared.checks[compared.row_check[row]]
    return RunningRow(
        checked_at=check.checked_at.astimezone(zone),
        label=check.label,
        rise_um=float(compared.rows.rise_um[row]),
        u95_rise_um=expanded_95(compared.rows.u_rise_um[row]),
        ran_um=number(compared.comparison.ran_um[row]),
        barrel_c=check.temperatures.barrel_c,
    )


def _parts(compared: FleetComparison, line: int) -> tuple[RisePart, ...]:
    """Return the heat model's parts at every support, at the line's median running temperatures."""
    temperatures = compared.running_temperatures.get(line)
    if temperatures is None:
        return ()
    fleet = compared.fleet
    geometry = fleet.plant.geometry(fleet.plant.lines[line], fleet.as_of[line])
    got = rise(geometry, temperatures, np.array([s.distance_mm for s in geometry.supports], dtype=np.float64))
    u95 = {s.code: NORMAL_95 * float(u) for s, u in zip(geometry.supports, got.u_um, strict=True)}
    return tuple(
        RisePart(
            support=part.code,
            distance_mm=part.distance_mm,
            barrel_um=part.over_saddle_um,
            base_um=part.base_um,
            gearbox_um=part.gearbox_um,
            total_um=part.rise_um,
            u95_total_um=u95[part.code],
        )
        for part in got.supports
    )
