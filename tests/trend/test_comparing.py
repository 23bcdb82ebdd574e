"""Who moves differently from the fleet: against scipy, statsmodels and published figures, then on simulated fleets."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests
from trend_fleet import alone, no_visits, plain_intervals, pool_of, simulated

from fleet.trend import Intervals, Pooled, Series, intervals, pool_rates, posteriors
from fleet.trend.comparing import (
    OwnRecord,
    compare_groups,
    departures,
    one_rate_first,
    own_record,
    spread_between,
    told_apart,
)
from fleet.trend.one_rate import without_needless_jumps
from fleet.values import FloatArray, IntArray

DATA = Path(__file__).parents[1] / "data"
# Invented rates of nine lines on three foundations, um per year, and their standard uncertainties.
RATE = np.array([-31.0, -12.0, -24.0, -40.0, 3.0, -8.0, 5.0, -52.0, -33.0])
U = np.array([9.0, 4.0, 15.0, 7.0, 5.0, 11.0, 6.0, 20.0, 8.0])
GROUP = np.array([0, 1, 0, 2, 1, 1, 1, 2, 2])


def all_of_one(n: int) -> IntArray:
    return np.zeros(n, dtype=np.int64)


def regimes(series: Series) -> IntArray:
    return np.zeros(series.axis.size, dtype=np.int64)


def test_two_groups_of_lines_measured_without_error_are_students_two_samples() -> None:
    # scipy.stats.ttest_ind with equal variances, an independent implementation of Student (1908).
    a, b = RATE[:5], RATE[5:]
    got = compare_groups(RATE, np.full(9, 1e-12), np.array([0] * 5 + [1] * 4), 2)
    known = stats.ttest_ind(a, b)
    low, high = known.confidence_interval(0.95)
    assert got.p == pytest.approx([known.pvalue, known.pvalue], rel=1e-6)
    half = stats.t.ppf(0.975, 7) * got.from_rest_u_um[0]
    assert (got.from_rest_um[0] - half, got.from_rest_um[0] + half) == pytest.approx((low, high), rel=1e-6)
    assert got.from_rest_um[1] == pytest.approx(-got.from_rest_um[0])
    assert got.dof == 7


def test_several_groups_of_lines_measured_without_error_are_an_analysis_of_variance() -> None:
    # scipy.stats.f_oneway.
    got = compare_groups(RATE, np.full(9, 1e-12), GROUP, 3)
    assert got.p_any == pytest.approx(stats.f_oneway(*(RATE[g == GROUP] for g in range(3))).pvalue, rel=1e-6)
    assert got.lines.tolist() == [2, 4, 3]


def test_a_mean_over_lines_has_the_spread_and_interval_of_a_random_effects_meta_analysis() -> None:
    # statsmodels.stats.meta_analysis: iterated (Paule-Mandel) spread, Hartung-Knapp-Sidik-Jonkman interval.
    known = combine_effects(RATE, U**2, method_re="iterated")
    got = compare_groups(RATE, U**2, all_of_one(9), 1)
    assert got.tau_um**2 == pytest.approx(known.tau2, rel=1e-6)
    assert got.mean_um[0] == pytest.approx(known.mean_effect_re, rel=1e-6)
    assert got.u_um[0] == pytest.approx(known.sd_eff_w_re_hksj, rel=1e-6)
    # statsmodels' own intervals are normal here; Student's factor for eight degrees of freedom is 2.306 (tables).
    assert stats.t.ppf(0.975, got.dof) == pytest.approx(2.306, abs=5e-4)
    assert np.isnan(got.from_rest_um[0])


def test_subjects_measured_alike_have_the_published_mean_slope_error_and_spread() -> None:
    # sleepstudy, REML with random slopes (Bates, Maechler, Bolker, Walker 2015, J. Statistical Software 67(1)): slope
    # 10.467, its error 1.546, spread of slopes 5.922, residual 25.592. The design is balanced, so slopes tell all.
    with (DATA / "sleepstudy.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (DATA / "sleepstudy_reml.csv").open(encoding="utf-8", newline="") as file:
        known = {row["quantity"]: row["published"] for row in csv.DictReader(file) if row["model"] == "correlated"}
    days = np.arange(10.0)
    slopes = []
    for subject in sorted({row["subject"] for row in rows}):
        times = [float(row["reaction_ms"]) for row in rows if row["subject"] == subject]
        slopes.append(np.polyfit(days, times, 1)[0])
    of_a_slope = float(known["residual_sd"]) ** 2 / float(np.sum((days - days.mean()) ** 2))
    got = compare_groups(np.array(slopes), np.full(18, of_a_slope), all_of_one(18), 1)
    assert got.mean_um[0] == pytest.approx(float(known["fixed_slope"]), abs=5e-4)
    assert got.u_um[0] == pytest.approx(float(known["fixed_slope_se"]), abs=5e-4)
    assert got.tau_um == pytest.approx(float(known["sd_slope"]), abs=5e-4)


def test_lines_that_differ_less_than_they_are_known_have_no_spread_of_their_own() -> None:
    # By hand: squares about the mean of (1, 2, 3) weigh 2 / 100, far below two degrees of freedom.
    assert spread_between(np.array([1.0, 2.0, 3.0]), np.full(3, 100.0), all_of_one(3), 1) == 0.0


def test_the_rest_is_the_mean_over_the_other_groups_lines() -> None:
    # By hand, all errors alike: groups at 10 (1 line), 20 (2 lines) and 50 (1 line); without the last, 50 / 3.
    rate, group = np.array([10.0, 20.0, 20.0, 50.0]), np.array([0, 1, 1, 2])
    got = compare_groups(rate, np.ones(4), group, 3)
    assert got.from_rest_um == pytest.approx([10.0 - 90.0 / 3.0, 20.0 - 60.0 / 2.0, 50.0 - 50.0 / 3.0])
    # Both lines of the middle group are alike, so there is no spread; the means' variances are 1, 1/2 and 1.
    assert got.from_rest_u_um[2] == pytest.approx(np.sqrt(1.0 + (1 / 9) * 1.0 + (4 / 9) * 0.5))


def test_as_many_groups_as_lines_have_means_and_nothing_to_judge_them_by() -> None:
    got = compare_groups(np.array([10.0, 30.0]), np.ones(2), np.array([0, 1]), 2)
    assert got.mean_um.tolist() == [10.0, 30.0]
    assert np.all(np.isinf(got.u_um))
    assert np.all(np.isnan(got.p))


def test_the_false_discovery_rate_is_that_of_the_paper_and_of_statsmodels() -> None:
    # Benjamini and Hochberg (1995), section 3.2: fifteen treatments, four told apart at 5 %, with Bonferroni three
    # (chances from memory); statsmodels multipletests agrees on these and on any others.
    p = np.array([
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590,
        1.0,
    ])  # fmt: skip
    assert np.flatnonzero(told_apart(p)).tolist() == [0, 1, 2, 3]
    rng = np.random.default_rng(5)
    for _ in range(50):
        some = rng.random(30) ** 3
        assert told_apart(some).tolist() == multipletests(some, 0.05, "fdr_bh")[0].tolist()


def test_what_cannot_be_judged_is_not_told_apart_and_counts_for_nothing() -> None:
    # 0.04 alone is below 5 %; beside another that is judged and is not, it would have to be below 2.5 %.
    assert told_apart(np.array([np.nan, 0.04, np.nan])).tolist() == [False, True, False]
    assert told_apart(np.array([0.9, 0.04])).tolist() == [False, False]
    assert told_apart(np.array([])).tolist() == []


def one_interval_each(moved: FloatArray) -> tuple[Intervals, Series]:
    n = moved.size
    return plain_intervals(np.ones(n), moved, 60.0, np.arange(n)), alone(n)


def pooled_with(found: Intervals, *, mean_var: float) -> Pooled:
    """Return a pool at -10 with a spread of 20 and a wander of 2, its mean uncertain by that much."""
    plain = pool_of(found, tau=20.0, sigma=2.0, mean=-10.0)
    axis = dataclasses.replace(plain.axes[0], covariance=np.array([[mean_var, 0.0], [0.0, 0.0]]))
    return dataclasses.replace(plain, axes=(axis, axis))


def test_a_departure_is_the_pooled_rate_beside_the_mean_with_its_error_worked_out_by_hand() -> None:
    # Own variance 60 + 4 = 64, spread 400: the own rate of -30 weighs 400 / 464; departure -20 of that. Its variance is
    # 400 * 64 / 464, and the mean's 25 come in with the square of that weight: what is kept of it falls out.
    found, series = one_interval_each(np.array([-30.0]))
    pooled = pooled_with(found, mean_var=25.0)
    own = own_record(found, series, pooled, regimes(series))
    post = posteriors(no_visits(), found, series, pooled)
    got = departures(own, series, pooled, post.rate_um)
    weight = 400.0 / 464.0
    assert own.rate_um[0] == pytest.approx(-30.0)
    assert own.var_um2[0] == pytest.approx(64.0)
    assert got.departure_um[0] == pytest.approx(-20.0 * weight)
    assert got.u_um[0] == pytest.approx(np.sqrt(400.0 * 64.0 / 464.0 + weight**2 * 25.0))
    # The own record alone: 20 beside an error of sqrt(64 + 25); normal, for the wander is known here.
    assert got.own_p[0] == pytest.approx(2.0 * stats.norm.sf(20.0 / np.sqrt(89.0)), rel=1e-4)


def test_a_line_without_an_interval_of_its_own_is_never_told_apart() -> None:
    found, series = one_interval_each(np.array([-90.0, -12.0]))
    lone = dataclasses.replace(found, series=np.array([0, 0]))
    pooled = pooled_with(lone, mean_var=25.0)
    own = own_record(lone, series, pooled, regimes(series))
    got = departures(own, series, pooled, np.array([-60.0, -10.0]))
    assert (np.isnan(own.rate_um[1]), got.own_p[1]) == (True, 1.0)


def test_the_fleets_mean_holds_its_foundations_in_the_shares_in_which_they_occur() -> None:
    # By hand: foundation 1 goes 30 lower than the others; one line of four stands on it: -10 - 30 / 4.
    found, series = one_interval_each(np.array([-10.0, -10.0, -10.0, -40.0]))
    series = dataclasses.replace(series, foundation=np.array([0, 0, 0, 1]))
    plain = pool_of(found, tau=20.0, sigma=2.0, mean=-10.0)
    axis = dataclasses.replace(
        plain.axes[0], coefficients=np.array([-10.0, 0.0, -30.0]), covariance=np.zeros((3, 3)), foundations=(1,)
    )
    pooled = dataclasses.replace(plain, axes=(axis, axis))
    own = own_record(found, series, pooled, regimes(series))
    got = departures(own, series, pooled, posteriors(no_visits(), found, series, pooled).rate_um)
    assert got.fleet_um == pytest.approx([-17.5] * 4)
    assert got.departure_um[3] == pytest.approx(-40.0 + 17.5, abs=0.01)


def test_a_line_that_goes_on_and_on_at_one_rate_is_no_row_of_jumps() -> None:
    # Synthetic truth: in a calm fleet (spread 5) one line goes 200 a year lower; its four movements are one rate.
    series, record, _ = simulated(
        lines=8, visits=5, seed=3, stations=1, tau=5.0, sigma=3.0, u=4.0, mean=(0.0, 0.0), measured_only=1.0
    )
    found = intervals(record)
    found = dataclasses.replace(
        found, moved_um=found.moved_um - np.where(series.line[found.series] == 3, 200.0, 0.0) * found.years
    )
    pooled = pool_rates(found, series)
    odd = int(np.flatnonzero((series.line == 3) & (series.axis == 0))[0])
    assert np.all(pooled.jump_var_um2[found.series == odd] > 0.0)
    own = own_record(found, series, one_rate_first(found, series, pooled), regimes(series))
    assert own.rate_um[odd] == pytest.approx(-200.0, abs=15.0)
    assert np.sqrt(own.var_um2[odd]) < 10.0


def test_a_jump_among_movements_at_another_rate_stays_one() -> None:
    # By hand: 0, 0, 500, 0 in four years is no one rate; two movements of 10 are, and a single one cannot be told.
    years = np.ones(4)
    var = np.array([0.0, 0.0, 9e4, 0.0])
    every = np.ones(4, dtype=np.bool_)
    jumped = plain_intervals(years, np.array([0.0, 0.0, 500.0, 0.0]), 10.0)
    assert without_needless_jumps(jumped, every, var, np.ones(1)).tolist() == var.tolist()
    steady = plain_intervals(np.ones(3), np.array([10.0, 10.0, 40.0]), 10.0, np.array([0, 0, 1]))
    kept = without_needless_jumps(steady, np.ones(3, dtype=np.bool_), np.array([90.0, 90.0, 900.0]), np.ones(2))
    assert kept.tolist() == [0.0, 0.0, 900.0]


def within_binomial(hits: int, of: int, chance: float) -> bool:
    """Whether so many hits come about with that chance: two-sided, one false alarm in a thousand."""
    return bool(stats.binom.ppf(0.0005, of, chance) <= hits <= stats.binom.ppf(0.9995, of, chance))


def simulated_groups(seed: int, *, tau: float, apart: float) -> tuple[OwnRecord, FloatArray, IntArray]:
    """Return twelve lines' own records on two foundations, the second moving `apart` faster, and their true rates."""
    series, record, truth = simulated(lines=12, visits=4, seed=seed, stations=1, tau=tau, mean=(0.0, 0.0))
    found = intervals(record)
    on_second = np.arange(12) % 3 == 0
    shift = np.where(on_second[series.line], apart, 0.0)
    found = dataclasses.replace(found, moved_um=found.moved_um + shift[found.series] * found.years)
    own = own_record(found, series, pool_of(found, tau=tau, sigma=20.0), regimes(series))
    v = np.flatnonzero(series.axis == 0)
    kept = OwnRecord(own.rate_um[v], own.var_um2[v])
    return kept, truth.rate_um[v] + shift[v], on_second.astype(np.int64)


