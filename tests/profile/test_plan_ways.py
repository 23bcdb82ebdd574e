"""The three ways to plan, each by another road; why a way was taken; what stays at the flange."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm

from fleet.profile import Plan, Response, SupportToMove, expected_response, plan_moves

X = np.array([500.0, 1500.0, 2300.0, 3150.0, 3700.0])
S = np.array([1500.0, 3150.0])
U = np.array([8.0, 10.0, 12.0, 15.0, 20.0])
C = 0.5 * np.outer(U, U) + np.diag(0.5 * U**2)
GEOMETRY = expected_response(X, S)
A, B = SupportToMove("A", 1500.0, True), SupportToMove("B", 3150.0, True)
CROOKED = np.array([30.0, -120.0, 60.0, 210.0, 150.0])


def plan(offset_um: np.ndarray, **change: object) -> Plan:
    given = {
        "axis": "v", "distance_mm": X, "offset_um": offset_um, "covariance_um2": C, "target_um": np.zeros(X.size),
        "supports": [A, B], "response": None,
    }  # fmt: skip
    return plan_moves(**{**given, **change})


def moved(got: Plan) -> list[float]:
    return [move.move_um for move in got.moves]


def taught(matrix: np.ndarray) -> Response:
    return Response(matrix, 1e-4 * np.eye(matrix.size), 3)


def test_turning_undoes_the_angle_statsmodels_fits_through_the_flange() -> None:
    target = np.array([-40.0, -80.0, -90.0, -120.0, -150.0])
    slope = sm.GLS(CROOKED - target, X, sigma=C).fit()
    got = plan(CROOKED, target_um=target, way="turning")
    assert moved(got) == pytest.approx(-slope.params[0] * S, rel=1e-9)
    assert [move.u_move_um for move in got.moves] == pytest.approx(
        slope.normalized_cov_params[0, 0] ** 0.5 * S, rel=1e-9
    )


def test_interpolation_undoes_the_deviation_at_the_support_and_holds_the_ends() -> None:
    # By hand: 1 900 mm is half way from 1 500 to 2 300, so -(-120 + 60)/2 = 30; before the first and beyond the last
    # station the deviation of that station counts. Half way, u^2 = (u1^2 + u2^2 + 2 c12)/4 = (100 + 144 + 120)/4.
    places = {"far": 4000.0, "mid": 1900.0, "near": 300.0}
    got = plan(CROOKED, supports=[SupportToMove(code, mm, True) for code, mm in places.items()])
    assert [move.support for move in got.moves] == ["near", "mid", "far"]
    assert moved(got) == pytest.approx([-30.0, 30.0, -150.0])
    assert got.moves[1].u_move_um == pytest.approx(91.0**0.5)


def test_the_lines_own_answer_leaves_the_least_sum_of_squares() -> None:
    answer = 0.7 * GEOMETRY + np.array([[0.0, 0.1], [0.0, 0.0], [0.1, 0.0], [-0.1, 0.0], [0.0, 0.2]])
    got = plan(CROOKED, response=taught(answer))
    theirs = sm.OLS(-CROOKED, answer).fit()
    assert got.way == "response"
    assert moved(got) == pytest.approx(theirs.params, rel=1e-9)
    assert got.deviation_um == pytest.approx(-theirs.resid, abs=1e-9)


def test_the_least_squares_of_one_adjusting_support_leaves_the_other_out() -> None:
    got = plan(CROOKED, supports=[replace(B, adjusts=False), A], response=taught(GEOMETRY[:, ::-1]), axis="h")
    assert (got.left_alone, [(move.support, move.axis) for move in got.moves]) == (("B",), [("A", "h")])
    assert moved(got) == pytest.approx(sm.OLS(-CROOKED, GEOMETRY[:, 0]).fit().params)


def test_the_plan_says_why_it_went_this_way() -> None:
    held = replace(B, adjusts=False)
    assert plan(CROOKED).why == "from the deviation at every support, straight between stations"
    assert plan(CROOKED, supports=[A]).why == "one support adjusts: the barrel turns about the flange"
    assert plan(CROOKED, supports=[A, held]).why == (
        "one support adjusts: it moves as if the barrel turned about the flange, but the others hold"
    )
    assert plan(CROOKED, supports=[held]).why == "no support adjusts this axis"
    assert plan(CROOKED, response=taught(GEOMETRY)).why == "from this line's own answer in 3 rounds of moves"
    assert plan(CROOKED, way="turning").why == "as asked for"


def test_what_stays_at_the_flange_is_the_line_through_the_deviations_and_how_surely() -> None:
    target = np.linspace(-20.0, -150.0, X.size)
    theirs = sm.GLS(CROOKED - target, sm.add_constant(X), sigma=C).fit()
    got = plan(CROOKED, target_um=target)
    assert got.flange_um == pytest.approx(theirs.params[0], rel=1e-9)
    assert got.u_flange_um == pytest.approx(theirs.normalized_cov_params[0, 0] ** 0.5, rel=1e-9)


def test_the_outcome_is_unsure_by_the_survey_and_by_the_answer_to_the_moves_made() -> None:
    # By hand, with 0.01 on every answer: u^2 = u_survey^2 + 0.01^2 (move_A^2 + move_B^2).
    got = plan(CROOKED, response=taught(GEOMETRY), supports=[replace(A, step_um=50.0), B])
    assert got.moves[0].held_by == "step"
    assert got.u_predicted_um**2 == pytest.approx(U**2 + 1e-4 * sum(move**2 for move in moved(got)))
