"""A change of rate that nobody recorded: the published break in the Nile, and simulated fleets with known truth."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest
from trend_fleet import alone, one_series, pool_of, simulated

from fleet.trend import AxisPool, Intervals, Pooled, Series, Visits, intervals, pool_rates
from fleet.trend.cuts import fit_cuts
from fleet.trend.gls import segments
from fleet.trend.regimes import Change, rate_changes
from fleet.values import FloatArray

DATA = Path(__file__).parents[1] / "data"
LINES = 500
ONE_IN_A_HUNDRED = 10
"""Lines of 500 that may be proposed where 1 in 100 is promised: the 98 % point of the binomial law (scipy 1.17)."""


def nile() -> tuple[Series, Visits, dict[str, str]]:
    """Return the flow of every year as the movement of a line that was set to 0 at each year's end."""
    with (DATA / "nile.csv").open(encoding="utf-8", newline="") as file:
        flow = [float(row["annual_flow_1e8_m3"]) for row in csv.DictReader(file)]
    with (DATA / "nile_results.csv").open(encoding="utf-8", newline="") as file:
        published = {row["quantity"]: row["published"] for row in csv.DictReader(file)}
    ends = [1870.0 + number for number in range(len(flow) + 1)]
    series, visits = one_series(ends, [np.nan, *flow], [0.0] * len(ends), var=0.5, setup=0.0)
    return series, visits, published


def test_two_rates_have_the_published_sums_of_squares_and_criteria_of_the_nile() -> None:
    # Cobb (1978); Zeileis et al. (2002). BIC with constants: 2 and 4 parameters, the break and the variance among them.
    _, visits, published = nile()
    found = intervals(visits)
    n = found.series.size
    laid = segments(found, np.ones(n, dtype=np.bool_), np.zeros(n))
    years = visits.clock_years[found.from_visit][:, None]
    fits = fit_cuts(laid, years, years, 0.0)
    # Over segments of at least 15 years, as the published search.
    best = 15 + int(np.argmin(fits.two_chi2[15:86, 0]))
    assert best == int(published["last observation before the break (index from 1)"])
    assert fits.one_chi2[0] == pytest.approx(float(published["RSS no break"]), abs=0.5)
    assert fits.two_chi2[best, 0] == pytest.approx(float(published["RSS one break"]), abs=0.5)
    assert fits.before_um[best, 0] == pytest.approx(float(published["mean 1871-1898"]), abs=0.005)
    assert fits.after_um[best, 0] == pytest.approx(float(published["mean 1899-1970"]), abs=0.005)

    def bic(rss: float, parameters: int) -> float:
        return n * float(np.log(2.0 * np.pi) + 1.0 + np.log(rss / n)) + parameters * float(np.log(n))

    assert bic(fits.one_chi2[0], 2) == pytest.approx(float(published["BIC no break"]), abs=0.5)
    assert bic(fits.two_chi2[best, 0], 4) == pytest.approx(float(published["BIC one break"]), abs=0.5)


def test_the_nile_is_proposed_to_have_changed_after_1898_within_the_published_interval() -> None:
    # Zeileis et al. (2002): break after 1898, 95 % interval 1895 to 1902. The spread is that of the published fit.
    series, visits, published = nile()
    found = intervals(visits)
    sigma = float(np.sqrt(float(published["RSS one break"]) / 98.0))
    (change,) = rate_changes(visits, found, series, pool_of(found, tau=100.0, sigma=sigma, mean=900.0, sigma_dof=98.0))
    assert visits.clock_years[change.from_visit] == float(published["break after year"])
    assert visits.clock_years[change.to_visit] == 1899.0
    assert 1895.0 <= visits.clock_years[change.earliest_visit] <= visits.clock_years[change.latest_visit] <= 1902.0
    assert (change.n_before, change.n_after) == (28, 72)
    # Half the published difference of the BIC, 24, is Schwarz's approximation to the same figure.
    assert change.evidence == pytest.approx((1318.24 - 1270.08) / 2.0, abs=5.0)


def test_the_two_rates_are_those_of_statsmodels_with_the_same_covariance() -> None:
    from statsmodels.regression.linear_model import GLS

    rng = np.random.default_rng(3)
    clock = np.cumsum(rng.uniform(0.5, 1.5, 9))
    _, visits = one_series(list(clock), list(rng.normal(0.0, 60.0, 9)), var=150.0)
    found = intervals(visits)
    n = found.series.size
    laid = segments(found, np.ones(n, dtype=np.bool_), np.zeros(n))
    # The second cut divides an interval: its years count on both sides.
    cuts = np.array([clock[3], 0.25 * clock[4] + 0.75 * clock[5]])
    fits = fit_cuts(laid, clock[:-1, None], cuts[:, None], 400.0)
    whole = np.diag(400.0 * np.diff(clock) + 300.0) - 150.0 * (np.eye(n, k=1) + np.eye(n, k=-1))
    for number, cut in enumerate(cuts):
        before = np.clip(cut - clock[:-1], 0.0, np.diff(clock))
        theirs = GLS(found.moved_um, np.column_stack([before, np.diff(clock) - before]), sigma=whole).fit()
        assert [fits.before_um[number, 0], fits.after_um[number, 0]] == pytest.approx(list(theirs.params), rel=1e-9)
        residual = np.asarray(theirs.wresid)
        assert fits.two_chi2[number, 0] == pytest.approx(float(residual @ residual), rel=1e-9)
        covariance = np.asarray(theirs.normalized_cov_params)
        assert fits.before_var_um2[number, 0] == pytest.approx(covariance[0, 0], rel=1e-9)
        assert fits.after_var_um2[number, 0] == pytest.approx(covariance[1, 1], rel=1e-9)
        difference = covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]
        assert fits.information[number, 0] == pytest.approx(1.0 / difference, rel=1e-9)


