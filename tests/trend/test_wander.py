"""Every line's own wander: told apart where it differs, alike where it does not, and honest about what it knows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from trend_fleet import alone, one_series, plain_intervals

from fleet.trend import Intervals, Series, intervals, pool_rates
from fleet.trend.gls import segments
from fleet.trend.wander import OwnWander, _log_likelihood, own_wander
from fleet.values import FloatArray, IntArray

POOL_UM = 30.0
TAU_UM = 20.0


def walks(sigma_um: FloatArray, *, visits: int, seed: int, u_um: float = 8.0) -> Intervals:
    """Simulate intervals of every series with its own wander: yearly more or less, rates drawn, nothing shared."""
    rng = np.random.default_rng(seed)
    n = sigma_um.size
    of = np.repeat(np.arange(n), visits)
    years = rng.uniform(0.5, 1.5, of.size)
    moved = (TAU_UM * rng.standard_normal(n))[of] * years
    moved += sigma_um[of] * np.sqrt(years) * rng.standard_normal(of.size)
    moved += np.sqrt(2.0) * u_um * rng.standard_normal(of.size)
    return plain_intervals(years, moved, 2.0 * u_um**2, of)


def estimated(found: Intervals, line: IntArray, *, error_rho: float = 0.0) -> OwnWander:
    """Estimate with the true rate's spread and a pool of 30 um."""
    laid = segments(found, np.ones(found.series.size, dtype=np.bool_), np.zeros(found.series.size))
    n = laid.series.size
    return own_wander(laid, line[laid.series], np.zeros(n), np.full(n, TAU_UM), np.full(n, POOL_UM), error_rho, line)


def test_lines_that_wander_fifteen_and_sixty_um_are_told_apart() -> None:
    sigma = np.tile([15.0, 60.0], 60)
    got = estimated(walks(sigma, visits=12, seed=1), np.arange(120))
    own = POOL_UM * np.sqrt(got.factor)
    assert np.all(own[sigma == 15.0] < 30.0)
    assert np.all(own[sigma == 60.0] > 30.0)
    # Twelve intervals tell a standard deviation to a fifth; the pool draws a little towards the middle.
    assert np.median(own[sigma == 15.0]) == pytest.approx(15.0, rel=0.25)
    assert np.median(own[sigma == 60.0]) == pytest.approx(60.0, rel=0.15)


