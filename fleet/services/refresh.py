"""Keeping the derived results at the facts: reductions, the state of every series, the state of every line.

The intake calls this after its commit, `serve` before it listens, and a page when it finds that facts or the day at a
site have moved on. Nothing in a process is ever the truth: freshness is asked of the store.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from fleet.errors import FleetError
from fleet.services.explaining import Surroundings, evidence_of, surroundings, to_text
from fleet.services.forecasting import Foreseen, foresee, rows_of, worst
from fleet.services.reduction import reduce_surveys
from fleet.services.rows import ForecastRow
from fleet.services.series import load_series
from fleet.services.site_time import site_today, zone_of
from fleet.store import queries
from fleet.store.engine import Store
from fleet.store.rewriting import replace_states
from fleet.store.versions import data_version
from fleet.values import NORMAL_95, STATUSES

Progress = Callable[[int, int], None]

SERIES_COLUMNS: Final = (
    "line_id", "station_id", "axis", "data_version", "site_day", "last_session", "last_measured_um",
    "last_measured_at", "measured_deviation_um", "u95_deviation_um", "position_um", "u_position_um",
    "rate_um_per_year", "u_rate_um_per_year", "rate_um_per_1000_h", "deviation_um", "watch_um", "limit_um", "status",
    "chance_now", "chance_30", "chance_90", "chance_180", "chance_365", "chance_730", "next_outage",
    "chance_before_next_outage", "following_outage", "chance_before_following_outage", "over_p10", "over_p50",
    "over_p90", "borrowed_lines", "borrowed_weight", "expected",
)  # fmt: skip
LINE_COLUMNS: Final = (
    "line_id", "site_id", "foundation", "screw_diameter_mm", "data_version", "site_day", "urgency", "status",
    "station_id", "axis", "share_of_limit", "chance_next", "chance_following", "over_p10", "over_p50", "over_p90",
    "last_visit_at", "next_outage", "evidence",
)  # fmt: skip
_TRIES: Final = 5


def is_fresh(facets: queries.Rows, now: datetime | None = None) -> bool:
    """Return whether every line has a state at the version of the facts and of today at its site.

    Parameters
    ----------
    facets : rows of `queries.fleet_facets`
    now : the present moment, for tests
    """
    known = [row for row in facets if row.n]
    return sum(row.n for row in known) == max((row.lines for row in facets), default=0) and all(
        row.state_version == row.data_version and row.site_day == site_today(zone_of(row.time_zone), now)
        for row in known
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """How the derived results stand: whether they are of the facts and the day of now, how many lines there are."""

    fresh: bool
    lines: int
    with_state: int


def standing(store: Store, *, now: datetime | None = None) -> Standing:
    """Return how the derived results of a store stand."""
    with store.read() as record:
        facets = queries.fleet_facets(record)
    return Standing(
        fresh=is_fresh(facets, now),
        lines=max((row.lines for row in facets), default=0),
        with_state=sum(row.n for row in facets if row.n),
    )


def bring_up_to_date(store: Store, *, progress: Progress | None = None, now: datetime | None = None) -> bool:
    """Make the derived results anew where facts or the day have moved on; return whether anything was to do.

    Raises
    ------
    FleetError
        The facts kept changing while the results were being made.
    """
    with store.read() as record:
        if is_fresh(queries.fleet_facets(record), now):
            return False
    for _ in range(_TRIES):
        reduce_surveys(store, progress=progress)
        with store.read() as record:
            version = data_version(record)
            fleet = load_series(record, now=now)
        foreseen = foresee(fleet, np.arange(fleet.series.axis.size))
        rows = rows_of(foreseen)
        series, lines = _series_rows(foreseen, rows, version), _line_rows(foreseen, rows, version)
        with store.write() as record:
            on = (now or datetime.now(UTC)).date()
            if replace_states(
                record,
                version=version,
                on=on,
                series_columns=SERIES_COLUMNS,
                series=series,
                line_columns=LINE_COLUMNS,
                lines=lines,
            ):
                return True
    raise FleetError("The records keep changing while their states are being worked out; try again in a minute.")


def _series_rows(foreseen: Foreseen, rows: list[ForecastRow], version: int) -> list[tuple[object, ...]]:
    fleet, got = foreseen.fleet, foreseen.forecast
    result: list[tuple[object, ...]] = []
    for at, (index, row) in enumerate(zip(foreseen.rows, rows, strict=True)):
        station = fleet.stations[fleet.of_station[index]]
        chance_now = float(got.chance_now[at])
        result.append(
            (
                station.line_id, station.id, row.axis, version, row.as_of, row.last_session, row.last_measured_um,
                row.last_measured_at, float(got.measured_deviation_um[at]), NORMAL_95 * row.u_position_um,
                row.position_um, row.u_position_um, row.rate_um_per_year, row.u_rate_um_per_year,
                row.rate_um_per_1000_h, row.deviation_um, row.watch_um, row.limit_um, row.status,
                chance_now if np.isfinite(chance_now) else None, *row.chance_over.values(), row.next_outage,
                row.chance_before_next_outage, row.following_outage, row.chance_before_following_outage,
                row.over_on.p10, row.over_on.p50, row.over_on.p90, row.borrowed_from.lines, row.borrowed_from.weight,
                json.dumps([asdict(e) for e in row.expected], default=str) if row.expected else None,
            )
        )  # fmt: skip
    return result


def _line_rows(foreseen: Foreseen, rows: list[ForecastRow], version: int) -> list[tuple[object, ...]]:
    fleet = foreseen.fleet
    around = surroundings(fleet)
    by_line: dict[int, list[int]] = defaultdict(list)
    for at, index in enumerate(foreseen.rows):
        by_line[int(fleet.of_line[index])].append(at)
    last_visit: dict[int, datetime] = {}
    for session in fleet.sessions:
        last_visit[session.line] = session.started_at
    return [
        _line_row(foreseen, rows, around, index, by_line[index], last_visit.get(index), version)
        for index in range(len(fleet.plant.lines))
    ]


def _line_row(
    foreseen: Foreseen,
    all_rows: list[ForecastRow],
    around: Surroundings,
    index: int,
    places: list[int],
    last_visit: datetime | None,
    version: int,
) -> tuple[object, ...]:
    fleet, rows = foreseen.fleet, [all_rows[at] for at in places]
    line, day = fleet.plant.lines[index], fleet.as_of[index]
    head = (line.id, line.site_id, line.foundation, line.screw_diameter_mm, version, day)
    coming = fleet.coming_outages(line, day)
    next_outage = coming[0].code if coming else None
    row = worst(rows)
    if row is None:
        none = STATUSES.index("no record")
        nothing = (None,) * 8
        return (*head, none + 1.0, "no record", *nothing, last_visit, next_outage, None)
    station_id = next(s.id for s in fleet.plant.stations[line.id] if s.code == row.station)
    share = abs(row.deviation_um) / row.limit_um if row.limit_um else None
    # Within a status the greater chance comes first, then the greater share of the limit.
    urgency = STATUSES.index(row.status) + 0.9 * (1.0 - (row.chance_before_following_outage or 0.0))
    urgency += 0.09 / (1.0 + (share or 0.0))
    return (
        *head, urgency, row.status, station_id, row.axis, share, row.chance_before_next_outage,
        row.chance_before_following_outage, row.over_on.p10, row.over_on.p50, row.over_on.p90, last_visit, next_outage,
        to_text(evidence_of(foreseen, places[rows.index(row)], row, around)),
    )  # fmt: skip
