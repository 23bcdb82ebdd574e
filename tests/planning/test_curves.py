"""Expected days over and chances, from curves; against closed forms and the trend's own first passage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import invgauss

from fleet.planning import (
    Curves,
    PlanError,
    after_visit,
    as_left_var_um2,
    curve_days,
    expectations,
    plan_end_day,
    worst_of_lines,
)
from fleet.trend import chance_passed
from fleet.values import DAYS_PER_YEAR


def test_days_over_are_the_area_under_a_straight_curve() -> None:
    # By hand: a chance of t / 1000 up to day 100 is 5 days over; from the visit on t / 2000 over 300 days is 22.5.
    days = np.array([0.0, 50.0, 200.0, 400.0])
    curves = Curves(days, days[None, :] / 1000.0, days, days[None, :] / 2000.0)
    got = expectations(curves, start_day=np.array([100.0]), end_day=400.0)
    assert got.days_over == pytest.approx(np.array([[27.5, 80.0]]))
    assert got.chance_before == pytest.approx(np.array([[0.1, 0.4]]))
    assert got.chance_now == pytest.approx([0.0])


def test_days_over_agree_with_the_inverse_gaussian_law() -> None:
    """Outside check: a drift of mu and a wander of sigma first pass a after an inverse Gaussian time.

    Mean a / mu, shape a^2 / sigma^2 (Chhikara and Folks 1989, The Inverse Gaussian Distribution; scipy.stats.invgauss
    has mean `mu` times scale and shape `scale`). One limit is so far away that it is never passed.
    """
    a, mu, sigma, end = 100.0, 60.0, 40.0, 1100.0
    law = invgauss((a / mu) / (a**2 / sigma**2), scale=a**2 / sigma**2)
    days = curve_days(end, np.array([333.0]))
    chance = law.cdf(days / DAYS_PER_YEAR)[None, :]
    got = expectations(Curves(days, chance, days, chance), start_day=np.array([333.0]), end_day=end)

    def area(until: float) -> float:
        return float(quad(lambda t: law.cdf(t / DAYS_PER_YEAR), 0.0, until, limit=200)[0])

    assert got.days_over[0] == pytest.approx([area(333.0) + area(767.0), area(end)], abs=0.15)
    assert got.chance_before[0] == pytest.approx(law.cdf(np.array([333.0, end]) / DAYS_PER_YEAR), abs=1e-9)


def test_a_realigned_line_drifts_on_from_its_target() -> None:
    """Synthetic truth: what the trend's closed form says after a visit is what simulated lines do."""
    rng = np.random.default_rng(11)
    rate, rate_sd, sigma, spread, limit, years = 40.0, 15.0, 30.0, 12.0, 90.0, 2.0
    start = after_visit(
        rate_um=np.array([rate]), rate_var_um2=np.array([rate_sd**2]), as_left_um2=np.array([spread**2])
    )
    days = curve_days(years * DAYS_PER_YEAR, np.empty(0))
    chance = chance_passed(
        position_um=start.position_um, position_var_um2=start.position_var_um2, rate_um=start.rate_um,
        rate_var_um2=start.rate_var_um2, cov_um2=start.cov_um2, sigma_um=np.array([sigma]), limit_um=np.array([limit]),
        years=days[None, :] / DAYS_PER_YEAR,
    )  # fmt: skip
    got = expectations(Curves(days, chance, days, chance), start_day=np.empty(0), end_day=float(days[-1]))

    paths, steps = 4000, 1460
    dt = years / steps
    at = spread * rng.standard_normal(paths)
    mu = rate + rate_sd * rng.standard_normal(paths)
    over = np.abs(at) > limit
    day_count = np.zeros(paths)
    for _ in range(steps):
        at += mu * dt + sigma * np.sqrt(dt) * rng.standard_normal(paths)
        over |= np.abs(at) > limit
        day_count += over * dt * DAYS_PER_YEAR
    # Half-day steps see a passage about a tenth of a year's wander late; three standard errors beside that.
    error = 3.0 * float(day_count.std()) / np.sqrt(paths)
    assert got.days_over[0, -1] == pytest.approx(float(day_count.mean()), abs=error + 4.0)


