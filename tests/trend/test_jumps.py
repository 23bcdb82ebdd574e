"""Jumps: found where they were planted, not where movements merely have long tails."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, poisson, t
from trend_fleet import simulated

from fleet.trend import intervals, pool_rates
from fleet.trend.jumps import NO_JUMPS, Jumps, _log_student, at_least_one, find_jumps
from fleet.values import BoolArray, FloatArray

N = 4000
SD_UM = 35.0


def movements(
    *, seed: int, dof: float = 1e9, a_year: float = 0.0, jump_um: float = 0.0, n: int = N
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Simulate residuals with their variances and years, and which of them jumped."""
    rng = np.random.default_rng(seed)
    years = rng.uniform(0.4, 1.6, n)
    variance = SD_UM**2 * years
    calm = np.sqrt(variance * (dof - 2.0) / dof) * t.rvs(dof, size=n, random_state=rng)
    count = rng.poisson(a_year * years)
    return calm + jump_um * np.sqrt(count) * rng.standard_normal(n), variance, years, count > 0


def found_in(moved: FloatArray, variance: FloatArray, years: FloatArray, dof: float) -> tuple[Jumps, FloatArray]:
    return find_jumps(moved, variance, np.full(moved.size, dof), years)


@pytest.mark.parametrize("dof", [4.2, 6.0, 30.0, 1e7])
def test_the_density_is_scipy_s_student_s_with_the_stated_variance(dof: float) -> None:
    moved = np.array([-300.0, -40.0, 0.0, 15.0, 120.0])
    variance = np.array([400.0, 900.0, 100.0, 2500.0, 900.0])
    theirs = t.logpdf(moved, dof, scale=np.sqrt(variance * (dof - 2.0) / dof))
    assert _log_student(moved, variance, np.full(5, dof)) == pytest.approx(theirs, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("a_year", "jump_um"), [(0.03, 250.0), (0.1, 180.0)])
def test_planted_jumps_are_found_with_their_frequency_and_size(a_year: float, jump_um: float, seed: int) -> None:
    moved, variance, years, jumped = movements(seed=seed, a_year=a_year, jump_um=jump_um)
    jumps, added = found_in(moved, variance, years, 1e9)
    # Bounds: the Poisson count of as many years, with room for the jumps too small to be told from wander.
    told = jumps.per_year * np.sum(years)
    expected = a_year * np.sum(years)
    low, high = poisson.interval(0.9999, expected)
    assert 0.85 * low < told < 1.15 * high
    # A deviation from k jumps is known to 1 / sqrt(2 k); about a tenth more for those that hide.
    assert jumps.sd_um == pytest.approx(jump_um, rel=4.0 / np.sqrt(2.0 * expected) + 0.05)
    assert np.mean(added[~jumped] < 0.05 * jump_um**2) > 0.99


def test_the_chance_of_a_jump_is_poisson_s() -> None:
    years = np.array([0.0, 0.1, 1.0, 7.0])
    chance, number = at_least_one(0.2 * years)
    assert chance == pytest.approx(1.0 - poisson.pmf(0, 0.2 * years))
    assert at_least_one(NO_JUMPS.per_year * years)[0].tolist() == [0.0] * 4
    # The mean of a Poisson count is spread over the cases in which there was one at all.
    assert chance * number == pytest.approx(poisson.mean(0.2 * years))


@pytest.mark.parametrize("dof", [1e9, 6.0])
def test_none_are_claimed_where_movements_only_have_the_tails_that_were_told(dof: float) -> None:
    for seed in range(10, 22):
        moved, variance, years, _ = movements(seed=seed, dof=dof)
        jumps, added = found_in(moved, variance, years, dof)
        assert jumps is NO_JUMPS
        assert not np.any(added)


def test_long_tails_taken_for_normal_ones_do_look_like_jumps() -> None:
    # The other side of the test before: it is the told tails that keep a Student movement from being called a jump.
    moved, variance, years, _ = movements(seed=10, dof=4.5)
    jumps, _ = found_in(moved, variance, years, 1e9)
    assert jumps is not NO_JUMPS


