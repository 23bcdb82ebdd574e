"""Cold offsets by way of choosing: the answer first, each figure with its doubt, words beside every mark."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import cold_story
import orrindale
import pytest
from dash import dcc, html
from flask.testing import FlaskClient
from taken import take
from trees import walk, with_class, words_of

from dashboard.address import Address, href, parse
from dashboard.app import build, render
from dashboard.components import cold
from dashboard.components.rich import plain
from dashboard.pages.cold_by_way import by_way_lead, cold_by_way_page
from dashboard.pages.cold_by_way_groups import group_verdict, serves
from fleet.services.cold_offset_groups import ComparisonRow, Share, WaysView


def body(query: str = "") -> list[Any]:
    return render(orrindale.SOURCES, parse("/cold-offsets", query)).body


def row_words(table: Any) -> list[str]:
    return [words_of(row) for row in walk(table) if isinstance(row, html.Tr)][1:]


def test_the_first_sentence_says_which_way_came_out_closest_and_which_cannot_be_told_from_it() -> None:
    assert plain(by_way_lead(cold_story.view("v", None, "size"), "mm")) == (
        "Choosing by each line’s own checks came out closest to the axis vertically: 0.030 mm ± 0.010 root mean square "
        "over 31 checks on 3 lines, to 25 Nov 2026. Comparable lines’ checks cannot be told from that. Farther off: "
        "the heat model 0.060 mm, the rule by bore size 0.090 mm and no offset 0.220 mm. One line has no check to "
        "judge by."
    )


def test_in_thou_the_sentence_has_the_same_lengths() -> None:
    said = plain(by_way_lead(cold_story.view("h", None, "size"), "thou"))
    # 30 / 25.4 = 1.181, 10 / 25.4 = 0.394, 220 / 25.4 = 8.661 (1 thou = 25.4 um)
    assert "closest to the axis horizontally: 1.18 thou ± 0.39 root mean square" in said
    assert "no offset 8.66 thou" in said
    assert " mm" not in said


def test_a_fleet_without_three_checks_of_any_way_is_given_no_winner() -> None:
    view = cold_story.view("v", None, "size")
    few = replace(view, fleet=replace(view.fleet, runs=2, closest=None, as_good=()))
    assert plain(by_way_lead(few, "mm")) == (
        "Over 2 checks on 3 lines, to 25 Nov 2026: fewer than three checks judge any way, so none can be called "
        "closest yet."
    )


def test_each_way_stands_with_bias_rms_and_shares_and_the_lines_it_serves() -> None:
    (table,) = with_class(body(), "cw")
    rows = row_words(table)
    own, none = rows[0], rows[-1]
    assert own == (
        "Each line’s own checks closestleaving out the check that is judged1 beyond2 beyond0.000 on axis ± 0.020"
        "0.030 ± 0.010100 %90–100 %100 %90–100 %1 of 2 lines"
    )
    assert none.startswith("No offset")
    assert "0.218 high ± 0.0200.220 ± 0.010" in none
    # Whole per cent, a half rounded up as chances are elsewhere: 34.5 % is 35 %.
    assert none.endswith("35 %24–100 %0 of 2 lines")


def test_a_way_without_a_limit_to_judge_by_says_so_in_place_of_its_picture() -> None:
    assert "no limit to judge by" in words_of(with_class(body(), "cw"))


def test_every_picture_tells_a_screen_reader_how_many_lay_where() -> None:
    labels = [
        node.to_plotly_json()["props"]["aria-label"]
        for node in with_class(body(), "sp")
        if "aria-label" in node.to_plotly_json()["props"]
    ]
    assert labels[0] == "13 values: about 10 within the limit, 1 ran low past it, 2 ran high past it"
    assert "ran left past it" in cold._spread_words(cold_story.SPREAD, "h")


@pytest.mark.parametrize(
    ("by", "sentence"),
    [
        ("size", "Closest: comparable lines’ checks on 105 to 120 mm; the heat model on 60 mm."),
        (
            "saddle",
            "Closest: each line’s own checks on vees; the heat model on flat saddles. One with too few checks to say.",
        ),
        ("site", "Closest: each line’s own checks at ORR."),
    ],
)
def test_the_groups_are_answered_in_a_sentence_before_their_figures(by: str, sentence: str) -> None:
    said = words_of(body(f"by={by}")).replace("\u00a0", " ")
    assert sentence in said


def test_in_every_group_the_closest_and_its_equals_carry_a_word() -> None:
    (table,) = with_class(body(), "gr")
    sixty, larger = row_words(table)
    assert sixty == (
        "60 mm1 line, 3 checks0.017 ± 0.0100.015 ± 0.010 as good0.014 ± 0.010 closest0.137 ± 0.0100.054 ± 0.010"
    )
    assert "0.019 ± 0.010 as good0.018 ± 0.010 closest" in larger
    assert "One more by screw size without a running check." in words_of(body())


def test_a_chosen_way_is_told_with_the_lines_it_serves() -> None:
    view = cold_story.view("v", None, "size")
    assert plain(serves(view, "heat_model")) == (
        "Closest on ORR-12. Another way came closer on one line. Two lines have fewer than three checks: there no way "
        "can be called closest."
    )
    assert plain(serves(view, "pooled")).startswith("As good as the closest on ORR-07 and ORR-12. Two lines")
    assert plain(serves(view, "none")).startswith("Closest on no line that can be judged. ")
    assert "By bore size: where it serves" in words_of(body("way=bore_size"))


def test_each_line_names_its_closest_way_and_leads_to_its_own_page() -> None:
    (table,) = with_class(body("axis=h&unit=thou"), "lw")
    assert [words_of(row).split("±")[0] for row in walk(table) if isinstance(row, html.Tr)][1:] == [
        "ORR-07120 mm, vees26Its own checksas good: comparable lines1.18 ",
        "ORR-08120 mm, flat saddles and vees2too few checks to say–0.04 ",
        "ORR-1260 mm, flat saddles3Heat modelas good: comparable lines0.55 ",
        "ORR-130no running check––",
    ]
    links = [node.href for node in walk(table) if isinstance(node, dcc.Link)]
    assert links[0] == "/cold-offsets/ORR-07?axis=h&unit=thou"


def test_the_line_the_reader_came_from_is_marked_and_one_click_away() -> None:
    page = body("line=ORR-08")
    assert [words_of(row)[:6] for row in with_class(page, "mine")] == ["ORR-08"]
    (switch,) = with_class(page, "read")
    assert [node.href for node in walk(switch) if isinstance(node, dcc.Link)] == ["/cold-offsets/ORR-08"]


def test_every_choice_keeps_what_was_chosen_before() -> None:
    page = body("axis=h&by=saddle&way=none&site=ORR&unit=thou")
    lists = with_class(page, "pop-list")
    hrefs = [node.href for node in walk(lists) if isinstance(node, dcc.Link)]
    assert "/cold-offsets?site=ORR&by=saddle&way=none&axis=v&unit=thou" in hrefs
    assert "/cold-offsets?site=ORR&by=saddle&way=pooled&axis=h&unit=thou" in hrefs
    assert "/cold-offsets?by=saddle&way=none&axis=h&unit=thou" in hrefs


def test_a_share_is_never_rounded_to_all_or_to_none() -> None:
    assert [cold.percent(share).replace("\u00a0", " ") for share in (0.0, 0.002, 0.5, 0.998, 1.0)] == [
        "0 %", "1 %", "50 %", "99 %", "100 %",
    ]  # fmt: skip
    assert cold.span(Share(1.0, 1.0, 1.0)).replace("\u00a0", " ") == "100 %"


def test_an_empty_store_a_site_without_lines_and_lines_without_checks_each_have_their_sentence_and_next_step() -> None:
    none = WaysView("v", None, (), "size", cold_story.view("v", "X", "size").fleet, (), (), (), cold_story.AS_OF)
    assert "The store is empty." in words_of(cold_by_way_page(none, Address(page="cold-offsets")).body)
    away = body("site=NOWHERE")
    assert "No line stands at a site ‘NOWHERE’." in words_of(away)
    assert [node.href for node in walk(away) if isinstance(node, dcc.Link)] == ["/cold-offsets"]
    view = cold_story.view("v", None, "size")
    fleet = replace(view.fleet, checked=0, runs=0, ways=cold_story.NOTHING, closest=None, as_good=())
    bare = replace(view, fleet=fleet, groups=(), lines=view.lines[-1:])
    said = words_of(cold_by_way_page(bare, Address(page="cold-offsets")).body)
    assert "No running check on any of 4 lines: nothing tells which way comes out right." in said
    assert "Next: put indicators on one line before start-up" in said
    assert "guards stay on" in said
    assert "RMS" not in said.replace("RMS, mm", "")


def test_groups_all_without_enough_checks_are_said_to_be() -> None:
    view = cold_story.view("v", None, "saddle")
    few = replace(view, groups=view.groups[1:2])
    assert group_verdict(few) == "Fewer than three checks in each: too few to call a way closest."


@pytest.mark.parametrize(
    ("query", "note"),
    [
        ("by=colour", "‘colour’ is not what lines are grouped by here; grouped by screw size."),
        ("way=luck", "‘luck’ is not a way of choosing; the closest is shown."),
    ],
)
def test_what_cannot_be_read_in_the_address_is_said(query: str, note: str) -> None:
    assert parse("/cold-offsets", query).notes == (note,)


def test_the_address_of_all_lines_is_read_back_as_it_was_written() -> None:
    address = parse("/cold-offsets", "site=ORR&by=site&way=bore_size&line=ORR-07&axis=h&unit=thou")
    assert address.notes == ()
    path, _, query = href(address).partition("?")
    assert parse(path, query) == address
    # A line's own address carries none of it.
    assert href(replace(address, code="ORR-07")) == "/cold-offsets/ORR-07?axis=h&unit=thou"


@pytest.fixture
def client() -> FlaskClient:
    return build(orrindale.SOURCES).server.test_client()


def test_the_comparison_is_to_be_had_as_csv_of_one_line_a_site_or_all(client: FlaskClient) -> None:
    found = take(client, "cold-offsets", "/cold-offsets/ORR-07")
    assert 'filename="cold-offsets-orr-07_2026-11-25_' in found.answer.headers["Content-Disposition"]
    first, second = found.rows
    assert len(first) == len(fields(ComparisonRow))
    # A spreadsheet would take a code that begins with = for a formula.
    assert (first["station"], first["recommended"], first["cold_target_um"]) == ("'=B", "yes", "-260.0")
    assert (second["recommended"], second["u95_cold_target_um"], second["as_of"]) == ("no", "", "2026-11-25")
    assert take(client, "cold-offsets", "/cold-offsets/NONE").answer.status_code == 404
    assert take(client, "cold-offsets", "/cold-offsets?site=ELSEWHERE").rows == []
    assert len(take(client, "cold-offsets", "/cold-offsets").rows) == 2
