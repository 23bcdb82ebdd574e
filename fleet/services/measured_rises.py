"""How far every station of a line was measured to rise from cold to running, run by run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from fleet.services.cold_offsets import current_comparison, place_rows
from fleet.services.expanded import expanded
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import current_series
from fleet.store.engine import Store
from fleet.thermal.judging import LEAST_RUNS
from fleet.values import NORMAL_95


@dataclass(frozen=True, slots=True)
class StationRise:
    """How far one station was measured to rise from cold to running, vertically [um]; oldest run first.

    `mean_um` is over runs; `u95_mean_um` from their scatter where there are at least three, else as the checks state.
    """

    station: str
    support: str | None
    distance_mm: float
    runs: tuple[tuple[date, float], ...]
    mean_um: float
    u95_mean_um: float


def measured_rises(store: Store, line: str, *, now: datetime | None = None) -> tuple[StationRise, ...]:
    """Return the measured rise of every station of a line that has any, from the flange outward.

    Parameters
    ----------
    store : the record
    line : its code
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        info = fleet.plant.line(line)
        compared = current_comparison(record, fleet)
    index = fleet.line_index[info.id]
    found = []
    for place, rows in place_rows(compared).items():
        if int(compared.places.line[place]) != index or compared.places.axis[place] != 0:
            continue
        by_run: dict[int, list[int]] = {}
        for row in (row for row in rows if compared.rows.counts[row]):
            by_run.setdefault(int(compared.rows.run[row]), []).append(row)
        if not by_run:
            continue
        rise = np.array([compared.rows.rise_um[at].mean() for at in by_run.values()])
        u = np.array([compared.rows.u_rise_um[at].mean() for at in by_run.values()])
        if rise.size >= LEAST_RUNS:
            u95 = expanded(float(np.std(rise, ddof=1)) / rise.size**0.5, rise.size - 1.0)
        else:
            u95 = NORMAL_95 * float(np.sqrt(np.sum(u**2))) / rise.size
        first = [compared.checks[compared.row_check[at[0]]] for at in by_run.values()]
        days = [check.checked_at.astimezone(info.zone).date() for check in first]
        station = compared.stations[place // 2]
        found.append(
            StationRise(
                station.code, station.support, station.distance_mm, tuple(zip(days, rise.tolist(), strict=True)),
                float(np.mean(rise)), u95,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda one: one.distance_mm))
