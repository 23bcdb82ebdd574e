"""The adjustment against published figures and an independent solver."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from measure_model import Plan, readings, readings_of, sweeps, textbook_design
from survey_schemes import ALL, SCHEMES, STATIONS, Scheme

from fleet.errors import InputError
from fleet.measure import Instrument, adjust, scaled_least_squares, weighted_least_squares

DATA = Path(__file__).parent.parent / "data"


@pytest.fixture(scope="module")
def thermometer():
    """The line of JCGM 100:2008, H.3, through the survey's own solver: (estimate, covariance, s, dof)."""
    given = pd.read_csv(DATA / "gum_h3_readings.csv")
    design = np.stack([np.ones(11), given["t_k_degC"].to_numpy() - 20.0], axis=1)[None]
    solution, scale, dof = scaled_least_squares(
        design, given["b_k_degC"].to_numpy()[None], u_noise=np.ones(1), u_prior=np.empty((1, 0)), stated_dof=0.0
    )
    return solution.estimate[0], solution.covariance[0], float(np.sqrt(scale[0])), float(dof[0])


def test_the_thermometer_line_of_the_gum_comes_out_in_every_printed_digit(thermometer):
    # JCGM 100:2008, H.3: see gum_source.md.
    (y1, y2), covariance, s, dof = thermometer
    s_y1, s_y2 = np.sqrt(np.diag(covariance))
    to_30 = np.array([1.0, 10.0])
    ours = {
        "y1_intercept": y1,
        "s_y1": s_y1,
        "y2_slope": y2,
        "s_y2": s_y2,
        "r_y1_y2": covariance[0, 1] / (s_y1 * s_y2),
        "s_residual": s,
        "b_at_30degC": to_30 @ (y1, y2),
        "u_b_at_30degC": np.sqrt(to_30 @ covariance @ to_30),
        "dof": dof,
    }
    published = pd.read_csv(DATA / "gum_h3_results.csv", dtype=str).set_index("quantity")
    for quantity, value in ours.items():
        printed = published.loc[quantity, "published"]
        places = len(printed.partition(".")[2])
        assert round(float(value), places) == float(printed), quantity
        assert value == pytest.approx(float(published.loc[quantity, "recomputed"]), rel=1e-9), quantity


def test_residuals_alone_cannot_tell_the_noise_of_a_line_through_two_points():
    design = np.array([[[1.0, 0.0], [1.0, 1.0]]])
    with pytest.raises(InputError, match="cannot tell the noise"):
        scaled_least_squares(
            design, np.array([[1.0, 2.0]]), u_noise=np.ones(1), u_prior=np.empty((1, 0)), stated_dof=0.0
        )


def test_fewer_observations_than_unknowns_are_refused():
    with pytest.raises(InputError, match="1 observations cannot determine 2 parameters"):
        scaled_least_squares(
            np.ones((1, 1, 2)), np.ones((1, 1)), u_noise=np.ones(1), u_prior=np.empty((1, 0)), stated_dof=10.0
        )


@pytest.mark.parametrize(
    ("points", "row", "tolerance"),
    [
        ("gander1994", "geometric (published)", 1e-4),
        ("gander1994", "geometric (recomputed)", 2e-8),
        ("six_point", "geometric (published)", 2e-5),
        ("six_point", "geometric (recomputed)", 2e-8),
    ],
)
def test_a_published_geometric_circle_is_what_the_adjustment_gives(points, row, tolerance):
    # Gander, Golub, Strebel (1994) and the SciPy cookbook: see circle_source.md. Where every reading's roll is its
    # direction from the geometric centre, both fits have the same normal equations. x stands for v and y for h; with
    # the beam below the axis at roll 0, a bore read at roll phi lies toward (cos phi, -sin phi) from the centre.
    given = pd.read_csv(DATA / "circle_points.csv").set_index("set").loc[points]
    published = pd.read_csv(DATA / "circle_results.csv").set_index(["set", "method"]).loc[(points, row)]
    v, h = given["x"].to_numpy(dtype=float), given["y"].to_numpy(dtype=float)
    roll_deg = np.degrees(np.arctan2(-(h - published["yc"]), v - published["xc"]))
    plan = Plan([0.0], [(0, 1, float(roll), 0.0) for roll in roll_deg])
    wide = Instrument(sense_v=1, sense_h=1, target_zero_um=0.0, wander_um=0.0, beam_offset_um=1e7)
    adjusted = adjust(readings(plan, v, h), wide, hot=False)
    assert adjusted.offset_um[0] == pytest.approx([published["xc"], published["yc"]], abs=tolerance)
    assert np.hypot(*adjusted.beam[0].offset_um) == pytest.approx(published["radius"], abs=tolerance)


