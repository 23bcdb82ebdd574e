"""Drift: what moved between two visits while nobody touched the line."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import DriftInterval
from fleet.services.series import FleetSeries, load_series
from fleet.store.engine import Store
from fleet.trend.flags import flags
from fleet.trend.records import of_one_series


def intervals_of(fleet: FleetSeries, series: int | None = None) -> list[DriftInterval]:
    """Return every interval of the fleet (or of one series), by line, station, axis and time, in the site's zone."""
    found = fleet.intervals if series is None else of_one_series(fleet.intervals, series)
    judged = flags(found, fleet.series, fleet.pooled)
    rows = []
    for at in range(found.series.size):
        index = int(found.series[at])
        line_index = int(fleet.of_line[index])
        line, clock = fleet.plant.lines[line_index], fleet.clocks[line_index]
        start, end = (
            fleet.sessions[fleet.assembled.session[visit[at]]] for visit in (found.from_visit, found.to_visit)
        )
        hours = float(found.years[at]) * clock.mean_hours_per_year if clock.metered else None
        span = found.years[at] if hours is None else hours / 1000.0
        rows.append(
            DriftInterval(
                line=line.code,
                station=fleet.stations[fleet.of_station[index]].code,
                axis=fleet.of_axis[index],
                from_session=start.code,
                to_session=end.code,
                from_at=start.started_at.astimezone(line.zone),
                to_at=end.started_at.astimezone(line.zone),
                running_hours=hours,
                moved_um=float(found.moved_um[at]),
                u_um=float(np.sqrt(found.var_um2[at])),
                rate=float(found.moved_um[at] / span) if span > 0.0 else None,
                rate_unit="um_per_year" if hours is None else "um_per_1000_h",
                beyond_measurement=bool(judged.beyond_measurement[at]),
                unusual=bool(judged.unusual[at]),
            )
        )
    return rows


def drift_rows(store: Store, *, line: str | None = None, now: datetime | None = None) -> list[DriftInterval]:
    """Return the intervals of a line or of the whole fleet.

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
    with store.read() as connection:
        fleet = load_series(connection, now=now)
    rows = intervals_of(fleet)
    if line is None:
        return rows
    return [row for row in rows if row.line == fleet.plant.line(line).code]
