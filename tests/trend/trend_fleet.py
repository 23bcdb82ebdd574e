"""Simulated fleets with known truth, and small hand-made records."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from fleet.trend import Ahead, AxisPool, Intervals, Pooled, Posterior, Series, Visits
from fleet.trend.jumps import NO_JUMPS
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Truth:
    rate_um: FloatArray
    after_um: FloatArray  # true offset after every visit, shape (n_series, visits)
    found_um: FloatArray  # measured as-found, shape (n_series, visits)
    clock: FloatArray


def simulated(
    *,
    lines: int,
    visits: int,
    seed: int,
    stations: int = 4,
    sigma: float = 20.0,
    tau: float = 15.0,
    mean: tuple[float, float] = (5.0, 20.0),
    u: float = 15.0,
    measured_only: float = 0.3,
    line_part: float = 0.0,
    jump_share: float = 0.0,
    jump_um: float = 0.0,
) -> tuple[Series, Visits, Truth]:
    """Simulate the model of the design page; `line_part` is the share of the rate's variance common to a line."""
    rng = np.random.default_rng(seed)
    n = lines * stations * 2
    line = np.repeat(np.arange(lines), stations * 2)
    share = np.tile(np.repeat((np.arange(stations) + 1) / stations, 2), lines)
    axis = np.tile([0, 1], lines * stations)
    common = rng.standard_normal((lines, 2))[line, axis]
    rate = mean[0] + mean[1] * share
    rate = rate + tau * (np.sqrt(line_part) * common + np.sqrt(1 - line_part) * rng.standard_normal(n))
    clock = np.cumsum(rng.uniform(0.5, 1.5, (lines, visits)), axis=1)[line]
    realigned = (rng.random((lines, visits)) >= measured_only)[line]
    setup = np.sqrt(0.4) * u * rng.standard_normal((lines, 2, visits))[line, axis]
    own = np.sqrt(0.6) * u
    position = np.zeros(n)
    found, left, after = (np.empty((n, visits)) for _ in range(3))
    for k in range(visits):
        if k:
            years = clock[:, k] - clock[:, k - 1]
            position = position + rate * years + sigma * np.sqrt(years) * rng.standard_normal(n)
            position += np.where(rng.random(n) < jump_share, jump_um * rng.choice([-1, 1], n), 0.0)
        found[:, k] = position + setup[:, k] + own * rng.standard_normal(n)
        position = np.where(realigned[:, k], 5.0 * rng.standard_normal(n), position)
        again = position + setup[:, k] + own * rng.standard_normal(n)
        left[:, k] = np.where(realigned[:, k], again, found[:, k])
        after[:, k] = position
    size = n * visits

    def all_of(value: float) -> FloatArray:
        return np.full(size, value)

    record = Visits(
        series=np.repeat(np.arange(n), visits),
        clock_years=clock.ravel(),
        days=clock.ravel() * DAYS_PER_YEAR,
        found_um=found.ravel(),
        found_var_um2=all_of(u * u),
        found_setup_um2=all_of(0.4 * u * u),
        left_um=left.ravel(),
        left_var_um2=all_of(u * u),
        left_setup_um2=all_of(0.4 * u * u),
        one_survey=~realigned.ravel(),
        moved=realigned.ravel(),
        chained=np.ones(size, dtype=np.bool_),
        regime_found=np.zeros(size, dtype=np.int64),
        regime_left=np.zeros(size, dtype=np.int64),
    )
    foundation = np.full(n, -1, dtype=np.int64)
    return Series(axis, share, line, foundation, foundation), record, Truth(rate, after, found, clock)


def first_visits(record: Visits, visits: int, keep: int) -> Visits:
    """Return the record as it stood after the first visits of every series."""
    chosen = np.arange(record.series.size) % visits < keep
    return Visits(*(getattr(record, name)[chosen] for name in Visits.__slots__))


def one_series(
    clock: list[float],
    found: list[float],
    left: list[float] | None = None,
    *,
    var: float = 100.0,
    setup: float = 0.4,
    regime_found: list[int] | None = None,
    regime_left: list[int] | None = None,
) -> tuple[Series, Visits]:
    """Return one series; without `left`, every session measured only."""
    n = len(clock)
    one = left is None
    found_um = np.array(found, dtype=np.float64)
    left_um = found_um if left is None else np.array(left, dtype=np.float64)
    record = Visits(
        series=np.zeros(n, dtype=np.int64),
        clock_years=np.array(clock, dtype=np.float64),
        days=np.array(clock, dtype=np.float64) * DAYS_PER_YEAR,
        found_um=found_um,
        found_var_um2=np.where(np.isfinite(found_um), var, np.nan),
        found_setup_um2=np.where(np.isfinite(found_um), setup * var, np.nan),
        left_um=left_um,
        left_var_um2=np.where(np.isfinite(left_um), var, np.nan),
        left_setup_um2=np.where(np.isfinite(left_um), setup * var, np.nan),
        one_survey=np.full(n, one),
        moved=np.full(n, not one),
        chained=np.ones(n, dtype=np.bool_),
        regime_found=np.array(regime_found or [0] * n, dtype=np.int64),
        regime_left=np.array(regime_left or [0] * n, dtype=np.int64),
    )
    return alone(), record


