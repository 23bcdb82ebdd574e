"""What a movement was: each kind alone is named, noise is not, and the amounts hold what they promise."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.profile import expected_response, split_movement

X = np.array([150.0, 820.0, 1500.0, 2320.0, 3150.0, 3700.0])
SUPPORTS = np.array([1500.0, 3150.0])
CODES = ("A", "B")
U = 10.0
# Readings of one survey share the target's zero: half of the variance is common.
C = U**2 * (0.5 * np.eye(X.size) + 0.5)


def split(moved_um: np.ndarray):
    return split_movement(X, moved_um, C, support_distance_mm=SUPPORTS, support_codes=CODES)


def amounts(moved_um: np.ndarray) -> dict[str, float]:
    return {part.kind: part.amount for part in split(moved_um).parts}


def test_a_shift_is_shifted_alone() -> None:
    got = split(np.full(X.size, -120.0))
    assert got.explains == "shifted"
    assert amounts(np.full(X.size, -120.0)) == pytest.approx(
        {"shifted": -120.0, "turned": 0.0, "bent": 0.0, "support": 0.0}, abs=1e-9
    )


def test_a_turn_about_the_flange_is_turned_alone() -> None:
    # 0.067 mm/m lower toward the discharge end, as a barrel that sinks at its far support.
    got = split(-67.0 * X / 1000.0)
    assert got.explains == "turned"
    assert amounts(-67.0 * X / 1000.0) == pytest.approx(
        {"shifted": 0.0, "turned": -67.0, "bent": 0.0, "support": 0.0}, abs=1e-9
    )


def test_one_support_that_gave_is_named_with_what_it_gave() -> None:
    moved = -150.0 * expected_response(X, SUPPORTS)[:, 0]
    got = split(moved)
    (part,) = [part for part in got.parts if part.kind == "support"]
    assert (part.support, part.amount) == ("A", pytest.approx(-150.0))
    assert part.drawn_um == pytest.approx(moved)
    assert got.explains == "support"


def test_a_parabola_is_bent_by_its_departure_from_the_line() -> None:
    moved = 40.0 * (X / 1000.0) ** 2
    (part,) = [part for part in split(moved).parts if part.kind == "bent"]
    design = np.stack([np.ones_like(X), X / 1000.0], axis=1)
    weight = np.linalg.inv(C)
    line = design @ np.linalg.solve(design.T @ weight @ design, design.T @ weight @ moved)
    off = moved - line
    at = int(np.argmax(np.abs(off)))
    assert (part.station, part.amount) == (at, pytest.approx(off[at]))


def test_movements_well_beyond_measuring_are_named_for_what_they_are() -> None:
    rng = np.random.default_rng(8)
    hats = expected_response(X, SUPPORTS)
    planted = {"shifted": np.full(X.size, 80.0), "turned": 45.0 * X / 1000.0, "support": 220.0 * hats[:, 0]}
    for kind, moved in planted.items():
        got = [split(moved + error).explains for error in rng.multivariate_normal(np.zeros(X.size), C, 400)]
        assert got.count(kind) >= 0.9 * 400, kind


def test_two_stations_can_show_neither_bend_nor_support() -> None:
    got = split_movement(
        X[[0, 5]], np.array([5.0, 40.0]), 100.0 * np.eye(2), support_distance_mm=SUPPORTS, support_codes=CODES
    )
    assert [part.kind for part in got.parts] == ["shifted", "turned"]


def test_without_supports_none_is_named() -> None:
    got = split_movement(X, 30.0 * (X / 1000) ** 2, C, support_distance_mm=np.empty(0), support_codes=())
    assert [part.kind for part in got.parts] == ["shifted", "turned", "bent"]
