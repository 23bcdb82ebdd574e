"""The weighing against dense solutions: densities of contrasts by scipy.stats, generalised least squares by numpy."""

from __future__ import annotations

import numpy as np
import pytest
from measure_model import Plan, readings, textbook_design
from scipy.linalg import null_space
from scipy.stats import multivariate_normal, multivariate_t

from fleet.measure import Instrument
from fleet.measure.adjustment import stacked, stated
from fleet.measure.slips.weighing import NoiseLaw, log_expected, weigh

STATIONS = [500.0, 1400.0, 2600.0]
PLAN = Plan(
    STATIONS,
    [
        *[(i, 1, roll, 0.0) for i in range(3) for roll in (0.0, 90.0, 210.0)],
        *[(i, 2, roll, target) for i in range(3) for roll, target in ((10.0, 180.0), (180.0, 35.0))],
    ],
)
INSTRUMENT = Instrument(sense_v=1, sense_h=-1)
U_NOISE = np.sqrt(10.0**2 + 1.0 / 12.0)
FACTOR = 1.7
AS_IF = NoiseLaw(np.array([FACTOR]), np.array([0.0]))


def weighed_and_dense(extra=None):
    rng = np.random.default_rng(8)
    surveys = [readings(PLAN, rng.normal(0, 200, 15), rng.normal(0, 200, 15)) for _ in range(2)]
    surveys = [(survey, INSTRUMENT, False) for survey in surveys]
    stack = stacked(surveys, [np.array([1, 2])] * 2)
    u_noise, u_prior = stated(surveys, 2)
    both = None if extra is None else np.stack([extra, extra])
    weighed = weigh(stack, u_noise=u_noise, u_prior=u_prior, extra=both, law=AS_IF)
    design = textbook_design(PLAN, INSTRUMENT)
    common = design[:, 6:] * ([200.0] * 8 + [10.0] * 2 + [4.0] * 2)
    if extra is not None:
        common = np.concatenate([common, extra.reshape(30, -1)], axis=1)
    covariance = FACTOR * U_NOISE**2 * np.eye(30) + common @ common.T
    shown = np.array([np.stack([s.v_um, s.h_um], axis=1).ravel() for s, _, _ in surveys])
    return weighed, design[:, :6], covariance, shown


@pytest.mark.parametrize("stepped", [False, True])
def test_the_density_is_that_of_contrasts_free_of_the_offsets(stepped):
    extra = None
    if stepped:
        extra = np.zeros((15, 2, 2))
        extra[7:] = 100.0 * np.eye(2)
    weighed, bores, covariance, shown = weighed_and_dense(extra)
    contrasts = null_space(bores.T)
    dense = multivariate_normal(cov=contrasts.T @ covariance @ contrasts).logpdf(shown @ contrasts)
    # The weighing counts in units of the noise and leaves the constant of the normal law out.
    constant = 24 * (np.log(U_NOISE) + 0.5 * np.log(2 * np.pi))
    assert weighed.log_density == pytest.approx(dense + constant, rel=1e-9)


def test_offsets_and_their_covariance_are_those_of_generalised_least_squares():
    weighed, bores, covariance, shown = weighed_and_dense()
    weight = np.linalg.inv(covariance)
    dense = np.linalg.inv(bores.T @ weight @ bores)
    assert weighed.offset_covariance()[0] * U_NOISE**2 == pytest.approx(dense, rel=1e-8, abs=1e-8)
    estimate = (dense @ bores.T @ weight @ shown.T).T
    assert weighed.offset.reshape(2, -1) * U_NOISE == pytest.approx(estimate, rel=1e-8)


def test_an_error_of_known_shape_is_answered_as_one_more_free_parameter():
    weighed, bores, covariance, shown = weighed_and_dense()
    lone = np.zeros((15, 2, 1))
    lone[4, 1, 0] = 1.0
    size, spread = weighed.answer(1, lone, FACTOR)
    design = np.concatenate([bores, lone.reshape(30, 1)], axis=1)
    weight = np.linalg.inv(covariance)
    dense = np.linalg.inv(design.T @ weight @ design)
    assert size[0] * U_NOISE == pytest.approx((dense @ design.T @ weight @ shown[1])[-1], rel=1e-8)
    assert spread[0, 0] * U_NOISE**2 == pytest.approx(dense[-1, -1], rel=1e-8)


def test_what_the_offsets_hide_is_answered_with_an_infinite_spread():
    weighed, _, _, _ = weighed_and_dense()
    bore_moved = textbook_design(PLAN, INSTRUMENT)[:, 0].reshape(15, 2, 1)
    _, spread = weighed.answer(0, bore_moved, FACTOR)
    assert np.isinf(spread).all()


def test_exactly_known_offsets_are_weighed_by_the_multivariate_t():
    expectation = np.array([[900.0, 270.0], [270.0, 1600.0]])
    missed = np.array([[10.0, -20.0], [150.0, 40.0], [-300.0, 260.0]])
    got = log_expected(missed, np.zeros((1, 2, 2)), expectation, 8.0)
    dense = multivariate_t(shape=expectation, df=8.0).logpdf(missed) + np.log(2 * np.pi)
    assert got == pytest.approx(dense, abs=0.02)


def test_tails_of_very_many_degrees_of_freedom_are_normal():
    own = np.array([[[400.0, 0.0], [0.0, 100.0]]])
    expectation = np.diag([900.0, 1600.0])
    got = log_expected(np.array([[30.0, -60.0]]), own, expectation, np.inf)
    dense = multivariate_normal(cov=expectation + own[0]).logpdf([30.0, -60.0]) + np.log(2 * np.pi)
    assert got[0] == pytest.approx(dense, abs=0.02)
