"""The yearly swing: found where it was planted, in size and time of the year, and not claimed where there is none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import binom, chi2, multivariate_normal
from trend_fleet import one_series, pool_of, simulated

from fleet.trend import Intervals, Series, intervals, pool_rates
from fleet.trend.gls import segments
from fleet.trend.season import Season, _fit, _of_lines, find_season, no_season, phase, unseasoned
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

SIGMA_UM, TAU_UM, MEAN_UM = 20.0, 15.0, (5.0, 20.0)


def fleet_of(
    swing_um: FloatArray, *, seed: int, lines: int = 60, visits: int = 8, sites: int = 2, own_um: float = 0.0,
    grows: bool = False,
) -> tuple[Series, Intervals, FloatArray]:  # fmt: skip
    """Return a fleet whose lines swing by their site's (cos, sin) and `own_um` more, with the true swing of each."""
    series, visited, _ = simulated(lines=lines, visits=visits, seed=seed)
    series = dataclasses.replace(series, site=series.line % sites)
    rng = np.random.default_rng(1000 + seed)
    truth = swing_um[series.site] + own_um * rng.standard_normal((lines, 2))[series.line]
    truth = truth * series.share[:, None] if grows else truth
    found = intervals(visited)
    turn = phase(found.to_day) - phase(found.from_day)
    moved = found.moved_um + np.sum(turn * truth[found.series], axis=1)
    return series, dataclasses.replace(found, moved_um=moved), truth


def looked_for(series: Series, found: Intervals, *, axis: int = 0, error_rho: float = 0.2) -> Season | None:
    """Look for a swing with the simulation's own rates, spread and wander."""
    use = (series.axis[found.series] == axis) & np.isfinite(found.moved_um)
    laid = segments(found, use, np.zeros(found.series.size))
    n = laid.series.size
    return find_season(
        laid, found, series, mean=MEAN_UM[0] + MEAN_UM[1] * series.share[laid.series], tau=np.full(n, TAU_UM),
        sigma=np.full(n, SIGMA_UM), error_rho=error_rho,
    )  # fmt: skip


def there(season: Season | None) -> Season:
    assert season is not None
    return season


def distance2(season: Season, truth: FloatArray, rows: IntArray) -> FloatArray:
    """Return the squared distances from the truth in units of the stated covariance: chi-square of 2 where honest."""
    away = (season.swing_um - truth)[rows]
    inverse = np.linalg.inv(season.covariance_um2[rows])
    return np.asarray(np.einsum("ni,nij,nj->n", away, inverse, away), dtype=np.float64)


def first_stations(series: Series, axis: int = 0) -> IntArray:
    """Return one series of every line: what is said of a line's stations is one thing said."""
    return np.flatnonzero((series.axis == axis) & (series.share == 0.25)).astype(np.int64)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_swing_common_to_a_site_is_found_in_size_and_time_of_the_year(seed: int) -> None:
    # Site 0 stands highest on day 200 with 35 um, site 1 on day 20 with 20 um; each line has 5 um of its own.
    size, top = np.array([35.0, 20.0]), np.array([200.0, 20.0])
    planted = size[:, None] * phase(top)
    series, found, truth = fleet_of(planted, seed=seed, own_um=5.0)
    season = there(looked_for(series, found))
    rows = first_stations(series)
    for site in (0, 1):
        mean = np.mean(season.swing_um[rows[series.site[rows] == site]], axis=0)
        day = np.arctan2(mean[1], mean[0]) / (2.0 * np.pi) * DAYS_PER_YEAR % DAYS_PER_YEAR
        assert np.hypot(*mean) == pytest.approx(size[site], abs=7.0)
        # A coefficient's error e turns the day by e / amplitude of a year / 2 pi.
        assert day == pytest.approx(top[site], abs=7.0 / size[site] * DAYS_PER_YEAR / (2.0 * np.pi))
    assert np.sqrt(np.mean((season.swing_um - truth)[rows] ** 2)) < 8.0


