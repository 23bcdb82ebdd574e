"""Outages: the answer first, every cell with its words and its way on, and a sentence where something is missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import orrindale
import outages_story
import pytest
from outages_story import HELD, OUT, OVER, PLAN, SHORT, STOPS, UNKNOWN, ZONE
from trees import kind_of, walk, with_class, words_of

from dashboard.address import parse
from dashboard.components import strip
from dashboard.pages.outages import outages_page
from dashboard.pages.outages_address import OutagesAsked, anew, read
from dashboard.pages.outages_calendar import calendar_view, last_day
from dashboard.pages.outages_cards import cards
from dashboard.pages.outages_groups import groups
from dashboard.pages.outages_table import table
from dashboard.pages.outages_time import axis_of, time_view
from dashboard.pages.page import Shown
from fleet.reports.plan_content import Kept, PlanContent

HERE = parse("/outages", "site=ORR")
ASKED = read(HERE)[0]


def at(search: str = "") -> Shown:
    return outages_page(outages_story.SOURCES, parse("/outages", search), sections=())


def shown(plan: PlanContent, search: str = "site=ORR") -> str:
    """Return the words of the page of a plan, without the sections below it, which have tests of their own."""
    sources = replace(outages_story.SOURCES, content=lambda _: plan)
    return words_of(outages_page(sources, parse("/outages", search), sections=()).body)


def cells(plan: PlanContent, line: str) -> dict[str, Any]:
    """Return the cells of a line by the code of their stop."""
    found = [cell for cell in walk(table(plan, anew(ASKED, plan), HERE)) if kind_of(cell) == "Td"]
    keys = {getattr(cell, "data-cell", "") or "": cell for cell in found if "data-cell" in cell["props"]}
    return {key.removeprefix(f"{line} "): cell for key, cell in keys.items() if key.startswith(f"{line} ")}


def links(cell: Any) -> dict[str, str]:
    """Return the addresses of a cell's links by their words."""
    return {words_of(link): link.href for link in walk(cell) if kind_of(link) == "Link"}


def test_the_page_answers_before_it_shows() -> None:
    body = at("site=ORR").body
    lead = words_of(with_class(body, "lead"))
    assert lead.startswith("Three visits in two stops. One line is already above 20 % before the first stop;")
    assert "Earlier needs an extra stop." in lead
    told = words_of(with_class(body, "filters"))
    assert "Solved 25 Nov 2026, 07:12 (Europe/Berlin); 2 pinned; within 0.1 % of the best possible" in told
    assert "Look for a better one" not in told
    foot = words_of(with_class(body, "foot"))
    assert "Chances are that |deviation| has passed the limit" in foot
    assert foot.endswith("State of 25 Nov 2026. A plan is no permission to work on a machine.")


def test_a_plan_that_may_be_far_from_the_best_can_be_looked_for_longer() -> None:
    far = replace(PLAN, gap=0.034)
    assert "within 3.4 % of the best possible. Look for a better one for 30 s" in shown(far)
    assert "Look for a better one" not in shown(replace(far, seconds=30.0), "site=ORR&seconds=30")


def test_a_visit_says_its_chance_its_hours_and_whether_it_fits_and_can_be_held_or_let_go() -> None:
    visit = cells(PLAN, "ORR-07")["Y26"]
    assert words_of(visit).startswith("Visit 95 % before14 crew h · fits, 41 of 288 h")
    assert len(with_class(visit, "hi")) == 1
    pins = "into=ORR-02:Y26"
    assert links(visit) == {
        "pin ORR-07 in Y26": f"/outages?site=ORR&{pins},ORR-07:Y26&out=ORR-04:S27",
        "keep out ORR-07 of Y26": f"/outages?site=ORR&{pins}&out=ORR-04:S27,ORR-07:Y26",
    }


