"""What is true of the invented fleet: the numbers a record can only estimate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Position:
    """The true cold offsets of a line's stations at one survey, at the cold reference temperature [um]."""

    at: date
    v_um: Mapping[str, float]
    h_um: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class LineTruth:
    """One line's true movement, rise and positions.

    Rates and wander are those at the last support; another station's are in proportion to its distance from the
    gearbox, because the barrel turns about its flange. `rates_before` lists
    (last day, v rate, h rate) of earlier stretches.
    `status` is the one the line was made to have.
    """

    line: str
    site: str
    rate_v_um_per_year: float
    rate_h_um_per_year: float
    wander_um_per_sqrt_year: float
    rates_before: tuple[tuple[date, float, float], ...]
    distance_mm: Mapping[str, float]
    last_support_mm: float
    target_v_um: Mapping[str, float]
    running_rise_v_um: Mapping[str, float]
    positions: Mapping[tuple[str, str], Position]
    position_today: Position | None
    limit_v_um: float
    watch_v_um: float
    status: str


@dataclass(frozen=True, slots=True)
class Story:
    """Something worth finding in the fleet: where it is, what it is in words, and its true figures."""

    name: str
    lines: tuple[str, ...]
    text: str
    facts: Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything known of the invented fleet, with the number of rows written to each file."""

    seed: int
    today: date
    lines: Mapping[str, LineTruth]
    stories: Mapping[str, Story]
    rows: Mapping[str, int]