def yearly(rates: list[float], stations: int = 1) -> tuple[Series, Visits, Intervals]:
    """Return stations of one line that were set to 0 every year and moved by exactly these rates."""
    clock = [float(year) for year in range(len(rates) + 1)]
    _, one = one_series(clock, [np.nan, *rates], [0.0] * len(clock), var=50.0, setup=0.0)
    tiled = Visits(*(np.tile(getattr(one, name), stations) for name in Visits.__slots__))
    visits = dataclasses.replace(tiled, series=np.repeat(np.arange(stations), len(clock)))
    series = dataclasses.replace(alone(stations), line=np.zeros(stations, dtype=np.int64))
    return series, visits, intervals(visits)


def correlated(pooled: Pooled, rho: float) -> Pooled:
    def axis(pool: AxisPool) -> AxisPool:
        return dataclasses.replace(pool, rate_rho=rho, error_rho=rho)

    return dataclasses.replace(pooled, axes=(axis(pooled.axes[0]), axis(pooled.axes[1])))


def changes_of(rates: list[float], *, stations: int = 1, rho: float = 0.0) -> list[Change]:
    series, visits, found = yearly(rates, stations)
    pooled = correlated(pool_of(found, tau=15.0, sigma=20.0, mean=20.0), rho)
    return rate_changes(visits, found, series, pooled)


def test_a_change_says_when_it_began_and_both_rates_with_their_uncertainty() -> None:
    (change,) = changes_of([20.0] * 4 + [120.0] * 5)
    assert (change.from_visit, change.to_visit) == (4, 5)
    assert (change.n_before, change.n_after) == (4, 5)
    assert (change.before_um[0], change.after_um[0]) == pytest.approx((20.0, 120.0))
    # By hand: every year has variance 20^2 + 50 + 50, so a mean of n of them has 500 / n.
    assert change.before_u_um[0] == pytest.approx(np.sqrt(500.0 / 4.0))
    assert change.after_u_um[0] == pytest.approx(np.sqrt(500.0 / 5.0))


@pytest.mark.parametrize("jump", [60.0, -90.0, 300.0, 3000.0])
@pytest.mark.parametrize("place", [0, 2, 5, 8, 9])
def test_a_single_jump_of_any_size_anywhere_is_no_change_of_rate(jump: float, place: int) -> None:
    rates = [20.0] * 10
    rates[place] += jump
    # The pool is told of no jump here, so that the rule alone has to tell them apart.
    assert changes_of(rates) == []


def test_one_interval_alone_never_makes_a_rate() -> None:
    assert changes_of([20.0] * 8 + [400.0]) == []
    assert changes_of([400.0] + [20.0] * 8) == []
    assert [change.from_visit for change in changes_of([20.0] * 8 + [400.0] * 2)] == [8]


def test_intervals_that_the_pool_took_for_jumps_one_after_the_other_are_a_rate() -> None:
    series, visits, found = yearly([20.0] * 8 + [400.0] * 3)
    pooled = pool_of(found, tau=15.0, sigma=20.0, mean=20.0)
    in_a_row = dataclasses.replace(pooled, jump_var_um2=np.where(found.moved_um > 100.0, 380.0**2, 0.0))
    assert [change.from_visit for change in rate_changes(visits, found, series, in_a_row)] == [8]
    # Two that stand apart, the one up, the other down, stay jumps.
    series, visits, found = yearly([20.0, 20.0, 20.0, 400.0, 20.0, 20.0, -360.0, 20.0, 20.0])
    apart = dataclasses.replace(pooled, jump_var_um2=np.where(np.abs(found.moved_um) > 100.0, 380.0**2, 0.0))
    assert rate_changes(visits, found, series, apart) == []


def test_stations_that_share_their_errors_are_not_counted_as_so_many_witnesses() -> None:
    rates = [20.0] * 5 + [100.0] * 5
    (one,) = changes_of(rates)
    (alike,) = changes_of(rates, stations=4, rho=0.95)
    (apart,) = changes_of(rates, stations=4, rho=0.0)
    # Four copies of one record say no more than it says alone; four of independent error would say far more.
    assert alike.evidence < one.evidence + 0.5
    assert apart.evidence > one.evidence + 5.0


