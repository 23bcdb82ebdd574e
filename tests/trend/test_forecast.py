"""What is foreseen comes about as often as said."""

from __future__ import annotations

import numpy as np
import pytest
from trend_fleet import ahead_of, alone, first_visits, known_of, no_visits, one_series, pool_of, simulated

from fleet.trend import (
    QUANTILES,
    Ahead,
    Forecast,
    Posterior,
    chance_passed,
    forecast,
    intervals,
    outlook,
    pool_rates,
    posteriors,
)


def of_one(known: Posterior, ahead: Ahead, *, target: float = 0.0, limit: float = 100.0) -> Forecast:
    return forecast(known, ahead, target_um=np.array([target]), limit_um=np.array([limit]))


def test_position_deviation_and_expected_survey_by_hand() -> None:
    # Two years after the survey: 4 + 2 * 20 = 44; variance 100 + 4 * 100 + 2 * 400 = 1300; a survey then 1400.
    got = of_one(known_of(position=4.0), ahead_of(1, elapsed=2.0, dates=(0.0,)), target=-10.0)
    assert got.position_um[0] == pytest.approx(44.0)
    assert got.u_position_um[0] == pytest.approx(np.sqrt(1300.0))
    assert got.deviation_um[0] == pytest.approx(54.0)
    assert got.measured_deviation_um[0] == pytest.approx(14.0)
    assert got.expected_um[0, 0] == pytest.approx(44.0)
    assert got.expected_sd_um[0, 0] == pytest.approx(np.sqrt(1400.0))
    # 1.2816 and 1.9600: normal table.
    at = got.expected_quantiles_um[0, 0]
    assert at[QUANTILES.index(0.9)] == pytest.approx(44.0 + 1.2816 * np.sqrt(1400.0), abs=0.01)
    assert at[QUANTILES.index(0.025)] == pytest.approx(44.0 - 1.96 * np.sqrt(1400.0), abs=0.01)


def test_a_line_that_runs_half_the_time_uses_half_the_clock() -> None:
    half = of_one(known_of(), ahead_of(1, per_day=0.5 / 365.25, dates=(365.25,)))
    full = of_one(known_of(), ahead_of(1, dates=(182.625,)))
    assert half.expected_um[0, 0] == pytest.approx(10.0)
    assert half.expected_um[0, 0] == pytest.approx(full.expected_um[0, 0])
    assert half.chance_over[0, 4] == pytest.approx(full.chance_over[0, 3], abs=1e-9)


def test_a_wander_known_from_little_widens_the_tails() -> None:
    # Student's 97.5 % point for 5 degrees of freedom is 2.571 (any table), its variance 5 / 3; all is wander here.
    few = outlook(
        known_of(dof=5.0, rate_sd=0.0), years=np.array([[1e5]]), days=np.array([[1e5]]), measuring_var_um2=np.zeros(1)
    )
    assert few.calm_dof[0, 0] == pytest.approx(5.0, abs=0.01)
    top = few.quantiles()[0, 0, -1]
    assert (top - few.mean_um[0, 0]) / few.sd_um[0, 0] == pytest.approx(2.571 / np.sqrt(5.0 / 3.0), abs=0.001)
    sure, unsure = (of_one(known_of(rate=0.0, dof=dof), ahead_of(1)) for dof in (1e9, 5.0))
    assert unsure.chance_over[0, 3] > 1.5 * sure.chance_over[0, 3]


def test_chances_count_from_the_survey_and_rise_with_the_horizon() -> None:
    got = of_one(known_of(rate=30.0), ahead_of(1, elapsed=1.5, next_days=60.0, following_days=240.0))
    order = [got.chance_now[0], got.chance_over[0, 0], got.chance_before_next[0], got.chance_over[0, 1]]
    order += [got.chance_over[0, 2], got.chance_before_following[0], got.chance_over[0, 3], got.chance_over[0, 4]]
    assert order == sorted(order)
    assert len(set(order)) == len(order)
    same = chance_passed(
        position_um=np.zeros(1), position_var_um2=np.full(1, 100.0), rate_um=np.full(1, 30.0),
        rate_var_um2=np.full(1, 100.0), cov_um2=np.zeros(1), sigma_um=np.full(1, 20.0), limit_um=np.full(1, 100.0),
        years=np.full(1, 1.5 + 90 / 365.25), nodes=64,
    )  # fmt: skip
    assert got.chance_over[0, 1] == pytest.approx(same[0], abs=2e-4)


