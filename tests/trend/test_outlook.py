"""What a survey would show, against scipy's distributions, plain integration and counting."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import kurtosis, norm, t
from trend_fleet import known_of

from fleet.trend import QUANTILES, Outlook, Posterior, outlook
from fleet.values import DAYS_PER_YEAR, FloatArray

LEVELS = np.array(QUANTILES)


def single(*, mean: float = 0.0, sd: float = 30.0, dof: float = 1e9, chance: float = 0.0, jump: float = 0.0) -> Outlook:
    return Outlook(*(np.array([value]) for value in (mean, sd, dof, chance, jump**2)))


def student_cdf(away: float, sd: float, dof: float) -> float:
    return float(t.cdf(away, dof, scale=sd * np.sqrt((dof - 2.0) / dof)))


def mixture_cdf(away: float, *, sd: float, dof: float, chance: float, jump: float) -> float:
    """Return scipy's chance below: calm, or jumped with the tails that its part of the wander leaves."""
    wide = np.hypot(sd, jump)
    return (1 - chance) * student_cdf(away, sd, dof) + chance * student_cdf(
        away, wide, 4 + (dof - 4) * (wide / sd) ** 4
    )


def ahead(known: Posterior, years: list[float], days: list[float] | None = None) -> Outlook:
    at = np.array([years])
    return outlook(
        known, years=at, days=at * DAYS_PER_YEAR if days is None else np.array([days]), measuring_var_um2=np.zeros(1)
    )


@pytest.mark.parametrize("dof", [4.0, 4.3, 6.0, 17.0, 300.0])
def test_without_jumps_it_is_student_s_distribution_with_the_stated_deviation(dof: float) -> None:
    calm = single(mean=-12.0, sd=30.0, dof=dof)
    scale = 30.0 * np.sqrt((dof - 2.0) / dof)
    assert calm.quantiles()[0] == pytest.approx(t.ppf(LEVELS, dof, loc=-12.0, scale=scale), abs=30e-5)
    for value in (-150.0, -40.0, -12.0, 3.0, 90.0):
        assert calm.cdf(np.array([value]))[0] == pytest.approx(t.cdf(value, dof, loc=-12.0, scale=scale), rel=1e-9)


def test_with_a_known_wander_and_no_jump_it_is_the_normal_distribution() -> None:
    calm = single(mean=4.0, sd=25.0, dof=1e9)
    assert calm.quantiles()[0] == pytest.approx(norm.ppf(LEVELS, 4.0, 25.0), abs=25e-5)
    assert calm.cdf(np.array([40.0]))[0] == pytest.approx(norm.cdf(40.0, 4.0, 25.0), rel=1e-6)


def test_student_s_quantiles_read_off_the_table_miss_by_a_hundred_thousandth_at_most() -> None:
    dof = np.exp(np.linspace(np.log(4.0), np.log(1e7), 3000))
    levels = np.array([0.5, 0.6, 0.75, 0.9, 0.95, 0.975, 0.995])
    n = np.ones(dof.size)
    read = Outlook(0.0 * n, n, dof, 0.0 * n, 0.0 * n).quantiles(levels)
    exact = t.ppf(levels, dof[:, None]) * np.sqrt((dof - 2.0) / dof)[:, None]
    assert np.max(np.abs(read - exact)) < 1e-5


@pytest.mark.parametrize(("sd", "dof"), list(itertools.product([18.0, 60.0], [4.5, 9.0, 1e6])))
def test_with_jumps_the_chances_are_those_of_scipy_s_mixture(sd: float, dof: float) -> None:
    for chance, jump in itertools.product([1e-3, 0.03, 0.4], [40.0, 90.0, 250.0]):
        mixed = single(mean=7.0, sd=sd, dof=dof, chance=chance, jump=jump)
        for value in (-400.0, -50.0, 7.0, 20.0, 110.0):
            theirs = mixture_cdf(value - 7.0, sd=sd, dof=dof, chance=chance, jump=jump)
            assert mixed.cdf(np.array([value]))[0] == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(("sd", "dof"), list(itertools.product([18.0, 60.0], [4.5, 9.0, 1e6])))
