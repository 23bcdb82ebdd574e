"""The rate before something happened and the rate after it: by hand, and against a dense least-squares fit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats
from trend_fleet import one_series, pool_of, simulated

from fleet.trend import Intervals, Pooled, Series, Visits, gls, intervals
from fleet.trend.before_after import BeforeAfter, Happenings, before_after
from fleet.values import DAYS_PER_YEAR, FloatArray

CLOCK = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]


def happening(day: float, *, before: int = 0, after: int = 0, series: int = 0, at_visit: bool = False) -> Happenings:
    """Return one happening on a day since the epoch; at a visit it lies between as-found and as-left of that day."""
    local = int(np.floor(day)) if not at_visit else int(day)
    return Happenings(
        np.array([series]), np.array([day]), np.array([local]), np.array([before]), np.array([after])
    )  # fmt: skip


def asked(visits: Visits, series: Series, pooled: Pooled, happened: Happenings) -> BeforeAfter:
    found = intervals(visits)
    return before_after(
        found, series, pooled, happened,
        begins=visits.clock_years[found.from_visit],
        from_local_day=np.floor(found.from_day).astype(np.int64),
    )  # fmt: skip


def pool(visits: Visits, sigma: float = 0.0) -> Pooled:
    return pool_of(intervals(visits), tau=1e6, sigma=sigma)


def test_the_interval_in_which_it_happened_counts_on_neither_side() -> None:
    # By hand: 10 a year lower until year 2, a step of 500 in the third year, 30 a year lower from then on.
    series, visits = one_series(CLOCK, [0.0, -10.0, -20.0, -520.0, -550.0, -580.0])
    got = asked(visits, series, pool(visits), happening(2.5 * DAYS_PER_YEAR))
    assert (got.before_um[0], got.after_um[0]) == pytest.approx((-10.0, -30.0))
    assert got.change_um[0] == pytest.approx(-20.0)
    assert (got.n_before[0], got.n_after[0]) == (2, 2)
    # Without wander a rate over two years between three surveys of variance 100 has sqrt(200) / 2 / ... = sqrt(50).
    assert got.before_u_um[0] == pytest.approx(np.sqrt(50.0), rel=1e-6)
    assert got.change_u_um[0] == pytest.approx(10.0, rel=1e-6)


def test_at_a_visit_the_as_found_is_before_and_the_as_left_after_and_their_common_error_counts() -> None:
    # Against a dense generalised least-squares fit with the covariance written out; set-up 40 % of 100 is in both.
    found_um = [0.0, -12.0, -25.0, -70.0, -90.0, -140.0]
    left_um = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    series, visits = one_series(CLOCK, found_um, left_um)
    day = float(np.floor(3 * DAYS_PER_YEAR)) + 0.9
    visits = dataclasses.replace(visits, days=np.floor(visits.days) + 0.4)
    got = asked(visits, series, pool(visits, sigma=7.0), happening(day, at_visit=True))
    assert (got.n_before[0], got.n_after[0]) == (3, 2)
    covariance = np.diag(np.full(5, 200.0 + 49.0)) + np.diag(np.full(4, -40.0), 1) + np.diag(np.full(4, -40.0), -1)
    design = np.array([[1.0, 0.0]] * 3 + [[0.0, 1.0]] * 2)
    fit = gls(design, np.array(found_um[1:]), covariance)
    assert (got.before_um[0], got.after_um[0]) == pytest.approx(fit.coefficients)
    contrast = np.array([-1.0, 1.0])
    assert got.change_u_um[0] == pytest.approx(np.sqrt(contrast @ fit.covariance @ contrast))


def test_nothing_beyond_the_next_reset_is_counted() -> None:
    # Rates -10, then -30, then after another reset -90: that one is not after the first.
    series, visits = one_series(
        CLOCK,
        [0.0, -10.0, -20.0, -50.0, -80.0, -170.0],
        regime_found=[0, 0, 0, 1, 1, 2],
        regime_left=[0, 0, 1, 1, 2, 2],
    )
    day = 2.0 * DAYS_PER_YEAR
    got = asked(visits, series, pool(visits), happening(day + 0.01, before=0, after=1))
    assert (got.before_um[0], got.after_um[0]) == pytest.approx((-10.0, -30.0))
    assert (got.n_before[0], got.n_after[0]) == (2, 2)


def test_without_an_interval_on_a_side_there_is_no_rate_on_either() -> None:
    series, visits = one_series(CLOCK, [0.0, -10.0, -20.0, -30.0, -40.0, -50.0])
    got = asked(visits, series, pool(visits), happening(4.5 * DAYS_PER_YEAR))
    assert (got.n_before[0], got.n_after[0]) == (4, 0)
    assert np.isnan([got.before_um[0], got.after_um[0], got.change_um[0]]).all()


def test_nothing_happened_is_an_answer_too() -> None:
    series, visits = one_series(CLOCK, [0.0] * 6)
    nothing = np.zeros(0, dtype=np.int64)
    got = asked(visits, series, pool(visits), Happenings(nothing, np.zeros(0), nothing, nothing, nothing))
    assert got.change_um.size == 0


def shifted(found: Intervals, by: FloatArray) -> Intervals:
    return dataclasses.replace(found, moved_um=found.moved_um + by)


def test_the_interval_of_a_change_holds_the_truth_nineteen_times_in_twenty() -> None:
    # Synthetic truth: 400 lines of eight visits; from the fifth on each goes 40 a year lower than before.
    series, visits, _ = simulated(lines=400, visits=8, seed=11, stations=1, tau=20.0)
    found = intervals(visits)
    v = np.flatnonzero(series.axis == 0)
    day = visits.days.reshape(-1, 8)[v, 4] + 1e-3
    found = shifted(found, np.where(found.from_day > day[series.line[found.series]] - 1.0, -40.0 * found.years, 0.0))
    nothing = np.zeros(v.size, dtype=np.int64)
    got = before_after(
        found, series, pool_of(found, tau=20.0, sigma=20.0),
        Happenings(v, day, np.floor(day).astype(np.int64), nothing, nothing),
        begins=visits.clock_years[found.from_visit], from_local_day=np.floor(found.from_day).astype(np.int64),
    )  # fmt: skip
    hits = int(np.sum(np.abs(got.change_um + 40.0) <= 1.96 * got.change_u_um))
    # A day's edge may fall between visit and happening: then the interval between is left out, rightly.
    assert np.mean(got.n_before + got.n_after == 7) > 0.99
    assert stats.binom.ppf(0.0005, 400, 0.95) <= hits <= stats.binom.ppf(0.9995, 400, 0.95)
