"""Do 95 % intervals hold 95 %: truth drawn as the instrument states it, readings simulated, offsets compared.

Synthetic truth, fixed seeds. One station of every survey is counted, both its axes: stations of one survey share their
errors, axes do not. The bars are widened by three standard deviations of that many binomial counts.
"""

from __future__ import annotations

import numpy as np
import pytest
from measure_model import four_positions, pairs, readings, single_pass, sweeps, textbook_design

from fleet.measure import Instrument, adjust_many

STATIONS = [500.0, 1400.0, 2300.0, 3100.0]
SCHEMES = {
    "single pass": single_pass(STATIONS),
    "pairs": pairs(STATIONS),
    "sweeps": sweeps(STATIONS),
    "four positions": four_positions(STATIONS),
}
N_SURVEYS = 3000
SLACK = 3.0 * np.sqrt(0.95 * 0.05 / (2 * N_SURVEYS))


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    ("noise", "low", "high"), [("worth ten degrees of freedom", 0.94, 0.96), ("exactly as stated", 0.94, 0.97)]
)
def test_expanded_uncertainties_hold_their_95_per_cent(scheme, noise, low, high):
    plan = SCHEMES[scheme]
    instrument = Instrument(sense_v=1, sense_h=-1)
    design = textbook_design(plan, instrument)
    rng = np.random.default_rng(20)
    u_prior = np.array([200.0, 200.0, 200.0, 200.0, 10.0, 10.0, 4.0, 4.0])
    true_um = rng.normal(0.0, 150.0, (N_SURVEYS, 2 * len(STATIONS)))
    truth = np.concatenate([true_um, rng.normal(0.0, u_prior, (N_SURVEYS, 8))], axis=1)
    variance = np.full(N_SURVEYS, 10.0**2 + 1.0 / 12.0)
    if noise == "worth ten degrees of freedom":
        variance *= 10.0 / rng.chisquare(10.0, N_SURVEYS)
    shown = truth @ design.T + rng.normal(0.0, 1.0, (N_SURVEYS, len(design))) * np.sqrt(variance)[:, None]
    surveys = [(readings(plan, row[0::2], row[1::2]), instrument, False) for row in shown]

    adjusted = adjust_many(surveys)
    place = np.arange(N_SURVEYS) % len(STATIONS)
    miss_um = np.array([a.offset_um[i] - t.reshape(-1, 2)[i] for a, t, i in zip(adjusted, true_um, place, strict=True)])
    u95_um = np.array([a.u95_um[i] for a, i in zip(adjusted, place, strict=True)])
    held = float((np.abs(miss_um) <= u95_um).mean())
    assert low - SLACK <= held <= high + SLACK
