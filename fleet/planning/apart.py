"""What is still to be chosen, in groups of lines that share no outage's hours: each is a plan of its own."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, vstack
from scipy.sparse.csgraph import connected_components

from fleet.planning.problem import NO_VISIT, Problem, steps_used
from fleet.planning.programme import Visits
from fleet.values import BoolArray, IntArray


def visits_apart(problem: Problem, held: IntArray, *, together: int) -> list[tuple[IntArray, Visits]]:
    """Collect the visits that are open to lines without a pin and better than none in either regard.

    Parameters
    ----------
    problem : what is to be chosen
    held : the plan of the pins alone, shape (n,)
    together : groups of so few visits are put together

    Returns
    -------
    of every group, small ones first: the line of each visit, and the visits; none where nothing is left to choose
    """
    cost, breaks = problem.cost, problem.breaks
    saves = cost[:, :NO_VISIT] < cost[:, NO_VISIT:]
    mends = breaks[:, NO_VISIT:] & ~breaks[:, :NO_VISIT]
    room = problem.room_steps - steps_used(problem, held)
    may = problem.may[:, :NO_VISIT] & (held == NO_VISIT)[:, None]
    may &= (saves | mends) & (problem.hour_steps <= room)
    chosen_for = np.any(may, axis=1)
    size = np.count_nonzero(may)
    alike = float(np.sum(cost[held == NO_VISIT, NO_VISIT])) + float(np.sum(cost[held >= 0, held[held >= 0]]))
    rest = alike - float(np.sum(cost[chosen_for, NO_VISIT]))
    groups = []
    for lines in _groups(problem, may, chosen_for, together):
        own = may & lines[:, None]
        # What cannot be changed counts with the visits evenly, so that a gap means the same in every group.
        groups.append(_visits(problem, held, own, rest * np.count_nonzero(own) / size))
    return groups


def _groups(problem: Problem, may: BoolArray, chosen_for: BoolArray, together: int) -> list[BoolArray]:
    """Mark the lines of every group; lines are of one where a limited outage is open to both."""
    n = chosen_for.size
    limited = may & np.isfinite(problem.room_steps)
    line, outage = np.nonzero(limited)
    label = np.zeros(n, dtype=np.int64)
    if problem.visits_at_most is None:
        nodes = n + limited.shape[1]
        joined = coo_array((np.ones(line.size), (line, n + outage)), shape=(nodes, nodes))
        label[:] = connected_components(joined, directed=False)[1][:n]
    sizes = np.bincount(label, weights=np.count_nonzero(may, axis=1))
    groups: list[BoolArray] = []
    room = 0.0
    for one in np.argsort(sizes, kind="stable"):
        if sizes[one] == 0.0:
            continue
        if sizes[one] <= room:
            groups[-1] |= label == one
        else:
            groups.append(label == one)
            room = float(together)
        room -= sizes[one]
    return [group & chosen_for for group in groups]


def _visits(problem: Problem, held: IntArray, may: BoolArray, rest: float) -> tuple[IntArray, Visits]:
    row, outage = np.nonzero(may)
    size = row.size
    cost, breaks = problem.cost, problem.breaks.astype(np.float64)
    room = problem.room_steps - steps_used(problem, held)
    shared, there = [], []
    for j in np.unique(outage):
        if not np.isfinite(room[j]):
            continue
        takes = np.where(outage == j, problem.hour_steps[row, outage], 0)
        # In the largest unit that all visits are whole numbers of: small numbers are exact and make bounds tight.
        unit = max(int(np.gcd.reduce(takes)), 1)
        shared.append(coo_array((takes // unit).astype(np.float64)[None, :]))
        there.append(np.array([np.floor(room[j] / unit)]))
    if problem.visits_at_most is not None:
        shared.append(coo_array(np.ones((1, size))))
        there.append(np.array([float(problem.visits_at_most - np.count_nonzero(held >= 0))]))
    lines, line = np.unique(row, return_inverse=True)
    return row, Visits(
        line=line, outage=outage, shared=vstack(shared or [coo_array((0, size))], format="csr"),
        room=np.concatenate(there or [np.empty(0)]), saves=cost[row, outage] - cost[row, NO_VISIT],
        mends=breaks[row, outage] - breaks[row, NO_VISIT], of_none=rest + float(np.sum(cost[lines, NO_VISIT])),
        above=int(np.sum(breaks[lines, NO_VISIT])),
    )  # fmt: skip
