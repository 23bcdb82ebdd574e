"""Pages as component trees: figure, unit and direction stand together, empty is explained, nothing is raw markup."""

from __future__ import annotations

from dataclasses import replace

import orrindale
import pytest
from dash import dcc
from trees import kind_of, walk, with_class, words_of

from dashboard.address import Address, parse
from dashboard.app import render
from dashboard.components.graph import CONFIG
from dashboard.pages.fleet import fleet_page
from dashboard.pages.page import Shown
from fleet.errors import InputError
from fleet.reports import cautions
from fleet.services.fleet_page import FleetFilters

ADDRESSES = (
    "/",
    "/?unit=thou",
    "/?status=due",
    "/line",
    "/line/ORR-07",
    "/line/ORR-07?unit=thou&axis=h&station=A&a=S-05/1",
    "/line/ORR-13",
    "/line/NONE",
    "/job-sheet",
    "/job-sheet/ORR-07",
    "/cold-offsets",
    "/cold-offsets/ORR-07",
    "/cold-offsets/ORR-07?axis=h",
    "/nowhere",
)


def at(address: str) -> Shown:
    path, _, query = address.partition("?")
    return render(orrindale.SOURCES, parse(path, query))


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_graph_goes_through_the_wrapper_that_sends_nothing_anywhere(address: str) -> None:
    graphs = [node for node in walk(at(address).body) if isinstance(node, dcc.Graph)]
    assert all(graph.config is CONFIG for graph in graphs)
    if address.startswith("/line/ORR-07"):
        assert len(graphs) == 4


def test_the_wrapper_sends_nothing_and_traps_no_scroll() -> None:
    assert (CONFIG["showSendToCloud"], CONFIG["plotlyServerURL"], CONFIG["displaylogo"]) == (False, "", False)
    assert (CONFIG["displayModeBar"], CONFIG["scrollZoom"]) == (False, False)


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_page_shows_raw_markup_or_loads_from_elsewhere(address: str) -> None:
    for node in walk(at(address).body):
        assert not isinstance(node, dcc.Markdown)
        for name in ("href", "src"):
            assert not str(getattr(node, name, "") or "").startswith(("http:", "https:", "//", "javascript:"))


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_two_elements_of_a_page_share_an_id(address: str) -> None:
    ids = [node.id for node in walk(at(address).body) if getattr(node, "id", None)]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("address", ["/", "/line/ORR-07", "/job-sheet/ORR-07", "/cold-offsets/ORR-07"])
def test_every_page_says_how_to_read_a_number_beside_the_axis_sketch(address: str) -> None:
    body = at(address).body
    assert "How to read a number." in words_of(body)
    assert "Standing at the discharge end, right and left swap." in words_of(body)
    (sketch,) = with_class(body, "axsk")
    assert "operator side" in sketch.to_plotly_json()["props"]["aria-label"]


def test_the_fleet_row_has_figure_direction_uncertainty_day_and_chances() -> None:
    said = words_of(at("/").body)
    assert "deviation expected today, mm" in said
    assert (
        "0.31 below target ± 0.09station B · measured 0.19 below, 9 May 2026Goes 0.22 mm a year lower (0.14 to 0.30; "
        "2 intervals), as do 3 of 9 similar lines"
    ) in said
    assert "0.28 right of target (operator side) ± 0.12" in said
    assert "95 %> 99 %probably over since Aug 2026" in said


def test_chances_of_twenty_per_cent_and_more_are_bold() -> None:
    cells = with_class(at("/").body, "pc")
    shown = {words_of(cell): "hot" in (cell.className or "") for cell in cells if words_of(cell) != "–"}
    assert shown == {
        "95 %": True,
        "> 99 %": True,
        "80 %": True,
        "86 %": True,
        "55 %": True,
        "82 %": True,
        "3 %": False,
        "33 %": True,
        "7 %": False,
        "27 %": True,
        "< 1 %": False,
        "2 %": False,
    }


def test_in_thou_the_fleet_page_names_thou_and_converts() -> None:
    said = words_of(at("/?unit=thou").body)
    # 310 um / 25.4 um per thou = 12.2
    assert "deviation expected today, thou" in said
    assert "12.2 below target ± 3.5" in said
    assert "0.31 below" not in said


def test_every_status_is_a_word_beside_its_shape() -> None:
    for mark in with_class(at("/").body, "st"):
        assert words_of(mark) in {"over", "due", "watch", "within", "no record"}


def test_the_unit_is_carried_by_every_link_of_a_page() -> None:
    links = [node.href for node in walk(at("/?unit=thou").body) if kind_of(node) == "Link"]
    assert len(links) > 20
    assert all("unit=thou" in link for link in links)


