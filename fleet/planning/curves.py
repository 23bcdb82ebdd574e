"""From the forecast to what a choice needs: expected days over and chances, for lines by outages.

The forecast gives the chance of having passed the limit by a few days; between them a smooth rising curve is laid. What
a visit resets is the position: the line starts on target with its own as-left spread. Its drift goes on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.interpolate import PchipInterpolator

from fleet.planning.problem import PlanError
from fleet.values import FloatArray, IntArray

DAYS_AFTER_LAST: Final = 365.0
"""The plan's end lies so many days after the last considered outage ends."""
_EARLY: Final = (0.25, 1.0, 3.0, 7.0, 15.0, 30.0)
"""Days at which a curve may bend sharply: just after as-of, or after a visit."""
_AS_LEFT_PRIOR: Final = 4.0
"""So many visits the fleet's spread counts beside a series' own (from memory: a few, so that two do not rule)."""


@dataclass(frozen=True, slots=True)
class Curves:
    """How the chance of having passed the limit grows for every line, a chance being its worst series'.

    Parameters
    ----------
    days : days after as-of, rising from 0, shape (k,)
    chance : chance of having passed since the newest cold survey if nobody touches the line, shape (n, k); NaN for a
        line without a forecast
    since_days : days after a visit, rising from 0, shape (m,)
    chance_after : chance of having passed since that visit, shape (n, m), or (n, J, m) where it matters which outage
        it was (a yearly swing)

    Raises
    ------
    PlanError
        Days do not rise from 0, or a table has another shape.
    """

    days: FloatArray
    chance: FloatArray
    since_days: FloatArray
    chance_after: FloatArray

    def __post_init__(self) -> None:
        for name, days, table in (
            ("days", self.days, self.chance),
            ("since_days", self.since_days, self.chance_after),
        ):
            if days.size < 2 or days[0] != 0.0 or not np.all(np.diff(days) > 0.0):
                raise PlanError(f"{name} of a curve must rise from 0 and hold two days or more")
            if table.ndim < 2 or table.shape[-1] != days.size or table.shape[0] != self.chance.shape[0]:
                raise PlanError(f"a table of shape {table.shape} does not give a chance for every line and {name}")


@dataclass(frozen=True, slots=True)
class Expected:
    """What the curves say of every choice; a table of choices has a last column for no visit.

    Parameters
    ----------
    days_over : expected days over from as-of to the end, shape (n, J + 1)
    chance_before : chance of being over before the visit, or before the end, shape (n, J + 1)
    chance_now : chance of being over by as-of, shape (n,)
    """

    days_over: FloatArray
    chance_before: FloatArray
    chance_now: FloatArray


@dataclass(frozen=True, slots=True)
class AfterVisit:
    """Where every series stands just after a visit, as deviations from its target, in the words of the trend.

    Parameters
    ----------
    position_um, position_var_um2 : deviation and its variance, shape (n_series,)
    rate_um, rate_var_um2 : rate, um per year of use, shape (n_series,)
    cov_um2 : covariance of both, shape (n_series,)
    """

    position_um: FloatArray
    position_var_um2: FloatArray
    rate_um: FloatArray
    rate_var_um2: FloatArray
    cov_um2: FloatArray


def plan_end_day(start_day: FloatArray, end_day: FloatArray, *, days_after: float = DAYS_AFTER_LAST) -> float:
    """Return the day up to which a plan counts: 365 days after the last considered outage ends.

    A plan gives every line one visit at most, and none between the last outage and its end. Where it is made anew
    before each of many outages, consider the next two and end half a year after them, or what two outages are apart: a
    longer view puts off fast lines again and again, because it takes one late visit for their last.

    Parameters
    ----------
    start_day, end_day : days from as-of to the considered outages' starts and ends (NaN: no end recorded), shape (J,)
    days_after : how long after the last one ends the plan still counts

    Returns
    -------
    days after as-of; `days_after` where no outage is considered
    """
    last = np.fmax(start_day, end_day)
    return days_after + (max(float(np.max(last)), 0.0) if last.size else 0.0)


def curve_days(end_day: float, at: FloatArray, *, step_days: float = 60.0) -> FloatArray:
    """Return the days at which the forecast is best asked, so that the curve between them is right.

    Parameters
    ----------
    end_day : last of them, more than 0
    at : days that must be among them (the outages' starts), those outside 0 to the end left out
    step_days : greatest distance between two

    Returns
    -------
    days rising from 0 to the end, shape (k,)
    """
    if end_day <= 0.0:
        raise PlanError(f"a plan that ends {-end_day:g} days before as-of has no days; set a later end")
    regular = np.linspace(0.0, end_day, int(np.ceil(end_day / step_days)) + 1)
    early = np.array(_EARLY)
    asked = np.asarray(at, dtype=np.float64)
    every = np.concatenate([regular, early[early < end_day], asked[(asked > 0.0) & (asked < end_day)]])
    days = np.unique(np.round(every, 9))
    # Rounding merges days that differ in the last digit only; the end itself has to be reached.
    days[-1] = end_day
    return days


