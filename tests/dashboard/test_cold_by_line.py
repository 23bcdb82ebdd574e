"""Cold offsets of one line: the verdict first, every target with its doubt and reason, what was set before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cold_story
import orrindale
import pytest
from dash import dcc, html
from trees import walk, with_class, words_of

from dashboard.address import Address
from dashboard.components import cold_sentences
from dashboard.components.rich import plain
from dashboard.figures.rise import rise_figure
from dashboard.pages.cold_offsets import cold_offsets_page
from fleet.services.cold_offsets_page import ColdOffsetsView, RunningRow
from fleet.words import ReaderUnit

VIEW = replace(orrindale.COLD, advice=cold_story.ADVICE)


def page(view: ColdOffsetsView = VIEW, unit: ReaderUnit = "mm") -> list[Any]:
    address = Address(page="cold-offsets", code="ORR-07", unit=unit)
    return cold_offsets_page(view, address, ("ORR-07",), orrindale.SHEET, cold_story.rises("ORR-07")).body


def section(body: list[Any], title: str) -> html.Section:
    (found,) = [node for node in walk(body) if isinstance(node, html.Section) and words_of(node).startswith(title)]
    return found


def test_the_lead_gives_verdict_target_expected_running_evidence_and_what_the_job_sheet_sets() -> None:
    assert plain(cold_sentences.by_line_lead(VIEW, "mm", orrindale.SHEET)) == (
        "Over 5 runs this line's own running checks would have put line ORR-07 closest to zero. Cold target for "
        "station B: 0.26 mm low ± 0.02. It should then run on the axis, within 0.04 mm high or low of that (95 %). "
        "From five running checks, Jun 2022 – Jun 2026. Station A is the same. The job sheet sets B to 0.20 mm low: "
        "0.06 mm higher, against the drift."
    )


def test_a_job_sheet_that_keeps_another_target_is_said_to() -> None:
    view = replace(VIEW, recommended_target_um=-240.0)
    said = plain(cold_sentences.by_line_lead(view, "mm", orrindale.SHEET))
    assert "The job sheet keeps the newest target on record, 0.26 mm low, until three checks judge a way here." in said
    assert "Station A 0.26 mm low." in said


def test_every_station_has_target_range_reason_and_the_job_sheets_figure() -> None:
    table = with_class(section(page(), "What to set next, station by station"), "tg")
    rows = [words_of(row) for row in walk(table) if isinstance(row, html.Tr)][1:]
    assert rows[2] == (
        "B3 150 mm0.26 low ± 0.020.04 low to 0.04 highThis line’s own checksclosest over 5 checks"
        "0.20 low 0.06 higher against drift"
    )
    assert rows[3].startswith("C3 700 mm–not known–nothing to choose by yet")
    assert "Comparable linesthe way to start with; no check so far" in rows[0]
    assert len(rows) == 4  # the horizontal one stands on the horizontal page


def test_what_would_make_it_surer_stands_above_the_cautions_of_a_running_check() -> None:
    found = section(page(), "What would make it surer")
    said = words_of(found)
    assert "One more running check, 12 h or more after heats on, at all stations (A, B). Would narrow" in said
    assert "now, station B0.048 mm high or low (95 %)with one more check0.041 mm" in said
    for form in ("full", "tap"):
        cautions = words_of(with_class(found, form))
        assert "guards stay on" in cautions
        assert "never reach over the barrel or the coupling" in cautions
        assert cautions.endswith(
            "This page is no permission to work. Local codes, the machine builder’s instructions and licensed "
            "practice come first."
        )


def test_past_as_lefts_stand_beside_their_own_target_and_the_one_of_that_days_record() -> None:
    found = section(page(), "What was set at B")
    assert "Two of 3 as-lefts met their own target within 0.05 mm." in words_of(found)
    assert "would have run closer to the axis on two of 3." in words_of(found)
    rows = [words_of(row) for row in walk(with_class(found, "lw")) if isinstance(row, html.Tr)][1:]
    assert rows[0] == (
        "9 May 2025S-2025, M. Adeyrin0.26 lowas chosen before0.21 low ± 0.02met: within 0.05 mm0.05 high"
        "0.24 low ± 0.05its own checks, 3 checks known0.02 high"
    )
    assert "0.12 low ± 0.02missed: 0.08 mm above target" in rows[1]
    assert "–no target on record0.19 low ± 0.02no target to meetnot measured" in rows[2]
    assert "rule of thumb" in rows[3]


@pytest.mark.parametrize(
    ("met", "sentence"),
    [(True, "The one as-left met its own target within 0.05 mm."), (False, "The one as-left missed its own target")],
)
def test_one_as_left_is_said_in_the_singular(met: bool, sentence: str) -> None:
    row = replace(cold_story.ADVICE.left[0], met=met, ran_um=None)
    assert cold_sentences.left_sentence([row], "mm").replace("\u00a0", " ").startswith(sentence)


def test_the_same_stands_there_for_the_lines_of_its_size_and_for_the_fleet() -> None:
    body = page()
    titles = [words_of(node) for node in walk(body) if isinstance(node, html.H3)]
    assert "Lines of about 120 mm bore: 3 lines, 14 checks" in titles
    assert "The fleet: 9 lines, 31 checks" in titles
    links = [node.href for node in walk(body) if isinstance(node, dcc.Link)]
    assert "/cold-offsets?line=ORR-07&axis=v" in links


def test_a_line_without_a_check_says_so_and_the_one_next_step_under_cautions() -> None:
    bare = replace(VIEW, checks=(), as_left=None, ways=(), advice=replace(cold_story.ADVICE, surer=None, left=()))
    said = words_of(page(bare))
    assert "No running check on this line yet." in said
    assert "No running check yetMeasure the rise" in said
    assert "guards stay on" in said


def test_one_check_is_told_by_its_month_alone() -> None:
    one = replace(VIEW, checks=VIEW.checks[:1])
    assert cold_sentences.checks_behind(one).replace("\u00a0", " ") == " From one running check, Jun 2022."


def test_older_checks_are_folded_and_none_is_lost() -> None:
    check = VIEW.checks[0]
    days = [check.checked_at.replace(year=2010 + n) for n in range(9)]
    many = tuple(RunningRow(day, "running", 250.0, 30.0, 10.0, 200.0) for day in days)
    body = page(replace(VIEW, checks=many))
    assert "Three earlier checks" in words_of(body)
    rows = [row for row in walk(with_class(body, "ckt")) if isinstance(row, html.Tr)]
    assert len(rows) == 9 + 2  # and a header over each part


def test_the_rise_is_drawn_at_every_measured_station_from_nothing_at_the_flange() -> None:
    figure = rise_figure(VIEW, "mm", cold_story.rises("ORR-07"))
    assert figure is not None
    by_name = {trace.get("name"): trace for trace in figure["data"]}
    assert len(by_name["measured at one check"]["x"]) == 10
    mean = by_name["mean measured"]
    # Level between the supports, so level past the last: 3 150 mm and a fifth more.
    assert mean["x"] == [0.0, 1500.0, 3150.0, 3780.0]
    assert mean["y"] == [0.0, 0.26, 0.26, 0.26]
    table = words_of(with_class(page(), "rt2"))
    assert "Measured mean of up to 5 checks0.26 ± 0.020.26 ± 0.02" in table


def test_in_thou_no_length_is_left_in_mm() -> None:
    said = words_of(section(page(unit="thou"), "What would make it surer"))
    # 48 / 25.4 = 1.89, 41 / 25.4 = 1.61 (1 thou = 25.4 um)
    assert "1.89 thou" in said
    assert "1.61 thou" in said
    assert " mm" not in said


def test_the_table_of_this_line_is_to_be_had_as_csv() -> None:
    hrefs = [node.href for node in walk(page()) if isinstance(node, html.A)]
    here = "/cold-offsets/ORR-07%3Fstation%3DB%26axis%3Dv"
    assert f"/download/cold-offsets.csv?view={here}" in hrefs
    assert f"/download/running-checks.xlsx?view={here}" in hrefs


def test_no_as_left_on_its_target_is_said_as_none() -> None:
    rows = [replace(row, met=False, would_have_run_um=500.0) for row in cold_story.ADVICE.left[:2]]
    said = cold_sentences.left_sentence(rows, "mm").replace("\u00a0", " ")
    assert said.startswith("None of 2 as-lefts met their own target within 0.05 mm.")
    assert said.endswith("closer to the axis on none of 2.")
