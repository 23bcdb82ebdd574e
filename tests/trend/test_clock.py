"""The line's clock by hand: plain arithmetic, no source needed."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.trend.clock import line_clock


def test_a_line_with_one_reading_goes_by_the_calendar() -> None:
    clock = line_clock(np.array([0.0]), np.array([5000.0]))
    assert not clock.metered
    assert clock.pace == 1.0
    assert clock.years(np.array([730.5]))[0] == pytest.approx(2.0)


def test_hours_between_readings_lie_on_the_straight_line_between_them() -> None:
    clock = line_clock(np.array([0.0, 365.25]), np.array([1000.0, 8000.0]))
    assert clock.hours(np.array([0.0, 182.625, 365.25])) == pytest.approx([0.0, 3500.0, 7000.0])
    assert clock.recent_hours_per_year == pytest.approx(7000.0)


def test_hours_after_the_last_reading_follow_the_last_years_use() -> None:
    clock = line_clock(np.array([0.0, 365.25, 730.5]), np.array([0.0, 6000.0, 9000.0]))
    assert clock.recent_hours_per_year == pytest.approx(3000.0)
    assert clock.mean_hours_per_year == pytest.approx(4500.0)
    assert clock.pace == pytest.approx(2 / 3)
    assert clock.hours(np.array([1095.75]))[0] == pytest.approx(12000.0)


def test_a_lower_reading_starts_a_new_meter_and_the_gap_is_projected() -> None:
    clock = line_clock(np.array([0.0, 365.25, 730.5, 1095.75]), np.array([20000.0, 26000.0, 100.0, 6100.0]))
    assert clock.hours(np.array([1095.75]))[0] == pytest.approx(18000.0)


def test_a_meter_that_never_advanced_leaves_the_line_on_the_calendar() -> None:
    assert not line_clock(np.array([0.0, 100.0]), np.array([50.0, 50.0])).metered


def test_an_idle_last_year_stops_the_projected_clock() -> None:
    clock = line_clock(np.array([0.0, 365.25, 730.5]), np.array([0.0, 6000.0, 6000.0]))
    assert clock.pace == 0.0
    assert clock.years(np.array([1095.75]))[0] == clock.years(np.array([730.5]))[0]


def test_a_negative_reading_is_refused_with_the_remedy() -> None:
    with pytest.raises(InputError) as caught:
        line_clock(np.array([0.0, 1.0]), np.array([-5.0, 2.0]))
    assert str(caught.value) == (
        "A meter reading must be a number of hours, 0 or more, on a known day; correct the reading."
    )