def test_a_clear_jump_gets_a_jump_s_variance_and_a_calm_movement_none() -> None:
    moved, variance, years, _ = movements(seed=5, a_year=0.05, jump_um=220.0)
    moved[:4] = [0.0, 10.0, 500.0, -500.0]
    variance[:4], years[:4] = SD_UM**2, 1.0
    jumps, added = found_in(moved, variance, years, 1e9)
    assert added[:2] == pytest.approx([0.0, 0.0], abs=0.05 * SD_UM**2)
    assert added[2:4] == pytest.approx([jumps.sd_um**2] * 2, rel=0.01)


def test_what_lies_between_weighs_by_its_chance_of_having_jumped() -> None:
    # By Bayes with scipy's densities: precision (1 - w) / calm + w / (calm + jump^2). A jumped movement has the tails
    # that its calm part leaves it: the excess kurtosis 6 / (dof - 4) falls with the square of that part.
    moved, variance, years, _ = movements(seed=6, dof=12.0, a_year=0.05, jump_um=220.0)
    moved[0], variance[0], years[0] = 125.0, SD_UM**2, 1.0
    jumps, added = found_in(moved, variance, years, 12.0)
    wide = SD_UM**2 + jumps.sd_um**2
    dof = np.array([12.0, 4.0 + 8.0 * (wide / SD_UM**2) ** 2])
    chance = 1.0 - np.exp(-jumps.per_year)
    scale = np.sqrt(np.array([SD_UM**2, wide]) * (dof - 2.0) / dof)
    likely = np.array([1.0 - chance, chance]) * t.pdf(125.0, dof, scale=scale)
    weight = likely[1] / likely.sum()
    assert 0.2 < weight < 0.8
    theirs = 1.0 / ((1.0 - weight) / SD_UM**2 + weight / wide) - SD_UM**2
    assert added[0] == pytest.approx(theirs, rel=1e-6)


def test_jumps_no_larger_than_the_movements_around_them_are_left_alone() -> None:
    moved, variance, years, _ = movements(seed=7, a_year=0.3, jump_um=40.0)
    assert found_in(moved, variance, years, 1e9)[0] is NO_JUMPS


def test_an_interval_of_no_length_holds_no_jump_however_far_it_moved() -> None:
    moved, variance, years, _ = movements(seed=8, a_year=0.05, jump_um=250.0)
    moved[0], variance[0], years[0] = 300.0, 200.0, 0.0
    moved[1], variance[1], years[1] = 3.0, 200.0, 0.0
    jumps, added = found_in(moved, variance, years, 8.0)
    assert jumps.sd_um > 150.0
    assert np.all(np.isfinite(added))
    assert added[1] == pytest.approx(0.0, abs=1e-3)
    # With eight degrees of freedom 300 um beside 14 is rare, but no jump can have come in no time.
    assert added[0] < 0.01 * jumps.sd_um**2
    every, none = found_in(moved, variance, np.zeros(N), 8.0)
    assert every is NO_JUMPS
    assert not np.any(none)


def test_a_large_fleet_is_judged_by_a_part_and_every_interval_told() -> None:
    moved, variance, years, jumped = movements(seed=9, a_year=0.05, jump_um=260.0, n=30_000)
    jumps, added = found_in(moved, variance, years, 1e9)
    assert jumps.per_year == pytest.approx(0.05, rel=0.25)
    assert added.shape == (30_000,)
    caught = np.mean(added[jumped] > 0.5 * jumps.sd_um**2)
    # A normal jump of 260 um lies beyond 130 um, where it is clear, in 62 % of cases.
    assert caught == pytest.approx(0.62, abs=4.0 * np.sqrt(0.62 * 0.38 / np.sum(jumped)) + 0.06)


def test_hardly_any_plain_fleet_is_said_to_jump() -> None:
    # Both axes of seven fleets, where one axis in a hundred may be called jumping falsely.
    claimed = 0
    for seed in range(50, 57):
        series, visits, _ = simulated(lines=30, visits=6, seed=seed, line_part=0.5)
        claimed += sum(pool.jumps is not NO_JUMPS for pool in pool_rates(intervals(visits), series).axes)
    assert claimed <= binom.ppf(0.999, 14, 0.01)
