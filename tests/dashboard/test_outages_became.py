"""After the outage on the page: the answer first, then stops, chances and lines; and as tables taken along."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import orrindale
import pytest
from outages_story import PLAN, SOURCES, at
from taken import take
from trees import kind_of, walk, words_of

from dashboard.address import parse
from dashboard.app import build
from dashboard.pages.outages import outages_page
from dashboard.pages.outages_address import read
from dashboard.pages.outages_became import MOST, section
from dashboard.plan_sources import PlanSources
from fleet.reports.became_content import (
    Became,
    BecameLine,
    BecameStop,
    Found,
    Looked,
    ScoreBand,
    ScoreContent,
)
from fleet.reports.plan_content import Kept, PlanContent, Stop
from fleet.words import NBSP

NOTHING = ScoreContent((), 0.0, 0, None, None, None, (), (), 0)
OVER = Found("ORR-07-11", date(2026, 6, 12), "B", "v", -263.0, 200.0, over=True)
WITHIN = Found("ORR-02-9", date(2026, 6, 13), "A", "h", 40.0, 100.0, over=False, side="operator side")
SCORE = ScoreContent(
    plans=("ORR-PLAN-2025-11-30",), expected=0.6, found=1, surprise=0.925, brier=0.1282, brier_of_rate=0.25,
    bands=(
        ScoreBand(0.0, 0.05, 0, 0.0, 0), ScoreBand(0.05, 0.2, 1, 0.1, 0), ScoreBand(0.2, 0.5, 1, 0.5, 1),
        ScoreBand(0.5, 1.0, 0, 0.0, 0),
    ),
    lines=(
        Looked("ORR-PLAN-2025-11-30", "ORR-07", "ORR", "Y25", 0.5, OVER),
        Looked("ORR-PLAN-2025-11-30", "ORR-02", "ORR", "Y25", 0.1, WITHIN),
    ),
    not_judged=0,
)  # fmt: skip


def line(code: str, **more: Any) -> BecameLine:
    made = BecameLine(code, "ORR", None, None, None, None, None, None, None, None, None)
    return replace(made, **more)


BECAME = Became(
    plan="ORR-PLAN-2025-11-30", state="signed_off", as_of=date(2025, 11, 30),
    stops=(
        BecameStop("Y25", "full stop", at(2025, 12, 20), at(2026, 1, 1), whole_days=True, cancelled=False, planned=3,
                   made=2, missed=1, extra=1, hours_planned=34.0, hours_done=12.5, hours_written=1),
    ),
    to_come=1,
    lines=(
        line("ORR-12", deed="missed", planned="Y25", hours_planned=8.0),
        line("ORR-07", deed="as_planned", planned="Y25", session="ORR-07-11", on=date(2026, 6, 12), done="Y25",
             hours_planned=14.0, hours_done=12.5, stated=0.5, found=OVER),
        line("ORR-02", deed="as_planned", planned="Y25", session="ORR-02-9", on=date(2026, 6, 13), done="Y25",
             hours_planned=12.0, stated=0.1, found=WITHIN),
        line("ORR-05", deed="extra", session="ORR-05-3", on=date(2026, 6, 14), done="Y25"),
        line("ORR-04", deed="left_as_planned"),
    ),
    score=SCORE,
)  # fmt: skip
KEPT = Kept(
    "ORR-PLAN-2025-11-30", "signed_off", "J. Quillam (not verified)", at(2025, 11, 30, 9),
    "J. Quillam (not verified)", at(2025, 11, 30, 10), None, 2,
)  # fmt: skip


def sources(score: ScoreContent = SCORE, became: Became = BECAME) -> PlanSources:
    return replace(SOURCES, score=lambda _: score, became=lambda _: became)


def below(plan: PlanContent, told: PlanSources, search: str = "") -> list[Any]:
    address = parse("/outages", search)
    return section(told, plan, read(address)[0], address)


def said(body: Any) -> str:
    return words_of(body).replace(NBSP, " ")


def test_a_kept_plan_is_answered_first_and_then_stop_by_stop() -> None:
    text = said(below(replace(PLAN, kept=KEPT), sources()))
    assert text.index("Of three visits planned") < text.index("Y25") < text.index("Line by line: five lines")
    assert "20–31 Dec 2025" in text  # ends at the midnight after
    assert "three planned, two made, one unplanned" in text
    assert "34 crew h planned, 12.5 crew h written down of one visit" in text


def test_lines_say_what_became_of_them_with_the_visit_to_look_at() -> None:
    body = below(replace(PLAN, kept=KEPT), sources())
    items = [said(node) for node in walk(body) if kind_of(node) == "Li"]
    assert items[0] == "ORR-12 missed, planned into Y25. 8 crew h planned."
    assert items[1] == (
        "ORR-07 made as planned in Y25, 12 Jun 2026. 14 crew h planned, 12.5 crew h written down. "
        "Stated 50 %; found over: 0.26 mm below target at B, limit 0.20 mm."
    )
    assert "0.04 mm right of target (operator side) at A" in items[2]
    assert len(items) == 4  # ORR-04 was neither planned nor visited
    assert "4 of 5 stand here; the table taken along has all." in said(body)
    links = {said(node): node.href for node in walk(body) if kind_of(node) == "Link"}
    assert links["12 Jun 2026"] == "/session/ORR-07-11"
    assert links["ORR-07"] == "/line/ORR-07"


def test_a_plan_whose_stops_are_ahead_says_only_that() -> None:
    ahead = replace(BECAME, stops=(), score=NOTHING)
    text = said(below(replace(PLAN, kept=KEPT), sources(became=ahead)))
    assert text.endswith("No stop of this plan is past yet, so there is nothing to look back on.")


def test_a_plan_worked_out_now_stands_beside_the_score_of_all_signed_ones() -> None:
    body = below(PLAN, sources())
    text = said(body)
    assert "What stated chances were worth at Orrindale" in text
    assert "0.6 lines were expected over of 2 looked at; one was." in text
    assert "One plan that was signed off: ORR-PLAN-2025-11-30." in text
    cells = [said(node) for node in walk(body) if kind_of(node) == "Td"]
    assert cells == [
        "up to 5 %", "0", "–", "–", "above 5 % up to 20 %", "1", "0.1 lines", "0",
        "above 20 % up to 50 %", "1", "0.5 lines", "1", "above 50 % up to 100 %", "0", "–", "–",
    ]  # fmt: skip


def test_without_signed_plans_it_says_what_to_do() -> None:
    assert "Sign a plan off: once its stops are past" in said(below(PLAN, sources(score=NOTHING)))


def test_a_long_list_is_cut_and_says_so() -> None:
    many = replace(SCORE, lines=SCORE.lines * MOST)
    body = below(PLAN, sources(score=many))
    assert sum(kind_of(node) == "Li" for node in walk(body)) == MOST
    assert f"{MOST} of {2 * MOST} stand here" in said(body)


def test_the_page_shows_it_below_the_plan_in_the_readers_unit() -> None:
    text = said(outages_page(sources(), parse("/outages", "site=ORR&unit=thou")).body)
    # 1 thou = 25.4 um (NIST SP 811): 263 um is 10.4 thou, 200 um 7.9 thou.
    assert "10.4 thou below target at B, limit 7.9 thou" in text


@pytest.fixture(scope="module")
def client() -> Any:
    return build(replace(orrindale.SOURCES, plans=sources())).server.test_client()


def test_lines_are_taken_along_with_all_that_is_known(client: Any) -> None:
    got = take(client, "plan-became", "/outages?plan=ORR-PLAN-2025-11-30")
    assert [row["line"] for row in got.rows] == ["ORR-12", "ORR-07", "ORR-02", "ORR-05", "ORR-04"]
    seven = got.rows[1]
    assert (seven["visited_on"], seven["became"], seven["found_over"]) == ("2026-06-12", "made as planned", "yes")
    assert float(seven["deviation_um"]) == -263.0
    assert float(seven["stated_chance_fraction"]) == 0.5
    assert (float(seven["planned_work_h"]), float(seven["written_work_h"])) == (14.0, 12.5)
    assert got.rows[0]["found_over"] == got.rows[0]["session"] == ""
    assert got.about["visits"].startswith("Of three visits planned")


def test_looks_and_bands_of_all_signed_plans_are_taken_along(client: Any) -> None:
    looks = take(client, "plan-became", "/outages?site=ORR")
    assert [(row["line"], row["stop"], row["plan"]) for row in looks.rows] == [
        ("ORR-07", "Y25", "ORR-PLAN-2025-11-30"), ("ORR-02", "Y25", "ORR-PLAN-2025-11-30"),
    ]  # fmt: skip
    bands = take(client, "plan-score", "/outages?site=ORR")
    assert [(row["looked_at"], float(row["expected_over"]), row["found_over"]) for row in bands.rows] == [
        ("0", 0.0, "0"), ("1", 0.1, "0"), ("1", 0.5, "1"), ("0", 0.0, "0"),
    ]  # fmt: skip
    assert float(bands.about["Brier score"]) == SCORE.brier
    elsewhere = client.get("/download/plan-became.csv?view=/records")
    assert elsewhere.status_code == 404


def test_a_plan_whose_stops_are_all_past_is_looked_back_on_first_and_once() -> None:
    past = tuple(
        replace(stop, starts_at=at(2025, 6, 1 + n), ends_at=at(2025, 6, 3 + n)) for n, stop in enumerate(PLAN.stops)
    )
    looked_at = parse("/outages", "plan=ORR-PLAN-2025-11-30")
    over = replace(sources(), kept=lambda _: replace(PLAN, kept=KEPT, stops=past))
    text = said(outages_page(over, looked_at).body)
    assert text.index("What became of this plan") < text.index("Window needed")
    assert text.count("What became of this plan") == 1
    assert "About the outages" not in text
    # One that is still to come stays in front of what became of it.
    ahead = replace(sources(), kept=lambda _: replace(PLAN, kept=KEPT, stops=(*past[:-1], far(PLAN.stops[-1]))))
    text = said(outages_page(ahead, looked_at).body)
    assert text.index("Window needed") < text.index("What became of this plan")


def far(stop: Stop) -> Stop:
    return replace(stop, starts_at=at(2999, 1, 1), ends_at=at(2999, 1, 2))
