"""How a line answers its supports, what to do at them, and what that comes to."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.profile import Plan, Round, SupportToMove, expected_response, learn_response, plan_moves

X = np.array([500.0, 1500.0, 2300.0, 3150.0, 3700.0])
S = np.array([1500.0, 3150.0])
C = 64.0 * (np.eye(X.size) + 1.0)
ZERO = np.zeros(X.size)


def supports() -> list[SupportToMove]:
    return [SupportToMove(code, mm, True) for code, mm in zip("AB", S, strict=True)]


def plan(deviation_um: np.ndarray, **change: object) -> Plan:
    given = {
        "axis": "v", "distance_mm": X, "offset_um": deviation_um, "covariance_um2": C, "target_um": ZERO,
        "supports": supports(), "response": None,
    }  # fmt: skip
    return plan_moves(**{**given, **change})


def test_geometry_holds_the_flange_and_goes_straight_through_the_supports_and_on() -> None:
    # By hand: 500 mm is a third of the way to A; 2 300 lies 800/1650 from A to B; beyond B the last span goes on.
    got = expected_response(X, S)
    share = 800.0 / 1650.0
    beyond = 550.0 / 1650.0
    assert got == pytest.approx(
        np.array([[1 / 3, 0], [1, 0], [1 - share, share], [0, 1], [-beyond, 1 + beyond]]), abs=1e-12
    )
    one = expected_response(X, np.array([2000.0]))
    assert one[:, 0] == pytest.approx(X / 2000.0)


def test_supports_in_any_order_keep_their_columns() -> None:
    assert expected_response(X, S[::-1]) == pytest.approx(expected_response(X, S)[:, ::-1])


def test_two_supports_at_one_place_are_refused() -> None:
    with pytest.raises(InputError) as refused:
        expected_response(X, np.array([1500.0, 1500.0]))
    assert str(refused.value) == (
        "Supports stand at 1500, 1500 mm; each needs a distance of its own beyond the flange."
    )


@pytest.mark.parametrize("way", ["interpolation", "turning", "response"])
def test_the_three_ways_agree_where_the_barrel_only_turned(way: str) -> None:
    deviation = -90.0 * X / 1000.0
    response = learn_response(
        [Round(np.array([100.0, 0.0]), np.zeros(2), ZERO, 100.0 * expected_response(X, S)[:, 0], C)], X, S
    )
    got = plan(deviation, way=way, response=response)
    assert [move.move_um for move in got.moves] == pytest.approx([135.0, 283.5], rel=1e-6)
    assert got.deviation_um == pytest.approx(ZERO, abs=1e-6)
    assert (got.flange_um, [m.support for m in got.moves]) == (pytest.approx(0.0, abs=1e-9), ["A", "B"])


def test_the_way_is_the_lines_own_answer_from_two_rounds_on() -> None:
    made = Round(np.array([100.0, 50.0]), np.full(2, 5.0), ZERO, expected_response(X, S) @ [100.0, 50.0], C)
    deviation = np.full(X.size, -60.0)
    assert plan(deviation).way == "interpolation"
    assert plan(deviation, response=learn_response([made], X, S)).way == "interpolation"
    assert plan(deviation, response=learn_response([made, made], X, S)).way == "response"
    one = [SupportToMove("A", 1500.0, True), SupportToMove("B", 3150.0, False)]
    alone = plan(deviation, supports=one)
    assert (alone.way, alone.left_alone, [m.support for m in alone.moves]) == ("turning", ("B",), ["A"])
    with pytest.raises(InputError, match="No past round tells how this line answers"):
        plan(deviation, way="response")


def test_steps_and_room_hold_a_move_and_the_outcome_counts_what_is_really_made() -> None:
    deviation = -90.0 * X / 1000.0
    held = [
        SupportToMove("A", 1500.0, True, step_um=25.0),
        SupportToMove("B", 3150.0, True, step_um=25.0, room_up_um=210.0, room_down_um=500.0),
    ]
    got = plan(deviation, supports=held)
    assert [(m.move_um, m.held_by) for m in got.moves] == [(125.0, "step"), (200.0, "room")]
    assert [m.wanted_um for m in got.moves] == pytest.approx([135.0, 283.5])
    assert got.predicted_um == pytest.approx(deviation + expected_response(X, S) @ [125.0, 200.0])


def test_a_flange_error_is_told_and_not_mended_at_a_support() -> None:
    got = plan(np.full(X.size, 70.0))
    assert got.flange_um == pytest.approx(70.0)
    assert got.predicted_um[0] == pytest.approx(70.0 - 70.0 / 3)


def test_rounds_teach_a_line_that_answers_by_less() -> None:
    rng = np.random.default_rng(2)
    true = 0.7 * expected_response(X, S)
    rounds = []
    for _ in range(12):
        moves = rng.uniform(-300.0, 300.0, 2)
        error = rng.multivariate_normal(ZERO, 2 * C)
        rounds.append(Round(moves, np.full(2, 5.0), ZERO, true @ moves + error, 2 * C))
    got = learn_response(rounds, X, S)
    assert got.rounds == 12
    u = np.sqrt(np.diagonal(got.covariance)).reshape(true.shape)
    assert np.all(np.abs(got.matrix - true) < 4 * u)
    assert got.matrix[3, 1] == pytest.approx(0.7, abs=0.08)
    assert learn_response([], X, S).matrix == pytest.approx(expected_response(X, S))


def test_predicted_offsets_hold_95_per_cent_with_the_answer_and_the_survey_uncertain() -> None:
    rng = np.random.default_rng(4)
    prior = learn_response([], X, S)
    spread = np.linalg.cholesky(prior.covariance)
    n, held = 1500, 0
    for _ in range(n):
        true = rng.normal(0.0, 150.0, X.size)
        seen = true + rng.multivariate_normal(ZERO, C)
        got = plan(seen)
        answer = prior.matrix + (spread @ rng.normal(size=prior.matrix.size)).reshape(prior.matrix.shape)
        after = true + answer @ [m.move_um for m in got.moves]
        held += abs(after[4] - got.predicted_um[4]) <= 1.96 * got.u_predicted_um[4]
    assert abs(held / n - 0.95) <= 3 * (0.05 * 0.95 / n) ** 0.5