def test_a_curve_for_every_outage_counts_in_its_own_outage() -> None:
    days = np.array([0.0, 100.0])
    after = np.stack([days / 1000.0, days / 100.0])[None, :, :]
    curves = Curves(days, np.zeros((1, 2)), days, after)
    got = expectations(curves, start_day=np.array([50.0, 50.0]), end_day=100.0)
    # By hand: 50 days, half of 0.05 and half of 0.5 on average.
    assert got.days_over == pytest.approx(np.array([[1.25, 12.5, 0.0]]))


def test_a_line_without_a_forecast_has_no_figures() -> None:
    days = np.array([0.0, 100.0])
    curves = Curves(days, np.array([[np.nan, np.nan], [0.0, 0.5]]), days, np.zeros((2, 2)))
    got = expectations(curves, start_day=np.array([50.0]), end_day=100.0)
    assert np.isnan(got.days_over[0]).all()
    assert np.isnan(got.chance_before[0]).all()
    assert np.isfinite(got.days_over[1]).all()


def test_the_plan_ends_a_year_after_the_last_outage_does() -> None:
    assert plan_end_day(np.array([20.0, 90.0]), np.array([24.0, np.nan])) == 455.0
    assert plan_end_day(np.empty(0), np.empty(0)) == 365.0


def test_the_worst_station_and_axis_speak_for_a_line() -> None:
    chance = np.array([[0.1, 0.2], [0.3, 0.25], [np.nan, np.nan]])
    worst = worst_of_lines(chance, np.array([0, 0, 1]), 3)
    # Having passed cannot be undone: what falls in the last digits is held.
    assert worst[0] == pytest.approx([0.3, 0.3])
    assert np.isnan(worst[1:]).all()


def test_an_as_left_spread_is_what_was_measured_and_what_measuring_hides() -> None:
    # By hand: squares 100 + 25 = 125 (twice) and 400 + 25 = 425; mean 225. Series 0: (250 + 4 x 225) / 6; series 1:
    # (425 + 900) / 5; series 2 has no visit and takes the fleet's.
    got = as_left_var_um2(np.array([10.0, -10.0, 20.0]), np.full(3, 25.0), np.array([0, 0, 1]), 3)
    assert got == pytest.approx([1150.0 / 6.0, 265.0, 225.0])
    assert np.isnan(as_left_var_um2(np.empty(0), np.empty(0), np.empty(0, dtype=np.int64), 2)).all()


def test_the_days_to_ask_for_hold_the_outages_and_the_end() -> None:
    days = curve_days(400.0, np.array([-5.0, 123.5, 400.0, 900.0]))
    assert days[0] == 0.0
    assert days[-1] == 400.0
    assert 123.5 in days
    assert np.all(np.diff(days) > 0.0)
    assert np.max(np.diff(days)) <= 60.0
    with pytest.raises(PlanError, match="a plan that ends 3 days before as-of has no days; set a later end"):
        curve_days(-3.0, np.empty(0))


def test_curves_that_end_too_soon_are_refused() -> None:
    days = np.array([0.0, 100.0])
    curves = Curves(days, np.zeros((1, 2)), days, np.zeros((1, 2)))
    with pytest.raises(PlanError, match="the forecast reaches 100 days; the plan ends after 120: ask further"):
        expectations(curves, start_day=np.array([10.0]), end_day=120.0)
    short = Curves(np.array([0.0, 200.0]), np.zeros((1, 2)), days, np.zeros((1, 2)))
    with pytest.raises(PlanError, match="the curve after a visit reaches 100 days; 190 are left: ask further"):
        expectations(short, start_day=np.array([10.0]), end_day=200.0)
    with pytest.raises(PlanError, match="days of a curve must rise from 0 and hold two days or more"):
        Curves(np.array([5.0, 10.0]), np.zeros((1, 2)), days, np.zeros((1, 2)))


def test_the_days_asked_reach_the_end_to_the_last_digit() -> None:
    end = 695.2083333333333
    assert curve_days(end, np.array([100.123456789123]))[-1] == end


def test_chances_next_to_nothing_are_no_trouble() -> None:
    # Slopes of 1e-320 a day would overflow where the curve divides by them; warnings are errors here.
    days = np.array([0.0, 10.0, 20.0, 30.0])
    curves = Curves(days, np.array([[0.0, 1e-320, 3e-320, 0.5]]), days, np.array([[0.0, 0.0, 1e-310, 1e-300]]))
    got = expectations(curves, start_day=np.array([20.0]), end_day=30.0)
    assert got.days_over[0, 0] == pytest.approx(0.0, abs=1e-9)
