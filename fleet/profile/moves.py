"""The moves at the supports that would bring a profile to its target, and what they would come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.errors import InputError
from fleet.profile.line import check_profile, fit_line
from fleet.profile.response import Response, learn_response
from fleet.values import Axis, BoolArray, FloatArray

Way = Literal["interpolation", "turning", "response"]
ROUNDS_TO_TRUST: Final = 2
"""Past rounds from which a line's own answer is evidence enough to plan by."""
_HAIR_UM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class SupportToMove:
    """A rigid support: whether it adjusts this axis, in what steps, and the room left up (right) and down (left)."""

    code: str
    distance_mm: float
    adjusts: bool
    step_um: float | None = None
    room_up_um: float | None = None
    room_down_um: float | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """A move to make, + raise or right [um]; `wanted_um` before its step and room, `held_by` what kept it from that."""

    support: str
    axis: Axis
    move_um: float
    u_move_um: float
    wanted_um: float
    held_by: Literal["room", "step"] | None


@dataclass(frozen=True, slots=True)
class Plan:
    """Moves on one axis and their outcome.

    Attributes
    ----------
    way, why
        How the moves were found and, in a sentence, why so.
    moves
        One for every support that adjusts this axis, in order of distance.
    left_alone
        Codes of the supports that do not adjust it.
    predicted_um, u_predicted_um, deviation_um
        Offsets of the stations after the moves, their standard uncertainty, and how far from target, (n,). [um]
    flange_um, u_flange_um
        What the deviations come to at the flange, which no support mends. [um]
    """

    way: Way
    why: str
    moves: tuple[Move, ...]
    left_alone: tuple[str, ...]
    predicted_um: FloatArray
    u_predicted_um: FloatArray
    deviation_um: FloatArray
    flange_um: float
    u_flange_um: float


def plan_moves(
    *,
    axis: Axis,
    distance_mm: FloatArray,
    offset_um: FloatArray,
    covariance_um2: FloatArray,
    target_um: FloatArray,
    supports: Sequence[SupportToMove],
    response: Response | None,
    way: Way | None = None,
) -> Plan:
    """Plan the moves that bring a profile to its target on one axis.

    Three ways: every support by the deviation at its place (interpolated between stations); all by one turn about the
    flange; or least squares over all stations with the line's own answer. A support before the first or beyond the last
    station takes the deviation of that station. Supports that do not adjust are left alone;
    an error at the flange is mended at gearbox or flange, never at a support, and is told.

    Parameters
    ----------
    axis
        Which axis the offsets are of.
    distance_mm, offset_um, target_um
        Stations, where they lie and where they should, (n,). [mm], [um]
    covariance_um2
        Of the offsets, (n, n). [um^2]
    supports
        The rigid supports, in any order.
    response
        How the line answered in past rounds, columns in the order of `supports`; None: geometry alone.
    way
        Which way; None: the line's own answer from two known rounds on, else by interpolation where two or more
        supports adjust, else by turning.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        As `fit_line`; the way asked for has no evidence; targets are not as many as stations or not finite; or the
        response is of other stations or supports.
    """
    check_profile(distance_mm, offset_um, covariance_um2)
    support_mm = np.array([support.distance_mm for support in supports], dtype=np.float64)
    if target_um.shape != distance_mm.shape or not np.isfinite(target_um).all():
        raise InputError(
            f"{distance_mm.size} stations need as many finite targets; give a cold target for every station or leave "
            "the station out."
        )
    answer = response or learn_response((), distance_mm, support_mm)
    if answer.matrix.shape != (distance_mm.size, support_mm.size):
        raise InputError(
            f"The answer is of {answer.matrix.shape[0]} stations and {answer.matrix.shape[1]} supports, the line has "
            f"{distance_mm.size} and {support_mm.size}; learn the answer for these."
        )
    free = np.array([support.adjusts for support in supports], dtype=np.bool_)
    chosen, why = _way(way, int(free.sum()), int((~free).sum()), answer.rounds)
    deviation = offset_um - target_um
    flange = fit_line(distance_mm, deviation, covariance_um2)

    # Whatever the way, the wanted moves are linear in the deviations.
    gain = np.zeros((support_mm.size, distance_mm.size))
    if free.any():
        gain[free] = -_gain(chosen, distance_mm, support_mm, covariance_um2, answer.matrix, free)
    wanted = gain @ deviation
    u_wanted = np.sqrt(np.maximum(np.diagonal(gain @ covariance_um2 @ gain.T), 0.0))
    made = np.zeros(support_mm.size)
    moves = []
    for k in np.argsort(support_mm, kind="stable").tolist():
        support = supports[k]
        if not support.adjusts:
            continue
        made[k], held_by = _makeable(float(wanted[k]), support)
        moves.append(Move(support.code, axis, float(made[k]), float(u_wanted[k]), float(wanted[k]), held_by))
    predicted = offset_um + answer.matrix @ made
    variance = np.diagonal(covariance_um2) + np.diagonal(answer.spread_um2(made))
    return Plan(
        way=chosen,
        why=why,
        moves=tuple(moves),
        left_alone=tuple(support.code for support in supports if not support.adjusts),
        predicted_um=predicted,
        u_predicted_um=np.sqrt(variance),
        deviation_um=predicted - target_um,
        flange_um=flange.offset_um,
        u_flange_um=flange.u_offset_um,
    )