@pytest.mark.parametrize("tau", [15.0, 60.0])
def test_the_interval_of_a_difference_between_groups_holds_the_truth_nineteen_times_in_twenty(tau: float) -> None:
    # Synthetic truth, fixed seeds, 400 fleets of twelve lines with four visits: the groups' means differ by 30.
    hits = 0
    for seed in range(400):
        own, _, group = simulated_groups(seed, tau=tau, apart=30.0)
        got = compare_groups(own.rate_um, own.var_um2, group, 2)
        hits += abs(got.from_rest_um[1] - 30.0) <= stats.t.ppf(0.975, got.dof) * got.from_rest_u_um[1]
    assert within_binomial(hits, 400, 0.95)


def test_groups_that_do_not_differ_are_called_different_in_one_fleet_of_twenty_at_most() -> None:
    # Synthetic truth: the same lines grouped in five ways on which nothing depends, judged together as the page does.
    alarms = 0
    ways = [np.arange(12) % 2, np.arange(12) % 3, np.arange(12) // 4, (np.arange(12) * 5 + 2) % 4, np.arange(12) // 6]
    for seed in range(300):
        own, _, _ = simulated_groups(seed, tau=20.0, apart=0.0)
        chances = [compare_groups(own.rate_um, own.var_um2, of, int(of.max()) + 1).p for of in ways]
        alarms += bool(np.any(told_apart(np.concatenate(chances))))
    assert alarms <= stats.binom.ppf(0.9995, 300, 0.05)


def fleets(tau: float, odd: float) -> list[tuple[bool, bool, int]]:
    """Fit 16 fleets whole; say of each whether the odd line was told apart, whether any other, and how many."""
    told = []
    for seed in range(16):
        series, record, _ = simulated(lines=12, visits=6, seed=100 + seed, stations=1, tau=tau, mean=(0.0, -20.0))
        found = intervals(record)
        shift = np.where(series.line == 3, odd, 0.0)
        found = dataclasses.replace(found, moved_um=found.moved_um + shift[found.series] * found.years)
        pooled = pool_rates(found, series)
        own = own_record(found, series, pooled, regimes(series))
        post = posteriors(record, found, series, pooled)
        v = np.flatnonzero(series.axis == 0)
        apart = told_apart(departures(own, series, pooled, post.rate_um).own_p[v])
        told.append((bool(apart[3]), bool(np.any(np.delete(apart, 3))), int(np.sum(apart))))
    return told


def test_a_fleet_whose_lines_all_drift_alike_has_hardly_ever_one_told_apart() -> None:
    # Synthetic truth, the whole way from visits through the pool: at most 5 % of fleets with any.
    assert sum(count > 0 for _, _, count in fleets(0.0, 0.0)) <= stats.binom.ppf(0.9995, 16, 0.05)


def test_a_line_that_drifts_far_from_the_others_is_told_apart_and_drags_none_along() -> None:
    # Synthetic truth: one line goes 150 um a year lower than eleven that spread by 5.
    got = fleets(5.0, -150.0)
    assert sum(odd for odd, _, _ in got) >= 15
    assert sum(others for _, others, _ in got) <= stats.binom.ppf(0.9995, 16, 0.05)