@pytest.mark.parametrize(("stations", "seed"), [(1, 2), (1, 31), (4, 32), (4, 33)])
def test_the_stated_uncertainty_of_a_variance_is_what_it_misses_by(stations: int, seed: int) -> None:
    # Lines' variances log-normal about the pool's: the log of one of relative variance r has variance log(1 + r) and a
    # mean of half that below the log of the expected one. The deviation of the standardised errors is known to 3 % or
    # 5 %; below 1 the estimate is more modest than it need be.
    line = np.repeat(np.arange(800 // stations), stations)
    log_variance = 0.8 * np.random.default_rng(seed).standard_normal(800)[line]
    got = estimated(walks(POOL_UM * np.exp(log_variance / 2.0), visits=6, seed=seed), line)
    spread = np.log1p(got.relative_var)
    z = (log_variance - (np.log(got.factor) - spread / 2.0)) / np.sqrt(spread)
    effective = 800 / stations
    assert np.mean(z) == pytest.approx(0.0, abs=4.0 / np.sqrt(effective))
    assert 0.8 < np.std(z) < 1.0 + 3.0 / np.sqrt(2.0 * effective)
    assert 1.0 - np.mean(np.abs(z) < 1.96) < 0.05 + 3.5 * np.sqrt(0.95 * 0.05 / effective)
    # It is worth having: little more than half of the squared error of taking all for alike, less with four stations.
    error = np.mean((log_variance - np.log(got.factor)) ** 2) / np.mean(log_variance**2)
    assert error < (0.65 if stations == 1 else 0.35)


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_lines_that_wander_alike_are_all_the_pool_s(seed: int) -> None:
    got = estimated(walks(np.full(200, POOL_UM), visits=8, seed=seed), np.arange(200))
    assert np.mean(np.abs(got.factor - 1.0) < 0.25) > 0.95
    assert np.mean(got.factor) == pytest.approx(1.0, abs=0.08)
    # Eight intervals of its own would leave a variance 2 / 8 of its square uncertain.
    assert np.max(got.relative_var) < 0.25 / 2.0


def test_a_pool_taken_too_wide_is_put_right() -> None:
    got = estimated(walks(np.full(300, 24.0), visits=8, seed=7), np.arange(300))
    assert np.mean(POOL_UM**2 * got.factor) == pytest.approx(24.0**2, rel=0.08)


def test_a_station_that_wanders_more_than_its_line_s_others_is_seen() -> None:
    line = np.repeat(np.arange(60), 4)
    sigma = np.tile([15.0, 15.0, 15.0, 70.0], 60)
    got = estimated(walks(sigma, visits=12, seed=8), line)
    own = POOL_UM * np.sqrt(got.factor)
    assert np.all(own[sigma == 70.0] > 40.0)
    assert np.median(own[sigma == 15.0]) == pytest.approx(15.0, rel=0.25)


def test_stations_of_a_wild_line_that_say_little_borrow_from_each_other() -> None:
    # Two intervals a station, eight stations a line: a station alone is hardly known, its line is.
    line = np.repeat(np.arange(80), 8)
    sigma = np.where(line % 2 == 0, 15.0, 60.0)
    found = walks(sigma, visits=2, seed=9)
    together, apart = estimated(found, line), estimated(found, np.arange(line.size))
    truth = np.log(sigma**2 / POOL_UM**2)
    error = [np.mean((np.log(got.factor) - truth) ** 2) for got in (together, apart)]
    assert error[0] < 0.25 * error[1]
    assert np.median(together.relative_var) < 0.5 * np.median(apart.relative_var)


def test_stations_that_move_as_one_say_it_once() -> None:
    # Four stations with the very same movements are worth one: 4 / (1 + 3 * 1) = 1.
    one = walks(np.array([15.0, 60.0] * 20), visits=6, seed=10)
    of = np.repeat(np.arange(160), 6)
    rows = (of // 4) * 6 + np.tile(np.arange(6), 160)
    four = plain_intervals(one.years[rows], one.moved_um[rows], 2.0 * 8.0**2, of)
    alike = estimated(four, np.repeat(np.arange(40), 4), error_rho=1.0)
    doubtful = estimated(four, np.repeat(np.arange(40), 4), error_rho=0.0)
    single = estimated(one, np.arange(40))
    assert alike.relative_var.reshape(40, 4).mean() > 1.5 * doubtful.relative_var.reshape(40, 4).mean()
    assert np.all(np.ptp(alike.factor.reshape(40, 4), axis=1) < 1e-9)
    assert np.corrcoef(np.log(alike.factor[::4]), np.log(single.factor))[0, 1] > 0.98


def test_a_line_without_record_takes_what_the_pool_expects() -> None:
    # Half of 100 lines wander 15, half 60: the expected variance of another is about the mean of the two squares
    # (1912), and very uncertain: for the two-point law var / mean^2 is (3600 - 225)^2 / 4 / 1912^2 = 0.78.
    sigma = np.tile([15.0, 60.0], 50)
    got = estimated(walks(sigma, visits=15, seed=11), np.arange(103))
    new = slice(100, 103)
    assert np.ptp(got.factor[new]) == 0.0
    assert POOL_UM**2 * got.factor[101] == pytest.approx((15.0**2 + 60.0**2) / 2.0, rel=0.4)
    assert got.relative_var[101] > 0.78
    assert np.all(got.relative_var[:100] < got.relative_var[101])


def test_without_any_segment_every_series_takes_what_was_believed_before() -> None:
    # Log variances that spread by 0.4 between lines and as much between stations (the belief before any record, from
    # memory) have relative variance exp(0.32) - 1 = 0.38; not knowing the spread either makes it several times that.
    found = plain_intervals(np.zeros(0), np.zeros(0), 1.0)
    got = estimated(found, np.array([0, 0, 1]))
    assert got.factor.shape == got.relative_var.shape == (3,)
    assert np.ptp(got.factor) == 0.0
    assert 1.0 < got.factor[0] < 2.0
    assert 2.0 * 0.38 < got.relative_var[0] < 20.0 * 0.38


def test_few_lines_do_not_claim_to_wander_alike() -> None:
    got = estimated(walks(np.full(3, POOL_UM), visits=3, seed=12), np.arange(4))
    assert np.all(got.relative_var > 0.1)
    assert got.relative_var[3] > np.max(got.relative_var[:3])


@pytest.mark.parametrize("log_factor", [-2.0, 0.0, 1.3])
def test_the_likelihood_of_a_wander_is_that_of_a_dense_normal_distribution(log_factor: float) -> None:
    # Movements with a shared survey between neighbours; rate ~ N(mean, tau^2) integrated out by hand.
    rng = np.random.default_rng(13)
    clock = np.cumsum(rng.uniform(0.4, 1.6, 8))
    _, visits = one_series(list(clock), list(40.0 * rng.standard_normal(8)), var=150.0)
    found = intervals(visits)
    laid = segments(found, np.ones(7, dtype=np.bool_), np.zeros(7))
    mean, tau, sigma = 12.0, 25.0, 30.0
    years = found.years
    covariance = np.diag(sigma**2 * np.exp(log_factor) * years + found.var_um2) + tau**2 * np.outer(years, years)
    covariance += np.diag(found.cov_next_um2[:-1], 1) + np.diag(found.cov_next_um2[:-1], -1)
    assert np.all(found.cov_next_um2[:-1] == -150.0)
    theirs = multivariate_normal.logpdf(found.moved_um, mean * years, covariance)
    ours = _log_likelihood(laid, np.array([mean]), np.array([tau]), np.array([sigma]), log_factor)
    assert ours[0] - 3.5 * np.log(2.0 * np.pi) == pytest.approx(theirs, rel=1e-10)


def test_a_fleet_s_pool_knows_its_lines_wanders() -> None:
    # The whole way: rates, spread and pool fitted as well.
    sigma = np.tile([15.0, 60.0], 50)
    series: Series = alone(100)
    pooled = pool_rates(walks(sigma, visits=12, seed=14), series)
    own = pooled.sigma(series)
    assert np.median(own[sigma == 15.0]) == pytest.approx(15.0, rel=0.3)
    assert np.median(own[sigma == 60.0]) == pytest.approx(60.0, rel=0.2)
    assert np.all(pooled.sigma_dof(series) > 4.0)