def _way(asked: Way | None, adjusting: int, holding: int, rounds: int) -> tuple[Way, str]:
    if asked == "response" and rounds == 0:
        raise InputError("No past round tells how this line answers; plan by interpolation or turning.")
    if asked is not None:
        return asked, "as asked for"
    if adjusting == 0:
        return "turning", "no support adjusts this axis"
    if rounds >= ROUNDS_TO_TRUST:
        return "response", f"from this line's own answer in {rounds} rounds of moves"
    if adjusting > 1:
        return "interpolation", "from the deviation at every support, straight between stations"
    if holding:
        return "turning", "one support adjusts: it moves as if the barrel turned about the flange, but the others hold"
    return "turning", "one support adjusts: the barrel turns about the flange"


def _gain(
    way: Way,
    distance_mm: FloatArray,
    support_mm: FloatArray,
    covariance_um2: FloatArray,
    answer: FloatArray,
    free: BoolArray,
) -> FloatArray:
    """Return the moves at the free supports that would undo a unit of deviation at every station, (n_free, n)."""
    if way == "interpolation":
        order = np.argsort(distance_mm, kind="stable")
        units = np.eye(distance_mm.size)[order]
        at = np.stack([np.interp(support_mm[free], distance_mm[order], units[:, k]) for k in range(distance_mm.size)])
        return at.T
    if way == "turning":
        weight = np.linalg.solve(covariance_um2, distance_mm)
        return np.outer(support_mm[free], weight / float(distance_mm @ weight))
    return np.asarray(np.linalg.pinv(answer[:, free]), dtype=np.float64)


def _makeable(wanted_um: float, support: SupportToMove) -> tuple[float, Literal["room", "step"] | None]:
    """Return the move nearest to a wanted one that the support's steps and room allow, and what held it."""
    step = support.step_um or 0.0
    move = round(wanted_um / step) * step if step > 0.0 else wanted_um
    held: Literal["room", "step"] | None = "step" if abs(move - wanted_um) > _HAIR_UM else None
    recorded = support.room_up_um if move > 0.0 else support.room_down_um
    if recorded is None:
        return float(move), held
    room = max(recorded, 0.0)
    if abs(move) > room + _HAIR_UM:
        # Three steps of 0.1 are a hair more than 0.3 in binary; that hair is no reason to lose a step.
        least = np.floor((room + _HAIR_UM) / step) * step if step > 0.0 else room
        return float(np.copysign(least, move)) + 0.0, "room"
    return float(move), held