def test_a_filter_begins_at_the_first_page_again() -> None:
    view = replace(orrindale.FLEET, pages=3, total=120, filters=FleetFilters(page=2))
    body = fleet_page(view, Address(filters=FleetFilters(page=2))).body
    links = {words_of(node): node.href for node in walk(body) if kind_of(node) == "Link"}
    assert links["Next 50"] == "/?page=3"
    assert links["Earlier 50"] == "/"
    assert links["over2"] == "/?status=over"


def test_four_kinds_of_empty_have_four_sentences() -> None:
    store = words_of(fleet_page(orrindale.EMPTY_FLEET, Address()).body)
    away = words_of(at("/?status=over&foundation=frame").body)
    record = words_of(at("/line/ORR-13").body)
    unknown = words_of(at("/line/NONE").body)
    assert "The store is empty." in store
    assert "asleft import FOLDER" in store
    assert "asleft demo" in store
    assert "None of the 11 lines in the store matches what the address asks for." in away
    assert "Show every line" in away
    assert "ORR-13 was not visited yet. Import an old sheet, or record the first visit." in record
    assert "The store holds no line with the code NONE." in unknown


def test_what_a_person_can_put_right_is_said_on_the_page() -> None:
    def refuse(_: object) -> None:
        raise InputError("the store is at version 3; run asleft upgrade")

    sources = replace(orrindale.SOURCES, fleet=refuse)  # type: ignore[arg-type]
    assert "the store is at version 3; run asleft upgrade" in words_of(render(sources, Address()).body)


def test_a_station_the_line_does_not_have_falls_back_to_the_worst_and_is_said() -> None:
    shown = at("/line/ORR-07?station=Q")
    assert "Station B, vertical deviation from the cold target" in words_of(shown.body)
    assert shown.notes == ("ORR-07 has no record at a station ‘Q’; station B is shown.",)


def test_a_survey_the_line_does_not_have_falls_back_and_is_said() -> None:
    said = words_of(at("/line/ORR-07?a=S-99/1").body)
    assert "ORR-07 has no survey ‘S-99/1’; the usual one is shown." in said


def test_the_line_page_compares_the_newest_as_left_with_the_newest_survey() -> None:
    said = words_of(with_class(at("/line/ORR-07").body, "st2"))
    assert "as-left 14 Jun 2025as-found 9 May 2026expected todayof target" in said
    assert "B support3 1500.21 low0.45 low0.57 low ± 0.090.31 below over" in said


def test_a_remark_with_markup_is_shown_as_it_was_typed() -> None:
    assert "<b>shim</b> under B was loose" in words_of(at("/line/ORR-07").body)


def test_the_job_sheet_shows_all_nine_cautions_in_full_and_folded() -> None:
    body = at("/job-sheet/ORR-07").body
    for form in ("full", "tap"):
        said = words_of(with_class(body, form))
        for lead, rest in cautions.cautions(8.2, "mm"):
            assert f"{lead} {rest}".replace("\u00a0", " ") in said
        assert said.endswith(cautions.LAST)


def test_a_figure_to_set_to_names_both_its_parts_in_words() -> None:
    said = words_of(at("/job-sheet/ORR-07").body)
    assert "0.20 low (target 0.26 low, 0.06 higher against drift)" in said
    assert "Good enough: within 0.05 mm of the bold figure." in said


def test_the_job_sheet_prints_at_its_paper_address_in_the_readers_unit() -> None:
    links = [node.href for node in walk(at("/job-sheet/ORR-07?unit=thou").body) if kind_of(node) == "A"]
    assert links == ["/job-sheet/ORR-07/print?unit=thou", "/job-sheet/ORR-07/pdf?unit=thou"]


def test_cold_offsets_mark_the_recommended_way_and_count_the_checks_within() -> None:
    body = at("/cold-offsets/ORR-07").body
    (best, _) = with_class(body, "rec")
    assert words_of(best).startswith(
        "This line’s own checks recommendedleaving out the check that is judged0.26 low ± 0.02"
    )
    assert "0 of 52 of 5" in words_of(with_class(body, "cold"))


def test_several_sites_each_have_a_lane_with_the_nearest_stops_in_it() -> None:
    other = replace(orrindale.ROWS[2], line="TAR-01", site="TAR")
    stop = replace(orrindale.OUTAGES[0], code="TAR-1", site="TAR")
    view = replace(
        orrindale.FLEET,
        rows=(orrindale.ROWS[0], other),
        sites=("ORR", "TAR"),
        site_names={"ORR": "Orrindale", "TAR": "Tarnholt"},
        outages=(*orrindale.OUTAGES, stop),
    )
    lanes = [words_of(lane) for lane in with_class(fleet_page(view, Address()).body, "lane")]
    assert lanes[0].startswith("Orrindale19–30 Dec3–7 Apr")
    assert lanes[1] == "Tarnholt19–30 Dec"
