"""Fleet: which lines need us, and when?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.values import Axis, Status


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
    store from an empty selection. `horizon` is the day beyond which no date is given.
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
