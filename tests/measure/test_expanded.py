"""Degrees of freedom and coverage against the worked example H.1 of the Guide."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fleet.errors import InputError
from fleet.measure import coverage_factor, effective_dof

DATA = Path(__file__).parent.parent / "data"


@pytest.fixture(scope="module")
def end_gauge():
    """Contributions in nm and their degrees of freedom, JCGM 100:2008, H.1: see gum_source.md."""
    budget = pd.read_csv(DATA / "gum_h1_budget.csv")
    counted = budget[budget["contribution_nm"] > 0]
    return counted["contribution_nm"].to_numpy(), counted["dof"].to_numpy()


@pytest.fixture(scope="module")
def published():
    return pd.read_csv(DATA / "gum_h1_results.csv").set_index("quantity")


def test_the_end_gauges_effective_dof_are_the_guides(end_gauge, published):
    dof = float(effective_dof(*end_gauge))
    assert dof == pytest.approx(published.loc["nu_eff_raw", "recomputed"], rel=2e-4)
    assert math.floor(dof * 10) / 10 == published.loc["nu_eff_raw", "published"]
    assert math.floor(dof) == published.loc["nu_eff_used", "published"]


def test_the_comparison_of_the_end_gauges_has_the_dof_recomputed_from_printed_inputs(published):
    # H.1.3.2: 5.8 nm (24), 3.9 nm (5), 6.7 nm (8).
    dof = float(effective_dof([5.8, 3.9, 6.7], [24, 5, 8]))
    assert dof == pytest.approx(published.loc["nu_d", "recomputed"], rel=1e-12)


def test_the_end_gauges_expanded_uncertainty_is_the_guides(end_gauge, published):
    u_c = float(np.hypot.reduce(end_gauge[0]))
    factor = float(coverage_factor(math.floor(effective_dof(*end_gauge)), 0.99))
    assert round(u_c) == published.loc["uc", "published"]
    assert round(factor, 2) == published.loc["t99_16", "published"]
    assert factor == pytest.approx(published.loc["t99_16", "recomputed"], rel=1e-12)
    assert round(factor * round(u_c)) == published.loc["U99", "published"]
    assert factor * u_c == pytest.approx(published.loc["U99", "recomputed"], rel=2e-4)


@pytest.mark.parametrize(
    ("dof", "coverage", "printed"),
    [
        (1, 0.95, 12.71),
        (4, 0.95, 2.78),
        (10, 0.95, 2.23),
        (10, 0.99, 3.17),
        (50, 0.95, 2.01),
        (100, 0.95, 1.984),
        (np.inf, 0.95, 1.960),
        (np.inf, 0.99, 2.576),
    ],
)
def test_students_factor_is_that_of_the_guides_table(dof, coverage, printed):
    # JCGM 100:2008, table G.2 (from memory).
    places = 3 if printed in (1.984, 1.960, 2.576) else 2
    assert round(float(coverage_factor(dof, coverage)), places) == printed


def test_very_many_degrees_of_freedom_meet_the_normal_factor():
    factors = coverage_factor(np.array([1e6, 1e12, 1e100, 1e300, np.inf]))
    assert factors == pytest.approx(np.full(5, 1.959963985), abs=1e-5)


def test_contributions_known_exactly_leave_infinitely_many_dof():
    assert effective_dof([[3.0, 4.0], [0.0, 5.0]], [np.inf, np.inf]) == pytest.approx([np.inf, np.inf])


def test_a_contribution_known_exactly_dilutes_the_dof_by_the_square_of_the_share():
    # By hand: half of the variance from 10 dof, the rest known: 10 / 0.5^2 = 40.
    assert effective_dof([1.0, 1.0], [10.0, np.inf]) == pytest.approx(40.0)


@pytest.mark.parametrize(("u", "dof"), [([-1.0], [3.0]), ([np.nan], [3.0]), ([1.0], [0.0]), ([1.0], [np.nan])])
def test_impossible_contributions_are_refused(u, dof):
    with pytest.raises(InputError):
        effective_dof(u, dof)


@pytest.mark.parametrize(("dof", "coverage"), [(5.0, 1.0), (5.0, 95.0), (0.0, 0.95), (np.nan, 0.95)])
def test_impossible_coverage_is_refused(dof, coverage):
    with pytest.raises(InputError):
        coverage_factor(dof, coverage)
