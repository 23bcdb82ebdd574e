"""A change of drift said to a person: when, how it moved before and after, how sure, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

import numpy as np

from fleet import words
from fleet.values import Axis

RateUnit = Literal["um_per_1000_h", "um_per_year"]

_PER: Final[dict[RateUnit, str]] = {"um_per_1000_h": "per 1000 h", "um_per_year": "per year"}
_WAYS: Final[dict[Axis, tuple[str, str]]] = {"v": ("higher", "lower"), "h": ("to the right", "to the left")}
_BEYOND_COUNTING: Final = 1_000_000.0


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate of drift with its 95 % range, in the unit of its row, + higher / to the right."""

    value: float
    low: float
    high: float


def rate_said(rate: Rate, axis: Axis) -> str:
    """Return 'lower by 95 (80 to 110)'; a range that reaches the other way names both."""
    up = rate.value >= 0.0
    way, other = _WAYS[axis] if up else _WAYS[axis][::-1]
    least, most = (rate.low, rate.high) if up else (-rate.high, -rate.low)
    if round(least) < 0:
        return f"{way} by {abs(rate.value):.0f} ({-least:.0f} {other} to {most:.0f} {way})"
    return f"{way} by {abs(rate.value):.0f} ({max(least, 0.0):.0f} to {most:.0f})"


def likelier(evidence: float) -> str:
    """Return how much likelier the record is with the change than without, from the log of the Bayes factor."""
    if evidence > np.log(_BEYOND_COUNTING):
        return "more than a million times likelier"
    factor = float(np.exp(evidence))
    digits = 10 ** max(len(str(int(factor))) - 2, 0)
    return f"about {round(factor / digits) * digits} times likelier"


def counted(intervals: int) -> str:
    """Return '1 interval', '4 intervals'."""
    return f"{intervals} interval" if intervals == 1 else f"{intervals} intervals"


def sentence(
    *,
    line: str,
    station: str,
    axis: Axis,
    from_on: date,
    earliest_on: date,
    latest_on: date,
    before: Rate,
    after: Rate,
    rate_unit: RateUnit,
    intervals_before: int,
    intervals_after: int,
    evidence: float,
) -> str:
    """Return the evidence for a change, in words.

    Parameters
    ----------
    line, station, axis : what changed, and the station that shows it most
    from_on, earliest_on, latest_on : day of the visit from which on it moves otherwise, and between which days that is
    before, after, rate_unit : the rates on either side
    intervals_before, intervals_after : how many intervals stand behind each
    evidence : natural log of the Bayes factor
    """
    between = (
        ""
        if earliest_on == latest_on
        else f" (or another visit from {words.day(earliest_on)} to {words.day(latest_on)})"
    )
    return (
        f"From {words.day(from_on)} on{between} {line} {station} goes {rate_said(after, axis)} um {_PER[rate_unit]}; "
        f"before it went {rate_said(before, axis)}. {counted(intervals_before)} before, {intervals_after} after; "
        f"the record is {likelier(evidence)} with the change than without."
    )