def worst_of_lines(chance: FloatArray, line: IntArray, n_lines: int) -> FloatArray:
    """Return the largest chance over a line's stations and axes, day by day, never falling.

    Parameters
    ----------
    chance : of every series and day, shape (n_series, k); NaN where a series has no forecast or no limit
    line : index of each series' line, shape (n_series,)
    n_lines : number of lines

    Returns
    -------
    shape (n_lines, k), NaN for a line without any forecast
    """
    worst = np.full((n_lines, chance.shape[1]), -np.inf)
    np.maximum.at(worst, line, np.where(np.isfinite(chance), chance, -np.inf))
    worst = np.maximum.accumulate(worst, axis=1)
    return np.where(np.isfinite(worst), worst, np.nan)


def as_left_var_um2(
    deviation_um: FloatArray, measured_var_um2: FloatArray, series: IntArray, n_series: int
) -> FloatArray:
    """Return how far from its target a series truly starts after a visit, as a variance.

    A technician stops where the measured deviation is small: what is left is that and what the measuring hides, so
    both add up. A series' own mean square is drawn to the fleet's, which counts as much as four visits.

    Parameters
    ----------
    deviation_um : measured as-left offset minus cold target at past visits that set a line, shape (visits,)
    measured_var_um2 : variance of each measurement, shape (visits,)
    series : index of the series of each, shape (visits,)
    n_series : number of series

    Returns
    -------
    variance about the target, um^2, shape (n_series,); NaN throughout without any visit

    References
    ----------
    Mean square of a scaled inverse chi-square posterior with a few degrees of freedom before (from memory).
    """
    if series.size == 0:
        return np.full(n_series, np.nan)
    square = deviation_um**2 + measured_var_um2
    total = np.bincount(series, weights=square, minlength=n_series)
    count = np.bincount(series, minlength=n_series)
    return np.asarray((total + _AS_LEFT_PRIOR * float(np.mean(square))) / (count + _AS_LEFT_PRIOR), dtype=np.float64)


def after_visit(*, rate_um: FloatArray, rate_var_um2: FloatArray, as_left_um2: FloatArray) -> AfterVisit:
    """Return what a realignment makes of every series: on target within its as-left spread, drifting on as before.

    Parameters
    ----------
    rate_um, rate_var_um2 : what is known of the rate today, um per year of use, shape (n_series,)
    as_left_um2 : variance of the start, of `as_left_var_um2`, shape (n_series,)

    Returns
    -------
    the start from which the chance of passing is to be asked anew, with no elapsed time
    """
    nothing = np.zeros(rate_um.shape)
    return AfterVisit(nothing, as_left_um2, rate_um, rate_var_um2, nothing)


def expectations(curves: Curves, *, start_day: FloatArray, end_day: float) -> Expected:
    """Turn curves into expected days over and chances of every choice.

    Expected days over are the chance summed over the days (the area under the curve): up to the visit that of having
    passed so far, from the visit to the end that of having passed since.

    Parameters
    ----------
    curves : of the forecast
    start_day : days from as-of to the outages' starts, shape (J,)
    end_day : days from as-of to the plan's end

    Returns
    -------
    tables for n lines and J outages

    Raises
    ------
    PlanError
        The curves do not reach the end, or a table by outages has another number of them.

    References
    ----------
    The area under the distribution of a first passage up to T is the mean of the time between passage and T, none
    counted where it passes later: integration by parts. Curve: Fritsch and Carlson (1980), Monotone piecewise cubic
    interpolation, SIAM J. Numer. Anal. 17.
    """
    j = start_day.size
    if curves.days[-1] < end_day:
        raise PlanError(f"the forecast reaches {curves.days[-1]:g} days; the plan ends after {end_day:g}: ask further")
    starts = np.clip(start_day, 0.0, end_day)
    left = end_day - starts
    if j and curves.since_days[-1] < np.max(left):
        raise PlanError(
            f"the curve after a visit reaches {curves.since_days[-1]:g} days; {np.max(left):g} are left: ask further"
        )
    if curves.chance_after.ndim == 3 and curves.chance_after.shape[1] != j:
        raise PlanError(f"curves after a visit are given for {curves.chance_after.shape[1]} outages; there are {j}")
    at = np.append(starts, end_day)
    ahead = PchipInterpolator(curves.days, _rounded(curves.chance), axis=-1)
    days_over = np.asarray(ahead.antiderivative()(at), dtype=np.float64)
    chance = np.clip(np.asarray(ahead(at), dtype=np.float64), 0.0, 1.0)
    after = _rounded(curves.chance_after)
    if after.ndim == 2:
        days_over[:, :j] += PchipInterpolator(curves.since_days, after, axis=-1).antiderivative()(left)
    else:
        for which in range(j):
            since = PchipInterpolator(curves.since_days, after[:, which], axis=-1)
            days_over[:, which] += since.antiderivative()(left[which])
    unknown = ~np.all(np.isfinite(curves.chance), axis=1)
    unknown |= ~np.all(np.isfinite(curves.chance_after), axis=tuple(range(1, curves.chance_after.ndim)))
    days_over[unknown] = np.nan
    chance[unknown] = np.nan
    return Expected(np.maximum(days_over, 0.0), chance, np.where(unknown, np.nan, curves.chance[:, 0]))


def _rounded(chance: FloatArray) -> FloatArray:
    """Return chances without NaN and without differences so small that the slopes between them overflow."""
    return np.asarray(np.round(np.nan_to_num(chance), 12), dtype=np.float64)
