"""Unfinished warm-ups: synthetic truth from the first-order lag."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal.soak import end_of_approach, soaked_rise


def test_an_exact_warm_up_is_extrapolated_to_its_end() -> None:
    # synthetic truth: first-order lag of 5 h; one station still rises, one comes down while the gearbox follows
    hours = np.array([9.0, 2.0, 4.0, 6.0])
    final, start = np.array([250.0, 60.0]), np.array([20.0, 130.0])
    rise = final + (start - final) * np.exp(-hours / 5.0)[:, None]
    found = soaked_rise(hours, rise, np.full(rise.shape, 5.0))
    assert found is not None
    assert found.time_constant_h == pytest.approx(5.0, rel=1e-3)
    np.testing.assert_allclose(found.final_um, final, atol=0.1)


def test_the_stated_uncertainty_of_the_end_covers_it() -> None:
    # synthetic truth; 95 % of 400 with a binomial bound of three standard errors (1.1 %) below
    rng = np.random.default_rng(7)
    hours = np.array([2.0, 4.0, 7.0, 12.0, 20.0])
    final, start = np.array([250.0, 180.0]), np.array([0.0, 0.0])
    true = final + (start - final) * np.exp(-hours / 4.0)[:, None]
    hits = total = 0
    for _ in range(200):
        found = soaked_rise(hours, true + 4.0 * rng.standard_normal(true.shape), np.full(true.shape, 4.0))
        assert found is not None
        hits += int(np.sum(np.abs(found.final_um - final) <= 1.96 * found.u_final_um))
        total += 2
    assert 0.917 <= hits / total <= 0.983


def test_two_times_do_not_tell_where_a_warm_up_ends() -> None:
    hours = np.array([2.0, 2.0, 4.0])
    assert soaked_rise(hours, np.array([[10.0], [11.0], [20.0]]), np.ones((3, 1))) is None


@pytest.mark.parametrize("rise", [[10.0, 20.0, 30.0], [10.0, 20.0, 40.0], [50.0, 50.0, 50.0]])
def test_a_straight_a_quickening_or_a_finished_rise_is_not_extrapolated(rise: list[float]) -> None:
    assert soaked_rise(np.array([2.0, 4.0, 6.0]), np.array(rise)[:, None], np.ones((3, 1))) is None


def test_shapes_and_uncertainties_that_do_not_fit_are_refused() -> None:
    with pytest.raises(InputError, match="do not fit 3 times"):
        soaked_rise(np.array([1.0, 2.0, 3.0]), np.ones((2, 1)), np.ones((2, 1)))
    with pytest.raises(InputError, match="no standard uncertainty"):
        soaked_rise(np.array([1.0, 2.0, 3.0]), np.ones((3, 1)), np.zeros((3, 1)))


def test_a_station_not_measured_every_time_is_extrapolated_with_the_others() -> None:
    # synthetic truth: first-order lag of 4 h; the second station was read twice, the third once
    hours = np.array([2.0, 4.0, 6.0, 9.0])
    final = np.array([250.0, 90.0, 60.0])
    rise = final * (1.0 - np.exp(-hours / 4.0))[:, None]
    rise[[0, 2], 1] = np.nan
    rise[1:, 2] = np.nan
    found = soaked_rise(hours, rise, np.full(rise.shape, 3.0))
    assert found is not None
    np.testing.assert_allclose(found.final_um[:2], final[:2], atol=0.1)
    assert np.isnan(found.final_um[2])


def test_what_follows_with_a_known_time_constant_ends_where_it_was_heading() -> None:
    # by hand: 100 (1 - exp(-t / 5)) at 5 and 10 h; two points, two unknowns: the end exactly
    hours = np.array([5.0, 10.0])
    value = 100.0 * (1.0 - np.exp(-hours / 5.0))[:, None] * np.array([1.0, np.nan])
    end, u = end_of_approach(hours, value, np.full((2, 2), 2.0), time_constant_h=5.0)
    assert end[0] == pytest.approx(100.0)
    # by hand, decays from the first time a = 1, b = exp(-1): end = (v2 - b v1) / (1 - b), u = 2 sqrt(1 + b^2) / (1 - b)
    assert u[0] == pytest.approx(2.0 * np.hypot(1.0, np.exp(-1.0)) / (1.0 - np.exp(-1.0)))
    assert np.isnan(end[1])
