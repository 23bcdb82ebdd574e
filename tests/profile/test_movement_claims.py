"""What a movement's parts promise: held against statsmodels, and against simulated movements whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import InputError
from fleet.profile import Movement, Part, expected_response, fit_line, split_movement

pytestmark = pytest.mark.simulation

X = np.array([400.0, 1000.0, 1600.0, 2200.0, 2800.0, 3400.0])
KM = X / 1000.0
TWO = np.array([1000.0, 2800.0])
THREE = np.array([1000.0, 2200.0, 3400.0])
# Uneven stations that share the target's zero: neither equal nor independent.
U = np.array([8.0, 10.0, 12.0, 9.0, 14.0, 20.0])
C = 0.4 * np.outer(U, U) + np.diag(0.6 * U**2)
L = np.linalg.cholesky(C)
LINE = np.stack([np.ones_like(KM), KM], axis=1)


def split(moved_um: np.ndarray, supports: np.ndarray = TWO) -> Movement:
    return split_movement(X, moved_um, C, support_distance_mm=supports, support_codes=tuple("ABC"[: supports.size]))


def part(got: Movement, kind: str) -> Part:
    return next(one for one in got.parts if one.kind == kind)


def off_the_line(column: np.ndarray) -> np.ndarray:
    return column - sm.GLS(column, LINE, sigma=C).fit().fittedvalues


def within_three_sigma(count: int, n: int, claim: float) -> bool:
    return abs(count / n - claim) <= 3.0 * (claim * (1.0 - claim) / n) ** 0.5


def noise(n: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((n, X.size)) @ L.T


def test_amounts_are_the_coefficients_of_a_joint_fit_by_statsmodels() -> None:
    # Frisch-Waugh-Lovell: what lies beyond the line is the coefficient of the shape fitted together with the line.
    for moved in 60.0 * noise(5, 21) / U:
        got = split(moved)
        line = sm.GLS(moved, LINE, sigma=C).fit()
        for kind, k in (("shifted", 0), ("turned", 1)):
            assert part(got, kind).amount == pytest.approx(line.params[k], rel=1e-9)
            assert part(got, kind).u_amount == pytest.approx(line.normalized_cov_params[k, k] ** 0.5, rel=1e-9)
        bow = off_the_line(KM**2)
        at = int(np.argmax(np.abs(bow)))
        bent = sm.GLS(moved, np.column_stack([LINE, KM**2]), sigma=C).fit()
        assert part(got, "bent").station == at
        assert part(got, "bent").amount == pytest.approx(bent.params[2] * bow[at], rel=1e-8)
        assert part(got, "bent").u_amount == pytest.approx(
            bent.normalized_cov_params[2, 2] ** 0.5 * abs(bow[at]), rel=1e-8
        )
        named = part(got, "support")
        hat = expected_response(X, TWO)[:, "AB".index(named.support or "")]
        gave = sm.GLS(moved, np.column_stack([LINE, hat]), sigma=C).fit()
        assert named.amount == pytest.approx(gave.params[2], rel=1e-7)
        assert named.u_amount == pytest.approx(gave.normalized_cov_params[2, 2] ** 0.5, rel=1e-7)
        assert named.drawn_um == pytest.approx(gave.params[2] * hat, rel=1e-7)


def test_the_share_is_what_statsmodels_explains_with_that_shape_alone() -> None:
    for moved in 60.0 * noise(5, 22) / U:
        got = split(moved, THREE)
        for one in got.parts:
            shape = one.drawn_um / np.abs(one.drawn_um).max()
            alone = sm.GLS(moved, shape, sigma=C).fit()
            assert one.share == pytest.approx(1.0 - alone.ssr / alone.uncentered_tss, abs=1e-9), one.kind


def test_95_per_cent_ranges_hold_about_a_true_shift_turn_and_bend() -> None:
    n = 5000
    true = 35.0 - 20.0 * KM + 15.0 * KM**2
    line = sm.GLS(true, LINE, sigma=C).fit().params
    bow = off_the_line(KM**2)
    truth = {"shifted": line[0], "turned": line[1], "bent": 15.0 * bow[np.argmax(np.abs(bow))]}
    held = dict.fromkeys(truth, 0)
    for error in noise(n, 23):
        got = split(true + error, np.empty(0))
        for kind, amount in truth.items():
            one = part(got, kind)
            held[kind] += abs(one.amount - amount) <= 1.96 * one.u_amount
    assert all(within_three_sigma(count, n, 0.95) for count in held.values()), held


@pytest.mark.parametrize("gave", [0, 1])
def test_95_per_cent_ranges_hold_about_what_one_of_two_supports_gave(gave: int) -> None:
    n, amount = 1200, 600.0
    true = amount * expected_response(X, TWO)[:, gave]
    held = named = 0
    for error in noise(n, 24 + gave):
        one = part(split(true + error), "support")
        named += one.support == "AB"[gave]
        held += abs(one.amount - amount) <= 1.96 * one.u_amount
    assert named == n
    assert within_three_sigma(held, n, 0.95), held / n


def test_the_support_that_looks_largest_of_three_is_called_a_movement_5_times_in_100_and_no_more() -> None:
    n = 2000
    beyond = sum(part(split(error, THREE), "support").beyond_measurement for error in noise(n, 26))
    assert beyond / n <= 0.05 + 3.0 * (0.05 * 0.95 / n) ** 0.5
    # Nor is the promise kept by asking far too much.
    assert beyond / n >= 0.03


@pytest.mark.parametrize("supports", [np.empty(0), TWO, THREE])
def test_measurement_alone_explains_nothing_95_times_in_100(supports: np.ndarray) -> None:
    n = 1500
    nothing = sum(split(error, supports).explains is None for error in noise(n, 27))
    assert nothing / n >= 0.95 - 3.0 * (0.05 * 0.95 / n) ** 0.5


SHAPES = {
    "shifted": np.ones_like(KM),
    "turned": KM,
    "bent": off_the_line(KM**2),
    "support A": expected_response(X, THREE)[:, 0],
    "support B": expected_response(X, THREE)[:, 1],
    "support C": expected_response(X, THREE)[:, 2],
}


def said(got: Movement) -> str:
    return f"support {part(got, 'support').support}" if got.explains == "support" else str(got.explains)


@pytest.mark.parametrize("name", SHAPES)
def test_a_pure_movement_of_five_sigma_is_named_for_what_it_is(name: str) -> None:
    shape = SHAPES[name]
    one = part(split(shape, THREE), name.split()[0])
    moved = 5.0 * one.u_amount / abs(one.amount) * shape
    for sign in (1.0, -1.0):
        assert said(split(sign * moved, THREE)) == name
    # A neighbour's shape is much like it; with noise on top, three readings in four still say which.
    right = sum(said(split(moved + error, THREE)) == name for error in noise(200, 28))
    assert right >= 150, right / 200


@pytest.mark.parametrize("gave", [0, 1])
@pytest.mark.parametrize("amount_um", [-800.0, -73.0, 41.0, 333.0])
def test_which_of_two_supports_gave_is_not_left_to_rounding(gave: int, amount_um: float) -> None:
    # A turn moves both, so beyond a line both explain exactly alike; the one that needs no turn besides is named.
    one = part(split(amount_um * expected_response(X, TWO)[:, gave]), "support")
    assert (one.support, one.amount, one.share) == ("AB"[gave], pytest.approx(amount_um), pytest.approx(1.0))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(-400, 400), min_size=6, max_size=6).filter(any), st.floats(0.1, 50.0), st.sampled_from([1, -1])
)
def test_a_movement_told_in_other_units_or_the_other_way_round_has_the_same_parts(
    moved: list[int], factor: float, sign: int
) -> None:
    one = split(np.array(moved, dtype=np.float64), TWO)
    other = split_movement(
        X, sign * factor * np.array(moved), factor**2 * C, support_distance_mm=TWO, support_codes=("A", "B")
    )
    for mine, theirs in zip(one.parts[:3], other.parts[:3], strict=True):
        assert theirs.amount == pytest.approx(sign * factor * mine.amount, rel=1e-6, abs=1e-6)
        assert theirs.share == pytest.approx(mine.share, abs=1e-9)
    line = fit_line(X, np.array(moved, dtype=np.float64), C)
    assert one.parts[0].drawn_um + one.parts[1].drawn_um + line.departures_um == pytest.approx(moved, abs=1e-6)


def test_stations_that_did_not_move_at_all_explain_nothing() -> None:
    got = split(np.zeros(X.size))
    assert (got.explains, [one.amount for one in got.parts]) == (None, [0.0, 0.0, 0.0, 0.0])
    assert got.u_moved_um == pytest.approx(U)


def test_an_only_support_cannot_be_told_from_a_turn() -> None:
    got = split(50.0 * KM, np.array([2200.0]))
    assert [one.kind for one in got.parts] == ["shifted", "turned", "bent"]
    assert got.explains == "turned"


def crooked() -> np.ndarray:
    changed = C.copy()
    changed[0, 1] += 50.0
    return changed


def holed() -> np.ndarray:
    changed = C.copy()
    changed[2, 2] = np.nan
    return changed


@pytest.mark.parametrize(
    ("covariance_um2", "supports", "codes", "sentence"),
    [
        (
            C,
            TWO,
            ("A",),
            "1 support codes and 2 support distances do not belong together; give one distance for every support.",
        ),
        (
            C,
            np.array([0.0, 900.0]),
            ("A", "B"),
            "Supports stand at 0, 900 mm; each needs a distance of its own beyond the flange.",
        ),
        (
            C,
            np.array([900.0, np.inf]),
            ("A", "B"),
            "The distance of a station or a support is not a finite number; give it in mm or leave it out.",
        ),
        *(
            (
                unsound,
                TWO,
                ("A", "B"),
                "The covariance of the offsets holds something that is not a number or is not symmetric; give every "
                "pair of stations one finite covariance.",
            )
            for unsound in (crooked(), holed())
        ),
        (
            np.zeros_like(C),
            TWO,
            ("A", "B"),
            "The covariance of the offsets is not positive definite; give every station an uncertainty above zero.",
        ),
    ],
)
def test_a_movement_that_cannot_be_taken_apart_is_refused(covariance_um2, supports, codes, sentence) -> None:
    with pytest.raises(InputError) as refused:
        split_movement(X, KM, covariance_um2, support_distance_mm=supports, support_codes=codes)
    assert str(refused.value) == sentence