def test_a_pinned_visit_says_so_and_lets_go() -> None:
    visit = cells(PLAN, "ORR-02")["Y26"]
    assert words_of(visit).startswith("pinned: Visit 3 % before")
    assert len(with_class(visit, "pinm")) == 1
    assert links(visit)["unpin ORR-02 in Y26"] == "/outages?site=ORR&out=ORR-04:S27"


def test_left_of_a_visit_stands_the_chance_before_right_of_it_what_skipping_risks() -> None:
    over = cells(PLAN, "ORR-07")
    # After skipping Y26 the next stop is S27: 99 % by then. Later cells stay open without a figure.
    assert words_of(over["S27"]).startswith("99 % if skipped")
    assert words_of(over["A27"]) == "pin ORR-07 into A27"
    watch = cells(PLAN, "ORR-12")
    assert words_of(watch["Y26"]).startswith("< 1 %")
    assert links(over["A27"]) == {"pin ORR-07 into A27": "/outages?site=ORR&into=ORR-02:Y26,ORR-07:A27&out=ORR-04:S27"}


def test_a_closed_cell_says_why_and_leads_nowhere_except_back_in() -> None:
    short = cells(PLAN, "ORR-12")["S27"]
    assert words_of(short) == "6 %too short by 6 h"
    assert "S27 is too short by 6 h for ORR-12" in short.title.replace("\u00a0", " ")
    assert links(short) == {}
    out = cells(PLAN, "ORR-04")["S27"]
    assert words_of(out).startswith("2 %kept out")
    assert links(out) == {"let it in ORR-04 into S27": "/outages?site=ORR&into=ORR-02:Y26"}


def test_a_chance_above_the_cap_is_bold_and_one_at_the_cap_is_not() -> None:
    plan = replace(PLAN, cap=0.06, rows=(replace(SHORT, choices=(SHORT.choices[1], *SHORT.choices[1:])),))
    assert with_class(cells(plan, "ORR-12")["Y26"], "hot") == []
    assert len(with_class(cells(replace(plan, cap=0.05), "ORR-12")["Y26"], "hot")) == 1


def test_a_stop_is_headed_by_its_days_kind_and_what_is_taken_of_its_crew_hours() -> None:
    heads = with_class(table(PLAN, ASKED, HERE), "pl-head")
    assert [words_of(head) for head in heads] == [
        "Y2619–30 Dec 2026full stop, screw out, 288 h26 of 96 crew h",
        "S273–7 Apr 2027weekend, screw out, 96 h0 of 40 crew h",
        "A2716–18 Oct 2027full stop, screw out, 72 h12 crew h, no limit recorded",
    ]
    bars = with_class(heads, "pl-bar")
    assert getattr(bars[0], "aria-label") == "26 of 96 crew h taken in Y26"
    # 26 of 96 h are 27.08 %.
    assert [list(walk(bar))[1].style["width"] for bar in bars] == ["27.1%", "0.0%", "0.0%"]


def test_every_line_says_why_it_is_where_it_is() -> None:
    notes = [words_of(cell) for cell in with_class(table(PLAN, ASKED, HERE), "pl-notes")]
    assert notes[0].startswith("cool-down 16, visit 7, heat-up 10 halready above 20 % today")
    assert "permit to work" in notes[0]
    assert notes[0].endswith("14 crew h a visit, median of the line’s own visits. Change what a visit to ORR-07 takes")
    assert "pinned into Y26 by hand" in notes[1]
    assert notes[3].startswith("no visit: under 20 % to Oct 2028")
    assert notes[4].startswith("no visit: nothing to plan by until it has a survey and a limit")


def test_without_a_stop_every_line_shows_what_it_runs_to_the_plans_end() -> None:
    rows = tuple(replace(row, choices=(), chosen=None, pin=None, kept_out=()) for row in (OVER, UNKNOWN))
    found = [
        words_of(cell)
        for cell in walk(table(replace(PLAN, stops=(), rows=rows), ASKED, HERE))
        if kind_of(cell) in ("Th", "Td")
    ]
    assert found[2] == "Over before the plan’s end, Oct 2028"
    assert found[4:7] == ["over", "ORR-07", "> 99 %"]
    assert found[8:11] == ["no record", "ORR-13", "–"]


