"""What if in one sentence; wordings are common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hand_over_story import ROWS, plan

from fleet.reports.plan_content import PlanRow
from fleet.reports.what_if_words import Changed, Moved, MovedLine, WhatIfAnswer, intro, sentence, shift

CREW = Changed("crew", "ORR-2026-12-26", 1.0, 96.0)


def spaced(text: str) -> str:
    return text.replace("\u00a0", " ")


def moved(line: str, before: str | None, after: str | None, change: Moved = "earlier") -> MovedLine:
    row: PlanRow = replace(ROWS[0], line=line)
    return MovedLine(change, replace(row, chosen=before), replace(row, chosen=after))


def answer(*lines: MovedLine, days: float = 0.0, **more: Any) -> WhatIfAnswer:
    made = WhatIfAnswer(
        changes=(CREW,), first=plan(), other=plan(), lines=lines, days_over=days, weighted_days_over=days, visits=0,
        above_first=2, above_other=2, proved=True,
    )  # fmt: skip
    return replace(made, **more)


END = f"{plan().end_on.day} Oct {plan().end_on.year}"


def test_one_crew_more_is_one_sentence_with_days_visits_and_who_goes_where() -> None:
    said = sentence(answer(moved("ORR-05", "ORR-2027-04-10", "ORR-2026-12-26"), days=-31.2, visits=1))
    assert plan().end_on.month == 10
    assert spaced(said) == (
        "One crew more in ORR-2026-12-26: 31 fewer expected days over the limit, all lines together, to "
        f"{END}, with one visit more; ORR-05 goes there instead of into ORR-2027-04-10."
    )


def test_no_difference_is_said_with_what_stays() -> None:
    whole = replace(plan(), days_over=41.4)
    assert spaced(sentence(answer(first=whole, days=0.04))) == (
        "One crew more in ORR-2026-12-26: this makes no difference; the plan stays as it is, with 41 expected days "
        f"over the limit, all lines together, to {END}."
    )


def test_a_difference_within_the_solvers_gap_is_not_claimed() -> None:
    said = spaced(sentence(answer(moved("ORR-05", "A", "B"), days=0.3, proved=False)))
    assert said.endswith("ORR-05 goes into B instead of into A; this cannot be told apart from the solver’s own gap.")
    assert "0.3 more expected days" in said


def test_names_stop_at_three_and_groups_at_three() -> None:
    lines = [moved(f"L{k}", "A", "B") for k in range(5)]
    assert "; L0, L1, L2 and 2 more go into B instead of into A." in spaced(sentence(answer(*lines, days=2.0)))
    many = [moved(f"L{k}", f"A{k}", "B") for k in range(5)]
    assert spaced(sentence(answer(*many, days=2.0))).endswith(
        "L0 goes into B instead of into A0, L1 goes into B instead of into A1, L2 goes into B instead of into A2 and "
        "two more lines change place."
    )


def test_visits_that_come_and_go_are_told_apart() -> None:
    said = spaced(
        sentence(answer(moved("N1", None, "ORR-2026-12-26", "added"), moved("D1", "B", None, "dropped"), days=-2.0))
    )
    assert said.endswith(
        "; N1, without a visit as it is, goes there and D1 gets no visit instead of one in B."
    )  # fmt: skip


def test_days_may_stay_while_lines_pass_the_cap() -> None:
    said = spaced(sentence(answer(above_other=4, visits=-2, changes=(Changed("without", "Y", 0.0),))))
    assert said == (
        f"Without Y: as many expected days over the limit, all lines together, to {END}, with two visits fewer and two "
        "lines more above 20 % before their visits; every line stays where it is."
    )


def test_another_cap_counts_the_lines_above_each() -> None:
    cap = (Changed("cap", None, 0.1, 0.2),)
    said = spaced(sentence(answer(changes=cap, other=replace(plan(), cap=0.1), above_first=0, above_other=1, days=5.0)))
    assert said.startswith("A cap of 10 % instead of 20 %: 5 more expected days over the limit, ")
    assert ", with one line above 10 % before its visit instead of none above 20 %;" in said


def test_days_that_rise_while_those_that_count_fall_say_both() -> None:
    said = spaced(sentence(answer(moved("A", "B", "C"), days=12.0, weighted_days_over=-30.0)))
    assert (
        f"12 more expected days over the limit, all lines together, to {END} (counted by weight 30 days fewer)" in said
    )


@pytest.mark.parametrize(
    ("changes", "unit", "said"),
    [
        ((Changed("crew", "Y", -2.0),), "mm", "Two crews fewer in Y"),
        ((Changed("hours", "Y", 48.0, 40.0),), "mm", "48 crew h in Y instead of 40 crew h"),
        ((Changed("hours", "Y", 48.0, None),), "mm", "48 crew h in Y instead of no limit"),
        ((Changed("move", "y-1", -14.0),), "mm", "y-1 2 weeks earlier"),
        ((Changed("limit", "ORR-05", 200.0),), "mm", "A limit of 0.200 mm to either side on ORR-05"),
        ((Changed("limit_by", "*", -50.0),), "mm", "Limits 0.050 mm narrower on every line"),
        # 0.0508 mm are 2 thou exactly (the international inch of 1959, NIST SP 811, B.6).
        ((Changed("limit_by", "*", 50.8),), "thou", "Limits 2.00 thou wider on every line"),
        ((CREW, Changed("cap", None, 0.125, 0.2)), "mm",
         "One crew more in ORR-2026-12-26 and a cap of 12.5 % instead of 20 %"),
    ],
)  # fmt: skip
def test_what_is_tried_out_stands_first(changes: tuple[Changed, ...], unit: Any, said: str) -> None:
    assert spaced(intro(changes, unit)) == said


def test_days_are_weeks_where_they_are_whole() -> None:
    assert [spaced(shift(days)) for days in (28, 7, -10, 1)] == [
        "4 weeks later", "1 week later", "10 days earlier", "1 day later",
    ]  # fmt: skip
