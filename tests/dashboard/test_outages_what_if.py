"""What if on the Outages page: usual questions as links, one's own typed, the answer above, all in the address."""

from __future__ import annotations

from dataclasses import replace

import pytest
from outages_story import OVER, PLAN, SHORT, SOURCES
from trees import kind_of, walk, with_class, words_of

from dashboard.address import Address, parse
from dashboard.outage_forms import asked
from dashboard.pages.outages import outages_page
from dashboard.pages.outages_address import OutagesAsked, read, write
from dashboard.pages.outages_what_if import answered, asked_of, below
from dashboard.plan_sources import PlanSources
from fleet.errors import InputError
from fleet.reports.plan_content import PlanContent
from fleet.reports.what_if_words import MovedLine, WhatIfAnswer, sentence
from fleet.services.planning.asking import Asked
from fleet.services.planning.what_if import read_question

HERE = Address(page="outages")
LATER = replace(SHORT, chosen="Y26", chance_before=0.005, days_over=2.5)


def told(_: Asked, question: str, first: PlanContent) -> WhatIfAnswer:
    """Answer any question of the story by hand: ORR-12 goes into the year-end stop, which saves 7.5 days."""
    changes = read_question(question)
    if changes[0].code == "XX":
        raise InputError("‘XX’ is not among the outages of this plan: Y26, S27, A27.")
    other = replace(first, rows=tuple(LATER if row.line == "ORR-12" else row for row in first.rows))
    return WhatIfAnswer(
        changes=changes, first=first, other=other, lines=(MovedLine("earlier", SHORT, LATER),), days_over=-7.5,
        weighted_days_over=-7.5, visits=0, above_first=1, above_other=1, proved=True,
    )  # fmt: skip


PLANS: PlanSources = replace(SOURCES, what_if=told)


def links(tree: object) -> dict[str, str]:
    return {words_of(node): str(getattr(node, "href", "")) for node in walk(tree) if kind_of(node) == "Link"}


def test_usual_questions_are_links_that_keep_what_is_asked() -> None:
    shown = OutagesAsked(asked=Asked(site="ORR", into=(("ORR-02", "Y26"),)))
    found = links(below(PLANS, PLAN, shown, HERE))
    assert list(found) == [
        "One crew more in Y26", "One crew more in S27", "One crew more in A27", "Y26 4 weeks later", "Without Y26",
        "Limits 0.050 mm narrower on every line", "Limits 0.050 mm wider on every line",
        "A cap of 10 % instead of 20 %",
    ]  # fmt: skip
    # Four weeks earlier than 19 December is before 25 November, when the plan was made: that is not offered.
    for to in found.values():
        path, _, search = to.partition("?")
        again, notes = read(parse(path, search))
        assert notes == ()
        assert again.asked == shown.asked
        assert again.what_if is not None
        read_question(again.what_if)
    assert found["Limits 0.050 mm wider on every line"].endswith("if=limit:%2A:%2B50")
    thou = links(below(PLANS, PLAN, shown, replace(HERE, unit="thou")))
    assert "Limits 1.97 thou wider on every line" in thou


def test_the_answer_stands_above_the_plan_in_a_sentence_and_a_table() -> None:
    page = outages_page(PLANS, parse("/outages", "?site=ORR&if=crew%3AY26"))
    (section,) = with_class(page.body, "wi")
    text = words_of(section)
    answer = told(Asked(), "crew:Y26", PLAN)
    assert sentence(answer).replace("\u00a0", " ") in text
    assert "ORR-12 goes there instead of into A27." in text
    (table,) = [node for node in walk(section) if kind_of(node) == "Table"]
    cells = [words_of(node) for node in walk(table) if kind_of(node) == "Td"]
    assert cells == ["ORR-12", "A27, 16 Oct 2027", "Y26, 19 Dec 2026", "13 % → < 1 %", "10 days → 2.5 days"]
    assert links(section)["Back to the plan as it is"] == "/outages?site=ORR&into=ORR-02:Y26&out=ORR-04:S27"
    whole = words_of(page.body)
    assert whole.index("What if") < whole.index(OVER.line)


def test_what_cannot_be_asked_is_said_and_the_plan_stands_below() -> None:
    page = outages_page(PLANS, parse("/outages", "?site=ORR&if=crew%3AXX"))
    text = words_of(page.body)
    assert "This cannot be asked" in text
    assert "‘XX’ is not among the outages of this plan: Y26, S27, A27." in text
    assert OVER.line in text
    assert answered(PLANS, PLAN, OutagesAsked(), HERE) == []


def test_a_plan_without_stops_offers_no_questions() -> None:
    assert below(PLANS, replace(PLAN, stops=()), OutagesAsked(), HERE) == []


@pytest.mark.parametrize(
    ("typed", "unit", "question"),
    [
        ({"outage": "Y26", "crews": "2"}, "mm", "crew:Y26:2"),
        ({"outage": "Y26", "hours": "48,5", "days": "−14"}, "mm", "hours:Y26:48.5;move:Y26:-14"),
        ({"limit": "0,2"}, "mm", "limit:*:200"),
        ({"limit": "-0.05", "line": "ORR-05"}, "mm", "limit:ORR-05:-50"),
        # 2 thou are 50.8 um exactly (the international inch of 1959, NIST SP 811, B.6).
        ({"limit": "+2"}, "thou", "limit:*:+50.8"),
        ({"cap": "12.5 %"}, "mm", "cap:12.5"),
    ],
)  # fmt: skip
def test_figures_of_ones_own_become_a_question(typed: dict[str, str], unit: str, question: str) -> None:
    assert asked_of(typed, unit) == question  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({}, "Nothing is typed, so nothing is asked."),
        ({"crews": "2"}, "Outage: nothing is typed; say which one is meant by 2 crews more."),
        ({"outage": "Y26"}, "Nothing is typed for Y26; type crews more, crew hours or days later."),
        ({"outage": "Y26", "hours": "many"}, "‘many’ is not a number of crew hours; write digits."),
        ({"line": "ORR-05"}, "Limit: nothing is typed for ORR-05; type one in mm."),
        ({"limit": "wide"}, "Limit: ‘wide’ is not a width; write digits with a decimal point, in mm."),
        ({"cap": "200"}, "‘200’ is not a cap in per cent from 0 to 100."),
    ],
)
def test_what_was_typed_wrong_is_said(typed: dict[str, str], said: str) -> None:
    with pytest.raises(InputError) as refused:
        asked_of(typed, "mm")
    assert str(refused.value) == said


def test_asking_changes_the_address_and_nothing_else() -> None:
    base = write(HERE, OutagesAsked(asked=Asked(site="ORR", out=(("ORR-04", "S27"),)), view="time"))
    search = asked(base, {"outage": "Y:26", "crews": "1"})
    again, _ = read(parse("/outages", search))
    assert again.what_if == "crew:Y%3A26"
    assert (again.asked.site, again.asked.out, again.view) == ("ORR", (("ORR-04", "S27"),), "time")
