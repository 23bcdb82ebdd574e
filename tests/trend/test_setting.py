"""Setting a line against its drift."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.trend import set_against_drift
from fleet.trend.setting import years_inside


def bias(rate: float, *, rate_sd: float = 1.0, sigma: float = 1.0, limit: float = 100.0, watch: float = 40.0) -> float:
    one = np.ones(1)
    return float(
        set_against_drift(
            rate_um=rate * one, rate_sd_um=rate_sd * one, sigma_um=sigma * one, limit_um=limit * one,
            watch_um=watch * one, years=5.0,
        )[0]
    )  # fmt: skip


def test_a_line_with_a_steady_rate_is_left_at_the_watch_width_on_the_other_side() -> None:
    # Nearly without wander it passes after (100 + bias) / 30 years: the larger, the longer.
    assert bias(30.0) == pytest.approx(-40.0)
    assert bias(-30.0) == pytest.approx(40.0)


def test_a_line_without_drift_is_left_on_target() -> None:
    assert bias(0.0, sigma=40.0) == 0.0


def test_a_line_that_will_not_pass_anyway_is_left_on_target() -> None:
    assert bias(1.0) == 0.0


def test_where_wander_outweighs_drift_the_bias_stays_small() -> None:
    assert -40.0 < bias(5.0, sigma=60.0) < 0.0


def test_without_a_watch_width_half_the_limit_bounds_it_and_without_a_limit_there_is_none() -> None:
    assert bias(50.0, watch=float("nan")) == pytest.approx(-50.0)
    assert np.isnan(bias(50.0, limit=float("nan")))


def test_the_time_a_bias_buys_is_how_much_farther_the_limit_lies_over_the_rate() -> None:
    # By hand: at 30 um a year and hardly any wander the limit of 100 is met after 3.33 years, left 30 low a year later.
    one = np.ones(2)
    inside = years_inside(
        np.array([0.0, -30.0]), rate_um=30.0 * one, rate_sd_um=0.01 * one, sigma_um=1.0 * one, limit_um=100.0 * one,
        years=8.0, places=48,
    )  # fmt: skip
    assert inside == pytest.approx([100 / 30, 130 / 30], abs=0.1)
