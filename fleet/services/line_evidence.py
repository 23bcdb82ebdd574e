"""What the Line page shows of how well a line was measured, what moved, and what would put it right: the contents."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.reports.check_words import CheckFacts
from fleet.values import Axis

MovedKind = Literal["shifted", "turned", "bent", "support"]


@dataclass(frozen=True, slots=True)
class CheckView:
    """A slip noticed at one survey; `facts` become a sentence in the reader's unit (`check_words`)."""

    survey: str
    session: str
    on: datetime
    facts: CheckFacts


@dataclass(frozen=True, slots=True)
class Slope:
    """Slope of the line through the deviations, toward the discharge end, + higher or to the right [um/m]."""

    um_per_m: float
    u95_um_per_m: float


@dataclass(frozen=True, slots=True)
class ShapeRow:
    """Slope and bow of one axis in the two surveys compared and today; bands None where none is recorded.

    `straight_um` is the width of the narrowest zone that holds the bore of either survey (None with fewer than three
    stations); `bow_um` is the largest departure from that line today, at `bow_station`; positive above or right of it.
    """

    axis: Axis
    first: Slope | None
    second: Slope | None
    today: Slope | None
    slope_watch_um_per_m: float | None
    slope_limit_um_per_m: float | None
    bow_um: float | None
    u95_bow_um: float | None
    bow_station: str | None
    bow_watch_um: float | None
    bow_limit_um: float | None
    straight_um: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True, slots=True)
class MovedPart:
    """One way a movement can be read: [um], `turned` [um/m]. `drawn_um` is what it alone does at every station."""

    kind: MovedKind
    amount_um: float
    u95_um: float
    at: str | None
    beyond_measurement: bool
    explains_most: bool
    drawn_um: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class MovementView:
    """What moved between two surveys on one axis, at the cold reference [um]."""

    axis: Axis
    first: str
    second: str
    first_on: datetime
    second_on: datetime
    stations: tuple[str, ...]
    distance_mm: tuple[float, ...]
    moved_um: tuple[float, ...]
    u95_moved_um: tuple[float, ...]
    parts: tuple[MovedPart, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """What one cause contributes to a station's uncertainty, vertical and horizontal [standard, um]."""

    part: str
    u_um: tuple[float, float]
    share: tuple[float, float]


@dataclass(frozen=True, slots=True)
class StationBudget:
    """Where the uncertainty of one station's cold offset comes from; largest share first by the vertical."""

    station: str
    u95_um: tuple[float, float]
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class BeamPair:
    """A reversal pair at one station, in the instrument's own signs [um]: (v, h)."""

    station: str
    difference_um: tuple[float, float]
    error_um: tuple[float, float]
    trim_to_um: tuple[float, float]
    agrees: bool


@dataclass(frozen=True, slots=True)
class BudgetView:
    """How well one survey was measured, and what would halve its largest uncertainty."""

    survey: str
    on: datetime
    phase: str
    scheme: str
    instrument: str | None
    stations: tuple[StationBudget, ...]
    largest: str
    doing: str | None
    doing_from_um: float | None
    doing_to_um: float | None
    halves: bool
    closure_um: tuple[float, float] | None
    scale: float | None
    beam: tuple[BeamPair, ...]
    pair_agreement_um: float


@dataclass(frozen=True, slots=True)
class MoveRow:
    """A move to make at one support on one axis [um], + raise or right; `wanted_um` before step and room."""

    support: str
    axis: Axis
    move_um: float
    u95_um: float
    wanted_um: float
    held_by: Literal["room", "step"] | None


@dataclass(frozen=True, slots=True)
class PredictedRow:
    """A station after those moves [um], (v, h): where it would lie, and how far from its target."""

    station: str
    offset_um: tuple[float, float]
    u95_um: tuple[float, float]
    deviation_um: tuple[float, float]


@dataclass(frozen=True, slots=True)
class MovesView:
    """The moves that would bring today's line to its targets, and what they would come to."""

    on: date
    way: tuple[str, str]
    why: tuple[str, str]
    rounds: int
    moves: tuple[MoveRow, ...]
    left_alone: tuple[tuple[str, Axis], ...]
    flange_um: tuple[float, float]
    u95_flange_um: tuple[float, float]
    predicted: tuple[PredictedRow, ...]
    good_enough_um: float


@dataclass(frozen=True, slots=True)
class GaugeRow:
    """How an instrument, or a technician with whatever instrument, repeats: one standard deviation of a reading [um].

    `since_um` and `before_um` are its newest third of surveys and those before where it drifts.
    """

    who: str
    kind: Literal["instrument", "technician"]
    surveys: int
    dof: float
    repeatability_um: float
    low_um: float
    high_um: float
    stated_um: float | None
    unlike_stated: bool
    drifting: bool
    before_um: float | None
    since_um: float | None
    closure_rms_um: float | None
    closures: int
    zero_um_per_year: float | None
    u95_zero_um_per_year: float | None
    calibrated_on: date | None
    due_on: date | None
    calibration: Literal["in date", "due", "lapsed", "none recorded"] | None
