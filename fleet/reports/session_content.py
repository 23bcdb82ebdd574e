"""One visit's whole record: its content, before a page or a paper is made of it.

Lengths are um, distances mm, temperatures degrees Celsius; pairs are v, then h; None is unknown. Texts called `typed`
are as they were written, in the unit beside them. Moments are aware and in the time zone of the line's site.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.reports.check_words import CheckFacts

SurveyPhase = Literal["as_found", "interim", "as_left", "hot"]
Pair = tuple[float, float]
MaybePair = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class InstrumentOnDay:
    """An instrument and its calibration on the day: the newest certificate of that day or before; None: none yet.

    `covered` says whether a certificate held that day, None where no calibration is on record at all.
    """

    serial: str
    kind: str | None
    sense: tuple[str, str]
    calibrated_on: date | None
    due_on: date | None
    certificate: str | None
    covered: bool | None


@dataclass(frozen=True, slots=True)
class TypedReading:
    """One reading as the instrument showed it and as it was typed, in the order it was taken."""

    sequence: int
    station: str
    beam_state: int
    beam_roll_deg: float
    target_roll_deg: float
    typed: tuple[str, str]
    unit: str
    taken_at: datetime | None


@dataclass(frozen=True, slots=True)
class TypedOffset:
    """An offset that came in as a result, as it was typed, with its standard uncertainty where one was given."""

    station: str
    typed: tuple[str, str]
    u_typed: tuple[str | None, str | None]
    unit: str


@dataclass(frozen=True, slots=True)
class StationOffset:
    """One station of one survey, reduced: as surveyed and at the line's cold reference; u95 expanded (95 %).

    `target_um` is the cold target that stood at this visit, `watch_um` and `limit_um` the band of its day.
    """

    station: str
    distance_mm: float
    support: str | None
    measured_um: Pair
    u95_measured_um: Pair
    cold_um: Pair
    u95_cold_um: Pair
    target_um: MaybePair
    watch_um: MaybePair
    limit_um: MaybePair

    @property
    def deviation_um(self) -> MaybePair:
        """Cold offset minus cold target; None without a target."""
        v, h = (
            None if target is None else cold - target for cold, target in zip(self.cold_um, self.target_um, strict=True)
        )
        return v, h


@dataclass(frozen=True, slots=True)
class BeamState:
    """Where the beam was during one stretch of readings: off the gearbox axis [um] and its direction [um/m]."""

    state: int
    offset_um: Pair
    direction_um_per_m: Pair


@dataclass(frozen=True, slots=True)
class SupportWarmth:
    """A support's own temperatures at a survey."""

    support: str
    barrel_c: float | None
    base_c: float | None
    withdrawn: str | None


@dataclass(frozen=True, slots=True)
class SessionSurvey:
    """One pass over the stations: its conditions, its readings as typed, what they came to, and what was noticed.

    `closure_um` is the change at the first station read again; `scale` how far the readings' scatter is from what the
    instrument's record lets expect (1: as expected).
    """

    number: int
    phase: SurveyPhase
    measured_at: datetime
    instrument: InstrumentOnDay | None
    barrel_c: float | None
    gearbox_c: float | None
    gearbox_c_at: str | None
    base_c: float | None
    gearbox_level_um_per_m: float | None
    axis_by: str | None
    bolts: str | None
    screw: str | None
    die: str | None
    heats_off_h: float | None
    remarks: str | None
    supports: tuple[SupportWarmth, ...]
    readings: tuple[TypedReading, ...]
    entered: tuple[TypedOffset, ...]
    offsets: tuple[StationOffset, ...]
    scheme: str | None
    beam: tuple[BeamState, ...]
    closure_um: Pair | None
    scale: float | None
    notes: tuple[str, ...]
    checks: tuple[CheckFacts, ...]


@dataclass(frozen=True, slots=True)
class MoveMade:
    """What was moved after a survey: at a support, or at a place of its own; typed texts and um, + higher or right."""

    after: int | None
    support: str | None
    place: str | None
    typed: tuple[str | None, str | None]
    unit: str
    moved_um: MaybePair
    room_up_um: float | None
    room_down_um: float | None
    how: str | None


@dataclass(frozen=True, slots=True)
class TargetSet:
    """A cold target decided at the visit: the offset to set when cold, on what ground and why."""

    station: str
    typed: tuple[str, str]
    unit: str
    target_um: Pair
    basis: str | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class FindingMade:
    """What was noticed beside the alignment, value and unit as written; `withdrawn` says by whom and why it was."""

    item: str
    value: str | None
    unit: str | None
    note: str | None
    withdrawn: str | None


@dataclass(frozen=True, slots=True)
class ChainLink:
    """One record of the same visit: the first, and every correction of the one before it, with its reason."""

    session: str
    signed_by: str | None
    signed_at: datetime | None
    reason: str | None
    surveys: int


@dataclass(frozen=True, slots=True)
class SettledCheck:
    """Something noticed while the visit was recorded, and how the person who signed settled it.

    `survey` is its number, None where it is of the whole visit; `settled` is `kept`, `corrected` or `read_again`.
    """

    survey: int | None
    check: str
    evidence: str
    settled: str
    accepted_by: str
    why: str


@dataclass(frozen=True, slots=True)
class Source:
    """What a visit came in with: the file and its digest, when and by whom it was taken in."""

    file_name: str
    sha256: str
    taken_at: datetime
    taken_by: str


@dataclass(frozen=True, slots=True)
class Place:
    """A station or a support, for the drawing."""

    code: str
    distance_mm: float


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """Everything recorded of one visit.

    `chain` holds all records of the visit, the first one first; `corrects` and `corrected_by` are its neighbours.
    `signed_view` is what the person who signed saw, as text. `as_of` is the moment the record was read, `zone` the name
    of the site's time zone.
    """

    session: str
    line: str
    site: str | None
    site_name: str | None
    zone: str
    description: str | None
    right_hand_side: str | None
    cold_reference_c: float
    feed_section_mm: float | None
    barrel_length_mm: float | None
    length_growth_mm: float | None
    started_at: datetime
    reason: str | None
    outage: str | None
    outage_kind: str | None
    technician: str | None
    instrument: InstrumentOnDay | None
    work_order: str | None
    running_hours: float | None
    ambient_c: float | None
    remarks: str | None
    surveys: tuple[SessionSurvey, ...]
    moves: tuple[MoveMade, ...]
    targets: tuple[TargetSet, ...]
    findings: tuple[FindingMade, ...]
    settled: tuple[SettledCheck, ...]
    signed_view: str | None
    chain: tuple[ChainLink, ...]
    corrects: str | None
    correction_reason: str | None
    corrected_by: str | None
    signed_by: str | None
    signed_at: datetime | None
    source: Source | None
    supports: tuple[Place, ...]
    as_of: datetime
