"""Without noise and with wide priors every scheme gives the true geometry back, as far as its rolls can tell it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measure_model import readings_of, textbook_design
from survey_schemes import BEAM, SCHEMES, STATIONS, WANDER, ZERO

from fleet.measure import adjust

N_OFFSETS = 2 * len(STATIONS)
WIDE_UM = 1e6


COLUMNS = {BEAM: slice(N_OFFSETS, -4), ZERO: slice(-4, -2), WANDER: slice(-2, None)}


@pytest.mark.parametrize("name", SCHEMES)
def test_every_scheme_gives_the_true_geometry_back_exactly(name):
    scheme = SCHEMES[name]
    truth = np.random.default_rng(5).normal(0.0, 120.0, textbook_design(scheme.plan, scheme.instrument).shape[1])
    for error, columns in COLUMNS.items():
        if error not in scheme.told:
            truth[columns] = 0.0
    u_um = {error: WIDE_UM if error in scheme.told else 0.0 for error in COLUMNS}
    wide = replace(
        scheme.instrument,
        repeatability_um=0.0,
        resolution_um=0.001,
        beam_offset_um=u_um[BEAM],
        beam_direction_um_per_m=u_um[BEAM],
        wander_um=u_um[WANDER],
        target_zero_um=u_um[ZERO],
    )
    got = adjust(readings_of(scheme.plan, wide, truth), wide, hot=scheme.hot)
    assert got.offset_um.ravel() == pytest.approx(truth[:N_OFFSETS], abs=1e-6)
    beam = np.concatenate([np.concatenate([b.offset_um, b.direction_um_per_m]) for b in got.beam])
    assert beam == pytest.approx(truth[COLUMNS[BEAM]], abs=1e-6)
    assert got.target_zero_um == pytest.approx(truth[COLUMNS[ZERO]], abs=1e-6)
    assert got.wander_um == pytest.approx(truth[COLUMNS[WANDER]], abs=1e-6)


@pytest.mark.parametrize("name", SCHEMES)
def test_the_errors_a_scheme_tells_are_all_its_rolls_determine(name):
    # Linear algebra: what is told has columns of its own; what is not told adds none to them.
    scheme = SCHEMES[name]
    design = textbook_design(scheme.plan, scheme.instrument)
    told = np.hstack([design[:, :N_OFFSETS], *(design[:, COLUMNS[error]] for error in sorted(scheme.told))])
    assert np.linalg.matrix_rank(told) == told.shape[1]
    for error in set(COLUMNS) - scheme.told:
        columns = design[:, COLUMNS[error]]
        assert np.linalg.matrix_rank(np.hstack([told, columns])) < told.shape[1] + columns.shape[1]
