"""Compare: the answer first, a verdict only where there is one, every figure with its unit and which way it goes."""

from __future__ import annotations

from dataclasses import replace
from typing import cast
from urllib.parse import quote

import compare_story
import orrindale
import pytest
from dash import dcc
from flask.testing import FlaskClient
from trees import walk, with_class, words_of

from dashboard.address import parse
from dashboard.app import build, render
from dashboard.components.rich import plain
from dashboard.figures import compare as pictures
from dashboard.pages import compare_words as said
from dashboard.pages.compare import compare_page
from dashboard.pages.compare_address import read, write
from dashboard.pages.page import Shown
from fleet.services.compare import CompareFilters, CompareView


def at(search: str = "") -> Shown:
    return render(orrindale.SOURCES, parse("/compare", search))


def shown(view: CompareView, search: str = "") -> str:
    return words_of(compare_page(view, parse("/compare", search)).body)


def test_the_page_answers_before_it_shows() -> None:
    lead = words_of(with_class(at().body, "lead"))
    assert lead == (
        "Three of 5 lines differ from the fleet, and that is real: ORR-07 goes lower faster; ORR-11 goes the other "
        "way, higher; ORR-06 goes slower. The other two cannot be told apart. ORR-08 shows the largest rate by its own "
        "record, 0.158 mm lower a year from 1 interval: drawn to the fleet it ranks 3 and cannot be told apart. "
        "Steel frame differs from the other lines by 0.017 mm lower a year ± 0.010, and that is real."
    )


def test_a_fleet_without_a_clear_way_has_no_other_way_to_go() -> None:
    view = replace(compare_story.view(CompareFilters()), u95_fleet=40.0)
    assert "ORR-11 goes higher faster" in plain(said.lead(view, "mm"))


def test_where_nothing_can_be_told_apart_the_page_says_so_and_claims_no_more() -> None:
    view = compare_story.view(CompareFilters())
    same = tuple(replace(row, told_apart=False) for row in view.ranked)
    groups = tuple(replace(group, told_apart=False) for group in view.cohorts.groups)
    view = replace(
        view, ranked=same, told=(), told_count=0, loudest=same[0], cohorts=replace(view.cohorts, groups=groups)
    )
    assert plain(said.lead(view, "mm")) == (
        "None of 5 lines can be told apart from the fleet. No single foundation can be told apart from the others."
    )
    text = shown(view)
    for claim in ("faster", "slower", "the other way", " sure", "and that is real"):
        assert claim not in text.split("Before and after")[0].split("With 24 lines looked at")[0]


def test_every_line_has_its_rate_its_own_record_what_is_borrowed_and_a_verdict() -> None:
    table = with_class(at("?by=size").body, "cmp")[0]
    rows = [words_of(row) for row in walk(table) if type(row).__name__ == "Tr"]
    assert rows[0].startswith("RankLineScrew sizeIntervalsDrift, mm a year,with 95 % interval")
    assert rows[1] == "1ORR-07120 mm60.060 lower ± 0.0090.064 lower25 %faster, 97 % sure"
    assert rows[3] == "3ORR-08120 mm10.021 lower ± 0.0090.158 lower25 %cannot be told apart"
    in_thou = [words_of(row) for row in walk(with_class(at("?unit=thou").body, "cmp")[0]) if type(row).__name__ == "Tr"]
    # 60 um are 60 / 25.4 = 2.36 thou.
    assert in_thou[1] == "1ORR-07grouted62.36 lower ± 0.352.52 lower25 %faster, 97 % sure"


def test_each_strip_says_in_words_what_it_draws_and_its_shape_follows_the_verdict() -> None:
    table = with_class(at().body, "cmp")[0]
    strips = with_class(table, "rstrip")
    assert getattr(strips[2], "aria-label") == (
        "ORR-08: 0.021 mm lower a year ± 0.009; own record alone 0.158 mm lower a year; fleet 0.015 mm lower a year; "
        "cannot be told apart"
    )
    assert [len(with_class(strip, "told")) for strip in strips] == [2, 2, 0, 0, 2]
    assert [len(with_class(strip, "cr")) for strip in strips] == [1] * 5


