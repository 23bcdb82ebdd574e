"""What rounds teach, against a stacked fit by statsmodels, and against lines whose true answer is known."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from fleet.errors import InputError
from fleet.profile import Round, expected_response, learn_response

X = np.array([500.0, 1500.0, 2300.0, 3150.0, 3700.0])
S = np.array([1500.0, 3150.0])
ZERO = np.zeros(X.size)
C = 64.0 * (np.eye(X.size) + 1.0)
GEOMETRY = expected_response(X, S)


def rounds(true: np.ndarray, n: int, rng: np.random.Generator, u_move_um: float = 0.0) -> list[Round]:
    made = []
    for _ in range(n):
        moves = rng.uniform(-300.0, 300.0, S.size)
        before = rng.normal(0.0, 100.0, X.size)
        after = before + true @ moves + rng.multivariate_normal(ZERO, 2.0 * C)
        made.append(Round(moves, np.full(S.size, u_move_um), before, after, 2.0 * C))
    return made


def test_geometry_agrees_with_numpy_interpolation_between_the_pins() -> None:
    x = np.linspace(0.0, 3150.0, 40)
    got = expected_response(x, S)
    for k, unit in enumerate(np.eye(2)):
        assert got[:, k] == pytest.approx(np.interp(x, [0.0, *S], [0.0, *unit]), abs=1e-12)


def test_a_line_without_supports_answers_to_nothing() -> None:
    assert expected_response(X, np.empty(0)).shape == (X.size, 0)


def test_the_posterior_is_a_fit_with_the_geometry_as_further_observations() -> None:
    # Theil and Goldberger, Int. Econ. Rev. 2 (1961): a prior is one more block of observations.
    made = rounds(0.8 * GEOMETRY, 3, np.random.default_rng(1), u_move_um=5.0)
    u = np.repeat(0.25 * X / X.max(), S.size)
    blocks = [np.eye(GEOMETRY.size), *(np.kron(np.eye(X.size), one.moves_um) for one in made)]
    seen = [GEOMETRY.ravel(), *(one.after_um - one.before_um for one in made)]
    of_moves = 2.0 * C + GEOMETRY @ np.diag([25.0, 25.0]) @ GEOMETRY.T
    covariance = np.zeros((GEOMETRY.size + 3 * X.size,) * 2)
    covariance[: u.size, : u.size] = np.diag(u**2)
    for k in range(3):
        at = slice(u.size + k * X.size, u.size + (k + 1) * X.size)
        covariance[at, at] = of_moves
    theirs = sm.GLS(np.concatenate(seen), np.vstack(blocks), sigma=covariance).fit()
    ours = learn_response(made, X, S)
    assert ours.matrix.ravel() == pytest.approx(theirs.params, abs=1e-9)
    assert ours.covariance == pytest.approx(theirs.normalized_cov_params, abs=1e-12)
    assert ours.rounds == 3


def test_the_order_of_the_rounds_does_not_matter() -> None:
    made = rounds(0.8 * GEOMETRY, 4, np.random.default_rng(2))
    assert learn_response(made, X, S).matrix == pytest.approx(learn_response(made[::-1], X, S).matrix, abs=1e-10)


def test_before_any_round_the_answer_is_as_unsure_as_the_share_of_the_barrel() -> None:
    got = learn_response((), X, S, u_prior=0.4)
    u = np.sqrt(np.diagonal(got.covariance)).reshape(GEOMETRY.shape)
    # By hand: 0.4 at the farthest station, 0.4 * 1500/3700 at the first support.
    assert u[4] == pytest.approx(0.4)
    assert u[1] == pytest.approx(0.4 * 1500.0 / 3700.0)


def test_what_rounds_teach_holds_95_per_cent_for_lines_drawn_from_the_prior() -> None:
    rng = np.random.default_rng(6)
    prior = np.repeat(0.25 * X / X.max(), S.size).reshape(GEOMETRY.shape)
    n, held = 1200, np.zeros(GEOMETRY.shape)
    for _ in range(n):
        true = GEOMETRY + prior * rng.standard_normal(GEOMETRY.shape)
        got = learn_response(rounds(true, 2, rng), X, S)
        u = np.sqrt(np.diagonal(got.covariance)).reshape(GEOMETRY.shape)
        held += np.abs(got.matrix - true) <= 1.96 * u
    # Ten entries are looked at together, so four binomial sigmas.
    assert np.all(np.abs(held / n - 0.95) <= 4.0 * (0.95 * 0.05 / n) ** 0.5), held / n


def test_the_spread_of_given_moves_is_their_propagated_covariance() -> None:
    # JCGM 102, 6.2: sensitivities of station i to the answers of its own row are the moves, to all others 0.
    got = learn_response(rounds(0.8 * GEOMETRY, 2, np.random.default_rng(9)), X, S)
    moves = np.array([120.0, -45.0])
    sensitivity = np.zeros((X.size, GEOMETRY.size))
    for i in range(X.size):
        sensitivity[i, 2 * i : 2 * i + 2] = moves
    assert got.spread_um2(moves) == pytest.approx(sensitivity @ got.covariance @ sensitivity.T, rel=1e-10)


GOOD = Round(np.array([100.0, 0.0]), np.zeros(2), ZERO, ZERO, C)
UNFIT = (
    "A round moved {} supports and read {} stations before and {} after; this line has 2 supports and 5 stations. "
    "Leave the round out."
)
NOT_A_NUMBER = "A round holds a value that is not a finite number; leave the round out."


@pytest.mark.parametrize(
    ("made", "sentence"),
    [
        (Round(np.ones(3), np.ones(3), ZERO, ZERO, C), UNFIT.format(3, 5, 5)),
        (Round(np.ones(2), np.ones(2), ZERO[:4], ZERO[:4], C), UNFIT.format(2, 4, 4)),
        (Round(np.ones(2), np.ones(2), ZERO, ZERO[:4], C), UNFIT.format(2, 5, 4)),
        (Round(np.ones(2), np.ones(2), ZERO, ZERO, C[:4, :4]), UNFIT.format(2, 5, 5)),
        (Round(np.array([1.0, np.nan]), np.ones(2), ZERO, ZERO, C), NOT_A_NUMBER),
        (Round(np.ones(2), np.ones(2), ZERO, ZERO + np.inf, C), NOT_A_NUMBER),
        (
            Round(np.ones(2), np.zeros(2), ZERO, ZERO, np.zeros_like(C)),
            "A round's covariance is singular; give every station an uncertainty.",
        ),
    ],
)
def test_a_round_that_does_not_belong_is_refused(made: Round, sentence: str) -> None:
    with pytest.raises(InputError) as refused:
        learn_response([GOOD, made], X, S)
    assert str(refused.value) == sentence