def test_only_the_current_regime_is_looked_at() -> None:
    rates = [20.0] * 5 + [150.0] * 6
    series, visits, found = yearly(rates)
    pooled = pool_of(found, tau=15.0, sigma=20.0, mean=20.0)
    assert len(rate_changes(visits, found, series, pooled)) == 1
    # A recorded event at visit 5, between its as-found and its as-left.
    at = np.arange(len(rates) + 1)
    told = dataclasses.replace(visits, regime_found=(at > 5).astype(np.int64), regime_left=(at >= 5).astype(np.int64))
    assert rate_changes(told, intervals(told), series, pooled) == []
    # An event since the newest visit: nothing of the current regime was seen yet.
    assert rate_changes(visits, found, series, pooled, regime_now=np.ones(1, dtype=np.int64)) == []


def test_a_change_at_a_visit_that_skipped_a_station_is_found_with_that_station_too() -> None:
    series, visits, _ = yearly([20.0] * 5 + [150.0] * 5, 2)
    kept = np.ones(visits.series.size, dtype=np.bool_)
    kept[5] = False
    skipped = Visits(*(getattr(visits, name)[kept] for name in Visits.__slots__))
    # What the first station moved over the two years on either side of the change.
    moved = skipped.found_um.copy()
    moved[5] = 170.0
    skipped = dataclasses.replace(skipped, found_um=moved)
    found = intervals(skipped)
    (change,) = rate_changes(skipped, found, series, pool_of(found, tau=15.0, sigma=20.0, mean=20.0))
    assert skipped.clock_years[change.from_visit] == 5.0
    assert change.before_um == pytest.approx([20.0, 20.0])
    assert change.after_um == pytest.approx([150.0, 150.0])


def test_no_record_has_no_change() -> None:
    series, visits, found = yearly([20.0])
    none = Visits(*(getattr(visits, name)[:1] for name in Visits.__slots__))
    pooled = pool_of(intervals(none), tau=15.0, sigma=20.0)
    assert rate_changes(none, intervals(none), series, pooled) == []
    assert rate_changes(visits, found, series, pool_of(found, tau=15.0, sigma=20.0)) == []


def proposed(series: Series, visits: Visits, found: Intervals) -> list[Change]:
    return rate_changes(visits, found, series, pool_rates(found, series))


@pytest.mark.parametrize(
    ("sigma", "tau", "mean", "visits", "line_part"),
    [(20.0, 15.0, (5.0, 20.0), 12, 0.6), (40.0, 0.01, (0.0, 0.0), 15, 0.0)],
    ids=["plain", "wander alone"],
)
def test_at_most_one_line_in_a_hundred_is_proposed_where_nothing_changed(
    sigma: float, tau: float, mean: tuple[float, float], visits: int, line_part: float
) -> None:
    series, record, _ = simulated(
        lines=LINES, visits=visits, seed=11, sigma=sigma, tau=tau, mean=mean, line_part=line_part
    )
    lines = {change.line for change in proposed(series, record, intervals(record))}
    assert len(lines) <= ONE_IN_A_HUNDRED


def test_jumps_alone_are_rarely_taken_for_changes() -> None:
    series, record, _ = simulated(lines=LINES, visits=12, seed=12, jump_share=0.02, jump_um=200.0)
    lines = {change.line for change in proposed(series, record, intervals(record))}
    assert len(lines) <= 2 * ONE_IN_A_HUNDRED


def planted(found: Intervals, series: Series, changed: FloatArray, at: int, visits: int) -> Intervals:
    """Add to the vertical rate of some lines from visit `at` on, growing along the barrel as a turning barrel does."""
    own = (series.axis[found.series] == 0) & (found.from_visit % visits >= at)
    by = np.where(own, changed[series.line[found.series]] * series.share[found.series], 0.0)
    return dataclasses.replace(found, moved_um=found.moved_um + by * found.years)


@pytest.mark.parametrize("at", [4, 6])
def test_planted_changes_that_the_data_can_tell_are_found_at_the_visit_or_one_off(at: int) -> None:
    # 120 um a year at the discharge end, where rates differ by 15 and five years of wander leave one uncertain by 9.
    visits = 11
    series, record, _ = simulated(lines=LINES, visits=visits, seed=13)
    lines = np.arange(0, LINES, 25)
    changed = np.zeros(LINES)
    changed[lines] = np.where(np.arange(lines.size) % 2, 120.0, -120.0)
    got = proposed(series, record, planted(intervals(record), series, changed, at, visits))
    hits = {change.line: change for change in got if change.axis == 0 and changed[change.line] != 0.0}
    # Of 20: 16 or more where the chance is 0.9 has 96 % (binomial law).
    assert len(hits) >= 16
    assert sum(abs(hit.from_visit % visits - at) <= 1 for hit in hits.values()) >= len(hits) - 1
    shown = [hit.after_um[hit.shows_most] - hit.before_um[hit.shows_most] for hit in hits.values()]
    assert np.all(np.sign(shown) == np.sign([changed[line] for line in hits]))
    elsewhere = {(change.line, change.axis) for change in got} - {(line, 0) for line in hits}
    assert len(elsewhere) <= ONE_IN_A_HUNDRED
