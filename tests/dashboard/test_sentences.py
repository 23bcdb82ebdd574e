"""The sentences under the titles, asserted whole; wording and figures follow the invented story of Orrindale."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import orrindale
import pytest

from dashboard.components import numbers, sentences
from dashboard.components.rich import Bold, plain
from fleet.services.line_history import Habits


def test_the_fleet_is_answered_by_over_then_due_then_no_record() -> None:
    assert plain(sentences.fleet_lead(orrindale.FLEET)) == (
        "Two lines are probably over the limit today. Three more are due before the spring stop of 3 Apr 2027 unless "
        "realigned. One line has no record to stand on."
    )


def test_due_lines_with_different_stops_are_not_given_one_day() -> None:
    rows = tuple(
        replace(row, following_outage="ORR-2027-07") if row.line == "ORR-02" else row for row in orrindale.ROWS
    )
    assert "Three more are due before the outage after their next unless realigned." in plain(
        sentences.fleet_lead(replace(orrindale.FLEET, rows=rows))
    )


def test_a_calm_fleet_says_so() -> None:
    calm = replace(orrindale.FLEET, counts={"over": 0, "due": 0, "watch": 1, "within": 4, "no record": 0})
    assert plain(sentences.fleet_lead(calm)) == ("No line is probably over the limit today. One line is to be watched.")


def test_one_line_over_and_one_due_are_said_in_the_singular() -> None:
    few = replace(orrindale.FLEET, counts={"over": 1, "due": 1, "watch": 0, "within": 0, "no record": 0}, outages=())
    assert plain(sentences.fleet_lead(few)) == (
        "One line is probably over the limit today. One more is due before the outage after its next unless realigned."
    )


def test_the_line_page_says_where_the_worst_place_is_and_which_way_the_bore_goes() -> None:
    assert plain(sentences.line_lead(orrindale.LINE, "mm")) == (
        "Station B is expected 0.31 mm below target (± 0.09) today; the limit is 0.25 mm. The bore goes 0.22 mm a year "
        "lower against the gearbox axis (0.14 to 0.30; 2 intervals); 0.06 mm past the limit; likely passed the limit "
        "between Jun and Nov 2026; 3 of 9 similar lines go the same way."
    )


def test_readers_of_thou_get_the_same_sentence_in_thou() -> None:
    # 310 um / 25.4 = 12.20, 90 / 25.4 = 3.54, 250 / 25.4 = 9.84, 220 / 25.4 = 8.66, 140 / 25.4 = 5.51,
    # 300 / 25.4 = 11.81, 60 / 25.4 = 2.36 (1 thou = 25.4 um)
    assert plain(sentences.line_lead(orrindale.LINE, "thou")) == (
        "Station B is expected 12.2 thou below target (± 3.5) today; the limit is 9.8 thou. The bore goes 8.7 thou a "
        "year lower against the gearbox axis (5.5 to 11.8; 2 intervals); 2.4 thou past the limit; likely passed the "
        "limit between Jun and Nov 2026; 3 of 9 similar lines go the same way."
    )


def test_the_deviation_is_the_bold_part_of_the_line_sentence() -> None:
    bold = [part for part in sentences.line_lead(orrindale.LINE, "mm") if isinstance(part, Bold)]
    assert [plain((part,)) for part in bold] == ["0.31 mm below target"]


def test_a_line_without_a_limit_is_not_given_one() -> None:
    none = replace(orrindale.WHY, status="no record", missing="no limit to judge by", to_limit_um=None, similar_lines=0)
    stations = tuple(replace(station, limit_um=(None, None)) for station in orrindale.STATIONS)
    view = replace(orrindale.LINE, evidence=none, stations=stations)
    assert plain(sentences.line_lead(view, "mm")) == (
        "Station B is expected 0.31 mm below target (± 0.09) today. No limit to judge by; the bore goes 0.22 mm a year "
        "lower against the gearbox axis (0.14 to 0.30; 2 intervals)."
    )


def test_the_screen_never_says_the_barrel_sinks() -> None:
    assert "sink" not in plain(sentences.line_lead(orrindale.LINE, "mm"))


@pytest.mark.parametrize(
    ("p10", "p50", "p90", "said"),
    [
        (None, None, None, "No date before Nov 2031."),
        (date(2027, 9, 1), None, None, "Chance of being over: 10 % by Sep 2027; 50 % not before Nov 2031."),
        (
            date(2027, 4, 1),
            date(2027, 11, 1),
            date(2030, 1, 1),
            "Over the limit by Apr 2027 – Jan 2030, 50 % by Nov 2027.",
        ),
        (
            date(2026, 6, 1),
            date(2026, 8, 1),
            date(2026, 11, 1),
            "Passed the limit Jun 2026 – Nov 2026, 50 % by Aug 2026.",
        ),
    ],
)
def test_forecast_dates_are_said_by_month_only(p10: date | None, p50: date | None, p90: date | None, said: str) -> None:
    history = replace(orrindale.HISTORY, over_p10=p10, over_p50=p50, over_p90=p90)
    assert plain(sentences.over_by(history, orrindale.HORIZON, orrindale.TODAY)) == said


def test_the_rate_used_says_how_much_of_it_is_borrowed() -> None:
    assert plain(sentences.rate_note(orrindale.HISTORY, "mm")) == (
        "Rate used for the forecast: 0.030 mm lower per 1 000 running hours, from this line’s two intervals, 25 % of "
        "it borrowed from nine comparable lines. Unusual means outside the 95 % range this line was expected in."
    )


def test_what_the_forecast_counts_beside_the_rate_is_said() -> None:
    history = orrindale.HISTORY
    assert plain(sentences.habits_note(history, "mm")) == "Beside the rate it wanders by some 0.04 mm in a year."
    habits = Habits(42.0, 25.0, date(1970, 7, 19), 180.0, 40.4)
    assert plain(sentences.habits_note(replace(history, habits=habits), "mm")) == (
        "Beside the rate it wanders by some 0.04 mm in a year, swings with the seasons by 0.03 mm to either side, "
        "highest about Jul and may jump: stations like it do by some 0.18 mm, once in 40 years."
    )
    sideways = replace(history, axis="h", habits=replace(habits, jump_um=None, jump_every_years=None))
    assert plain(sentences.habits_note(sideways, "thou")) == (
        "Beside the rate it wanders by some 1.7 thou in a year and swings with the seasons by 1.0 thou to either side, "
        "farthest right about Jul."
    )


def test_the_recommended_cold_target_is_said_with_how_it_should_then_run() -> None:
    assert plain(sentences.cold_offsets_lead(orrindale.COLD, "mm")) == (
        "Cold target for station B: 0.26 mm low ± 0.02. It should then run on the axis, within 0.04 mm high or low of "
        "that (95 %). From five running checks, Mar 2022 – Jun 2025."
    )


def test_a_horizontal_offset_carries_the_plants_word_for_the_right_hand_side() -> None:
    view = replace(orrindale.COLD, axis="h", recommended_target_um=40.0)
    assert plain(sentences.cold_offsets_lead(view, "mm")).startswith(
        "Cold target for station B: 0.04 mm right (operator side) ± 0.02."
    )


def test_a_visit_that_moved_nothing_says_so_and_a_correction_says_what_it_corrects() -> None:
    only, moved, _ = orrindale.LINE.sessions
    assert sentences.session_what(only) == "as-found; nothing moved"
    assert sentences.session_what(moved) == "as-found, as-left"
    corrected = replace(only, signed_at=None, corrects="S-05", correction_reason="inverted reading")
    assert sentences.session_signed(corrected) == "not signed; corrects S-05: inverted reading"


@pytest.mark.parametrize(
    ("starts", "ends", "said"),
    [
        (date(2026, 12, 19), date(2026, 12, 30), "19–30 Dec"),
        (date(2027, 7, 24), date(2027, 8, 8), "24 Jul – 8 Aug"),
        (date(2027, 5, 1), date(2027, 5, 1), "1 May"),
    ],
)
def test_a_stretch_of_days_says_the_shared_month_once(starts: date, ends: date, said: str) -> None:
    assert numbers.span(starts, ends).replace("\u00a0", " ") == said


def test_distances_are_in_inches_for_readers_of_thou() -> None:
    # 1 500 mm / 25.4 mm per inch = 59.055 in, the international inch
    assert numbers.distance(1500.0, "thou") == "59.06\u00a0in"
    assert numbers.distance(1500.0, "mm") == "1\u00a0500\u00a0mm"
