"""Straightness after the definitions of ISO 12780-1, on hand-worked profiles and against linear programming."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.stats import linregress

from fleet.errors import InputError
from fleet.profile import straightness

DATA = Path(__file__).parents[1] / "data"


def column(name: str) -> tuple[np.ndarray, np.ndarray]:
    with (DATA / "straightness_points.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["set"] == name]
    return tuple(np.array([float(row[key]) for row in rows]) for key in ("x_mm", "z_um"))


def worked(name: str) -> dict[str, float]:
    with (DATA / "straightness_results.csv").open(encoding="utf-8") as file:
        return {
            row["quantity"]: float(Fraction(row["exact_rational"]))
            for row in csv.DictReader(file)
            if row["set"] == name and row["decimal"]
        }


def programmed(x_mm: np.ndarray, z_um: np.ndarray) -> float:
    """The narrowest zone by another road: least half width h with |z - a - b x| <= h."""
    x = x_mm / 1000.0
    one = np.ones_like(x)
    above, below = np.stack([-one, -x, -one], axis=1), np.stack([one, x, -one], axis=1)
    got = linprog(
        [0, 0, 1], A_ub=np.vstack([above, below]), b_ub=np.concatenate([-z_um, z_um]), bounds=[(None, None)] * 3
    )
    return 2.0 * float(got.fun)


@pytest.mark.parametrize("name", ["A", "B"])
def test_the_hand_worked_profiles_come_out_exactly(name: str) -> None:
    got, exact = straightness(*column(name)), worked(name)
    assert got.least_squares_um == pytest.approx(exact["least-squares peak-to-valley um"], rel=1e-12)
    assert got.minimum_zone_um == pytest.approx(exact["minimum-zone width um"], rel=1e-12)
    assert got.least_squares_slope_um_per_m == pytest.approx(1000 * exact["least-squares slope um/mm"], rel=1e-12)
    assert got.minimum_zone_slope_um_per_m == pytest.approx(1000 * exact["minimum-zone slope um/mm"], rel=1e-12)
    assert got.least_squares_offset_um == pytest.approx(exact["least-squares intercept um"], rel=1e-12)
    assert got.minimum_zone_offset_um == pytest.approx(exact["minimum-zone median-line intercept um"], rel=1e-12)


@pytest.mark.parametrize("name", ["A", "B"])
def test_the_minimum_zone_touches_two_points_on_one_side_and_one_between_on_the_other(name: str) -> None:
    x_mm, z_um = column(name)
    got = straightness(x_mm, z_um)
    off = z_um - got.minimum_zone_offset_um - got.minimum_zone_slope_um_per_m * x_mm / 1000.0
    with (DATA / "straightness_results.csv").open(encoding="utf-8") as file:
        contact = {row["quantity"]: row["exact_rational"] for row in csv.DictReader(file) if row["set"] == name}
    for side, sign in (("upper", 1.0), ("lower", -1.0)):
        touched = np.flatnonzero(np.abs(sign * off - got.minimum_zone_um / 2.0) < 1e-9) + 1
        assert touched.tolist() == [int(k) for k in contact[f"minimum-zone contact points {side}"].split()]


@pytest.mark.parametrize("name", ["A", "B"])
def test_the_least_squares_line_is_the_one_scipy_lays(name: str) -> None:
    x_mm, z_um = column(name)
    theirs = linregress(x_mm / 1000.0, z_um)
    got = straightness(x_mm, z_um)
    assert got.least_squares_slope_um_per_m == pytest.approx(theirs.slope, rel=1e-9)
    assert got.least_squares_offset_um == pytest.approx(theirs.intercept, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(-300, 300), min_size=3, max_size=9), st.floats(-100.0, 100.0), st.floats(-300.0, 300.0))
def test_straightness_does_not_care_where_the_profile_lies_or_how_it_slopes(
    z_um: list[int], slope_um_per_m: float, offset_um: float
) -> None:
    x_mm = 700.0 * np.arange(1, len(z_um) + 1)
    z = np.array(z_um, dtype=np.float64)
    one = straightness(x_mm, z)
    other = straightness(x_mm[::-1], (z + offset_um + slope_um_per_m * x_mm / 1000.0)[::-1])
    assert other.minimum_zone_um == pytest.approx(one.minimum_zone_um, abs=1e-8)
    assert other.least_squares_um == pytest.approx(one.least_squares_um, abs=1e-8)
    assert other.least_squares_slope_um_per_m == pytest.approx(
        one.least_squares_slope_um_per_m + slope_um_per_m, abs=1e-8
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-300, 300), min_size=3, max_size=9))
def test_the_minimum_zone_is_what_linear_programming_finds(z_um: list[int]) -> None:
    x_mm = 700.0 * np.arange(1, len(z_um) + 1)
    z = np.array(z_um, dtype=np.float64)
    got = straightness(x_mm, z)
    assert got.minimum_zone_um == pytest.approx(programmed(x_mm, z), abs=1e-6)
    assert got.minimum_zone_um <= got.least_squares_um + 1e-9


def test_a_straight_profile_has_no_zone_and_one_station_no_straightness() -> None:
    x = np.array([500.0, 1400.0, 2300.0])
    assert straightness(x, 40.0 - 0.02 * x).minimum_zone_um == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(InputError, match=r"Straightness needs finite offsets at stations of two distances or more"):
        straightness(np.array([500.0, 500.0]), np.array([1.0, 2.0]))
