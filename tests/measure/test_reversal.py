"""Reversal by hand. Values: common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.measure import axis_reading, beam_error, beam_setting


@pytest.mark.parametrize(("first", "turned", "axis"), [(-88.0, 34.0, -27.0), (40.0, 63.0, 51.5)])
def test_the_axis_reading_is_the_mean_of_the_pair(first, turned, axis):
    assert axis_reading(first, turned) == pytest.approx(axis)
    assert axis_reading(turned, first) == pytest.approx(axis)


def test_the_beams_error_is_half_the_difference_of_the_pair():
    # A beam 61 high makes the bore read 61 low of the axis reading -27 at first, 61 high of it once turned.
    assert beam_error(-88.0, 34.0) == pytest.approx(61.0)
    assert beam_error(-88.0, 34.0, sense=-1) == pytest.approx(-61.0)


def test_the_beam_is_trimmed_to_the_axis_reading_at_the_nearest_and_the_farthest_station():
    setting = beam_setting([[-88.0, 40.0], [10.0, -5.0]], [[34.0, 63.0], [-12.0, 3.0]], sense=[1, -1])
    assert setting.trim_to_um == pytest.approx(np.array([[-27.0, 51.5], [-1.0, -1.0]]))
    assert setting.error_um == pytest.approx(np.array([[61.0, -11.5], [-11.0, -4.0]]))
    assert setting.difference_um == pytest.approx(np.array([[122.0, 23.0], [-22.0, 8.0]]))
    assert setting.agrees.tolist() == [False, True]


def test_a_beam_trimmed_to_the_axis_reading_reads_the_same_at_both_rolls():
    # Turned at bore (v, h) = (-27, 51.5) with the beam on the axis: both rolls show the bore itself.
    assert beam_setting([-27.0, 51.5], [-27.0, 51.5], sense=[1, 1]).agrees
    assert beam_setting([-27.0, 51.5], [-27.0, 51.5], sense=[1, 1]).error_um == pytest.approx([0.0, 0.0])


def test_both_axes_have_to_agree_within_the_setting():
    # 0.025 mm from memory: within about a thou.
    assert beam_setting([0.0, 0.0], [25.0, -25.0], sense=[1, 1]).agrees
    assert not beam_setting([0.0, 0.0], [0.0, 25.1], sense=[1, 1]).agrees
    assert beam_setting([0.0, 0.0], [0.0, 25.1], sense=[1, 1], agree_um=30.0).agrees


@pytest.mark.parametrize(("first", "turned"), [([1.0, np.nan], [0.0, 0.0]), ([1.0], [2.0]), ([1.0, 2.0], [3.0])])
def test_half_a_pair_is_refused(first, turned):
    with pytest.raises(InputError, match=r"reversal pair|Reversal pairs"):
        beam_setting(first, turned, sense=[1, 1])
