"""What became of a plan in sentences: each expected sentence is written by hand from figures made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from fleet.reports import became_words as said
from fleet.reports.became_content import (
    Became,
    BecameLine,
    BecameStop,
    Deed,
    Found,
    Looked,
    ScoreBand,
    ScoreContent,
)
from fleet.words import NBSP

PACIFIC = ZoneInfo("America/Los_Angeles")
OVER = Found("S-1", date(2026, 6, 12), "B", "v", -150.0, 100.0, over=True)
WITHIN = Found("S-2", date(2026, 6, 12), "A", "h", 40.0, 100.0, over=False, side="operator side")


def line(deed: Deed | None, *, done: str | None = None, **more: float | None) -> BecameLine:
    visited = deed in ("as_planned", "other_outage", "extra")
    planned = "JUN" if deed in ("as_planned", "other_outage", "missed", None) else None
    return BecameLine(
        line="W1", site="WE", deed=deed, planned=planned, session="S-1" if visited else None,
        on=date(2026, 6, 12) if visited else None, done=done, hours_planned=more.get("planned"),
        hours_done=more.get("written"), stated=None, found=None,
    )  # fmt: skip


def score(looks: int, *, expected: float, found: int, surprise: float, not_judged: int = 0) -> ScoreContent:
    each = tuple(Looked("P", f"W{k}", "WE", "JUN", expected / looks, OVER) for k in range(looks))
    return ScoreContent(
        plans=("P",), expected=expected, found=found, surprise=surprise if looks else None,
        brier=0.1 if looks else None, brier_of_rate=0.21 if looks else None, bands=(), lines=each,
        not_judged=not_judged,
    )  # fmt: skip


STOP = BecameStop(
    code="JUN", kind="stop", starts_at=datetime(2026, 6, 10, 6, tzinfo=PACIFIC),
    ends_at=datetime(2026, 6, 14, 18, tzinfo=PACIFIC), whole_days=False, cancelled=False, planned=4, made=2, missed=2,
    extra=1, hours_planned=40.0, hours_done=12.5, hours_written=1,
)  # fmt: skip


def plan(*lines: BecameLine, judged: ScoreContent | None = None, stops: tuple[BecameStop, ...] = (STOP,)) -> Became:
    nothing = score(0, expected=0.0, found=0, surprise=1.0)
    return Became("P", "signed_off", date(2026, 5, 1), stops, 1, lines, judged or nothing)


def plain(text: str) -> str:
    return text.replace(NBSP, " ")


def test_the_answer_says_planned_made_missed_expected_and_found() -> None:
    lines = (*[line("as_planned")] * 8, line("missed"))
    looked = plan(*lines, judged=score(9, expected=2.7, found=3, surprise=1.0))
    assert plain(said.lead(looked)) == (
        "Of nine visits planned into stops that are past, eight were made where planned and one was missed. "
        "2.7 lines were expected over of 9 looked at; three were. That is as good as chance allows: were they "
        "right, a number as far off or farther would come up in 100 of 100 such records. "
        "Numbers this small tell gross errors only."
    )


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ((line("as_planned"),), "The one visit planned into stops that are past was made where planned."),
        ((line("as_planned"),) * 3, "All three visits planned into stops that are past were made where planned."),
        (
            (line("as_planned"), line("other_outage"), line("other_outage"), line("missed"), line("missed")),
            "Of five visits planned into stops that are past, one was made where planned, two at another time and two "
            "were missed.",
        ),
        ((line("missed"),), "The one visit planned into stops that are past was missed."),
        ((line("missed"),) * 2, "Of two visits planned into stops that are past, none were made where planned and two "
         "were missed."),
        (
            (line("extra"), line(None), line("left_as_planned")),
            "No visit was planned into the stops that are past. One line was visited without having been planned.",
        ),
    ],
)  # fmt: skip
def test_visits_are_counted_in_words(lines: tuple[BecameLine, ...], expected: str) -> None:
    assert said.visits(plan(*lines)) == expected


def test_a_plan_whose_stops_are_ahead_says_so() -> None:
    assert said.lead(plan(stops=())) == "No stop of this plan is past yet, so there is nothing to look back on."


def test_more_or_fewer_than_chance_allows_says_which_way_they_were_stated() -> None:
    more = said.score_sentences(score(40, expected=5.0, found=14, surprise=0.0002))
    assert tuple(map(plain, more)) == (
        "5 lines were expected over of 40 looked at; 14 were.",
        "That is more than the stated chances allow: were they right, a number as far off or farther would come up in "
        "fewer than 1 of 100 such records. They were stated too low.",
    )
    fewer = said.score_sentences(score(40, expected=12.0, found=5, surprise=0.02, not_judged=2))
    assert tuple(map(plain, fewer)) == (
        "12 lines were expected over of 40 looked at; five were.",
        "That is fewer than the stated chances allow: were they right, a number as far off or farther would come up in "
        "2 of 100 such records. They were stated too high.",
        "Two looks could not be judged: no chance had been stated for that visit, or no limit held that day.",
    )


def test_small_numbers_are_said_to_be_small() -> None:
    small = "Numbers this small tell gross errors only."
    assert small in said.score_sentences(score(19, expected=6.0, found=6, surprise=1.0))
    assert small in said.score_sentences(score(40, expected=1.0, found=4, surprise=0.06))
    assert small not in said.score_sentences(score(40, expected=1.0, found=5, surprise=0.01))
    first = said.score_sentences(score(3, expected=0.01, found=0, surprise=1.0))[0]
    assert plain(first) == "Fewer than 0.1 lines were expected over of 3 looked at; none were."
    assert plain(said.score_sentences(score(0, expected=0.0, found=0, surprise=1.0, not_judged=1))[1]) == (
        "One look could not be judged: no chance had been stated for that visit, or no limit held that day."
    )


def test_a_line_that_was_looked_at_twice_counts_as_two_looks() -> None:
    once = score(2, expected=1.0, found=1, surprise=1.0)
    twice = replace(once, lines=(once.lines[0], once.lines[0]))
    assert plain(said.score_sentences(once)[0]) == "1 line was expected over of 2 looked at; one was."
    assert plain(said.score_sentences(twice)[0]) == "1 line was expected over in 2 looks at one line; one was."


def test_the_root_of_briers_score_stands_beside_that_of_one_share_for_all() -> None:
    # Brier (1950): the mean square is 0.1; stating the found share 3 of 10 for every line, 0.3 x 0.7 = 0.21. Their
    # roots are 0.316 and 0.458.
    assert plain(said.brier(score(10, expected=3.0, found=3, surprise=1.0))) == (
        "From what was found (100 % over, 0 % within) the stated chances were off by 32 %, root mean square; the found "
        "share stated for every line would have been off by 46 %: the stated chances told the lines apart."
    )
    assert said.brier(score(10, expected=3.0, found=0, surprise=0.06)).endswith("that is no yardstick.")
    assert said.brier(score(0, expected=0.0, found=0, surprise=1.0)) == ""


def test_a_stop_says_its_days_deeds_and_hours() -> None:
    assert plain(said.stop_dates(STOP)) == "10–14 Jun 2026"
    assert said.stop_deeds(STOP) == "four planned, two made, one unplanned"
    assert plain(said.stop_hours(STOP)) == "40 crew h planned, 12.5 crew h written down of one visit"


@pytest.mark.parametrize(
    ("row", "deed", "hours"),
    [
        (line("as_planned", done="JUN", planned=14.0, written=12.0), "made as planned",
         "14 crew h planned, 12 crew h written down"),
        (line("other_outage", done="AUG", planned=14.0), "made in AUG instead", "14 crew h planned, none written down"),
        (line("other_outage", planned=14.0), "made outside a stop instead", "14 crew h planned, none written down"),
        (line("missed", planned=14.0), "missed", "14 crew h planned"),
        (line("extra", done="AUG"), "not planned, made in AUG", "no crew hours written down"),
        (line("extra"), "not planned, made outside a stop", "no crew hours written down"),
        (line("left_as_planned"), "not planned, not visited", ""),
        (line(None, planned=8.0), "still to come", "8 crew h planned"),
    ],
)  # fmt: skip
def test_a_line_says_what_became_of_it(row: BecameLine, deed: str, hours: str) -> None:
    assert said.deed(row) == deed
    assert plain(said.hours(row)) == hours


def test_what_was_found_has_direction_place_limit_and_unit() -> None:
    assert plain(said.found(OVER, "mm")) == "over: 0.15 mm below target at B, limit 0.10 mm"
    # 1 thou = 25.4 um (NIST SP 811): 150 um is 5.9 thou, 100 um 3.9 thou.
    assert plain(said.found(OVER, "thou")) == "over: 5.9 thou below target at B, limit 3.9 thou"
    assert plain(said.found(WITHIN, "mm")) == ("within: 0.04 mm right of target (operator side) at A, limit 0.10 mm")
    near = Found("S-3", date(2026, 6, 12), "B", "v", -132.0, 130.0, over=True)
    assert plain(said.found(near, "mm")) == "over: 0.132 mm below target at B, limit 0.130 mm"
    nearer = Found("S-3", date(2026, 6, 12), "B", "v", -130.4, 130.0, over=True)
    assert plain(said.found(nearer, "mm")) == ("over by less than 0.001 mm: 0.130 mm below target at B, limit 0.130 mm")
    assert said.found(None, "mm") == said.stated(None) == "–"


def test_bands_name_their_bounds() -> None:
    bands = [ScoreBand(0.0, 0.05, 9, 0.03, 0), ScoreBand(0.05, 0.2, 3, 0.31, 1)]
    assert [plain(said.band(one)) for one in bands] == ["up to 5 %", "above 5 % up to 20 %"]
    told = [plain(said.expected(one.expected)) for one in bands]
    assert told == ["fewer than 0.1 lines", "0.3 lines"]
    assert plain(said.expected(1.04)) == "1 line"