def test_a_scale_holds_zero_and_all_rates_and_places_them_in_proportion() -> None:
    on = pictures.scale(-100.0, 100.0, "mm")
    # 3 % of the extent is kept free at either end: 100 lies at (100 + 106) / 212.
    assert [on.at(0.0), on.at(100.0)] == pytest.approx([50.0, 100.0 * 206.0 / 212.0])
    assert (on.at(-500.0), on.at(500.0), on.holds(-500.0)) == (0.0, 100.0, False)
    assert [text for _, text in on.ticks(4)] == ["0.1", "0", "0.1"]
    assert pictures.scale_of([], "mm").at(0.0) > 0.0


def test_groups_are_judged_in_words_with_what_stands_behind_them() -> None:
    text = words_of(at().body)
    assert "Steel frame differs, and that is real: 0.017 mm lower a year ± 0.010 against all other lines." in text
    assert "such differences or larger ones would come about in < 1 % of fleets like this" in text
    assert "Steel frame4 lines, 20 intervals, 24 visits0.026 mm lower ± 0.008" in text
    assert "0.017 mm lower ± 0.010real: lower" in text
    assert "0.017 mm higher ± 0.010real: higher" in text
    assert "One line has none recorded." in text
    assert "need not do so because of its foundation" in text


def test_a_group_of_one_line_and_groups_without_another_are_not_judged() -> None:
    lone = replace(compare_story.FRAME, lines=1, told_apart=False)
    assert said.group_verdict(lone, "v") == "one line: too few"
    assert said.group_verdict(replace(lone, from_rest=None), "v") == "nothing to compare with"
    assert said.group_verdict(replace(compare_story.FRAME, u95_from_rest=None), "v") == "too few lines"
    none = replace(compare_story.view(CompareFilters()).cohorts, groups=(), not_recorded=6)
    assert plain(said.groups_said(none, "mm")) == "No foundation is recorded for the lines in view."
    assert plain(said.groups_said(replace(none, groups=(lone,)), "mm")).startswith("All lines in view with a recorded")


def test_the_matrix_is_bold_only_where_a_drift_is_real_and_names_what_is_told_apart() -> None:
    table = with_class(at().body, "mtx")[0]
    rows = [row for row in walk(table) if type(row).__name__ == "Tr"]
    assert [words_of(row) for row in rows] == [
        "GroupVerticalHorizontal",
        "Foundation",
        "Steel frame 4 lines0.026 lower ± 0.008told apart from the others0.011 to the right ± 0.008",
        "Grouted 8 lines0.009 lower ± 0.008told apart from the others–",
        "Place on the line",
        "All lines, at the discharge end 12 lines0.018 lower ± 0.0080.004 to the right ± 0.008",
    ]
    bold = [words_of(node) for node in walk(table) if type(node).__name__ == "B"]
    assert bold == ["0.026 lower", "0.011 to the right", "0.009 lower", "0.018 lower"]


def test_kinds_of_events_say_whether_they_are_real_and_why_not() -> None:
    kinds = [words_of(row) for row in walk(with_class(at().body, "evk")[0]) if type(row).__name__ == "Tr"][1:]
    assert kinds == [
        "Foundation3 times on 3 lines30.030 lower ± 0.012real",
        "Gearbox changedtwice on 2 lines1–one line: judged line by line",
        "Drift changedonce on 1 line1–found in the drift itself: no evidence",
        "Struckonce on 1 line0–no interval on both sides yet",
    ]


def test_a_line_before_and_after_is_said_whole() -> None:
    rows = [words_of(row) for row in walk(with_class(at("?event=gearbox+changed").body, "evl")[0].children)]
    first = next(row for row in rows if row.startswith("ORR-07, station B10 Aug 2024"))
    assert "0.020 mm lower a year ± 0.007 before, 0.034 mm lower a year ± 0.008 after" in first
    assert first.endswith("Faster by 0.014 mm lower a year ± 0.010, 99 % sure. From 4 intervals before and 2 after.")
    second = next(row for row in rows if row.startswith("ORR-02"))
    assert second.endswith("Not to be judged yet: no interval after it. From 3 intervals before and 0 after.")
    struck = words_of(with_class(at("?event=struck").body, "evl"))
    assert "Cannot be told apart: one interval on a side cannot tell a rate from a jump." in struck
    assert "Faster" not in struck


def test_a_line_that_turned_is_not_called_faster() -> None:
    turned = replace(compare_story.GEARBOX[0], before=4.0, after=-30.0, change=-34.0)
    assert plain(said.change_said(turned, "v", "mm")).startswith("Turned by 0.034 mm lower a year")
    slower = replace(turned, before=-30.0, after=-4.0, change=26.0)
    assert plain(said.change_said(slower, "v", "mm")).startswith("Slower by 0.026 mm higher a year")


