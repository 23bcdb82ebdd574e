"""How well the forecast has held: a section that waits to be opened, its verdict first, words beside every dot."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import held_story
import orrindale
import pytest
from dash import html
from flask.testing import FlaskClient
from taken import take
from trees import walk, with_class, words_of

from dashboard.address import Address, parse
from dashboard.app import build, holding, render
from dashboard.pages import held
from fleet.services.backtest import BacktestRow


@pytest.fixture
def client() -> FlaskClient:
    return build(orrindale.SOURCES).server.test_client()


def opened(search: str = "") -> list[Any]:
    return holding(orrindale.SOURCES, parse("/", search))


def click(client: FlaskClient, clicks: int, search: str = "") -> Any:
    """Open or close the section the way the browser does."""
    body = {
        "output": "held.children",
        "outputs": {"id": "held", "property": "children"},
        "inputs": [{"id": "held-opened", "property": "n_clicks", "value": clicks}],
        "state": [
            {"id": "url", "property": "pathname", "value": "/"},
            {"id": "url", "property": "search", "value": search},
        ],
        "changedPropIds": ["held-opened.n_clicks"],
    }
    return client.post("/_dash-update-component", json=body)


def test_the_fleet_page_holds_the_section_closed_and_empty_and_asks_nothing_for_it() -> None:
    body = render(orrindale.SOURCES, parse("/", "")).body
    (section,) = [node for node in walk(body) if isinstance(node, html.Details) and node.className == "held"]
    assert "How well the forecast has held" in words_of(section)
    assert "Holding every as-found against what was expected the day before" in words_of(section)
    assert "188" not in words_of(section)


def test_an_empty_store_has_no_such_section() -> None:
    from dashboard.pages.fleet import fleet_page

    body = fleet_page(orrindale.EMPTY_FLEET, Address()).body
    assert not [node for node in walk(body) if getattr(node, "className", None) == "held"]


def test_opening_brings_the_verdict_first_and_closing_asks_nothing(client: FlaskClient) -> None:
    first = click(client, 1)
    assert first.status_code == 200
    children = first.get_json()["response"]["held"]["children"]
    assert children[0]["props"]["children"] == held_story.SUMMARY.sentence
    assert click(client, 2).get_json()["response"] == {}
    assert "held" in click(client, 3).get_json()["response"]


def test_the_ranges_say_count_expected_share_width_and_verdict() -> None:
    body = opened()
    rows = [words_of(node) for node in walk(with_class(body, "tbl")[0]) if isinstance(node, html.Tr)][1:]
    # 188 of 212 is 88.7 %, 170 is 80.2 %, 140 is 66.0 %; widths in mm to 0.01.
    expected = [
        ("95 %", "mean width 0.08 mm", "188 of 212", "89 %", "194 to 208", "too narrow"),
        ("80 %", "mean width 0.06 mm", "170 of 212", "80 %", "157 to 182", "holds"),
        ("50 %", "mean width 0.03 mm", "140 of 212", "66 %", "91 to 121", "too wide"),
    ]
    for row, pieces in zip(rows, expected, strict=True):
        for piece in pieces:
            assert piece in row.replace("\u00a0", " "), (piece, row)


def test_a_dot_stands_outside_the_rails_on_the_side_its_label_says() -> None:
    tracks = with_class(opened(), "track")
    labels = [track.to_plotly_json()["props"]["aria-label"].replace("\u00a0", " ") for track in tracks]
    assert labels == [
        "95 % range: 188 inside, expected 194 to 208: too narrow",
        "80 % range: 170 inside, expected 157 to 182: holds",
        "50 % range: 140 inside, expected 91 to 121: too wide",
    ]
    at = [float(dot.style["left"].removesuffix("%")) for dot in with_class(tracks, "dot")]
    # Rails at 25 and 75 %: 188 lies 13 below the middle 201 of a half-width of 7, 170 half a value above 169.5 of 12.5.
    assert at == [pytest.approx(50 - 25 * 13 / 7, abs=0.1), pytest.approx(50 + 25 * 0.5 / 12.5, abs=0.1), 97.0]


def test_few_values_are_counted_and_get_neither_share_nor_verdict() -> None:
    table = with_class(opened(), "tbl")[1]
    rows = [words_of(node).replace("\u00a0", " ") for node in walk(table) if isinstance(node, html.Tr)][1:]
    # Stretches nothing was looked ahead over are left out.
    assert len(rows) == 2
    assert "up to 180 days" in rows[0]
    assert "89 %" in rows[0]
    assert "1 to 2 years1 visit86 of 8too few to say8 of 8too few to say0.10" in rows[1]
    assert "100 %" not in rows[1]


def test_lengths_are_in_the_readers_unit() -> None:
    said = words_of(opened("?unit=thou")).replace("\u00a0", " ")
    # 84 um is 3.3 thou, 16.6 um is 0.65 thou: 25.4 um to the thou.
    assert "mean width 3.3 thou" in said
    assert "“found as it was left last” 0.65 thou, the forecast 0.48 thou over the same 204 values." in said
    assert " mm" not in said


def test_a_rule_with_nothing_to_go_by_is_not_named() -> None:
    assert "goes on as over its last interval" not in words_of(opened())


def test_the_site_of_the_address_is_named_asked_for_and_downloaded() -> None:
    body = render(orrindale.SOURCES, parse("/", "?site=ORR")).body
    assert "How well the forecast has held at ORR" in words_of(body)
    links = [node.href for node in walk(opened("?site=ORR&unit=thou")) if isinstance(node, html.A)]
    view = "/%3Fsite%3DORR%26unit%3Dthou"
    assert links == [f"/download/forecasts-held.{form}?view={view}" for form in ("csv", "xlsx")]
    assert words_of(opened("?site=NEW")) == "No as-found could be held against a forecast yet."


def test_a_site_that_is_not_there_is_a_sentence_in_the_section() -> None:
    said = words_of(opened("?site=nowhere"))
    assert said == "This cannot be shownThere is no site 'nowhere'."


def test_every_value_is_to_be_had_as_csv(client: FlaskClient) -> None:
    found = take(client, "forecasts-held", "/?site=ORR")
    (row,) = found.rows
    assert len(row) == len(fields(BacktestRow))
    assert found.about["lines"] == "site ORR"
    # A spreadsheet would take a code that begins with = for a formula.
    assert (row["line"], row["date"], row["measured_um"], row["inside_50"], row["inside_95"]) == (
        "'=ORR-07", "2026-05-09", "-190.0", "no", "yes",
    )  # fmt: skip
    assert take(client, "forecasts-held", "/?site=nowhere").answer.status_code == 404


def test_the_section_and_the_page_share_the_ids_the_callback_listens_to() -> None:
    ids = {node.id for node in walk(render(orrindale.SOURCES, parse("/", "")).body) if getattr(node, "id", None)}
    assert {held.OPENED, held.SHOWN} <= ids
