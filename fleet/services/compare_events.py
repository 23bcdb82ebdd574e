"""Before and after what happened to lines: did the drift change, line by line and over all lines it happened to?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np

from fleet.services.compare_base import Base, Happened, Place
from fleet.services.expanded import expanded
from fleet.services.site_time import epoch_days, local_day_number, start_of_day
from fleet.store.deciding import DRIFT_CHANGED
from fleet.trend.before_after import BeforeAfter, Happenings, before_after
from fleet.trend.comparing import compare_groups, told_apart
from fleet.values import Axis, BoolArray, FloatArray, IntArray

FEWEST_INTERVALS: Final = 2
"""On each side, before one line's change is called real: one interval alone cannot tell a rate from a jump."""

FEWEST_LINES: Final = 3
"""Before anything is said of a kind of event: two lines leave one degree of freedom, and an interval of no use."""


@dataclass(frozen=True, slots=True)
class Change:
    """One line before and after; rates in um per year of use, + higher or to the right, u95 expanded (95 %).

    The rates are None where an interval is missing on one side. `sure` is the chance that the change has its sign;
    `told_apart` allows for the number of lines looked at and needs two intervals on each side.
    """

    line: str
    bore: int
    station: str
    on: date
    note: str | None
    before: float | None
    u95_before: float | None
    after: float | None
    u95_after: float | None
    change: float | None
    u95_change: float | None
    intervals_before: int
    intervals_after: int
    sure: float | None
    told_apart: bool


@dataclass(frozen=True, slots=True)
class KindOfEvent:
    """Everything of one kind: how often it happened, on how many lines it can be judged, the mean change there.

    `mean` and `u95_mean` are None with fewer than three lines to judge by; `p` is the chance of such a mean change if
    there were none; `told_apart` allows for how many kinds are looked at. `in_record` says that the kind was found in
    the record of drift itself, which makes its changes no evidence.
    """

    kind: str
    times: int
    lines: int
    judged: int
    mean: float | None
    u95_mean: float | None
    p: float | None
    told_apart: bool
    in_record: bool


@dataclass(frozen=True, slots=True)
class Events:
    """All kinds of events on the lines in view, and the changes of one of them, newest first."""

    kinds: tuple[KindOfEvent, ...]
    chosen: str | None
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class _Looked:
    """One happening at the series it is looked at in."""

    happened: Happened
    bore: int
    series: int


def events(base: Base, axis: Axis, place: Place, lines: frozenset[int], kind: str | None) -> Events:
    """Return what happened to some lines and how they drifted before and after.

    Parameters
    ----------
    base : as from `current_base`
    axis, place : which rate; what speaks for one station or support is looked at there
    lines : indices of the lines in view
    kind : whose changes are listed; None or one that never happened: the kind with most lines to judge by
    """
    looked = _looked(base, axis, place, lines)
    got = _fit(base, looked)
    of_kind: dict[str, list[int]] = defaultdict(list)
    for number, each in enumerate(looked):
        of_kind[each.happened.kind].append(number)
    times: dict[str, int] = defaultdict(int)
    where: dict[str, set[int]] = defaultdict(set)
    for happened in base.happened:
        if happened.line in lines:
            times[happened.kind] += 1
            where[happened.kind].add(happened.line)
    names = sorted(times, key=lambda name: (-len(_judged(looked, of_kind[name], got)), name))
    pooled = [_pooled(name, looked, of_kind[name], got, times[name], len(where[name])) for name in names]
    told = told_apart(np.array([np.nan if each.p is None else each.p for each in pooled], dtype=np.float64))
    kinds = tuple(replace(each, told_apart=bool(real)) for each, real in zip(pooled, told, strict=True))
    chosen = kind if kind in times else (names[0] if names else None)
    rows = of_kind[chosen] if chosen else []
    return Events(kinds, chosen, _changes(base, looked, rows, got, certain=chosen != DRIFT_CHANGED))


