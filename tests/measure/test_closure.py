"""Closure worked by hand on readings chosen for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measure_model import Plan, readings

from fleet.measure import Instrument, adjust

PLAIN = Instrument(sense_v=1, sense_h=-1)
OUT_AND_BACK = Plan(
    [600.0, 1800.0],
    [(0, 1, 0.0, 0.0), (0, 1, 180.0, 0.0), (1, 1, 0.0, 0.0), (1, 1, 180.0, 0.0), (0, 1, 0.0, 0.0), (0, 1, 180.0, 0.0)],
)
V_UM = np.array([10.0, -20.0, 3.0, 4.0, 14.0, -18.0])
H_UM = np.array([5.0, 7.0, 1.0, 2.0, 2.0, 1.0])


def test_closure_is_the_mean_change_of_readings_alike_in_the_instruments_own_signs():
    # By hand: v (14 - 10, -18 - -20) averages to 3, h (2 - 5, 1 - 7) to -4.5.
    assert adjust(readings(OUT_AND_BACK, V_UM, H_UM), PLAIN, hot=False).closure_um == pytest.approx([3.0, -4.5])


def test_a_closing_reading_at_one_roll_only_counts_against_its_own_kind():
    plan = replace(OUT_AND_BACK, steps=OUT_AND_BACK.steps[:5])
    assert adjust(readings(plan, V_UM[:5], H_UM[:5]), PLAIN, hot=False).closure_um == pytest.approx([4.0, -3.0])


def test_a_whole_turn_more_is_the_same_roll():
    plan = replace(OUT_AND_BACK, steps=[*OUT_AND_BACK.steps[:4], (0, 1, 360.0, 0.0), (0, 1, -180.0, 0.0)])
    assert adjust(readings(plan, V_UM, H_UM), PLAIN, hot=False).closure_um == pytest.approx([3.0, -4.5])


def test_a_sweep_at_one_station_closes_on_its_first_reading():
    plan = Plan([600.0], [(0, 1, roll, 0.0) for roll in (0.0, 90.0, 180.0, 270.0, 360.0)])
    adjusted = adjust(readings(plan, V_UM[:5], H_UM[:5]), PLAIN, hot=False)
    assert adjusted.closure_um == pytest.approx([4.0, -3.0])


@pytest.mark.parametrize(
    "steps",
    [
        OUT_AND_BACK.steps[:4],
        [*OUT_AND_BACK.steps[:4], (0, 1, 90.0, 0.0)],
        [*OUT_AND_BACK.steps[:4], (0, 2, 0.0, 0.0)],
        [*OUT_AND_BACK.steps[:4], (0, 1, 0.0, 180.0)],
    ],
    ids=["ends elsewhere", "another roll", "beam adjusted meanwhile", "target turned"],
)
def test_there_is_no_closure_without_like_readings_at_both_ends(steps):
    plan = replace(OUT_AND_BACK, steps=steps)
    adjusted = adjust(readings(plan, V_UM[: len(steps)], H_UM[: len(steps)]), PLAIN, hot=False)
    assert adjusted.closure_um is None


def test_the_order_of_the_pass_is_the_sequence_as_typed_not_the_order_of_the_rows():
    taken = readings(OUT_AND_BACK, V_UM, H_UM)
    columns = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    backwards = replace(taken, **{name: getattr(taken, name)[::-1] for name in columns})
    assert adjust(backwards, PLAIN, hot=False).closure_um == pytest.approx([3.0, -4.5])