def test_many_stops_are_paged_and_the_last_page_is_as_wide_as_the_others() -> None:
    days = timedelta(days=30)
    stops = tuple(
        replace(STOPS[0], code=f"N{n}", starts_at=STOPS[0].starts_at + n * days, ends_at=STOPS[0].starts_at + n * days)
        for n in range(6)
    )
    row = replace(OVER, chosen="N5", choices=OVER.choices[:1] * 6)
    plan = replace(PLAN, stops=stops, rows=(row,))
    first, last = groups(plan, ASKED)[0], groups(plan, replace(ASKED, stops=9))[0]
    assert (first.shown, last.shown, last.page) == ((0, 1, 2, 3), (2, 3, 4, 5), 2)
    text = words_of(table(plan, ASKED, HERE))
    assert text.startswith("Stops 1–4 of 6Later stops")
    assert "Visit in N5, later stops" in text


def test_lines_of_several_sites_stand_in_groups_with_the_stops_that_serve_them() -> None:
    choices = (OUT.choices[0], replace(OUT.choices[1], closed="serves_others"), OUT.choices[2])
    away = replace(OUT, line="VES-01", site="VES", choices=choices, pin=None, kept_out=())
    found = groups(replace(PLAN, site=None, rows=(away, OVER)), OutagesAsked())
    assert [(group.name, group.stops) for group in found] == [("Orrindale", (0, 1, 2)), ("Vessmoor", (0, 2))]


def test_fifty_lines_are_a_page_and_a_page_too_far_is_the_last() -> None:
    rows = tuple(replace(UNKNOWN, line=f"L-{n:03d}") for n in range(103))
    plan = replace(PLAN, rows=rows)
    assert [row.line for group in groups(plan, replace(ASKED, page=9)) for row in group.rows] == [
        "L-100", "L-101", "L-102",
    ]  # fmt: skip
    assert "Lines 51–100 of 103Earlier 50Next 50" in shown(plan, "site=ORR&page=2")


def test_a_phone_lists_the_lines_by_stop_with_where_else_each_can_go() -> None:
    tree = cards(PLAN, anew(ASKED, PLAN), HERE)
    sections = with_class(tree, "pl-list")
    assert [words_of(with_class(section, "ln")) for section in sections] == [
        "ORR-07ORR-02", "", "ORR-12", "ORR-04ORR-13",
    ]  # fmt: skip
    assert "No visit planned." in words_of(sections[1])
    text = words_of(sections[0])
    assert "95 % over before its visit; 99 % before S27 (3 Apr 2027) if skipped." in text
    moves = with_class(sections[0], "pl-moves")[0]
    assert set(links(moves)) == {
        "pin ORR-07 in Y26",
        "keep out ORR-07 of Y26",
        "S27, 3 Apr 2027, 06:00 – 7 Apr 2027, 06:00 (Europe/Berlin): 99 % before it",
        "A27, 16–18 Oct 2027: > 99 % before it",
    }


def test_the_time_axis_marks_the_visit_in_its_stop_and_says_it_in_words() -> None:
    tree = time_view(PLAN, ASKED, HERE)
    strips = with_class(tree, "strip")
    assert getattr(strips[1], "aria-label") == (
        "ORR-02, chance of having passed the limit: 10 % by Oct 2026, 50 % by Mar 2027, 90 % by Sep 2027; "
        "visit planned in Y26, 19–30 Dec 2026, pinned by hand"
    )
    assert getattr(strips[4], "aria-label") == "ORR-13: no record, so no date; no visit planned"
    axis = axis_of(PLAN)
    # From 1 October 2026, 45 days back from 25 November, to the end of the fifteenth month.
    assert (axis.start, axis.end) == (date(2026, 10, 1), date(2028, 1, 1))
    visit = with_class(strips[1], "pt-visit")[0]
    # 79 and 91 of 457 days: 19 December begins the visit, and 30 December is its last day.
    assert visit.style == {"left": f"{100 * 79 / 457:.2f}%", "width": f"{100 * 12 / 457:.2f}%"}


