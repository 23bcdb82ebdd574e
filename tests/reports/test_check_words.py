"""What a check says: figures, direction words, likely cause and counterfactual, in both units.

Expected wordings are written out by hand from the rules for figures and direction words (common practice, no source);
1 thou = 25.4 um exactly (the inch is 25.4 mm by the international yard and pound agreement of 1959).
"""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from fleet.measure.slips import CheckName
from fleet.reports.check_words import CLOSING, CheckFacts, evidence, text, title
from fleet.words import NBSP

SIGN = CheckFacts(
    check="sign_turned",
    cause="sign",
    axis="h",
    station="B",
    sequence=12,
    misfit_um=113.0,
    u95_misfit_um=21.0,
    typed_um=-47.0,
    would_read_um=47.0,
    offset_um=3.0,
    would_be_um=57.0,
    agrees_to_um=4.0,
)
AXIS = CheckFacts(
    check="sign_turned", cause="sense of the axis", axis="h", offset_um=90.0, agrees_to_um=8.0, against_forecast=True
)


def plain(said: str) -> str:
    return said.replace(NBSP, " ")


def test_a_turned_sign_is_said_in_full():
    assert plain(text(SIGN, "mm")) == (
        "h at station B, reading 12, does not fit the other readings by 0.113 mm ± 0.021. Most likely the sign. "
        "With + 0.047 mm instead of − 0.047 mm the bore lies 0.057 mm right and the readings agree to 0.004 mm. "
        "Nothing changes until you choose."
    )


def test_in_thou_the_same_lengths_are_said_to_a_hundredth():
    said = plain(text(SIGN, "thou"))
    for figure in ("4.45 thou ± 0.83", "+ 1.85 thou", "2.24 thou right", "0.16 thou"):
        assert figure in said
    assert "mm" not in said


def test_against_the_forecast_the_forecast_is_named():
    said = plain(text(AXIS, "mm"))
    assert "h of the whole survey does not fit the forecast." in said
    assert "With h’s sign turned this agrees with the forecast to 0.008 mm." in said


def test_measured_and_expected_offsets_carry_direction_words():
    facts = CheckFacts(
        check="unlike_forecast",
        axis="v",
        station="D",
        misfit_um=333.0,
        u95_misfit_um=70.0,
        offset_um=-210.0,
        expected_um=123.0,
        against_forecast=True,
    )
    assert plain(evidence(facts, "mm")) == (
        "v at station D does not fit the forecast by 0.333 mm ± 0.070. Measured 0.210 mm low, expected 0.123 mm high."
    )


def test_swapped_stations_are_both_named_in_the_plural():
    facts = CheckFacts(check="stations_swapped", cause="stations swapped", station="B", other_station="E")
    said = plain(text(facts, "mm"))
    assert said.startswith("Stations B and E: the readings do not fit each other. ")
    assert "written for each other" in said


def test_both_axes_together_are_said_in_the_plural():
    facts = CheckFacts(check="unit_mistyped", station="D", sequence=7, misfit_um=10104.0, u95_misfit_um=30.0)
    assert plain(evidence(facts, "mm")) == (
        "v and h at station D, reading 7, do not fit the other readings by 10.104 mm ± 0.030."
    )


def test_a_step_says_from_which_reading_on():
    facts = CheckFacts(
        check="target_loose", cause="step in the target", sequence=6, misfit_um=150.0, u95_misfit_um=30.0
    )
    assert plain(evidence(facts, "mm")) == (
        "What was read from reading 6 on does not fit the other readings by 0.150 mm ± 0.030."
    )


def test_what_cannot_be_told_apart_is_said():
    said = plain(text(replace(SIGN, also=("roll mistyped", "another station")), "mm"))
    assert "The data cannot tell this from: roll mistyped, another station." in said


@pytest.mark.parametrize("check", ["calibration_expired", "still_warm", "support_not_answering"])
def test_a_note_is_the_evidence_where_there_are_no_numbers(check):
    facts = CheckFacts(check=check, note="The certificate ran to 3 Mar 2026; the survey is of 9 Apr 2026.")
    assert evidence(facts, "mm") == facts.note
    assert text(facts, "mm").startswith(facts.note)


@pytest.mark.parametrize("check", get_args(CheckName))
@pytest.mark.parametrize("facts", [SIGN, AXIS, CheckFacts(check="sign_turned")], ids=["full", "forecast", "empty"])
def test_every_check_has_words_that_claim_nothing_and_end_with_the_choice(check, facts):
    said = text(replace(facts, check=check), "mm")
    assert title(check)
    assert said.endswith(CLOSING)
    assert "  " not in said
    assert "None" not in said
    assert "{" not in said
    for claim in ("certainly", "must be", "is wrong", "error"):
        assert claim not in said


def test_an_unknown_check_has_no_title():
    with pytest.raises(KeyError):
        title("anything_else")


def test_a_support_that_did_not_answer_is_told_by_what_was_moved_and_what_the_bore_did():
    facts = CheckFacts(
        check="support_not_answering", cause="support does not carry", axis="v", station="A", typed_um=300.0,
        offset_um=50.0, expected_um=280.0, misfit_um=-230.0, u95_misfit_um=60.0,
    )  # fmt: skip
    assert evidence(facts, "mm").replace(NBSP, " ") == (
        "Support A was moved 0.300 mm higher; the bore there went 0.050 mm higher, "
        "where 0.280 mm higher ± 0.060 was expected."
    )
