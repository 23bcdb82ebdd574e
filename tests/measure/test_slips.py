"""Slips planted by hand in a survey whose truth is written out: what is noticed, where, and what it would be.

Synthetic truth, no outside figures: the bore lies 47 um high, 57 um right at the second station. Noise is a fixed
pattern of a few um, so that nothing here depends on a random draw.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measure_model import Plan, pairs, readings_of, single_pass

from fleet.errors import InputError
from fleet.measure import Instrument, adjust
from fleet.measure.slips import Expected, find_entered_slips, find_slips, find_slips_many

STATIONS = [600.0, 1300.0, 2000.0, 2700.0, 3400.0]
OFFSETS = np.array([[210.0, -80.0], [47.0, 157.0], [-120.0, 240.0], [-260.0, 130.0], [-340.0, -90.0]])
BEAM = [130.0, -70.0, -45.0, 60.0]
INSTRUMENT = Instrument(sense_v=1, sense_h=-1)
PLAN = Plan(STATIONS, [*pairs(STATIONS).steps, (0, 1, 0.0, 0.0)])


def clean(plan=PLAN, instrument=INSTRUMENT, offsets=OFFSETS):
    truth = np.concatenate([offsets.ravel(), BEAM, [6.0, -4.0, 2.0, 1.0]])
    ripple = 7.0 * np.sin(1.7 * np.arange(2 * len(plan.steps)) ** 2)
    return readings_of(plan, instrument, truth, ripple)


def typed(survey, reading, *, v=1.0, h=1.0):
    v_um, h_um = survey.v_um.copy(), survey.h_um.copy()
    v_um[reading] *= v
    h_um[reading] *= h
    return replace(survey, v_um=v_um, h_um=h_um)


def forecast(offsets=OFFSETS, u_um=30.0):
    miss = 20.0 * np.cos(np.arange(offsets.size) * 2.3).reshape(offsets.shape)
    return Expected(offsets + miss, np.full(offsets.shape, u_um), 8.0, 0.3)


def only(slips):
    assert len(slips) == 1, slips
    return slips[0]


def test_a_clean_survey_raises_nothing_with_or_without_a_forecast():
    assert find_slips(clean(), INSTRUMENT, hot=False) == ()
    assert find_slips(clean(), INSTRUMENT, hot=False, expected=forecast()) == ()


def test_a_turned_sign_is_named_with_the_offset_it_would_give():
    slip = only(find_slips(typed(clean(), 3, h=-1.0), INSTRUMENT, hot=False, expected=forecast()))
    assert (slip.check, slip.axis, slip.station, slip.sequence) == ("sign_turned", "h", 1, 4)
    assert slip.typed_um == -slip.would_read_um
    assert slip.would_be_um == pytest.approx(157.0, abs=15.0)
    assert abs(slip.offset_um - 157.0) > 60.0
    assert slip.misfit_um > 5 * slip.u95_misfit_um
    assert slip.agrees_to_um < 10.0
    assert not slip.against_forecast


def test_the_counterfactual_is_what_adjusting_the_corrected_readings_gives():
    right = clean()
    slip = only(find_slips(typed(right, 3, h=-1.0), INSTRUMENT, hot=False, expected=forecast()))
    assert slip.would_be_um == pytest.approx(adjust(right, INSTRUMENT, hot=False).offset_um[1, 1], abs=0.5)


def test_which_reading_of_a_trimmed_pair_was_turned_cannot_be_told_without_a_forecast():
    truth = np.concatenate([OFFSETS.ravel(), [3.0, -4.0, 2.0, 1.0], [0.0] * 4])
    survey = typed(readings_of(PLAN, INSTRUMENT, truth, 7.0 * np.sin(1.7 * np.arange(22) ** 2)), 5, h=-1.0)
    slip = only(find_slips(survey, INSTRUMENT, hot=False))
    assert (slip.check, slip.axis, slip.station, slip.sequence) == ("sign_turned", "h", 2, None)


def test_a_whole_axis_turned_shows_only_against_the_forecast():
    turned = typed(clean(), slice(None), h=-1.0)
    assert find_slips(turned, INSTRUMENT, hot=False) == ()
    slip = only(find_slips(turned, INSTRUMENT, hot=False, expected=forecast()))
    assert (slip.check, slip.axis, slip.station, slip.cause) == ("sign_turned", "h", None, "sense of the axis")
    assert slip.against_forecast
    assert slip.agrees_to_um < 40.0


@pytest.mark.parametrize(
    ("factor", "cause"),
    [(1000 / 25.4, "thou written as mm"), (1000.0, "um written as mm"), (25.4 / 1000, "mm written as thou")],
)
def test_a_reading_in_the_wrong_unit_is_named_with_both_units(factor, cause):
    slip = find_slips(typed(clean(), 6, v=factor, h=factor), INSTRUMENT, hot=False, expected=forecast())[0]
    assert (slip.check, slip.station, slip.sequence, slip.cause) == ("unit_mistyped", 3, 7, cause)


def test_a_survey_in_too_small_a_unit_is_quieter_than_any_instrument():
    small = typed(clean(), slice(None), v=25.4 / 1000, h=25.4 / 1000)
    slip = only(find_slips(small, INSTRUMENT, hot=False))
    assert (slip.check, slip.station, slip.cause) == ("unit_mistyped", None, "mm written as thou")


def test_readings_that_agree_exactly_are_not_taken_for_another_unit():
    # The sweep of the design worked by hand, whose residuals are all nought.
    plan = Plan([500.0], [(0, 1, roll, 0.0) for roll in (0.0, 90.0, 180.0, 270.0)])
    survey = replace(
        clean(single_pass([500.0]), offsets=OFFSETS[:1]),
        station=np.zeros(4, dtype=np.int64),
        sequence=np.arange(1, 5),
        beam_state=np.ones(4, dtype=np.int64),
        beam_roll_deg=np.array([step[2] for step in plan.steps]),
        target_roll_deg=np.zeros(4),
        v_um=np.array([80.0, 100.0, 120.0, 100.0]),
        h_um=np.array([50.0, 70.0, 50.0, 30.0]),
    )
    assert find_slips(survey, Instrument(sense_v=1, sense_h=1), hot=False) == ()


def test_a_whole_survey_without_any_noise_is_not_taken_for_another_unit():
    # A trimmed beam, because in another unit a large one would be larger than any beam is.
    truth = np.concatenate([OFFSETS.ravel(), [3.0, -4.0, 2.0, 1.0], [0.0] * 4])
    assert find_slips(readings_of(PLAN, INSTRUMENT, truth), INSTRUMENT, hot=False) == ()


def test_a_slipped_decimal_point_is_told_from_a_unit():
    slip = find_slips(typed(clean(), 6, v=10.0), INSTRUMENT, hot=False, expected=forecast())[0]
    assert (slip.check, slip.axis, slip.sequence, slip.cause) == ("unit_mistyped", "v", 7, "decimal point")


def test_a_missed_inversion_is_named_with_its_station():
    really = Plan(STATIONS, [(s, b, 0.0 if i == 5 else roll, t) for i, (s, b, roll, t) in enumerate(PLAN.steps)])
    survey = replace(clean(really), beam_roll_deg=np.array([step[2] for step in PLAN.steps]))
    slip = only(find_slips(survey, INSTRUMENT, hot=False))
    assert (slip.check, slip.station) == ("roll_mistyped", 2)


def test_stations_written_for_each_other_are_both_named():
    survey = clean()
    station = np.where(survey.station == 1, 4, np.where(survey.station == 4, 1, survey.station))
    slip = only(find_slips(replace(survey, station=station), INSTRUMENT, hot=False, expected=forecast()))
    assert (slip.check, slip.station, slip.other_station) == ("stations_swapped", 1, 4)


def test_a_target_that_slips_between_a_pair_is_named_from_the_reading_after():
    survey = clean()
    after = np.arange(len(survey.station)) >= 5
    survey = replace(survey, v_um=survey.v_um + 150.0 * after, h_um=survey.h_um - 120.0 * after)
    slip = only(find_slips(survey, INSTRUMENT, hot=False, expected=forecast()))
    assert (slip.check, slip.sequence) == ("target_loose", 6)
    assert slip.misfit_um == pytest.approx(150.0, abs=slip.u95_misfit_um)


def test_a_beam_knocked_between_stations_is_named():
    survey = clean()
    knock = np.where(np.arange(11) >= 4, np.where(survey.beam_roll_deg == 0, -300.0, 300.0), 0.0)
    slip = only(find_slips(replace(survey, v_um=survey.v_um + knock), INSTRUMENT, hot=False))
    assert (slip.check, slip.sequence) == ("beam_disturbed", 5)
    assert slip.misfit_um == pytest.approx(300.0, abs=slip.u95_misfit_um)


def test_two_slips_in_one_survey_are_both_named():
    survey = typed(typed(clean(), 3, h=-1.0), 6, v=1000 / 25.4, h=1000 / 25.4)
    found = find_slips(survey, INSTRUMENT, hot=False, expected=forecast())
    assert {(slip.check, slip.station) for slip in found} == {("sign_turned", 1), ("unit_mistyped", 3)}


def test_a_single_reading_that_no_slip_explains_is_not_given_a_name():
    survey = clean()
    v_um = survey.v_um.copy()
    v_um[7] += 611.0
    slip = find_slips(replace(survey, v_um=v_um), INSTRUMENT, hot=False, expected=forecast())[0]
    assert slip.check == "unexplained_residual"
    assert (slip.station, slip.axis) == (3, "v")


def test_a_station_that_really_moved_is_unlike_the_forecast_and_no_slip():
    moved = OFFSETS.copy()
    moved[2, 0] += 333.0
    slip = only(find_slips(clean(offsets=moved), INSTRUMENT, hot=False, expected=forecast()))
    assert (slip.check, slip.station, slip.axis) == ("unlike_forecast", 2, "v")
    assert slip.misfit_um == pytest.approx(333.0, abs=slip.u95_misfit_um)
    assert slip.would_be_um is None


def test_a_single_pass_shows_a_turned_sign_against_the_forecast_only():
    trimmed = Instrument(sense_v=1, sense_h=-1, beam_offset_um=10.0, beam_direction_um_per_m=5.0)
    truth = np.concatenate([OFFSETS.ravel(), np.zeros(8)])
    survey = typed(readings_of(single_pass(STATIONS), trimmed, truth), 3, v=-1.0)
    assert find_slips(survey, trimmed, hot=False) == ()
    slip = only(find_slips(survey, trimmed, hot=False, expected=forecast()))
    assert (slip.check, slip.axis, slip.station, slip.sequence) == ("sign_turned", "v", 3, 4)
    assert slip.against_forecast
    assert slip.offset_um == pytest.approx(260.0, abs=15.0)
    assert slip.expected_um == pytest.approx(-260.0, abs=25.0)


def test_entered_offsets_with_an_axis_turned_are_named():
    entered = OFFSETS * [1.0, -1.0]
    u_um = np.full(OFFSETS.shape, 15.0)
    distance_mm = np.array(STATIONS)
    assert find_entered_slips(OFFSETS, u_um, expected=forecast(), distance_mm=distance_mm) == ()
    slip = only(find_entered_slips(entered, u_um, expected=forecast(), distance_mm=distance_mm))
    assert (slip.check, slip.axis, slip.station) == ("sign_turned", "h", None)
    swapped = OFFSETS[[0, 3, 2, 1, 4]]
    slip = only(find_entered_slips(swapped, u_um, expected=forecast(), distance_mm=distance_mm))
    assert (slip.check, slip.station, slip.other_station) == ("stations_swapped", 1, 3)


def test_nothing_expected_anywhere_is_the_same_as_no_expectation():
    unknown = Expected(np.full(OFFSETS.shape, np.nan), np.full(OFFSETS.shape, np.nan), 8.0, 0.3)
    survey = typed(clean(), 3, h=-1.0)
    with_it, without = (find_slips(survey, INSTRUMENT, hot=False, expected=what) for what in (unknown, None))
    assert with_it == without != ()


def test_many_surveys_are_judged_as_each_alone():
    surveys = [clean(), typed(clean(), 3, h=-1.0), clean(single_pass(STATIONS)), typed(clean(), 6, v=10.0)]
    together = find_slips_many([(survey, INSTRUMENT, False) for survey in surveys])
    assert together == [find_slips(survey, INSTRUMENT, hot=False) for survey in surveys]
    assert [bool(slips) for slips in together] == [False, True, False, True]


def test_order_of_entry_does_not_matter():
    survey = typed(clean(), 3, h=-1.0)
    shuffled = np.array([4, 9, 0, 7, 3, 10, 2, 8, 5, 1, 6])
    names = ("station", "sequence", "beam_state", "beam_roll_deg", "target_roll_deg", "v_um", "h_um")
    other = replace(survey, **{name: getattr(survey, name)[shuffled] for name in names})
    one, two = (only(find_slips(s, INSTRUMENT, hot=False, expected=forecast())) for s in (survey, other))
    assert (one.check, one.axis, one.station, one.sequence) == (two.check, two.axis, two.station, two.sequence)


@pytest.mark.parametrize("value", [1e12, np.nan])
def test_a_reading_that_no_instrument_shows_is_refused_with_its_sequence(value):
    survey = clean()
    v_um = survey.v_um.copy()
    v_um[2] = value
    for reduce in (adjust, find_slips):
        with pytest.raises(InputError, match="sequence 3"):
            reduce(replace(survey, v_um=v_um), INSTRUMENT, hot=False)


def test_an_expectation_without_uncertainty_is_refused():
    what = forecast(u_um=0.0)
    with pytest.raises(InputError, match="uncertainty above zero"):
        find_slips(clean(), INSTRUMENT, hot=False, expected=what)


def test_a_lone_reading_and_equal_readings_raise_nothing():
    one = single_pass(STATIONS[:1])
    assert find_slips(clean(one, offsets=OFFSETS[:1]), INSTRUMENT, hot=False) == ()
    flat = clean()
    flat = replace(flat, v_um=np.full(11, 40.0), h_um=np.full(11, -20.0))
    assert all(slip.check != "sign_turned" for slip in find_slips(flat, INSTRUMENT, hot=False))
