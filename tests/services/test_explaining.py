"""Why a line has its status, in a sentence: every status, direction and kind of evidence, and what a whole mill says.

The sentences are asserted whole; figures follow from the case beside them by hand (1 thou = 25.4 um exactly).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from record_sources import NOW, all_rows
from thin_records import one, thin, visit

from fleet.services.explaining import Evidence, from_text, in_short, sentence, to_text
from fleet.services.fleet_page import whole_fleet
from fleet.services.line_page import line_view
from fleet.store.engine import Store
from fleet.values import STATUSES
from fleet.words import NBSP

DUE = Evidence(
    status="due", missing=None, axis="v", rate_um_per_year=-41.0, u95_rate_um_per_year=9.0, rate_um_per_1000_h=None,
    intervals=6, beside=True, comparable_lines=11, to_limit_um=62.0, past_watch=False, over_p10=date(2027, 3, 9),
    over_p50=date(2027, 5, 20), over_p90=date(2027, 8, 2), as_of=date(2026, 11, 25), horizon=date(2031, 11, 25),
    similar_lines=9, similar_same_way=3,
)  # fmt: skip


def said(evidence: Evidence, unit: str = "mm") -> str:
    return sentence(evidence, "thou" if unit == "thou" else "mm").replace(NBSP, " ")


def test_a_line_that_is_due_says_how_it_drifts_how_far_it_has_to_go_and_by_when() -> None:
    # 41 - 9 = 32 and 41 + 9 = 50 um a year.
    assert said(DUE) == (
        "the bore goes 0.04 mm a year lower against the gearbox axis (0.03 to 0.05; 6 intervals); 0.06 mm to the limit "
        "on that side; likely over between Mar and Aug 2027; 3 of 9 similar lines go the same way"
    )


def test_readers_of_thou_get_the_same_evidence_in_thou() -> None:
    # 41 / 25.4 = 1.61, 32 / 25.4 = 1.26, 50 / 25.4 = 1.97, 62 / 25.4 = 2.44.
    assert said(DUE, "thou") == (
        "the bore goes 1.6 thou a year lower against the gearbox axis (1.3 to 2.0; 6 intervals); 2.4 thou to the limit "
        "on that side; likely over between Mar and Aug 2027; 3 of 9 similar lines go the same way"
    )


def test_a_line_that_is_over_says_how_far_past_and_since_when() -> None:
    over = replace(
        DUE, status="over", axis="h", rate_um_per_year=80.0, u95_rate_um_per_year=30.0, intervals=1, to_limit_um=-25.0,
        over_p10=date(2025, 11, 2), over_p50=date(2026, 2, 1), over_p90=date(2026, 5, 9), similar_lines=4,
        similar_same_way=4,
    )  # fmt: skip
    assert said(over) == (
        "the bore goes 0.08 mm a year to the right against the gearbox axis (0.05 to 0.11; 1 interval); 0.03 mm past "
        "the limit; likely passed the limit between Nov 2025 and May 2026; all 4 similar lines go the same way"
    )


def test_a_line_watched_for_what_was_measured_says_so() -> None:
    watch = replace(DUE, status="watch", axis="h", past_watch=True, over_p90=None, similar_same_way=1)
    assert said(watch) == (
        "the bore goes 0.04 mm a year to the left against the gearbox axis (0.03 to 0.05; 6 intervals); measured past "
        "the watch width; 0.06 mm to the limit on that side; 10 % chance of being over by Mar 2027, 50 % by May 2027; "
        "1 of 9 similar lines goes the same way"
    )


def test_a_line_that_is_within_says_that_no_date_is_near() -> None:
    within = replace(
        DUE, status="within", rate_um_per_year=12.0, u95_rate_um_per_year=8.0, over_p10=None, over_p50=None,
        over_p90=None, similar_same_way=0,
    )  # fmt: skip
    assert said(within) == (
        "the bore goes 0.01 mm a year higher against the gearbox axis (0.00 to 0.02; 6 intervals); 0.06 mm to the "
        "limit on that side; not likely over before Nov 2031; none of 9 similar lines goes the same way"
    )


def test_a_line_without_a_limit_says_that_and_how_it_drifts_all_the_same() -> None:
    none = replace(
        DUE, status="no record", missing="no limit to judge by", to_limit_um=None, over_p10=None, over_p50=None,
        over_p90=None, similar_lines=0, similar_same_way=0,
    )  # fmt: skip
    assert said(none) == (
        "no limit to judge by; the bore goes 0.04 mm a year lower against the gearbox axis (0.03 to 0.05; 6 intervals)"
    )


def test_a_rate_within_its_uncertainty_is_not_called_a_direction() -> None:
    unsure = replace(DUE, rate_um_per_year=-10.0, u95_rate_um_per_year=40.0, over_p50=None, over_p90=None)
    assert said(unsure) == (
        "the record does not show which way the bore goes: anything from 0.05 mm a year lower to 0.03 mm a year higher "
        "(6 intervals); 0.06 mm to the nearer limit; 10 % chance of being over by Mar 2027, 50 % not before Nov 2031"
    )


def test_a_rate_too_small_to_be_shown_is_said_to_be_small_and_never_zero() -> None:
    small = replace(DUE, rate_um_per_year=-3.0, u95_rate_um_per_year=1.0)
    assert said(small).startswith(
        "the bore goes less than 0.01 mm a year lower against the gearbox axis (6 intervals); "
    )
    assert said(replace(small, rate_um_per_year=-0.5)).startswith(
        "the bore moves less than 0.01 mm a year either way (6 intervals); "
    )


@pytest.mark.parametrize(
    ("beside", "lines", "going_by"),
    [
        (False, 11, "going by 11 comparable lines, "),
        (False, 1, "going by 1 comparable line, "),
        (True, 0, "going by the other stations, "),
        (True, 11, "going by the other stations and 11 comparable lines, "),
    ],
)
def test_a_rate_wholly_borrowed_says_from_whom(beside: bool, lines: int, going_by: str) -> None:
    lent = replace(
        DUE, intervals=0, beside=beside, comparable_lines=lines, rate_um_per_year=-22.0, u95_rate_um_per_year=18.0
    )
    start = f"no interval of its own yet; {going_by}"
    assert said(lent).startswith(f"{start}the bore goes 0.02 mm a year lower against the gearbox axis (0.00 to 0.04); ")
    # It leans on them: that they go the same way is no further evidence.
    assert "similar" not in said(lent)
    assert said(replace(lent, u95_rate_um_per_year=60.0)).startswith(
        f"{start}the bore may go anything from 0.08 mm a year lower to 0.04 mm a year higher; "
    )


def test_a_first_visit_with_nobody_to_go_by_says_that_nothing_is_known_of_the_rate() -> None:
    alone = replace(
        DUE, intervals=0, beside=False, comparable_lines=0, rate_um_per_year=0.0, u95_rate_um_per_year=140.0
    )
    assert said(alone) == (
        "no interval of its own yet, and no other to go by: how fast it moves is not known; 0.06 mm to the nearer "
        "limit; likely over between Mar and Aug 2027"
    )


def test_a_line_that_ran_no_hours_is_not_said_to_drift() -> None:
    still = replace(DUE, rate_um_per_year=0.0, u95_rate_um_per_year=0.0, rate_um_per_1000_h=-5.1, over_p10=None)
    assert said(still).startswith(
        "the line ran no hours lately, so it does not drift; running, 0.005 mm lower in 1 000 h; "
        "0.06 mm to the nearer limit; "
    )


def test_dates_are_named_by_month_once_where_they_are_one() -> None:
    assert "likely over in Mar 2027" in said(replace(DUE, over_p90=date(2027, 3, 30)))
    assert "between Dec 2026 and Mar 2027" in said(
        replace(DUE, over_p10=date(2026, 12, 30), over_p90=date(2027, 3, 30))
    )
    # Until the last of the three days is past it may still not be over.
    assert "likely over between Mar and Aug 2027" in said(replace(DUE, as_of=date(2027, 7, 1)))


def test_the_only_similar_line_is_not_counted_in_the_plural() -> None:
    assert said(replace(DUE, similar_lines=1, similar_same_way=1)).endswith("the only similar line goes the same way")
    assert said(replace(DUE, similar_lines=1, similar_same_way=0)).endswith(
        "the only similar line does not go the same way"
    )


def test_the_short_form_leaves_out_what_is_drawn_beside_it() -> None:
    assert in_short(DUE, "mm").replace(NBSP, " ") == (
        "goes 0.04 mm a year lower (0.03 to 0.05; 6 intervals), as do 3 of 9 similar lines"
    )
    others = {(9, 9): "as do all 9 similar lines", (9, 1): "as does 1 of 9 similar lines"}
    others |= {(9, 0): "as does none of 9 similar lines", (1, 1): "as does the only similar line"}
    others |= {(1, 0): "unlike the only similar line"}
    for (lines, same), end in others.items():
        assert in_short(replace(DUE, similar_lines=lines, similar_same_way=same), "mm").endswith(f"), {end}")


def test_no_sentence_says_that_a_barrel_sinks_or_what_is_left_of_it() -> None:
    # On screens `left` is only ever the direction.
    for axis in ("v", "h"):
        for rate in (-41.0, 41.0, 2.0):
            text = said(replace(DUE, axis=axis, rate_um_per_year=rate))
            assert "sink" not in text
            assert ("left" in text) == (axis == "h" and rate < 10.0)


def test_evidence_is_kept_and_read_back_the_same() -> None:
    for evidence in (DUE, replace(DUE, over_p90=None, rate_um_per_1000_h=-5.0, missing="no limit to judge by")):
        assert from_text(to_text(evidence)) == evidence


def _like(line: str, *offsets: float) -> dict[str, str]:
    """Return a line of the same plant, found at these offsets on one 1 July after another; S1 at half its length."""
    years = [visit(f"{2026 - len(offsets) + k}-07-01T08:00", ("as_found", one(v))) for k, v in enumerate(offsets)]
    return thin(*years, line=line)


def test_similar_lines_are_counted_by_their_own_records(store_of: Callable[..., Store]) -> None:
    down = (0.0, -40.0, -80.0, -120.0)
    store = store_of(
        _like("T1", *down), _like("T2", *down), _like("T3", 0.0, 40.0, 80.0, 120.0), _like("T4", 0.0, 1.0, 0.0),
        _like("T5", -10.0),
    )  # fmt: skip
    evidence = line_view(store, "T1", station="S1", now=NOW).evidence
    assert evidence is not None
    # Two others have gone by 40 um a year, one of them the same way; T4 has hardly moved, T5 has no interval.
    assert (evidence.similar_lines, evidence.similar_same_way, evidence.intervals) == (3, 1, 3)
    fresh = line_view(store, "T5", station="S1", now=NOW).evidence
    assert fresh is not None
    assert (fresh.intervals, fresh.beside, fresh.comparable_lines, fresh.similar_lines) == (0, False, 4, 4)


def test_lines_on_another_foundation_or_of_another_third_are_not_similar(store_of: Callable[..., Store]) -> None:
    down = (0.0, -40.0, -80.0, -120.0)
    others = [_like(line, *down) for line in ("T2", "T3", "T4")]
    others[0]["lines"] = "line,foundation\nT2,slab\n"
    others[1]["lines"] = "line,foundation\nT3,frame\n"
    others[2]["stations"] = "line,station,distance_mm\nT4,S1,300\nT4,S2,2000\n"
    first = _like("T1", *down) | {"lines": "line,foundation\nT1,slab\n"}
    store = store_of(first, *others)
    seen = {line: line_view(store, line, now=NOW).evidence for line in ("T1", "T2", "T3", "T4")}
    # T1 and T2 stand on a slab; T4 stands on nobody knows what, and is measured by the gearbox.
    assert {line: e.similar_lines for line, e in seen.items() if e} == {"T1": 1, "T2": 1, "T3": 0, "T4": 0}


def test_the_way_to_the_limit_is_that_in_the_direction_of_drift(store_of: Callable[..., Store]) -> None:
    # Found 60 um high, coming down by 10 um a year: the whole lower half of the band and what it is high by.
    years = [visit(f"{2020 + k}-07-01T08:00", ("as_found", one(110 - 10 * k))) for k in range(6)]
    store = store_of(thin(*years, u_um=1, tolerances="line,axis,limit_um\nT1,v,120\n"))
    view = line_view(store, "T1", station="S1", axis="v", now=NOW)
    row = next(place for place in view.stations if place.station == "S1")
    (status,) = [r for r in whole_fleet(store, now=NOW).rows if r.line == "T1"]
    assert status.evidence is not None
    assert row.deviation_um[0] is not None
    assert (status.axis, status.evidence.way) == ("v", -1)
    assert status.evidence.to_limit_um == pytest.approx(120.0 + row.deviation_um[0])
    assert 20.0 < row.deviation_um[0] < 60.0


def test_every_line_of_three_mills_tells_its_evidence_on_page_and_table(mills: Store) -> None:
    view = whole_fleet(mills, now=NOW)
    lines = {row["line"] for row in all_rows("lines")}
    assert {row.line for row in view.rows} == lines
    judged = [row for row in view.rows if row.status != "no record"]
    assert {row.status for row in judged} >= {"due", "watch", "within"}
    for row in view.rows:
        assert row.why
        assert row.status in STATUSES
        if row.evidence is None:
            assert row.why in ("no survey yet", "no cold survey to stand on")
            continue
        assert row.why == sentence(row.evidence, "mm")
        assert (row.evidence.status, row.evidence.axis) == (row.status, row.axis)
        assert (row.evidence.over_p10, row.evidence.over_p90) == (row.over_p10, row.over_p90)
        assert 0 <= row.evidence.similar_same_way <= row.evidence.similar_lines < len(lines)
    for row in judged:
        assert row.evidence is not None
        assert row.evidence.to_limit_um is not None
        assert row.limit_um is not None
        # Past its limit by what it is expected to be off, or within it by no more than the whole band.
        assert -abs(row.deviation_um or 0.0) <= row.evidence.to_limit_um <= 2.0 * row.limit_um
        assert (row.evidence.to_limit_um < 0.0) == (abs(row.deviation_um or 0.0) > row.limit_um)
    assert json.loads(to_text(judged[0].evidence or DUE))["status"] == judged[0].status


def test_the_line_page_tells_the_same_evidence_as_the_fleet(mill_c: Store) -> None:
    rows = {row.line: row.evidence for row in whole_fleet(mill_c, now=NOW).rows}
    told = {line: line_view(mill_c, line, now=NOW).evidence for line in ("C01", "C04", "C05")}
    assert all(told[line] == rows[line] for line in told)
    assert all(told.values())
