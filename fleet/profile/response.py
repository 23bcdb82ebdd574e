"""How a line's stations answer when a support is moved: by geometry at first, by its own past rounds with time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray

RESPONSE_U: Final = 0.25
"""Standard uncertainty of a station's answer before any round is known, as a share of the move (from memory)."""


@dataclass(frozen=True, slots=True)
class Round:
    """One round of moves on one axis, surveyed before and after.

    Attributes
    ----------
    moves_um, u_moves_um
        What every support was moved and how surely, (n_supports,), + raised or to the right; 0 where it was left. [um]
    before_um, after_um
        Offsets, (n_stations,). [um]
    covariance_um2
        Of after minus before, (n_stations, n_stations). [um^2]
    """

    moves_um: FloatArray
    u_moves_um: FloatArray
    before_um: FloatArray
    after_um: FloatArray
    covariance_um2: FloatArray


@dataclass(frozen=True, slots=True)
class Response:
    """How far every station moves for a unit at every support.

    Attributes
    ----------
    matrix
        (n_stations, n_supports), without unit.
    covariance
        Of the matrix laid out row by row, (n_stations * n_supports,) squared.
    rounds
        How many rounds speak for it; 0: geometry alone.
    """

    matrix: FloatArray
    covariance: FloatArray
    rounds: int

    def spread_um2(self, moves_um: FloatArray) -> FloatArray:
        """Return what not knowing the answer exactly does to the stations for given moves, (n_stations, n_stations)."""
        n_stations, n_supports = self.matrix.shape
        block = self.covariance.reshape(n_stations, n_supports, n_stations, n_supports)
        spread: FloatArray = np.einsum("ispq,s,q->ip", block, moves_um, moves_um)
        return spread


def expected_response(distance_mm: FloatArray, support_distance_mm: FloatArray) -> FloatArray:
    """Return how the stations answer by geometry: still at the flange, straight through the supports and on beyond.

    Parameters
    ----------
    distance_mm
        Stations, (n_stations,). [mm]
    support_distance_mm
        Supports in any order, (n_supports,), each at a distance of its own above 0. [mm]

    Returns
    -------
    FloatArray
        (n_stations, n_supports): what a station moves for a unit at a support, the others held.

    Raises
    ------
    InputError
        Two supports share a distance, one stands at the flange, or a distance is not finite.
    """
    if not (np.isfinite(distance_mm).all() and np.isfinite(support_distance_mm).all()):
        raise InputError(
            "The distance of a station or a support is not a finite number; give it in mm or leave it out."
        )
    if support_distance_mm.size == 0:
        return np.empty((distance_mm.size, 0))
    order = np.argsort(support_distance_mm, kind="stable")
    pins = np.concatenate([[0.0], support_distance_mm[order]])
    if np.any(np.diff(pins) <= 0.0):
        raise InputError(
            f"Supports stand at {', '.join(f'{mm:g}' for mm in pins[1:])} mm; each needs a distance of its own beyond "
            "the flange."
        )
    # The span that holds a station; beyond the last pin the last span goes straight on.
    span = np.clip(np.searchsorted(pins, distance_mm, side="right") - 1, 0, pins.size - 2)
    share = (distance_mm - pins[span]) / (pins[span + 1] - pins[span])
    weights = np.zeros((distance_mm.size, pins.size))
    rows = np.arange(distance_mm.size)
    weights[rows, span] = 1.0 - share
    weights[rows, span + 1] = share
    response = np.empty((distance_mm.size, support_distance_mm.size))
    response[:, order] = weights[:, 1:]
    return response


def learn_response(
    rounds: Sequence[Round], distance_mm: FloatArray, support_distance_mm: FloatArray, *, u_prior: float = RESPONSE_U
) -> Response:
    """Let a line's past rounds correct the geometry.

    Parameters
    ----------
    rounds
        Past rounds of one axis; none: the geometry itself comes back.
    distance_mm, support_distance_mm
        Stations and supports, (n_stations,), (n_supports,). [mm]
    u_prior
        How far an answer may be from geometry at a support, one standard deviation; less toward the flange, in
        proportion to the distance as a share of the farthest station's.

    Returns
    -------
    Response

    Raises
    ------
    InputError
        A round is of other stations or supports, holds a value that is not finite, or its covariance is singular.

    References
    ----------
    Bayesian linear regression with a Gaussian prior: Lindley and Smith, J. R. Statist. Soc. B 34 (1972), from memory.
    """
    prior = expected_response(distance_mm, support_distance_mm)
    n_stations, n_supports = prior.shape
    share = np.clip(distance_mm / max(float(np.max(distance_mm)), 1.0), 0.0, None)
    u = np.maximum(u_prior * np.repeat(share, n_supports), 1e-6)
    precision = np.diag(1.0 / u**2)
    information = precision @ prior.ravel()
    for made in rounds:
        if (
            {made.moves_um.shape, made.u_moves_um.shape} != {(n_supports,)}
            or {made.before_um.shape, made.after_um.shape} != {(n_stations,)}
            or made.covariance_um2.shape != (n_stations, n_stations)
        ):
            raise InputError(
                f"A round moved {made.moves_um.size} supports and read {made.before_um.size} stations before and "
                f"{made.after_um.size} after; this line has {n_supports} supports and {n_stations} stations. Leave the "
                "round out."
            )
        given = (made.moves_um, made.u_moves_um, made.before_um, made.after_um, made.covariance_um2)
        if not all(np.isfinite(values).all() for values in given):
            raise InputError("A round holds a value that is not a finite number; leave the round out.")
        # How far a move was really made is not known exactly either; by geometry that reaches the stations.
        covariance = made.covariance_um2 + prior @ np.diag(made.u_moves_um**2) @ prior.T
        design = np.kron(np.eye(n_stations), made.moves_um[None, :])
        try:
            weighted = np.linalg.solve(covariance, np.column_stack([design, made.after_um - made.before_um]))
        except np.linalg.LinAlgError as unsound:
            raise InputError("A round's covariance is singular; give every station an uncertainty.") from unsound
        precision = precision + design.T @ weighted[:, :-1]
        information = information + design.T @ weighted[:, -1]
    posterior = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return Response((posterior @ information).reshape(n_stations, n_supports), posterior, len(rounds))
