"""The mixed-integer programme behind a plan, with a bound of its own.

Prices on crew hours (of the linear programme) tell what every choice is worth, and that no plan falls below a bound.
Most lines then have one choice that is clearly best; the solver is given a part of the others at a time, until the
plan is good enough or the part holds all that could still matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack

from fleet.values import BoolArray, FloatArray, IntArray

CHOICES: Final = 4
"""So many visits of a line, its best at the going prices, as long as it is not given all that could still matter."""
CORE_LINES: Final = 35
"""So many lines are left to the solver at first."""
WHOLE: Final = 1_000
"""So many visits are given to the solver all at once."""
MOST_LINES: Final = 240
"""And so many at most, as long as that does not hold all that could still matter."""
_GROWS: Final = 2
_PATIENCE: Final = 12
"""Rounds that may find nothing better."""
_SHARE: Final = 0.5
"""Share of the time left that a part of the lines may take."""
_SLICE: Final = 0.25
"""Share of the whole time that a part may take."""
_TINY: Final = 1e-9
_TIE: Final = 0.01
"""What the largest saving counts beside one line above the cap, where only prices for choosing a core are sought."""


@dataclass(frozen=True, slots=True)
class Visits:
    """The visits that may still be chosen, one variable each, and what they share; v of them.

    Parameters
    ----------
    line : index from 0 of each visit's line among those with a visit here, shape (v,)
    shared : what every visit takes of what all share, shape (shared, v): hours of each limited outage, visits, lines
        above the cap
    room : how much of it there is, shape (shared,)
    change : what the sum changes by, shape (v,)
    of_none : the sum without any of them
    whole_numbers : the sum is a count
    tie : another sum to tell visits apart that change this one equally, shape (v,); None: not needed
    """

    line: IntArray
    shared: csr_array
    room: FloatArray
    change: FloatArray
    of_none: float
    whole_numbers: bool = False
    tie: FloatArray | None = None

    def total(self, taken: BoolArray) -> float:
        return self.of_none + float(np.sum(self.change[taken]))


@dataclass(frozen=True, slots=True)
class Found:
    """The best visits found (None: none that fit were), and what no others fall below."""

    taken: BoolArray | None
    bound: float
    said: str


@dataclass(frozen=True, slots=True)
class _Worth:
    """What choices are worth at given prices.

    Parameters
    ----------
    bound : the sum that no plan falls below
    over : how much a visit is worse than its line's best choice, shape (v,)
    none_over : the same of no visit, shape (lines,)
    best : the visit that is a line's best choice, -1 where none is, shape (lines,)
    """

    bound: float
    over: FloatArray
    none_over: FloatArray
    best: IntArray


def least(visits: Visits, start: BoolArray | None, *, gap: float, time_limit_s: float) -> Found:
    """Choose visits, one for each line at most, that make the sum least within what is shared.

    Parameters
    ----------
    visits : what may be chosen
    start : a choice that fits, shape (v,); None where none is known
    gap : share of the sum within which a choice is good enough
    time_limit_s : seconds; then the best so far counts

    Returns
    -------
    what was found

    References
    ----------
    Bound and fixing by prices: Lagrangian relaxation of the generalised assignment problem (Fisher 1981, The Lagrangian
    relaxation method for solving integer programming problems, Management Science 27, 1-18).
    """
    until = monotonic() + time_limit_s
    worth = _worth(visits, visits.change, _prices(visits, visits.change, time_limit_s))
    guide = worth
    if visits.tie is not None:
        largest = float(np.max(np.abs(visits.tie), initial=0.0))
        told_apart = visits.change + _TIE * visits.tie / max(largest, _TINY)
        guide = _worth(visits, told_apart, _prices(visits, told_apart, max(until - monotonic(), 0.0)))
    best, said, bound = start, "", worth.bound
    if visits.whole_numbers:
        bound = float(np.ceil(bound - 1e-6))
    core, rounds, idle = CORE_LINES, 0, 0
    chance = np.random.default_rng(0)
    while True:
        total = np.inf if best is None else visits.total(best)
        scale = max(1.0, abs(total)) if np.isfinite(total) else 1.0
        if total - bound <= max(gap * scale, _TINY * scale):
            return Found(best, bound, said)
        left = until - monotonic()
        if left <= 0.0 or idle > _PATIENCE:
            return Found(best, bound, said or "Time limit reached before the solver was asked.")
        # What could be part of a better choice; of a count, one that is less by one.
        cut = total - worth.bound - (1.0 - 1e-6 if visits.whole_numbers else -_TINY * scale)
        matters = worth.over <= cut
        options = np.bincount(visits.line[matters], minlength=worth.best.size) + (worth.none_over <= cut)
        open_lines = options > 1
        whole = np.count_nonzero(open_lines) <= core or np.count_nonzero(matters & open_lines[visits.line]) <= WHOLE
        held = (worth if whole else guide).best
        if not whole:
            closest = _second(visits, guide)
            if rounds and best is not None:
                held = _taken_by(visits, best)
                # Half of those whose present choice is worst at these prices, half of those that could go either way.
                wrong = _wrong(guide, held) * chance.uniform(size=held.size)
                closest = np.where(_first(-wrong, open_lines & (wrong > 0.0), core // 2), -1.0, closest)
                closest *= chance.uniform(size=held.size)
            open_lines &= _first(closest, open_lines, core)
            matters &= _likely(visits, guide, held)
        sub = _Part.of(visits, held, matters, open_lines)
        limit = left if whole else min(left * _SHARE, max(time_limit_s * _SLICE, 2.0))
        taken, least_sum, said, done = sub.solved(visits, gap if whole else gap / 4.0, limit)
        better = taken is not None and visits.total(taken) < total - _TINY * scale
        if better:
            best = taken
        if whole:
            return Found(best, max(bound, min(total if best is None else visits.total(best), least_sum)), said)
        rounds += 1
        if not better and rounds > 1:
            # A part that was too hard for its time does not get easier by growing.
            core, idle = (core * _GROWS, idle) if done and core * _GROWS <= MOST_LINES else (core, idle + 1)


def _prices(visits: Visits, change: FloatArray, limit_s: float) -> FloatArray:
    """Return what one unit more of everything shared would change the sum by, 0 or less, shape (shared,).

    Where the linear programme is not solved in time nothing has a price; the bound is then only that of every line's
    own best choice.
    """
    size = change.size
    one = coo_array((np.ones(size), (visits.line, np.arange(size))))
    rows = vstack([one, visits.shared], format="csr")
    upper = np.concatenate([np.ones(one.shape[0]), visits.room])
    got = linprog(change, A_ub=rows, b_ub=upper, bounds=(0.0, 1.0), method="highs", options={"time_limit": limit_s})
    if got.status != 0:
        return np.zeros(visits.room.size)
    return np.minimum(np.asarray(got.ineqlin.marginals, dtype=np.float64)[one.shape[0] :], 0.0)


def _worth(visits: Visits, change: FloatArray, price: FloatArray) -> _Worth:
    priced = change - visits.shared.T @ price
    lines = int(visits.line.max()) + 1 if visits.line.size else 0
    lowest = np.zeros(lines)
    np.minimum.at(lowest, visits.line, priced)
    best = np.full(lines, -1, dtype=np.int64)
    is_best = np.flatnonzero((priced <= lowest[visits.line]) & (priced < 0.0))
    best[visits.line[is_best]] = is_best
    bound = visits.of_none + float(price @ visits.room) + float(np.sum(lowest))
    return _Worth(bound, priced - lowest[visits.line], -lowest, best)


def _second(visits: Visits, guide: _Worth) -> FloatArray:
    """Return how much worse than its best every line's second-best choice is, shape (lines,)."""
    second = np.where(guide.best < 0, np.inf, guide.none_over)
    other = np.flatnonzero(guide.best[visits.line] != np.arange(visits.line.size))
    np.minimum.at(second, visits.line[other], guide.over[other])
    return second