def test_a_range_that_begins_after_the_plans_end_is_no_date() -> None:
    plan = replace(PLAN, rows=(replace(OUT, over_p10=date(2029, 1, 1), over_p50=None, over_p90=None),))
    assert "no date before Oct 2028" in words_of(time_view(plan, ASKED, HERE))


def test_a_stop_of_whole_days_ends_on_its_last_day() -> None:
    listed = {outage.code: outage for outage in outages_story.OUTAGES}
    assert last_day(listed["Y26"]) == date(2026, 12, 30)
    assert last_day(listed["S27"]) == date(2027, 4, 7)
    assert last_day(listed["Y27"]) == date(2027, 12, 20)


def test_the_calendar_draws_every_outage_on_its_days_and_says_how_it_stands() -> None:
    tree = calendar_view(PLAN, outages_story.OUTAGES, ASKED, HERE)
    months = {words_of(with_class(month, "pc-name")): month for month in with_class(tree, "pc-month")}
    assert next(iter(months)) == "Sep 2026"
    december = with_class(months["Dec 2026"], "pc-bar")[0]
    # 19 to 30 December: twelve of 31 days, after eighteen.
    assert december.style == {"left": f"{100 * 18 / 31:.2f}%", "width": f"{100 * 12 / 31:.2f}%"}
    assert words_of(with_class(months["Dec 2026"], "pc-told")).startswith(
        "Y26 19–30 Dec 2026 (Europe/Berlin); full stop, 288 h; site ORR; planned; two visits, 26 of 96 crew h"
    )
    # Through the night of 28 March 2027 the clocks of Berlin go forward (Directive 2000/84/EC: last Sunday of March).
    assert "27 Mar 2027, 06:00 UTC+1 – 7 Apr 2027, 06:00 UTC+2 (Europe/Berlin); full stop, 263 h" in words_of(
        months["Mar 2027"]
    )
    assert "S27 goes on, to 7 Apr 2027" in words_of(months["Apr 2027"])
    assert "cancelled" in words_of(months["Nov 2026 today"])
    assert "past, still marked planned" in words_of(months["Oct 2026"])
    assert "no end recorded" in words_of(months["Dec 2027"])
    assert words_of(with_class(tree, "astable")).startswith("1 earlier outage, the newest of Dec 2024Y24")


def test_an_outage_can_be_opened_for_a_change_from_its_head_and_from_the_calendar() -> None:
    for tree in (table(PLAN, ASKED, HERE), calendar_view(PLAN, outages_story.OUTAGES, ASKED, HERE)):
        found = {link.href for link in walk(tree) if kind_of(link) == "Link" and "go" in (link.className or "")}
        assert "/outages?site=ORR&edit=Y26" in found
    assert "/outages?site=ORR&edit=new" in found | {
        link.href for link in walk(tree) if kind_of(link) == "Link" and link.className == "btn"
    }


def test_pins_that_cannot_be_kept_are_told_with_all_pins_and_ways_to_take_them_away() -> None:
    page = at("site=ORR&into=ORR-07:S27,ORR-02:Y26&out=ORR-04:S27")
    text = words_of(page.body)
    assert "ORR-07 cannot be pinned into S27: the visit alone takes more than its crew hours." in text
    assert "ORR-07 into S27 take it away: ORR-07 into S27" in text
    assert "ORR-04 out of S27 take it away: ORR-04 out of S27" in text
    assert {words_of(link): link.href for link in walk(page.body) if kind_of(link) == "Link"} == {
        "take it away: ORR-07 into S27": "/outages?site=ORR&into=ORR-02:Y26&out=ORR-04:S27",
        "take it away: ORR-02 into Y26": "/outages?site=ORR&into=ORR-07:S27&out=ORR-04:S27",
        "take it away: ORR-04 out of S27": "/outages?site=ORR&into=ORR-07:S27,ORR-02:Y26",
        "Take all pins away": "/outages?site=ORR",
    }
    assert "A plan is no permission to work on a machine." in text


