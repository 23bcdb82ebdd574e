"""How far the largest of several estimates reaches, against integration, Sidak's closed form and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from fleet.profile.several import reach_of_largest


def inside(reach: float, correlation: np.ndarray) -> float:
    """The chance that all stay within, by SciPy's numerical integration of the joint normal law (after Genz)."""
    k = correlation.shape[0]
    return float(
        multivariate_normal(np.zeros(k), correlation, seed=1).cdf(np.full(k, reach), lower_limit=-np.full(k, reach))
    )


def alike(*rho: float) -> np.ndarray:
    k = {1: 2, 3: 3, 6: 4}[len(rho)]
    matrix = np.eye(k)
    matrix[np.triu_indices(k, 1)] = rho
    return np.triu(matrix) + np.triu(matrix, 1).T


@pytest.mark.parametrize("rho", [-0.95, -0.4, 0.0, 0.3, 0.8, 0.99])
def test_of_two_estimates_the_larger_stays_within_exactly_95_times_in_100(rho: float) -> None:
    assert inside(reach_of_largest(alike(rho)), alike(rho)) == pytest.approx(0.95, abs=2e-5)


@pytest.mark.parametrize(
    "rho", [(0.0, 0.0, 0.0), (0.5, 0.5, 0.5), (0.9, 0.1, 0.3), (-0.7, 0.2, -0.6), (0.5,) * 6, (0.0,) * 6]
)
def test_of_more_the_reach_is_never_too_small_and_hardly_too_large(rho: tuple[float, ...]) -> None:
    got = inside(reach_of_largest(alike(*rho)), alike(*rho))
    assert 0.95 - 2e-5 <= got <= 0.957


@pytest.mark.parametrize("k", [2, 3, 4])
def test_independent_estimates_reach_as_far_as_sidak_says(k: int) -> None:
    # Sidak, J. Amer. Statist. Assoc. 62 (1967): exact for independent estimates.
    exact = norm.ppf((1.0 + 0.95 ** (1.0 / k)) / 2.0)
    assert reach_of_largest(np.eye(k)) == pytest.approx(exact, abs=0.004)
    assert reach_of_largest(np.eye(k)) >= exact - 1e-6


def test_one_estimate_and_several_that_are_one_and_the_same_stay_within_196() -> None:
    assert reach_of_largest(np.eye(1)) == pytest.approx(norm.ppf(0.975), abs=1e-9)
    for k in (2, 3, 5):
        assert reach_of_largest(np.ones((k, k))) == pytest.approx(norm.ppf(0.975), abs=1e-4)
    assert reach_of_largest(np.array([[1.0, -1.0], [-1.0, 1.0]])) == pytest.approx(norm.ppf(0.975), abs=1e-4)
