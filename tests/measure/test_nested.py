"""Nested components of scatter against published gauge studies and projections written out in full."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fleet.errors import InputError
from fleet.measure.nested import nested_components

DATA = Path(__file__).parent.parent / "data"


def codes(*columns):
    return [pd.factorize(column)[0].astype(np.int64) for column in columns]


def test_resistivity_from_day_to_day_and_run_to_run_is_the_handbooks():
    # NIST/SEMATECH e-Handbook, 2.6.1, probe 2362, see gauge_source.md: each value is the mean of six readings of a
    # day, six days a run, two runs a wafer; the handbook's figures are standard deviations of those averages.
    rows = pd.read_csv(DATA / "gauge_resistivity.csv").query("probe == 2362")
    published = (
        pd.read_csv(DATA / "gauge_resistivity_results.csv").query("subset == 'probe 2362'").set_index("quantity")
    )
    got = nested_components(rows["resistivity_ohm_cm"].to_numpy(), codes(rows["wafer"], rows["run"]))
    assert got.dof.tolist() == [4.0, 5.0, 50.0]
    day, run = np.sqrt(got.mean_square[2]), np.sqrt(got.mean_square[1] / 6.0)
    assert day == pytest.approx(published.loc["level 2 day-to-day sd", "recomputed_ohm_cm"], abs=5e-6)
    assert run == pytest.approx(published.loc["level 3 run-to-run sd", "recomputed_ohm_cm"], abs=5e-6)
    assert day == pytest.approx(0.0362, abs=5e-5)
    assert run == pytest.approx(0.0197, abs=1e-4)
    # A balanced table by hand: what runs add is what their averages scatter beyond their days' share.
    assert got.variance[1] == pytest.approx(run**2 - day**2 / 6.0, rel=1e-9)


def test_the_textbook_studys_sums_of_squares_come_out():
    # AIAG, Measurement Systems Analysis, 4th ed., figure III-B 15, see gauge_source.md. Parts within appraisers hold
    # the parts' and the interaction's sums of squares together.
    rows = pd.read_csv(DATA / "gauge_textbook.csv")
    published = pd.read_csv(DATA / "gauge_textbook_results.csv").set_index("quantity")["recomputed"]
    got = nested_components(rows["value"].to_numpy(), codes(rows["appraiser"], rows["part"]))
    squares = got.mean_square * got.dof
    assert got.dof.tolist() == [2.0, 27.0, 60.0]
    assert squares[0] == pytest.approx(float(published["SS_appraiser"]), abs=5e-7)
    assert squares[1] == pytest.approx(float(published["SS_parts"]) + float(published["SS_interaction"]), abs=1e-6)
    assert squares[2] == pytest.approx(float(published["SS_equipment"]), abs=5e-7)
    assert round(float(squares[2]), 4) == 2.7589


def test_unequal_groups_give_what_projections_written_out_in_full_give():
    rng = np.random.default_rng(8)
    outer = np.repeat([0, 1, 2, 3], [3, 9, 5, 7])
    inner = np.array([0, 0, 1, 0, 0, 1, 1, 2, 2, 2, 2, 3, 0, 1, 1, 1, 1, 0, 0, 0, 1, 2, 2, 2])
    values = rng.normal(0.0, 1.0, 24)
    indicators = [
        np.ones((24, 1)),
        pd.get_dummies(outer).to_numpy(float),
        pd.get_dummies(outer * 10 + inner).to_numpy(float),
        np.eye(24),
    ]
    projections = [z @ np.linalg.pinv(z) for z in indicators]
    steps = [b - a for a, b in pairwise(projections)]
    expected = np.array([[np.trace(step @ z @ z.T) for z in indicators[1:]] for step in steps])
    squares = np.array([values @ step @ values for step in steps])

    got = nested_components(values, [outer, inner])
    assert got.dof == pytest.approx([np.trace(step) for step in steps])
    assert got.mean_square == pytest.approx(squares / got.dof, rel=1e-10)
    assert got.variance == pytest.approx(np.linalg.solve(expected, squares), rel=1e-9)


def test_planted_components_come_back_on_average():
    # Synthetic truth: 6 instruments, 5 surveys each, 1 to 4 readings a survey; variances 9, 4 and 1.
    rng = np.random.default_rng(3)
    survey = np.repeat(np.arange(30), np.tile([1, 2, 3, 4, 2], 6))
    instrument = survey // 5
    found = []
    for _ in range(225):
        values = rng.normal(0, 3, 6)[instrument] + rng.normal(0, 2, 30)[survey] + rng.normal(0, 1, len(survey))
        found.append(nested_components(values, [instrument, survey]).variance)
    error = np.std(found, axis=0) / 15.0
    assert np.all(np.abs(np.mean(found, axis=0) - [9.0, 4.0, 1.0]) < 3.5 * error)
    assert np.all(error < 0.6)


def test_a_level_with_one_group_in_each_outer_group_is_not_told():
    # By hand: pairs 1, 3 and 5, 7: within mean square 2, between 16, so groups carry (16 - 2) / 2.
    got = nested_components(np.array([1.0, 3.0, 5.0, 7.0]), [np.array([0, 0, 1, 1]), np.array([0, 0, 0, 0])])
    assert got.dof.tolist() == [1.0, 0.0, 2.0]
    assert np.isnan(got.variance[1])
    assert got.variance[[0, 2]] == pytest.approx([7.0, 2.0])
    assert got.share == pytest.approx([7.0 / 9.0, 0.0, 2.0 / 9.0])


@pytest.mark.parametrize(
    ("values", "group", "said"),
    [
        ([1.0, 2.0], [0], "1 group codes beside 2 values; give one for every value."),
        ([1.0, np.nan], [0, 0], "Value nan is not a finite number; leave it out."),
        ([1.0, 2.0], [0, 1], "No two values share a group, so nothing tells how a value repeats; give repeated ones."),
    ],
)
def test_values_that_tell_nothing_are_refused_in_one_sentence(values, group, said):
    with pytest.raises(InputError) as refused:
        nested_components(np.array(values), [np.array(group)])
    assert str(refused.value) == said
