"""The five ways' records as people read them: one line, one size of barrel, the fleet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypedDict

from fleet.services.cold_offsets import number
from fleet.thermal.choices import Way
from fleet.thermal.judging import Judgement
from fleet.values import NORMAL_95, Axis


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
class ScopeWays:
    """The ways judged together over one line, the lines of its size, or the whole fleet; one axis.

    `closest` is the way of least root mean square over at least three runs, None where no way has them; `confidence`
    the chance that none of the others is truly closer. `bore_mm` is the span of bores that count as one size.
    """

    scope: Literal["line", "size", "fleet"]
    axis: Axis
    lines: int
    runs: int
    closest: Way | None
    confidence: float | None
    bore_mm: tuple[float, float] | None
    ways: tuple[WayFigures, ...]


class Figures(TypedDict):
    """The columns of a way's record."""

    runs: int
    bias_um: float | None
    u95_bias_um: float | None
    rms_um: float | None
    within_watch: float | None
    within_limit: float | None


def expanded_95(u_um: float) -> float | None:
    """Return the 95 % uncertainty of a figure whose standard one is known, None where it is not."""
    return number(NORMAL_95 * u_um)


def figures(judged: Judgement, group: int, way: int) -> Figures:
    """Return the record of one way in one group."""
    return Figures(
        runs=int(judged.runs[group, way]),
        bias_um=number(judged.bias_um[group, way]),
        u95_bias_um=expanded_95(judged.u_bias_um[group, way]),
        rms_um=number(judged.rms_um[group, way]),
        within_watch=number(judged.within_watch[group, way]),
        within_limit=number(judged.within_limit[group, way]),
    )
