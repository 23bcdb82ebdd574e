"""What would halve a survey's largest uncertainty: each proposal against the covariance of the textbook system."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measure_model import Plan, four_positions, pairs, readings, single_pass, textbook_design
from survey_schemes import SCHEMES, STATIONS

from fleet.errors import InputError
from fleet.measure import Instrument, adjust
from fleet.measure.budget import remedy

INSTRUMENT = Instrument(sense_v=1, sense_h=-1)
NOISY_PASS = replace(
    INSTRUMENT, beam_offset_um=0.0, beam_direction_um_per_m=0.0, target_zero_um=0.0, wander_um=200.0
)  # fmt: skip
NO_ERROR_IN_COMMON = replace(
    INSTRUMENT, beam_offset_um=0.0, beam_direction_um_per_m=0.0, target_zero_um=0.0, wander_um=0.0
)  # fmt: skip


def taken(plan):
    """Readings that all show nought: the covariance asks for none, and they scatter in no way."""
    return readings(plan, np.zeros(len(plan.steps)), np.zeros(len(plan.steps)))


def proposal(plan, instrument=INSTRUMENT, *, hot=False, u_warm_v_um=None):
    survey = taken(plan)
    return remedy(survey, instrument, adjust(survey, instrument, hot=hot), hot=hot, u_warm_v_um=u_warm_v_um)


def textbook_u_um(plan, instrument, *, scale, hot=False):
    """Standard uncertainties by (A'WA + P)^-1 inverted as a whole, offsets only; every prior above nought."""
    design = textbook_design(plan, instrument)
    times = 3.0 if hot else 1.0
    n_states = len({state for _, state, _, _ in plan.steps})
    beam = [instrument.beam_offset_um] * 2 + [instrument.beam_direction_um_per_m] * 2
    u_prior = beam * n_states + [instrument.target_zero_um] * 2 + [instrument.wander_um * times] * 2
    noise_um2 = ((instrument.repeatability_um * times) ** 2 + instrument.resolution_um**2 / 12.0) * scale
    n_offsets = 2 * len(plan.distance_mm)
    prior = np.diag(np.concatenate([np.zeros(n_offsets), 1.0 / np.array(u_prior) ** 2]))
    q = np.linalg.inv(design.T @ design / noise_um2 + prior)
    return np.sqrt(np.diag(q)[:n_offsets])


def often(plan, times):
    return Plan(plan.distance_mm, [step for step in plan.steps for _ in range(times)])


FULL = four_positions(STATIONS)
PROPOSED = {
    "single pass": ("reverse the beam at every station", pairs(STATIONS), True),
    "pairs": ("reverse the beam and turn the target at every station", FULL, True),
    "pairs, two beam states": ("reverse the beam and turn the target at every station", FULL, True),
    "pairs and closure": (
        "reverse the beam and turn the target at every station",
        Plan(STATIONS, FULL.steps + FULL.steps[:4]),
        True,
    ),
    "pairs, hot": ("read everything four times, the target turned too", often(FULL, 4), True),
    "sweeps of 8": ("reverse the beam and turn the target at every station", FULL, True),
}


@pytest.mark.parametrize("name", PROPOSED)
def test_what_a_proposal_promises_is_what_the_textbook_system_gives_for_it(name):
    scheme = SCHEMES[name]
    doing, planned, halves = PROPOSED[name]
    scale = adjust(taken(scheme.plan), scheme.instrument, hot=scheme.hot).scale
    got = proposal(scheme.plan, scheme.instrument, hot=scheme.hot)
    assert got.doing == doing
    now_um = textbook_u_um(scheme.plan, scheme.instrument, scale=scale, hot=scheme.hot).max()
    then_um = textbook_u_um(planned, scheme.instrument, scale=scale, hot=scheme.hot).max()
    assert got.u_now_um == pytest.approx(now_um, rel=1e-9)
    assert got.u_then_um == pytest.approx(then_um, rel=1e-9)
    assert got.halves == halves
    assert halves == (then_um <= now_um / 2.0)


def test_a_survey_brought_down_from_heat_by_a_doubtful_model_is_better_read_cold():
    # By hand: at the station known worst the model adds 40 um to what the readings carry.
    warm_um = np.array([5.0, 10.0, 20.0, 40.0])
    scale = adjust(taken(FULL), INSTRUMENT, hot=False).scale
    u_um = textbook_u_um(FULL, INSTRUMENT, scale=scale)
    got = proposal(FULL, u_warm_v_um=warm_um)
    assert (got.doing, got.halves) == ("read it cold", True)
    assert got.u_now_um == pytest.approx(np.hypot(u_um[6], 40.0), rel=1e-9)
    assert got.u_then_um == pytest.approx(u_um.max(), rel=1e-9)


def test_a_pass_that_wanders_and_nothing_else_is_closed():
    # By hand: the first station at t = 0 and again at t = 1 tells the wander to s sqrt(2), beside what is stated of
    # it; the last offset was read at t = 3/4 with noise s.
    s_um2 = 10.0**2 + 1.0 / 12.0
    wander_um2 = 1.0 / (1.0 / (2.0 * s_um2) + 1.0 / 200.0**2)
    got = proposal(single_pass(STATIONS), NOISY_PASS)
    assert (got.doing, got.halves) == ("read the first station again at the end", True)
    assert got.u_now_um == pytest.approx(np.sqrt(s_um2 + 200.0**2), rel=1e-9)
    assert got.u_then_um == pytest.approx(np.sqrt(s_um2 + 0.75**2 * wander_um2), rel=1e-9)


def test_closing_a_pass_reads_again_with_the_beam_there_is_not_with_one_trimmed_away():
    # Four readings with the beam as found, then it is trimmed: only the one reading since can be taken again.
    long_mm = [250.0 * (k + 1) for k in range(12)]
    steps = [(0, 1, 0.0, 0.0)] * 4 + [(i, 2, 0.0, 0.0) for i in range(len(long_mm))]
    wandering = replace(
        INSTRUMENT, beam_offset_um=1.0, beam_direction_um_per_m=1.0, target_zero_um=1.0, wander_um=200.0
    )  # fmt: skip
    scale = adjust(taken(Plan(long_mm, steps)), wandering, hot=False).scale
    got = proposal(Plan(long_mm, steps), wandering)
    closed_um = textbook_u_um(Plan(long_mm, [*steps, (0, 2, 0.0, 0.0)]), wandering, scale=scale)
    assert (got.doing, got.halves) == ("read the first station again at the end", True)
    assert got.u_then_um == pytest.approx(closed_um.max(), rel=1e-9)


def test_noise_alone_is_halved_by_four_times_the_readings():
    # By hand: the mean of four times as many readings.
    plan = four_positions(STATIONS)
    got = proposal(plan, NO_ERROR_IN_COMMON)
    assert (got.doing, got.halves) == ("read everything four times, the target turned too", True)
    assert got.u_then_um == pytest.approx(got.u_now_um / 2.0, rel=1e-12)


def test_where_nothing_halves_it_the_best_is_named_and_said_not_to():
    # A target that is turned already and a beam reversed already, eight times: what is left goes down by a root only.
    plan = often(four_positions(STATIONS), 8)
    got = proposal(plan, NO_ERROR_IN_COMMON)
    assert (got.doing, got.halves) == ("read everything twice", False)
    assert got.u_then_um == pytest.approx(got.u_now_um / np.sqrt(2.0), rel=1e-12)


def test_readings_nothing_can_be_made_of_are_refused_here_too():
    survey = taken(pairs(STATIONS))
    adjusted = adjust(survey, INSTRUMENT, hot=False)
    unknown = replace(survey, beam_roll_deg=np.full(len(survey.station), np.nan))
    with pytest.raises(InputError) as refused:
        remedy(unknown, INSTRUMENT, adjusted, hot=False)
    assert str(refused.value) == (
        "'beam_roll_deg' of the reading with sequence 0 is nan; enter a finite number or leave the reading out."
    )
