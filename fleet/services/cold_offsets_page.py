"""Cold offsets: which way of choosing came out right when running?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.values import Axis

Way = Literal["none", "bore_size", "heat_model", "own_record", "pooled"]


@dataclass(frozen=True, slots=True)
class WayFigures:
    """One way of choosing, judged over past runs: target, where it would have run, how close [um]; None: no figure."""

    way: Way
    target_um: float | None
    u95_target_um: float | None
    runs: int
    bias_um: float | None
    u95_bias_um: float | None
    rms_um: float | None
    within_watch: float | None
    within_limit: float | None
    would_have_run_um: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class RunningRow:
    """One measured rise [um] and where the line ran that day (None: no as-left before it)."""

    checked_at: datetime
    label: str
    rise_um: float
    u95_rise_um: float | None
    ran_um: float | None
    barrel_c: float | None


@dataclass(frozen=True, slots=True)
class RisePart:
    """One support's modelled rise [um] by its parts; all vertical."""

    support: str
    distance_mm: float
    barrel_um: float
    base_um: float
    gearbox_um: float
    total_um: float
    u95_total_um: float


@dataclass(frozen=True, slots=True)
class ColdOffsetsView:
    """One line, station and axis: the ways compared, the recommendation and the evidence; and the fleet's table."""

    line: str
    site_name: str | None
    right_hand_side: str | None
    stations: tuple[str, ...]
    station: str
    axis: Axis
    recommended_way: Way | None
    recommended_target_um: float | None
    u95_recommended_um: float | None
    expected_running_um: float | None
    u95_expected_running_um: float | None
    why: str
    ways: tuple[WayFigures, ...]
    as_left: WayFigures | None
    checks: tuple[RunningRow, ...]
    parts: tuple[RisePart, ...]
    watch_um: float | None
    limit_um: float | None
    fleet_ways: tuple[WayFigures, ...]
    fleet_lines: int
    fleet_runs: int
    remarks: tuple[str, ...]
    as_of: date
