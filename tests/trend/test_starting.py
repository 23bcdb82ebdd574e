"""Chances at chosen days: the same law as the forecast's, and the inverse Gaussian's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import invgauss

from fleet.trend import HORIZONS_DAYS, Ahead, Posterior, chances_on, forecast, start_of
from fleet.values import DAYS_PER_YEAR


def _known(n: int, *, rate_um: float, swing: float = 0.0) -> Posterior:
    zeros, ones = np.zeros(n), np.ones(n)
    swing_um = np.column_stack([swing * ones, zeros])
    return Posterior(
        last_visit=np.arange(n), day=20_000.0 * ones, measured_um=zeros, measured_var_um2=ones, position_um=zeros,
        position_var_um2=1e-9 * ones, rate_um=rate_um * ones, rate_var_um2=1e-9 * ones, cov_um2=zeros,
        sigma_um=40.0 * ones, sigma_dof=1e6 * ones, jumps_per_year=zeros, jump_um=zeros, swing_um=swing_um,
        swing_cov_um2=np.zeros((n, 2, 2)), borrowed=zeros, n_intervals=np.full(n, 5),
    )  # fmt: skip


def test_chances_follow_the_inverse_gaussian_law() -> None:
    """Outside check: time to a barrier a under drift mu and wander sigma (Chhikara and Folks 1989; scipy.stats).

    The other limit is 200 um away against the drift and hardly ever passed.
    """
    a, mu, sigma = 200.0, 120.0, 40.0
    law = invgauss((a / mu) / (a**2 / sigma**2), scale=a**2 / sigma**2)
    start = start_of(
        _known(1, rate_um=mu), target_um=np.zeros(1), limit_um=np.array([a]), elapsed_years=np.zeros(1),
        elapsed_days=np.zeros(1), years_per_day=np.full(1, 1.0 / DAYS_PER_YEAR),
    )  # fmt: skip
    days = np.linspace(0.0, 1500.0, 31)
    assert chances_on(start, days)[0] == pytest.approx(law.cdf(days / DAYS_PER_YEAR), abs=1e-3)


@pytest.mark.parametrize("swing", [0.0, 15.0])
def test_chances_are_those_of_the_forecast_and_unknown_where_it_has_none(swing: float) -> None:
    known = _known(3, rate_um=50.0, swing=swing)
    known.position_um[1] = np.nan
    limit = np.array([90.0, 90.0, np.nan])
    elapsed = np.array([0.4, 0.4, 0.4])
    ahead = Ahead(
        elapsed_years=elapsed, elapsed_days=elapsed * DAYS_PER_YEAR, years_per_day=np.full(3, 0.8 / DAYS_PER_YEAR),
        next_outage_days=np.full(3, np.nan), following_outage_days=np.full(3, np.nan), expected_days=np.zeros(1),
    )  # fmt: skip
    got = forecast(known, ahead, target_um=np.zeros(3), limit_um=limit)
    start = start_of(
        known, target_um=np.zeros(3), limit_um=limit, elapsed_years=elapsed, elapsed_days=elapsed * DAYS_PER_YEAR,
        years_per_day=np.full(3, 0.8 / DAYS_PER_YEAR),
    )  # fmt: skip
    chance = chances_on(start, np.array([0.0, *HORIZONS_DAYS]))
    assert chance[0] == pytest.approx([got.chance_now[0], *got.chance_over[0]], abs=1e-9)
    assert np.all(np.isnan(chance[1:]))
