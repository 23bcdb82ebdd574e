"""How fast a fleet is forecast, the pool's fit included, beside statsmodels taking one series at a time.

10,000 lines of 4 stations and 2 axes with 15 visits: at least 100 times faster than `UnobservedComponents` ("rwdrift")
per series, 10 times faster than `OLS`, under 1 GiB. A time depends on the machine, so it is printed and never asserted;
memory and completeness are. Run this file as a script for the whole fleet; the test takes a hundredth. Synthetic
truth, fixed seed.

The fleet: from arrays to every number of `forecast --json` (dates as days, codes left out), for five horizons, two
outages and two days at which a survey is imagined. statsmodels: the sum of the same movements, series by series, for
two days and nothing about limits: `ols_prediction` is `OLS(y, X).fit().get_prediction(X_ahead)` and no more,
`ols_interval` reads mean and 95 % interval of an observation (`predicted_mean`, `conf_int(obs=True)`), `ols_table` does
so by `summary_frame`; `walk_fit` is `UnobservedComponents(y, "rwdrift").fit(disp=0)` and no more, `walk_interval` goes
on to `get_forecast(2)` and its `conf_int`. Every part runs in a process of its own, in turns; the best turn of each
counts. The fleet's forecast uses two threads, so the ratio of processor seconds stands beside that of the clock.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fleet.trend import (
    HORIZONS_DAYS,
    OVER_LEVELS,
    QUANTILES,
    Ahead,
    Series,
    Visits,
    forecast,
    intervals,
    pool_rates,
    posteriors,
    statuses,
)
from fleet.values import DAYS_PER_YEAR, STATUSES, BoolArray, FloatArray, IntArray

pytestmark = pytest.mark.simulation

N_STATIONS = 4
N_VISITS = 15
DATES = 2
GIBIBYTE = 2**30


@dataclass(frozen=True, slots=True)
class Fleet:
    """The arrays a forecast begins with, and what statsmodels gets of the fleet; shapes (n_series,) unless said."""

    series: Series
    visits: Visits
    ahead: Ahead
    target_um: FloatArray
    watch_um: FloatArray
    limit_um: FloatArray
    last_visit_day: FloatArray
    mean_hours_per_year: FloatArray  # NaN without a meter
    clock_years: FloatArray  # shape (n_series, visits)
    untouched_um: FloatArray  # sum of the measured movements, shape (n_series, visits)


def fleet_of(lines: int, seed: int = 20) -> Fleet:
    """Simulate lines that drift, wander, are measured every half to one and a half years and mostly realigned.

    Rates of 0 to 150 um/year, half of their variance common to a line; wander of 15 to 60 um per root year; standard
    uncertainties of 8 to 20 um, 40 % of the variance set-up.
    """
    rng = np.random.default_rng(seed)
    per_line = N_STATIONS * 2
    n = lines * per_line
    line = np.repeat(np.arange(lines), per_line)
    share = np.tile(np.repeat((np.arange(N_STATIONS) + 1) / N_STATIONS, 2), lines)
    axis = np.tile([0, 1], lines * N_STATIONS)
    common, own = rng.standard_normal((lines, 2))[line, axis], rng.standard_normal(n)
    rate = np.clip(45.0 * share + 35.0 * (np.sqrt(0.5) * common + np.sqrt(0.5) * own), -150.0, 150.0)
    wander = rng.uniform(15.0, 60.0, lines)[line]
    u = rng.uniform(8.0, 20.0, lines)[line]
    limit = np.round(rng.uniform(150.0, 400.0, lines)[line], -1)
    clock = np.cumsum(rng.uniform(0.5, 1.5, (lines, N_VISITS)), axis=1)[line]
    setup = np.sqrt(0.4) * u[:, None] * rng.standard_normal((lines, 2, N_VISITS))[line, axis]

    position = 5.0 * rng.standard_normal(n)
    found, left, untouched = (np.zeros((n, N_VISITS)) for _ in range(3))
    realigned = np.zeros((n, N_VISITS), dtype=np.bool_)
    for k in range(N_VISITS):
        if k:
            years = clock[:, k] - clock[:, k - 1]
            position = position + rate * years + wander * np.sqrt(years) * rng.standard_normal(n)
        found[:, k] = position + setup[:, k] + np.sqrt(0.6) * u * rng.standard_normal(n)
        # A line is left alone only where all of it is within half the limit.
        far = np.zeros(lines, dtype=np.bool_)
        np.logical_or.at(far, line, np.abs(found[:, k]) > limit / 2.0)
        realigned[:, k] = (far | (rng.random(lines) < 0.5))[line]
        position = np.where(realigned[:, k], 6.0 * rng.standard_normal(n), position)
        again = position + setup[:, k] + np.sqrt(0.6) * u * rng.standard_normal(n)
        left[:, k] = np.where(realigned[:, k], again, found[:, k])
        if k:
            untouched[:, k] = untouched[:, k - 1] + found[:, k] - left[:, k - 1]

    size = n * N_VISITS
    variance = np.repeat(u * u, N_VISITS)
    visits = Visits(
        series=np.repeat(np.arange(n), N_VISITS), clock_years=clock.ravel(),
        days=(20_000.0 + DAYS_PER_YEAR * (clock - clock[:, -1:])).ravel(),
        found_um=found.ravel(), found_var_um2=variance, found_setup_um2=0.4 * variance,
        left_um=left.ravel(), left_var_um2=variance, left_setup_um2=0.4 * variance,
        one_survey=~realigned.ravel(), moved=realigned.ravel(), chained=np.ones(size, dtype=np.bool_),
        regime_found=np.zeros(size, dtype=np.int64), regime_left=np.zeros(size, dtype=np.int64),
    )  # fmt: skip
    elapsed = rng.uniform(0.0, 1.0, lines)[line]
    next_outage = rng.uniform(30.0, 300.0, lines)[line]
    return Fleet(
        series=Series(axis, share, line, np.full(n, -1, dtype=np.int64), line // 50),
        visits=visits,
        ahead=Ahead(
            elapsed_years=elapsed, elapsed_days=elapsed * DAYS_PER_YEAR,
            years_per_day=rng.uniform(0.8, 1.2, lines)[line] / DAYS_PER_YEAR,
            next_outage_days=next_outage, following_outage_days=next_outage + rng.uniform(150.0, 400.0, lines)[line],
            expected_days=np.column_stack([next_outage, next_outage + 365.0]),
        ),
        target_um=np.zeros(n), watch_um=limit / 2.0, limit_um=limit, last_visit_day=np.full(n, 20_000.0),
        mean_hours_per_year=np.where(rng.random(lines) < 0.5, rng.uniform(4000.0, 8000.0, lines), np.nan)[line],
        clock_years=clock, untouched_um=untouched,
    )  # fmt: skip


def fields_of(made: Fleet, lap: Callable[[str], None]) -> dict[str, FloatArray | IntArray | BoolArray]:
    """Return every number of `forecast --json`, one row per series; `lap` is told when a step is done."""
    found = intervals(made.visits)
    lap("intervals")
    pooled = pool_rates(found, made.series)
    lap("pool_rates")
    known = posteriors(made.visits, found, made.series, pooled)
    lap("posteriors")
    got = forecast(known, made.ahead, target_um=made.target_um, limit_um=made.limit_um)
    lap("forecast")
    status = statuses(
        got.chance_now, got.chance_before_following, got.measured_deviation_um, made.watch_um, made.limit_um,
        np.isfinite(known.position_um),
    )  # fmt: skip
    pace = made.ahead.years_per_day * DAYS_PER_YEAR
    speaks = ~found.across_event
    behind = [np.unique(made.series.line[found.series[speaks & (made.series.axis[found.series] == k)]]) for k in (0, 1)]
    of_axis = np.array([lines.size for lines in behind])[made.series.axis]
    itself = np.zeros(made.series.axis.shape, dtype=np.bool_)
    for k in (0, 1):
        itself |= (made.series.axis == k) & np.isin(made.series.line, behind[k])
    fields = {
        "last_measured_um": known.measured_um,
        "position_um": got.position_um,
        "u_position_um": got.u_position_um,
        "rate_um_per_year": known.rate_um * pace,
        "u_rate_um_per_year": np.sqrt(known.rate_var_um2) * pace,
        "rate_um_per_1000_h": known.rate_um / made.mean_hours_per_year * 1000.0,
        "deviation_um": got.deviation_um,
        "status": status,
        "chance_over": got.chance_over,
        "chance_before_next_outage": got.chance_before_next,
        "chance_before_following_outage": got.chance_before_following,
        "over_on_day": np.floor(made.last_visit_day[:, None] + got.over_on_days),
        "expected_mean_um": got.expected_um,
        "expected_sd_um": got.expected_sd_um,
        "expected_quantiles_um": got.expected_quantiles_um,
        "borrowed_lines": of_axis - itself,
        "borrowed_weight": known.borrowed,
    }
    lap("fields")
    return fields


def complete(fields: dict[str, FloatArray | IntArray | BoolArray], made: Fleet) -> int:
    """Count the series with every number there and chances, dates and quantiles in their order."""
    n = made.limit_um.size
    shape = {
        "chance_over": (n, len(HORIZONS_DAYS)), "over_on_day": (n, len(OVER_LEVELS)),
        "expected_quantiles_um": (n, DATES, len(QUANTILES)),
    }  # fmt: skip
    good = np.ones(n, dtype=np.bool_)
    for name, values in fields.items():
        good &= values.shape == shape.get(name, (n, DATES) if name.startswith("expected") else (n,))
        if name not in ("rate_um_per_1000_h", "over_on_day"):
            good &= np.isfinite(values).reshape(n, -1).all(axis=1)
    good &= np.isfinite(fields["rate_um_per_1000_h"]) == np.isfinite(made.mean_hours_per_year)
    chance, day = fields["chance_over"], fields["over_on_day"]
    good &= (np.diff(chance, axis=1) >= -1e-3).all(axis=1) & (chance >= 0.0).all(axis=1) & (chance <= 1.0).all(axis=1)
    # The last horizon lies within the five years that dates are given for.
    for k, level in enumerate(OVER_LEVELS):
        good &= np.isfinite(day[:, k]) | (chance[:, -1] < level + 1e-3)
    with np.errstate(invalid="ignore"):
        good &= ~(np.diff(day, axis=1) < 0.0).any(axis=1)
    good &= (np.diff(fields["expected_quantiles_um"], axis=2) > 0.0).all(axis=(1, 2))
    good &= (fields["status"] >= 0) & (fields["status"] < STATUSES.index("no record"))
    return int(np.sum(good))


def time_fleet(lines: int) -> dict[str, float]:
    """Time the whole forecast of a fleet, and each step, in this process."""
    fields_of(fleet_of(100), lambda _: None)  # lazy imports are not what is measured
    made = fleet_of(lines)
    laps: dict[str, float] = {}
    clock, processor = time.perf_counter(), time.process_time()
    since = [clock]

    def lap(step: str) -> None:
        laps[f"{step}_s"] = time.perf_counter() - since[0]
        since[0] += laps[f"{step}_s"]

    fields = fields_of(made, lap)
    told = {"seconds": time.perf_counter() - clock, "processor_seconds": time.process_time() - processor, **laps}
    peak = float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
    return {**told, "series": float(made.limit_um.size), "complete": float(complete(fields, made)), "peak_bytes": peak}


def time_rival(lines: int, sample: int, part: str) -> dict[str, float]:
    """Time one call per series on a sample of the fleet's series, in this process."""
    made = fleet_of(lines)
    one = RIVALS[part]
    pick = np.linspace(0, made.limit_um.size - 1, sample).astype(np.int64)
    with warnings.catch_warnings():
        # What it thinks of so short a record is no matter here.
        warnings.simplefilter("ignore")
        one(made.clock_years[0], made.untouched_um[0])
        clock, processor = time.perf_counter(), time.process_time()
        got = [one(made.clock_years[at], made.untouched_um[at]) for at in pick]
        seconds, used = time.perf_counter() - clock, time.process_time() - processor
    # The parts that stop short of an interval have nothing to look at.
    whole = [not part.endswith(("interval", "table")) or _sound(table) for table in got]
    return {"seconds": seconds, "processor_seconds": used, "series": float(sample), "complete": float(sum(whole))}


