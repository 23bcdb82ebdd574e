"""What would halve an uncertainty, worked by hand at one station: where one way of reading gives way to the next."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from measure_model import Plan, four_positions, pairs, readings, single_pass, textbook_design

from fleet.measure import Instrument, adjust
from fleet.measure.budget import remedy

STATIONS = [500.0, 1400.0, 2300.0, 3100.0]
INSTRUMENT = Instrument(sense_v=1, sense_h=-1)
# Noise of 6 um a reading, resolution included, and nothing else but what a test states.
QUIET = Instrument(
    sense_v=1,
    sense_h=1,
    repeatability_um=6.0,
    resolution_um=0.0,
    target_zero_um=0.0,
    beam_offset_um=0.0,
    beam_direction_um_per_m=0.0,
    wander_um=0.0,
)


def taken(plan, seed=2, noise_um=10.0):
    shown = np.random.default_rng(seed).normal(0.0, noise_um, (2, len(plan.steps)))
    return readings(plan, *shown)


def of(plan, instrument=INSTRUMENT, *, hot=False):
    """Return the survey's remedy and its adjustment."""
    survey = taken(plan)
    adjusted = adjust(survey, instrument, hot=hot)
    return remedy(survey, instrument, adjusted, hot=hot), adjusted


def test_turning_the_target_halves_what_its_zero_carries():
    # By hand at one station: a pair leaves s^2/2 + z^2, four positions s^2/4.
    got, adjusted = of(pairs([1500.0]), replace(QUIET, target_zero_um=20.0))
    noise = 36.0 * adjusted.scale
    assert got.doing == "reverse the beam and turn the target at every station"
    assert got.u_now_um == pytest.approx(sqrt(noise / 2.0 + 400.0), rel=1e-9)
    assert got.u_then_um == pytest.approx(sqrt(noise / 4.0), rel=1e-9)
    assert got.halves


def test_reversing_the_beam_halves_what_an_unknown_beam_carries():
    # By hand at one station: a single reading leaves s^2 + e^2, a pair s^2/2.
    got, adjusted = of(single_pass([1500.0]), replace(QUIET, beam_offset_um=100.0))
    noise = 36.0 * adjusted.scale
    assert got.doing == "reverse the beam at every station"
    assert got.u_now_um == pytest.approx(sqrt(noise + 1e4), rel=1e-9)
    assert got.u_then_um == pytest.approx(sqrt(noise / 2.0), rel=1e-9)
    assert got.halves


def test_a_single_reading_is_halved_by_four_positions_where_only_noise_counts():
    # By hand: s^2 now, s^2/4 with four readings: the bound itself halves.
    got, _ = of(single_pass([1500.0]), QUIET)
    assert got.doing == "reverse the beam and turn the target at every station"
    assert got.u_then_um == pytest.approx(got.u_now_um / 2.0, rel=1e-9)
    assert got.halves


def test_where_nothing_halves_the_least_work_that_lowers_as_much_is_named_and_said_not_to_halve():
    # By hand: sixteen readings either way, s^2/8 now and s^2/16 then.
    plan = Plan([1500.0], four_positions([1500.0]).steps * 2)
    got, adjusted = of(plan, QUIET)
    assert got.doing == "read everything twice"
    assert got.u_now_um == pytest.approx(sqrt(36.0 / 8.0 * adjusted.scale), rel=1e-9)
    assert got.u_then_um == pytest.approx(sqrt(36.0 / 16.0 * adjusted.scale), rel=1e-9)
    assert not got.halves


def test_six_tenths_of_an_uncertainty_is_not_yet_half_of_it():
    # By hand: readings that agree on two degrees of freedom, so s^2 = 36 * 10 / 12 = 30; with z^2 = 6 the pair leaves
    # 15 + 6, four positions 7.5, which is 0.6 of its root, sixteen readings 1.875.
    survey = taken(pairs([1500.0]), noise_um=0.0)
    instrument = replace(QUIET, target_zero_um=sqrt(6.0))
    got = remedy(survey, instrument, adjust(survey, instrument, hot=False), hot=False)
    assert got.doing == "read everything four times, the target turned too"
    assert (got.u_now_um, got.u_then_um) == pytest.approx((sqrt(21.0), sqrt(1.875)), rel=1e-3)
    assert got.halves


def test_a_little_more_is_not_worth_turning_the_target():
    # By hand: eight readings in pairs and z = 0.2 um; twice leaves s^2/16 + z^2, sixteen with the target turned
    # s^2/16, lower by less than a fiftieth.
    plan = Plan([1500.0], pairs([1500.0]).steps * 4)
    got, adjusted = of(plan, replace(QUIET, target_zero_um=0.2))
    assert got.doing == "read everything twice"
    assert got.u_then_um == pytest.approx(sqrt(36.0 / 16.0 * adjusted.scale + 0.04), rel=1e-9)
    assert not got.halves


def test_where_nothing_lowers_it_there_is_no_remedy():
    # By hand: 600 readings leave s^2/600 beside z = 2 um; sixteen with the target turned leave s^2/16, more.
    plan = Plan([1500.0], pairs([1500.0]).steps * 300)
    got, _ = of(plan, replace(QUIET, target_zero_um=2.0))
    assert got is None


def test_a_hot_bore_read_cold_repeats_as_stated_again():
    # By hand at one station: repeatability counts three times in heat, so four positions leave (3 s)^2/4, cold s^2/4.
    got, adjusted = of(four_positions([1500.0]), QUIET, hot=True)
    assert got.doing == "read it cold"
    assert got.u_now_um == pytest.approx(sqrt(9.0 * 36.0 / 4.0 * adjusted.scale), rel=1e-9)
    assert got.u_then_um == pytest.approx(sqrt(36.0 / 4.0 * adjusted.scale), rel=1e-9)
    assert got.halves


def test_a_pass_that_was_closed_stays_closed_in_what_is_planned():
    # (A'WA + P)^-1 of the reversed pass with its closing pair, inverted as a whole; the wander only there is told.
    instrument = replace(QUIET, beam_offset_um=100.0, wander_um=50.0)
    once = single_pass(STATIONS)
    got, adjusted = of(Plan(STATIONS, [*once.steps, once.steps[0]]), instrument)
    twice = pairs(STATIONS)
    columns = [*range(8), 8, 9, -2, -1]
    design = textbook_design(Plan(STATIONS, twice.steps + twice.steps[:2]), instrument)[:, columns]
    prior = np.diag([0.0] * 8 + [100.0**-2] * 2 + [50.0**-2] * 2)
    inverse = np.linalg.inv(design.T @ design / (36.0 * adjusted.scale) + prior)
    assert got.doing == "reverse the beam at every station"
    assert got.u_then_um == pytest.approx(sqrt(np.diag(inverse)[:8].max()), rel=1e-9)


def test_readings_typed_out_of_order_have_the_same_remedy():
    survey = taken(pairs(STATIONS))
    mixed = np.random.default_rng(3).permutation(len(survey.station))
    columns = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    shuffled = replace(survey, **{name: getattr(survey, name)[mixed] for name in columns})
    want = remedy(survey, INSTRUMENT, adjust(survey, INSTRUMENT, hot=False), hot=False)
    got = remedy(shuffled, INSTRUMENT, adjust(shuffled, INSTRUMENT, hot=False), hot=False)
    assert got.doing == want.doing
    assert (got.u_now_um, got.u_then_um) == pytest.approx((want.u_now_um, want.u_then_um), rel=1e-9)
