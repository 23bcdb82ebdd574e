"""A visit's record in words: figures by hand, readings as typed, every kind of number with its own direction words."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from session_story import DIGEST, FIRST, FOUND, I_04, LATER

from fleet.reports import session_tables
from fleet.reports import session_words as say
from fleet.reports.session_content import InstrumentOnDay
from fleet.reports.session_text import render_text
from fleet.words import ReaderUnit


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("roll_deg", "position"),
    # Rolls count counter-clockwise looking from the gearbox (terms of this project), the clock runs the other way.
    [(0, "12 o’clock"), (90, "9 o’clock"), (180, "6 o’clock"), (270, "3 o’clock"), (-90, "3 o’clock"), (45, "10:30"),
     (360, "12 o’clock"), (15, "11:30")],
)  # fmt: skip
def test_a_roll_carries_its_position_on_the_clock(roll_deg: float, position: str) -> None:
    assert plain(say.clock_position(roll_deg)) == position


@pytest.mark.parametrize(
    ("zone", "month", "said"),
    # Offsets of standard and summer time: IANA time zone database.
    [("Asia/Tokyo", 7, "UTC+9"), ("America/Los_Angeles", 1, "UTC−8"), ("America/Los_Angeles", 7, "UTC−7"),
     ("Asia/Kolkata", 1, "UTC+5:30"), ("America/St_Johns", 1, "UTC−3:30"), ("Europe/London", 1, "UTC")],
)  # fmt: skip
def test_the_distance_from_utc_is_said_with_its_sign(zone: str, month: int, said: str) -> None:
    assert say.offset_from_utc(datetime(2026, month, 10, 8, tzinfo=ZoneInfo(zone))) == said


def test_the_outcome_names_the_farthest_place_before_and_after_and_the_limit_of_the_day() -> None:
    # As-found B: -387 + 200 = 187 um below; as-left A: -230 + 200 = 30 um below, farther than B's 3 um and 21 um right.
    text = plain("".join(text for text, _ in say.outcome(LATER, "mm")))
    assert text == (
        "As-found, farthest from target at station B: 0.187 mm below target. "
        "As-left, farthest from target at station A: 0.030 mm below target. "
        "The limit of that day was 0.250 mm from the target."
    )


def test_without_a_target_nothing_is_judged_and_without_a_survey_it_is_a_withdrawal() -> None:
    bare = replace(FOUND, offsets=tuple(replace(o, target_um=(None, None)) for o in FOUND.offsets))
    assert say.outcome(replace(LATER, surveys=(bare,)), "mm")[0][0].startswith("No cold target had been set by then")
    assert "withdraws the visit" in say.outcome(replace(LATER, surveys=()), "mm")[0][0]


def test_readings_stand_to_the_letter_as_they_were_typed_in_their_order() -> None:
    table = session_tables.readings(LATER, FOUND)
    assert table is not None
    assert table.columns == ("No.", "Station", "Beam state", "Beam roll", "v, mm", "h, mm", "Time")
    assert [tuple(plain(cell) for cell in row) for row in table.rows] == [
        ("1", "A", "1", "0° (12 o’clock)", "0.10", "-0.213", "08:30"),
        ("2", "A", "1", "180° (6 o’clock)", "-.5", "+0.19", "08:32"),
        ("3", "B", "2", "90° (9 o’clock)", "1e-1", "0", "–"),
    ]
    assert "I-04: v + is high, h + is left." in table.note
    assert "Target at 0° (12 o’clock) throughout." in plain(table.note)


def test_readings_in_two_units_name_the_unit_of_each() -> None:
    mixed = replace(FOUND, readings=(FOUND.readings[0], replace(FOUND.readings[1], unit="thou")))
    table = session_tables.readings(LATER, mixed)
    assert table is not None
    assert table.columns == ("No.", "Station", "Beam roll", "v", "h", "Unit", "Time")
    assert [row[5] for row in table.rows] == ["mm", "thou"]


@pytest.mark.parametrize(
    ("unit", "row"),
    [
        ("mm", ("B", "3 150 mm", "0.387 low ± 0.021", "0.203 low ± 0.021", "0.200 low", "0.187 below", "0.003 below",
                "0.250")),
        # 387 / 25.4 = 15.236, 203 / 25.4 = 7.992, 21 / 25.4 = 0.827, 187 / 25.4 = 7.362, 250 / 25.4 = 9.843
        ("thou", ("B", "124.02 in", "15.24 low ± 0.83", "7.99 low ± 0.83", "7.87 low", "7.36 below", "0.12 below",
                  "9.84")),
    ],
)  # fmt: skip
def test_results_stand_beside_target_and_limit_in_the_readers_unit(unit: ReaderUnit, row: tuple[str, ...]) -> None:
    table = session_tables.results(LATER, "v", unit)
    assert table is not None
    assert tuple(plain(cell) for cell in table.rows[1]) == row
    assert table.columns[2:4] == ("As-found", "As-left")


def test_on_a_phone_the_same_figures_stand_in_three_columns() -> None:
    table = session_tables.results_in_brief(LATER, "v", "mm")
    assert table is not None
    assert table.columns == ("Station", "As-found", "As-left")
    assert tuple(plain(cell) for cell in table.rows[1]) == (
        "B\n3 150 mm\ntarget 0.200 low\nlimit 0.250",
        "0.387 low ± 0.021\n0.187 below target",
        "0.203 low ± 0.021\n0.003 below target",
    )


def test_moves_are_said_as_movements_and_as_typed() -> None:
    table = session_tables.moves(LATER, "mm")
    assert table is not None
    # -2 thou = -50.8 um, 1 thou = 25.4 um exactly.
    assert [tuple(plain(cell) for cell in row) for row in table.rows] == [
        ("support B", "survey 1", "0.190 mm higher", "–", "v 0.19 mm", "up 0.400", "screw"),
        ("gearbox feet", "survey 1", "0.051 mm lower", "0.025 mm to the right (operator side)", "v -2 thou, h 1 thou",
         "–", "–"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "calibrated 3 Mar 2026, holds until 3 Mar 2027, certificate C-77"),
        ({"covered": False}, "calibrated 3 Mar 2026, held only until 3 Mar 2027, certificate C-77"),
        ({"due_on": None, "certificate": None}, "calibrated 3 Mar 2026, no end given"),
        ({"calibrated_on": None, "covered": False}, "not yet calibrated on that day"),
        ({"calibrated_on": None, "covered": None}, "no calibration on record"),
    ],
)
def test_an_instrument_says_how_its_calibration_stood_that_day(changes: dict[str, object], said: str) -> None:
    instrument: InstrumentOnDay = replace(I_04, **changes)  # type: ignore[arg-type]
    assert plain(say.calibration(instrument)) == said


def test_conditions_hold_everything_recorded_and_nothing_else() -> None:
    facts = {name: plain(value) for name, value in say.conditions(LATER, FOUND, "thou")}
    assert facts == {
        "Taken": "08:30",
        # 23 C = 73.4 F, 22 C = 71.6 F, 21.5 C = 70.7 F, 24 C = 75.2 F
        "Barrel": "23 °C (73.4 °F)",
        "Gearbox": "22 °C (71.6 °F) (oil)",
        "Base": "21.5 °C (70.7 °F)",
        "At the supports": "A barrel 24 °C (75.2 °F), base 22 °C (71.6 °F)",
        "Heats off for": "38 h",
        # 40 um/m * 0.3048 m/ft / 25.4 um/thou = 0.48 thou/ft
        "Gearbox level": "0.48 thou/ft downward toward the discharge end",
        "Axis found with": "the gearbox shaft turned",
        "Bolts": "torqued",
        "Screw": "out",
        "Die": "off",
    }


def test_the_reduction_says_scheme_beam_closure_and_scatter() -> None:
    said = [plain(sentence) for sentence in say.how_reduced(FOUND, "mm")]
    assert said == [
        "Read in reversal pairs.",
        "The beam lay 0.015 mm high and 0.040 mm left of the gearbox axis at the flange and ran 0.100 mm/m downward "
        "and 0.051 mm/m to the right from there.",
        "Read again at the end, the first station came back within 0.006 mm vertical and 0.002 mm horizontal.",
        # The scale is a ratio of variances: its root is 0.9.
        "The readings scattered 0.9 times as far as the instrument states.",
        "No reversal at B: the beam's own error there is known from the other stations only.",
    ]


def test_a_replaced_record_says_by_what_when_and_why_and_a_correction_what_it_replaces() -> None:
    assert plain(say.what_replaced(FIRST)) == (
        "S-08 replaced this record on 22 Dec 2026: inverted reading at B. "
        "All figures use the newer record; both are kept."
    )
    assert say.what_corrected(LATER) == "This record replaces S-07: inverted reading at B. Both are kept."
    assert (say.what_replaced(LATER), say.what_corrected(FIRST)) == ("", "")


def test_the_chain_holds_both_records_and_says_which_counts() -> None:
    table = session_tables.chain(FIRST)
    assert table is not None
    assert [(row[0], row[3], row[4]) for row in table.rows] == [
        ("S-07 (this one)", "the first record", "replaced, kept"),
        ("S-08", "inverted reading at B", "counts"),
    ]


def test_the_proof_names_signer_source_and_digest_and_unverified_stays_written() -> None:
    facts = {name: plain(value) for name, value in say.proof(LATER)}
    assert facts["Signed"] == "K. Dremmond, on import, 22 Dec 2026, 08:10"
    assert facts["Came in with"] == "orrindale.xlsx, taken in 22 Dec 2026, 08:10 by K. Dremmond"
    assert facts["Digest of that source (SHA-256)"] == DIGEST
    # As `sha256sum` gives it of "ORR-07, 20 Dec 2026: as-left within 0.05 mm".
    digest = "a883e5f3f17831ba9ab4d8e55e053fc9bc40cbe50fea5cfb4d7e9a55a5cab7f3"
    assert facts["What the signer saw"] == f"kept with the record as stored then, SHA-256 {digest}"
    assert say.signer("M. Adeyrin (not verified)") == "M. Adeyrin (not verified)"


def test_a_clock_change_during_a_visit_is_told_beside_the_time() -> None:
    # Clocks in London went back at 01:00 UTC on 25 Oct 2026, the last Sunday of October (2000/84/EC, kept since).
    zone = ZoneInfo("Europe/London")
    began = datetime(2026, 10, 25, 0, 40, tzinfo=UTC).astimezone(zone)
    later = datetime(2026, 10, 25, 1, 10, tzinfo=UTC).astimezone(zone)
    record = replace(LATER, started_at=began)
    assert (say.clock(began, record), say.clock(later, record)) == ("01:40", "01:10 (UTC)")


def test_the_terminal_gets_every_part_of_the_record() -> None:
    text = plain(render_text(LATER, "mm"))
    parts = ("Visit S-08 of ORR-07", "soft foot  0.120 mm", "another line", "own checks", "Sign turned?", "read twice",
             "WO-58213", "41 870 h", "rod bent, straightened", "year-end stop",
             "full stop (ORR-2026-12)", "Times are those of Europe/London", "data as of 23 Dec 2026, 08:10",
             "no permission to work", DIGEST)  # fmt: skip
    assert [part for part in parts if part not in text] == []