MIXED = Plan(
    STATIONS,
    [(0, 1, 0.0, 0.0), (0, 1, 180.0, 0.0), (3, 1, 0.0, 0.0), (3, 1, 180.0, 90.0)]
    + [(i, 2, roll, 0.0) for i in (0, 1, 2, 3, 0) for roll in (0.0, 120.0, 180.0)],
)
DENSE = {**SCHEMES, "two beam states, odd rolls and closure": Scheme(MIXED, -1, 1, ALL)}


@pytest.mark.parametrize("hot", [False, True])
@pytest.mark.parametrize("name", DENSE)
def test_statsmodels_wls_gives_the_same_with_the_priors_as_rows(name, hot):
    # statsmodels WLS on the textbook system, every pseudo-observation of zero written out as a row of its own.
    plan = DENSE[name].plan
    instrument = Instrument(
        sense_v=DENSE[name].sense_v,
        sense_h=DENSE[name].sense_h,
        repeatability_um=7.0,
        resolution_um=2.54,
        target_zero_um=12.0,
        beam_offset_um=150.0,
        beam_direction_um_per_m=90.0,
        wander_um=6.0,
    )
    design = textbook_design(plan, instrument)
    rng = np.random.default_rng(11)
    noise = rng.normal(0.0, 13.0, len(design))
    taken = readings_of(plan, instrument, rng.normal(0.0, 60.0, design.shape[1]), noise)
    shown = np.stack([taken.v_um, taken.h_um], axis=1).ravel()

    n_rows, n_offsets, n_parameters = len(design), 2 * len(STATIONS), design.shape[1]
    times = 3.0 if hot else 1.0
    n_states = (n_parameters - n_offsets - 4) // 4
    u_prior = np.array([150.0, 150.0, 90.0, 90.0] * n_states + [12.0, 12.0, 6.0 * times, 6.0 * times])
    rows = np.vstack([design, np.eye(n_parameters)[n_offsets:]])
    observed = np.concatenate([shown, np.zeros(len(u_prior))])

    def solve(variance):
        weights = np.concatenate([np.full(n_rows, 1.0 / variance), 1.0 / u_prior**2])
        return sm.WLS(observed, rows, weights=weights).fit(method="qr")

    stated = (7.0 * times) ** 2 + 2.54**2 / 12.0
    first = solve(stated)
    hat = np.trace(design @ first.normalized_cov_params @ design.T) / stated
    chi2 = np.sum((shown - design @ first.params) ** 2) / stated
    scale = (10.0 + chi2) / (10.0 + n_rows - hat)
    final = solve(stated * scale)
    q = final.normalized_cov_params
    share = np.diag(q @ design.T @ design @ q / (stated * scale))[:n_offsets] / np.diag(q)[:n_offsets]
    through_z = q[:n_offsets, -4:-2] ** 2 @ (1.0 / u_prior[-4:-2] ** 2)

    ours = adjust(taken, instrument, hot=hot)
    assert ours.offset_um.ravel() == pytest.approx(final.params[:n_offsets], rel=1e-9)
    largest = np.abs(q[:n_offsets, :n_offsets]).max()
    assert ours.covariance_um2 == pytest.approx(q[:n_offsets, :n_offsets], rel=1e-9, abs=1e-9 * largest)
    assert ours.scale == pytest.approx(scale, rel=1e-9)
    assert ours.dof_survey == pytest.approx(n_rows - hat, rel=1e-9, abs=1e-9)
    assert ours.dof.ravel() == pytest.approx((10.0 + n_rows - hat) / share**2, rel=1e-9)
    assert ours.setup_variance_um2.ravel() == pytest.approx(through_z, rel=1e-9, abs=1e-9)
    assert ours.residual_um.ravel() == pytest.approx(shown - design @ final.params, abs=1e-8)
    common = final.params[n_offsets:].reshape(-1, 2)
    assert np.stack([b.offset_um for b in ours.beam]) == pytest.approx(common[:-2:2], rel=1e-8)
    assert np.stack([b.direction_um_per_m for b in ours.beam]) == pytest.approx(common[1:-2:2], rel=1e-8)
    u_common = np.sqrt(np.diag(q))[n_offsets:].reshape(-1, 2)
    assert np.stack([b.u_offset_um for b in ours.beam]) == pytest.approx(u_common[:-2:2], rel=1e-9)
    assert ours.target_zero_um == pytest.approx(common[-2], rel=1e-8, abs=1e-9)
    assert ours.u_target_zero_um == pytest.approx(u_common[-2], rel=1e-9)
    assert ours.wander_um == pytest.approx(common[-1], rel=1e-8, abs=1e-9)
    assert ours.u_wander_um == pytest.approx(u_common[-1], rel=1e-9)
    spread = stated * scale * np.eye(n_rows) - design @ q @ design.T
    assert ours.u_residual_um.ravel() ** 2 == pytest.approx(np.diag(spread), rel=1e-7, abs=1e-6)


