"""The job sheet: what was left, what to expect, what to set. Its content, before it is rendered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.values import Axis, Status


@dataclass(frozen=True, slots=True)
class SheetStation:
    """One station of the sheet; offsets of the gearbox axis [um], index 0 v, 1 h; u95 expanded (95 %); None unknown.

    `set_to` is `target` (the recommended or newest cold target) plus `against_drift`.
    """

    station: str
    distance_mm: float
    support: str | None
    expected_um: tuple[float | None, float | None]
    u95_expected_um: tuple[float | None, float | None]
    target_um: tuple[float | None, float | None]
    against_drift_um: tuple[float | None, float | None]
    set_to_um: tuple[float | None, float | None]
    watch_um: tuple[float | None, float | None]
    limit_um: tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class PastSurvey:
    """A survey in the facts column: when, by whom, how, and the offsets by station [um]."""

    session: str
    on: datetime
    technician: str | None
    instrument: str | None
    scheme: str
    barrel_c: float | None
    gearbox_c: float | None
    offsets_um: tuple[tuple[str, float, float], ...]
    u95_um: float | None


@dataclass(frozen=True, slots=True)
class RunningResult:
    """How the line came out running after its last as-left: one row a station [um] (rise, ran; None unknown)."""

    checked_at: datetime
    label: str
    hours_since_heats_on: float | None
    barrel_c: float | None
    gearbox_c: float | None
    base_c: float | None
    stations: tuple[tuple[str, float, float | None], ...]
    u95_um: float | None


@dataclass(frozen=True, slots=True)
class JobSheet:
    """Everything one job sheet says, for one line, as of one day.

    `reading_sense` is that of the instrument used last, v then h: `bore_from_beam` or `beam_from_bore`; None unknown.
    """

    line: str
    site: str | None
    site_name: str | None
    description: str | None
    screw_diameter_mm: float | None
    barrel_outside_diameter_mm: float | None
    foundation: str | None
    right_hand_side: str | None
    cold_reference_c: float
    status: Status
    status_why: str | None
    as_of: date
    expected_on: date
    outage: str | None
    outage_kind: str | None
    outage_starts_on: date | None
    outage_ends_on: date | None
    length_growth_mm: float | None
    last_as_left: PastSurvey | None
    measured_since: PastSurvey | None
    running: RunningResult | None
    target_why: str
    drift_why: str | None
    stations: tuple[SheetStation, ...]
    good_enough_um: float | None
    supports: tuple[str, ...]
    worst: tuple[str, Axis] | None
    remarks: tuple[str, ...]
    address: str | None
    pair_agreement_um: float = 25.0
    reading_sense: tuple[str | None, str | None] = (None, None)