def test_all_that_is_chosen_is_in_the_address_and_read_back() -> None:
    chosen = CompareFilters("ORR", "steel frame", 63.5, "h", "gearbox", "site", "gearbox changed", 3)
    to = write(parse("/compare", "?unit=thou"), chosen)
    path, _, query = to.partition("?")
    assert path == "/compare"
    assert query == (
        "site=ORR&foundation=steel+frame&screw=63.5&axis=h&at=gearbox&by=site&event=gearbox+changed&page=3&unit=thou"
    )
    assert read(parse(path, query)) == (chosen, ())
    assert write(parse("/compare", ""), CompareFilters()) == "/compare"


def test_what_cannot_be_read_falls_back_and_is_said() -> None:
    page = at("?axis=up&at=middle&by=colour&screw=big&page=0&event=fire")
    assert page.notes == (
        "‘up’ is not an axis; write v or h. The vertical is shown.",
        "‘middle’ is not a place on a line; write discharge or gearbox. The discharge end is shown.",
        "‘colour’ is not what lines are grouped by here; grouped by foundation.",
        "‘big’ is not a screw size in mm; every size is shown.",
        "‘0’ is not a page number; the first page is shown.",
        "Nothing of the kind ‘fire’ happened to the lines in view.",
    )


def test_a_filter_begins_at_the_first_page_again_and_keeps_the_rest() -> None:
    links = [
        str(vars(node).get("href")) for node in walk(at("?page=2&by=site&axis=h").body) if isinstance(node, dcc.Link)
    ]
    assert "/compare?site=TAR&axis=h&by=site" in links
    assert "/compare?by=site" in links  # the other axis


def test_nothing_to_show_is_three_different_things() -> None:
    away = words_of(at("?site=XX").body)
    assert "None of the 25 lines in the store matches what the address asks for." in away
    none = shown(compare_story.nothing(CompareFilters(), in_view=3))
    assert "No drift to compare yet" in none
    assert "None of 3 lines in view has an interval: a survey that was left and the next one found" in none
    empty = shown(compare_story.nothing(CompareFilters(), lines=0))
    assert "The store is empty." in empty
    assert "interval" not in empty.split("How to read")[0]


def test_one_line_alone_has_nothing_to_be_compared_with() -> None:
    view = replace(compare_story.view(CompareFilters()), total=1)
    assert plain(said.lead(view, "mm")) == "One line alone has a drift to judge: nothing to compare it with yet."


def test_the_line_a_reader_came_from_is_marked() -> None:
    marked = with_class(with_class(at("?line=ORR-03").body, "cmp"), "mine")
    assert [words_of(row)[:7] for row in marked] == ["4ORR-03"]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return cast(FlaskClient, build(orrindale.SOURCES).server.test_client())


def taken(client: FlaskClient, name: str, view: str) -> list[str]:
    answer = client.get(f"/download/{name}.csv?view={quote(view)}")
    assert answer.status_code == 200
    return [line for line in answer.get_data(as_text=True).splitlines() if line and not line.startswith("#")]


def test_the_files_hold_what_is_shown_at_full_precision_with_units_in_the_headers(client: FlaskClient) -> None:
    lines = taken(client, "compare-lines", "/compare")
    assert "drift_um_per_year,u95_drift_um_per_year,own_drift_um_per_year" in lines[0]
    assert "screw_diameter_mm" in lines[0]
    assert len(lines) == 1 + 5
    assert ",-21.0,9.0,-158.0,12.0,0.25,-15.0,-6.0,10.0,0.97,no," in lines[3]
    in_thou = taken(client, "compare-lines", "/compare?unit=thou")
    assert "drift_thou_per_year" in in_thou[0]
    assert f",{-21.0 / 25.4!r}," in in_thou[3]
    groups = taken(client, "compare-groups", "/compare")
    assert groups[1].startswith("foundation,steel frame,v,4,20,24,-26.0,8.0,-17.0,10.0,0.001,yes")
    assert len(groups) == 1 + 5  # grouted has no horizontal record
    changes = taken(client, "compare-events", "/compare?event=gearbox+changed")
    assert changes[1].startswith(
        "gearbox changed,ORR-07,1,B,2024-08-10,spare fitted,-20.0,7.0,-34.0,8.0,-14.0,10.0,4,2,"
    )
    assert changes[2].startswith("gearbox changed,ORR-02,1,B,2023-05-01,,,,,,,,3,0,,no")
