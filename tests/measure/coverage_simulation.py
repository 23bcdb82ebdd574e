"""How often 95 % intervals hold: truth drawn as the instrument states it, readings simulated, offsets compared.

Synthetic truth: e, theta, z and d of every survey from their stated standard uncertainties; the noise variance of a
survey as stated times 10 / chi2(10), exactly as stated, or, to show what comes of it, noise of twice the stated
standard deviation. One station of every survey is counted, drawn at random, both its axes: stations of one survey share
their errors, axes do not. Run as a script to write the table anew.
"""

from __future__ import annotations

import zlib
from pathlib import Path

import numpy as np
from measure_model import Array, readings, textbook_design
from survey_schemes import SCHEMES, Scheme

from fleet.measure import HOT_FACTOR, adjust_many

DOCUMENT = Path(__file__).with_name("coverage.md")
N_SURVEYS = 10_000
AS_DRAWN, AS_STATED, TWICE = "worth ten degrees of freedom", "exactly as stated", "twice as stated"
NOISES = (AS_DRAWN, AS_STATED, TWICE)

HEADING = f"""# How often 95 % intervals of an offset hold the truth

Written by `tests/measure/coverage_simulation.py`, compared row by row by `tests/measure/test_adjustment_coverage.py`.
Synthetic truth as that file's first lines say: {N_SURVEYS:,} surveys of 4 stations a row, one station of each counted
on both axes, a generator of its own for every row, seeded by the row's words. By chance alone a share of 95 % from so
many counts has a standard deviation of 0.15 %. Bounds that the test holds: 95 +- 1 % where a survey's noise variance is
the stated one times 10 / chi2(10), which is what the intervals are made for; 94 to 97 % where it is exactly the stated
one. Twice the stated noise is shown without a bar: a survey with few readings cannot tell that its instrument is worse
than stated. The half-width is the mean of the intervals counted.

| scheme | noise | surveys | held, % | half-width, um |
|---|---|---|---|---|
"""


def row(name: str, noise: str) -> str:
    """Simulate one row of the table."""
    held, half_width_um = held_by(SCHEMES[name], noise, seed=f"{name} {noise}")
    return f"| {name} | {noise} | {N_SURVEYS} | {100.0 * held:.2f} | {half_width_um:.1f} |"


def held_by(scheme: Scheme, noise: str, *, seed: str) -> tuple[float, float]:
    """Return the share of intervals that hold the truth and their mean half-width in um."""
    rng = np.random.default_rng(zlib.crc32(seed.encode()))
    plan, instrument = scheme.plan, scheme.instrument
    design = textbook_design(plan, instrument)
    n_stations = len(plan.distance_mm)
    truth = np.zeros((N_SURVEYS, design.shape[1]))
    truth[:, : 2 * n_stations] = rng.normal(0.0, 150.0, (N_SURVEYS, 2 * n_stations))
    times = HOT_FACTOR if scheme.hot else 1.0
    n_states = len({step[1] for step in plan.steps})
    u_common = [200.0] * 4 * n_states + [10.0] * 2 + [4.0 * times] * 2
    truth[:, 2 * n_stations :] = rng.normal(0.0, u_common, (N_SURVEYS, len(u_common)))
    shown = truth @ design.T + rng.normal(0.0, 1.0, (N_SURVEYS, len(design))) * _sd_um(noise, times, rng)
    adjusted = adjust_many([(readings(plan, one[0::2], one[1::2]), instrument, scheme.hot) for one in shown])

    place = rng.integers(0, n_stations, N_SURVEYS)
    true_um = truth[:, : 2 * n_stations].reshape(N_SURVEYS, n_stations, 2)[np.arange(N_SURVEYS), place]
    miss_um = np.array([a.offset_um[i] for a, i in zip(adjusted, place, strict=True)]) - true_um
    u95_um = np.array([a.u95_um[i] for a, i in zip(adjusted, place, strict=True)])
    return float((np.abs(miss_um) <= u95_um).mean()), float(u95_um.mean())


def _sd_um(noise: str, times: float, rng: np.random.Generator) -> Array:
    stated = np.full((N_SURVEYS, 1), np.sqrt((10.0 * times) ** 2 + 1.0 / 12.0))
    if noise == AS_DRAWN:
        return np.asarray(stated * np.sqrt(10.0 / rng.chisquare(10.0, (N_SURVEYS, 1))))
    return stated if noise == AS_STATED else 2.0 * stated


if __name__ == "__main__":
    rows = [row(name, noise) for noise in NOISES for name in SCHEMES]
    DOCUMENT.write_text(HEADING + "\n".join(rows) + "\n", encoding="utf-8")
