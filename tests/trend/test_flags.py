"""Beyond measurement and unusual are different things, by hand and by counting."""

from __future__ import annotations

import numpy as np
import pytest
from trend_fleet import alone, intervals_of, plain_intervals, pool_of, simulated

from fleet.trend import flags, intervals, pool_rates


def test_beyond_measurement_is_the_movement_against_its_own_uncertainty() -> None:
    found = plain_intervals(np.ones(3), np.array([19.0, -20.0, 40.0]), 100.0, np.arange(3))
    pool = pool_of(found, tau=50.0, sigma=50.0)
    assert flags(found, alone(3), pool).beyond_measurement.tolist() == [False, True, True]
    # Student's factor for 2 degrees of freedom is 4.303 (any table).
    wide = flags(found, alone(3), pool, student_factor=np.array([4.303, 4.303, 1.96]))
    assert wide.beyond_measurement.tolist() == [False, False, True]


def test_an_interval_is_judged_by_the_others_of_its_series_by_hand() -> None:
    # Others: 20 um a year twice, so 20 with variance 1 / (2 / 200) = 100 (nothing from the pool); wander 10, u^2 100:
    # the third is expected at 20 +- sqrt(100 + 200) = 17.3.
    found = plain_intervals(np.ones(3), np.array([20.0, 20.0, 60.0]), 100.0)
    got = flags(found, alone(), pool_of(found, tau=1e6, sigma=10.0))
    assert got.expected_um[2] == pytest.approx(20.0, abs=1e-3)
    assert got.expected_sd_um[2] == pytest.approx(np.sqrt(300.0), rel=1e-4)
    assert got.unusual.tolist() == [False, False, True]


def test_a_steady_fast_line_is_beyond_measurement_but_not_unusual() -> None:
    found = plain_intervals(np.ones(6), np.full(6, 80.0), 100.0)
    got = flags(found, alone(), pool_of(found, tau=60.0, sigma=10.0))
    assert np.all(got.beyond_measurement)
    assert not np.any(got.unusual)


def test_an_interval_across_an_event_is_expected_from_the_pool_alone() -> None:
    found = intervals_of(across=[False, True, False], moved=[50.0, 0.0, 50.0])
    got = flags(found, alone(), pool_of(found, tau=30.0, sigma=10.0, mean=5.0))
    assert got.expected_um[1] == 5.0
    assert got.expected_sd_um[1] == pytest.approx(np.sqrt(900.0 + 100.0 + 100.0))


def test_one_interval_in_twenty_of_a_plain_fleet_is_unusual() -> None:
    series, visits, _ = simulated(lines=150, visits=7, seed=30)
    found = intervals(visits)
    got = flags(found, series, pool_rates(found, series))
    assert np.mean(got.unusual) == pytest.approx(0.05, abs=0.01)