def _sound(table: FloatArray) -> bool:
    return table.shape == (DATES, 3) and bool((table[:, 1] < table[:, 0]).all() and (table[:, 0] < table[:, 2]).all())


def line_ahead(clock_years: FloatArray, untouched_um: FloatArray) -> Any:
    """Fit a straight line by OLS and ask for an observation at both days, nothing read out of the answer."""
    import statsmodels.api as sm

    fit = sm.OLS(untouched_um, np.column_stack([np.ones_like(clock_years), clock_years])).fit()
    return fit.get_prediction(np.column_stack([np.ones(DATES), clock_years[-1] + 1.0 + np.arange(DATES)]))


def line_interval(clock_years: FloatArray, untouched_um: FloatArray) -> FloatArray:
    """Read mean and 95 % interval of an observation out of it."""
    ahead = line_ahead(clock_years, untouched_um)
    return np.column_stack([ahead.predicted_mean, ahead.conf_int(obs=True)])


def line_table(clock_years: FloatArray, untouched_um: FloatArray) -> FloatArray:
    """Read the same by `summary_frame`."""
    table = line_ahead(clock_years, untouched_um).summary_frame(alpha=0.05)
    return np.asarray(table[["mean", "obs_ci_lower", "obs_ci_upper"]], dtype=np.float64)


