"""What is taken along: the rows of the selection, full precision, the reader's unit, a name that tells files apart.

The acceptance tests 3, 4 and 10 of what users of such pages ask for (exports, units, how fresh).
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any
from urllib.parse import unquote

import openpyxl
import orrindale
import pytest
import session_story
from dash import dcc, html
from flask.testing import FlaskClient
from taken import take
from trees import walk, with_class

from dashboard.address import parse
from dashboard.app import build, render
from dashboard.sources import Sources
from dashboard.tables import TABLES


@pytest.fixture
def client() -> FlaskClient:
    return build(orrindale.SOURCES).server.test_client()


def test_the_fleets_csv_holds_the_selection_at_full_precision_with_units_and_iso_days(client: FlaskClient) -> None:
    found = take(client, "fleet", "/?status=over")
    (first, second) = found.rows
    assert (first["line"], second["line"]) == ("ORR-07", "ORR-03")
    assert (first["deviation_um"], first["measured_on"], first["as_of"]) == ("-310.0", "2026-05-09", "2026-11-25")
    assert first["chance_before_next_outage_fraction"] == "0.953"
    assert (found.about["as of"], found.about["lines"]) == ("2026-11-25", "status over")
    assert found.about["view"] == "/?status=over"
    assert found.about["state of"] == "2026-11-25T07:10:00+00:00"
    assert found.answer.mimetype == "text/csv"


def test_the_same_in_thou_follows_the_reader_and_leaves_a_screws_size_in_mm(client: FlaskClient) -> None:
    (first, _) = take(client, "fleet", "/?status=over&unit=thou").rows
    # 25.4 um to the thou.
    assert float(first["deviation_thou"]) == pytest.approx(-310.0 / 25.4, rel=1e-15)
    assert (first["screw_diameter_mm"], float(first["limit_thou"])) == ("120.0", pytest.approx(9.8425197, rel=1e-7))
    assert "deviation_um" not in first


def test_the_workbook_holds_the_same_rows_with_numbers_that_are_numbers(client: FlaskClient) -> None:
    answer = client.get("/download/fleet.xlsx?view=/%3Fstatus%3Dover")
    assert answer.mimetype == "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    book = openpyxl.load_workbook(io.BytesIO(answer.get_data()))
    header, first, second = book["Table"].iter_rows()
    at = {cell.value: number for number, cell in enumerate(header)}
    assert [row[at["line"]].value for row in (first, second)] == ["ORR-07", "ORR-03"]
    assert [row[at["deviation_um"]].value for row in (first, second)] == [-310, 280]
    assert first[at["deviation_um"]].data_type == "n"
    assert first[at["measured_on"]].is_date
    assert ("lines", "status over") in [tuple(cell.value for cell in row) for row in book["About"].iter_rows()]


def test_the_csv_holds_every_page_of_the_selection() -> None:
    def paged(filters: Any) -> Any:
        row = replace(orrindale.ROWS[0], line=f"P-{filters.page}")
        return replace(orrindale.FLEET, rows=(row,), pages=3, filters=filters)

    client = build(replace(orrindale.SOURCES, fleet=paged)).server.test_client()
    assert [row["line"] for row in take(client, "fleet", "/?page=2").rows] == ["P-1", "P-2", "P-3"]


def test_text_that_a_spreadsheet_would_run_is_made_plain_and_numbers_stay_numbers() -> None:
    row = replace(orrindale.ROWS[0], description='=HYPERLINK("x")')
    sources: Sources = replace(orrindale.SOURCES, fleet=lambda _: replace(orrindale.FLEET, rows=(row,)))
    (written,) = take(build(sources).server.test_client(), "fleet", "/").rows
    assert written["description"] == '\'=HYPERLINK("x")'
    assert float(written["deviation_um"]) == -310.0


def test_two_selections_have_two_names_with_what_and_when(client: FlaskClient) -> None:
    names = [
        re.fullmatch('attachment; filename="(.+)"', take(client, *what).answer.headers["Content-Disposition"])
        for what in (("fleet", "/?status=over"), ("fleet", "/?status=due"), ("line-history", "/line/ORR-07"))
    ]
    over, due, history = (name.group(1) for name in names if name)
    assert re.fullmatch(r"fleet_2026-11-25_[0-9a-f]{7}\.csv", over)
    assert over != due
    # The history runs from its first visit to the end of its fan: 23 steps of 30 days after 9 May 2026.
    assert re.fullmatch(r"history-orr-07-b-v_2022-03-12_2028-03-29_[0-9a-f]{7}\.csv", history)


def test_the_historys_numbers_are_those_drawn_visits_forecast_events_and_changed_targets(client: FlaskClient) -> None:
    found = take(client, "line-history", "/line/ORR-07")
    kinds = [row["kind"] for row in found.rows]
    assert {kind: kinds.count(kind) for kind in kinds} == {
        "measured": 10, "event": 1, "target changed": 1, "forecast": 24,
    }  # fmt: skip
    newest = [row for row in found.rows if row["kind"] == "measured"][-1]
    assert (newest["at"], newest["session"], newest["phase"]) == ("2026-05-09T08:00:00+00:00", "S-06", "as_found")
    assert (newest["deviation_um"], newest["u95_deviation_um"], newest["target_um"]) == ("-190.0", "25.0", "-260.0")
    changed = next(row for row in found.rows if row["kind"] == "target changed")
    assert changed["target_um"] == "-260.0"
    assert (found.about["station"], found.about["axis"], found.about["zone"]) == ("B", "v", "Europe/London")
    assert found.about["limit"] == "250 um"


def test_the_profiles_numbers_are_both_surveys_and_today_at_every_station(client: FlaskClient) -> None:
    rows = take(client, "line-profile", "/line/ORR-07").rows
    # Six stations, two axes, two surveys and what is expected today.
    assert len(rows) == 6 * 2 * 3
    (today,) = (r for r in rows if (r["station"], r["axis"], r["seen"]) == ("B", "v", "expected"))
    assert (today["offset_um"], today["deviation_um"], today["target_um"]) == ("-570.0", "-310.0", "-260.0")
    (left,) = (r for r in rows if (r["station"], r["axis"], r["survey"]) == ("B", "h", "S-05/2"))
    assert (left["offset_um"], left["seen"]) == ("-10.0", "as_left")


def test_drift_and_sessions_are_to_be_had_too(client: FlaskClient) -> None:
    drift = take(client, "line-drift", "/line/ORR-07").rows
    assert [(row["moved_um"], row["rate_um_per_1000_h"], row["rate_um_per_year"]) for row in drift] == [
        ("-240.0", "-37.0", ""), ("-200.0", "-33.0", ""), ("-140.0", "-21.0", ""),
    ]  # fmt: skip
    sessions = take(client, "line-sessions", "/line/ORR-07").rows
    assert [row["session"] for row in sessions] == ["S-06", "S-05", "S-01"]
    assert sessions[1]["remarks"] == "<b>shim</b> under B was loose"


def test_a_visits_readings_offsets_and_moves_are_to_be_had_with_what_was_typed(client: FlaskClient) -> None:
    view = f"/session/{session_story.FIRST.session}"
    typed = take(client, "visit-readings", view).rows
    assert [(row["survey"], row["station"], row["beam_roll_deg"], row["unit"]) for row in typed] == [
        ("1", "A", "0.0", "mm"), ("1", "A", "180.0", "mm"), ("1", "B", "90.0", "mm"),
    ]  # fmt: skip
    # Text: what a spreadsheet might work out begins with an apostrophe.
    assert [(row["v_typed"], row["h_typed"]) for row in typed] == [
        ("0.10", "'-0.213"),
        ("'-.5", "'+0.19"),
        ("1e-1", "0"),
    ]
    came_to = take(client, "visit-offsets", view).rows
    found = [row for row in came_to if row["survey"] == "1" and row["axis"] == "v"]
    assert [(row["station"], row["measured_um"]) for row in found] == [("A", "-310.0"), ("B", "-386.0")]
    assert len(take(client, "visit-moves", view).rows) == len(session_story.FIRST.moves)


def test_every_figure_and_link_of_a_visit_can_be_taken(client: FlaskClient) -> None:
    body = render(orrindale.SOURCES, parse(f"/session/{session_story.FIRST.session}", "unit=thou")).body
    links = {node.href for node in walk(body) if isinstance(node, html.A) and node.href.startswith("/download/")}
    names = {link.removeprefix("/download/").split("?")[0] for link in links}
    assert names >= {"visit-offsets.csv", "visit-offsets.xlsx", "visit-readings.csv", "visit-readings.xlsx"}
    for link in links:
        assert client.get(link).status_code == 200, link
        assert "unit=thou" in unquote(link)


@pytest.mark.parametrize("name", sorted(TABLES))
def test_a_table_that_cannot_be_made_is_a_sentence_and_no_page(name: str, client: FlaskClient) -> None:
    answer = client.get(f"/download/{name}.csv?view=/line/NONE%3Fsite%3Dnowhere")
    if name in ("fleet", "changes"):
        assert answer.status_code == 200
    else:
        assert (answer.status_code, answer.mimetype) == (404, "text/plain")
    other = client.get("/download/nothing.csv")
    assert other.status_code == 404
    assert other.get_data(as_text=True) == "there is no table 'nothing.csv' here; take it from the page that shows it\n"
    assert client.get(f"/download/{name}.pdf").status_code == 404


@pytest.mark.parametrize("view", ["/", "/?unit=thou&status=due", "/line/ORR-07?unit=thou", "/cold-offsets/ORR-07"])
def test_every_figure_and_link_of_a_page_can_be_taken_in_the_view_it_is_shown_in(
    view: str, client: FlaskClient
) -> None:
    path, _, search = view.partition("?")
    body = render(orrindale.SOURCES, parse(path, search)).body
    links = [node.href for node in walk(body) if isinstance(node, html.A) and node.href.startswith("/download/")]
    assert links != []
    for link in links:
        assert client.get(link).status_code == 200, link
        assert ("unit=thou" in unquote(link)) == ("unit=thou" in view)
    charts = [node.id for node in walk(body) if isinstance(node, dcc.Graph)]
    offered = [getattr(node, "data-chart") for node in with_class(body, "get") if isinstance(node, html.Button)]
    # PNG and SVG of each.
    assert sorted(offered) == sorted(charts * 2)
    for button in (node for node in with_class(body, "get") if isinstance(node, html.Button)):
        assert getattr(button, "data-caption").endswith("As of 25\u00a0Nov\u00a02026.")


def test_a_view_too_long_to_be_taken_along_is_refused_and_never_cut_short(client: FlaskClient) -> None:
    # Cut short, a plan's address would lose the last lines held by hand: another plan under the same name.
    pins = ",".join(f"L{n}:O{n}" for n in range(800))
    answer = client.get("/download/fleet.csv", query_string={"view": f"/outages?into={pins}"})
    assert answer.status_code == 400
    said = answer.get_data(as_text=True)
    assert said.startswith(f"This view's address has {len(pins) + 14} characters; at most 5000 can be taken along.")
    assert said.endswith("save the plan and take it from there.\n")
