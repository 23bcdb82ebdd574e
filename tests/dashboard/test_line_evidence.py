"""The Line page's evidence in words: noticed slips, slope, what moved, how well measured, moves, who measured.

The figures are those chosen by hand in `evidence`; what is expected of each was converted by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import evidence
import orrindale
import pytest
from dash import html
from trees import walk, with_class, words_of

from dashboard.address import Address
from dashboard.components import little, numbers
from dashboard.pages import line_gauge, line_measured, line_moved, line_moves, line_noticed, line_shape
from dashboard.pages.line import line_page
from fleet.services.line_page import LineView
from fleet.words import ReaderUnit

LINE = orrindale.LINE
BARE = replace(LINE, checks=(), movement=(), shape=(), budget=None, moves=None, gauge=())


def page(view: LineView, unit: ReaderUnit = "mm") -> list[object]:
    return line_page(view, Address(page="line", code=view.line, unit=unit)).body


# One foot is 0.3048 m and one inch 25.4 mm exactly: NIST Special Publication 811 (2008), appendix B.8; one thou to the
# foot is therefore 25.4 / 0.3048 = 83.33 um/m, and 100 um/m are 1.2 thou/ft.
@pytest.mark.parametrize(
    ("um_per_m", "unit", "fine", "figure"),
    [
        (100.0, "mm", False, "0.10"),
        (100.0, "thou", False, "1.2"),
        (-67.0, "mm", True, "0.067"),
        (-250.0 / 3.0, "thou", True, "1.00"),
        (4.0, "mm", False, "0.00"),
    ],
)
def test_a_slope_is_said_in_mm_to_the_metre_or_thou_to_the_foot(
    um_per_m: float, unit: ReaderUnit, fine: bool, figure: str
) -> None:
    assert numbers.slope_figure(um_per_m, unit, fine=fine) == figure


def test_the_newest_visits_slip_stands_directly_under_the_lead_and_older_ones_are_folded_below_the_sessions() -> None:
    body = page(LINE)
    text = words_of(body)
    assert text.index("similar lines go the same way") < text.index("Sign turned?") < text.index("Where the bore lies")
    assert "With + 0.042 mm instead of − 0.042 mm the bore lies 0.042 mm right" in text
    assert "as-found 9 May 2026, survey S-06/1" in text
    assert text.index("Sessions") < text.index("Noticed earlier, 1") < text.index("Calibration expired")
    (folded,) = [node for node in walk(body) if isinstance(node, html.Details) and "Noticed earlier" in words_of(node)]
    assert "The certificate of I-04 ended on 1 Jun 2025." in words_of(folded)
    assert "Sign turned?" not in words_of(folded)


def test_only_what_does_not_fit_carries_the_heavy_colour() -> None:
    (fits_not,) = line_noticed.newest(LINE, "mm")
    (plain,) = with_class(line_noticed.earlier(LINE, "mm"), "slip")
    assert with_class(fits_not, "warn") == [fits_not]
    assert with_class(plain, "warn") == []


def test_a_corrected_newest_visit_leaves_the_top_to_the_one_before_it() -> None:
    newest, *others = LINE.sessions
    corrected = replace(LINE, sessions=(replace(newest, corrected_by="S-07"), *others))
    assert "Calibration expired" in words_of(line_noticed.newest(corrected, "mm"))


def test_slips_are_said_in_the_readers_unit() -> None:
    # 42 um / 25.4 = 1.654 thou.
    assert "With + 1.65 thou instead of − 1.65 thou" in words_of(line_noticed.newest(LINE, "thou"))


def test_the_slope_row_says_the_way_the_uncertainty_and_the_share_of_the_limit() -> None:
    text = words_of(line_shape.foot(LINE, "mm"))
    assert "Slope, mm/m line through the deviations, toward the discharge end; limit 0.10" in text
    assert "0.01 upward0.05 downward0.09 downward ± 0.0387 % of limit" in text
    assert "0.00 none0.01 to the right0.01 to the right ± 0.0311 % of limit" in text
    assert "over" not in text
    # 87 um/m x 0.3048 / 25.4 = 1.044 thou/ft.
    assert "1.0 downward ± 0.4" in words_of(line_shape.foot(LINE, "thou"))


def test_a_slope_past_its_limit_is_over_in_word_and_colour_on_both_screens() -> None:
    row = LINE.shape[0]
    assert row.today is not None
    steep = replace(LINE, shape=(replace(row, today=replace(row.today, um_per_m=-112.0)), LINE.shape[1]))
    for foot in (line_shape.foot(steep, "mm"), line_shape.phone_foot(steep, "mm", "v")):
        (hot,) = with_class(foot, "hotc")
        assert "over" in words_of(hot)
    assert "112 % of limit" in words_of(line_shape.foot(steep, "mm"))
    assert with_class(line_shape.phone_foot(steep, "mm", "h"), "hotc") == []


def test_the_phone_has_the_slope_under_each_axis() -> None:
    assert words_of(line_shape.phone_foot(LINE, "mm", "v")) == "Slopemm/m0.01 up0.05 down0.09 down± 0.03, limit 0.10"


def test_a_bow_is_shown_only_where_a_limit_is_set_for_it() -> None:
    assert "Bow" not in words_of(line_shape.foot(LINE, "mm"))
    bowed = replace(LINE, shape=(replace(LINE.shape[0], bow_limit_um=100.0), LINE.shape[1]))
    text = words_of(line_shape.foot(bowed, "mm"))
    assert "Bow, mm farthest a station lies from that line; limit 0.10" in text
    assert "0.12 above it at 4 ± 0.03120 % of limitover" in text
    assert "0.12 above it at 4 ± 0.03limit 0.10, over" in words_of(line_shape.phone_foot(bowed, "mm", "v"))


def test_a_slope_without_a_recorded_limit_has_no_share() -> None:
    free = replace(LINE, shape=tuple(replace(row, slope_limit_um_per_m=None) for row in LINE.shape))
    text = words_of(line_shape.foot(free, "mm"))
    assert "no limit is recorded" in text
    assert "%" not in text


def test_what_moved_names_every_part_its_figure_and_whether_the_measurement_can_see_it() -> None:
    text = words_of(line_moved.what_moved(LINE, "mm"))
    assert "What moved, 14 Jun 2025 – 9 May 2026, vertical" in text
    assert "Shifted at the flange0.01 mm lower ± 0.03; drawn largerwithin what the measurement cannot see" in text
    assert "Turned about the flange0.067 mm/m lower toward the discharge end ± 0.012explains most of it" in text
    assert "Bent0.02 mm lower than straight at B ± 0.03" in text
    assert "Support B alone0.02 mm lower ± 0.04" in text
    assert "The bore went lower against the gearbox axis." in text
    assert text.endswith("which of the two moved needs a level on the gearbox.")
    # 67 um/m x 0.012 = 0.804, 12 x 0.012 = 0.144 thou/ft.
    assert "0.80 thou/ft lower toward the discharge end ± 0.14" in words_of(line_moved.what_moved(LINE, "thou"))


def test_what_moved_follows_the_axis_of_the_history() -> None:
    sideways = replace(LINE, history=replace(orrindale.HISTORY, axis="h"))
    text = words_of(line_moved.what_moved(sideways, "mm"))
    assert "0.017 mm/m to the right toward the discharge end" in text
    assert "The bore went to the right against the gearbox axis." in text


def test_a_part_beyond_measurement_that_is_not_the_most_is_part_of_it() -> None:
    movement = LINE.movement[0]
    parts = tuple(replace(part, beyond_measurement=True, explains_most=False) for part in movement.parts)
    text = words_of(line_moved.what_moved(replace(LINE, movement=(replace(movement, parts=parts),)), "mm"))
    assert text.count("part of it") == 4
    assert "explains most" not in text


def test_a_movement_within_the_measurement_claims_no_direction() -> None:
    movement = replace(LINE.movement[0], u95_moved_um=(300.0,) * 6)
    text = words_of(line_moved.what_moved(replace(LINE, movement=(movement,)), "mm"))
    assert "All of it is within what the measurement cannot see." in text
    assert "The bore went" not in text


def test_moves_made_between_the_two_surveys_are_owned_up_to() -> None:
    movement = replace(LINE.movement[0], first_on=datetime(2025, 1, 1, tzinfo=UTC))
    text = words_of(line_moved.what_moved(replace(LINE, movement=(movement,)), "mm"))
    assert "The supports were worked on in between" in text
    assert "level on the gearbox" not in text


def test_two_surveys_of_one_visit_are_told_apart_by_their_phases_and_own_up_to_the_moves() -> None:
    found, left = (
        replace(survey, key=f"S-06/{number}", session="S-06", number=number, phase=phase, on=orrindale.AS_FOUND.on)
        for survey, number, phase in ((orrindale.AS_LEFT, 1, "as_found"), (orrindale.AS_FOUND, 2, "as_left"))
    )
    movement = replace(
        LINE.movement[0],
        first="S-06/1",
        second="S-06/2",
        first_on=orrindale.AS_FOUND.on,
        second_on=orrindale.AS_FOUND.on,
    )
    sessions = (replace(LINE.sessions[0], moved=True),)
    view = replace(LINE, surveys=(found, left), movement=(movement,), sessions=sessions)
    text = words_of(line_moved.what_moved(view, "mm"))
    assert "What moved, as-found to as-left, 9 May 2026, vertical" in text
    assert "The supports were worked on in between" in text
    stayed = replace(view, sessions=(replace(sessions[0], moved=False),))
    assert "worked on" not in words_of(line_moved.what_moved(stayed, "mm"))


def test_little_pictures_are_drawn_by_the_limit_unless_too_small_or_too_large_to_see() -> None:
    assert little.scale((0.0, -125.0), 250.0) == little.Scale(24.0 / 250.0, "")
    assert little.scale((0.0, -10.0), 250.0).note == "drawn larger"
    assert little.scale((0.0, 900.0), 250.0).note == "drawn smaller"
    assert little.scale((0.0, 0.0), 250.0).px_per_um == 0.0


def test_every_little_picture_is_named_for_those_who_cannot_see_it() -> None:
    pictures = with_class(line_moved.what_moved(LINE, "mm"), "little")
    assert [getattr(picture, "aria-label").split(":")[0] for picture in pictures] == [
        "Shifted at the flange", "Turned about the flange", "Bent", "Support B alone",
    ]  # fmt: skip


def test_up_is_up_in_elevation_and_right_is_down_in_plan() -> None:
    at_scale = little.Scale(0.1, "")
    up, down = (
        little.picture((100.0,), (100.0,), at_scale, up_is_plus=plus, label="x").children[1].style["maskImage"]
        for plus in (True, False)
    )
    assert "20.0" in up
    assert "40.0" in down


def test_how_well_it_was_measured_answers_first_and_says_what_would_better_it() -> None:
    text = words_of(line_measured.how_well(LINE, "mm"))
    # 21 x 4.5 / 10.5 = 9 um.
    assert text.startswith(
        "How well it was measured, as-found 9 May 2026Station B is known to ± 0.021 mm vertical; most of it is the "
        "beam (68 %). A reversal at every station would bring it to ± 0.009 mm."
    )
    # 21 / 25.4 = 0.827 and 9 / 25.4 = 0.354 thou.
    thou = words_of(line_measured.how_well(LINE, "thou"))
    assert "known to ± 0.83 thou" in thou
    assert "bring it to ± 0.35 thou" in thou


def test_a_remedy_that_does_not_halve_it_says_so_and_none_is_owned_up_to() -> None:
    assert "nothing tried would halve it" in line_measured.answer(replace(evidence.BUDGET, halves=False), "mm")
    assert "No other way of reading" in line_measured.answer(replace(evidence.BUDGET, doing=None), "mm")


def test_closure_scatter_and_beam_pairs_are_said_in_words() -> None:
    text = words_of(line_measured.how_well(LINE, "mm"))
    assert "the first station came back within 0.006 mm vertical and 0.004 mm horizontal" in text
    # scale is a ratio of variances: the square root of 1.96 is 1.4.
    assert "scattered 1.4 times what the instrument states" in text
    assert (
        "Nearest pair, station 1. v: pair differs 0.008 mm, agrees. h: pair differs 0.030 mm: the beam was 0.015 mm "
        "off here; the reading to trim to was + 0.020 mm." in text
    )
    assert "Farthest pair, station 6. v: pair differs 0.010 mm, agrees. h: pair differs 0.012 mm, agrees." in text


def test_a_survey_without_closure_and_with_ordinary_scatter_says_both() -> None:
    text = words_of(
        line_measured.how_well(replace(LINE, budget=replace(evidence.BUDGET, closure_um=None, scale=1.0)), "mm")
    )
    assert "a wander of the beam would not show" in text
    assert "about as much as the instrument states" in text


def test_the_phone_folds_the_shares_station_by_station() -> None:
    (folded,) = with_class(line_measured.how_well(LINE, "mm"), "narrow-only")
    assert isinstance(folded, html.Details)
    assert "vertical ± 0.021 mm: beam 68 %, readings 25 %, target zero 7 %" in words_of(folded)


def test_the_moves_are_said_as_a_person_makes_them() -> None:
    text = words_of(line_moves.to_target(LINE, "mm"))
    assert text.startswith(
        "What would bring it to target, as of 25 Nov 2026Raise A 0.18 mm ± 0.05, move left 0.02 mm ± 0.05"
        "Raise B 0.35 mm ± 0.06 (0.392 mm wanted; the recorded room ends there)"
    )
    assert "Left alone, not made to adjust: B horizontal." in text
    assert "0.05 mm below target ± 0.03 and 0.01 mm right of target ± 0.03" in text
    assert "put right at gearbox or flange, never at a support" in text
    assert "right is the operator side" in text
    # 180 / 25.4 = 7.09 and 20 / 25.4 = 0.79 thou.
    assert "Raise A 7.1 thou ± 2.0, move left 0.8 thou" in words_of(line_moves.to_target(LINE, "thou"))


def test_a_move_down_and_no_move_have_their_own_words() -> None:
    moves = replace(
        evidence.MOVES,
        moves=(
            replace(evidence.MOVES.moves[0], move_um=-180.0, held_by="step"),
            replace(evidence.MOVES.moves[1], move_um=2.0),
        ),
    )
    text = words_of(line_moves.to_target(replace(LINE, moves=moves), "mm"))
    assert "Bring down A 0.18 mm ± 0.05 (0.180 mm to its step), leave it as it is horizontal" in text


def test_a_line_without_adjusting_supports_says_that_nothing_there_helps() -> None:
    text = words_of(line_moves.to_target(replace(LINE, moves=replace(evidence.MOVES, moves=())), "mm"))
    assert "No support of this line adjusts" in text


def test_the_cautions_stand_where_work_at_the_machine_is_shown() -> None:
    text = words_of(line_moves.to_target(LINE, "mm"))
    assert "Isolate and lock out" in text
    assert "This sheet is no permission to work." in text


def test_the_predicted_table_tells_which_stations_are_not_good_enough_on_both_screens() -> None:
    section = line_moves.to_target(LINE, "mm")
    for name in ("wide-only", "narrow-only"):
        tables = [node for node in with_class(section, name) if isinstance(node, html.Table)]
        text = words_of(tables)
        assert text.count("not good enough") == 2
        assert "0.30 low ± 0.040.08 below not good enough" in text
    assert "good enough is within 0.05 mm" in words_of(section)


def test_who_measured_it_tells_repeatability_drift_closure_and_a_lapsed_calibration() -> None:
    section = line_gauge.who(LINE, Address())
    (table,) = [node for node in with_class(section, "wide-only") if isinstance(node, html.Table)]
    text = words_of(table)
    assert (
        "I-04instrument, 42 surveys0.006 (0.005–0.007)0.004more than stated; drifting: 0.004 before, 0.008 mm" in text
    )
    assert "its zero drifts 0.003 mm a year ± 0.001" in text
    (hot,) = with_class(table, "hotc")
    assert words_of(hot) == "lapsed 3 Mar 2026"
    (cards,) = with_class(section, "narrow-only")
    assert "I-04 repeats to 0.006 (0.005–0.007) mm" in words_of(cards)
    assert "calibration lapsed 3 Mar 2026" in words_of(cards)


def test_who_repeats_within_what_is_stated_is_as_stated_and_an_unknown_one_is_not_guessed() -> None:
    fair = replace(evidence.GAUGE[0], unlike_stated=False, drifting=False, zero_um_per_year=None)
    assert "as stated" in words_of(line_gauge.who(replace(LINE, gauge=(fair,)), Address()))
    untold = replace(fair, low_um=0.0, high_um=0.0)
    text = words_of(line_gauge.who(replace(LINE, gauge=(untold,)), Address()))
    assert "not known yet" in text
    assert "as stated" not in text


@pytest.mark.parametrize("unit", ["mm", "thou"])
def test_nothing_of_it_stands_on_the_page_where_there_is_no_evidence(unit: ReaderUnit) -> None:
    text = words_of(page(BARE, unit))
    for title in (
        "Shifted at the flange", "How well it was measured", "What would bring it to target", "Who measured it",
        "Noticed earlier", "Sign turned?", "Slope",
    ):  # fmt: skip
        assert title not in text
        if title != "Slope":
            assert title in words_of(page(LINE, unit))


def test_the_sections_stand_in_the_order_a_reader_asks() -> None:
    text = words_of(page(LINE))
    titles = (
        "Where the bore lies", "What it has done", "What moved", "Drift at B", "How well it was measured",
        "What would bring it to target", "Who measured it", "Sessions", "Noticed earlier",
    )  # fmt: skip
    places = [text.index(title) for title in titles]
    assert places == sorted(places)


def test_a_survey_asked_for_that_the_line_does_not_have_is_said() -> None:
    text = words_of(page(replace(LINE, unknown=("S-99/1",))))
    assert "ORR-07 has no survey ‘S-99/1’; the usual one is shown." in text


def test_how_straight_the_bore_was_stands_under_the_stations_of_both_screens() -> None:
    view = replace(orrindale.LINE, shape=tuple(replace(row, straight_um=(31.0, 54.0)) for row in orrindale.LINE.shape))
    desk, phone = words_of(line_shape.foot(view, "mm")), words_of(line_shape.phone_foot(view, "mm", "v"))
    assert "Straight within, mm narrowest zone that holds the bore of that survey, ISO 12780-10.030.05––" in desk
    assert "Straightwithin, mm0.030.05–" in phone
    assert "Straight" not in words_of(line_shape.foot(orrindale.LINE, "mm"))
