"""First passage against the published law and against a series that shares no algebra with the code."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fleet.trend import Ahead, Posterior, TrendError, chance_passed, forecast
from fleet.values import FloatArray

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def one_sided(distance: FloatArray, drift: FloatArray, sigma: FloatArray, t: FloatArray, far: float) -> FloatArray:
    """Start `distance` below the upper limit, the lower one out of reach; everything in thousandths."""
    nothing = np.zeros_like(distance)
    return chance_passed(
        position_um=far - distance * 1e3, position_var_um2=nothing, rate_um=drift * 1e3, rate_var_um2=nothing,
        cov_um2=nothing, sigma_um=sigma * 1e3, limit_um=np.full_like(distance, far), years=t,
    )  # fmt: skip


def test_one_far_limit_gives_the_inverse_gaussian_table() -> None:
    # Schroedinger 1915; Chhikara and Folks 1989; digits computed with 50 places.
    table = rows("first_passage_cdf.csv")
    d, v, s, t, cdf = (
        np.array([float(row[name]) for row in table])
        for name in ("distance_d", "drift_v", "diffusion_sigma", "t", "cdf")
    )
    assert one_sided(d, v, s, t, 1e7) == pytest.approx(cdf, abs=2e-6)


def test_scipy_inverse_gaussian_agrees_on_a_grid() -> None:
    from scipy.stats import invgauss

    t = np.linspace(0.05, 8.0, 60)
    d, v, s = np.full_like(t, 0.8), np.full_like(t, 0.3), np.full_like(t, 0.4)
    shape = (d / s) ** 2
    assert one_sided(d, v, s, t, 1e7) == pytest.approx(invgauss.cdf(t, mu=d / v / shape, scale=shape), abs=2e-6)


def test_without_drift_and_with_a_receding_one_the_closed_special_cases_hold() -> None:
    # 2 Phi(-d / (sigma sqrt t)); exp(2 d v / sigma^2) for v < 0 and unlimited time.
    for row in rows("first_passage_special.csv"):
        unlimited = row["t"] == "inf"
        d, v, s, t = (
            np.array([float(value)])
            for value in (row["distance_d"], row["drift_v"], row["diffusion_sigma"], "1e5" if unlimited else row["t"])
        )
        assert one_sided(d, v, s, t, 1e9) == pytest.approx(float(row["probability"]), abs=1e-6)


def stayed_by_eigenfunctions(
    start: FloatArray, rate: FloatArray, sigma: FloatArray, limit: FloatArray, t: float
) -> FloatArray:
    """Chance to have stayed within +-limit: the heat kernel of an interval as a sine series, tilted for the rate.

    Cox and Miller 1965, 5.7 (from memory); the integral over the end point is done in closed form.
    """
    width = 2.0 * limit
    x0 = start + limit
    m = rate / sigma**2
    total = np.zeros_like(start)
    for n in range(1, 120):
        k = n * np.pi / width
        end = k * (1.0 - (-1.0) ** n * np.exp(m * width)) / (m**2 + k**2)
        total += 2.0 / width * np.sin(k * x0) * np.exp(-((sigma * k) ** 2) * t / 2.0) * end
    return np.where(np.abs(start) < limit, np.exp(-m * x0 - rate**2 * t / (2.0 * sigma**2)) * total, 0.0)


def test_from_the_middle_without_drift_the_exit_series_of_an_interval_is_met() -> None:
    # 1 - 4/pi sum (-1)^k / (2k+1) exp(-(2k+1)^2 pi^2 sigma^2 t / (8 L^2)); Borodin and Salminen, from memory.
    t = np.array([0.5, 2.0, 5.0, 10.0, 25.0, 60.0, 200.0])
    k = np.arange(200)[:, None]
    terms = (-1.0) ** k / (2 * k + 1) * np.exp(-((2 * k + 1) ** 2) * np.pi**2 * 20.0**2 * t / (8.0 * 100.0**2))
    passed = 1.0 - 4.0 / np.pi * np.sum(terms, axis=0)
    still = np.zeros_like(t)
    got = chance_passed(
        position_um=still, position_var_um2=still, rate_um=still, rate_var_um2=still, cov_um2=still,
        sigma_um=np.full_like(t, 20.0), limit_um=np.full_like(t, 100.0), years=t,
    )  # fmt: skip
    assert got == pytest.approx(passed, abs=1e-4)


def test_with_a_known_start_and_rate_the_sine_series_is_met_everywhere() -> None:
    rng = np.random.default_rng(11)
    n = 3000
    limit, sigma = rng.uniform(60, 140, n), rng.uniform(20, 45, n)
    start = rng.uniform(-0.98, 0.98, n) * limit
    # Beyond this rate the tilted sine series cancels to nothing in double precision; the start of a wall-to-wall
    # passage stays included.
    rate = np.clip(rng.normal(0, 35, n), -10.0 * sigma**2 / limit, 10.0 * sigma**2 / limit)
    nothing = np.zeros(n)
    for t in (0.3, 1.0, 3.0, 8.0, 20.0):
        got = chance_passed(
            position_um=start, position_var_um2=nothing, rate_um=rate, rate_var_um2=nothing, cov_um2=nothing,
            sigma_um=sigma, limit_um=limit, years=np.full(n, t),
        )  # fmt: skip
        known = 1.0 - stayed_by_eigenfunctions(start, rate, sigma, limit, t)
        assert np.max(np.abs(got - known)) < 2e-4


@pytest.mark.parametrize(
    ("position", "rate", "cov"), [(0.0, 25.0, 0.3), (-60.0, 40.0, -0.4), (95.0, -50.0, 0.5), (110.0, 0.0, 0.0)]
)
def test_an_uncertain_start_and_rate_are_averaged_over(position: float, rate: float, cov: float) -> None:
    rng = np.random.default_rng(12)
    sd_x, sd_mu, draws = 12.0, 15.0, 30_000
    z = rng.standard_normal((2, draws))
    x0, mu = position + sd_x * z[0], rate + sd_mu * (cov * z[0] + np.sqrt(1 - cov**2) * z[1])
    one = np.ones(1)
    for t in (0.5, 2.0, 5.0):
        stayed = stayed_by_eigenfunctions(x0, mu, np.full(draws, 25.0), np.full(draws, 100.0), t)
        got = chance_passed(
            position_um=position * one, position_var_um2=sd_x**2 * one, rate_um=rate * one,
            rate_var_um2=sd_mu**2 * one, cov_um2=cov * sd_x * sd_mu * one, sigma_um=25.0 * one, limit_um=100.0 * one,
            years=t * one,
        )  # fmt: skip
        error = 4.0 * np.std(stayed) / np.sqrt(draws) + 3e-4
        assert got[0] == pytest.approx(1.0 - np.mean(stayed), abs=float(error))


def test_starts_well_inside_are_averaged_over_as_quadrature_over_the_sine_series_does() -> None:
    # Wide and narrow channels, rates that reach the limit and rates that turn back from it, both signs of covariance.
    rng = np.random.default_rng(14)
    n, years = 300, np.array([0.1, 0.8, 3.0, 8.0])
    limit, sigma = rng.uniform(90, 200, n), rng.uniform(25, 50, n)
    sd_x, sd_mu, cov = rng.uniform(1, 15, n), rng.uniform(1, 12, n), rng.uniform(-0.8, 0.8, n)
    position = rng.uniform(-1, 1, n) * (limit - 4.5 * sd_x)
    rate = rng.normal(0, 30, n)
    got = chance_passed(
        position_um=position, position_var_um2=sd_x**2, rate_um=rate, rate_var_um2=sd_mu**2,
        cov_um2=cov * sd_x * sd_mu, sigma_um=sigma, limit_um=limit, years=np.broadcast_to(years, (n, 4)),
    )  # fmt: skip
    place, weight = np.polynomial.hermite_e.hermegauss(20)
    z0, z1 = np.meshgrid(place, place)
    share = np.outer(weight, weight).ravel() / np.sum(weight) ** 2
    for column, t in enumerate(years):
        stayed = np.zeros(n)
        for a, b, part in zip(z0.ravel(), z1.ravel(), share, strict=True):
            if part > 1e-9:
                mu = rate + sd_mu * (cov * a + np.sqrt(1 - cov**2) * b)
                stayed += part * stayed_by_eigenfunctions(position + sd_x * a, mu, sigma, limit, float(t))
        assert np.max(np.abs(got[:, column] - (1.0 - stayed))) < 3e-4


@pytest.mark.parametrize(
    ("position", "sd_x", "rate", "sd_mu", "cov", "sigma", "limit", "years"),
    [
        (-106.7, 14.96, -18.3, 21.5, -0.459, 16.2, 125.0, 12.0),
        (-91.8, 10.17, -5.9, 20.9, 0.196, 19.0, 104.5, 6.0),
        (140.0, 20.0, -20.0, 6.0, 0.3, 30.0, 150.0, 0.1),
        (60.0, 50.0, 20.0, 6.0, 0.0, 30.0, 150.0, 0.08),
    ],
)
def test_a_start_near_a_wall_counts_both_walls_once_and_short_times_finely(
    position: float, sd_x: float, rate: float, sd_mu: float, cov: float, sigma: float, limit: float, years: float
) -> None:
    # The sine series averaged over start (120 Legendre nodes inside the walls) and rate (60 Hermite nodes).
    z, weight = np.polynomial.hermite_e.hermegauss(60)
    place, part = np.polynomial.legendre.leggauss(120)
    low, high = max(-limit, position - 7.0 * sd_x), min(limit, position + 7.0 * sd_x)
    x = low + (high - low) * (place + 1.0) / 2.0
    density = part * (high - low) / 2.0 * np.exp(-0.5 * ((x - position) / sd_x) ** 2) / sd_x / np.sqrt(2.0 * np.pi)
    mu = (rate + cov * sd_mu / sd_x * (x - position))[:, None] + np.sqrt(1.0 - cov**2) * sd_mu * z
    # A rate too fast for the series in double precision: whoever has it is out by then.
    slow = np.abs(mu) * limit / sigma**2 < 12.0
    one = np.ones(mu.shape)
    stayed = stayed_by_eigenfunctions(
        (x[:, None] * one).ravel(), np.where(slow, mu, 0.0).ravel(), sigma * one.ravel(), limit * one.ravel(), years
    ).reshape(mu.shape)
    inside = np.sum(density[:, None] * weight / np.sum(weight) * np.where(slow, stayed, 0.0))
    at = np.ones(1)
    got = chance_passed(
        position_um=position * at, position_var_um2=sd_x**2 * at, rate_um=rate * at, rate_var_um2=sd_mu**2 * at,
        cov_um2=cov * sd_x * sd_mu * at, sigma_um=sigma * at, limit_um=limit * at, years=years * at,
    )  # fmt: skip
    assert got[0] == pytest.approx(1.0 - inside, abs=5e-4)


def test_several_years_at_a_time_are_the_years_one_by_one() -> None:
    rng = np.random.default_rng(15)
    n = 500
    start = {
        "position_um": rng.normal(0, 60, n), "position_var_um2": rng.uniform(0, 20, n) ** 2,
        "rate_um": rng.normal(0, 40, n), "rate_var_um2": rng.uniform(0, 20, n) ** 2, "cov_um2": np.zeros(n),
        "sigma_um": rng.uniform(5, 60, n), "limit_um": np.where(rng.random(n) < 0.1, np.nan, rng.uniform(0, 150, n)),
    }  # fmt: skip
    years = np.where(rng.random((n, 3)) < 0.1, np.nan, rng.uniform(0, 6, (n, 3)))
    together = chance_passed(**start, years=years)
    assert together.shape == (n, 3)
    assert np.array_equal(np.isnan(together), np.isnan(years) | np.isnan(start["limit_um"])[:, None])
    for column in range(3):
        alone = chance_passed(**start, years=years[:, column])
        assert together[:, column] == pytest.approx(alone, abs=1e-12, nan_ok=True)


def test_simulated_paths_pass_as_often_as_said() -> None:
    # Paths in small steps; a step that ends inside may have touched a wall between: exp(-2 g0 g1 / (sigma^2 dt)).
    rng = np.random.default_rng(13)
    paths, steps, years, sigma, limit = 20_000, 100, 3.0, 25.0, 80.0
    x = rng.normal(20.0, 10.0, paths)
    mu = rng.normal(15.0, 12.0, paths)
    dt = years / steps
    alive = np.abs(x) <= limit
    for _ in range(steps):
        ahead = x + mu * dt + sigma * np.sqrt(dt) * rng.standard_normal(paths)
        alive &= np.abs(ahead) <= limit
        for side in (1.0, -1.0):
            touched = np.exp(
                -2.0 * np.maximum(limit - side * x, 0) * np.maximum(limit - side * ahead, 0) / sigma**2 / dt
            )
            alive &= rng.random(paths) > touched
        x = ahead
    one = np.ones(1)
    got = chance_passed(
        position_um=20.0 * one, position_var_um2=100.0 * one, rate_um=15.0 * one, rate_var_um2=144.0 * one,
        cov_um2=0.0 * one, sigma_um=sigma * one, limit_um=limit * one, years=years * one,
    )[0]  # fmt: skip
    assert got == pytest.approx(1.0 - np.mean(alive), abs=4.0 * np.sqrt(got * (1 - got) / paths))


def test_dates_are_the_published_quantiles_of_the_first_passage() -> None:
    # Quantiles of the inverse Gaussian law: 10, 50 and 90 %; a case within five years.
    row = next(row for row in rows("first_passage_moments.csv") if row["drift_v"] == "0.5")
    far, one = 1e5, np.ones(1)
    known = Posterior(
        last_visit=np.zeros(1, dtype=np.int64), day=0.0 * one, measured_um=far - 1e3 * one, measured_var_um2=0.0 * one,
        position_um=far - 1e3 * one, position_var_um2=0.0 * one, rate_um=500.0 * one, rate_var_um2=0.0 * one,
        cov_um2=0.0 * one, sigma_um=200.0 * one, sigma_dof=1e9 * one, jumps_per_year=0.0 * one,
        jump_um=0.0 * one, swing_um=np.zeros((1, 2)), swing_cov_um2=np.zeros((1, 2, 2)), borrowed=0.0 * one,
        n_intervals=np.zeros(1, dtype=np.int64),
    )  # fmt: skip
    for elapsed in (0.0, 1.6):
        ahead = Ahead(elapsed * one, elapsed * 365.25 * one, one / 365.25, np.nan * one, np.nan * one, np.array([30.0]))
        days = forecast(known, ahead, target_um=0.0 * one, limit_um=far * one).over_on_days[0]
        assert days / 365.25 == pytest.approx([float(row[q]) for q in ("q10", "median", "q90")], rel=2e-4)


def test_a_start_beyond_the_limit_has_passed_and_a_limit_of_nought_is_always_passed() -> None:
    nothing, limit = np.zeros(3), np.array([50.0, 0.0, np.nan])
    got = chance_passed(
        position_um=np.array([60.0, 0.3, 0.0]), position_var_um2=nothing, rate_um=nothing, rate_var_um2=nothing,
        cov_um2=nothing, sigma_um=np.full(3, 1.0), limit_um=limit, years=np.zeros(3),
    )  # fmt: skip
    assert got[:2].tolist() == [1.0, 1.0]
    assert np.isnan(got[2])


def test_a_negative_limit_is_refused() -> None:
    one = np.ones(1)
    with pytest.raises(TrendError, match="-5"):
        chance_passed(
            position_um=one, position_var_um2=one, rate_um=one, rate_var_um2=one, cov_um2=0 * one, sigma_um=one,
            limit_um=-5.0 * one, years=one,
        )  # fmt: skip
