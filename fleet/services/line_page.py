"""Line: what has this line done, where is it now, where is it going?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.services.fleet_page import OutageMark
from fleet.values import Axis, Status

Phase = Literal["as_found", "interim", "as_left", "hot"]


@dataclass(frozen=True, slots=True)
class SurveyPoint:
    """One station's cold offset in one survey [um], brought to the line's cold reference; u95 expanded (95 %)."""

    station: str
    distance_mm: float
    v_um: float
    h_um: float
    u95_v_um: float
    u95_h_um: float


@dataclass(frozen=True, slots=True)
class SurveyView:
    """One survey of the line; `key` is `SESSION/NUMBER`, stable in addresses."""

    key: str
    session: str
    number: int
    phase: Phase
    on: datetime
    points: tuple[SurveyPoint, ...]


@dataclass(frozen=True, slots=True)
class StationNow:
    """One station today: expected position, target and tolerance of both axes [um], index 0 v, 1 h; None unknown."""

    station: str
    distance_mm: float
    support: str | None
    position_um: tuple[float | None, float | None]
    u95_position_um: tuple[float | None, float | None]
    target_um: tuple[float | None, float | None]
    deviation_um: tuple[float | None, float | None]
    watch_um: tuple[float | None, float | None]
    limit_um: tuple[float | None, float | None]
    status: tuple[Status, Status]


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One measured deviation from the target of its day [um], in time order.

    `joins` tells what leads here from the point before: `drift` (nobody touched it), `realigned` (a move by a
    person), `across` (an event that resets the trend lies between), `gap` (not known to belong together) or None.
    """

    at: datetime
    session: str
    phase: Phase
    deviation_um: float
    u95_um: float
    target_um: float
    joins: Literal["drift", "realigned", "across", "gap"] | None


@dataclass(frozen=True, slots=True)
class FanPoint:
    """The deviation expected on one day if nobody touches the line [um]: mean, 80 % and 50 % range."""

    on: date
    mean_um: float
    q10_um: float
    q25_um: float
    q75_um: float
    q90_um: float


@dataclass(frozen=True, slots=True)
class EventMark:
    """Something that may change how the line moves."""

    at: datetime
    kind: str
    note: str | None
    resets_trend: bool


@dataclass(frozen=True, slots=True)
class TargetChange:
    """The cold target of the shown station and axis changed at a visit [um]."""

    at: datetime
    before_um: float
    after_um: float


@dataclass(frozen=True, slots=True)
class History:
    """The shown station and axis over time, with its forecast and the chance dates."""

    station: str
    axis: Axis
    points: tuple[HistoryPoint, ...]
    fan: tuple[FanPoint, ...]
    events: tuple[EventMark, ...]
    target_changes: tuple[TargetChange, ...]
    watch_um: float | None
    limit_um: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    rate_um_per_year: float | None
    u95_rate_um_per_year: float | None
    rate_um_per_1000_h: float | None
    intervals: int
    borrowed_weight: float | None
    borrowed_lines: int | None


@dataclass(frozen=True, slots=True)
class DriftRow:
    """One interval of the shown station and axis: nobody touched the line between these visits, so it drifted.

    `rate` is um per 1 000 running hours where the line has a meter, else um per year (`rate_unit`).
    """

    from_at: datetime
    to_at: datetime
    running_hours: float | None
    moved_um: float
    u95_um: float
    rate: float | None
    rate_unit: Literal["um_per_1000_h", "um_per_year"]
    beyond_measurement: bool
    unusual: bool


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One visit in the list: what was done, by whom, with what."""

    session: str
    at: datetime
    phases: tuple[Phase, ...]
    moved: bool
    technician: str | None
    instrument: str | None
    scheme: str
    barrel_c: float | None
    signed_at: datetime | None
    signed_by: str | None
    corrects: str | None
    corrected_by: str | None
    correction_reason: str | None
    remarks: str | None


@dataclass(frozen=True, slots=True)
class SupportView:
    """A support of the machine picture."""

    code: str
    distance_mm: float


@dataclass(frozen=True, slots=True)
class LineView:
    """Everything the Line page shows; times in the line's site zone, lengths in um, distances in mm."""

    line: str
    site: str | None
    site_name: str | None
    description: str | None
    screw_diameter_mm: float | None
    barrel_outside_diameter_mm: float | None
    barrel_length_mm: float | None
    feed_section_mm: float | None
    foundation: str | None
    cold_reference_c: float
    right_hand_side: str | None
    commissioned_on: date | None
    status: Status
    why: str | None
    worst_station: str | None
    worst_axis: Axis | None
    supports: tuple[SupportView, ...]
    stations: tuple[StationNow, ...]
    surveys: tuple[SurveyView, ...]
    history: History | None
    drift: tuple[DriftRow, ...]
    sessions: tuple[SessionRow, ...]
    outages: tuple[OutageMark, ...]
    remarks: tuple[str, ...]
    as_of: date
    horizon: date
    zone: str