def _first(rank: FloatArray, among: BoolArray, count: int) -> BoolArray:
    """Mark so many lines of lowest rank, or all among which there are no more."""
    marked = np.zeros(rank.size, dtype=np.bool_)
    order = np.argsort(np.where(among, rank, np.inf), kind="stable")
    marked[order[:count]] = True
    return np.asarray(marked & among)


def _likely(visits: Visits, guide: _Worth, held: IntArray) -> BoolArray:
    """Mark every line's few best visits and the one it has."""
    order = np.lexsort((guide.over, visits.line))
    line = visits.line[order]
    place = np.arange(line.size) - np.searchsorted(line, line, side="left")
    marked = np.zeros(line.size, dtype=np.bool_)
    marked[order] = place < CHOICES
    marked[held[held >= 0]] = True
    return marked


def _taken_by(visits: Visits, taken: BoolArray) -> IntArray:
    """Return the visit that every line has, -1 for none, shape (lines,)."""
    of_line = np.full(int(visits.line.max()) + 1, -1, dtype=np.int64)
    rows = np.flatnonzero(taken)
    of_line[visits.line[rows]] = rows
    return of_line


def _wrong(guide: _Worth, held: IntArray) -> FloatArray:
    """Return how much worse than its best choice the one is that a line has, shape (lines,)."""
    return np.where(held < 0, guide.none_over, guide.over[np.maximum(held, 0)])


