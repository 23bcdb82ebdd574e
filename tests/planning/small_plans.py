"""Small problems written down or drawn, and the best plan of each by looking at every one there is."""

from __future__ import annotations

from itertools import product
from math import isfinite

import numpy as np

from fleet.planning import NO_VISIT, OPEN, Curves, Lines, Outages, Problem, Situation, no_pins
from fleet.values import FloatArray, IntArray


def problem(
    days_over: FloatArray,
    *,
    hours: FloatArray,
    crew_hours: FloatArray,
    chance_before: FloatArray | None = None,
    closed: IntArray | None = None,
    weight: FloatArray | None = None,
    cost: FloatArray | None = None,
    pin_into: IntArray | None = None,
    cap: float = 1.0,
    visits_at_most: int | None = None,
) -> Problem:
    """Return a problem from its tables, what is not said being as simple as can be."""
    n, j = days_over.shape[0], days_over.shape[1] - 1
    chance = np.zeros((n, j + 1)) if chance_before is None else chance_before
    return Problem(
        lines=tuple(f"L{i + 1}" for i in range(n)),
        outages=tuple(f"O{k + 1}" for k in range(j)),
        days_over=days_over,
        chance_before=chance,
        chance_now=np.zeros(n),
        hours=hours,
        crew_hours=crew_hours,
        closed=np.full((n, j), OPEN) if closed is None else closed,
        weight=np.ones(n) if weight is None else weight,
        visit_cost_days=np.zeros(n) if cost is None else cost,
        pin_into=no_pins(n, j)[0] if pin_into is None else pin_into,
        start_day=np.arange(1.0, j + 1),
        cap=cap,
        visits_at_most=visits_at_most,
    )


def drawn(seed: int, *, lines: int, outages: int) -> Problem:
    """Draw a problem with everything in it: caps, pins, closed outages, full crews, lines without a forecast."""
    rng = np.random.default_rng(seed)
    days = np.round(rng.uniform(0.0, 300.0, (lines, outages + 1)), 1)
    chance = np.round(np.sort(rng.uniform(0.0, 0.6, (lines, outages + 1)), axis=1), 2)
    unknown = rng.random(lines) < 0.1
    days[unknown], chance[unknown] = np.nan, np.nan
    hours = rng.integers(1, 12, (lines, outages)) / 2.0
    crew = np.where(rng.random(outages) < 0.15, np.inf, rng.integers(0, 5 * lines, outages) / 4.0)
    closed = np.where(rng.random((lines, outages)) < 0.2, rng.integers(1, 8, (lines, outages)), OPEN)
    into = np.full(lines, NO_VISIT)
    if outages and rng.random() < 0.4:
        i, j = int(rng.integers(lines)), int(rng.integers(outages))
        if closed[i, j] == OPEN and hours[i, j] <= crew[j]:
            into[i] = j
    return problem(
        days, hours=hours, crew_hours=crew, chance_before=chance, closed=closed,
        weight=rng.choice([0.0, 1.0, 2.5], lines), cost=rng.choice([0.0, 5.0, 60.0], lines), pin_into=into,
        cap=float(rng.choice([0.1, 0.2, 0.4, 1.0])),
        visits_at_most=int(rng.integers(1, lines + 1)) if rng.random() < 0.3 else None,
    )  # fmt: skip


def best_by_looking(asked: Problem, *, above_allowed: int = 0) -> tuple[int, float]:
    """Return fewest lines above the cap and then the least sum, over all plans there are; written apart from the code.

    With some allowed, the least sum of plans with no more lines above the cap than those, or than the fewest.
    Pinned lines have one choice; lines without a forecast are not visited unless pinned and count nothing.
    """
    n, j = asked.hours.shape
    none = j
    ways: list[list[int]] = []
    for i in range(n):
        into = int(asked.pin_into[i])
        if into >= 0:
            ways.append([into])
        elif not isfinite(asked.days_over[i, none]):
            ways.append([none])
        else:
            ways.append([none] + [k for k in range(j) if asked.closed[i, k] == 0])
    keeps = [any(not asked.chance_before[i, k] > asked.cap for k in ways[i]) for i in range(n)]
    best = (n + 1, float("inf"))
    for plan in product(*ways):
        visits = [(i, k) for i, k in enumerate(plan) if k != none]
        if asked.visits_at_most is not None and len(visits) > asked.visits_at_most:
            continue
        if any(sum(asked.hours[i, k] for i, k in visits if k == o) > asked.crew_hours[o] for o in range(j)):
            continue
        above = sum(1 for i, k in enumerate(plan) if keeps[i] and asked.chance_before[i, k] > asked.cap)
        days = [asked.days_over[i, k] for i, k in enumerate(plan)]
        total = sum(asked.weight[i] * d for i, d in enumerate(days) if isfinite(d))
        best = min(best, (max(above, above_allowed), float(total + sum(asked.visit_cost_days[i] for i, _ in visits))))
    return best


def situation(
    *,
    per_day: FloatArray,
    after_per_day: FloatArray,
    starts: FloatArray,
    ends: FloatArray | None = None,
    end_day: float = 500.0,
    hours: float = 4.0,
    crew_hours: float = 100.0,
) -> Situation:
    """Return lines whose chance of being over grows evenly from 0, by so much a day, before and after a visit."""
    n, j = per_day.size, starts.size
    days = np.array([0.0, 10.0, end_day])
    lines = Lines(
        codes=tuple(f"L{i + 1}" for i in range(n)), site=np.zeros(n, dtype=np.int64), weight=np.ones(n),
        visit_hours=np.full(n, hours), visit_cost_days=np.zeros(n), cool_down_h=np.full(n, 8.0),
        screw_pull_h=np.full(n, 4.0), heat_up_h=np.full(n, 6.0),
    )  # fmt: skip
    nobody = np.full(j, -1)
    outages = Outages(
        codes=tuple(f"O{k + 1}" for k in range(j)), site=np.zeros(j, dtype=np.int64), line=nobody, start_day=starts,
        end_day=starts + 3.0 if ends is None else ends, crew_hours=np.full(j, crew_hours), crews=np.ones(j),
        planned=np.ones(j, dtype=np.bool_), screw_out=np.zeros(j, dtype=np.bool_),
    )  # fmt: skip
    into, out = no_pins(n, j)
    curves = Curves(days, per_day[:, None] * days, days, after_per_day[:, None] * days)
    return Situation(lines, outages, curves, end_day, into, out)
