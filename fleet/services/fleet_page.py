"""Fleet: which lines need us, and when?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.services.background import Older, up_to_date_or_older
from fleet.services.explaining import Evidence, from_text, sentence
from fleet.services.forecasting import why_no_record
from fleet.services.refresh import bring_up_to_date, is_fresh
from fleet.services.settings import DEFAULTS, Settings, settings_of
from fleet.services.site_time import site_today, zone_of
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import DAYS_PER_YEAR, STATUSES, Axis, Status

PAGE_ROWS: Final = 50


@dataclass(frozen=True, slots=True)
class OutageMark:
    """A planned outage ahead, as the pages draw it; times in the zone of its site."""

    code: str
    kind: str | None
    site: str | None
    line: str | None
    starts_at: datetime
    ends_at: datetime
    crew_hours: float | None


@dataclass(frozen=True, slots=True)
class FleetRow:
    """One line of the fleet with its worst station and axis; lengths in um, None where the record cannot say.

    Deviations are cold offset minus cold target; `u95` is expanded (95 %); chances are of |deviation| having passed
    the limit since the newest cold survey; `over_p10/p50/p90` the days by which that chance reaches 10, 50, 90 %.
    `why` says in millimetres what the status stands on, `evidence` holds the figures of it. `horizon` is the day beyond
    which its site gives no date (None: that of the view).
    """

    line: str
    site: str | None
    description: str | None
    screw_diameter_mm: float | None
    foundation: str | None
    right_hand_side: str | None
    commissioned_on: date | None
    status: Status
    why: str | None
    station: str | None
    axis: Axis | None
    deviation_um: float | None
    u95_deviation_um: float | None
    measured_deviation_um: float | None
    measured_on: date | None
    watch_um: float | None
    limit_um: float | None
    next_outage: str | None
    chance_next: float | None
    following_outage: str | None
    chance_following: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    evidence: Evidence | None = None
    horizon: date | None = None


@dataclass(frozen=True, slots=True)
class FleetFilters:
    """What the address asks for; None means all."""

    site: str | None = None
    status: Status | None = None
    foundation: str | None = None
    screw_diameter_mm: float | None = None
    page: int = 1


@dataclass(frozen=True, slots=True)
class FleetView:
    """One page (50 rows, most urgent first) of the filtered fleet, and what the filters can choose from.

    `counts` are per status under the other filters; `total` rows match all filters; `lines_in_store` tells an empty
    store from an empty selection. `horizon` is the day beyond which no date is given, the latest of all sites in view.
    `older`: the rows stand before the newest records, as of `as_of`; newer ones are being made or could not be.
    """

    rows: tuple[FleetRow, ...]
    filters: FleetFilters
    total: int
    pages: int
    lines_in_store: int
    counts: dict[Status, int]
    sites: tuple[str, ...]
    site_names: dict[str, str]
    foundations: tuple[str, ...]
    screw_diameters_mm: tuple[float, ...]
    outages: tuple[OutageMark, ...]
    as_of: date
    horizon: date
    refreshed_at: datetime
    older: Older | None = None


def fleet_view(
    store: Store, filters: FleetFilters, *, now: datetime | None = None, small: int | None = None
) -> FleetView:
    """Return one page of the fleet, most urgent first.

    Where the derived states are up to date that takes two queries on them, and two short ones for the outages ahead
    and the settings. A page beyond the last shows the last. A fleet of more than `small` lines is brought up to date
    behind the pages; until then they show its older states.
    """
    with store.read() as record:
        facets = queries.fleet_facets(record)
        if is_fresh(facets, now):
            return _view(record, facets, filters, now, PAGE_ROWS)
    older = up_to_date_or_older(store, now=now, small=small)
    with store.read() as record:
        view = _view(record, queries.fleet_facets(record), filters, now, PAGE_ROWS)
    return replace(view, older=older) if older and older.states else view


def whole_fleet(store: Store, *, now: datetime | None = None) -> FleetView:
    """Return the fleet without paging, as `asleft status` prints it."""
    bring_up_to_date(store, now=now)
    with store.read() as record:
        return _view(record, queries.fleet_facets(record), FleetFilters(), now, None)


def _view(
    record: queries.Record, facets: queries.Rows, filters: FleetFilters, now: datetime | None, page_rows: int | None
) -> FleetView:
    settings = settings_of(queries.settings(record))
    known = [row for row in facets if row.n]
    others = [row for row in known if _matches(row, replace(filters, status=None))]
    matching = [row for row in others if filters.status in (None, row.status)]
    total = sum(row.n for row in matching)
    pages = 1 if page_rows is None else max(1, -(-total // page_rows))
    page = min(max(filters.page, 1), pages)
    counted = Counter[Status]()
    for row in others:
        counted[row.status] += row.n
    rows = queries.fleet_page(
        record,
        queries.fleet_conditions(
            site=filters.site,
            status=filters.status,
            foundation=filters.foundation,
            screw_diameter_mm=filters.screw_diameter_mm,
        ),
        limit=page_rows,
        offset=(page - 1) * (page_rows or 0),
    )
    today = max((row.site_day for row in known), default=site_today(zone_of(None), now))
    return FleetView(
        rows=tuple(_row(row, settings) for row in rows),
        filters=replace(filters, page=page),
        total=total,
        pages=pages,
        lines_in_store=sum(row.n for row in known),
        counts={status: counted[status] for status in STATUSES},
        sites=tuple(sorted({row.site for row in known if row.site})),
        site_names={row.site: row.site_name or row.site for row in known if row.site},
        foundations=tuple(sorted({row.foundation for row in known if row.foundation})),
        screw_diameters_mm=tuple(sorted({row.screw_diameter_mm for row in known if row.screw_diameter_mm})),
        outages=_outages(record, filters.site, today),
        as_of=today,
        horizon=max(
            (_horizon(settings, row.site_id, row.site_day) for row in others),
            default=today + timedelta(days=round(DEFAULTS["horizon_years"] * DAYS_PER_YEAR)),
        ),
        refreshed_at=(now or datetime.now(UTC)).astimezone(_zone(others)),
    )


def _zone(rows: Iterable[Any]) -> ZoneInfo:
    """Return the zone that all sites of some rows share, else UTC."""
    zones = {row.time_zone for row in rows}
    return zone_of(zones.pop() if len(zones) == 1 else None)


def _matches(row: Any, filters: FleetFilters) -> bool:
    return (
        filters.site in (None, row.site)
        and filters.status in (None, row.status)
        and filters.foundation in (None, row.foundation)
        and filters.screw_diameter_mm in (None, row.screw_diameter_mm)
    )


def _outages(record: queries.Record, site: str | None, today: date) -> tuple[OutageMark, ...]:
    marks = []
    for row in queries.outages(record):
        zone = zone_of(row.time_zone)
        starts = row.starts_at.astimezone(zone)
        if starts.date() > today and site in (None, row.at_site):
            ends = (row.ends_at or row.starts_at).astimezone(zone)
            marks.append(OutageMark(row.code, row.kind, row.site, row.line, starts, ends, row.crew_hours))
    return tuple(marks)


def _horizon(settings: Settings, site_id: int | None, day: date) -> date:
    return day + timedelta(days=round(settings.number("horizon_years", site_id, day) * DAYS_PER_YEAR))


def _row(row: Any, settings: Settings) -> FleetRow:
    evidence = from_text(row.evidence) if row.evidence else None
    why = sentence(evidence, "mm") if evidence else None
    if why is None and row.status == "no record":
        why = why_no_record(has_position=row.deviation_um is not None, has_visit=row.last_visit_at is not None)
    return FleetRow(
        line=row.line,
        site=row.site,
        description=row.description,
        screw_diameter_mm=row.screw_diameter_mm,
        foundation=row.foundation,
        right_hand_side=row.right_hand_side,
        commissioned_on=row.commissioned_on,
        status=row.status,
        why=why,
        station=row.station,
        axis=row.axis,
        deviation_um=row.deviation_um,
        u95_deviation_um=row.u95_deviation_um,
        measured_deviation_um=row.measured_deviation_um,
        measured_on=row.last_measured_at.astimezone(zone_of(row.time_zone)).date() if row.last_measured_at else None,
        watch_um=row.watch_um,
        limit_um=row.limit_um,
        next_outage=row.next_outage,
        chance_next=row.chance_before_next_outage,
        following_outage=row.following_outage,
        chance_following=row.chance_before_following_outage,
        over_p10=row.over_p10,
        over_p50=row.over_p50,
        over_p90=row.over_p90,
        evidence=evidence,
        horizon=_horizon(settings, row.site_id, row.site_day),
    )
