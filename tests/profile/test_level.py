"""What a gearbox's level says of a movement; every figure worked by hand from the geometry of a small angle."""

from __future__ import annotations

import math

import pytest

from fleet.errors import InputError
from fleet.profile.level import LevelSays, level_says


def said(before: float, after: float, turned: float, *, u: float = 3.0, at: float = 3150.0) -> LevelSays:
    return level_says(
        before_um_per_m=before, after_um_per_m=after, turned_um_per_m=turned, u_turned_um_per_m=u, distance_mm=at
    )


def test_a_gearbox_that_rises_by_70_um_a_metre_lets_the_bore_lie_lower_by_0_22_mm_at_3150_mm() -> None:
    # 70 um/m * 3.15 m = 220.5 um, and downward: the axis went up there, the bore did not.
    got = said(-10.0, 60.0, -70.0)
    assert got.tilt_um_per_m == 70.0
    assert got.accounts_um == pytest.approx(-220.5)
    assert got.rest_um_per_m == 0.0
    assert got.which == "gearbox"


def test_a_level_that_stood_still_leaves_the_whole_turn_to_the_barrel() -> None:
    got = said(25.0, 25.0, -70.0)
    assert (got.tilt_um_per_m, got.accounts_um, got.rest_um_per_m) == (0.0, 0.0, -70.0)
    assert got.which == "barrel"


def test_a_gearbox_that_dips_can_hide_a_barrel_that_sinks_as_far() -> None:
    # Both fall by 80 um/m toward the discharge end: against each other nothing turned.
    got = said(0.0, -80.0, 0.0)
    assert got.accounts_um == pytest.approx(252.0)
    assert got.rest_um_per_m == -80.0
    assert got.which == "both"


def test_what_two_readings_of_10_um_a_metre_cannot_see_is_not_told() -> None:
    # Two readings: sqrt(2) * 10 = 14.142 um/m, at 95 % 27.72; with 3 of the turn hypot(14.142, 3) = 14.457, 28.33.
    got = said(0.0, 27.0, -50.0)
    assert got.u_tilt_um_per_m == pytest.approx(14.1421356, abs=1e-6)
    assert got.u_rest_um_per_m == pytest.approx(math.sqrt(209.0))
    assert got.u_accounts_um == pytest.approx(3.15 * 14.1421356, abs=1e-5)
    assert got.which == "cannot be told"
    assert said(0.0, 28.0, -50.0).which == "gearbox"
    assert said(0.0, 0.0, -28.0).which == "cannot be told"
    assert said(0.0, 0.0, -29.0).which == "barrel"


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ((math.nan, 0.0, 0.0), "The level before is nan; give a finite number."),
        ((0.0, math.inf, 0.0), "The level after is inf; give a finite number."),
        ((0.0, 0.0, -math.inf), "The turn is -inf; give a finite number."),
    ],
)
def test_what_is_no_number_is_refused_by_name(values: tuple[float, float, float], sentence: str) -> None:
    with pytest.raises(InputError) as refused:
        said(*values)
    assert str(refused.value) == sentence


def test_a_negative_distance_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        said(0.0, 0.0, 0.0, at=-1.0)
    assert str(refused.value) == "The distance is -1.0; give a finite number of 0 or more."
