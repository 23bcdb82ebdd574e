"""Predicted offsets hold what they promise at every station, for lines that answer as the prior says they may."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.profile import Round, SupportToMove, learn_response, plan_moves

X = np.array([600.0, 1500.0, 2400.0, 3100.0])
S = np.array([1500.0, 3100.0])
C = 36.0 * (np.eye(X.size) + 1.0)
L = np.linalg.cholesky(C)
ZERO = np.zeros(X.size)
U_MOVE = 5.0


def made(moves_um: np.ndarray, answer: np.ndarray, rng: np.random.Generator) -> Round:
    """One simulated round: the moves really made differ from those noted, the surveys err."""
    really = moves_um + rng.normal(0.0, U_MOVE, S.size)
    before = rng.normal(0.0, 100.0, X.size)
    after = before + answer @ really + L @ rng.standard_normal(X.size)
    return Round(moves_um, np.full(S.size, U_MOVE), before, after, C)


@pytest.mark.parametrize(("n_rounds", "way"), [(0, "interpolation"), (1, "interpolation"), (3, "response")])
def test_predicted_offsets_hold_95_per_cent_at_every_station(n_rounds: int, way: str) -> None:
    rng = np.random.default_rng(33 + n_rounds)
    prior = learn_response([], X, S)
    spread = np.linalg.cholesky(prior.covariance)
    supports = [SupportToMove("A", S[0], True, step_um=25.4), SupportToMove("B", S[1], True, room_up_um=150.0)]
    n, held = 1200, np.zeros(X.size)
    for _ in range(n):
        answer = prior.matrix + (spread @ rng.standard_normal(prior.matrix.size)).reshape(prior.matrix.shape)
        rounds = [made(rng.uniform(-300.0, 300.0, S.size), answer, rng) for _ in range(n_rounds)]
        true = rng.normal(0.0, 150.0, X.size)
        got = plan_moves(
            axis="v",
            distance_mm=X,
            offset_um=true + L @ rng.standard_normal(X.size),
            covariance_um2=C,
            target_um=ZERO,
            supports=supports,
            response=learn_response(rounds, X, S),
        )
        assert got.way == way
        after = true + answer @ [move.move_um for move in got.moves]
        held += np.abs(after - got.predicted_um) <= 1.96 * got.u_predicted_um
    slack = 3.0 * (0.95 * 0.05 / n) ** 0.5
    assert held / n == pytest.approx(np.full(X.size, 0.95), abs=slack)
