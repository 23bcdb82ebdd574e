"""The sheet's sentences say figure, direction, unit and date as the trade does (common practice, no source).

1 thou = 25.4 um exactly (international inch, NIST SP 811 (2008), B.8).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from sample_sheets import FULL, NO_LIMIT, NO_RECORD, SPARSE

from fleet.reports.cautions import LAST, cautions
from fleet.reports.sheet_facts import came_out_running, last_as_left, why_this_target
from fleet.reports.sheet_words import (
    directions_sentence,
    distance,
    expect_note,
    expected_cell,
    good_enough_sentence,
    moves_sentence,
    outage_line,
    pair_agreement,
    plain,
    reading_sense_sentence,
    set_to_cell,
    span,
    temperature,
    tolerance_sentence,
)
from fleet.words import NBSP

B = FULL.stations[4]


def said(text: str) -> str:
    return text.replace(NBSP, " ")


def test_a_figure_to_set_to_names_both_its_parts_in_words() -> None:
    assert said(" ".join(set_to_cell(B, "v", "mm", None))) == "0.20 low (target 0.26 low, 0.06 higher against drift)"


def test_right_carries_the_plants_word_and_left_has_none() -> None:
    assert said(" ".join(expected_cell(B, "h", "mm", "operator side"))) == "0.06 right (operator side) ± 0.10"
    to_the_left = replace(B, expected_um=(0.0, -60.0))
    assert said(" ".join(expected_cell(to_the_left, "h", "mm", "operator side"))) == "0.06 left ± 0.10"


def test_the_printed_parts_add_up_even_where_rounding_parts_them() -> None:
    # 0.264 low rounds to 0.26, 0.046 to 0.05; set to 0.218 low rounds to 0.22: printed apart 0.26 - 0.05 would be 0.21.
    station = replace(B, target_um=(-264.0, 0.0), against_drift_um=(46.0, 0.0), set_to_um=(-218.0, 0.0))
    assert said(set_to_cell(station, "v", "mm", None)[1]) == "(target 0.26 low, 0.04 higher against drift)"


def test_a_horizontal_part_against_drift_is_named_too() -> None:
    station = replace(B, target_um=(0.0, 0.0), set_to_um=(0.0, -30.0))
    assert said(" ".join(set_to_cell(station, "h", "mm", "operator side"))) == (
        "0.03 left (target 0.00 on axis, 0.03 to the left against drift)"
    )


def test_a_figure_not_known_is_said_so() -> None:
    assert set_to_cell(NO_RECORD.stations[0], "v", "mm", None) == ("not known", "")
    assert expected_cell(NO_RECORD.stations[0], "h", "mm", None) == ("not known", "")
    assert said(" ".join(expected_cell(SPARSE.stations[4], "v", "mm", None))) == "0.59 low ± not known"
    assert said(" ".join(set_to_cell(SPARSE.stations[4], "v", "mm", None))) == (
        "not known (target 0.26 low, drift not known)"
    )


def test_readers_of_thou_get_thou_inches_and_both_temperatures() -> None:
    # 200 um / 25.4 = 7.87; 260 um / 25.4 = 10.24; 3150 mm / 25.4 = 124.02 in; 22 degrees C = 71.6 degrees F.
    assert said(" ".join(set_to_cell(B, "v", "thou", None))) == "7.9 low (target 10.2 low, 2.3 higher against drift)"
    assert said(distance(3150.0, "thou")) == "124.02 in"
    assert said(temperature(22.0, "thou")) == "22 °C (72 °F)"
    assert said(pair_agreement(FULL, "thou")) == "0.98 thou"
    assert said(pair_agreement(FULL, "mm")) == "0.025 mm"


def test_the_last_as_left_says_when_who_what_how_warm_and_what_was_measured_since() -> None:
    assert said(last_as_left(FULL, "mm").text) == (
        "14 Jun 2025, T. Halvorsby. A 0.23 mm low, B 0.21 mm low; horizontally both 0.01 mm left, each ± 0.03. "
        "Barrel and gearbox 22 °C. Reversal pair at every station, I-04. "
        "On 9 May 2026 measured only: A 0.34 mm low, B 0.45 mm low, each ± 0.03."
    )
    assert last_as_left(NO_RECORD, "mm").text == "No as-left on record."


def test_stations_named_by_a_number_are_never_read_as_a_figure() -> None:
    no_supports = replace(FULL, stations=tuple(replace(place, support=None) for place in FULL.stations))
    assert "station 1 0.03 mm low" in said(last_as_left(no_supports, "mm").text)


def test_how_it_came_out_running_says_rise_and_where_it_ran() -> None:
    assert said(came_out_running(FULL, "mm").text) == (
        "16 Jun 2025, 26 h after heats on; barrel 205 °C, gearbox 50 °C, base 32 °C. "
        "A rose 0.26 mm, B rose 0.27 mm, each ± 0.03. A ran 0.03 mm high, B ran 0.06 mm high."
    )
    assert said(came_out_running(SPARSE, "mm").text) == (
        "16 Jun 2025. A rose 0.26 mm, B went down 0.02 mm. Where it ran is not known: no as-left before it."
    )
    assert came_out_running(NO_RECORD, "mm").text == "No running check on record."
    assert came_out_running(replace(FULL, running=None), "mm").text.endswith("on record since the last as-left.")


def test_why_this_target_never_says_that_a_barrel_sinks() -> None:
    text = said(why_this_target(FULL, "mm").text)
    assert text == (
        "A and B 0.26 mm low. Both rise alike, by this line’s own five running checks; the flange stays. "
        "Then A 0.03 mm higher, B 0.06 mm higher against drift. "
        "The bore goes 0.22 mm a year lower against the gearbox axis."
    )
    assert why_this_target(NO_RECORD, "mm").text == "No cold target on record."


def test_moves_are_said_in_the_words_for_moves_with_what_is_not_known_of_them() -> None:
    assert said(moves_sentence(FULL, "mm")) == (
        "Expect to raise A 0.18 ± 0.05 and B 0.39 ± 0.10; move A 0.02 ± 0.05 and B 0.04 ± 0.10 left."
    )
    other_way = replace(FULL, stations=(replace(B, expected_um=(100.0, -50.0), support="2"),))
    assert said(moves_sentence(other_way, "mm")) == (
        "Expect to bring down support 2 0.30 ± 0.10; move support 2 0.07 ± 0.10 right (operator side)."
    )
    assert moves_sentence(NO_RECORD, "mm") == ""
    there = replace(FULL, stations=(replace(B, expected_um=B.set_to_um),))
    assert moves_sentence(there, "mm") == "No move expected at the supports."


def test_limits_are_said_once_where_they_are_alike_and_by_place_where_not() -> None:
    assert said(tolerance_sentence(FULL, "mm")) == "Watch 0.13, limit 0.25 from the target."
    assert tolerance_sentence(NO_LIMIT, "mm") == "No limit set."
    wider = tuple(replace(place, limit_um=(250.0, 400.0)) for place in FULL.stations)
    assert tolerance_sentence(replace(FULL, stations=wider), "mm") == (
        "Vertical watch 0.13, limit 0.25 from the target; horizontal watch 0.13, limit 0.40 from the target."
    )


def test_good_enough_is_said_only_where_a_width_is_set() -> None:
    assert said(good_enough_sentence(FULL, "mm")) == "Good enough: within 0.05 mm of the bold figure."
    assert said(good_enough_sentence(FULL, "thou")) == "Good enough: within 2.0 thou of the bold figure."
    assert good_enough_sentence(NO_RECORD, "mm") == ""


def test_what_to_expect_names_the_day_the_temperature_the_unit_and_the_coverage() -> None:
    assert said(expect_note(FULL, "mm")) == (
        "19 Dec 2026, cold, 20 °C. In mm; range 95 %. Outside it: read again before you move anything."
    )
    assert expect_note(NO_RECORD, "mm").startswith("Nothing to expect from: no as-left on record.")


def test_dates_of_an_outage_are_as_short_as_they_can_be_told_apart() -> None:
    assert said(span(date(2026, 12, 19), date(2026, 12, 30))) == "19–30 Dec 2026"
    assert said(span(date(2026, 11, 28), date(2026, 12, 3))) == "28 Nov–3 Dec 2026"
    assert said(span(date(2026, 12, 19), date(2027, 1, 3))) == "19 Dec 2026–3 Jan 2027"
    assert said(span(None, date(2026, 12, 30))) == "30 Dec 2026"
    assert span(None, None) == ""
    assert outage_line(NO_RECORD) == "No outage planned on record."


def test_the_signs_of_an_instrument_are_said_from_its_reading_sense() -> None:
    # A beam that falls above the bore's centre shows + where the bore is low: geometry.
    assert said(reading_sense_sentence(FULL)) == "I-04, used last: v + is high, h + is right."
    other = replace(FULL, reading_sense=("beam_from_bore", "bore_from_beam"))
    assert said(reading_sense_sentence(other)) == "I-04, used last: v + is low, h + is right."
    assert "look before the first reading" in reading_sense_sentence(SPARSE)


def test_both_directions_are_told_with_the_swap_at_the_discharge_end() -> None:
    assert plain(directions_sentence("operator side")) == (
        "v: high / low of the gearbox axis. h: right (operator side) / left, looking from the gearbox toward the "
        "discharge end. Standing at the discharge end, right and left swap."
    )


def test_the_nine_cautions_stand_in_their_order() -> None:
    leads = [lead for lead, _ in cautions(8.1)]
    assert leads == [
        "Isolate and lock out",
        "Hot barrel;",
        "Never look into the beam,",
        "Support the barrel",
        "Isolate before turning the gearbox;",
        "Keep from under",
        "Let the barrel slide:",
        "Before power returns:",
    ]
    assert LAST.startswith("This sheet is no permission to work.")


def test_the_growth_in_length_is_the_lines_own_or_has_no_figure() -> None:
    assert said(cautions(8.1)[6][1]) == "it grows about 8 mm in length."
    assert said(cautions(8.1, "thou")[6][1]) == "it grows about 0.3 inch in length."
    assert cautions(None)[6][1] == "it grows millimetres in length."
