"""What the comparison of lines stands on: every line's own and pooled rate at one place, and what the line is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Literal

import numpy as np

from fleet.services.kept import Kept
from fleet.services.plant import LineInfo
from fleet.services.series import FleetSeries
from fleet.store import queries
from fleet.store.queries.machines import machines_placed
from fleet.trend import Pooled, Posterior, posteriors
from fleet.trend.comparing import Departures, OwnRecord, departures, one_rate_first, own_record, told_apart
from fleet.values import Axis, BoolArray, IntArray

Place = Literal["discharge", "gearbox"]
PLACES: Final[tuple[Place, ...]] = ("discharge", "gearbox")
"""Where on each line: its measured station farthest from the gearbox, or nearest to it."""

CohortBy = Literal["foundation", "frame", "saddle", "size", "site"]
COHORTS: Final[tuple[CohortBy, ...]] = ("foundation", "frame", "saddle", "size", "site")


@dataclass(frozen=True, slots=True)
class Unit:
    """One line (one bore of it) at one place: which series stands for it."""

    line: int
    bore: int
    series: int


@dataclass(frozen=True, slots=True)
class Happened:
    """Something recorded that may change how a line moves; `station_id`, `support_id` where it speaks for one only."""

    line: int
    kind: str
    at: datetime | None
    on: date
    note: str | None
    resets: bool
    station_id: int | None
    support_id: int | None


@dataclass(frozen=True, slots=True)
class Base:
    """The fleet's rates made comparable, once per version of the facts.

    Parameters
    ----------
    fleet : the series they come from
    pooled : what the fleet knows, with no movement taken for a jump where one rate explains a line's
    known : every series' rate, own record and fleet together, with that
    own, apart : every series' own rate, and how far its pooled rate lies from the fleet's
    units : by axis and place, in order of the lines; lines without an interval there have none
    told : which of them are told apart from the fleet, shape of those units
    kinds : what each line is, by cohort: the text recorded, None where none is
    happened : events and changed machines of every line, in time order
    """

    fleet: FleetSeries
    pooled: Pooled
    known: Posterior
    own: OwnRecord
    apart: Departures
    units: dict[tuple[Axis, Place], tuple[Unit, ...]]
    told: dict[tuple[Axis, Place], BoolArray]
    kinds: dict[CohortBy, tuple[str | None, ...]]
    happened: tuple[Happened, ...]


_KEPT: Kept[Base] = Kept()


def current_base(record: queries.Record, fleet: FleetSeries) -> Base:
    """Return the fleet's rates made comparable, worked out once per version of the facts and day."""
    return _KEPT.of(record, fleet.as_of, lambda: make_base(record, fleet))


def make_base(record: queries.Record, fleet: FleetSeries) -> Base:
    """Work out the rates and what the lines are.

    Parameters
    ----------
    record : open session of `Store.read()`
    fleet : the same record's series
    """
    from scipy.special import stdtrit

    regime_now = fleet.resets.count(fleet.series.axis.size)
    pooled = one_rate_first(fleet.intervals, fleet.series, fleet.pooled)
    own = own_record(fleet.intervals, fleet.series, pooled, regime_now)
    # The same as the forecast's, but for lines all of whose movements it takes for jumps.
    known = posteriors(fleet.assembled.visits, fleet.intervals, fleet.series, pooled, regime_now=regime_now)
    apart = departures(own, fleet.series, pooled, known.rate_um)
    # Its own record may differ where all that is known of the line does not.
    beyond = np.abs(apart.departure_um) > stdtrit(apart.dof, 0.975) * apart.u_um
    units: dict[tuple[Axis, Place], tuple[Unit, ...]] = {}
    told: dict[tuple[Axis, Place], BoolArray] = {}
    axes: tuple[Axis, ...] = ("v", "h")
    for number, axis in enumerate(axes):
        for place in PLACES:
            rows = _at(fleet, own, number, place)
            units[axis, place] = tuple(
                Unit(int(fleet.of_line[row]), fleet.stations[fleet.of_station[row]].bore, int(row)) for row in rows
            )
            told[axis, place] = told_apart(apart.own_p[rows]) & beyond[rows]
    machines = machines_placed(record)
    return Base(
        fleet, pooled, known, own, apart, units, told, _kinds(fleet, machines), _happened(record, fleet, machines)
    )


def _at(fleet: FleetSeries, own: OwnRecord, axis: int, place: Place) -> IntArray:
    """Return the series that stands for every line (bore): that of its outermost or innermost station with a rate."""
    rows = np.flatnonzero((fleet.series.axis == axis) & np.isfinite(own.rate_um))
    line, share = fleet.series.line[rows], fleet.series.share[rows]
    order = np.lexsort((-share if place == "discharge" else share, line))
    first = np.ones(order.size, dtype=np.bool_)
    first[1:] = line[order][1:] != line[order][:-1]
    chosen = rows[order[first]]
    # Every bore of a line counts as a barrel of its own there; here the bores of a line stand together.
    return np.asarray(chosen[np.argsort(fleet.of_line[chosen], kind="stable")], dtype=np.int64)


def _kinds(fleet: FleetSeries, machines: queries.Rows) -> dict[CohortBy, tuple[str | None, ...]]:
    plant = fleet.plant
    frames: dict[int, str | None] = {}
    for row in machines:
        day = fleet.as_of[fleet.line_index[row.line_id]]
        if row.asset_kind == "gearbox" and row.installed_on <= day and (row.removed_on is None or day < row.removed_on):
            frames[row.line_id] = row.frame

    def saddles(index: int, line: LineInfo) -> str | None:
        standing = plant.supports.get(line.id, ())
        return "+".join(sorted({s.geometry.saddle or "" for s in standing if s.on(fleet.as_of[index])} - {""})) or None

    return {
        "foundation": tuple(line.foundation or None for line in plant.lines),
        "frame": tuple(frames.get(line.id) or None for line in plant.lines),
        "saddle": tuple(saddles(index, line) for index, line in enumerate(plant.lines)),
        "size": tuple(f"{s:g}" if (s := line.screw_diameter_mm) else None for line in plant.lines),
        "site": tuple(line.site or None for line in plant.lines),
    }


def _happened(record: queries.Record, fleet: FleetSeries, machines: queries.Rows) -> tuple[Happened, ...]:
    """Return events up to as-of, and the days another gearbox, barrel or screw came onto a line that had had one."""
    lines = fleet.plant.lines
    rows: list[Happened] = []
    for row in queries.events(record):
        index = fleet.line_index[row.line_id]
        on = row.happened_at.astimezone(lines[index].zone).date()
        if on <= fleet.as_of[index]:
            rows.append(
                Happened(
                    index, row.kind, row.happened_at, on, row.note, bool(row.resets_trend), row.station_id,
                    row.support_id,
                )
            )  # fmt: skip
    noted = {(happened.line, happened.kind, happened.on) for happened in rows}
    before: dict[tuple[int, str], Any] = {}
    for row in machines:
        index, key = fleet.line_index[row.line_id], (row.line_id, row.asset_kind)
        kind = f"{row.asset_kind} changed"
        if key in before and row.installed_on <= fleet.as_of[index] and (index, kind, row.installed_on) not in noted:
            note = f"{row.serial} in place of {before[key]}"
            resets = row.asset_kind != "screw"
            rows.append(Happened(index, kind, None, row.installed_on, note, resets, None, None))
        before[key] = row.serial
    return tuple(sorted(rows, key=lambda happened: (happened.on, happened.line, happened.kind)))