@dataclass(frozen=True, slots=True)
class _Part:
    """Some visits left to the solver, the other lines held at the choice they have."""

    asked: IntArray
    held: IntArray

    @classmethod
    def of(cls, visits: Visits, choice: IntArray, matters: BoolArray, open_lines: BoolArray) -> _Part:
        asked = np.flatnonzero(matters & open_lines[visits.line])
        held = choice[~open_lines]
        return cls(asked, held[held >= 0])

    def solved(self, visits: Visits, gap: float, limit_s: float) -> tuple[BoolArray | None, float, str, bool]:
        """Return the best visits with the held ones (None: none found), what none fall below, words, and if done."""
        taken = np.zeros(visits.line.size, dtype=np.bool_)
        taken[self.held] = True
        room = visits.room - visits.shared[:, self.held].sum(axis=1)
        size = self.asked.size
        if size == 0:
            fits = bool(np.all(room >= -1e-6))
            return (taken, visits.total(taken), "", True) if fits else (None, np.inf, "", True)
        lines, of = np.unique(visits.line[self.asked], return_inverse=True)
        one = coo_array((np.ones(size), (of, np.arange(size))), shape=(lines.size, size))
        rows = vstack([one, visits.shared[:, self.asked]], format="coo")
        # The rest of the sum enters as a variable fixed at 1, so that the gap is one of the whole sum.
        matrix = coo_array((rows.data, rows.coords), shape=(rows.shape[0], size + 1)).tocsr()
        got = milp(
            np.append(visits.change[self.asked], visits.total(taken)),
            integrality=np.append(np.ones(size), 0.0),
            bounds=Bounds(np.append(np.zeros(size), 1.0), np.ones(size + 1)),
            constraints=LinearConstraint(matrix, -np.inf, np.concatenate([np.ones(lines.size), room])),
            options={"mip_rel_gap": gap, "time_limit": limit_s},
        )
        if got.x is None:
            # Status 2: proved that nothing fits.
            return None, np.inf if got.status == 2 else -np.inf, str(got.message), got.status == 2
        taken[self.asked[got.x[:size] > 0.5]] = True
        bound = got.mip_dual_bound
        return taken, -np.inf if bound is None else float(bound), str(got.message), got.status == 0