def _looked(base: Base, axis: Axis, place: Place, lines: frozenset[int]) -> list[_Looked]:
    fleet = base.fleet
    at: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for unit in base.units[axis, place]:
        at[unit.line].append((unit.bore, unit.series))
    offset = 0 if axis == "v" else 1
    series_of: dict[tuple[str, int], int] = {}
    for number, station in enumerate(fleet.stations):
        series_of["station", station.id] = 2 * number + offset
        if station.support_id is not None:
            series_of.setdefault(("support", station.support_id), 2 * number + offset)
    looked = []
    for happened in base.happened:
        if happened.line not in lines:
            continue
        own = [
            series_of[key]
            for key in (("station", happened.station_id or 0), ("support", happened.support_id or 0))
            if key in series_of
        ]
        places = [(fleet.stations[own[0] // 2].bore, own[0])] if own else at[happened.line]
        looked += [_Looked(happened, bore, series) for bore, series in places]
    return looked


def _fit(base: Base, looked: Sequence[_Looked]) -> BeforeAfter:
    fleet = base.fleet
    order = sorted(range(len(looked)), key=lambda number: looked[number].series)
    zones = [fleet.plant.lines[each.happened.line].zone for each in looked]
    moment = [
        each.happened.at or start_of_day(each.happened.on, zone) for each, zone in zip(looked, zones, strict=True)
    ]
    series: IntArray = np.array([each.series for each in looked], dtype=np.int64)
    local: IntArray = np.array([local_day_number(at, zone) for at, zone in zip(moment, zones, strict=True)], np.int64)
    # A machine changed at midnight and the event noted that day are one thing: regimes are counted by days here.
    resets = np.sort(fleet.resets.series * 1_000_000 + fleet.resets.local_day)
    first = np.searchsorted(resets, series * 1_000_000)
    happened = Happenings(
        series=series,
        day=np.array([epoch_days(at) for at in moment], dtype=np.float64),
        local_day=local,
        regime_before=(np.searchsorted(resets, series * 1_000_000 + local) - first).astype(np.int64),
        regime_after=(np.searchsorted(resets, series * 1_000_000 + local, side="right") - first).astype(np.int64),
    )
    found, visits = fleet.intervals, fleet.assembled.visits
    concerned = np.isin(found.series, series)
    days: dict[int, int] = {}
    session = fleet.assembled.session[found.from_visit]
    for number in np.unique(session[concerned]).tolist():
        info = fleet.sessions[number]
        days[number] = local_day_number(info.started_at, fleet.plant.lines[info.line].zone)
    from_local_day: IntArray = np.full(found.series.size, -1, dtype=np.int64)
    from_local_day[concerned] = [days[number] for number in session[concerned].tolist()]
    sorted_ = Happenings(*(getattr(happened, name)[order] for name in Happenings.__slots__))
    got = before_after(
        found, fleet.series, base.pooled, sorted_,
        begins=visits.clock_years[found.from_visit], from_local_day=from_local_day,
    )  # fmt: skip
    back = np.argsort(np.array(order, dtype=np.int64), kind="stable")
    return BeforeAfter(*(getattr(got, name)[back] for name in BeforeAfter.__slots__))


def _judged(looked: Sequence[_Looked], rows: Sequence[int], got: BeforeAfter) -> list[int]:
    """Return one happening a line: the newest with a rate on both sides, of its first bore."""
    newest: dict[int, int] = {}
    for number in rows:
        if np.isfinite(got.change_um[number]):
            line = looked[number].happened.line
            before = newest.get(line)
            if before is None or looked[number].happened.on > looked[before].happened.on:
                newest[line] = number
    return list(newest.values())


def _pooled(
    kind: str, looked: Sequence[_Looked], rows: Sequence[int], got: BeforeAfter, times: int, lines: int
) -> KindOfEvent:
    judged = _judged(looked, rows, got)
    mean = u95 = p = None
    if len(judged) >= FEWEST_LINES and kind != DRIFT_CHANGED:
        from scipy.special import stdtr

        change, variance = got.change_um[judged], got.change_u_um[judged] ** 2
        pooled = compare_groups(change, variance, np.zeros(len(judged), dtype=np.int64), 1)
        mean, u = float(pooled.mean_um[0]), float(pooled.u_um[0])
        u95 = expanded(u, float(pooled.dof))
        p = float(2.0 * stdtr(float(pooled.dof), -abs(mean) / u))
    return KindOfEvent(kind, times, lines, len(judged), mean, u95, p, False, kind == DRIFT_CHANGED)


def _changes(
    base: Base, looked: Sequence[_Looked], rows: Sequence[int], got: BeforeAfter, *, certain: bool
) -> tuple[Change, ...]:
    from scipy.special import stdtr

    at: IntArray = np.array(rows, dtype=np.int64)
    z: FloatArray = np.abs(got.change_um[at] / got.change_u_um[at])
    tail = np.asarray(stdtr(got.dof[at], -z), dtype=np.float64)
    enough: BoolArray = (got.n_before[at] >= FEWEST_INTERVALS) & (got.n_after[at] >= FEWEST_INTERVALS)
    told = told_apart(np.where(enough, 2.0 * tail, np.nan)) & certain
    changes = []
    for place, number in enumerate(rows):
        each, dof = looked[number], float(got.dof[number])
        known = bool(np.isfinite(got.change_um[number]))

        def figure(values: FloatArray, at: int = number, known: bool = known) -> float | None:
            return float(values[at]) if known else None

        def u95(values: FloatArray, at: int = number, known: bool = known, dof: float = dof) -> float | None:
            return expanded(float(values[at]), dof) if known else None

        changes.append(
            Change(
                line=base.fleet.plant.lines[each.happened.line].code,
                bore=each.bore,
                station=base.fleet.stations[base.fleet.of_station[each.series]].code,
                on=each.happened.on,
                note=each.happened.note,
                before=figure(got.before_um),
                u95_before=u95(got.before_u_um),
                after=figure(got.after_um),
                u95_after=u95(got.after_u_um),
                change=figure(got.change_um),
                u95_change=u95(got.change_u_um),
                intervals_before=int(got.n_before[number]),
                intervals_after=int(got.n_after[number]),
                sure=1.0 - float(tail[place]) if known else None,
                told_apart=bool(told[place]),
            )
        )
    return tuple(sorted(changes, key=lambda change: (change.on, change.line), reverse=True))
