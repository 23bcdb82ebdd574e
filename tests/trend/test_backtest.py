"""The forecast held against what came in: by hand, against simulated truth, and never from the future."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import norm
from trend_fleet import alone, no_visits, one_series, pool_of, simulated

from fleet.trend import Pooled, Series, TrendError, Visits, intervals
from fleet.trend.backtest import Backtest, backtest
from fleet.trend.reliability import coverage, reliability
from fleet.trend.scoring import normal_quantiles_um, predict_simply, ranked_score_um
from fleet.values import FloatArray, IntArray

PER_VISIT = ("days_ahead", "years_ahead", "expected_um", "sd_um", "measured_um", "place", "score_um")


def days_of(visits: Visits) -> IntArray:
    return np.floor(visits.clock_years * 365.25).astype(np.int64)


def walk(series: Series, visits: Visits, day: IntArray) -> Backtest:
    """Backtest with fewer fits than in practice, for the sake of time."""
    return backtest(series, visits, day, growth=1.0)


def several(lines: int, clock: list[float], found: FloatArray) -> tuple[Series, Visits]:
    """Return lines of one station each that only measured, found of shape (lines, visits), u^2 of 100."""
    parts = [one_series(clock, list(row))[1] for row in found]
    joined = {name: np.concatenate([getattr(part, name) for part in parts]) for name in Visits.__slots__}
    joined["series"] = np.repeat(np.arange(lines), len(clock))
    return alone(lines), Visits(**joined)


@pytest.fixture(scope="module")
def plain() -> tuple[Series, Visits, Backtest]:
    series, visits, _ = simulated(lines=30, visits=6, seed=5)
    return series, visits, walk(series, visits, days_of(visits))


@pytest.fixture
def known_pool(monkeypatch: pytest.MonkeyPatch) -> None:
    """A pool of rates 5 +- 10 um and wander 10 um, whatever the record; a fleet of one line teaches none."""

    def learn(before: Visits, *_: object) -> Pooled:
        return pool_of(intervals(before), tau=10.0, sigma=10.0, mean=5.0)

    monkeypatch.setattr("fleet.trend.backtest._learn", learn)


@pytest.mark.usefixtures("known_pool")
def test_two_predictions_by_hand() -> None:
    # Every survey 0 +- 10 at as-left. First: two years on, rate 5 +- 10: 10, variance 100 + 100 + 100 * 4 + 100 * 2.
    # It moved 40, own rate 20 +- 10 (variance 200 + 200 over 4): rate 12.5, variance 50 (as in test_posterior).
    # Then: two more years, 25, variance 100 + 100 + 50 * 4 + 200.
    series, visits = one_series([0.0, 2.0, 4.0], [0.0, 40.0, -18.0], [0.0, 0.0, 0.0], setup=0.0)
    got = backtest(series, visits, np.array([0, 730, 1460]))
    assert got.expected_um == pytest.approx([10.0, 25.0])
    assert got.sd_um**2 == pytest.approx([800.0, 600.0])
    assert got.measured_um.tolist() == [40.0, -18.0]
    assert got.days_ahead.tolist() == [730.0, 730.0]
    # 30 / sqrt(800) = 1.06 and -43 / sqrt(600) = -1.76 standard deviations: places from a table of the normal law,
    # outside the 50 % range (0.674) both, the second outside the 80 % one (1.282) too,
    # inside the 95 % one (1.960) both.
    assert got.place == pytest.approx([0.856, 0.0396], abs=0.002)
    assert got.inside.tolist() == [[False, True, True], [False, False, True]]
    # A record of fewer than eight intervals leaves the simple rules without a spread.
    assert np.isnan(got.simple_score_um).all()


def test_a_first_as_found_has_nothing_to_be_predicted_from() -> None:
    series, visits = several(2, [0.0, 1.0, 2.0], np.array([[0.0, 5.0, 9.0], [1.0, 3.0, 2.0]]))
    got = backtest(series, visits, days_of(visits))
    assert got.visit.tolist() == [1, 2, 4, 5]
    assert got.from_visit.tolist() == [0, 1, 3, 4]
    nothing = backtest(alone(), no_visits(), np.zeros(0, dtype=np.int64))
    assert nothing.series.size == 0
    assert reliability(nothing).verdict == "few"


def test_what_comes_later_changes_no_earlier_prediction(plain: tuple[Series, Visits, Backtest]) -> None:
    series, visits, whole = plain
    day = days_of(visits)
    from_day = int(np.median(day))
    changed = dataclasses.replace(
        visits,
        found_um=np.where(day >= from_day, visits.found_um + 500.0, visits.found_um),
        left_um=np.where(day >= from_day, visits.left_um - 300.0, visits.left_um),
        left_var_um2=np.where(day >= from_day, 9.0, visits.left_var_um2),
    )
    other = walk(series, changed, day)
    # On the very day the prediction still stands; only what it is held against has changed.
    until = day[whole.visit] <= from_day
    assert 200 < np.sum(until) < whole.series.size - 200
    assert np.array_equal(whole.visit, other.visit)
    for name in ("expected_um", "sd_um", "quantiles_um"):
        assert np.array_equal(getattr(whole, name)[until], getattr(other, name)[until]), name
    assert np.mean(whole.expected_um[~until] == other.expected_um[~until]) < 0.1


def test_predictions_are_those_of_a_record_that_ends_the_day_before(plain: tuple[Series, Visits, Backtest]) -> None:
    series, visits, whole = plain
    day = days_of(visits)
    last = int(np.sort(np.unique(day[whole.visit]))[-40])
    short_rows = np.flatnonzero(day <= last)
    short = Visits(**{name: getattr(visits, name)[short_rows] for name in Visits.__slots__})
    got = walk(series, short, day[short_rows])
    early = day[whole.visit] <= last
    assert np.array_equal(short_rows[got.visit], whole.visit[early])
    for name in PER_VISIT:
        assert np.array_equal(getattr(got, name), getattr(whole, name)[early]), name


def test_another_line_visited_the_same_day_does_not_speak() -> None:
    found = np.array([[0.0, 10.0, 20.0], [0.0, 10.0, 20.0]])
    series, visits = several(2, [0.0, 1.0, 2.0], found)
    day = days_of(visits)
    found[1, 2] = 900.0
    got, other = backtest(series, visits, day), backtest(series, several(2, [0.0, 1.0, 2.0], found)[1], day)
    assert got.expected_um.tolist() == other.expected_um.tolist()
    # A day earlier it does.
    day[-1] -= 1
    assert backtest(series, several(2, [0.0, 1.0, 2.0], found)[1], day).sd_um[1] > 1.5 * got.sd_um[1]


def test_two_visits_on_one_day_leave_the_second_unpredicted() -> None:
    series, visits = one_series([0.0, 1.0, 1.001, 2.0], [0.0, 5.0, 6.0, 9.0])
    got = backtest(series, visits, np.array([0, 365, 365, 730]))
    assert got.visit.tolist() == [1, 3]
    assert got.days_ahead.tolist() == [365.0, 365.0]


def test_days_that_run_backwards_are_refused() -> None:
    series, visits = one_series([0.0, 1.0], [0.0, 5.0])
    with pytest.raises(TrendError) as refused:
        backtest(series, visits, np.array([365, 0]))
    assert str(refused.value) == "visit 1 has an earlier day than the one above it; sort by day"


@pytest.mark.usefixtures("known_pool")
def test_the_years_foreseen_the_day_before_are_what_is_looked_ahead() -> None:
    series, visits = one_series([0.0, 1.0], [0.0, 5.0], [0.0, 0.0])
    day = np.array([0, 365])
    got = backtest(series, visits, day, years_ahead=np.array([np.nan, 2.0]))
    assert got.years_ahead.tolist() == [2.0]
    # As by hand above: 200 + 100 * 4 + 100 * 2 over two years, and 200 + 100 + 100 over one.
    assert got.sd_um[0] ** 2 == pytest.approx(800.0)
    assert backtest(series, visits, day).sd_um[0] ** 2 == pytest.approx(400.0)
    assert backtest(series, visits, day, years_ahead=np.full(2, np.nan)).years_ahead.tolist() == [1.0]


def test_after_a_reset_the_pool_alone_speaks() -> None:
    # Nine lines that drift 0 on average, each its own way; the tenth went 100 a year until it was reset.
    clock = [0.0, 1.0, 2.0, 3.0, 4.0]
    rng = np.random.default_rng(3)
    rates = np.append(np.linspace(-100.0, 100.0, 9), 100.0)
    found = rates[:, None] * np.array(clock) + rng.normal(0.0, 10.0, (10, 5))
    series, visits = several(10, clock, found)
    reset = visits.regime_found.copy()
    reset[-1] = 1
    after = dataclasses.replace(visits, regime_found=reset, regime_left=reset)
    day = days_of(visits)
    plain_way, by_event = backtest(series, visits, day), backtest(series, after, day)
    left = visits.left_um[-2]
    assert plain_way.expected_um[-1] - left > 50.0
    assert by_event.expected_um[-1] - left < 30.0
    # An event nobody knew of the day before is not foreseen.
    unknown = backtest(series, after, day, regime_before=np.zeros(day.size, dtype=np.int64))
    assert unknown.expected_um[-1] == plain_way.expected_um[-1]


def test_a_pool_learnt_on_a_growing_record_is_that_of_every_day_for_practical_ends() -> None:
    series, visits, _ = simulated(lines=6, visits=6, seed=9, stations=2)
    day = days_of(visits)
    often, seldom = backtest(series, visits, day, growth=0.0), backtest(series, visits, day)
    late = often.from_visit % 6 >= 2
    assert np.max(np.abs(often.expected_um - seldom.expected_um)[late] / often.sd_um[late]) < 0.5
    assert np.median(np.abs(seldom.sd_um / often.sd_um - 1.0)[late]) < 0.05


def test_ranges_over_a_simulated_fleet_hold_what_they_say(plain: tuple[Series, Visits, Backtest]) -> None:
    """Simulated truth: 30 lines of 4 stations and 2 axes, 5 predicted visits each, within binomial bounds."""
    _, _, got = plain
    assert got.inside.shape == (30 * 8 * 5, 3)
    summed = reliability(got)
    assert [range_.share for range_ in summed.coverages] == [0.50, 0.80, 0.95]
    assert [range_.verdict for range_ in summed.coverages] == ["holds", "holds", "holds"]
    for range_ in summed.coverages:
        sd = np.sqrt(range_.share * (1.0 - range_.share) / 150.0)
        assert abs(range_.inside / range_.n - range_.share) < 2.0 * sd
    places = np.histogram(got.place, bins=4, range=(0.0, 1.0))[0] / got.place.size
    assert np.all(np.abs(places - 0.25) < 0.07)


def test_a_fleet_measured_worse_than_it_says_is_told_as_too_narrow() -> None:
    """Surveys from the fifth visit on are off by 60 um, one standard deviation, beyond their stated 15 um."""
    series, visits, _ = simulated(lines=30, visits=6, seed=5)
    late = np.arange(visits.series.size) % 6 >= 4
    worse = visits.found_um + np.where(late, np.random.default_rng(0).normal(0.0, 60.0, late.size), 0.0)
    got = reliability(walk(series, dataclasses.replace(visits, found_um=worse), days_of(visits)))
    assert got.verdict == "too_narrow"
    assert got.coverages[2].inside < got.coverages[2].fewest


def test_ranges_wider_than_need_be_are_told_as_too_wide() -> None:
    cluster = np.arange(600) // 2
    assert coverage(np.ones(600, dtype=np.bool_), cluster, share=0.95).verdict == "too_wide"
    assert coverage(np.arange(600) % 20 > 0, cluster, share=0.95).verdict == "holds"
    assert coverage(np.arange(600) % 10 > 0, cluster, share=0.95).verdict == "too_narrow"


def test_a_count_of_independent_values_has_the_binomial_range() -> None:
    """Exact binomial quantiles of 100 trials at 0.95: 90 and 99 (2.5 and 97.5 %, scipy's binom.ppf)."""
    from scipy.stats import binom

    got = coverage(np.ones(100, dtype=np.bool_), np.arange(100), share=0.95)
    assert (got.fewest, got.most) == (binom.ppf(0.025, 100, 0.95), binom.ppf(0.975, 100, 0.95)) == (90, 99)
    assert got.worth == 100.0


def test_values_of_one_visit_that_miss_together_are_worth_one() -> None:
    # 400 visits of 8 values that are all in or all out: rho is 1 but for the pull towards 0.3 of five visits' worth.
    out = np.repeat(np.arange(400) % 20 == 0, 8)
    got = coverage(~out, np.repeat(np.arange(400), 8), share=0.95)
    rho = (400 * 1.0 + 5 * 0.3) / 405
    assert got.worth == pytest.approx(3200 / (1 + 7 * rho))
    # The share's uncertainty is that of 400 visits, sqrt(0.95 * 0.05 / 399), as the sampling variance of clusters.
    assert got.u_share == pytest.approx(np.sqrt(0.95 * 0.05 / 399))


def test_a_handful_of_values_gets_no_verdict() -> None:
    got = coverage(np.zeros(16, dtype=np.bool_), np.repeat([0, 1], 8), share=0.95)
    assert got.verdict == "few"
    assert got.worth < 16
    # Twenty-four values of three visits are worth fewer than twenty.
    assert coverage(np.zeros(24, dtype=np.bool_), np.repeat([0, 1, 2], 8), share=0.95).verdict == "few"


def test_a_prediction_without_spread_scores_its_distance() -> None:
    quantiles = np.zeros((2, 9))
    assert ranked_score_um(quantiles, np.array([7.0, -3.0])) == pytest.approx([7.0, 3.0])


def test_the_score_is_near_the_ranked_probability_score_of_a_normal() -> None:
    """Gneiting and Raftery (2007), equation 21: for N(0, 1) at y, y (2 Phi(y) - 1) + 2 phi(y) - 1 / sqrt(pi)."""
    y = np.array([0.0, 0.7, -1.5, 2.5])
    exact = y * (2 * norm.cdf(y) - 1) + 2 * norm.pdf(y) - 1 / np.sqrt(np.pi)
    got = ranked_score_um(normal_quantiles_um(np.zeros(4), np.ones(4)), y)
    # Nine levels leave out the tails beyond 2.5 %, which count most for the farthest value.
    assert got == pytest.approx(exact, abs=0.04)


def test_the_true_spread_scores_better_than_a_narrower_and_a_wider_one() -> None:
    y = np.random.default_rng(1).normal(0.0, 20.0, 4000)
    nothing = np.zeros(y.size)
    narrow, true, wide = (
        float(np.mean(ranked_score_um(normal_quantiles_um(nothing, nothing + sd), y))) for sd in (10.0, 20.0, 40.0)
    )
    assert true < min(narrow, wide)


def test_simple_rules_by_hand() -> None:
    # Ten lines found 10 higher or lower after a year: the variance of "as it was left" over a year is 100.
    found = np.zeros((11, 3))
    found[:10, 1] = [10.0, -10.0] * 5
    found[10] = [0.0, 40.0, 70.0]
    _, visits = several(11, [0.0, 1.0, 2.0], found)
    pairs = intervals(visits)
    before = np.flatnonzero((pairs.to_visit % 3 == 1) & (pairs.series < 10))
    asked = np.flatnonzero(pairs.series == 10)
    moved, sd = predict_simply(pairs, np.zeros(pairs.series.size, dtype=np.int64), before, asked, pairs.years)
    assert moved[:, 0].tolist() == [0.0, 0.0]
    assert sd[:, 0] == pytest.approx([10.0, 10.0], rel=1e-3)
    # No earlier interval of any series has one before it, so that the other rule has no spread to go by.
    assert np.isnan(moved[:, 1]).all()
    both = np.flatnonzero(pairs.series < 10)
    moved, sd = predict_simply(pairs, np.zeros(pairs.series.size, dtype=np.int64), both, asked, pairs.years)
    # Last went 40 in a year. The ten went back by 10 where their rate said 10 on: misses of 20, all of equal length.
    assert moved[1, 1] == pytest.approx(40.0)
    assert sd[1, 1] == pytest.approx(20.0, rel=1e-3)


def test_a_simulated_fleet_is_foreseen_better_than_by_simple_rules(plain: tuple[Series, Visits, Backtest]) -> None:
    got = reliability(plain[2])
    for rule in got.rules:
        assert rule.n > 400
        assert rule.score_um - rule.forecast_um > 2.0 * rule.u_gain_um > 0.0


def test_stretches_are_told_by_days_ahead(plain: tuple[Series, Visits, Backtest]) -> None:
    tested = plain[2]
    got = reliability(tested)
    assert [stretch.to_days for stretch in got.stretches] == [180.0, 365.25, 730.5, np.inf]
    assert sum(stretch.n for stretch in got.stretches) == got.n == tested.series.size
    # Intervals of the simulation last between half a year and a year and a half.
    assert (got.stretches[0].n, got.stretches[3].n) == (0, 0)
    # The further ahead, the wider.
    assert got.stretches[2].coverages[2].mean_width_um > got.stretches[1].coverages[2].mean_width_um
    assert got.stretches[1].coverages[0].mean_width_um < got.stretches[1].coverages[1].mean_width_um


def test_a_line_can_be_judged_alone(plain: tuple[Series, Visits, Backtest]) -> None:
    series, _, tested = plain
    rows = np.flatnonzero(series.line[tested.series] == 4)
    got = reliability(tested, rows)
    assert (got.n, got.visits) == (40, 5)
    assert got.coverages[2].inside == int(np.sum(tested.inside[rows, 2]))
