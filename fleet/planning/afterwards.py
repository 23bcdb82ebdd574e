"""After the outage: what was planned and what was done, and what the stated chances were worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.planning.problem import NO_VISIT, PlanError
from fleet.values import BoolArray, FloatArray, IntArray

Deed = Literal["as_planned", "left_as_planned", "other_outage", "missed", "extra"]
"""as_planned: visited where it was planned. left_as_planned: not planned, not visited. other_outage: visited in another
one than planned. missed: planned, not visited. extra: visited without having been planned."""

BANDS: Final = (0.0, 0.05, 0.2, 0.5, 1.0)
"""Stated chances are told apart at the settings for watch, due and over."""


@dataclass(frozen=True, slots=True)
class Deeds:
    """What became of a plan.

    Parameters
    ----------
    each : for every line
    counts : how many lines of each kind
    hours_planned, hours_done : crew hours by outage, shape (J,); done is NaN where nobody wrote any down
    """

    each: tuple[Deed, ...]
    counts: dict[Deed, int]
    hours_planned: FloatArray
    hours_done: FloatArray


@dataclass(frozen=True, slots=True)
class Score:
    """What stated chances were worth, over the lines that were looked at.

    Parameters
    ----------
    looked_at : lines that have both a stated chance and a finding
    expected : how many of them were expected over, the sum of their chances
    found : how many were
    surprise : chance of a number as far from what is expected or farther if every stated chance is right and lines are
        independent; NaN where nothing was looked at
    brier : mean square of stated chance less finding (0 or 1): 0 is clairvoyant, NaN where nothing was looked at
    brier_of_rate : that of stating the found share for every line
    bands : rows of `BANDS`: lines, expected and found in each, shape (bands, 3); the upper bound belongs to the band
    """

    looked_at: int
    expected: float
    found: int
    surprise: float
    brier: float
    brier_of_rate: float
    bands: FloatArray


def planned_and_done(
    planned: IntArray, done: IntArray, *, hours_planned: FloatArray, hours_done: FloatArray, n_outages: int
) -> Deeds:
    """Set what was done beside what was planned.

    Parameters
    ----------
    planned, done : index of every line's outage, `NO_VISIT` for none, shape (n,)
    hours_planned, hours_done : crew hours of each line's visit, NaN where none are written down, shape (n,)
    n_outages : number of outages

    Returns
    -------
    what became of the plan

    Raises
    ------
    PlanError
        The arrays are of different lines.
    """
    if not planned.shape == done.shape == hours_planned.shape == hours_done.shape:
        raise PlanError(
            f"{planned.size} lines were planned and {done.size} are said to be done or not; give one of each"
        )
    came, went = planned != NO_VISIT, done != NO_VISIT
    kinds: tuple[Deed, ...] = ("as_planned", "left_as_planned", "other_outage", "missed", "extra")
    which = np.select([came & went & (planned == done), ~came & ~went, came & went, came], [0, 1, 2, 3], default=4)
    return Deeds(
        each=tuple(kinds[k] for k in which),
        counts={kind: int(np.count_nonzero(which == k)) for k, kind in enumerate(kinds)},
        hours_planned=_by_outage(planned, hours_planned, n_outages),
        hours_done=_by_outage(done, hours_done, n_outages),
    )


def _by_outage(where: IntArray, hours: FloatArray, n_outages: int) -> FloatArray:
    rows = np.flatnonzero(where != NO_VISIT)
    return np.asarray(np.bincount(where[rows], weights=hours[rows], minlength=n_outages), dtype=np.float64)


def score(stated: FloatArray, over: BoolArray, *, looked_at: BoolArray) -> Score:
    """Judge stated chances of being over before a visit by what was found.

    A line that has been over and came back is found within: what is found can only fall short of what was stated by
    that much.

    Parameters
    ----------
    stated : chance of every line to be over before it was looked at, NaN where none was stated, shape (n,)
    over : found over at that visit, shape (n,)
    looked_at : measured as-found at all, shape (n,)

    Returns
    -------
    the score

    Raises
    ------
    PlanError
        A stated chance is not from 0 to 1.

    References
    ----------
    Brier (1950), Verification of forecasts expressed in terms of probability, Monthly Weather Review 78, 1-3, for one
    of two outcomes. The number found over is Poisson-binomial: the product of its lines' two-point distributions.
    """
    rows = looked_at & np.isfinite(stated)
    chance, seen = stated[rows], over[rows].astype(np.float64)
    if np.any((chance < 0.0) | (chance > 1.0)):
        raise PlanError(f"a stated chance of {float(chance.max()):g} is not a chance; give numbers from 0 to 1")
    found, n = int(np.sum(seen)), int(chance.size)
    band = np.clip(np.searchsorted(np.array(BANDS), chance, side="left") - 1, 0, len(BANDS) - 2)
    bands = np.zeros((len(BANDS) - 1, 3))
    for column, what in enumerate((np.ones(n), chance, seen)):
        bands[:, column] = np.bincount(band, weights=what, minlength=len(BANDS) - 1)
    return Score(
        looked_at=n,
        expected=float(np.sum(chance)),
        found=found,
        surprise=_surprise(chance, found) if n else float("nan"),
        brier=float(np.mean((chance - seen) ** 2)) if n else float("nan"),
        brier_of_rate=found / n * (1.0 - found / n) if n else float("nan"),
        bands=bands,
    )


def _surprise(chance: FloatArray, found: int) -> float:
    """Return twice the smaller tail of the number found, 1 at most."""
    mass = np.ones(1)
    for p in chance:
        mass = np.convolve(mass, [1.0 - p, p])
    below, above = float(np.sum(mass[: found + 1])), float(np.sum(mass[found:]))
    return min(1.0, 2.0 * min(below, above))