def test_with_no_second_outage_the_chance_is_that_of_a_year_ahead() -> None:
    got = of_one(known_of(), ahead_of(1))
    assert np.isnan(got.chance_before_next[0])
    assert got.chance_before_following[0] == got.chance_over[0, 3]


def test_dates_are_where_the_chance_reaches_their_level() -> None:
    for elapsed in (0.0, 0.4, 3.0):
        got = of_one(known_of(rate=45.0), ahead_of(1, elapsed=elapsed))
        for level, days in zip((0.1, 0.5, 0.9), got.over_on_days[0], strict=True):
            chance = chance_passed(
                position_um=np.zeros(1), position_var_um2=np.full(1, 100.0), rate_um=np.full(1, 45.0),
                rate_var_um2=np.full(1, 100.0), cov_um2=np.zeros(1), sigma_um=np.full(1, 20.0),
                limit_um=np.full(1, 100.0), years=np.full(1, days / 365.25), nodes=64,
            )  # fmt: skip
            assert chance[0] == pytest.approx(level, abs=5e-4)


def test_dates_before_as_of_follow_the_recorded_clock_and_later_ones_the_present_use() -> None:
    # Half a year of use took 1000 days; from now on the line runs all the time.
    slow = of_one(known_of(rate=200.0, rate_sd=1.0, sigma=1.0), ahead_of(1, elapsed=0.5, days=1000.0))
    # 0.5 years at 200 um/year meet the limit of 100 just about as-of: the early date lies before, the late one after.
    assert 800.0 < slow.over_on_days[0, 0] < 1000.0 < slow.over_on_days[0, 2] < 1100.0


def test_no_date_lies_beyond_the_horizon_and_a_line_that_stands_has_none_ahead() -> None:
    calm = of_one(known_of(rate=0.0, rate_sd=1.0, sigma=5.0), ahead_of(1))
    assert np.all(np.isnan(calm.over_on_days))
    standing = of_one(known_of(rate=60.0), ahead_of(1, per_day=0.0, elapsed=0.1))
    assert np.all(np.isnan(standing.over_on_days))
    assert standing.chance_over[0, 4] == pytest.approx(standing.chance_now[0], abs=1e-12)


def test_a_start_beyond_the_limit_passed_on_the_day_of_the_survey() -> None:
    got = of_one(known_of(position=250.0, dof=4.0), ahead_of(1, elapsed=1.0))
    assert got.over_on_days[0].tolist() == [0.0, 0.0, 0.0]
    assert got.chance_now[0] == pytest.approx(1.0)


def test_without_a_limit_the_rest_stands_and_with_one_of_nought_it_is_passed() -> None:
    none = of_one(known_of(), ahead_of(1), limit=float("nan"))
    assert np.all(np.isnan(none.chance_over))
    assert np.all(np.isnan(none.over_on_days))
    assert np.all(np.isfinite(none.expected_quantiles_um))
    assert of_one(known_of(), ahead_of(1), limit=0.0).chance_now[0] == 1.0


def test_one_visit_and_two_on_one_day_have_every_number() -> None:
    for clock, found in (([0.0], [5.0]), ([1.0, 1.0], [5.0, 9.0])):
        series, visits = one_series(clock, found)
        between = intervals(visits)
        got = forecast(
            posteriors(visits, between, series, pool_rates(between, series)),
            ahead_of(1, elapsed=0.5, next_days=20.0, following_days=50.0),
            target_um=np.zeros(1), limit_um=np.full(1, 100.0),
        )  # fmt: skip
        for name in Forecast.__slots__:
            if name != "over_on_days":
                assert np.all(np.isfinite(getattr(got, name))), name