def test_what_is_found_is_off_by_as_much_as_it_says() -> None:
    # Thirty fleets with six sites each: distances from the truth average those of chi-square, 2, and pass its 95 %
    # point as often. Lines of one site share its error, hence room of four standard errors counted by fleets.
    apart = []
    for seed in range(20, 50):
        planted = np.random.default_rng(seed).normal(0.0, 25.0, (6, 2))
        series, found, truth = fleet_of(planted, seed=seed, own_um=12.0, sites=6, visits=6)
        apart.append(distance2(there(looked_for(series, found)), truth, first_stations(series)))
    by_fleet = np.array(apart)
    error = np.std(by_fleet.mean(axis=1)) / np.sqrt(30.0)
    assert error < 0.15
    assert np.mean(by_fleet) == pytest.approx(2.0, abs=4.0 * error)
    assert np.mean(by_fleet > chi2.ppf(0.95, 2)) == pytest.approx(0.05, abs=0.03)


def test_no_swing_is_claimed_in_plain_fleets() -> None:
    # "Very strong" evidence (Kass and Raftery 1995) is a factor of 150; one false claim in a hundred is allowed for.
    claimed = 0
    for seed in range(40, 60):
        series, found, _ = fleet_of(np.zeros((2, 2)), seed=seed, lines=30, visits=6)
        claimed += sum(looked_for(series, found, axis=axis) is not None for axis in (0, 1))
    assert claimed <= binom.ppf(0.999, 40, 0.01)


def test_a_pool_without_swing_says_so_and_one_with_it_gives_its_wander_free_of_it() -> None:
    plain_series, plain, _ = fleet_of(np.zeros((2, 2)), seed=60)
    bare = pool_rates(plain, plain_series)
    assert bare.season is None
    series, found, truth = fleet_of(np.array([[-30.0, 15.0], [0.0, 40.0]]), seed=60, own_um=4.0)
    pooled = pool_rates(found, series)
    season = there(pooled.season)
    for axis, (pool, without) in enumerate(zip(pooled.axes, bare.axes, strict=True)):
        rows = first_stations(series, axis)
        assert np.sqrt(np.mean((season.swing_um - truth)[rows] ** 2)) < 7.0
        assert pool.sigma_um == pytest.approx(without.sigma_um, rel=0.1)
        assert pool.tau_um == pytest.approx(without.tau_um, rel=0.1)
        assert pool.sigma_um == pytest.approx(SIGMA_UM, rel=0.2)


def test_a_site_that_does_not_swing_stays_near_nought_beside_one_that_does() -> None:
    series, found, truth = fleet_of(np.array([[40.0, 0.0], [0.0, 0.0]]), seed=4)
    season = there(looked_for(series, found))
    rows = first_stations(series)
    still = rows[series.site[rows] == 1]
    assert np.max(np.abs(season.swing_um[still])) < 10.0
    assert np.mean(distance2(season, truth, still)) < 6.0
    assert np.min(season.swing_um[rows[series.site[rows] == 0], 0]) > 25.0


def test_a_line_without_record_gets_its_site_s_swing_and_the_spread_of_its_lines() -> None:
    series, found, truth = fleet_of(np.array([[-35.0, 20.0], [30.0, 30.0]]), seed=5, lines=80, own_um=8.0)
    # Lines 0 (site 0) and 1 (site 1) lose their record.
    lines = series.line[found.series]
    season = there(looked_for(series, dataclasses.replace(found, moved_um=np.where(lines < 2, np.nan, found.moved_um))))
    rows = first_stations(series)
    for line, site in ((0, 0), (1, 1)):
        mine, others = rows[line], rows[2:][series.site[rows[2:]] == site]
        assert season.swing_um[mine] == pytest.approx(np.mean(season.swing_um[others], axis=0), abs=1.5)
        assert np.all(np.diag(season.covariance_um2[mine]) > np.max(season.covariance_um2[others][:, [0, 1], [0, 1]]))
        # The spread between lines, 8 um, is one of a few sizes tried; the site's mean adds little.
        assert 4.0**2 < season.covariance_um2[mine][0, 0] < 17.0**2
    assert np.all(distance2(season, truth, rows[:2]) < chi2.ppf(0.999, 2))


