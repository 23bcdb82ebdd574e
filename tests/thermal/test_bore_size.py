"""The trade's rule of thumb: facts of the trade, common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal.bore_size import bore_size_drop_um, bore_size_target_um

THOU_UM = 25.4
INCH_MM = 25.4


def test_a_six_inch_barrel_is_set_ten_thou_low_and_a_two_and_a_half_inch_one_two_to_three() -> None:
    # common practice, no source
    six, two_and_a_half = bore_size_drop_um(np.array([6.0, 2.5]) * INCH_MM) / THOU_UM
    assert six == pytest.approx(10.0)
    assert 2.0 <= two_and_a_half <= 3.0


def test_the_drop_lies_straight_between_the_two_sizes_and_straight_on_outside() -> None:
    # common practice, no source; by hand: 4.25 in is half way, 7.75 in as far above 6 in as that is below
    between, above, tiny = bore_size_drop_um(np.array([4.25, 7.75, 0.5]) * INCH_MM) / THOU_UM
    assert between == pytest.approx((2.5 + 10.0) / 2)
    assert above == pytest.approx(10.0 + 3.75)
    assert tiny == 0.0


def test_a_plant_sets_its_own_points_in_any_order() -> None:
    drop = bore_size_drop_um(np.array([75.0, 100.0, 125.0, np.nan]), ((150.0, 200.0), (100.0, 50.0), (50.0, 0.0)))
    np.testing.assert_allclose(drop, [25.0, 50.0, 125.0, np.nan])
    np.testing.assert_array_equal(bore_size_drop_um(np.array([60.0, np.nan]), ((90.0, 80.0),)), [80.0, np.nan])


@pytest.mark.parametrize(("points", "message"), [((), "no point"), (((90.0, 10.0), (90.0, 20.0)), "90 mm twice")])
def test_points_that_say_nothing_or_two_things_are_refused(
    points: tuple[tuple[float, float], ...], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        bore_size_drop_um(90.0, points)


def test_the_barrel_drops_fully_at_every_support_and_by_its_share_before_the_first() -> None:
    # by hand: flange 0, supports 2000 and 3000
    x = np.array([0.0, 500.0, 2000.0, 2600.0, 3000.0, 3500.0])
    target = bore_size_target_um(x, np.array([3000.0, 2000.0]), drop_um=100.0)
    np.testing.assert_allclose(target, [0.0, -25.0, -100.0, -100.0, -100.0, -100.0], atol=1e-12)


def test_with_one_support_the_line_from_the_flange_runs_straight_on() -> None:
    target = bore_size_target_um(np.array([1000.0, 2000.0, 3000.0]), np.array([2000.0]), drop_um=100.0)
    np.testing.assert_allclose(target, [-50.0, -100.0, -150.0])


def test_a_plant_may_drop_fully_at_the_last_support_only() -> None:
    x = np.array([1000.0, 2000.0, 4000.0])
    target = bore_size_target_um(x, np.array([2000.0, 4000.0]), drop_um=100.0, shape="last_support")
    np.testing.assert_allclose(target, [-25.0, -50.0, -100.0])


def test_without_a_bore_or_a_rigid_support_the_rule_has_no_figure() -> None:
    x = np.array([1000.0])
    assert np.isnan(bore_size_target_um(x, np.array([2000.0]), drop_um=float("nan"))).all()
    assert np.isnan(bore_size_target_um(x, np.array([]), drop_um=100.0)).all()
