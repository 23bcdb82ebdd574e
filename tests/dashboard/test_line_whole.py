"""The rest of the Line page: limits, changed drift, what stands beside a movement, gaps, steps, digits, emptiness.

The contents were chosen by hand beside those of `orrindale`; expected words were converted by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import orrindale
import pytest
from dash import dcc, html
from flask.testing import FlaskClient
from trees import walk, with_class, words_of

from dashboard import line_forms
from dashboard.address import Address
from dashboard.app import build
from dashboard.figures.history import history_figure
from dashboard.figures.profile import profile
from dashboard.pages import line_beside, line_limit, line_regime, line_tables
from dashboard.pages.line import line_page
from dashboard.tables.line import history as history_table
from fleet.errors import InputError
from fleet.services.limits import Band, LimitAsked, LimitRow, LimitsView
from fleet.services.line_page import LineView
from fleet.services.movement_evidence import FindingFact, LevelAnswer, MovementEvidence, WearFact
from fleet.services.planning.line_visit import LineVisit
from fleet.services.regime_words import Rate
from fleet.services.regimes import RegimeRow
from fleet.words import ReaderUnit

LINE = orrindale.LINE
HISTORY = orrindale.HISTORY
HERE = Address(page="line", code="ORR-07")
LEVEL = LevelAnswer("6", 3700.0, 70.0, 27.7, -259.0, 102.6, -240.0, 35.0, -5.0, 29.0, "gearbox")
BESIDE = MovementEvidence(
    level=LEVEL,
    no_level=None,
    axis_by=("shaft_turned", "bore_centred"),
    worn_um=50.0,
    wear=(WearFact("barrel", date(2025, 9, 1), 3000.0, 120.0, 80.0, 100.0, 50.0, "bore gauge", True),),
    findings=(FindingFact("S-06", date(2026, 5, 9), "soft foot", "0.12", "mm", "gearbox front"),),
)
LIMITS = LimitsView(
    rows=(
        LimitRow(None, "v", date(2026, 1, 1), 80.0, 150.0, None, "plant rule of 2026", "in force"),
        LimitRow(None, "v", None, 130.0, 250.0, 50.0, None, "followed by another"),
    ),
    missing=(),
    stations=("A", "B"),
    screw_diameter_mm=120.0,
    clearance_um=120.0,
)
CHANGE = RegimeRow(
    "ORR-07:v:S-03", "ORR-07", "B", "v", "S-03", date(2024, 1, 20), date(2024, 1, 20), date(2024, 8, 12),
    Rate(-29.0, -51.0, -7.0), Rate(-97.0, -122.0, -72.0), "um_per_year", 4, 3, 4.94, "", None, None, None, None,
)  # fmt: skip


def page(view: LineView, unit: ReaderUnit = "mm") -> str:
    return words_of(line_page(view, replace(HERE, unit=unit)).body)


# Beside a movement.


def test_two_levels_say_what_the_gearbox_accounts_for_and_that_it_moved() -> None:
    view = replace(LINE, beside=BESIDE)
    text = page(view)
    # 70 um/m over 3.7 m are 259 um.
    assert "The gearbox tilted 0.070 mm/m (± 0.028) higher toward the discharge end." in text
    assert "That alone makes 0.26 mm lower (± 0.10) of the bore at station 6; it went 0.24 mm lower (± 0.04)." in text
    assert "The gearbox moved; what is left for the barrel is within what was measured." in text
    assert "needs a level on the gearbox" not in text
    # 70 um/m are 0.84 thou to the foot (25.4 um, 0.3048 m), 259 um are 10.2 thou.
    inches = page(view, "thou")
    assert "tilted 0.84 thou/ft" in inches
    assert "10.2 thou lower" in inches


@pytest.mark.parametrize(
    ("why", "said"),
    [
        ("at neither", "No level of the gearbox was recorded at either survey."),
        ("at the first only", "recorded at the first of the two surveys only"),
        ("at the second only", "recorded at the second of the two surveys only"),
        ("gearbox exchanged", "the levels of two gearboxes say nothing of a tilt"),
    ],
)
def test_without_two_levels_neither_is_blamed_and_the_page_says_what_would_tell(why: Any, said: str) -> None:
    text = page(replace(LINE, beside=replace(BESIDE, level=None, no_level=why)))
    assert said in text
    assert "which of the two moved needs a level on the gearbox" in text
    for blame in ("The gearbox moved", "The barrel moved", "Both moved", "sinks"):
        assert blame not in text


def test_wear_findings_and_two_ways_of_telling_the_axis_stand_beside_it() -> None:
    text = page(replace(LINE, beside=BESIDE))
    assert (
        "Axis. The gearbox axis was found by turning the shaft at the first survey and by centring on the bore" in text
    )
    assert "On 1 Sep 2025 the bore was 0.120 mm wider vertically than new at 3 000 mm." in text
    assert "Of that 0.100 mm came since the measurement before the first survey." in text
    assert "could sit up to 0.050 mm lower, more than this movement’s own uncertainty" in text
    assert "Found. 9 May 2026: soft foot 0.12 mm, gearbox front." in text


def test_a_level_says_nothing_of_a_turn_aside() -> None:
    text = words_of(line_beside.beside(replace(LINE, beside=BESIDE), "mm", "h", worked_on=False))
    assert "Level." not in text
    assert "Wear." not in text
    assert "Found." in text


def test_what_was_done_to_the_supports_is_not_counted_as_the_barrels_own() -> None:
    moved = replace(BESIDE, level=replace(LEVEL, which="barrel"))
    text = words_of(line_beside.beside(replace(LINE, beside=moved), "mm", "v", worked_on=True))
    assert "The barrel moved" in text
    assert "The supports were worked on in between" in text


# Changed drift.


def test_a_change_of_drift_is_offered_with_its_evidence_in_the_readers_unit() -> None:
    view = replace(LINE, proposals=(CHANGE,))
    text = page(view)
    # exp(4.94) = 139.8
    assert (
        "From 20 Jan 2024 on (or another visit from 20 Jan 2024 to 12 Aug 2024) station B goes 0.097 mm lower "
        "(0.072 to 0.122) a year; before it went 0.029 mm lower (0.007 to 0.051). 4 intervals before, 3 after; the "
        "record is about 140 times likelier with the change than without."
    ) in text
    assert text.index("Did it begin to drift otherwise") < text.index("Where the bore lies")
    # 97 um are 3.82 thou.
    assert "3.82 thou lower" in page(view, "thou")
    assert "Did it begin" not in page(LINE)


def test_a_rate_whose_range_reaches_the_other_way_names_both() -> None:
    either = replace(CHANGE, before=Rate(-20.0, -60.0, 20.0), rate_unit="um_per_1000_h")
    text = line_regime.evidence(either, "mm").replace("\u00a0", " ")
    assert "before it went 0.020 mm lower (0.020 higher to 0.060 lower)" in text
    assert "per 1 000 running hours" in text


def test_both_answers_are_buttons_and_every_field_has_its_label() -> None:
    (offer,) = line_regime.offers(replace(LINE, proposals=(CHANGE,)), "mm")
    assert [words_of(node) for node in walk(offer) if isinstance(node, html.Button)] == [
        "It changed",
        "It did not change",
    ]
    labels = [words_of(node) for node in walk(offer) if isinstance(node, html.Label)]
    assert labels == ["What happened then, or why nothing did", "Your name (kept as typed, not verified)"]


# Limits.


def test_limits_are_listed_with_their_days_and_where_they_come_from() -> None:
    text = page(replace(LINE, limits=LIMITS))
    assert "1 Jan 2026whole linevertical0.1500.080–plant rule of 2026in force" in text
    assert "alwayswhole linevertical0.2500.1300.050not recordedheld until the next" in text
    assert "over means more than the limit, not equal to it" in text
    # 150 um are 5.91 thou.
    assert "5.91 thou either side" in page(replace(LINE, limits=LIMITS), "thou")


def test_a_line_without_a_limit_says_so_and_what_one_may_be_taken_from() -> None:
    none = replace(LIMITS, rows=(), missing=(("A", "v"), ("A", "h"), ("B", "v"), ("B", "h")))
    body = line_page(replace(LINE, limits=none), HERE).body
    text = words_of(body)
    assert "No limit to judge it by" in text
    # A thousandth of 120 mm, from memory: 0.12 mm; a quarter 0.03, half 0.06.
    assert (
        "A new screw of 120 mm has a radial clearance of about 0.120 mm (a thousandth of its diameter, a rule of "
        "thumb); 25 % of it 0.030 mm, 50 % of it 0.060 mm."
    ) in text
    assert [node.href for node in walk(body) if isinstance(node, html.A) and words_of(node) == "Set a limit"] == [
        "#limits"
    ]
    some = replace(LIMITS, missing=(("A", "h"), ("B", "h")))
    assert "No limit is recorded horizontal at every station" in page(replace(LINE, limits=some))
    assert "has no limit" not in page(replace(LINE, limits=LIMITS))


def test_a_share_of_the_clearance_is_worked_out_in_the_readers_unit() -> None:
    assert line_limit.worked_out("50", 120.0, "mm")[0] == "0.060"
    # 60 um / 25.4 = 2.362 thou.
    assert line_limit.worked_out(" 50 % ", 120.0, "thou")[0] == "2.36"
    assert line_limit.worked_out("half", 120.0, "mm") == ("", "")
    assert line_limit.worked_out("50", None, "mm") == ("", "")


def stepped() -> LineView:
    bands = (Band(None, 130.0, 250.0), Band(date(2026, 1, 1), 80.0, 150.0))
    points = tuple(replace(point, verdict="over" if point.session == "S-06" else "within") for point in HISTORY.points)
    return replace(
        LINE, history=replace(HISTORY, bands=bands, points=points, watch_um=80.0, limit_um=150.0), limits=LIMITS
    )


def test_the_corridor_steps_on_the_day_of_the_new_limit() -> None:
    figure = history_figure(stepped(), "mm")
    assert figure is not None
    first, last = figure["layout"]["xaxis"]["range"]
    begin, end = date.fromisoformat(first), date.fromisoformat(last)
    corridors = [shape for shape in figure["layout"]["shapes"] if shape.get("name") == "corridor"]
    at = (date(2026, 1, 1) - begin).days / (end - begin).days
    assert [(shape["x0"], shape["x1"]) for shape in corridors] == [(0.0, pytest.approx(at)), (pytest.approx(at), 1.0)]
    limits = [trace for trace in figure["data"] if trace["name"] == "limit"]
    assert [trace["x"] for trace in limits] == [[first, "2026-01-01", "2026-01-01", last]] * 2
    assert [trace["y"] for trace in limits] == [[0.25, 0.25, 0.15, 0.15], [-0.25, -0.25, -0.15, -0.15]]
    said = [note["text"] for note in figure["layout"]["annotations"]]
    assert "limit changed, 0.25 to 0.15" in said
    assert "<b>limit 0.15</b>" in said


def test_a_limit_that_never_changed_is_one_flat_corridor() -> None:
    figure = history_figure(LINE, "mm")
    assert figure is not None
    (corridor,) = [shape for shape in figure["layout"]["shapes"] if shape.get("name") == "corridor"]
    assert (corridor["x0"], corridor["x1"]) == (0.0, 1.0)
    assert not any(shape.get("name") == "limit changed" for shape in figure["layout"]["shapes"])


def test_every_visit_says_its_verdict_by_the_limit_of_its_day_in_a_word() -> None:
    view = stepped()
    table = words_of(line_tables.visits(view, "mm"))
    assert "By that day’s limit" in table
    assert "9 May 2026as-found0.19 below ± 0.030.26 lowover" in table
    assert "18 Feb 2023as-found0.12 below ± 0.030.22 lowwithin" in table
    assert "1 Jan 2026limit 0.150 mm either side from here on, watch 0.080 mm" in table
    assert "by the limit that holds since 1 Jan 2026" in page(view)


def test_the_historys_file_carries_verdicts_and_the_limits_of_their_days() -> None:
    sources = replace(orrindale.SOURCES, line=lambda *_: stepped())
    table = history_table(sources, HERE)
    names = [column.name for column in table.columns]
    kind, verdict, limit = (names.index(name) for name in ("kind", "verdict", "limit_then"))
    assert all(len(row) == len(names) for row in table.rows)
    judged = [(row[verdict], row[limit]) for row in table.rows if row[kind] == "measured"]
    # Nine visits up to June 2025 under 0.25 mm, the one of May 2026 under 0.15.
    assert judged == [("within", 250.0)] * 9 + [("over", 150.0)]
    assert [(row[0].date(), row[limit]) for row in table.rows if row[kind] == "limit changed"] == [
        (date(2026, 1, 1), 150.0)
    ]


# Gaps, digits, freshness, colour.


def test_a_gap_in_the_record_is_not_bridged_in_the_history() -> None:
    points = tuple(replace(point, joins="gap" if point.session == "S-06" else point.joins) for point in HISTORY.points)
    figure = history_figure(replace(LINE, history=replace(HISTORY, points=points)), "mm")
    assert figure is not None
    drawn = [trace for trace in figure["data"] if trace["name"] in ("drift", "realigned", "across")]
    assert drawn
    assert not any("2026-05-09T08:00" in trace["x"] for trace in drawn)
    shown = [trace for trace in figure["data"] if trace.get("mode") == "markers" and "2026-05-09T08:00" in trace["x"]]
    assert len(shown) == 1


def test_a_survey_that_did_not_read_a_station_breaks_its_line_there_and_bridges_it_otherwise() -> None:
    full = orrindale.AS_FOUND
    skipping = replace(full, points=tuple(point for point in full.points if point.station != "4"))
    figure = profile(LINE, None, skipping, "mm")
    (line,) = [t for t in figure["data"] if t["name"] == f"survey {full.key}" and t["yaxis"] == "y"]
    at = line["x"].index(None)
    assert (line["x"][at - 1], line["x"][at + 1]) == (1500.0, 3150.0)
    bridges = [t for t in figure["data"] if t["name"].endswith("across what was not read") and t["yaxis"] == "y"]
    assert [bridge["x"] for bridge in bridges] == [[1500.0, 3150.0]]
    assert bridges[0]["line"]["dash"] != line["line"]["dash"]
    whole = profile(LINE, None, full, "mm")
    assert not any("not read" in trace["name"] for trace in whole["data"])


def test_axis_figures_are_never_alike() -> None:
    for unit in ("mm", "thou"):
        for figure in (history_figure(LINE, unit), profile(LINE, *LINE.surveys[1:], unit)):  # type: ignore[arg-type]
            assert figure is not None
            for name in ("yaxis", "yaxis3"):
                axis = figure["layout"].get(name)
                if axis is not None:
                    signed = list(zip(axis["ticktext"], [value >= 0 for value in axis["tickvals"]], strict=True))
                    assert len(signed) == len(set(signed)) > 2


def test_limits_that_differ_in_the_third_decimal_print_differently() -> None:
    close = replace(LIMITS, rows=(LIMITS.rows[0], replace(LIMITS.rows[1], limit_um=151.0)))
    text = page(replace(LINE, limits=close))
    assert "0.150" in text
    assert "0.151" in text


def test_the_page_and_its_figures_say_as_of_when_they_are() -> None:
    text = page(LINE)
    assert "expected today, 25 Nov 2026, 95 % range" in text
    assert "Forecast of 25 Nov 2026" in text
    assert "What would bring it to target, as of 25 Nov 2026" in text
    assert "Times are those of Europe/London." in text


def test_everything_past_its_limit_is_said_in_a_word_beside_its_colour() -> None:
    body = line_page(stepped(), HERE).body
    hot = with_class(body, "hotc")
    assert hot
    for cell in hot:
        assert "over" in words_of(cell) or "lapsed" in words_of(cell), words_of(cell)
    assert words_of(with_class(body, "st")[0]) == "over"


# Emptiness.


@pytest.mark.parametrize(
    ("change", "title", "step"),
    [
        ({"stations": ()}, "No stations yet", "Import them with their distances"),
        ({"surveys": (), "sessions": ()}, "No surveys yet", "record the first visit"),
        ({"surveys": (), "only_hot": True}, "Surveyed hot only", "record a cold survey next"),
        ({"surveys": ()}, "Visited, but never surveyed", "survey it at the next visit"),
    ],
)
def test_every_emptiness_has_its_own_sentence_and_next_step(change: dict[str, Any], title: str, step: str) -> None:
    titles = {"No stations yet", "No surveys yet", "Surveyed hot only", "Visited, but never surveyed"}
    bare = replace(LINE, history=None, movement=(), drift=(), **change)
    text = page(bare)
    assert title in text
    notice = next(node for node in with_class(line_page(bare, HERE).body, "notice") if title in words_of(node))
    ways_on = [node for node in walk(notice) if isinstance(node, (dcc.Link, html.Code))]
    assert [words_of(node) for node in ways_on if isinstance(node, dcc.Link)] == (
        [] if title == "No stations yet" else ["Record a visit"]
    )
    assert ways_on
    assert step in text
    assert not any(other in text for other in titles - {title})
    assert "Where the bore lies" not in text


def test_one_survey_shows_its_point_and_says_where_the_forecast_comes_from() -> None:
    (only,) = [survey for survey in LINE.surveys if survey.key == "S-06/1"]
    history = replace(HISTORY, points=(replace(HISTORY.points[-1], joins=None),), events=(), target_changes=())
    view = replace(
        LINE, surveys=(only,), sessions=(LINE.sessions[0],), compared=("S-06/1", None), movement=(), drift=(),
        history=history,
    )  # fmt: skip
    text = page(view)
    assert "It was visited once: where it goes from here is borrowed from comparable lines." in text
    assert "There is one survey only. What moved shows from the second on" in text
    figure = history_figure(view, "mm")
    assert figure is not None
    assert [t["x"] for t in figure["data"] if t.get("mode") == "markers"] == [["2026-05-09T08:00"]]
    alone = replace(view, history=replace(history, borrowed_lines=0, limit_um=None, over_p10=None))
    said = page(alone)
    assert "no comparable line tells where it goes from here" in said
    assert "No limit holds here today, so no date can be given." in said
    apart = replace(LINE, movement=())
    assert "These two surveys have fewer than two stations in common; choose another pair above." in page(apart)


def test_how_the_forecast_held_is_one_sentence_where_it_is_known() -> None:
    assert "How its forecast has held" not in page(LINE)
    assert "How its forecast has held: of 20 as-found values" in page(replace(LINE, held="Of 20 as-found values."))


# Doing.


def test_a_decision_and_a_limit_reach_the_services_as_typed() -> None:
    done, said = line_forms.decided(orrindale.SOURCES, HERE, CHANGE.handle, "refuse", "nothing was done", "M. Adeyrin")
    assert (done, said) == (True, "refuse ORR-07:v:S-03 of ORR-07 by M. Adeyrin: nothing was done")
    told: list[LimitAsked] = []

    def keep(line: str, asked: LimitAsked) -> str:
        told.append(asked)
        return line

    typed = {
        line_limit.WHERE: "B", line_limit.AXIS: "v", line_limit.LIMIT: "10", line_limit.BASIS: "rule",
        line_limit.BY: "M. Adeyrin",
    }  # fmt: skip
    sources = replace(orrindale.SOURCES, set_limit=keep)
    assert line_forms.limited(sources, replace(HERE, unit="thou"), typed) == (True, "ORR-07")
    assert told == [LimitAsked("B", ("v",), "10", "", "", "thou", "", "rule", "M. Adeyrin")]
    line_forms.limited(sources, HERE, {**typed, line_limit.WHERE: " ", line_limit.AXIS: None})
    assert (told[1].station, told[1].axes) == (None, ("v", "h"))
    assert line_forms.limited(sources, HERE, {**typed, line_limit.AXIS: "Horizontal "}) == (True, "ORR-07")
    assert told[2].axes == ("h",)
    assert line_forms.limited(sources, HERE, {**typed, line_limit.AXIS: "up"}) == (
        False,
        "‘up’ is not an axis; write vertical, horizontal or both.",
    )


def test_what_is_refused_is_said_beside_the_button() -> None:
    def refuse(*_: object) -> str:
        raise InputError("A limit needs its width.")

    sources = replace(orrindale.SOURCES, set_limit=refuse, decide=refuse)
    assert line_forms.limited(sources, HERE, {}) == (False, "A limit needs its width.")
    assert line_forms.decided(sources, HERE, "x", "accept", None, None) == (False, "A limit needs its width.")
    assert line_forms.limited(sources, Address(), {}) == (False, "Open the line's page and set its limit there.")


@pytest.fixture
def client() -> FlaskClient:
    return build(orrindale.SOURCES).server.test_client()


def pressed(client: FlaskClient, **headers: str) -> Any:
    """Press the button that sets a limit the way the browser does."""
    states = [
        {"id": name, "property": "value", "value": ""}
        for name in (
            line_limit.WHERE, line_limit.AXIS, line_limit.LIMIT, line_limit.WATCH, line_limit.WITHIN, line_limit.FROM,
            line_limit.BASIS, line_limit.BY,
        )
    ]  # fmt: skip
    states += [
        {"id": "url", "property": "pathname", "value": "/line/ORR-07"},
        {"id": "url", "property": "search", "value": ""},
    ]
    body = {
        "output": f"{line_limit.SAID}.children",
        "outputs": {"id": line_limit.SAID, "property": "children"},
        "inputs": [{"id": line_limit.SET, "property": "n_clicks", "value": 1}],
        "state": states,
        "changedPropIds": [f"{line_limit.SET}.n_clicks"],
    }
    return client.post("/_dash-update-component", json=body, headers=headers)


def test_the_page_of_another_site_cannot_press_a_button_here(client: FlaskClient) -> None:
    own = pressed(client, Origin="http://localhost", **{"Sec-Fetch-Site": "same-origin"})
    assert own.status_code == 200
    assert "ORR-07" in own.get_data(as_text=True)
    for headers in ({"Origin": "http://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}):
        foreign = pressed(client, **headers)
        assert foreign.status_code == 403
        assert "asked for by a page of another site" in foreign.get_data(as_text=True)


def test_the_planned_visit_is_named_with_the_plan_that_opens() -> None:
    london = ZoneInfo("Europe/London")
    planned = LineVisit(
        outage="ORR-2026-12-19", kind="full stop", starts_at=datetime(2026, 12, 19, 6, tzinfo=london), plan="P-1",
        signed_by="J. Quillam (not verified)", signed_at=datetime(2026, 11, 24, 9, 30, tzinfo=london),
    )  # fmt: skip
    body = line_page(replace(LINE, planned=planned), HERE).body
    assert (
        "Next visit planned into ORR-2026-12-19 (full stop), 19 Dec 2026, by P-1, signed off by "
        "J. Quillam (not verified), 24 Nov 2026."
    ) in words_of(body)
    assert "/outages?plan=P-1" in [node.href for node in walk(body) if isinstance(node, dcc.Link)]
    assert "Next visit planned" not in words_of(line_page(LINE, HERE).body)