def test_the_expected_survey_holds_in_a_plain_fleet() -> None:
    # 400 lines, 3200 series, fitted on all visits but the last: 80 % ranges hold 80 +- 4 %, 95 % ones 95 +- 2 %.
    series, visits, truth = simulated(lines=400, visits=6, seed=40)
    record = first_visits(visits, 6, 5)
    between = intervals(record)
    known = posteriors(record, between, series, pool_rates(between, series))
    years = truth.clock[:, -1] - truth.clock[:, -2]
    at = outlook(known, years=years[:, None], days=years[:, None] * 365.25).quantiles()[:, 0]
    seen = truth.found_um[:, -1]
    for low, high, share, bar in ((0.1, 0.9, 0.8, 0.04), (0.025, 0.975, 0.95, 0.02), (0.25, 0.75, 0.5, 0.04)):
        held = (seen >= at[:, QUANTILES.index(low)]) & (seen <= at[:, QUANTILES.index(high)])
        assert np.mean(held) == pytest.approx(share, abs=bar)


def test_chances_of_passing_come_true_as_often_as_said() -> None:
    # The true paths go on from the newest survey in steps of 0.01 year, chances in five classes.
    series, visits, truth = simulated(lines=250, visits=5, seed=41, sigma=30.0)
    between = intervals(visits)
    known = posteriors(visits, between, series, pool_rates(between, series))
    rng = np.random.default_rng(42)
    n, steps = series.axis.size, 200
    limit = rng.uniform(50.0, 220.0, n)
    got = forecast(known, ahead_of(n), target_um=np.zeros(n), limit_um=limit)
    x = truth.after_um[:, -1]
    passed = np.abs(x) > limit
    dt = 730.0 / 365.25 / steps
    for _ in range(steps):
        onward = x + truth.rate_um * dt + 30.0 * np.sqrt(dt) * rng.standard_normal(n)
        passed |= np.abs(onward) > limit
        for side in (1.0, -1.0):
            room = np.maximum(limit - side * x, 0) * np.maximum(limit - side * onward, 0)
            passed |= rng.random(n) < np.exp(-2.0 * room / (30.0**2 * dt))
        x = onward
    chance = got.chance_over[:, 4]
    for low, high in ((0.0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.0)):
        chosen = (chance >= low) & (chance <= high)
        assert np.sum(chosen) > 40
        expected = float(np.mean(chance[chosen]))
        bound = 3.5 * np.sqrt(expected * (1 - expected) / np.sum(chosen)) + 0.02
        assert np.mean(passed[chosen]) == pytest.approx(expected, abs=bound)


def test_rows_do_not_depend_on_which_others_are_asked_for() -> None:
    series, visits, _ = simulated(lines=30, visits=4, seed=43)
    between = intervals(visits)
    known = posteriors(visits, between, series, pool_rates(between, series))
    n = series.axis.size
    whole = forecast(known, ahead_of(n, elapsed=0.7), target_um=np.zeros(n), limit_um=np.full(n, 80.0))
    few = Posterior(*(getattr(known, name)[:5] for name in Posterior.__slots__))
    part = forecast(few, ahead_of(5, elapsed=0.7), target_um=np.zeros(5), limit_um=np.full(5, 80.0))
    assert part.chance_over == pytest.approx(whole.chance_over[:5], abs=1e-12)
    assert part.over_on_days == pytest.approx(whole.over_on_days[:5], abs=1e-6, nan_ok=True)


def test_an_empty_fleet_is_an_empty_forecast() -> None:
    between = intervals(no_visits())
    known = posteriors(no_visits(), between, alone(0), pool_of(between, tau=1.0, sigma=1.0))
    got = forecast(known, ahead_of(0), target_um=np.zeros(0), limit_um=np.zeros(0))
    assert got.chance_over.shape == (0, 5)
    assert got.expected_quantiles_um.shape == (0, 1, 9)
