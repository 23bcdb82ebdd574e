"""The programme behind a plan: its linear relaxation with prices and bounds, and the solver asked for a part of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack

from fleet.planning.silence import c_prints_to_stderr
from fleet.values import BoolArray, FloatArray, IntArray

_HEAVY: Final = 10.0
"""What a line above the cap counts, beside the largest saving of a visit, where more than asked for are allowed."""
_DEARER: Final = 3.0
"""And beside what one line less costs by the relaxation."""
_WHOLE: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Visits:
    """The visits that may still be chosen, one variable each; v of them, of lines 0 to n - 1.

    Parameters
    ----------
    line, outage : indices of each visit's line and outage, shape (v,)
    shared : what every visit takes of what all share, hours of each limited outage and visits, shape (shared, v)
    room : how much of it there is, shape (shared,)
    saves, mends : what the sum, and what the number of lines above the cap, changes by against no visit, shape (v,)
    of_none, above : the sum, and the lines above the cap, without any of them
    """

    line: IntArray
    outage: IntArray
    shared: csr_array
    room: FloatArray
    saves: FloatArray
    mends: FloatArray
    of_none: float
    above: int

    @property
    def lines(self) -> int:
        return int(self.line.max()) + 1

    def value(self, taken: BoolArray) -> tuple[int, float]:
        """Return how many lines above the cap a choice leaves, and its sum: less is better, the first before all."""
        return self.above + round(np.sum(self.mends[taken])), self.of_none + float(np.sum(self.saves[taken]))

    def taken_by(self, taken: BoolArray) -> IntArray:
        """Return the visit that every line has, -1 for none, shape (n,)."""
        of_line = np.full(self.lines, -1, dtype=np.int64)
        of_line[self.line[taken]] = np.flatnonzero(taken)
        return of_line

    def limits(self, most_above: int | None) -> tuple[csr_array, FloatArray]:
        """Return what is shared, with the lines above the cap where no more than so many are asked for."""
        if most_above is None:
            return self.shared, self.room
        rows = vstack([self.shared, coo_array(self.mends[None, :])], format="csr")
        return rows, np.append(self.room, float(most_above - self.above))


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The programme with visits that may be chosen in part.

    Parameters
    ----------
    bound : what no whole choice falls below
    share : how far every visit is chosen, 0 to 1, shape (v,); None where there was no time
    price : what one unit less of everything shared, and lastly one line less above the cap, would cost
    over : how much worse every visit is than its line's best choice at these prices, shape (v,)
    none_over : the same of no visit, shape (n,)
    """

    bound: float
    share: FloatArray | None
    price: FloatArray
    over: FloatArray
    none_over: FloatArray


@dataclass(frozen=True, slots=True)
class Answer:
    """What the solver found (None: nothing), what nothing falls below, its words, and if it came to its end."""

    taken: BoolArray | None
    bound: float
    said: str
    ended: bool


def relaxed(visits: Visits, most_above: float | None, *, time_limit_s: float) -> Relaxed:
    """Relax the programme: the least sum with no more lines above the cap than that, or (None) the fewest of those.

    Without time nothing has a price; the bound is then that of every line's own best choice.

    References
    ----------
    Bound by prices: Lagrangian relaxation of the generalised assignment problem (Fisher 1981, The Lagrangian relaxation
    method for solving integer programming problems, Management Science 27, 1-18).
    """
    change, none = (visits.mends, float(visits.above)) if most_above is None else (visits.saves, visits.of_none)
    shared, room = visits.limits(None if most_above is None else 0)
    if most_above is not None:
        room[-1] = most_above - visits.above
    size, lines = change.size, visits.lines
    one = coo_array((np.ones(size), (visits.line, np.arange(size))))
    got = linprog(
        change, A_ub=vstack([one, shared], format="csr"), b_ub=np.concatenate([np.ones(lines), room]),
        bounds=(0.0, 1.0), method="highs", options={"time_limit": time_limit_s},
    )  # fmt: skip
    solved = got.status == 0
    price = np.maximum(-np.asarray(got.ineqlin.marginals)[lines:], 0.0) if solved else np.zeros(room.size)
    priced = change + shared.T @ price
    lowest = np.zeros(lines)
    np.minimum.at(lowest, visits.line, priced)
    return Relaxed(
        bound=none - float(price @ room) + float(np.sum(lowest)), share=np.asarray(got.x) if solved else None,
        price=price, over=priced - lowest[visits.line], none_over=-lowest,
    )  # fmt: skip


def solved(
    visits: Visits,
    among: BoolArray,
    held: IntArray,
    *,
    most_above: int | None,
    gap: float,
    time_limit_s: float,
    line_less: float | None = None,
) -> Answer:
    """Ask the solver for the best choice among some visits, the others staying as they are held.

    Parameters
    ----------
    visits : all of them
    among : those of the lines to choose for, shape (v,)
    held : the visit that every other line has, -1 for none, shape (n,)
    most_above : least sum with no more lines above the cap; None: as few lines above the cap as possible
    gap : share of the sum within which a choice is good enough
    time_limit_s : seconds
    line_less : cost of one line less by the relaxation; with it more than `most_above` are allowed, at a high price

    Returns
    -------
    the answer; its bound holds for the lines held as they are
    """
    asked = np.flatnonzero(among)
    chooses = np.zeros(visits.lines, dtype=np.bool_)
    chooses[visits.line[asked]] = True
    stays = held[(held >= 0) & ~chooses]
    taken = np.zeros(visits.line.size, dtype=np.bool_)
    taken[stays] = True
    shared, room = visits.limits(most_above)
    room = room - shared[:, stays].sum(axis=1)
    above, total = visits.value(taken)
    change, rest = (visits.mends, float(above)) if most_above is None else (visits.saves, total)
    size = asked.size
    lines, of = np.unique(visits.line[asked], return_inverse=True)
    one = coo_array((np.ones(size), (of, np.arange(size))), shape=(lines.size, size))
    rows = vstack([one, shared[:, asked]], format="coo")
    # Two more variables: the rest of the sum, fixed at 1, so that the gap is one of the whole sum; and lines too many.
    last = rows.shape[0] - 1
    too_many = coo_array((np.full(1, -1.0 if line_less is not None else 0.0), ([last], [size + 1])))
    matrix = coo_array((rows.data, rows.coords), shape=(last + 1, size + 2)) + too_many.tocsr()
    heavy = max(_HEAVY * float(np.max(np.abs(visits.saves))), _DEARER * (line_less or 0.0))
    with c_prints_to_stderr():
        got = milp(
            np.concatenate([change[asked], [rest, heavy]]),
            integrality=np.concatenate([np.ones(size), [0.0, 1.0]]),
            bounds=Bounds(
                np.concatenate([np.zeros(size), [1.0, 0.0]]), np.concatenate([np.ones(size + 1), [float(size)]])
            ),
            constraints=LinearConstraint(matrix.tocsr(), -np.inf, np.concatenate([np.ones(lines.size), room])),
            options={"mip_rel_gap": gap, "time_limit": time_limit_s},
        )
    bound = -np.inf if got.mip_dual_bound is None else float(got.mip_dual_bound)
    if got.x is None:
        return Answer(None, bound, str(got.message), got.status == 2)
    taken[asked[got.x[:size] > 0.5]] = True
    return Answer(taken, bound, str(got.message), got.status == 0)


def whole_above(bound: float) -> int:
    """Return the fewest lines above the cap that a bound on their number leaves."""
    return int(np.ceil(bound - _WHOLE))
