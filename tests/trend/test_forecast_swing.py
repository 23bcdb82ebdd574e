"""The chance of having passed with jumps and a yearly swing, against plain simulation of paths."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from trend_fleet import ahead_of, known_of

from fleet.trend import HORIZONS_DAYS, Forecast, Posterior, chance_passed, forecast
from fleet.trend.season import phase
from fleet.values import DAYS_PER_YEAR, FloatArray

PATHS = 20_000
STEPS_A_YEAR = 100


def several(*each: Posterior) -> Posterior:
    """Return many series as one posterior."""
    return Posterior(*(np.concatenate([getattr(one, name) for one in each]) for name in Posterior.__slots__))


def altered(known: Posterior, name: str, values: FloatArray) -> Posterior:
    """Return the posterior with one array replaced."""
    changed: dict[str, Any] = {name: values}
    return dataclasses.replace(known, **changed)


def foreseen(known: Posterior, *, limit: float | FloatArray = 100.0, elapsed: float = 0.0) -> Forecast:
    n = known.position_um.size
    return forecast(known, ahead_of(n, elapsed=elapsed), target_um=np.zeros(n), limit_um=np.full(n, limit))


def simulated_chances(known: Posterior, row: int, *, limit: float, seed: int, paths: int = PATHS) -> FloatArray:
    """Return the share of paths that passed by each of `HORIZONS_DAYS`.

    Between two steps a path may have passed and come back: by the reflection principle the chance of that is
    exp(-2 a b / (sigma^2 dt)) for distances a and b from the limit before and after (Karatzas and Shreve 1991, from
    memory).
    """
    rng = np.random.default_rng(seed)

    def of(name: str) -> Any:
        return getattr(known, name)[row]

    x = of("position_um") + np.sqrt(of("position_var_um2")) * rng.standard_normal(paths)
    rate = of("rate_um") + np.sqrt(of("rate_var_um2")) * rng.standard_normal(paths)
    passed = np.abs(x) > limit
    dt = 1.0 / STEPS_A_YEAR
    turn = phase(of("day") + np.arange(0, 2 * STEPS_A_YEAR + 1) * dt * DAYS_PER_YEAR)
    swing = (turn - turn[0]) @ of("swing_um")
    ends = [round(days / DAYS_PER_YEAR * STEPS_A_YEAR) for days in HORIZONS_DAYS]
    shares = []
    between = of("sigma_um") ** 2 * dt
    for step in range(1, ends[-1] + 1):
        seen = x + swing[step - 1]
        x = x + rate * dt + np.sqrt(between) * rng.standard_normal(paths)
        before_jump = x + swing[step]
        for side in (1.0, -1.0):
            room = np.maximum(limit - side * seen, 0.0) * np.maximum(limit - side * before_jump, 0.0)
            passed |= rng.random(paths) < np.exp(-2.0 * room / between)
        count = rng.poisson(of("jumps_per_year") * dt, paths)
        x = x + of("jump_um") * np.sqrt(count) * rng.standard_normal(paths)
        passed |= np.abs(x + swing[step]) > limit
        if step in ends:
            shares.append(np.mean(passed))
    return np.array(shares)


JUMPY = several(
    known_of(rate=0.0, sigma=15.0, jumps_per_year=0.15, jump_um=120.0),
    known_of(rate=30.0, sigma=25.0, jumps_per_year=0.1, jump_um=90.0),
    known_of(position=40.0, rate=20.0, sigma=20.0, jumps_per_year=0.05, jump_um=200.0),
    known_of(position=-20.0, rate=60.0, sigma=30.0, jumps_per_year=0.3, jump_um=60.0),
)


def swinging(seed: int, count: int) -> tuple[Posterior, FloatArray]:
    """Return series as the field has them, each with a swing of 10 to 35 um, and their limits."""
    rng = np.random.default_rng(seed)
    size, top = rng.uniform(10.0, 35.0, count), rng.uniform(0.0, 2.0 * np.pi, count)
    each = [
        known_of(
            position=float(rng.normal(0.0, 15.0)), rate=float(rng.choice([-1, 1]) * rng.uniform(0.0, 80.0)),
            sigma=float(rng.uniform(15.0, 50.0)), swing=(float(a * np.cos(p)), float(a * np.sin(p))),
        )
        for a, p in zip(size, top, strict=True)
    ]  # fmt: skip
    return several(*each), rng.uniform(75.0, 200.0, count)


@pytest.mark.parametrize("row", range(4))
def test_with_jumps_the_chance_is_that_of_simulated_paths(row: int) -> None:
    # A jump counts as if it came at the survey, so that drift after it carries as far as it could: never less than
    # counted but for chance (four standard errors, and the quadrature's last digits), and 0.03 more at most.
    stated = foreseen(JUMPY).chance_over[row]
    counted = simulated_chances(JUMPY, row, limit=100.0, seed=60 + row)
    error = 4.0 * np.sqrt(np.maximum(counted * (1.0 - counted), 1e-4) / PATHS) + 0.002
    assert np.all(stated > counted - error)
    assert np.all(stated < counted + error + 0.03)


def test_jumps_make_passing_likelier_and_those_that_never_come_do_not() -> None:
    calm = foreseen(known_of(rate=10.0)).chance_over[0]
    some = foreseen(known_of(rate=10.0, jumps_per_year=0.1, jump_um=150.0)).chance_over[0]
    never = foreseen(known_of(rate=10.0, jumps_per_year=0.0, jump_um=150.0)).chance_over[0]
    assert np.all(some > calm)
    assert never.tolist() == calm.tolist()
    # In a month next to nothing passes but by a jump: one in 120 months, beyond 100 um half the time (0.505 for a
    # normal one of 150 um, wherever the line stands within some 10 um).
    assert some[0] - calm[0] == pytest.approx((1.0 - np.exp(-0.1 * 30.0 / 365.25)) * 0.505, rel=0.06)


def test_with_a_swing_the_chance_is_near_that_of_simulated_paths() -> None:
    # The season's reach stands in for a limit that moves. Over series as the field has them, with limits close enough
    # to be passed, the chance is right on average and some hundredths off in each; where the season swings back while
    # the line drifts on it is a tenth or two.
    known, _ = swinging(seed=70, count=24)
    limit = np.random.default_rng(3).uniform(60.0, 130.0, 24)
    stated = foreseen(known, limit=limit).chance_over
    counted = np.array([simulated_chances(known, row, limit=limit[row], seed=row, paths=3000) for row in range(24)])
    off = stated - counted
    assert np.all(np.abs(np.mean(off, axis=0)) < 0.03)
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert np.max(np.abs(off)) < 0.25
    # With the season left out it is at least twice as far off.
    blind = foreseen(altered(known, "swing_um", np.zeros((24, 2))), limit=limit).chance_over
    assert np.mean((blind - counted) ** 2) > 4.0 * np.mean(off**2)


def test_with_a_swing_too_the_chance_of_having_passed_never_falls_and_dates_rise_with_their_level() -> None:
    known, limit = swinging(seed=71, count=300)
    got = foreseen(known, limit=limit, elapsed=0.3)
    in_order = np.column_stack([got.chance_now, got.chance_over])
    assert np.all(np.diff(in_order, axis=1) >= 0.0)
    assert np.all((in_order >= 0.0) & (in_order <= 1.0))
    dates = np.where(np.isnan(got.over_on_days), np.inf, got.over_on_days)
    assert np.all(dates[:, 1:] >= dates[:, :-1])
    assert np.sum(np.isfinite(dates[:, 1])) > 100
    # A date by which the chance is a half lies where the chances about it say so.
    as_of = 0.3 * DAYS_PER_YEAR
    by = got.chance_over >= 0.5
    for column, days in enumerate(HORIZONS_DAYS):
        assert np.all(dates[by[:, column], 1] <= as_of + days + 0.5)
        assert np.all(dates[~by[:, column], 1] >= as_of + days - 0.5)


def test_a_line_that_only_swings_passes_when_the_swing_reaches_its_limit() -> None:
    # By hand: 60 (1 - cos) reaches 100 um at cos = -2/3, 131.8 degrees of the year or day 133.7, and 120 at most.
    still = known_of(rate=0.0, rate_sd=0.01, sigma=0.5, swing=(-60.0, 0.0))
    sure = altered(still, "position_var_um2", np.full(1, 0.01))
    got = foreseen(sure, limit=100.0)
    assert got.chance_over[0] == pytest.approx([0.0, 0.0, 1.0, 1.0, 1.0], abs=1e-6)
    assert got.over_on_days[0] == pytest.approx([133.7] * 3, abs=5.0)
    assert np.all(foreseen(sure, limit=125.0).chance_over < 1e-6)
    # Seen from the other half of the year it swings the other way, just as far.
    away = foreseen(altered(sure, "day", np.full(1, DAYS_PER_YEAR / 2.0)))
    assert away.chance_over[0] == pytest.approx(got.chance_over[0], abs=1e-6)


def test_with_neither_swing_nor_jumps_the_chance_is_the_closed_one() -> None:
    known = several(known_of(rate=30.0), known_of(position=-40.0, rate=-15.0, sigma=35.0), known_of(rate=90.0))
    years = np.broadcast_to(np.array(HORIZONS_DAYS) / DAYS_PER_YEAR, (3, 5))
    closed = chance_passed(
        position_um=known.position_um, position_var_um2=known.position_var_um2, rate_um=known.rate_um,
        rate_var_um2=known.rate_var_um2, cov_um2=known.cov_um2, sigma_um=known.sigma_um, limit_um=np.full(3, 100.0),
        years=years,
    )  # fmt: skip
    alone = foreseen(known).chance_over
    assert alone == pytest.approx(closed, abs=1e-12)
    # Nor do neighbours that swing and jump change it.
    beside = several(known, known_of(swing=(20.0, 20.0)), known_of(jumps_per_year=0.2, jump_um=90.0))
    assert foreseen(beside).chance_over[:3] == pytest.approx(alone, abs=1e-9)