def test_a_line_of_a_site_without_any_record_is_told_nothing_but_how_much_sites_may_swing() -> None:
    series, found, _ = fleet_of(np.array([[-35.0, 20.0], [30.0, 30.0]]), seed=5)
    elsewhere = dataclasses.replace(series, site=np.where(series.line == 0, 7, series.site))
    silent = dataclasses.replace(found, moved_um=np.where(series.line[found.series] == 0, np.nan, found.moved_um))
    season = there(looked_for(elsewhere, silent))
    assert season.swing_um[0].tolist() == [0.0, 0.0]
    assert season.covariance_um2[0][0, 1] == 0.0
    assert season.covariance_um2[0][0, 0] > 30.0**2


@pytest.mark.parametrize("grows", [False, True])
def test_a_swing_that_grows_with_the_distance_is_told_from_one_that_does_not(grows: bool) -> None:
    series, found, truth = fleet_of(np.array([[45.0, 0.0], [0.0, -45.0]]), seed=6, grows=grows)
    season = there(looked_for(series, found))
    size = np.linalg.norm(season.swing_um, axis=1)
    near, far = size[series.share == 0.25], size[series.share == 1.0]
    assert near == pytest.approx(far * (0.25 if grows else 1.0))
    assert np.mean(far) == pytest.approx(45.0, abs=7.0)
    assert np.sqrt(np.mean((season.swing_um - truth) ** 2)) < 7.0
    covariance = season.covariance_um2
    factor = 1.0 / 16.0 if grows else 1.0
    assert covariance[series.share == 0.25] == pytest.approx(factor * covariance[series.share == 1.0])


def test_one_line_with_very_many_surveys_agrees_with_least_squares_in_statsmodels() -> None:
    # Positions on a line and a swing, measured to 2 um, nothing wandering: the movements between the surveys, with the
    # covariance of the shared ones, hold what ordinary least squares on (1, t, cos, sin) gets from the positions. What
    # is believed before, some 30 um, is to their half micrometre next to nothing.
    from statsmodels.regression.linear_model import OLS

    rng = np.random.default_rng(7)
    clock = np.cumsum(rng.uniform(0.2, 0.7, 80))
    turn = phase(clock * DAYS_PER_YEAR)
    measured = 4.0 + 21.0 * clock + turn @ np.array([-18.0, 11.0]) + 2.0 * rng.standard_normal(80)
    theirs = OLS(measured, np.column_stack([np.ones(80), clock, turn])).fit()
    series, visits = one_series(list(clock), list(measured), var=4.0)
    found = intervals(visits)
    laid = segments(found, np.ones(79, dtype=np.bool_), np.zeros(79))
    season = there(
        find_season(laid, found, series, mean=np.zeros(1), tau=np.full(1, 1e5), sigma=np.full(1, 1e-3), error_rho=0.0)
    )
    assert season.swing_um[0] == pytest.approx(theirs.params[2:], abs=0.02)
    stated = theirs.cov_params()[2:, 2:] * 4.0 / theirs.scale
    assert season.covariance_um2[0] == pytest.approx(stated, rel=5e-3, abs=1e-3)


@pytest.mark.parametrize("own_um", [0.5, 12.0])
def test_the_evidence_for_a_swing_is_that_of_dense_normal_distributions(own_um: float) -> None:
    # Two lines of one site and one of another; coefficients of a site N(0, 30^2), of a line N(site's, own^2), all in
    # the covariance of the movements.
    series, found, _ = fleet_of(np.array([[20.0, 0.0], [0.0, 0.0]]), seed=8, lines=3, visits=6)
    pick = first_stations(series)
    use = np.isin(found.series, pick)
    laid = segments(found, use, np.zeros(found.series.size))
    n = laid.series.size
    mean, tau, sigma = np.full(n, 12.0), np.full(n, TAU_UM), np.full(n, SIGMA_UM)
    fit = _fit(_of_lines(laid, found, series, mean, tau, sigma, np.ones(n), 0.0), own_um)
    rows = np.flatnonzero(use)
    years, line, site = found.years[rows], series.line[found.series[rows]], series.site[found.series[rows]]
    plain = np.diag(SIGMA_UM**2 * years + found.var_um2[rows])
    beside = np.where(line[1:] == line[:-1], found.cov_next_um2[rows][:-1], 0.0)
    plain += np.diag(beside, 1) + np.diag(beside, -1)
    same_line, same_site = line[:, None] == line, site[:, None] == site
    plain += TAU_UM**2 * np.outer(years, years) * same_line
    turn = phase(found.to_day[rows]) - phase(found.from_day[rows])
    swinging = plain + (turn @ turn.T) * (own_um**2 * same_line + 30.0**2 * same_site)
    moved, centre = found.moved_um[rows], 12.0 * years
    theirs = multivariate_normal.logpdf(moved, centre, swinging) - multivariate_normal.logpdf(moved, centre, plain)
    assert fit.gain == pytest.approx(2.0 * theirs, rel=1e-8)


