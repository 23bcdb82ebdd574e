"""What the fleet knows: recovered from simulated truth, and set beside statsmodels."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from trend_fleet import alone, first_visits, no_visits, one_series, plain_intervals, pool_of, simulated

from fleet.trend import Prior, intervals, pool_rates, posteriors
from fleet.trend.gls import segments, sums


def test_mean_spread_and_wander_of_a_simulated_fleet_are_recovered() -> None:
    # Standard errors at this size: sigma about 1 %, tau 3 %, the mean's coefficients 2 um per year.
    series, visits, _ = simulated(lines=250, visits=8, seed=2)
    pooled = pool_rates(intervals(visits), series)
    for pool in pooled.axes:
        assert pool.sigma_um == pytest.approx(20.0, rel=0.06)
        assert pool.tau_um == pytest.approx(15.0, rel=0.12)
        assert pool.coefficients == pytest.approx([5.0, 20.0], abs=6.0)
        assert pool.coefficients @ [1.0, 0.625] == pytest.approx(17.5, abs=2.0)
        assert pool.foundations == ()


def test_the_spread_agrees_with_the_mixed_model_of_statsmodels() -> None:
    # statsmodels MixedLM, random slope only, REML; no wander there, so it is pinned at nought here.
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(3)
    units, each = 30, 6
    of = np.repeat(np.arange(units), each)
    years = rng.uniform(0.5, 2.0, units * each)
    moved = (8.0 + 12.0 * rng.standard_normal(units))[of] * years + 10.0 * rng.standard_normal(units * each)
    theirs = MixedLM(moved, years[:, None], of, exog_re=years[:, None]).fit(reml=True)
    found = plain_intervals(years, moved, float(theirs.scale), of)
    no_wander = Prior(mean_sd_um=1e4, tau_um=12.0, tau_log_sd=100.0, sigma_um=2e-3, sigma_log_sd=1e-3, keep_spread=0.0)
    pooled = pool_rates(found, alone(units, share=0.0), prior=no_wander)
    pooled = dataclasses.replace(pooled, jump_var_um2=np.zeros(found.series.shape))
    assert pooled.axes[0].tau_um == pytest.approx(float(np.sqrt(theirs.cov_re[0, 0])), rel=0.01)
    assert pooled.axes[0].coefficients[0] == pytest.approx(float(theirs.fe_params[0]), abs=0.02)
    rates = posteriors(no_visits(), found, alone(units, share=0.0), pooled).rate_um
    random = np.array([float(theirs.random_effects[unit].iloc[0]) for unit in range(units)])
    assert rates == pytest.approx(float(theirs.fe_params[0]) + random, abs=0.1)


def test_the_likelihood_of_one_series_is_that_of_a_random_walk_with_drift_in_statsmodels() -> None:
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    rng = np.random.default_rng(4)
    walk = np.cumsum(3.0 + 7.0 * rng.standard_normal(30))
    sigma, rate = 6.0, 2.5
    model = UnobservedComponents(walk[1:], "rwdrift")
    model.ssm.initialize_known(np.array([walk[0] + rate, rate]), np.diag([sigma**2, 0.0]))
    model.ssm.loglikelihood_burn = 0
    theirs = float(model.loglike([sigma**2]))
    found = plain_intervals(np.ones(29), np.diff(walk), 1e-9)
    got = sums(segments(found, np.ones(29, dtype=np.bool_), np.zeros(29)), sigma**2)
    ours = -0.5 * (got.log_det[0] + got.c[0] - 2 * rate * got.b[0] + rate**2 * got.a[0] + 29 * np.log(2 * np.pi))
    assert ours == pytest.approx(theirs, rel=1e-8)


def test_rate_and_position_of_one_series_are_those_of_statsmodels_local_level_with_drift() -> None:
    # UnobservedComponents 'lldtrend': measuring error, wander and a fixed drift from an unknown start.
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    rng = np.random.default_rng(5)
    truth = np.cumsum(4.0 + 9.0 * rng.standard_normal(12))
    measured = truth + 10.0 * rng.standard_normal(12)
    model = UnobservedComponents(measured, "lldtrend")
    model.ssm.initialize_approximate_diffuse(1e9)
    theirs = model.filter([100.0, 81.0])
    series, visits = one_series([float(k) for k in range(12)], list(measured), var=100.0)
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=1e5, sigma=9.0))
    state, covariance = theirs.filtered_state[:, -1], theirs.filtered_state_cov[:, :, -1]
    assert [got.position_um[0], got.rate_um[0]] == pytest.approx(list(state), abs=1e-3)
    ours = [got.position_var_um2[0], got.cov_um2[0], got.rate_var_um2[0]]
    assert ours == pytest.approx([covariance[0, 0], covariance[0, 1], covariance[1, 1]], rel=1e-4)


def test_a_few_jumps_wreck_neither_spread_nor_wander() -> None:
    plain_series, plain, _ = simulated(lines=120, visits=8, seed=6)
    series, visits, truth = simulated(lines=120, visits=8, seed=6, jump_share=0.03, jump_um=250.0)
    pooled = pool_rates(intervals(visits), series)
    for pool in pooled.axes:
        assert pool.sigma_um == pytest.approx(20.0, rel=0.15)
        assert pool.tau_um == pytest.approx(15.0, rel=0.2)
    assert all(pool.jumps.sd_um == pytest.approx(250.0, rel=0.25) for pool in pooled.axes)
    assert all(pool.jumps.per_year == pytest.approx(0.03, abs=0.02) for pool in pooled.axes)
    jumped = float(np.mean(pooled.jump_var_um2 > 125.0**2))
    assert jumped == pytest.approx(0.03, abs=0.01)
    found = intervals(visits)
    got = posteriors(visits, found, series, pooled)
    still = posteriors(plain, intervals(plain), plain_series, pool_rates(intervals(plain), plain_series))
    worse = np.sqrt(np.mean((got.rate_um - truth.rate_um) ** 2) / np.mean((still.rate_um - truth.rate_um) ** 2))
    assert worse < 1.15


def test_foundations_that_differ_are_told_apart_and_equal_ones_are_not() -> None:
    series, visits, _ = simulated(lines=120, visits=6, seed=7)
    foundation = series.line % 2
    same = pool_rates(intervals(visits), dataclasses.replace(series, foundation=foundation))
    assert [pool.foundations for pool in same.axes] == [(), ()]
    found = intervals(visits)
    faster = np.where(foundation[found.series] == 1, 30.0 * series.share[found.series] * found.years, 0.0)
    other = dataclasses.replace(found, moved_um=found.moved_um + faster)
    pooled = pool_rates(other, dataclasses.replace(series, foundation=foundation))
    for pool in pooled.axes:
        assert pool.foundations == (1,)
        assert pool.foundation_by_share
        assert pool.coefficients[2] == pytest.approx(30.0, abs=6.0)


def test_spread_and_wander_that_grow_along_the_barrel_are_noticed() -> None:
    series, visits, truth = simulated(lines=150, visits=8, seed=8, u=5.0)
    found = intervals(visits)
    # Departures from the mean, shrunk in proportion to the distance from the gearbox.
    mean = (5.0 + 20.0 * series.share)[found.series] * found.years
    grown = dataclasses.replace(found, moved_um=mean + (found.moved_um - mean) * series.share[found.series])
    for pool in pool_rates(grown, series).axes:
        assert pool.tau_growth >= 0.75
        assert pool.sigma_growth >= 0.75
    for pool in pool_rates(found, series).axes:
        assert (pool.tau_growth, pool.sigma_growth) == (0.0, 0.0)
    assert truth.rate_um.size == series.axis.size


@pytest.mark.parametrize("n", [0, 1, 2])
def test_hardly_any_interval_leaves_sane_figures(n: int) -> None:
    found = plain_intervals(np.full(n, 1.0), np.full(n, 12.0), 100.0, np.arange(n))
    pooled = pool_rates(found, alone(max(n, 1)))
    pool = pooled.axes[0]
    assert 3.0 < pool.tau_um < 100.0
    assert 3.0 < pool.sigma_um < 100.0
    assert np.all(np.isfinite(pool.coefficients))
    assert np.all(np.linalg.eigvalsh(pool.covariance) > 0)
    assert pooled.axes[1].n_intervals == 0


def test_a_record_that_never_moves_gives_finite_figures() -> None:
    series, visits, _ = simulated(lines=10, visits=5, seed=9)
    found = intervals(visits)
    still = dataclasses.replace(found, moved_um=np.zeros(found.series.shape))
    pooled = pool_rates(still, series)
    got = posteriors(visits, still, series, pooled)
    assert np.all(np.isfinite(got.rate_um))
    assert np.max(np.abs(got.rate_um)) < 2.0
    assert pooled.axes[0].sigma_um < 15.0


def test_intervals_of_no_length_speak_for_measuring_only() -> None:
    found = plain_intervals(np.zeros(6), np.array([5.0, -3.0, 0.0, 2.0, 8.0, -1.0]), 25.0, np.arange(6))
    pooled = pool_rates(found, alone(6))
    got = posteriors(no_visits(), found, alone(6), pooled)
    assert got.borrowed == pytest.approx(np.ones(6))
    assert np.all(np.isfinite(got.rate_um))


def test_intervals_across_an_event_do_not_count() -> None:
    series, visits, _ = simulated(lines=40, visits=5, seed=10)
    found = intervals(visits)
    across = np.arange(found.series.size) % 4 == 3
    wild = dataclasses.replace(found, moved_um=np.where(across, 5000.0, found.moved_um), across_event=across)
    tame = dataclasses.replace(found, across_event=across)
    assert pool_rates(wild, series).axes[0].sigma_um == pool_rates(tame, series).axes[0].sigma_um


def test_the_stations_of_a_line_that_turn_together_help_each_other() -> None:
    series, visits, truth = simulated(lines=200, visits=4, seed=14, line_part=0.9, tau=20.0)
    record = first_visits(visits, 4, 3)
    found = intervals(record)
    pooled = pool_rates(found, series)
    apart = tuple(dataclasses.replace(pool, rate_rho=0.0, error_rho=0.0) for pool in pooled.axes)
    together = posteriors(record, found, series, pooled)
    alone_each = posteriors(record, found, series, dataclasses.replace(pooled, axes=apart))
    assert all(pool.rate_rho > 0.65 for pool in pooled.axes)
    error = np.std(together.rate_um - truth.rate_um) / np.std(alone_each.rate_um - truth.rate_um)
    assert error < 0.9
    z = (together.rate_um - truth.rate_um) / np.sqrt(together.rate_var_um2)
    assert np.std(z) == pytest.approx(1.0, abs=0.07)


def test_nothing_is_shared_where_stations_drift_each_on_its_own() -> None:
    series, visits, _ = simulated(lines=200, visits=6, seed=15)
    pooled = pool_rates(intervals(visits), series)
    assert all(pool.rate_rho < 0.15 for pool in pooled.axes)


def test_three_lines_that_moved_alike_are_no_proof_that_all_lines_do() -> None:
    # Each interval is known to 10 um only, so a spread of 10 um a year would hardly show in three of them.
    found = plain_intervals(np.ones(3), np.full(3, 10.0), 100.0, np.arange(3))
    assert pool_rates(found, alone(3)).axes[0].tau_um > 10.0
