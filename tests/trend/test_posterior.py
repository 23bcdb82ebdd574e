"""Own record and pool together, by hand and against simulated truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from trend_fleet import alone, first_visits, no_visits, one_series, pool_of, simulated

from fleet.trend import Pooled, intervals, pool_rates, posteriors


def test_one_interval_shrinks_towards_the_pool_by_hand() -> None:
    # Moved 40 um in 2 years; u 10 and 10, wander 10: variance 200 + 100 * 2 = 400, own rate 20 +- 10 um/year.
    # Pool 5 +- 10: equal weights, rate 12.5, variance 50.
    series, visits = one_series([0.0, 2.0], [0.0, 40.0], [0.0, 0.0], var=100.0, setup=0.0)
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=10.0, sigma=10.0, mean=5.0))
    assert got.rate_um[0] == pytest.approx(12.5)
    assert got.rate_var_um2[0] == pytest.approx(50.0)
    assert got.borrowed[0] == pytest.approx(0.5)
    assert got.n_intervals[0] == 1
    assert got.position_um[0] == 0.0
    assert got.position_var_um2[0] == 100.0
    assert got.cov_um2[0] == 0.0


def test_a_measured_only_session_leaves_a_position_between_forecast_and_measurement_by_hand() -> None:
    # From 0 +- 10 a year without drift and wander 10: predicted 0 with variance 200; measured 30 with variance 100.
    # Position 30 * 200 / 300 = 20, variance 200 * 100 / 300.
    series, visits = one_series([0.0, 1.0], [0.0, 30.0], var=100.0)
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=1e-6, sigma=10.0))
    assert got.position_um[0] == pytest.approx(20.0)
    assert got.position_var_um2[0] == pytest.approx(200.0 / 3.0)


def test_one_visit_borrows_everything_and_many_almost_nothing() -> None:
    series, visits = one_series([0.0], [4.0])
    found = intervals(visits)
    single = posteriors(visits, found, series, pool_of(found, tau=15.0, sigma=10.0, mean=7.0))
    assert (single.rate_um[0], single.borrowed[0], single.n_intervals[0]) == (pytest.approx(7.0), 1.0, 0)
    assert single.rate_var_um2[0] == pytest.approx(225.0)
    assert (single.position_um[0], single.position_var_um2[0]) == (4.0, 100.0)
    clock = [float(k) for k in range(15)]
    series, visits = one_series(clock, [20.0 * k for k in range(15)])
    found = intervals(visits)
    many = posteriors(visits, found, series, pool_of(found, tau=15.0, sigma=10.0, mean=0.0))
    assert many.borrowed[0] < 0.06
    assert many.rate_um[0] == pytest.approx(20.0, abs=1.5)


def test_the_pools_own_uncertainty_reaches_a_series_without_intervals_by_hand() -> None:
    # Spread 15, mean known to 6: a new series' rate is known to sqrt(225 + 36).
    series, visits = one_series([0.0], [4.0])
    found = intervals(visits)
    pool = pool_of(found, tau=15.0, sigma=10.0).axes[0]
    unsure = dataclasses.replace(pool, covariance=np.diag([36.0, 0.0]))
    got = posteriors(visits, found, series, Pooled((unsure, unsure), np.zeros(0)))
    assert got.rate_var_um2[0] == pytest.approx(261.0)


def test_rates_before_a_reset_do_not_speak_for_after_it() -> None:
    series, visits = one_series(
        [0.0, 1.0, 2.0, 3.0], [0.0, 90.0, 80.0, 10.0], [0.0] * 4, regime_found=[0, 0, 0, 1], regime_left=[0, 0, 1, 1]
    )
    found = intervals(visits)
    pool = pool_of(found, tau=15.0, sigma=10.0)
    got = posteriors(visits, found, series, pool)
    assert got.n_intervals[0] == 1
    assert got.rate_um[0] < 10.0
    later = posteriors(visits, found, series, pool, regime_now=np.array([2]))
    assert (later.n_intervals[0], later.rate_um[0], later.borrowed[0]) == (0, 0.0, 1.0)


def test_a_line_moved_without_being_measured_has_a_rate_but_no_position() -> None:
    series, visits = one_series([0.0, 1.0], [0.0, 30.0], [0.0, float("nan")])
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=15.0, sigma=10.0))
    assert np.isnan(got.position_um[0])
    assert got.rate_um[0] > 0.0


def test_series_without_visits_have_the_pools_rate_and_no_position() -> None:
    found = intervals(no_visits())
    got = posteriors(no_visits(), found, alone(3), pool_of(found, tau=15.0, sigma=10.0, mean=3.0))
    assert got.last_visit.tolist() == [-1, -1, -1]
    assert got.rate_um == pytest.approx(np.full(3, 3.0))
    assert np.all(np.isnan(got.position_um))


def test_stated_uncertainties_of_rate_and_position_are_met_by_the_truth() -> None:
    series, visits, truth = simulated(lines=200, visits=6, seed=20)
    for keep in (3, 4, 6):
        record = first_visits(visits, 6, keep)
        found = intervals(record)
        got = posteriors(record, found, series, pool_rates(found, series))
        rate = (got.rate_um - truth.rate_um) / np.sqrt(got.rate_var_um2)
        position = (got.position_um - truth.after_um[:, keep - 1]) / np.sqrt(got.position_var_um2)
        # 1600 series; the set-up error is common to a line, which widens the binomial bound.
        assert np.mean(np.abs(rate) < 1.96) == pytest.approx(0.95, abs=0.025)
        assert np.mean(np.abs(position) < 1.96) == pytest.approx(0.95, abs=0.025)


def test_a_jump_does_not_set_the_rate() -> None:
    series, visits, truth = simulated(lines=30, visits=8, seed=21)
    found = intervals(visits)
    struck = np.flatnonzero(found.series == 5)[3]
    moved = found.moved_um.copy()
    moved[struck] += 400.0
    hit = dataclasses.replace(found, moved_um=moved)
    got = posteriors(visits, hit, series, pool_rates(hit, series))
    still = posteriors(visits, found, series, pool_rates(found, series))
    assert abs(got.rate_um[5] - still.rate_um[5]) < 10.0
    assert truth.rate_um.size == got.rate_um.size