def test_a_prior_as_wide_as_a_kilometre_costs_no_accuracy():
    plan = sweeps(STATIONS)
    wide = Instrument(sense_v=1, sense_h=1, beam_offset_um=1e9, beam_direction_um_per_m=1e9)
    truth = np.concatenate([np.linspace(-90.0, 120.0, 8), [140.0, -60.0, 35.0, 20.0], np.zeros(4)])
    taken = readings_of(plan, wide, truth)
    assert adjust(taken, wide, hot=False).offset_um.ravel() == pytest.approx(truth[:8], abs=1e-4)
    assert adjust(taken, replace(wide, repeatability_um=0.01), hot=False).scale < 1.0


def test_every_parameter_of_the_solver_agrees_with_the_normal_equations():
    # The textbook form Q = (A'WA + P)^-1 by numpy's inverse, well conditioned here.
    rng = np.random.default_rng(3)
    design, observed = rng.normal(0.0, 1.0, (2, 9, 5)), rng.normal(0.0, 3.0, (2, 9))
    u_noise, u_prior = rng.uniform(0.5, 2.0, (2, 9)), rng.uniform(0.1, 4.0, (2, 3))
    solution = weighted_least_squares(design, observed, u_noise=u_noise, u_prior=u_prior)
    for i in range(2):
        weight = np.diag(1.0 / u_noise[i] ** 2)
        prior = np.diag(np.concatenate([[0.0, 0.0], 1.0 / u_prior[i] ** 2]))
        q = np.linalg.inv(design[i].T @ weight @ design[i] + prior)
        assert solution.estimate[i] == pytest.approx(q @ design[i].T @ weight @ observed[i], rel=1e-9)
        assert solution.covariance[i] == pytest.approx(q, rel=1e-9)
        assert solution.noise_variance[i] == pytest.approx(np.diag(q @ design[i].T @ weight @ design[i] @ q), rel=1e-9)
        assert solution.prior_variance[i] == pytest.approx(q[:, 2:] ** 2 / u_prior[i] ** 2, rel=1e-9)
        assert solution.leverage[i] == pytest.approx(np.diag(design[i] @ q @ design[i].T @ weight), rel=1e-9)
