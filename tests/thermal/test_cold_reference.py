"""Bringing warm surveys back to the cold reference."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal.cold_reference import to_cold_reference
from fleet.thermal.geometry import LineGeometry, SupportGeometry, Temperatures
from fleet.thermal.rise import rise

LINE = LineGeometry(
    supports=(SupportGeometry("U1", 1000.0, 700.0, "flat", None, "rigid"),),
    barrel_outside_diameter_mm=200.0,
    barrel_expansion_per_k=11.5e-6,
)
X = np.array([500.0, 1000.0])


def test_a_hot_survey_comes_down_by_the_hand_worked_rise_with_both_uncertainties() -> None:
    # by hand: flat saddle 207.00 um at the support, half of it half way
    model = rise(LINE, Temperatures(barrel_c=200.0, gearbox_c=20.0, base_c=20.0), X)
    own = np.diag([9.0, 16.0])
    cold = to_cold_reference(np.array([150.0, 207.0]), own, model)
    np.testing.assert_allclose(cold.v_cold_um, [46.5, 0.0], atol=1e-9)
    np.testing.assert_allclose(cold.u_v_cold_um**2, np.array([9.0, 16.0]) + model.u_um**2)
    assert cold.covariance[0, 1] == pytest.approx(model.covariance[0, 1])
    assert cold.covariance[0, 1] > 0.0


def test_without_temperatures_a_survey_stays_as_it_is_and_a_station_not_measured_stays_out() -> None:
    cold = to_cold_reference(np.array([np.nan, 30.0]), np.diag([1.0, 4.0]), rise(LINE, Temperatures(), X))
    np.testing.assert_array_equal(cold.v_cold_um, [np.nan, 30.0])
    np.testing.assert_array_equal(cold.u_v_cold_um, [1.0, 2.0])


def test_offsets_and_rise_of_different_stations_are_refused() -> None:
    with pytest.raises(InputError, match="do not belong together"):
        to_cold_reference(np.zeros(3), np.eye(3), rise(LINE, Temperatures(), X))
