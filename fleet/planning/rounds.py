"""Many visits: the solver is given some lines and some outages at a time, two such parts side by side.

The relaxation chooses for nearly all lines whole, as few rows couple them; what is left is to fill the outages to the
hour. Parts of few outages do that, because a programme of few rows is quickly solved. Lines join a part by chance, the
sooner the worse their present choice is at the relaxation's prices, or the nearer their next one.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import Final

import numpy as np

from fleet.planning.programme import Answer, Relaxed, Visits, relaxed, solved
from fleet.values import BoolArray, IntArray

AT_ONCE: Final = 2
"""Parts solved side by side; the solver lets other threads run."""
LINES: Final = 150
"""Lines in a part at first; more where parts find nothing better, fewer where they are too hard for their time."""
_FEWEST_LINES: Final = 60
_MOST_LINES: Final = 400
_GROWS: Final = 1.5
OUTAGES: Final = 4
_CHOICES: Final = 6
"""So many visits of a line, its best at the going prices."""
_FIRST_SHARE: Final = 0.15
_SHARE: Final = 0.12
"""Share of the whole time that a part may take, the first and any other."""
_PATIENCE: Final = 25
"""Rounds that may find nothing better."""
_FINER: Final = 20.0
"""A part is solved so much finer than the whole is asked for: what parts leave adds up."""


@dataclass(slots=True)
class _Search:
    """How the search stands."""

    visits: Visits
    best: BoolArray
    gap: float
    time_limit_s: float
    size: float = LINES
    outages: int = OUTAGES
    said: str = ""
    chance: np.random.Generator = field(default_factory=lambda: np.random.default_rng(0))

    @property
    def above(self) -> int:
        return self.visits.value(self.best)[0]

    def good_enough(self, most_above: int, bound: float) -> bool:
        above, total = self.visits.value(self.best)
        return above <= most_above and total - bound <= self.gap * max(abs(total), 1e-9)


@dataclass(frozen=True, slots=True)
class _Part:
    among: BoolArray
    held: IntArray
    limit_s: float
    gap: float


def by_parts(
    visits: Visits, start: BoolArray, few: Relaxed, fewest: int, *, gap: float, time_limit_s: float
) -> tuple[BoolArray, Relaxed, str]:
    """Improve a choice part by part: first to the fewest lines above the cap, for half the time, then its sum.

    Parameters
    ----------
    visits : what may be chosen
    start : a choice that fits, shape (v,)
    few, fewest : the relaxation for the fewest lines above the cap, and what it proves
    gap : share of the sum within which a choice is good enough
    time_limit_s : seconds

    Returns
    -------
    the best choice found, shape (v,), the relaxation for so many lines above the cap, and the solver's last words
    """
    now = monotonic()
    search = _Search(visits, start, gap, time_limit_s)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        guide = _rounds(search, few, fewest, pool, half=now + time_limit_s / 2.0, until=now + time_limit_s)
        if search.above > fewest:
            guide = _rounds(search, few, search.above, pool, half=np.inf, until=now + time_limit_s)
    return search.best, guide, search.said


def _rounds(
    search: _Search, few: Relaxed, target: int, pool: ThreadPoolExecutor, *, half: float, until: float
) -> Relaxed:
    """Solve parts until the plan is good enough, by half the time where it still has too many lines above the cap.

    Return the relaxation for so many lines above the cap as the target is.
    """
    visits = search.visits
    guide = relaxed(visits, target, time_limit_s=max(until - monotonic(), 0.0))
    first = search.above > target and guide.share is not None
    search.size, idle = LINES, 0
    while not search.good_enough(target, guide.bound) and idle < _PATIENCE:
        now = monotonic()
        if now >= until or (now >= half and search.above > target):
            break
        if first:
            parts = _first_parts(search, guide, few, target, until)
        else:
            parts = [_part(search, guide, few, target, alone, until) for alone in range(AT_ONCE)]
        got = list(pool.map(partial(_ask, visits, target, float(guide.price[-1])), parts))
        better = False
        for answer in got:
            search.said = answer.said
            if answer.taken is not None and _less(visits.value(answer.taken), visits.value(search.best)):
                search.best, better = answer.taken, True
        if not better and not first:
            idle += 1
            if all(answer.ended for answer in got):
                search.size = min(search.size * _GROWS, _MOST_LINES)
                search.outages += 1
        if not any(answer.ended for answer in got) and not first:
            search.size, search.outages = max(search.size / _GROWS, _FEWEST_LINES), OUTAGES
        first = False
    return guide


def _less(one: tuple[int, float], other: tuple[int, float]) -> bool:
    return (one[0], one[1] + 1e-9 * max(abs(one[1]), 1.0)) < other


def _ask(visits: Visits, target: int, line_less: float, part: _Part) -> Answer:
    return solved(
        visits, part.among, part.held, most_above=target, gap=part.gap, time_limit_s=part.limit_s, line_less=line_less
    )


def _first_parts(search: _Search, guide: Relaxed, few: Relaxed, target: int, until: float) -> list[_Part]:
    """Hold all lines as the relaxation chooses, but for those that it divides or would treat otherwise for reserve.

    Filling outages to the hour costs a part of a line above the cap, which the relaxation at the target leaves none of.
    So it is asked again for fewer by all that can be spared, and by half of that.
    """
    visits = search.visits
    assert guide.share is not None
    spare = max(target - few.bound, 0.0)
    held = visits.taken_by(guide.share > 0.5)
    among, wanted = guide.share > 1e-6, _divided(visits, guide.share)
    parts = []
    for part, size in ((1.0, LINES // 1.5), (0.5, LINES)):
        other = relaxed(visits, target - part * spare, time_limit_s=max(until - monotonic(), 0.0))
        if other.share is not None:
            among = among | (other.share > 1e-6)
            wanted = wanted | _divided(visits, other.share) | (visits.taken_by(other.share > 0.5) != held)
        nearness = np.where(wanted, -1.0, _next(visits, guide, held, np.ones(among.size, dtype=np.bool_)))
        lines = _lowest(nearness, max(int(size), int(np.count_nonzero(wanted))))
        choices = (_place(visits, guide.over) < _CHOICES) | among
        limit = min(_FIRST_SHARE * search.time_limit_s, max(until - monotonic(), 0.0))
        parts.append(_Part(choices & lines[visits.line], held, limit, search.gap / 5.0))
    return parts


def _part(search: _Search, guide: Relaxed, few: Relaxed, target: int, alone: int, until: float) -> _Part:
    """Draw some outages, and lines that go there or nowhere now."""
    visits = search.visits
    held = visits.taken_by(search.best)
    every = np.unique(visits.outage)
    too_many = search.above > target
    # Hours that keep lines under the cap lie scattered: one of the parts gathers them from more outages.
    count = min(search.outages + (3 if too_many and alone else 0), every.size)
    there = np.isin(visits.outage, search.chance.choice(every, count, replace=False))
    movable = np.where(held < 0, True, there[np.maximum(held, 0)])
    judge = few if too_many else guide
    wrong = np.where(held < 0, judge.none_over, judge.over[np.maximum(held, 0)])
    wrong = np.where(movable, wrong, 0.0) * search.chance.uniform(size=held.size)
    near = np.where(movable, _next(visits, guide, held, there), np.inf) * search.chance.uniform(size=held.size)
    size = int(search.size)
    near[_lowest(-wrong, size // 2) & (wrong > 0.0)] = -1.0
    lines = _lowest(near, size) & np.isfinite(near)
    choices = there & (_place(visits, np.where(there, guide.over, np.inf)) < _CHOICES)
    choices |= search.best
    limit = min(_SHARE * search.time_limit_s, max(until - monotonic(), 0.0))
    return _Part(choices & lines[visits.line], held, limit, search.gap / _FINER)


def _divided(visits: Visits, share: np.ndarray) -> BoolArray:
    """Mark lines that are partly here and partly there, or partly not visited."""
    parts = np.zeros(visits.lines, dtype=np.bool_)
    parts[visits.line[(share > 1e-6) & (share < 1.0 - 1e-6)]] = True
    return parts


def _next(visits: Visits, guide: Relaxed, held: IntArray, there: BoolArray) -> np.ndarray:
    """Return how much worse than a line's best choice the best is that it does not have now, shape (n,)."""
    nearest = np.where(held < 0, np.inf, guide.none_over)
    other = np.flatnonzero(there & (held[visits.line] != np.arange(visits.line.size)))
    np.minimum.at(nearest, visits.line[other], guide.over[other])
    return nearest


def _lowest(rank: np.ndarray, count: int) -> BoolArray:
    marked = np.zeros(rank.size, dtype=np.bool_)
    marked[np.argsort(rank, kind="stable")[:count]] = True
    return marked


def _place(visits: Visits, over: np.ndarray) -> IntArray:
    """Return the place of every visit among those of its line, from 0 for the best."""
    order = np.lexsort((over, visits.line))
    line = visits.line[order]
    place = np.empty(line.size, dtype=np.int64)
    place[order] = np.arange(line.size) - np.searchsorted(line, line, side="left")
    return place