def alone(n: int = 1, *, share: float = 1.0) -> Series:
    """Return n series, each the only one of its line, on axis v."""
    return Series(
        np.zeros(n, dtype=np.int64),
        np.full(n, share),
        np.arange(n, dtype=np.int64),
        np.full(n, -1, dtype=np.int64),
        np.full(n, -1, dtype=np.int64),
    )


def pool_of(
    found: Intervals, *, tau: float, sigma: float, mean: float = 0.0, sigma_dof: float = 1e9, rate_rho: float = 0.0
) -> Pooled:
    """Return a pool with known parameters."""
    axis = AxisPool(
        coefficients=np.array([mean, 0.0]), covariance=np.zeros((2, 2)), tau_um=tau, sigma_um=sigma,
        sigma_dof=sigma_dof, tau_growth=0.0, sigma_growth=0.0, rate_rho=rate_rho, error_rho=0.0, foundations=(),
        foundation_by_share=False, n_intervals=0, n_lines=0, objective=0.0, jumps=NO_JUMPS,
    )  # fmt: skip
    return Pooled((axis, axis), np.zeros(found.series.shape))


def plain_intervals(
    years: FloatArray, moved: FloatArray, var: float, series: FloatArray | IntArray | None = None
) -> Intervals:
    """Return independent intervals (no shared session) of one series, or of those given."""
    n = years.size
    of = np.zeros(n, dtype=np.int64) if series is None else np.asarray(series, dtype=np.int64)
    return Intervals(
        series=of, from_visit=np.full(n, -2), to_visit=np.full(n, -2), from_day=np.zeros(n), to_day=np.zeros(n),
        years=years, moved_um=moved,
        var_um2=np.full(n, var), cov_next_um2=np.zeros(n), across_event=np.zeros(n, dtype=np.bool_),
        regime=np.zeros(n, dtype=np.int64),
    )  # fmt: skip


def no_visits() -> Visits:
    """Return a record without any visit."""
    ints, floats, flags = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.bool_)
    return Visits(ints, floats, floats, floats, floats, floats, floats, floats, floats, flags, flags, flags, ints, ints)


def intervals_of(*, across: list[bool], moved: list[float]) -> Intervals:
    """Return yearly intervals of one series with u^2 of 100, some of them across an event."""
    plain = plain_intervals(np.ones(len(moved)), np.array(moved), 100.0)
    flags = np.array(across)
    return dataclasses.replace(plain, across_event=flags, regime=np.cumsum(np.r_[False, flags[:-1]]).astype(np.int64))


def ahead_of(
    n: int,
    *,
    elapsed: float = 0.0,
    days: float | None = None,
    per_day: float = 1 / 365.25,
    next_days: float = float("nan"),
    following_days: float = float("nan"),
    dates: tuple[float, ...] = (90.0,),
) -> Ahead:
    """Return what lies ahead of n series that stand alike."""

    def each(value: float) -> FloatArray:
        return np.full(n, value)

    return Ahead(
        each(elapsed), each(elapsed * 365.25 if days is None else days), each(per_day), each(next_days),
        each(following_days), np.array(dates),
    )  # fmt: skip


def known_of(
    *, position: float = 0.0, rate: float = 20.0, sigma: float = 20.0, dof: float = 1e9, rate_sd: float = 10.0,
    jumps_per_year: float = 0.0, jump_um: float = 0.0, swing: tuple[float, float] = (0.0, 0.0),
) -> Posterior:  # fmt: skip
    """Return one series surveyed on day 0, measured to 10 um."""
    one = np.ones(1)
    return Posterior(
        last_visit=np.zeros(1, dtype=np.int64), day=0.0 * one, measured_um=position * one, measured_var_um2=100.0 * one,
        position_um=position * one, position_var_um2=100.0 * one, rate_um=rate * one, rate_var_um2=rate_sd**2 * one,
        cov_um2=0.0 * one, sigma_um=sigma * one, sigma_dof=dof * one,
        jumps_per_year=jumps_per_year * one, jump_um=jump_um * one, swing_um=np.array([swing]),
        swing_cov_um2=np.zeros((1, 2, 2)), borrowed=one,
        n_intervals=np.zeros(1, dtype=np.int64),
    )  # fmt: skip
