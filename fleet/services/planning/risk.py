"""What the forecast says of every line for a plan: chances day by day, untouched and after a visit in each outage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from fleet.planning import Curves, after_visit, as_left_var_um2, curve_days, worst_of_lines
from fleet.services.forecasting import there
from fleet.services.series import FleetSeries
from fleet.services.site_time import epoch_days, noon
from fleet.store import queries
from fleet.trend import Posterior, Start, chances_on, start_of
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

_NEGLIGIBLE: float = 1e-4
"""A series whose chance at the end is smaller adds less than a tenth of a day in two years."""
_AFTER_STEP_DAYS: float = 90.0


def curves_of(
    record: queries.Record,
    fleet: FleetSeries,
    lines: Sequence[int],
    *,
    start_day: FloatArray,
    end_day: float,
    limit_um: Mapping[str, float] | None = None,
) -> Curves:
    """Return how the chances of some lines grow.

    Parameters
    ----------
    record, fleet : open session of `Store.read()`, and the series of the same record
    lines : indices of the lines planned for, n of them
    start_day : days from noon of as-of at their sites to the outages' starts, shape (J,)
    end_day : days to the plan's end
    limit_um : limits to go by in place of those in force, by line code, "*" for every other line

    Returns
    -------
    curves of n lines; after a visit they depend on the outage where a yearly swing is known
    """
    place = np.full(len(fleet.plant.lines), -1, dtype=np.int64)
    place[np.asarray(lines, dtype=np.int64)] = np.arange(len(lines))
    rows = np.flatnonzero((place[fleet.of_line] >= 0) & np.isfinite(fleet.posterior.position_um))
    rows = rows[there(fleet, rows)]
    limit, target = _judged_by(fleet, rows, limit_um or {})
    judged = np.isfinite(limit)
    rows, limit, target = rows[judged], limit[judged], target[judged]
    known = Posterior(**{item.name: getattr(fleet.posterior, item.name)[rows] for item in fields(Posterior)})
    of = place[fleet.of_line[rows]]
    days, since = curve_days(end_day, start_day), _days_since(start_day, end_day)
    now, elapsed_years, elapsed_days, per_day = _clock(fleet, rows, known)
    untouched = start_of(
        known, target_um=target, limit_um=limit, elapsed_years=elapsed_years, elapsed_days=elapsed_days,
        years_per_day=per_day,
    )  # fmt: skip
    chance = worst_of_lines(_worth(untouched, days), of, len(lines))
    left_um2 = _as_left_um2(record, fleet)[rows]
    after = after_visit(rate_um=known.rate_um, rate_var_um2=known.rate_var_um2, as_left_um2=left_um2)
    zeros = np.zeros(rows.size)
    visited = replace(
        untouched, position_um=after.position_um, position_var_um2=after.position_var_um2, cov_um2=after.cov_um2,
        elapsed_years=zeros, elapsed_days=zeros,
    )  # fmt: skip
    if not (start_day.size and np.any(known.swing_um)):
        return Curves(days, chance, since, worst_of_lines(_worth(visited, since), of, len(lines)))
    by_outage = [
        worst_of_lines(_worth(replace(visited, day=now + start), since), of, len(lines)) for start in start_day
    ]
    return Curves(days, chance, since, np.stack(by_outage, axis=1))


def _days_since(start_day: FloatArray, end_day: float) -> FloatArray:
    longest = end_day - float(np.min(start_day)) if start_day.size else end_day
    return curve_days(longest, np.empty(0), step_days=_AFTER_STEP_DAYS)


def _worth(start: Start, days: FloatArray) -> FloatArray:
    """Return the chances day by day, worked out only for the series that come near their limit before the end."""
    last = chances_on(start, days[-1:])
    chance = np.broadcast_to(np.where(np.isfinite(last), 0.0, np.nan), (last.shape[0], days.size)).copy()
    near = np.flatnonzero(last[:, 0] > _NEGLIGIBLE)
    chance[near] = chances_on(start.rows(near), days)
    return chance


def _judged_by(fleet: FleetSeries, rows: IntArray, limit_um: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
    """Return limit and target of series; a place without a target is judged from the gearbox axis itself."""
    limit, target = np.full(rows.size, np.nan), np.zeros(rows.size)
    for at, index in enumerate(rows):
        station, axis = fleet.stations[fleet.of_station[index]], fleet.of_axis[index]
        recorded = fleet.tolerance(station, axis).limit_um
        asked = limit_um.get(fleet.plant.lines[fleet.of_line[index]].code, limit_um.get("*"))
        # A place nobody set a limit for is not judged by one that is only tried out.
        if recorded is not None:
            limit[at] = recorded if asked is None else asked
        target[at] = fleet.target_um(station, axis) or 0.0
    return limit, target


def _clock(
    fleet: FleetSeries, rows: IntArray, known: Posterior
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return noon of as-of, what has gone by since the newest survey, in years of use and days, and years a day."""
    noons = np.array(
        [epoch_days(noon(day, line.zone)) for day, line in zip(fleet.as_of, fleet.plant.lines, strict=True)]
    )
    clock = np.array([c.years(np.array([day]))[0] for c, day in zip(fleet.clocks, noons, strict=True)])
    pace = np.array([c.pace for c in fleet.clocks]) / DAYS_PER_YEAR
    of = fleet.of_line[rows]
    visited = fleet.session_days[fleet.assembled.session[known.last_visit]]
    years = clock[of] - fleet.assembled.visits.clock_years[known.last_visit]
    return noons[of], np.maximum(years, 0.0), np.maximum(noons[of] - visited, 0.0), np.maximum(pace[of], 0.0)


def _as_left_um2(record: queries.Record, fleet: FleetSeries) -> FloatArray:
    """Return how far from its target each series of the fleet is truly left at a visit, as a variance."""
    targets = {(row.station_id, row.started_at): (row.v_um, row.h_um) for row in queries.cold_targets(record)}
    visits = fleet.assembled.visits
    moved = np.flatnonzero(visits.moved & (fleet.assembled.left_row >= 0))
    deviation, variance, series = [], [], []
    for at in moved:
        index, row = int(visits.series[at]), int(fleet.assembled.left_row[at])
        station = fleet.stations[fleet.of_station[index]]
        aimed = targets.get((station.id, fleet.sessions[fleet.assembled.session[at]].started_at))
        if aimed is not None:
            deviation.append(float(fleet.measured.value_um[row]) - aimed[0 if fleet.of_axis[index] == "v" else 1])
            variance.append(float(fleet.measured.var_um2[row]))
            series.append(index)
    n = fleet.series.axis.size
    if not series:
        # Nobody has set a line to a target yet: anywhere within the width that is good enough is as likely.
        within = np.array([fleet.settings.number("set_within_um", line.site_id, day)
                           for line, day in zip(fleet.plant.lines, fleet.as_of, strict=True)])  # fmt: skip
        return np.asarray(within[fleet.of_line] ** 2 / 3.0, dtype=np.float64)
    return as_left_var_um2(np.array(deviation), np.array(variance), np.array(series, dtype=np.int64), n)
