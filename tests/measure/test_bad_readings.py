"""What readings that say little, or nothing, come to: a wide uncertainty where they are honest, else one sentence."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from measure_model import Plan, pairs, readings, single_pass, sweeps

from fleet.errors import InputError
from fleet.measure import Instrument, adjust, adjust_many

INSTRUMENT = Instrument(sense_v=1, sense_h=-1)


def refusal(taken, instrument=INSTRUMENT):
    with pytest.raises(InputError) as refused:
        adjust(taken, instrument, hot=False)
    return str(refused.value)


def test_one_reading_gives_an_offset_as_uncertain_as_all_the_stated_errors_together():
    # By hand, a sum of independent variances at 1.5 m; nothing can wander during one reading.
    got = adjust(readings(single_pass([1500.0]), [40.0], [-25.0]), INSTRUMENT, hot=False)
    u_um = sqrt(10.0**2 + 1.0**2 / 12.0 + 200.0**2 + (200.0 * 1.5) ** 2 + 10.0**2)
    assert got.offset_um[0] == pytest.approx([40.0, 25.0], rel=1e-12)
    assert got.u_um[0] == pytest.approx([u_um, u_um], rel=1e-12)
    assert got.dof_survey == pytest.approx(0.0, abs=1e-12)
    assert got.scale == pytest.approx(1.0, rel=1e-12)


def test_rolls_that_determine_nothing_leave_the_beams_whole_uncertainty():
    # By hand: eight readings at one roll tell the beam no better than one; only their noise averages, over stated
    # scatter and none seen: s2 = 10 / (10 + 14), apart from the wander.
    plan = Plan([1500.0], [(0, 1, 90.0, 0.0)] * 8)
    still = replace(INSTRUMENT, wander_um=0.0)
    got = adjust(readings(plan, np.full(8, 40.0), np.full(8, -25.0)), still, hot=False)
    noise_um2 = (10.0**2 + 1.0**2 / 12.0) / 8.0 * 10.0 / 24.0
    u_um = sqrt(noise_um2 + 200.0**2 + (200.0 * 1.5) ** 2 + 10.0**2)
    assert got.offset_um[0] == pytest.approx([40.0, 25.0], rel=1e-12)
    assert got.u_um[0] == pytest.approx([u_um, u_um], rel=1e-9)


def test_rolls_that_determine_nothing_and_no_prior_worth_the_name_are_no_error_either():
    wide = replace(INSTRUMENT, beam_offset_um=1e6, beam_direction_um_per_m=1e6)
    got = adjust(readings(single_pass([500.0, 2000.0]), [1.0, 2.0], [3.0, 4.0]), wide, hot=False)
    assert np.isfinite(got.offset_um).all()
    assert got.u_um[0] == pytest.approx([1e6 * sqrt(1.0 + 0.5**2)] * 2, rel=1e-9)
    assert got.u_um[1] == pytest.approx([1e6 * sqrt(1.0 + 2.0**2)] * 2, rel=1e-9)


def test_a_sweep_whose_readings_are_all_equal_says_that_value_with_no_less_than_stated_uncertainty_allows():
    # By hand: no scatter in 8 components, 2 + 2 of them spent on centre and beam, so s2 = 10 / 14 with a perfect
    # target and a beam of unknown error.
    perfect = Instrument(
        sense_v=1, sense_h=1, target_zero_um=0.0, wander_um=0.0, beam_direction_um_per_m=0.0, beam_offset_um=1e6
    )
    got = adjust(readings(sweeps([1500.0]), np.full(4, 80.0), np.full(4, 80.0)), perfect, hot=False)
    assert got.offset_um[0] == pytest.approx([80.0, 80.0], rel=1e-9)
    assert got.beam[0].offset_um == pytest.approx([0.0, 0.0], abs=1e-9)
    assert got.scale == pytest.approx(10.0 / 14.0, rel=1e-6)
    u_um = sqrt((10.0**2 + 1.0**2 / 12.0) / 4.0 * 10.0 / 14.0)
    assert got.u_um[0] == pytest.approx([u_um, u_um], rel=1e-6)


@pytest.mark.parametrize("axis", ["v_um", "h_um"])
@pytest.mark.parametrize("value", [1e12, -1e12])
def test_a_reading_of_a_kilometre_and_more_is_refused_in_one_sentence(axis, value):
    taken = readings(pairs([700.0]), [1.0, 2.0], [3.0, 4.0])
    column = getattr(taken, axis).copy()
    column[1] = value
    assert refusal(replace(taken, **{axis: column})) == (
        f"'{axis}' of the reading with sequence 2 is {value:g}, which no instrument shows; "
        "check the number and its unit."
    )


@pytest.mark.parametrize(
    ("column", "values", "said"),
    [
        (
            "v_um",
            [float("nan"), 2.0],
            "'v_um' of the reading with sequence 1 is nan; enter a finite number or leave the reading out.",
        ),
        (
            "beam_roll_deg",
            [0.0, float("inf")],
            "'beam_roll_deg' of the reading with sequence 2 is inf; enter a finite number or leave the reading out.",
        ),
        (
            "target_roll_deg",
            [0.0, 1e12],
            "'target_roll_deg' of the reading with sequence 2 is 1e+12, which no instrument shows; "
            "check the number and its unit.",
        ),
        ("h_um", [1.0], "'h_um' has the shape (1,) beside 2 readings; give one for each."),
        ("distance_mm", [float("nan")], "The distance of station number 1 is nan; record its distance in mm."),
        (
            "distance_mm",
            [700.0, 1500.0],
            "The station at 1500 mm has no readings; read it or leave it out of the survey.",
        ),
    ],
)
def test_a_value_nothing_can_be_made_of_is_refused_in_one_sentence(column, values, said):
    taken = readings(pairs([700.0]), [1.0, 2.0], [3.0, 4.0])
    assert refusal(replace(taken, **{column: np.array(values)})) == said


def test_no_readings_at_all_are_refused_in_one_sentence():
    taken = readings(pairs([700.0]), [1.0, 2.0], [3.0, 4.0])
    columns = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    empty = replace(taken, **{name: getattr(taken, name)[:0] for name in columns})
    assert refusal(empty) == "The survey has no readings; enter at least one reading at every station."


def test_one_bad_survey_among_many_is_named_in_one_sentence():
    good = readings(pairs([700.0]), [1.0, 2.0], [3.0, 4.0])
    bad = replace(good, h_um=np.array([1e12, 0.0]))
    with pytest.raises(InputError) as refused:
        adjust_many([(good, INSTRUMENT, False), (bad, INSTRUMENT, False)])
    assert str(refused.value) == (
        "Survey 2 of 2: 'h_um' of the reading with sequence 1 is 1e+12, which no instrument shows; "
        "check the number and its unit."
    )