def test_a_pin_of_something_unknown_is_said_and_dropped_from_the_links() -> None:
    page = at("into=NOPE:Y26")
    assert page.notes == ("The pin of NOPE into Y26 is left out.",)
    assert not [link for link in walk(page.body) if "NOPE" in str(getattr(link, "href", ""))]


def test_pins_of_another_sites_lines_outlive_a_look_at_one_site() -> None:
    asked = read(parse("/outages", "site=ORR&into=VES-01:V27,ORR-02:Y26"))[0]
    assert anew(asked, PLAN).asked.into == (("VES-01", "V27"), ("ORR-02", "Y26"))


def test_a_kept_plan_is_gone_on_from_with_its_own_pins_and_is_never_changed() -> None:
    kept = Kept(
        "P-1", "saved", "J. Quillam (not verified)", datetime(2026, 11, 25, 8, tzinfo=ZONE), None, None, None, 1
    )
    plan = replace(PLAN, kept=kept, cap=0.15, cap_asked=True)
    asked = anew(replace(OutagesAsked(), plan="P-1"), plan)
    assert (asked.plan, asked.asked.cap, asked.asked.into, asked.asked.out) == (
        None, 0.15, (("ORR-02", "Y26"),), (("ORR-04", "S27"),),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (replace(PLAN, rows=(), stops=(), lines_in_store=0), "The store is empty."),
        (replace(PLAN, rows=(), stops=()), "None of the 5 lines in the store matches what the address asks for."),
        (
            replace(PLAN, rows=(replace(UNKNOWN, choices=()),), stops=(), aside=(), outages_in_store=0),
            "No outage is recorded, so there is nothing to plan a visit into. Record the next one,",
        ),
        (
            replace(PLAN, rows=(replace(UNKNOWN, choices=()),), stops=()),
            "No planned outage begins after 25 Nov 2026 for Orrindale; those on record are past, done or cancelled.",
        ),
        (replace(PLAN, rows=(UNKNOWN,)), "No line has a forecast"),
        (PLAN, "A27 says no crew hours."),
        (PLAN, "Y27 begins 20 Dec 2027, further ahead than the 12 months looked at."),
        (replace(PLAN, older="Newer records are being worked on."), "Newer records are being worked on."),
    ],
)
def test_what_is_missing_or_odd_is_said(plan: PlanContent, sentence: str) -> None:
    assert sentence in shown(plan)


def test_a_line_that_only_shows_its_dates_is_no_row_of_the_fleet() -> None:
    # The strip of Fleet draws a line of the plan too; its dates in words are the same for the same days.
    fleet_row = next(row for row in orrindale.ROWS if row.line == "ORR-02")
    row = replace(HELD, over_p10=fleet_row.over_p10, over_p50=fleet_row.over_p50, over_p90=fleet_row.over_p90)
    told = getattr(with_class(time_view(replace(PLAN, rows=(row,)), ASKED, HERE), "strip")[0], "aria-label")
    assert told.startswith(strip.label(fleet_row, orrindale.HORIZON, orrindale.TODAY))


def test_many_outages_that_are_not_planned_into_are_folded() -> None:
    far = tuple(replace(PLAN.aside[0], code=f"Y{n}", why=f"Y{n} begins later.") for n in range(30, 35))
    sources = replace(outages_story.SOURCES, content=lambda _: replace(PLAN, aside=far))
    about = with_class(outages_page(sources, parse("/outages", "site=ORR"), sections=()).body, "pl-aside")
    folded = [node for node in walk(about) if kind_of(node) == "Details"]
    assert "Y32 begins later." in words_of(about)
    assert words_of(folded) == "Two more not planned intoY33 begins later.Y34 begins later."
