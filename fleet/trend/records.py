"""What the trend works on: series, visits, and the intervals in which nobody touched a line.

All arrays are flat. The clock is years of use: running hours divided by the line's recent hours per year where a meter
is kept, else calendar years of 365.25 days. The caller makes that conversion.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import BoolArray, FloatArray, IntArray

SMALLEST_VAR_UM2: Final = 1e-4
"""Floor of a measurement variance: no survey is better than a hundredth of a micrometre."""


class TrendError(InputError):
    """The arrays given to a trend calculation do not belong together or hold an unusable value."""


@dataclass(frozen=True, slots=True)
class Series:
    """One station and axis of one line each; every array has shape (n_series,).

    Parameters
    ----------
    axis : 0 for v, 1 for h
    share : distance from the gearbox as a share of the barrel, 0 to 1
    line : index of the line
    foundation : code of the foundation, -1 where unknown
    site : code of the site, -1 where unknown: lines of one site stand in the same weather
    """

    axis: IntArray
    share: FloatArray
    line: IntArray
    foundation: IntArray
    site: IntArray


@dataclass(frozen=True, slots=True)
class Visits:
    """Cold surveys of sessions, one row per session and series, sorted by series, then time; shapes (n_visits,).

    Parameters
    ----------
    series : index into `Series`
    clock_years : years of use since any origin of the series
    days : calendar days since the epoch
    found_um, found_var_um2, found_setup_um2 : the as-found offset, its variance, and the part of the variance that is
        the session's set-up error; NaN where the session has no usable as-found
    left_um, left_var_um2, left_setup_um2 : the same of the last cold survey of the session; NaN where the station was
        moved afterwards without being measured
    one_survey : found and left are the same survey (nothing moved, one measurement)
    moved : the session realigned the line between found and left
    chained : False where no interval may run from the previous visit to this one
    regime_found, regime_left : number of trend-resetting events at or before the as-found, and the as-left
    """

    series: IntArray
    clock_years: FloatArray
    days: FloatArray
    found_um: FloatArray
    found_var_um2: FloatArray
    found_setup_um2: FloatArray
    left_um: FloatArray
    left_var_um2: FloatArray
    left_setup_um2: FloatArray
    one_survey: BoolArray
    moved: BoolArray
    chained: BoolArray
    regime_found: IntArray
    regime_left: IntArray


@dataclass(frozen=True, slots=True)
class Intervals:
    """Movements between one session's last survey and the next session's first; every array has shape (n_intervals,).

    Parameters
    ----------
    series : index into `Series`
    from_visit, to_visit : indices into `Visits`
    from_day, to_day : calendar days of the two, since the epoch
    years : years of use between the two
    moved_um : as-found minus the as-left before
    var_um2 : variance of `moved_um` from measuring alone, u_left^2 + u_found^2
    cov_next_um2 : covariance of the measuring error with the next row's, 0 unless that row begins where this one ends
    across_event : an event that resets the trend lies inside
    regime : the regime in which the interval begins
    """

    series: IntArray
    from_visit: IntArray
    to_visit: IntArray
    from_day: FloatArray
    to_day: FloatArray
    years: FloatArray
    moved_um: FloatArray
    var_um2: FloatArray
    cov_next_um2: FloatArray
    across_event: BoolArray
    regime: IntArray


def of_one_series(found: Intervals, series: int) -> Intervals:
    """Return the intervals of one series alone, in their order."""
    rows = np.flatnonzero(found.series == series)
    return Intervals(*(getattr(found, field.name)[rows] for field in fields(Intervals)))


def survey_covariance_um2(visits: Visits, rows: IntArray) -> FloatArray:
    """Covariance of some visits' as-found error with their as-left error.

    Where one survey is both, its whole variance. Else the geometric mean of the two set-up variances: one set-up error
    reaches both surveys, each with its own gain, so that the product of the gains times its variance is shared.

    Parameters
    ----------
    visits : all of them
    rows : which are meant, shape (n,)

    Returns
    -------
    shape (n,), um^2; 0 where either survey is missing
    """
    both = np.isfinite(visits.found_um[rows]) & np.isfinite(visits.left_um[rows])
    found_var, left_var = visits.found_var_um2[rows], visits.left_var_um2[rows]
    setup = np.sqrt(np.maximum(visits.found_setup_um2[rows], 0.0) * np.maximum(visits.left_setup_um2[rows], 0.0))
    # A set-up error that explained everything would leave a singular covariance where two separate surveys were made.
    ceiling = 0.999 * np.sqrt(np.maximum(found_var, 0.0) * np.maximum(left_var, 0.0))
    shared = np.where(visits.one_survey[rows], left_var, np.fmin(setup, ceiling))
    return np.where(both & np.isfinite(shared), shared, 0.0)


def intervals(visits: Visits) -> Intervals:
    """Pair every as-left with the next as-found of the same series.

    A visit without an as-found ends no interval, one without an as-left begins none, and one that is not `chained`
    does not reach back. Neighbouring intervals share a session, so its set-up error enters both with opposite signs.

    Parameters
    ----------
    visits : sorted by series, then time

    Returns
    -------
    the intervals, in the order of the visits that end them

    Raises
    ------
    TrendError
        The visits are not sorted by series and clock, or a variance is negative.
    """
    series, clock = visits.series, visits.clock_years
    same = series[1:] == series[:-1]
    if np.any(series[1:] < series[:-1]) or np.any(same & (clock[1:] < clock[:-1])):
        bad = int(np.argmax((series[1:] < series[:-1]) | (same & (clock[1:] < clock[:-1])))) + 1
        raise TrendError(f"visit {bad} comes before the one above it; sort visits by series, then clock_years")
    for name in ("found_var_um2", "left_var_um2"):
        variance = getattr(visits, name)
        if np.any(variance < 0):
            bad = int(np.argmax(variance < 0))
            raise TrendError(f"{name} of visit {bad} is {variance[bad]}; a variance cannot be negative")
    usable = same & visits.chained[1:] & np.isfinite(visits.left_um[:-1]) & np.isfinite(visits.found_um[1:])
    to_visit = np.flatnonzero(usable).astype(np.int64) + 1
    from_visit = to_visit - 1
    variance = visits.left_var_um2[from_visit] + visits.found_var_um2[to_visit]
    follows = np.zeros(to_visit.shape, dtype=np.bool_)
    follows[:-1] = from_visit[1:] == to_visit[:-1]
    shared = np.zeros(to_visit.shape)
    shared[follows] = survey_covariance_um2(visits, to_visit[follows])
    return Intervals(
        series=series[to_visit],
        from_visit=from_visit,
        to_visit=to_visit,
        from_day=visits.days[from_visit],
        to_day=visits.days[to_visit],
        years=clock[to_visit] - clock[from_visit],
        moved_um=visits.found_um[to_visit] - visits.left_um[from_visit],
        var_um2=np.maximum(variance, SMALLEST_VAR_UM2),
        cov_next_um2=-shared,
        across_event=visits.regime_left[from_visit] != visits.regime_found[to_visit],
        regime=visits.regime_left[from_visit],
    )
