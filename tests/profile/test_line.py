"""The generalised least-squares line through a profile, against statsmodels and by hand."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from fleet.errors import InputError
from fleet.profile import fit_line

X = np.array([150.0, 820.0, 1500.0, 2320.0, 3150.0, 3700.0])


def covariance(rng: np.random.Generator, n: int) -> np.ndarray:
    spread = rng.normal(0.0, 8.0, (n, n))
    return spread @ spread.T + 40.0 * np.eye(n)


def test_statsmodels_gls_gives_the_same_line() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        c, y = covariance(rng, X.size), rng.normal(0.0, 100.0, X.size)
        ours = fit_line(X, y, c)
        theirs = sm.GLS(y, sm.add_constant(X / 1000.0), sigma=c).fit()
        assert [ours.offset_um, ours.slope_um_per_m] == pytest.approx(theirs.params, rel=1e-9)
        assert ours.covariance == pytest.approx(theirs.normalized_cov_params, rel=1e-9)
        assert ours.chi2 == pytest.approx(theirs.ssr, rel=1e-9)
        assert ours.departures_um == pytest.approx(theirs.resid, abs=1e-8)


def test_two_stations_lie_on_their_line_and_show_no_bow() -> None:
    # By hand: from 20 at 1 m to 50 at 3 m is 15 um/m and 5 at the flange; u^2 there = 1.5^2 4^2 + 0.5^2 4^2 = 40.
    got = fit_line(np.array([1000.0, 3000.0]), np.array([20.0, 50.0]), 16.0 * np.eye(2))
    assert (got.offset_um, got.slope_um_per_m) == pytest.approx((5.0, 15.0))
    assert got.u_offset_um**2 == pytest.approx(40.0)
    assert got.u_slope_um_per_m**2 == pytest.approx(8.0)
    assert (got.bow_um, got.u_bow_um, got.bow_station, got.dof) == (None, None, None, 0)


def test_the_bow_is_the_largest_departure_with_its_sign_and_place() -> None:
    # By hand: 0, 30, 0 about its mean line of 10 departs by -10, +20, -10.
    got = fit_line(np.array([0.0, 1000.0, 2000.0]), np.array([0.0, 30.0, 0.0]), np.eye(3))
    assert (got.bow_um, got.bow_station) == pytest.approx((20.0, 1))
    # The middle of three equal readings keeps 2/3 of its variance off the line.
    assert got.u_bow_um == pytest.approx((2.0 / 3.0) ** 0.5)


def test_intervals_of_offset_and_slope_hold_95_per_cent() -> None:
    rng = np.random.default_rng(11)
    c = covariance(rng, X.size)
    n, held = 2000, np.zeros(2)
    for error in rng.multivariate_normal(np.zeros(X.size), c, n):
        got = fit_line(X, 12.0 - 30.0 * X / 1000.0 + error, c)
        held += [
            abs(got.offset_um - 12.0) <= 1.96 * got.u_offset_um,
            abs(got.slope_um_per_m + 30.0) <= 1.96 * got.u_slope_um_per_m,
        ]
    assert np.all(np.abs(held / n - 0.95) <= 3 * (0.95 * 0.05 / n) ** 0.5)


@pytest.mark.parametrize(
    ("x", "y", "c", "said"),
    [
        ([1000.0], [1.0], np.eye(1), "A line needs stations at two distances; there are 1."),
        ([1000.0, 1000.0], [1.0, 2.0], np.eye(2), "A line needs stations at two distances; there are 1."),
        (
            [1000.0, 2000.0],
            [1.0, np.nan],
            np.eye(2),
            "The value of station number 2 is nan; leave that station out.",
        ),
        (
            [1000.0, 2000.0],
            [1.0, 2.0],
            np.ones((2, 2)),
            "The covariance of the offsets is not positive definite; give every station an uncertainty above zero.",
        ),
        (
            [1000.0, 2000.0],
            [1.0],
            np.eye(2),
            "2 distances, 1 values and a covariance of shape (2, 2) do not belong together; give all three for the "
            "same stations.",
        ),
    ],
)
def test_a_profile_no_line_can_be_laid_through_is_refused(x, y, c, said) -> None:
    with pytest.raises(InputError) as refused:
        fit_line(np.array(x), np.array(y), c)
    assert str(refused.value) == said