def test_with_jumps_the_quantiles_are_where_scipy_s_mixture_has_its_own(sd: float, dof: float) -> None:
    # Regula falsi stops early: a hundredth of the tail in the field's range, a twentieth for a jump beyond it.
    for chance, jump in itertools.product([1e-3, 0.01, 0.03, 0.1, 0.4], [20.0, 60.0, 120.0, 250.0]):
        mixed = single(mean=-3.0, sd=sd, dof=dof, chance=chance, jump=jump)
        bar = 0.01 if jump < 10.0 * sd and chance <= 0.1 else 0.05
        for level, value in zip(QUANTILES, mixed.quantiles()[0], strict=True):
            tail = min(level, 1.0 - level)

            def beyond(away: float, chance: float = chance, jump: float = jump, level: float = level) -> float:
                return mixture_cdf(away, sd=sd, dof=dof, chance=chance, jump=jump) - level

            exact = brentq(beyond, -3000.0, 3000.0, xtol=1e-9)
            slack = abs(beyond(exact + 1e-4 * sd))
            assert abs(beyond(value + 3.0)) < bar * tail + slack
            assert value + 3.0 == pytest.approx(exact, abs=0.15 * sd)


def test_quantiles_lie_as_far_above_the_mean_as_below() -> None:
    for mixed in (single(mean=50.0, dof=5.0), single(mean=50.0, dof=5.0, chance=0.07, jump=120.0)):
        away = mixed.quantiles()[0] - 50.0
        assert away == pytest.approx(-away[::-1], abs=1e-9)
        assert away[4] == 0.0
        assert np.all(np.diff(away) > 0)
        assert mixed.cdf(np.array([50.0]))[0] == pytest.approx(0.5)


def test_levels_may_be_asked_for_in_any_order() -> None:
    mixed = single(dof=6.0, chance=0.1, jump=100.0)
    order = np.random.default_rng(1).permutation(LEVELS.size)
    assert mixed.quantiles(LEVELS[order])[0].tolist() == mixed.quantiles()[0][order].tolist()
    assert mixed.quantiles([0.9, 0.1, 0.9])[0] == pytest.approx(mixed.quantiles()[0][[6, 2, 6]])


def test_a_series_that_cannot_jump_keeps_student_s_quantiles_beside_one_that_can() -> None:
    both = Outlook(*(np.array(pair) for pair in ([5.0, 5.0], [30.0, 30.0], [7.0, 7.0], [0.0, 0.1], [0.0, 8100.0])))
    got = both.quantiles()
    assert got[0].tolist() == single(mean=5.0, dof=7.0).quantiles()[0].tolist()
    # A level in the inner half hardly widens, the outermost does.
    assert 1.0 < (got[1, 5] - 5.0) / (got[0, 5] - 5.0) < 1.15 < (got[1, 8] - 5.0) / (got[0, 8] - 5.0)


@pytest.mark.parametrize(("dof", "chance", "jump"), [(9.0, 0.0, 0.0), (9.0, 0.08, 120.0), (5.5, 0.3, 60.0)])
def test_the_deviation_is_that_of_the_distribution_integrated(dof: float, chance: float, jump: float) -> None:
    # For a distribution symmetric about 0 the second moment is 4 times the integral of x P(X > x) over x > 0.
    mixed = single(sd=30.0, dof=dof, chance=chance, jump=jump)

    def weighed(x: float) -> float:
        return 4.0 * x * (1.0 - float(mixed.cdf(np.array([x]))[0]))

    moment = quad(weighed, 0.0, 20_000.0, limit=400, points=[200])
    assert mixed.sd_um[0] == pytest.approx(np.sqrt(moment[0]), rel=1e-3)


