"""What to set next on a line, how sure that is and what would make it surer; and what was set before.

Lengths stand beside the sentences, never in them, so that every reader has them in the unit chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.services.cold_offset_past import PastVisits, TargetLeft, targets_left
from fleet.services.cold_offset_ways import ScopeWays, WayFigures, expanded_95, figures
from fleet.services.cold_offsets import SIZE_STEP_MM, WAY_WORDS, FleetComparison, number
from fleet.services.plant import LineInfo
from fleet.thermal.choices import WAYS, Scope, Way
from fleet.thermal.judging import LEAST_RUNS
from fleet.values import AXES, Axis

__all__ = ["ColdOffsetAdvice", "NextTarget", "ScopeWays", "Surer", "TargetLeft", "WayFigures", "advise"]

_HARDLY: Final = 0.95
"""A range that one more check leaves at more than this share of itself is hardly narrowed."""


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


def advise(compared: FleetComparison, info: LineInfo, visits: PastVisits) -> ColdOffsetAdvice:
    """Return a line's verdict, its next targets, what would make them surer, and its past as-lefts.

    Parameters
    ----------
    compared : the fleet's ways
    info : the line
    visits : its visits, from `past_visits`
    """
    index = compared.fleet.line_index[info.id]
    places = np.flatnonzero(compared.places.line == index).tolist()
    scope = compared.comparison.by_line
    of_line = [g for g in np.flatnonzero(scope.key == index).tolist() if int(scope.axis[g]) == 0]
    told = float(scope.confidence[of_line[0]]) if of_line else np.nan
    return ColdOffsetAdvice(
        verdict=_verdict(scope, of_line[0], info.code) if of_line else f"Line {info.code} has no stations yet.",
        confidence=number(told),
        targets=tuple(_next_target(compared, place) for place in places),
        surer=_surer(compared, info, places),
        scopes=tuple(_scopes(compared, index, places)),
        left=targets_left(compared, info, visits),
    )


def _verdict(scope: Scope, group: int, line: str) -> str:
    runs = int(scope.judgement.runs[group].max(initial=0))
    way, closest, choice = int(scope.choice.way[group]), int(scope.closest[group]), scope.choice
    if way < 0:
        return (
            f"Nothing tells yet where line {line} will run: record its supports, the temperatures while running, or a "
            "running check."
        )
    words = _said(way)
    if runs == 0:
        return f"No running check has judged any way on line {line} yet; {words} is where to start."
    if not choice.judged[group]:
        counted = "One run says" if runs == 1 else f"{_counted(runs)} say"
        return (
            f"{counted} little about line {line}: it takes {LEAST_RUNS} to tell the ways apart; until then {words} is "
            "where to start."
        )
    chance = _percent(float(scope.confidence[group]))
    if way == closest:
        return f"Over {_counted(runs).lower()} {words} would have put line {line} closest to zero{chance}."
    if choice.tied[group] or closest == 0:
        goes = (
            "no offset is only set where it is clearly closest, so take"
            if closest == 0
            else "a tie goes to the simpler"
        )
        return (
            f"Over {_counted(runs).lower()} {_said(closest)} would have put line {line} closest to zero{chance}, but "
            f"by no more than chance may do; {goes}, {words}."
        )
    return f"Over {_counted(runs).lower()} {words} is the closest of the ways with a target on line {line}."


def _said(way: int) -> str:
    words = WAY_WORDS[WAYS[way]]
    return f"{words[0].lower()}{words[1:]}"


def _counted(runs: int) -> str:
    return "Two runs" if runs == 2 else f"{runs} runs"


def _percent(chance: float) -> str:
    if not np.isfinite(chance):
        return ""
    # Rounded down: a chance is never said to be higher than it is.
    return f" (chance that it truly is the closest: {min(int(100.0 * chance), 99)} %)"


def _next_target(compared: FleetComparison, place: int) -> NextTarget:
    got, axis = compared.comparison, AXES[int(compared.places.axis[place])]
    way, best = int(got.choice.way[place]), int(got.choice.best[place])
    station = compared.stations[place // 2]
    band = compared.fleet.tolerance(station, axis)
    return NextTarget(
        station=station.code,
        distance_mm=station.distance_mm,
        axis=axis,
        way=WAYS[way] if way >= 0 else None,
        closest=WAYS[best] if best >= 0 else None,
        judged=bool(got.choice.judged[place]),
        tied=bool(got.choice.tied[place]),
        runs=int(got.by_place.runs[place, max(way, 0)]),
        target_um=number(got.target_um[place, way]) if way >= 0 else None,
        u95_target_um=expanded_95(got.u_target_um[place, way]) if way >= 0 else None,
        expected_running_um=number(got.expected_running_um[place]),
        low_um=number(got.low_um[place]),
        high_um=number(got.high_um[place]),
        watch_um=band.watch_um,
        limit_um=band.limit_um,
    )


def _surer(compared: FleetComparison, info: LineInfo, places: list[int]) -> Surer | None:
    """Return what one more check would do where the line's vertical range is widest."""
    got = compared.comparison
    half = (got.high_um - got.low_um) / 2.0
    known = [p for p in places if np.isfinite(half[p]) and int(compared.places.axis[p]) == 0]
    if not known:
        return None
    widest = max(known, key=lambda p: float(half[p]))
    now, then = float(half[widest]), float(got.half_with_one_more_um[widest])
    day = compared.fleet.as_of[compared.fleet.line_index[info.id]]
    hours = compared.fleet.settings.number("soak_hours", info.site_id, day)
    codes = [compared.stations[p // 2].code for p in places[::2]]
    station = compared.stations[widest // 2].code
    return Surer(
        station=station,
        axis="v",
        half_now_um=now,
        half_then_um=then,
        half_least_um=float(got.half_least_um[widest]),
        ask=f"One more running check, {hours:g} h or more after heats on, at {_all(codes)}",
        helps=(
            f"would narrow the expected range at {station}, vertically"
            if then < _HARDLY * now
            else f"would hardly narrow the expected range at {station}, vertically: what is left is how runs differ"
        ),
    )


def _all(codes: list[str]) -> str:
    return codes[0] if len(codes) == 1 else f"all stations ({', '.join(codes)})"


def _scopes(compared: FleetComparison, index: int, places: list[int]) -> list[ScopeWays]:
    if not places:
        return []
    size, got = int(compared.places.size[places[0]]), compared.comparison
    bore = ((size - 0.5) * SIZE_STEP_MM, (size + 0.5) * SIZE_STEP_MM) if size >= 0 else None
    asked: tuple[tuple[Literal["line", "size", "fleet"], Scope, int, bool], ...] = (
        ("line", got.by_line, index, True),
        ("size", got.by_size, size, size >= 0),
        ("fleet", got.by_fleet, 0, True),
    )
    at = np.flatnonzero(got.row_place >= 0)
    of = got.row_place[at]
    told = []
    for name, scope, key, exists in asked:
        keys = {"line": compared.places.line, "size": compared.places.size}.get(
            name, np.zeros_like(compared.places.line)
        )
        for group in np.flatnonzero(scope.key == key).tolist() if exists else []:
            here = at[(keys[of] == key) & (compared.places.axis[of] == scope.axis[group]) & compared.rows.counts[at]]
            closest = int(scope.closest[group])
            told.append(
                ScopeWays(
                    scope=name,
                    axis=AXES[int(scope.axis[group])],
                    lines=len(set(compared.rows.line[here].tolist())),
                    runs=len(set(compared.rows.run[here].tolist())),
                    closest=WAYS[closest] if closest >= 0 else None,
                    confidence=number(float(scope.confidence[group])),
                    bore_mm=bore if name == "size" else None,
                    ways=tuple(
                        WayFigures(
                            way=way, target_um=None, u95_target_um=None, would_have_run_um=(),
                            **figures(scope.judgement, group, k),
                        )
                        for k, way in enumerate(WAYS)
                    ),
                )
            )  # fmt: skip
    return told