def walk(_clock_years: FloatArray, untouched_um: FloatArray) -> Any:
    """Fit a random walk with drift, the visits taken as evenly spaced."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    return UnobservedComponents(untouched_um, "rwdrift").fit(disp=0)


def walk_interval(clock_years: FloatArray, untouched_um: FloatArray) -> FloatArray:
    """Read mean and 95 % interval of an observation one and two visits ahead out of it."""
    ahead = walk(clock_years, untouched_um).get_forecast(DATES)
    return np.column_stack([ahead.predicted_mean, ahead.conf_int(alpha=0.05)])


RIVALS: dict[str, Callable[[FloatArray, FloatArray], Any]] = {
    "ols_prediction": line_ahead,
    "ols_interval": line_interval,
    "ols_table": line_table,
    "walk_fit": walk,
    "walk_interval": walk_interval,
}


def in_own_process(part: str, given: argparse.Namespace) -> dict[str, float]:
    """Run one part in a process of its own, so that its memory is its own."""
    words = [sys.executable, str(Path(__file__)), "--part", part, "--lines", str(given.lines)]
    words += ["--ols", str(given.ols), "--walks", str(given.walks)]
    # Left alone, its linear algebra would start threads for matrices of two columns and use twice the processor.
    one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    told = subprocess.run(words, capture_output=True, text=True, check=True, env=one_thread).stdout
    figures: dict[str, float] = json.loads(told.splitlines()[-1])
    return figures


def compare(given: argparse.Namespace) -> dict[str, float]:
    """Run all parts in turns and keep the best turn of each."""
    turns: dict[str, list[dict[str, float]]] = {part: [] for part in ("fleet", *given.rivals)}
    for _ in range(given.rounds):
        for part, done in turns.items():
            done.append(in_own_process(part, given))
    best = {part: min(done, key=lambda one: one["seconds"]) for part, done in turns.items()}
    least = {part: min(one["processor_seconds"] for one in done) for part, done in turns.items()}
    fleet = best["fleet"]
    figures = dict(fleet)
    figures["peak_bytes"] = max(one["peak_bytes"] for one in turns["fleet"])
    for part in given.rivals:
        sample = best[part]["series"]
        scale = fleet["series"] / sample
        figures[f"{part}_sample"], figures[f"{part}_complete"] = sample, best[part]["complete"]
        figures[f"{part}_ms_each"] = best[part]["seconds"] / sample * 1000.0
        figures[f"{part}_times_the_fleet"] = best[part]["seconds"] * scale / fleet["seconds"]
        figures[f"{part}_times_the_fleet_in_processor_seconds"] = least[part] * scale / least["fleet"]
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=10_000)
    parser.add_argument("--ols", type=int, default=500, help="series that OLS is timed on")
    parser.add_argument("--walks", type=int, default=100, help="series that UnobservedComponents is timed on")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--rivals", nargs="+", choices=tuple(RIVALS), default=tuple(RIVALS))
    parser.add_argument("--part", choices=("fleet", *RIVALS), help="only this, in this process")
    given = parser.parse_args()
    if given.part is None:
        figures = compare(given)
    elif given.part == "fleet":
        figures = time_fleet(given.lines)
    else:
        figures = time_rival(given.lines, given.walks if given.part.startswith("walk") else given.ols, given.part)
    if given.part:
        sys.stdout.write(json.dumps(figures) + "\n")
    else:
        sys.stdout.write("".join(f"{name} {value:.10g}\n" for name, value in figures.items()))


def test_a_fleet_is_foreseen_in_full_within_a_gibibyte(capsys: pytest.CaptureFixture[str]) -> None:
    rivals = ("ols_interval", "walk_interval")
    words = [sys.executable, str(Path(__file__)), "--lines", "100", "--ols", "20", "--walks", "5", "--rounds", "1"]
    told = subprocess.run(
        [*words, "--rivals", *rivals],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "PATH": ""},
    ).stdout
    with capsys.disabled():
        sys.stdout.write(f"\n{told}")
    figures = {name: float(value) for name, value in (line.split() for line in told.splitlines())}
    assert figures["complete"] == figures["series"] == 800
    assert figures["peak_bytes"] < GIBIBYTE
    # What it is compared with did its work too.
    for part, sample in zip(rivals, (20, 5), strict=True):
        assert figures[f"{part}_complete"] == figures[f"{part}_sample"] == sample


if __name__ == "__main__":
    main()