def test_intervals_across_an_event_do_not_disturb() -> None:
    series, found, _ = fleet_of(np.array([[40.0, 0.0], [0.0, 30.0]]), seed=9)
    across = np.arange(found.series.size) % 5 == 4
    regime = np.zeros(found.series.size, dtype=np.int64)
    regime[1:] = np.cumsum(across)[:-1]
    wild = dataclasses.replace(
        found, moved_um=np.where(across, 5000.0, found.moved_um), across_event=across, regime=regime
    )
    tame = dataclasses.replace(found, across_event=across, regime=regime)
    got, same = (there(looked_for(series, each)) for each in (wild, tame))
    assert got.swing_um.tolist() == same.swing_um.tolist()
    assert np.mean(np.abs(got.swing_um - there(looked_for(series, found)).swing_um)) < 6.0


def test_taking_the_swing_off_and_putting_it_back_changes_nothing() -> None:
    series, found, truth = fleet_of(np.array([[40.0, -10.0], [0.0, 30.0]]), seed=10)
    season = Season(truth, np.zeros((truth.shape[0], 2, 2)))
    calm = unseasoned(found, season)
    assert calm.moved_um + season.moved_um(calm) == pytest.approx(found.moved_um, abs=1e-9)
    # What is left is the fleet before the swing was planted.
    _, bare, _ = fleet_of(np.zeros((2, 2)), seed=10)
    assert calm.moved_um == pytest.approx(bare.moved_um, abs=1e-9)
    assert unseasoned(found, no_season(series.axis.size)).moved_um.tolist() == found.moved_um.tolist()
    pooled = dataclasses.replace(pool_of(found, tau=1.0, sigma=1.0), season=season)
    assert pooled.unseasoned(found).moved_um.tolist() == calm.moved_um.tolist()


def test_a_movement_over_half_a_year_holds_the_whole_swing_and_over_a_year_none() -> None:
    # By hand: cos falls from 1 to -1 between day 0 and half a year on; after a year it is back.
    half = DAYS_PER_YEAR / 2.0
    _, visits = one_series([0.0, 0.5, 1.5, 1.75], [0.0] * 4)
    moved = Season(np.array([[30.0, 8.0]]), np.zeros((1, 2, 2))).moved_um(intervals(visits))
    assert visits.days.tolist() == [0.0, half, 3 * half, 3.5 * half]
    assert moved == pytest.approx([-60.0, 0.0, 30.0 - 8.0], abs=1e-9)


def test_a_date_keeps_its_time_of_the_year_through_leap_years() -> None:
    years = np.arange(1996, 2037)
    for date in ("01-01", "02-28", "03-01", "07-01", "12-31"):
        days = np.array([f"{year}-{date}" for year in years], dtype="datetime64[D]").astype(np.float64)
        at = phase(days)
        middle = np.mean(at, axis=0)
        away = np.arccos(np.clip(at @ (middle / np.linalg.norm(middle)), -1.0, 1.0)) / (2.0 * np.pi) * DAYS_PER_YEAR
        assert np.max(away) < 1.0
        # Four years with their leap day are whole turns.
        assert at[4] == pytest.approx(at[0], abs=1e-9)
    assert phase(np.array([0.0, 1461.0])) == pytest.approx(np.array([[1.0, 0.0], [1.0, 0.0]]), abs=1e-9)
