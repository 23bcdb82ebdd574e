"""Running checks as rises from the cold reference, and their grouping into runs."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal.measured import before_soak, group_runs, hot_survey_rise, measured_rise

NAN = float("nan")
DAY_H = 24.0


def one(rise_um: float, u_um: float, **known: float) -> tuple[float, float, bool]:
    floor = bool(known.pop("floor", 0))
    usual = {
        "gearbox_rise_um": NAN,
        "gearbox_modelled_um": 200.0,
        "u_gearbox_modelled_um": 40.0,
        "zero_rise_um": 0.0,
        "u_zero_rise_um": 0.0,
    }
    arrays = {name: np.array([value]) for name, value in (usual | known).items()}
    result = measured_rise(np.array([rise_um]), np.array([u_um]), relative_to_floor=np.array([floor]), **arrays)
    return float(result.rise_um[0]), float(result.u_rise_um[0]), bool(result.u_assumed[0])


def test_a_check_relative_to_the_gearbox_axis_stands_as_it_is() -> None:
    assert one(280.0, 10.0) == (280.0, 10.0, False)


def test_a_check_relative_to_the_floor_has_the_measured_gearbox_rise_taken_off() -> None:
    # by hand: 480 - 230; both read to 10 um
    rise, u, _ = one(480.0, 10.0, floor=1, gearbox_rise_um=230.0)
    assert rise == 250.0
    assert u == pytest.approx(np.hypot(10.0, 10.0))


def test_a_check_relative_to_the_floor_falls_back_on_the_modelled_gearbox_rise_with_its_doubt() -> None:
    rise, u, _ = one(480.0, 30.0, floor=1)
    assert rise == 280.0
    assert u == pytest.approx(50.0)


def test_a_check_relative_to_the_floor_without_any_word_on_the_gearbox_has_no_figure() -> None:
    assert np.isnan(one(480.0, 30.0, floor=1, gearbox_modelled_um=NAN)[0])
    assert one(480.0, 30.0, gearbox_modelled_um=NAN)[0] == 480.0


def test_a_zero_taken_warm_has_the_rise_up_to_it_added() -> None:
    rise, u, _ = one(190.0, 12.0, zero_rise_um=60.0, u_zero_rise_um=16.0)
    assert rise == 250.0
    assert u == pytest.approx(20.0)


def test_a_check_that_states_no_uncertainty_is_given_one_and_marked() -> None:
    assert one(100.0, NAN) == (100.0, 15.0, True)


def test_a_check_that_claims_to_be_perfect_does_not_outweigh_all_others() -> None:
    assert one(100.0, 0.0) == (100.0, 1.0, False)
    assert hot_survey_rise(np.array([5.0]), np.zeros(1), np.array([1.0]), np.zeros(1))[1][0] == 1.0


def test_a_rise_not_measured_has_no_uncertainty_either() -> None:
    rise, u, _ = one(NAN, 10.0)
    assert np.isnan(rise)
    assert np.isnan(u)


def test_a_hot_survey_shows_its_rise_over_the_last_as_left() -> None:
    rise, u = hot_survey_rise(
        np.array([40.0, 10.0]), np.array([3.0, 3.0]), np.array([-210.0, NAN]), np.array([4.0, NAN])
    )
    np.testing.assert_array_equal(rise, [250.0, NAN])
    np.testing.assert_array_equal(u, [5.0, NAN])


def test_checks_within_seven_days_are_one_run_and_a_later_one_is_another() -> None:
    # day 0, 3, 7 of line 1 belong together, day 7 and an hour does not; line 0 is apart
    line = np.array([1, 1, 1, 1, 0])
    time_h = np.array([0.0, 7 * DAY_H, 3 * DAY_H, 7 * DAY_H + 1.0, 3 * DAY_H])
    run = group_runs(line, time_h, np.array([], dtype=np.int64), np.array([]))
    assert run.tolist() == [1, 1, 1, 2, 0]


def test_an_as_left_between_two_checks_parts_them_into_two_runs() -> None:
    line = np.array([4, 4, 4])
    time_h = np.array([0.0, 24.0, 48.0])
    run = group_runs(line, time_h, np.array([4, 5]), np.array([30.0, 12.0]))
    assert run.tolist() == [0, 0, 1]
    at_that_time = group_runs(line, time_h, np.array([4]), np.array([24.0]))
    assert at_that_time.tolist() == [0, 1, 1]


def test_rows_of_one_check_share_its_run() -> None:
    run = group_runs(np.array([2, 2, 2]), np.array([5.0, 5.0, 5.0]), np.array([2]), np.array([5.0]))
    assert run.tolist() == [0, 0, 0]


def test_a_check_without_a_time_is_refused() -> None:
    with pytest.raises(InputError, match="no time"):
        group_runs(np.array([1]), np.array([NAN]), np.array([], dtype=np.int64), np.array([]))


def test_a_check_before_the_soak_is_marked_and_unknown_hours_are_not() -> None:
    assert before_soak(np.array([11.9, 12.0, NAN])).tolist() == [True, False, False]
    assert before_soak(np.array([11.9]), soak_hours=8.0).tolist() == [False]