def test_the_tails_are_those_of_a_wander_drawn_from_an_inverse_chi_square() -> None:
    # Wander with 14 degrees of freedom is part of the variance beside what is surely known; for a normal mixture the
    # excess kurtosis is 3 var(v) / mean(v)^2, for Student's 6 / (dof - 4).
    rng = np.random.default_rng(2)
    known = known_of(sigma=30.0, rate_sd=0.0, dof=14.0)
    drawn = 30.0**2 * 12.0 / rng.chisquare(14.0, 1_000_000)
    assert np.mean(drawn) == pytest.approx(900.0, rel=2e-3)
    for years in (0.2, 1.0, 5.0):
        variance = 100.0 + drawn * years
        got = ahead(known, [years])
        assert got.calm_sd_um[0, 0] ** 2 == pytest.approx(np.mean(variance), rel=2e-3)
        excess = 3.0 * np.var(variance) / np.mean(variance) ** 2
        assert 6.0 / (got.calm_dof[0, 0] - 4.0) == pytest.approx(excess, rel=0.03)
        seen = np.sqrt(variance) * rng.standard_normal(variance.size)
        assert kurtosis(seen) == pytest.approx(6.0 / (got.calm_dof[0, 0] - 4.0), abs=0.06)
        # Counted: the outer quantiles are passed as often as they say (four standard errors of a share).
        low, high = got.quantiles([0.025, 0.975])[0, 0] - got.mean_um[0, 0]
        assert np.mean((seen < low) | (seen > high)) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 1e6) + 5e-4)


def test_a_swing_moves_the_mean_with_the_time_of_the_year() -> None:
    # By hand: 20 cos + 10 sin of the year, seen from day 0, the rate nought: after a quarter 10 - 20, after half a year
    # -20 - 20, after three quarters -10 - 20, after one year nought.
    known = known_of(rate=0.0, swing=(20.0, 10.0))
    quarter = DAYS_PER_YEAR / 4.0
    got = ahead(known, [0.0] * 5, [0.0, quarter, 2 * quarter, 3 * quarter, 4 * quarter])
    assert got.mean_um[0] == pytest.approx([0.0, -10.0, -40.0, -30.0, 0.0], abs=1e-9)
    assert ahead(known, [0.0], [1461.0]).mean_um[0, 0] == pytest.approx(0.0, abs=1e-9)
    fast = ahead(known_of(rate=40.0, swing=(20.0, 10.0)), [0.5], [2 * quarter])
    assert fast.mean_um[0, 0] == pytest.approx(20.0 - 40.0)


def test_a_swing_that_is_hardly_known_widens_what_lies_half_a_year_off_and_not_a_whole_one() -> None:
    # Half a year on (cos, sin) changes by (-2, 0) from day 0: variance 4 times that of the first coefficient.
    plain = known_of(rate=0.0, swing=(20.0, 10.0))
    unsure = Posterior(
        *(
            np.array([[[36.0, 5.0], [5.0, 25.0]]]) if name == "swing_cov_um2" else getattr(plain, name)
            for name in Posterior.__slots__
        )
    )
    days = [0.0, DAYS_PER_YEAR / 2.0, DAYS_PER_YEAR]
    more = ahead(unsure, [0.0] * 3, days).calm_sd_um[0] ** 2 - ahead(plain, [0.0] * 3, days).calm_sd_um[0] ** 2
    assert more == pytest.approx([0.0, 4.0 * 36.0, 0.0], abs=1e-9)


def test_jumps_come_with_the_years_and_add_what_several_of_them_would() -> None:
    # Poisson: the chance of any is 1 - exp(-rate t); the variance over all cases is rate t times that of one jump.
    known = known_of(sigma=10.0, rate_sd=0.0, jumps_per_year=0.3, jump_um=80.0)
    years = np.array([0.0, 0.5, 2.0, 6.0])
    got = ahead(known, years.tolist())
    assert got.jump_chance[0] == pytest.approx(1.0 - np.exp(-0.3 * years))
    variance: FloatArray = got.sd_um[0] ** 2
    assert variance == pytest.approx(100.0 + 100.0 * years + 0.3 * years * 80.0**2)
