"""The rows that commands print for machines: one frozen dataclass each, field by field what the answer holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from fleet.thermal.choices import Way
from fleet.values import Axis, Status


@dataclass(frozen=True, slots=True)
class CheckNote:
    """A slip noticed at a survey: its name, evidence, and what the value would be if it were so [um]."""

    check: str
    axis: Axis | None
    station: str | None
    sequence: int | None
    evidence: str
    would_be_um: float | None
    text: str


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """What one cause contributes to the standard uncertainty of a cold offset [um]."""

    part: str
    u_v_um: float
    u_h_um: float


@dataclass(frozen=True, slots=True)
class Halving:
    """What to do the next time, and the largest standard uncertainty now and then [um]."""

    doing: str
    u_now_um: float
    u_then_um: float
    halves: bool


@dataclass(frozen=True, slots=True)
class OffsetRow:
    """One station in one survey: offsets from the gearbox axis [um], as measured and at the cold reference.

    `u_` is a standard uncertainty, `u95_` expanded with Student's factor; `dof_` is None for entered offsets, whose
    uncertainty is taken as stated. `halve` says what would halve the survey's largest uncertainty, or lower it most; it
    is worked out where one line or one session is asked for.
    """

    session: str
    survey: int
    line: str
    phase: str
    station: str
    distance_mm: float
    v_um: float
    h_um: float
    u_v_um: float
    u_h_um: float
    u95_v_um: float
    u95_h_um: float
    dof_v: float | None
    dof_h: float | None
    v_cold_um: float
    h_cold_um: float
    u_v_cold_um: float
    u_h_cold_um: float
    method: str
    checks: tuple[CheckNote, ...] = ()
    remarks: tuple[str, ...] = ()
    budget: tuple[BudgetRow, ...] = ()
    halve: Halving | None = None


@dataclass(frozen=True, slots=True)
class DriftInterval:
    """What one station and axis moved [um] between two visits while nobody touched the line; `u_um` is standard."""

    line: str
    station: str
    axis: Axis
    from_session: str
    to_session: str
    from_at: datetime
    to_at: datetime
    running_hours: float | None
    moved_um: float
    u_um: float
    rate: float | None
    rate_unit: Literal["um_per_1000_h", "um_per_year"]
    beyond_measurement: bool
    unusual: bool


@dataclass(frozen=True, slots=True)
class Expected:
    """What a cold survey on that day would measure if nobody touches the line [um]."""

    at: date
    mean_um: float
    sd_um: float
    q025: float
    q05: float
    q10: float
    q25: float
    q50: float
    q75: float
    q90: float
    q95: float
    q975: float


@dataclass(frozen=True, slots=True)
class OverOn:
    """Days by which the chance of having passed the limit reaches 10, 50, 90 %; None: not within the horizon."""

    p10: date | None
    p50: date | None
    p90: date | None


@dataclass(frozen=True, slots=True)
class Borrowed:
    """How many other lines the rate leans on, and with what weight (0 none, 1 all)."""

    lines: int
    weight: float


@dataclass(frozen=True, slots=True)
class ForecastRow:
    """One station and axis: where it is, where it goes, and the chance that |deviation| has passed the limit.

    `chance_over` is keyed by days after as-of. Nulls stand where there is no limit to judge by.
    """

    line: str
    station: str
    axis: Axis
    as_of: date
    last_session: str
    last_measured_um: float
    last_measured_at: datetime
    position_um: float
    u_position_um: float
    rate_um_per_year: float
    u_rate_um_per_year: float
    rate_um_per_1000_h: float | None
    deviation_um: float
    watch_um: float | None
    limit_um: float | None
    status: Status
    chance_over: dict[str, float | None]
    next_outage: str | None
    chance_before_next_outage: float | None
    following_outage: str | None
    chance_before_following_outage: float | None
    over_on: OverOn
    expected: tuple[Expected, ...]
    borrowed_from: Borrowed


@dataclass(frozen=True, slots=True)
class Recommended:
    """The way recommended for the next as-left and what it should come to [um]; `why` is a sentence."""

    way: Way | None
    target_um: float | None
    u_um: float | None
    expected_running_um: float | None
    why: str


@dataclass(frozen=True, slots=True)
class RunningCheckRow:
    """One measured rise [um]; `ran_um` is where the line ran (None without an as-left before it)."""

    checked_at: datetime
    label: str
    ran_um: float | None
    rise_um: float
    barrel_c: float | None


@dataclass(frozen=True, slots=True)
class WouldHaveRun:
    """Where the line would have run at one check with the target of a way [um]."""

    checked_at: datetime
    would_have_run_um: float


@dataclass(frozen=True, slots=True)
class WayRow:
    """One way of choosing the cold offset, judged over the runs of this station and axis [um, shares]."""

    way: Way
    target_um: float | None
    runs: int
    bias_um: float | None
    rms_um: float | None
    within_watch: float | None
    within_limit: float | None
    checks: tuple[WouldHaveRun, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class ColdOffsetRow:
    """One station and axis: the recommendation, the running checks behind it, and the five ways compared."""

    line: str
    station: str
    axis: Axis
    recommended: Recommended
    checks: tuple[RunningCheckRow, ...]
    ways: tuple[WayRow, ...]
