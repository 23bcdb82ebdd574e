"""Figures are pure functions of what a service returned: what must be drawn is drawn, words stand at both ends."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import cold_story
import orrindale
import plotly.graph_objects as go
import pytest

from dashboard.figures import frame, palette
from dashboard.figures.history import bounds, history_figure, window
from dashboard.figures.profile import enlarged, profile
from dashboard.figures.rise import rise_figure
from fleet.services.line_page import LineView

ASSETS = Path(palette.__file__).parents[1] / "assets"


def names(figure: frame.Figure) -> set[str]:
    return {trace["name"] for trace in figure["data"]}


def texts(figure: frame.Figure) -> list[str]:
    return [re.sub(r"<[^>]+>", "", note["text"]).replace("\u00a0", " ") for note in figure["layout"]["annotations"]]


def drawn(view: LineView, **more: Any) -> frame.Figure:
    figure = history_figure(view, "mm", **more)
    assert figure is not None
    return figure


FIGURES = {
    "profile": profile(orrindale.LINE, orrindale.AS_LEFT, orrindale.AS_FOUND, "mm"),
    "profile with an interim, phone": profile(orrindale.LINE, orrindale.INTERIM, None, "thou", phone=True),
    "history": history_figure(orrindale.LINE, "mm"),
    "history, phone": history_figure(orrindale.LINE, "thou", phone=True),
    "rise": rise_figure(orrindale.COLD, "mm", cold_story.rises("ORR-07")),
    "rise, phone": rise_figure(orrindale.COLD, "thou", cold_story.rises("ORR-07"), phone=True),
}


@pytest.mark.parametrize("name", FIGURES)
def test_the_drawing_library_accepts_every_property(name: str) -> None:
    figure = go.Figure(FIGURES[name])
    assert len(figure.data) == len(FIGURES[name]["data"]) > 3


@pytest.mark.parametrize("name", FIGURES)
def test_no_axis_can_be_dragged_and_no_tick_carries_a_sign(name: str) -> None:
    layout = FIGURES[name]["layout"]
    assert layout["dragmode"] is False
    for key, axis in layout.items():
        if "axis" in key:
            assert axis["fixedrange"] is True
            assert not any(text.startswith(("-", "−", "+")) for text in axis.get("ticktext", []))


def test_the_profile_shows_corridor_limit_watch_axis_target_both_surveys_and_today() -> None:
    assert {
        "corridor", "limit", "watch", "gearbox axis", "cold target", "expected range", "expected today",
        "expected, past the limit", "as-left 14\u00a0Jun\u00a02025", "as-found 9\u00a0May\u00a02026",
    } <= names(FIGURES["profile"])  # fmt: skip


def test_the_profile_says_high_low_left_right_and_the_operator_side() -> None:
    said = texts(FIGURES["profile"])
    assert {"low", "right", "Elevation, mm. high is up", "support A", "support B", "gearbox"} <= set(said)
    assert (
        "Plan seen from above, mm. left is up, right is down, looking from the gearbox; operator side is right" in said
    )
    assert "0.31 mm below target ± 0.09" in said


def test_the_plan_draws_right_downward_and_the_elevation_high_upward() -> None:
    layout = FIGURES["profile"]["layout"]
    assert layout["yaxis"]["range"][0] < layout["yaxis"]["range"][1]
    assert layout["yaxis3"]["range"][0] > layout["yaxis3"]["range"][1]


def test_as_found_carries_whiskers_and_as_left_does_not() -> None:
    by_name = {trace["name"]: trace for trace in FIGURES["profile"]["data"] if trace["mode"] == "markers"}
    assert "error_y" in by_name["as-found 9\u00a0May\u00a02026"]
    assert "error_y" not in by_name["as-left 14\u00a0Jun\u00a02025"]


def test_the_line_past_the_limit_begins_where_it_crosses() -> None:
    # Deviations -140, -220, -310, -300 um at 1500, 2320, 3150, 3700 mm against a limit of 250 um:
    # between 2320 and 3150 the excess goes from -30 to +60, so it crosses a third of the way along.
    past = next(
        trace
        for trace in FIGURES["profile"]["data"]
        if trace["name"] == "expected, past the limit" and trace["yaxis"] == "y"
    )
    assert past["x"] == pytest.approx([2320 + 830 / 3, 3150, 3700])


def test_a_station_without_a_limit_breaks_the_corridor_instead_of_bridging_it() -> None:
    stations = tuple(
        replace(station, limit_um=(None, None)) if station.station == "4" else station for station in orrindale.STATIONS
    )
    figure = profile(replace(orrindale.LINE, stations=stations), None, None, "mm")
    corridors = [trace for trace in figure["data"] if trace["name"] == "corridor" and trace["yaxis"] == "y"]
    assert len(corridors) == 2
    assert not any(2320.0 in trace["x"] for trace in corridors)


def test_the_enlargement_is_that_of_the_drawing_in_either_unit() -> None:
    # 290 px for 1 mm across, 1062 px for 1062 mm along: 290 times, said to one figure; 1 mm is 39.37 thou.
    assert enlarged(0.0, 1.0, 290.0, 1062.0, "mm") == "about 300 times"
    assert enlarged(0.0, 39.37, 290.0, 1062.0, "thou") == "about 300 times"


def test_the_history_shows_drift_realignment_and_what_lies_across_an_event_each_in_its_own_line() -> None:
    lines = {trace["name"]: trace["line"] for trace in drawn(orrindale.LINE)["data"] if trace["mode"] == "lines"}
    assert (lines["drift"]["width"], lines["drift"]["dash"]) == (1.4, "solid")
    assert (lines["realigned"]["width"], lines["realigned"]["dash"]) == (4.0, "solid")
    assert (lines["across"]["width"], lines["across"]["dash"]) == (1.2, "1px,3px")


def test_the_history_shows_fan_limit_and_both_marks() -> None:
    assert {
        "80 % range", "50 % range", "forecast", "forecast, past the limit", "limit", "watch", "cold target", "as-found",
        "as-left",
    } <= names(drawn(orrindale.LINE))  # fmt: skip


def test_the_history_says_its_ends_today_the_event_the_new_target_and_the_dates() -> None:
    said = texts(drawn(orrindale.LINE))
    assert {
        "above", "below", "today", "gearbox changed, the trend starts anew", "target changed, 0.22 low to 0.26 low",
        "passed the limit Jun – Nov 2026,50 % by Aug 2026", "limit 0.25", "watch 0.13", "cold target",
    } <= set(said)  # fmt: skip


def test_a_horizontal_history_has_left_at_the_top_and_right_at_the_bottom() -> None:
    view = replace(orrindale.LINE, history=replace(orrindale.HISTORY, axis="h"))
    figure = drawn(view)
    ends = {note["text"]: note["y"] for note in figure["layout"]["annotations"] if note["text"].endswith("of</b>")}
    assert ends == {"<b>left of</b>": 1.0, "<b>right of</b>": 0.0}
    assert figure["layout"]["yaxis"]["range"][0] > figure["layout"]["yaxis"]["range"][1]


def test_gaps_are_gaps() -> None:
    points = tuple(replace(point, joins="gap") for point in orrindale.HISTORY.points)
    figure = drawn(replace(orrindale.LINE, history=replace(orrindale.HISTORY, points=points)))
    assert not {"drift", "realigned", "across"} & names(figure)


def test_a_history_of_one_visit_is_drawn_and_one_of_none_is_not() -> None:
    one = replace(orrindale.HISTORY, points=orrindale.HISTORY.points[:1], fan=(), over_p10=None)
    assert "as-left" in names(drawn(replace(orrindale.LINE, history=one)))
    assert history_figure(replace(orrindale.LINE, history=replace(one, points=())), "mm") is None
    assert history_figure(orrindale.NO_RECORD, "mm") is None


def test_the_over_by_bar_lies_on_the_limit_it_goes_toward_and_grows_denser() -> None:
    bars = [shape for shape in drawn(orrindale.LINE)["layout"]["shapes"] if shape.get("opacity") is not None]
    assert {bar["yanchor"] for bar in bars} == {-0.25}
    assert [bar["opacity"] for bar in bars] == sorted(bar["opacity"] for bar in bars)
    assert (bars[0]["x0"], bars[0]["opacity"], bars[-1]["opacity"]) == ("2026-06-28", 0.25, 1.0)


def test_the_history_reaches_every_visit_and_no_further_than_the_horizon() -> None:
    first, last = window(orrindale.LINE, orrindale.HISTORY, phone=False)
    assert first < orrindale.HISTORY.points[0].at.date()
    assert orrindale.TODAY + timedelta(days=90) <= last <= orrindale.HORIZON
    low, high = bounds(orrindale.HISTORY, last)
    assert all(low < p.deviation_um - p.u95_um and p.deviation_um + p.u95_um < high for p in orrindale.HISTORY.points)


def test_a_name_with_markup_in_it_cannot_draw_outside_its_label() -> None:
    event = replace(orrindale.HISTORY.events[0], kind="<b>struck</b> & <img src=x>")
    figure = drawn(replace(orrindale.LINE, history=replace(orrindale.HISTORY, events=(event,))))
    note = next(n["text"] for n in figure["layout"]["annotations"] if "struck" in n["text"])
    assert note.startswith("&lt;b&gt;struck&lt;/b&gt; &amp; &lt;img")


def test_the_rise_begins_at_nothing_at_the_flange_and_goes_straight_on_past_the_last_support() -> None:
    model = next(trace for trace in FIGURES["rise"]["data"] if trace["name"] == "heat model")
    assert model["x"] == [0.0, 1500.0, 3150.0, 3780.0]
    assert model["y"] == pytest.approx([0.0, 0.22, 0.22, 0.22])


def test_without_a_model_or_for_horizontal_there_is_no_rise_figure() -> None:
    assert rise_figure(replace(orrindale.COLD, parts=()), "mm") is None
    assert rise_figure(replace(orrindale.COLD, axis="h"), "mm") is None


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (-0.5, 0.2, ["0.4", "0.2", "0", "0.2"]),
        (-30.0, 5.0, ["30", "20", "10", "0"]),
        (0.0, 0.012, ["0", "0.002", "0.004", "0.006", "0.008", "0.010", "0.012"]),
    ],
)
def test_ticks_are_unsigned_and_share_their_decimals(low: float, high: float, shown: list[str]) -> None:
    assert frame.ticks(low, high)[1] == shown


def test_labels_at_the_edge_never_cover_each_other() -> None:
    labels = [frame.Edge(value, f"label {value}") for value in (0.0, 0.01, 0.02, 0.5)]
    placed = frame.edges(labels, per_px=0.01, yref="y", down=False)
    at = sorted(note["y"] / 0.01 + note["yshift"] for note in placed)
    assert all(after - before >= 15 - 1e-6 for before, after in pairwise(at))


def test_the_palette_says_the_same_as_the_tokens() -> None:
    light = (ASSETS / "00-tokens.css").read_text(encoding="utf-8").split("@media")[0]
    tokens = {name: value.lower() for name, value in re.findall(r"--([a-z0-9-]+):\s*(#[0-9a-fA-F]{3,6})\b", light)}
    assert {name: tokens[name] for name in palette.LIGHT} == palette.LIGHT


def test_the_charts_theme_is_the_one_the_palette_writes() -> None:
    assert (ASSETS / "70-charts-theme.css").read_text(encoding="utf-8") == palette.theme_css()
