"""Compare: which lines move most, and is it real?

Two visits do not outrank twenty: lines are ranked by the rate that their own record and the fleet give together, and
whether one differs from the fleet is said by its own intervals, allowing for how many lines are looked at. Rates are
micrometres per year of use: a calendar year at a line's mean running hours, or a calendar year where no meter is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

import numpy as np

from fleet.services.compare_base import COHORTS, PLACES, Base, CohortBy, Place, Unit, current_base
from fleet.services.compare_cohorts import Cohort, Cohorts, MatrixRow, all_cohorts, matrix
from fleet.services.compare_events import Change, Events, KindOfEvent, events
from fleet.services.expanded import expanded
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import current_series
from fleet.services.site_time import site_today, zone_of
from fleet.store.engine import Store
from fleet.trend.comparing import FALSE_ALARMS
from fleet.values import NORMAL_95, Axis

__all__ = [
    "COHORTS",
    "FALSE_ALARMS",
    "PAGE_ROWS",
    "PLACES",
    "Change",
    "Cohort",
    "CohortBy",
    "Cohorts",
    "CompareFilters",
    "CompareView",
    "Events",
    "KindOfEvent",
    "MatrixRow",
    "Place",
    "Ranked",
    "compare_view",
]

PAGE_ROWS: Final = 50
_NAMED: Final = 8


@dataclass(frozen=True, slots=True)
class CompareFilters:
    """What the address asks for; None means all, also of the pages. `event` is the kind whose changes are listed."""

    site: str | None = None
    foundation: str | None = None
    screw_diameter_mm: float | None = None
    axis: Axis = "v"
    at: Place = "discharge"
    by: CohortBy = "foundation"
    event: str | None = None
    page: int | None = 1


@dataclass(frozen=True, slots=True)
class Ranked:
    """One line (bore) in the ranking; rates in um per year of use, + higher or to the right, u95 expanded (95 %).

    Attributes
    ----------
    place
        Its rank among the lines in view, by size of `rate`.
    station, distance_mm
        Where that is.
    intervals, visits
        Intervals behind the rate (of the current regime), visits in the whole record.
    rate, u95_rate
        From its own record, its other stations and the fleet together: the rate the forecast uses, but where one rate
        explains all movements of a line none of them is taken for a jump.
    own, u95_own
        From its own intervals there alone.
    borrowed
        Share of the rate that comes from elsewhere, 0 to 1.
    fleet
        The fleet's mean rate at the same distance.
    from_fleet, u95_from_fleet
        The rate minus that.
    sure
        Chance that the line lies on that side of the fleet's mean.
    told_apart
        Its own record differs from the fleet's mean, allowing for how many lines are looked at, and so does the rate.
    rate_um_per_1000_h
        The rate per 1 000 running hours; None where no meter is kept.
    """

    place: int
    line: str
    bore: int
    site: str | None
    foundation: str | None
    frame: str | None
    saddle: str | None
    screw_diameter_mm: float | None
    right_hand_side: str | None
    station: str
    distance_mm: float
    intervals: int
    visits: int
    rate: float
    u95_rate: float
    own: float
    u95_own: float
    borrowed: float
    fleet: float
    from_fleet: float
    u95_from_fleet: float
    sure: float
    told_apart: bool
    rate_um_per_1000_h: float | None


@dataclass(frozen=True, slots=True)
class CompareView:
    """The comparison for one selection of lines.

    Attributes
    ----------
    filters
        As applied; a page beyond the last is the last.
    ranked
        One page of the ranking.
    total, pages
        Lines (bores) ranked, and pages of them.
    in_view, without_rate, lines_in_store
        Lines the filters leave, those of them without an interval to judge by, and all lines.
    ranked_in_store
        Lines (bores) with a rate in the whole store: what the verdicts allow for.
    fleet, u95_fleet
        The fleet's mean rate at such a place, over all lines of the store; None without any record.
    told
        Lines told apart from the fleet, in order of the ranking: the first few, and how many there are.
    loudest
        The line whose own record shows the largest rate.
    """

    filters: CompareFilters
    ranked: tuple[Ranked, ...]
    total: int
    pages: int
    in_view: int
    without_rate: int
    lines_in_store: int
    ranked_in_store: int
    fleet: float | None
    u95_fleet: float | None
    told: tuple[Ranked, ...]
    told_count: int
    loudest: Ranked | None
    cohorts: Cohorts
    matrix: tuple[MatrixRow, ...]
    events: Events
    scale: tuple[float, float]
    sites: tuple[str, ...]
    site_names: dict[str, str]
    foundations: tuple[str, ...]
    screw_diameters_mm: tuple[float, ...]
    as_of: date


def compare_view(store: Store, filters: CompareFilters, *, now: datetime | None = None) -> CompareView:
    """Return the comparison for one selection.

    Parameters
    ----------
    store : the record
    filters : which lines, where on them, what is looked at
    now : the present moment, for tests
    """
    base, today = _base(store, now)
    return view_of(base, filters, today)


def _base(store: Store, now: datetime | None) -> tuple[Base, date]:
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        return current_base(record, fleet), min(fleet.as_of, default=site_today(zone_of(None), now))


def view_of(base: Base, filters: CompareFilters, today: date) -> CompareView:
    """Return the view of a base already worked out; parameters as in `compare_view`."""
    lines = base.fleet.plant.lines
    chosen = _chosen(base, filters)
    units = _order(base, filters, chosen)
    pages = max(1, -(-len(units) // PAGE_ROWS))
    page = None if filters.page is None else min(max(filters.page, 1), pages)
    shown = range(len(units))
    if page is not None:
        shown = range((page - 1) * PAGE_ROWS, min(page * PAGE_ROWS, len(units)))

    def row(place: int) -> Ranked:
        unit, told = units[place]
        return _ranked(base, unit, told, place + 1)

    told = [place for place, (_, apart) in enumerate(units) if apart]
    own = np.array([abs(base.own.rate_um[unit.series]) for unit, _ in units])
    fleet, u95_fleet = _fleet(base, filters)
    groups = all_cohorts(base, filters.at, chosen)
    return CompareView(
        filters=replace(filters, page=page),
        ranked=tuple(row(place) for place in shown),
        total=len(units),
        pages=pages,
        in_view=len(chosen),
        without_rate=len(chosen) - len({unit.line for unit, _ in units}),
        lines_in_store=len(lines),
        ranked_in_store=len(base.units[filters.axis, filters.at]),
        fleet=fleet,
        u95_fleet=u95_fleet,
        told=tuple(row(place) for place in told[:_NAMED]),
        told_count=len(told),
        loudest=row(int(np.argmax(own))) if own.size else None,
        cohorts=groups[filters.by, filters.axis],
        matrix=matrix(base, groups, chosen),
        events=events(base, filters.axis, filters.at, chosen, filters.event),
        scale=_scale(base, units),
        sites=tuple(sorted({line.site for line in lines if line.site})),
        site_names={line.site: line.site_name or line.site for line in lines if line.site},
        foundations=tuple(sorted({line.foundation for line in lines if line.foundation})),
        screw_diameters_mm=tuple(sorted({line.screw_diameter_mm for line in lines if line.screw_diameter_mm})),
        as_of=today,
    )


def _chosen(base: Base, filters: CompareFilters) -> frozenset[int]:
    return frozenset(
        index
        for index, line in enumerate(base.fleet.plant.lines)
        if filters.site in (None, line.site)
        and filters.foundation in (None, line.foundation)
        and filters.screw_diameter_mm in (None, line.screw_diameter_mm)
    )


def _order(base: Base, filters: CompareFilters, chosen: frozenset[int]) -> list[tuple[Unit, bool]]:
    """Return the units in view with their verdicts, the one that moves most first."""
    key = filters.axis, filters.at
    pairs = [
        (unit, bool(told)) for unit, told in zip(base.units[key], base.told[key], strict=True) if unit.line in chosen
    ]
    rate = base.known.rate_um
    return sorted(pairs, key=lambda pair: -abs(float(rate[pair[0].series])))


def _ranked(base: Base, unit: Unit, told: bool, place: int) -> Ranked:
    from scipy.special import stdtr

    fleet, apart, own, row = base.fleet, base.apart, base.own, unit.series
    line, station = fleet.plant.lines[unit.line], fleet.stations[fleet.of_station[row]]
    clock = fleet.clocks[unit.line]
    rate, dof = float(base.known.rate_um[row]), float(apart.dof[row])
    departure, u = float(apart.departure_um[row]), float(apart.u_um[row])
    visits = fleet.assembled.visits.series
    seen = np.searchsorted(visits, row, side="right") - np.searchsorted(visits, row, side="left")
    return Ranked(
        place=place,
        line=line.code,
        bore=unit.bore,
        site=line.site,
        foundation=line.foundation,
        frame=base.kinds["frame"][unit.line],
        saddle=base.kinds["saddle"][unit.line],
        screw_diameter_mm=line.screw_diameter_mm,
        right_hand_side=line.right_hand_side,
        station=station.code,
        distance_mm=station.distance_mm,
        intervals=int(base.known.n_intervals[row]),
        visits=int(seen),
        rate=rate,
        u95_rate=expanded(float(np.sqrt(base.known.rate_var_um2[row])), dof),
        own=float(own.rate_um[row]),
        u95_own=expanded(float(np.sqrt(own.var_um2[row])), dof),
        borrowed=float(base.known.borrowed[row]),
        fleet=float(apart.fleet_um[row]),
        from_fleet=departure,
        u95_from_fleet=expanded(u, dof),
        sure=float(stdtr(dof, abs(departure) / u)),
        told_apart=told,
        rate_um_per_1000_h=rate / clock.mean_hours_per_year * 1000.0 if clock.metered else None,
    )


def _fleet(base: Base, filters: CompareFilters) -> tuple[float | None, float | None]:
    rows = [unit.series for unit in base.units[filters.axis, filters.at]]
    if not rows:
        return None, None
    return float(np.mean(base.apart.fleet_um[rows])), NORMAL_95 * float(np.mean(base.apart.fleet_u_um[rows]))


def _scale(base: Base, units: list[tuple[Unit, bool]]) -> tuple[float, float]:
    """Return the least and the greatest rate that has to be drawn, the same for every page of the ranking."""
    rows = [unit.series for unit, _ in units]
    if not rows:
        return 0.0, 0.0
    post, own = base.known, base.own.rate_um[rows]
    reach = 2.5 * np.sqrt(post.rate_var_um2[rows])
    low = min(0.0, float(np.min(post.rate_um[rows] - reach)), float(np.percentile(own, 1)))
    high = max(0.0, float(np.max(post.rate_um[rows] + reach)), float(np.percentile(own, 99)))
    return low, high
