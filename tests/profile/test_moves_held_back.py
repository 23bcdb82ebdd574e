"""What holds a move back: its step, its room, supports that do not adjust; and plans that cannot be made."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import InputError
from fleet.profile import Plan, Response, SupportToMove, expected_response, learn_response, plan_moves

X = np.array([600.0, 1200.0, 1800.0, 2400.0, 3000.0])
S = np.array([1200.0, 2400.0])
C = 50.0 * (np.eye(X.size) + 1.0)
ZERO = np.zeros(X.size)


def plan(offset_um: np.ndarray, supports: list[SupportToMove], **change: object) -> Plan:
    given_um = {
        "axis": "v", "distance_mm": X, "offset_um": offset_um, "covariance_um2": C, "target_um": ZERO,
        "supports": supports, "response": None,
    }  # fmt: skip
    return plan_moves(**{**given_um, **change})


def one(wanted_um: float, **limits: float) -> tuple[float, str | None]:
    """What comes of a wanted move at a support in the middle of a barrel that stands off by just that."""
    (move,) = plan(-wanted_um * X / 1800.0, [SupportToMove("A", 1800.0, True, **limits)]).moves
    assert move.wanted_um == pytest.approx(wanted_um, rel=1e-9)
    return move.move_um, move.held_by


@pytest.mark.parametrize(
    ("wanted_um", "limits", "expected"),
    [
        (90.0, {}, (90.0, None)),
        # Shims of a thou (25.4 um): three and a half of them and a bit are four.
        (90.0, {"step_um": 25.4}, (101.6, "step")),
        (50.8, {"step_um": 25.4}, (50.8, None)),
        # Room for exactly three shims leaves room for three, though binary fractions make 76.2 of 3 x 25.4 a hair off.
        (76.2, {"step_um": 25.4, "room_up_um": 76.2}, (76.2, None)),
        (90.0, {"step_um": 25.4, "room_up_um": 76.2}, (76.2, "room")),
        (1000.0, {"step_um": 0.1, "room_up_um": 0.3}, (0.3, "room")),
        (0.3, {"step_um": 0.1, "room_up_um": 0.3}, (0.3, None)),
        (70.0, {"step_um": 25.4, "room_up_um": 72.0}, (50.8, "room")),
        (150.0, {"room_up_um": 120.0, "room_down_um": 10.0}, (120.0, "room")),
        (-150.0, {"room_up_um": 120.0, "room_down_um": 10.0}, (-10.0, "room")),
        (-150.0, {"room_up_um": 10.0}, (-150.0, None)),
        (150.0, {"room_up_um": 0.0}, (0.0, "room")),
        # Room typed below zero is no room, and no reason to go the other way.
        (90.0, {"room_up_um": -5.0}, (0.0, "room")),
        (10.0, {"step_um": 25.4}, (0.0, "step")),
    ],
)
def test_step_and_room_hold_a_move_as_worked_by_hand(wanted_um, limits, expected) -> None:
    move_um, held_by = one(wanted_um, **limits)
    assert (move_um, held_by) == (pytest.approx(expected[0], abs=1e-9), expected[1])


@settings(max_examples=150, deadline=None)
@given(st.integers(-900, 900), st.sampled_from(["25.4", "50", "0.1", "12.7"]), st.integers(0, 500), st.integers(0, 500))
def test_a_move_is_whole_steps_within_the_room_and_none_nearer_fits(wanted, step_text, up, down) -> None:
    move_um, held_by = one(float(wanted), step_um=float(step_text), room_up_um=float(up), room_down_um=float(down))
    # The truth by exact fractions: of all whole steps inside the room the one nearest to what is wanted.
    step = Fraction(step_text)
    lowest, highest = -(down // step), up // step
    nearest = min(max(round(Fraction(wanted) / step), lowest), highest)
    assert abs(move_um - wanted) <= abs(float(nearest * step) - wanted) + 1e-6
    assert lowest <= round(Fraction(move_um) / step) <= highest
    assert move_um == pytest.approx(float(round(Fraction(move_um) / step) * step), abs=1e-6)
    assert (held_by is None) == (abs(move_um - wanted) <= 1e-6)


@pytest.mark.parametrize("way", ["interpolation", "turning", "response"])
def test_a_support_that_does_not_adjust_gets_no_move_and_holds_in_the_outcome(way: str) -> None:
    supports = [SupportToMove("B", 2400.0, True), SupportToMove("A", 1200.0, False)]
    answer = learn_response([], X, S[::-1])
    known = Response(answer.matrix, answer.covariance, 2)
    got = plan(-60.0 * X / 1000.0, supports, way=way, response=known)
    assert ([move.support for move in got.moves], got.left_alone) == (["B"], ("A",))
    # By hand: with A held, B moves nothing up to A, and itself by its move.
    moved = got.predicted_um + 60.0 * X / 1000.0
    assert moved[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert moved[3] == pytest.approx(got.moves[0].move_um)
    assert got.moves[0].move_um > 0.0


def test_one_adjusting_support_turns_the_barrel_only_where_no_other_holds_it() -> None:
    bare = plan(-60.0 * X / 1000.0, [SupportToMove("A", 1800.0, True)])
    held = plan(-60.0 * X / 1000.0, [SupportToMove("A", 1200.0, False), SupportToMove("B", 2400.0, True)])
    assert (bare.way, held.way) == ("turning", "turning")
    assert bare.deviation_um == pytest.approx(ZERO, abs=1e-9)
    assert "others hold" not in bare.why
    assert held.why.endswith("but the others hold")


def test_moves_come_in_order_of_distance_whatever_the_order_of_the_supports() -> None:
    deviation = np.array([5.0, -80.0, -10.0, 60.0, 20.0])
    forward = plan(deviation, [SupportToMove("A", 1200.0, True), SupportToMove("B", 2400.0, True)])
    backward = plan(deviation, [SupportToMove("B", 2400.0, True), SupportToMove("A", 1200.0, True)])
    assert [(m.support, m.move_um) for m in forward.moves] == [("A", pytest.approx(80.0)), ("B", pytest.approx(-60.0))]
    assert [(m.support, m.move_um) for m in backward.moves] == [(m.support, m.move_um) for m in forward.moves]
    assert backward.predicted_um == pytest.approx(forward.predicted_um)
    assert backward.u_predicted_um == pytest.approx(forward.u_predicted_um)


def test_only_the_distance_to_target_is_moved_and_the_target_is_exact() -> None:
    supports = [SupportToMove("A", 1200.0, True), SupportToMove("B", 2400.0, True)]
    target = np.array([-40.0, -110.0, -130.0, -220.0, -250.0])
    got = plan(target, supports, target_um=target)
    assert [move.move_um for move in got.moves] == [0.0, 0.0]
    assert got.deviation_um == pytest.approx(ZERO)
    assert got.u_predicted_um == pytest.approx(np.sqrt(np.diagonal(C)))


def test_without_supports_nothing_moves_and_nothing_fails() -> None:
    got = plan(np.full(X.size, 30.0), [])
    assert (got.way, got.moves, got.left_alone) == ("turning", (), ())
    assert got.predicted_um == pytest.approx(np.full(X.size, 30.0))
    assert got.u_predicted_um == pytest.approx(np.sqrt(np.diagonal(C)))
    assert got.flange_um == pytest.approx(30.0)


TWO = [SupportToMove("A", 1200.0, True), SupportToMove("B", 2400.0, True)]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"target_um": ZERO[:3]},
            "5 stations need as many finite targets; give a cold target for every station or leave the station out.",
        ),
        (
            {"target_um": np.where(X > 2000.0, np.nan, 0.0)},
            "5 stations need as many finite targets; give a cold target for every station or leave the station out.",
        ),
        (
            {"response": Response(expected_response(X[:4], S), np.eye(8), 3)},
            "The answer is of 4 stations and 2 supports, the line has 5 and 2; learn the answer for these.",
        ),
        (
            {"supports": [SupportToMove("A", float("nan"), True)]},
            "The distance of a station or a support is not a finite number; give it in mm or leave it out.",
        ),
    ],
)
def test_a_plan_that_cannot_be_made_is_refused(change, sentence) -> None:
    with pytest.raises(InputError) as refused:
        plan(ZERO, **{"supports": TWO, **change})
    assert str(refused.value) == sentence
