"""Facts that must come out of the survey adjustment, each true of the trade or of the geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from measure_model import (
    Plan,
    four_positions,
    pairs,
    readings,
    readings_of,
    single_pass,
    sweeps,
    textbook_design,
    turn,
)

from fleet.errors import InputError
from fleet.measure import Instrument, adjust, adjust_many
from fleet.measure.design import rotation

STATIONS = [500.0, 1400.0, 2300.0, 3100.0]
PLAIN = Instrument(sense_v=1, sense_h=1)
STILL = replace(PLAIN, wander_um=0.0)
WIDE = replace(PLAIN, beam_offset_um=1e6, beam_direction_um_per_m=1e6)


def some_readings(plan: Plan, instrument: Instrument = PLAIN, seed: int = 5):
    rng = np.random.default_rng(seed)
    truth = rng.normal(0.0, 100.0, textbook_design(plan, instrument).shape[1])
    truth[-4:] = rng.normal(0.0, 5.0, 4)
    return readings_of(plan, instrument, truth, rng.normal(0.0, 8.0, 2 * len(plan.steps)))


def test_a_quarter_turn_makes_high_into_left():
    # The definition of roll: counter-clockwise looking downstream, so up goes to left.
    assert rotation(np.array(90.0)) @ np.array([1.0, 0.0]) == pytest.approx([0.0, -1.0], abs=0)


def test_a_sweep_worked_by_hand_gives_the_bore_centre_and_the_beam():
    # By hand: opposite readings average to (100, 50); at roll 0 the bore reads 20 low, so the beam is 20 high.
    plan = sweeps([1000.0])
    swept = readings(plan, np.array([80.0, 100.0, 120.0, 100.0]), np.array([50.0, 70.0, 50.0, 30.0]))
    adjusted = adjust(swept, replace(WIDE, beam_direction_um_per_m=0.0), hot=False)
    assert adjusted.offset_um[0] == pytest.approx([100.0, 50.0], abs=1e-6)
    assert adjusted.beam[0].offset_um == pytest.approx([20.0, 0.0], abs=1e-6)
    assert adjusted.beam[0].error_um(1000.0) == pytest.approx([20.0, 0.0], abs=1e-6)
    assert adjusted.residual_um == pytest.approx(np.zeros((4, 2)), abs=1e-6)


def test_the_stated_priors_move_the_hand_worked_sweep_by_hundredths_only():
    plan = sweeps([1000.0])
    swept = readings(plan, np.array([80.0, 100.0, 120.0, 100.0]), np.array([50.0, 70.0, 50.0, 30.0]))
    adjusted = adjust(swept, PLAIN, hot=False)
    assert adjusted.offset_um[0] == pytest.approx([100.0, 50.0], abs=0.05)
    assert adjusted.beam[0].error_um(1000.0) == pytest.approx([20.0, 0.0], abs=0.05)


def test_two_readings_180_degrees_apart_average_to_the_axis_reading():
    # Common practice, no source: -88 and +34 average to -27, +40 and +63 to +51.5.
    pair = readings(pairs([1000.0]), np.array([-88.0, 34.0]), np.array([40.0, 63.0]))
    adjusted = adjust(pair, STILL, hot=False)
    assert adjusted.offset_um[0] == pytest.approx([-27.0, 51.5], abs=1e-9)


def test_half_the_difference_of_a_reversal_pair_is_the_beams_error():
    # Common practice, no source: (34 - -88) / 2 = 61 high, (63 - 40) / 2 = 11.5 right.
    pair = readings(pairs([1000.0]), np.array([-88.0, 34.0]), np.array([40.0, 63.0]))
    adjusted = adjust(pair, replace(WIDE, wander_um=0.0), hot=False)
    assert adjusted.beam[0].error_um(1000.0) == pytest.approx([61.0, 11.5], abs=1e-4)


@pytest.mark.parametrize("n", [3, 4, 5, 8, 12])
def test_a_full_turn_is_the_least_squares_circle(n):
    # Fourier: on equally spaced rolls the mean is the centre and the first harmonic is the radius vector.
    rng = np.random.default_rng(n)
    v_um, h_um = rng.normal(0.0, 60.0, n), rng.normal(0.0, 60.0, n)
    turned = [turn(-360.0 * k / n) @ (v_um[k], h_um[k]) for k in range(n)]
    adjusted = adjust(readings(sweeps([0.0], n), v_um, h_um), replace(WIDE, wander_um=0.0), hot=False)
    assert adjusted.offset_um[0] == pytest.approx([v_um.mean(), h_um.mean()], abs=1e-6)
    assert adjusted.beam[0].offset_um == pytest.approx(-np.mean(turned, axis=0), abs=1e-6)


def test_four_positions_remove_the_targets_zero_exactly():
    plan = four_positions([600.0, 2400.0])
    taken = some_readings(plan)
    moved = replace(taken, v_um=taken.v_um + 37.0, h_um=taken.h_um - 21.0)
    before, after = (adjust(r, PLAIN, hot=False) for r in (taken, moved))
    assert after.offset_um == pytest.approx(before.offset_um, abs=1e-9)
    assert after.setup_variance_um2 == pytest.approx(np.zeros((2, 2)), abs=1e-12)
    assert after.target_zero_um[0] > before.target_zero_um[0] + 25.0


def test_four_positions_in_any_order_remove_the_zero_where_nothing_wanders():
    turns = [(0.0, 0.0), (180.0, 0.0), (0.0, 180.0), (180.0, 180.0)]
    plan = Plan([900.0], [(0, 1, beam, target) for beam, target in turns])
    taken = some_readings(plan)
    moved = replace(taken, v_um=taken.v_um + 37.0)
    before, after = (adjust(r, STILL, hot=False) for r in (taken, moved))
    assert after.offset_um == pytest.approx(before.offset_um, abs=1e-9)


@pytest.mark.parametrize(("sense_v", "sense_h"), [(1, 1), (-1, 1), (-1, -1)])
def test_a_wrong_sense_flips_that_axis_and_changes_nothing_else(sense_v, sense_h):
    plan = pairs(STATIONS)
    taken = some_readings(plan)
    right = Instrument(sense_v=sense_v, sense_h=sense_h)
    wrong = replace(right, sense_v=-sense_v)
    before, after = adjust(taken, right, hot=False), adjust(taken, wrong, hot=False)
    assert after.offset_um[:, 0] == pytest.approx(-before.offset_um[:, 0], abs=1e-9)
    assert after.offset_um[:, 1] == pytest.approx(before.offset_um[:, 1], abs=1e-9)
    assert after.u_um == pytest.approx(before.u_um, rel=1e-9)
    assert after.scale == pytest.approx(before.scale, rel=1e-9)
    assert after.residual_um == pytest.approx(before.residual_um, abs=1e-9)


def test_a_sweep_shows_a_wrong_sense_in_its_residuals():
    # At a quarter turn the beam's v error shows in h, so one axis alone cannot be reversed unnoticed.
    rng = np.random.default_rng(2)
    plan = sweeps(STATIONS)
    truth = np.concatenate([rng.normal(0, 200, 8), [150.0, -90.0, 60.0, 40.0], np.zeros(4)])
    taken = readings_of(plan, PLAIN, truth, rng.normal(0.0, 10.0, 2 * len(plan.steps)))
    assert adjust(taken, PLAIN, hot=False).scale < 2.0
    assert adjust(taken, replace(PLAIN, sense_v=-1), hot=False).scale > 50.0


@pytest.mark.parametrize("plan", [single_pass(STATIONS), pairs(STATIONS), sweeps(STATIONS)])
def test_a_constant_on_all_readings_moves_every_offset_by_it(plan):
    taken = some_readings(plan)
    moved = replace(taken, v_um=taken.v_um + 14.0, h_um=taken.h_um - 6.0)
    before, after = (adjust(r, PLAIN, hot=False) for r in (taken, moved))
    assert after.offset_um - before.offset_um == pytest.approx(np.tile([14.0, -6.0], (4, 1)), abs=1e-9)
    assert after.scale == pytest.approx(before.scale, rel=1e-9)


def test_a_target_never_turned_leaves_its_zero_in_every_offset_in_common():
    adjusted = adjust(some_readings(pairs(STATIONS)), PLAIN, hot=False)
    assert adjusted.setup_variance_um2 == pytest.approx(np.full((4, 2), 100.0), rel=1e-9)
    covariance = adjusted.covariance_um2.reshape(4, 2, 4, 2)
    assert np.all(covariance[:, 0, :, 0] >= 99.0)


def test_what_carries_the_variance_adds_up_to_it():
    for plan in (single_pass(STATIONS), pairs(STATIONS), four_positions(STATIONS)):
        adjusted = adjust(some_readings(plan), PLAIN, hot=False)
        assert adjusted.variance_parts_um2.sum(axis=2) == pytest.approx(adjusted.u_um**2, rel=1e-9)


def test_a_bare_single_pass_is_carried_by_the_beam_and_by_its_reach():
    # By hand: 200 um and 200 um/m at 3.1 m are sqrt(200^2 + 620^2) = 651 um.
    adjusted = adjust(some_readings(single_pass(STATIONS)), PLAIN, hot=False)
    assert np.sqrt(adjusted.variance_parts_um2[3, 0, 1]) == pytest.approx(np.hypot(200.0, 620.0), rel=1e-9)
    assert adjusted.dof_survey == pytest.approx(0.0, abs=1e-9)
    assert adjusted.scale == pytest.approx(1.0, abs=1e-9)


def test_more_work_leaves_less_uncertainty():
    schemes = (single_pass(STATIONS), pairs(STATIONS), sweeps(STATIONS, 8), four_positions(STATIONS))
    taken = [readings_of(p, PLAIN, np.zeros(textbook_design(p, PLAIN).shape[1])) for p in schemes]
    bare, pair, sweep, four = (adjust(r, PLAIN, hot=False).u_um.max() for r in taken)
    assert bare > pair > sweep > four


def test_a_hot_bore_counts_repeatability_and_wander_three_times():
    # From memory: three times; a single pass leaves no residual, so nothing corrects the stated noise.
    taken = some_readings(single_pass([1000.0, 2000.0]))
    cold, hot = (adjust(taken, replace(PLAIN, resolution_um=0.0), hot=h) for h in (False, True))
    for part in (0, 3):
        carried = [a.variance_parts_um2[1, 0, part] for a in (cold, hot)]
        assert carried[1] == pytest.approx(9.0 * carried[0], rel=1e-9)
    assert hot.variance_parts_um2[..., 1:3] == pytest.approx(cold.variance_parts_um2[..., 1:3], rel=1e-9)


def test_a_single_reading_carries_repeatability_and_a_twelfth_of_the_squared_resolution():
    # A rectangular distribution of the display's step: JCGM 100:2008, F.2.2.1.
    taken = some_readings(single_pass([1000.0]))
    adjusted = adjust(taken, replace(PLAIN, repeatability_um=3.0, resolution_um=12.0), hot=False)
    assert adjusted.variance_parts_um2[0, :, 0] == pytest.approx([21.0, 21.0], rel=1e-9)


def test_repeated_readings_without_scatter_lower_the_noise_no_further_than_the_stated_dof_allow():
    # By hand: three equal readings and every prior at zero leave chi2 = 0 and 4 dof, so s2 = 10 / 14.
    sure = replace(PLAIN, target_zero_um=0.0, beam_offset_um=0.0, beam_direction_um_per_m=0.0, wander_um=0.0)
    plan = Plan([800.0], [(0, 1, 0.0, 0.0)] * 3)
    adjusted = adjust(readings(plan, np.full(3, 7.0), np.full(3, -4.0)), sure, hot=False)
    assert adjusted.dof_survey == pytest.approx(4.0, abs=1e-9)
    assert adjusted.scale == pytest.approx(10.0 / 14.0, rel=1e-9)
    assert adjusted.dof == pytest.approx(np.full((1, 2), 14.0), rel=1e-9)


def test_a_prior_of_zero_fixes_its_parameter_at_zero_exactly():
    taken = some_readings(pairs(STATIONS))
    adjusted = adjust(taken, replace(PLAIN, target_zero_um=0.0, beam_direction_um_per_m=0.0), hot=False)
    assert np.all(adjusted.target_zero_um == 0.0)
    assert np.all(adjusted.u_target_zero_um == 0.0)
    assert np.all(adjusted.setup_variance_um2 == 0.0)
    assert np.all(adjusted.beam[0].direction_um_per_m == 0.0)


def test_a_beam_adjusted_between_stations_is_two_beam_states():
    plan = Plan(STATIONS, [(i, 4 if i < 2 else 9, roll, 0.0) for i in range(4) for roll in (0.0, 180.0)])
    truth = np.concatenate([np.arange(8.0) * 20, [120.0, 0.0, 0.0, 0.0], [-30.0, 80.0, 0.0, 0.0], np.zeros(4)])
    adjusted = adjust(readings_of(plan, PLAIN, truth), PLAIN, hot=False)
    assert [b.state for b in adjusted.beam] == [4, 9]
    assert adjusted.beam[0].error_um(950.0) == pytest.approx([120.0, 0.0], abs=1.5)
    assert adjusted.beam[1].error_um(2700.0) == pytest.approx([-30.0, 80.0], abs=1.5)
    assert adjusted.offset_um.ravel() == pytest.approx(np.arange(8.0) * 20, abs=0.1)


def test_readings_in_any_order_give_the_same_offsets():
    taken = some_readings(pairs(STATIONS))
    mixed = np.random.default_rng(1).permutation(len(taken.station))
    columns = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    shuffled = replace(taken, **{name: getattr(taken, name)[mixed] for name in columns})
    ordered, other = (adjust(r, PLAIN, hot=False) for r in (taken, shuffled))
    assert other.offset_um == pytest.approx(ordered.offset_um, abs=1e-9)
    assert other.residual_um == pytest.approx(ordered.residual_um[mixed], abs=1e-9)


def test_equal_sequence_numbers_leave_nothing_to_wander():
    taken = some_readings(pairs(STATIONS))
    adjusted = adjust(replace(taken, sequence=np.full(8, 3)), PLAIN, hot=False)
    still = adjust(taken, STILL, hot=False)
    assert adjusted.offset_um == pytest.approx(still.offset_um, abs=1e-9)
    assert np.all(adjusted.variance_parts_um2[..., 3] == 0.0)


def test_many_surveys_of_different_shapes_come_back_in_order():
    plans = [
        pairs(STATIONS),
        sweeps(STATIONS[:2]),
        pairs(STATIONS),
        single_pass(STATIONS[1:]),
        four_positions(STATIONS),
    ]
    surveys = [
        (some_readings(plan, seed=seed), replace(PLAIN, sense_h=-1 if seed % 2 else 1), seed == 2)
        for seed, plan in enumerate(plans)
    ]
    for (taken, instrument, hot), adjusted in zip(surveys, adjust_many(surveys), strict=True):
        alone = adjust(taken, instrument, hot=hot)
        assert adjusted.offset_um == pytest.approx(alone.offset_um, abs=1e-9)
        assert adjusted.covariance_um2 == pytest.approx(alone.covariance_um2, rel=1e-9, abs=1e-9)


def test_a_fleet_too_large_for_one_stack_is_adjusted_in_several(monkeypatch):
    surveys = [(some_readings(pairs(STATIONS), seed=seed), PLAIN, False) for seed in range(7)]
    together = adjust_many(surveys)
    # One such survey has 16 reading components times 12 parameters: three fit into a stack.
    monkeypatch.setattr("fleet.measure.adjustment._STACK_ENTRIES", 3 * 16 * 12)
    for apart, whole in zip(adjust_many(surveys), together, strict=True):
        assert apart.offset_um == pytest.approx(whole.offset_um, abs=1e-12)
        assert apart.closure_um is whole.closure_um is None


def test_no_surveys_give_no_adjustments():
    assert adjust_many([]) == []


rolls = st.integers(0, 23).map(lambda k: 15.0 * k)


@st.composite
def surveys(draw):
    distance_mm = sorted(
        draw(st.lists(st.integers(1, 40).map(lambda k: 100.0 * k), min_size=2, max_size=4, unique=True))
    )
    steps = [
        (station, 1, draw(rolls), draw(rolls))
        for station in range(len(distance_mm))
        for _ in range(draw(st.integers(3, 5)))
    ]
    plan = Plan(distance_mm, draw(st.permutations(steps)))
    senses = draw(st.tuples(st.sampled_from([1, -1]), st.sampled_from([1, -1])))
    size = 2 * len(distance_mm) + 8
    truth = draw(st.lists(st.floats(-1000.0, 1000.0, width=32), min_size=size, max_size=size))
    return plan, senses, np.array(truth, dtype=np.float64)


@settings(max_examples=150, deadline=None, derandomize=True, database=None)
@given(surveys())
def test_any_true_geometry_is_recovered_where_the_rolls_determine_it(survey):
    plan, (sense_v, sense_h), truth = survey
    wide = Instrument(
        sense_v=sense_v,
        sense_h=sense_h,
        repeatability_um=0.0,
        resolution_um=0.001,
        target_zero_um=1e5,
        beam_offset_um=1e5,
        beam_direction_um_per_m=1e5,
        wander_um=1e5,
    )
    assume(np.linalg.cond(textbook_design(plan, wide)) < 1e3)
    adjusted = adjust(readings_of(plan, wide, truth), wide, hot=False)
    n = len(plan.distance_mm)
    assert adjusted.offset_um.ravel() == pytest.approx(truth[: 2 * n], abs=1e-5)
    assert adjusted.beam[0].offset_um == pytest.approx(truth[2 * n : 2 * n + 2], abs=1e-5)
    assert adjusted.beam[0].direction_um_per_m == pytest.approx(truth[2 * n + 2 : 2 * n + 4], abs=1e-5)
    assert adjusted.target_zero_um == pytest.approx(truth[-4:-2], abs=1e-5)
    assert adjusted.wander_um == pytest.approx(truth[-2:], abs=1e-5)


BAD_READINGS = [
    ({"v_um": np.array([1.0, np.nan])}, r"'v_um' of the reading with sequence 2 is nan; enter a finite number"),
    ({"target_roll_deg": np.array([np.inf, 0.0])}, r"'target_roll_deg' of the reading with sequence 1 is inf"),
    ({"h_um": np.array([1.0])}, r"'h_um' has the shape \(1,\) beside 2 readings"),
    ({"distance_mm": np.array([np.nan])}, r"distance of station number 1 is nan"),
    ({"distance_mm": np.array([700.0, 1500.0])}, r"station at 1500 mm has no readings"),
    ({"station": np.array([0, 1])}, r"station index 1, but there are 1 stations"),
    ({"station": np.array([-1, 0])}, r"station index -1, but there are 1 stations"),
]


@pytest.mark.parametrize(("change", "said"), BAD_READINGS)
def test_unusable_readings_are_refused_with_what_and_the_remedy(change, said):
    taken = replace(some_readings(pairs([700.0])), **change)
    with pytest.raises(InputError, match=said):
        adjust(taken, PLAIN, hot=False)


def test_a_survey_without_readings_is_refused():
    taken = some_readings(pairs([700.0]))
    columns = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    with pytest.raises(InputError, match="The survey has no readings"):
        adjust(replace(taken, **{name: getattr(taken, name)[:0] for name in columns}), PLAIN, hot=False)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sense_h": 0}, r"sense for h is 0; give \+1"),
        ({"wander_um": -1.0}, "wander is -1.0; give a finite number"),
        ({"beam_offset_um": float("inf")}, "beam offset is inf"),
        ({"repeatability_um": 0.0, "resolution_um": 0.0}, "neither repeatability nor resolution"),
    ],
)
def test_an_instrument_nothing_can_be_reduced_with_is_refused(change, said):
    with pytest.raises(InputError, match=said):
        adjust(some_readings(pairs([700.0])), replace(PLAIN, **change), hot=False)


def test_a_refusal_among_many_says_which_survey():
    good = some_readings(pairs([700.0]))
    bad = replace(good, h_um=np.array([np.nan, 0.0]))
    with pytest.raises(InputError, match=r"^Survey 2 of 3: 'h_um'"):
        adjust_many([(good, PLAIN, False), (bad, PLAIN, False), (good, PLAIN, False)])
