"""What to set next on a line, how sure that is and what would make it surer; and what was set before.

Lengths stand beside the sentences, never in them, so that every reader has them in the unit chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.services.cold_offset_ways import ScopeWays
from fleet.thermal.choices import Way
from fleet.values import Axis


@dataclass(frozen=True, slots=True)
class NextTarget:
    """What to set at one station and axis at the next as-left [um], and where the line is then expected to run.

    `low_um` to `high_um` is the 95 % range of the next run. `judged`: the way stands on at least three runs of its
    own here; `tied`: it cannot be told from `closest`. `runs` judged the way here. None: no figure.
    """

    station: str
    distance_mm: float
    axis: Axis
    way: Way | None
    closest: Way | None
    judged: bool
    tied: bool
    runs: int
    target_um: float | None
    u95_target_um: float | None
    expected_running_um: float | None
    low_um: float | None
    high_um: float | None
    watch_um: float | None
    limit_um: float | None


@dataclass(frozen=True, slots=True)
class Surer:
    """What one more running check, soaked and at all stations, would do to the widest expected range of a line.

    All half-widths are of the 95 % range of the next run at `station`, `axis` [um]: now, with one more check, and with
    so many that only the scatter from run to run is left. `ask` says what to do, `helps` what it would bring.
    """

    station: str
    axis: Axis
    half_now_um: float
    half_then_um: float
    half_least_um: float
    ask: str
    helps: str


@dataclass(frozen=True, slots=True)
class TargetLeft:
    """One past as-left at one station and axis, beside its own target and what the record would have recommended then.

    Lengths in um, offsets at the cold reference. `target_um` is the cold target in force (`target_own`: chosen at this
    visit). `recommended_um` is worked out from what had been measured before this as-left, with the lines, tolerances
    and settings of that day. `met` says whether |as-left - target| was within `set_within_um` (None: no target).
    `ran_um` is where the line ran after it, mean of the first run before the next as-left; `would_have_run_um` where it
    would have run with the recommended target. None: no figure.
    """

    session: str
    on: date
    technician: str | None
    station: str
    distance_mm: float
    axis: Axis
    target_um: float | None
    target_own: bool
    basis: str | None
    reason: str | None
    recommended_way: Way | None
    recommended_um: float | None
    u95_recommended_um: float | None
    runs_known: int
    as_left_um: float
    u95_as_left_um: float
    set_within_um: float
    met: bool | None
    ran_um: float | None
    would_have_run_um: float | None


@dataclass(frozen=True, slots=True)
class ColdOffsetAdvice:
    """A line's verdict in a sentence and what stands behind it.

    `confidence` is the chance that the way the verdict names is truly the closest of the five on this line,
    vertically; None where fewer than three runs judge any. `targets` has every station and axis in order; `scopes` the
    line, its size and the fleet on both axes; `left` every past as-left, newest first.
    """

    verdict: str
    confidence: float | None
    targets: tuple[NextTarget, ...]
    surer: Surer | None
    scopes: tuple[ScopeWays, ...]
    left: tuple[TargetLeft, ...]
