"""Line: its history joined as it happened, its targets, its fan and its list of visits."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import pytest
from record_sources import NOW, TODAY, rows_of, to_um

from fleet.errors import NotFoundError
from fleet.services.line_page import LineView, line_view
from fleet.services.rows import ForecastRow
from fleet.store.engine import Store


@pytest.fixture(scope="module")
def swapped(mill_c: Store) -> LineView:
    """C04 P4 vertical: a barrel swap on 2018-12-01, a corrected session, as-founds and as-lefts."""
    return line_view(mill_c, "C04", station="P4", axis="v", now=NOW)


def _typed(session: str, survey: str, station: str, axis: str) -> float:
    (row,) = [
        row
        for row in rows_of("mill-c", "offsets")
        if (row["session"], row["survey"], row["station"]) == (session, survey, station)
    ]
    return to_um(row[axis], row["unit"])


def test_points_stand_in_time_order_with_their_session_and_phase(swapped: LineView) -> None:
    assert swapped.history is not None
    points = swapped.history.points
    surveys = [
        (row["session"], row["phase"])
        for row in rows_of("mill-c", "surveys")
        if row["session"].startswith("C04") and row["session"] != "C04-08"
    ]
    assert [(point.session, point.phase) for point in points] == surveys
    assert [point.at for point in points] == sorted(point.at for point in points)


def test_what_joins_two_points_is_what_happened_between_them(swapped: LineView) -> None:
    assert swapped.history is not None
    joins = [(point.session, point.phase, point.joins) for point in swapped.history.points]
    # Moves in 01 to 04, 06, 09 and 11; none in 05, 07, 08K and 10; the barrel changed two days before 06.
    assert joins == [
        ("C04-01", "as_found", None),
        ("C04-01", "as_left", "realigned"),
        ("C04-02", "as_found", "drift"),
        ("C04-02", "as_left", "realigned"),
        ("C04-03", "as_found", "drift"),
        ("C04-03", "as_left", "realigned"),
        ("C04-04", "as_found", "drift"),
        ("C04-04", "as_left", "realigned"),
        ("C04-05", "as_found", "drift"),
        ("C04-06", "as_found", "across"),
        ("C04-06", "as_left", "realigned"),
        ("C04-07", "as_found", "drift"),
        ("C04-08K", "as_found", "drift"),
        ("C04-09", "as_found", "drift"),
        ("C04-09", "as_left", "realigned"),
        ("C04-10", "as_found", "drift"),
        ("C04-11", "as_found", "drift"),
        ("C04-11", "as_left", "realigned"),
    ]


def test_a_gearbox_swap_lies_across_even_without_a_recorded_event(mill_c: Store) -> None:
    # C02's gearbox changed on 2020-11-07; its next visit is C02-07, three days later. No event says so.
    view = line_view(mill_c, "C02", station="P4", axis="v", now=NOW)
    assert view.history is not None
    across = [point.session for point in view.history.points if point.joins == "across"]
    assert across == ["C02-07"]
    told = [(mark.at.isoformat(), mark.kind, mark.resets_trend) for mark in view.history.events if mark.resets_trend]
    assert told == [("2020-11-07T00:00:00+00:00", "gearbox changed", True)]


def test_a_swap_that_is_also_recorded_as_an_event_is_told_once(swapped: LineView) -> None:
    assert swapped.history is not None
    assert [(mark.kind, mark.note) for mark in swapped.history.events] == [("barrel changed", "bimetal liner")]


def test_an_event_at_one_support_is_told_only_at_its_stations(mill_c: Store) -> None:
    def struck(station: str) -> bool:
        history = line_view(mill_c, "C02", station=station, axis="v", now=NOW).history
        assert history is not None
        return any(mark.kind == "struck" for mark in history.events)

    # U3 was struck; P4 stands over U3, P2 over U1.
    assert (struck("P4"), struck("P2")) == (True, False)


def test_deviations_are_cold_offset_minus_the_target_of_their_day(swapped: LineView) -> None:
    # The surveys of C04-05 were taken at 20, 19 and 19 degrees against a reference of 20: the model takes off only
    # the gearbox's contraction, 700 mm * 11e-6 / K * -1 K = -7.7 um, and the base's part of the supports'.
    assert swapped.history is not None
    (point,) = [p for p in swapped.history.points if p.session == "C04-05"]
    assert point.target_um == pytest.approx(-205.0)
    assert point.deviation_um == pytest.approx(_typed("C04-05", "1", "P4", "v") + 205.0, abs=10.0)


def test_horizontal_deviations_are_as_typed_because_warmth_does_not_move_them(mill_c: Store) -> None:
    history = line_view(mill_c, "C04", station="P3", axis="h", now=NOW).history
    assert history is not None
    for point in history.points:
        survey = "1" if point.phase == "as_found" else "2"
        assert point.deviation_um == pytest.approx(_typed(point.session, survey, "P3", "h") - point.target_um, abs=1e-6)
        # u = 12 um as entered, expanded by the normal factor (JCGM 100:2008, 6.2 and table G.1).
        assert point.u95_um == pytest.approx(12.0 * 1.959963984540054, abs=1e-6)


def test_a_changed_target_is_a_step_on_its_day(store_of: Callable[..., Store]) -> None:
    store = store_of(
        {
            "lines": "line\nL1\n",
            "stations": "line,station,distance_mm\nL1,S1,2000\n",
            "sessions": "session,line,started_at\n"
            "V1,L1,2020-01-01T08:00\nV2,L1,2021-01-01T08:00\nV3,L1,2022-01-01T08:00\n",
            "surveys": "session,survey,phase\nV1,1,as_left\nV2,1,as_found\nV3,1,as_found\n",
            "offsets": "session,survey,station,v,h,unit\nV1,1,S1,-90,0,um\nV2,1,S1,-95,0,um\nV3,1,S1,-120,0,um\n",
            "cold_targets": "session,station,v,h,unit\nV1,S1,-100,0,um\nV2,S1,-100,0,um\nV3,S1,-5,0.2,thou\n",
        }
    )
    history = line_view(store, "L1", station="S1", axis="v", now=NOW).history
    assert history is not None
    assert [(c.at.date(), c.before_um, c.after_um) for c in history.target_changes] == [
        (date(2022, 1, 1), -100.0, -127.0)
    ]
    assert [(p.session, p.target_um) for p in history.points] == [("V1", -100.0), ("V2", -100.0), ("V3", -127.0)]
    assert [p.deviation_um for p in history.points] == pytest.approx([10.0, 5.0, 7.0])


def test_the_fan_reaches_from_the_last_visit_over_two_years_to_come(swapped: LineView) -> None:
    assert swapped.history is not None
    fan = swapped.history.fan
    days = [point.on for point in fan]
    assert days[0] == date(2026, 9, 21)
    assert TODAY in days
    assert days == sorted(set(days))
    assert date(2028, 9, 1) <= days[-1] <= date(2028, 11, 1)
    for point in fan:
        assert point.q10_um <= point.q25_um <= point.mean_um <= point.q75_um <= point.q90_um


def test_the_fan_today_is_the_forecast_today_less_the_target(mill_c: Store, swapped: LineView) -> None:
    del mill_c
    assert swapped.history is not None
    (today,) = [point for point in swapped.history.fan if point.on == TODAY]
    (now,) = [station for station in swapped.stations if station.station == "P4"]
    assert today.mean_um == pytest.approx(now.deviation_um[0], abs=1e-6)
    assert now.position_um[0] is not None
    assert today.mean_um == pytest.approx(now.position_um[0] + 205.0, abs=1e-6)


def test_the_list_of_visits_shows_the_corrected_session_and_its_correction(swapped: LineView) -> None:
    rows = {row.session: row for row in swapped.sessions}
    assert set(rows) == {row["session"] for row in rows_of("mill-c", "sessions") if row["line"] == "C04"}
    assert rows["C04-08"].corrected_by == "C04-08K"
    assert rows["C04-08K"].corrects == "C04-08"
    assert rows["C04-08K"].correction_reason == ("h of P3 was typed with the sign turned; read off the sheet again")
    assert rows["C04-08"].corrects is None
    assert rows["C04-09"].corrected_by is None
    assert [row.at for row in swapped.sessions] == sorted((row.at for row in swapped.sessions), reverse=True)
    assert all(row.signed_at is not None and row.signed_by for row in swapped.sessions)


def test_the_list_of_visits_says_where_something_was_moved(swapped: LineView) -> None:
    moved = {row["session"] for row in rows_of("mill-c", "moves") if row["session"].startswith("C04")}
    assert {row.session for row in swapped.sessions if row.moved} == moved


def test_a_visit_whose_moves_are_all_zero_moved_nothing(store_of: Callable[..., Store]) -> None:
    source = {
        "lines": "line\nL1\n",
        "supports": "line,support,distance_mm\nL1,U1,2000\n",
        "stations": "line,station,distance_mm\nL1,S1,2000\n",
        "sessions": "session,line,started_at\nV1,L1,2020-01-01T08:00\nV2,L1,2021-01-01T08:00\nV3,L1,2022-01-01T08:00\n",
        "surveys": "session,survey,phase\nV1,1,as_left\nV2,1,as_found\nV2,2,as_left\nV3,1,as_found\n",
        "offsets": "session,survey,station,v,h,unit\n"
        "V1,1,S1,-90,0,um\nV2,1,S1,-95,0,um\nV2,2,S1,-96,0,um\nV3,1,S1,-99,0,um\n",
        "moves": "session,after_survey,support,v,h,unit\nV2,1,U1,0,0,um\n",
    }
    view = line_view(store_of(source), "L1", station="S1", axis="v", now=NOW)
    # An as-left without any row of moves was moved by an unknown amount.
    assert {row.session: row.moved for row in view.sessions} == {"V1": True, "V2": False, "V3": False}
    assert view.history is not None
    assert [point.joins for point in view.history.points] == [None, "drift", "drift", "drift"]


def test_station_and_axis_are_those_asked_for_else_the_worst(mill_c: Store, forecasts: list[ForecastRow]) -> None:
    del forecasts
    view = line_view(mill_c, "C02", station="P1", axis="h", now=NOW)
    assert view.history is not None
    assert (view.history.station, view.history.axis) == ("P1", "h")
    other = line_view(mill_c, "C02", station="P99", axis="v", now=NOW)
    assert other.history is not None
    assert (other.history.station, other.history.axis) == (other.worst_station, other.worst_axis)


def test_the_drift_table_is_newest_first_and_expanded(swapped: LineView) -> None:
    assert [row.to_at for row in swapped.drift] == sorted((row.to_at for row in swapped.drift), reverse=True)
    assert len(swapped.drift) == 10
    newest = swapped.drift[0]
    assert (newest.from_at.date(), newest.to_at.date()) == (date(2025, 3, 18), date(2026, 9, 21))
    # At least the two entered 12 um, expanded; what warmth adds comes on top.
    assert newest.u95_um == pytest.approx(1.96 * (2 * 12.0**2) ** 0.5, rel=0.2)
    assert newest.u95_um >= 1.9599 * (2 * 12.0**2) ** 0.5


def test_outages_of_a_line_are_its_own_and_its_sites_ahead(mill_c: Store) -> None:
    view = line_view(mill_c, "C01", now=NOW)
    assert [outage.code for outage in view.outages] == ["QE-2026-12", "C01-2027-02", "QE-2027-03"]


def test_surveys_of_a_line_leave_out_hot_ones_and_replaced_ones(mill_c: Store) -> None:
    hot = {
        f"{row['session']}/{row['survey']}"
        for row in rows_of("mill-c", "surveys")
        if row["session"].startswith("C03") and row["phase"] == "hot"
    }
    keys = {survey.key for survey in line_view(mill_c, "C03", now=NOW).surveys}
    assert len(hot) == 2
    assert not hot & keys
    assert "C04-08/1" not in {survey.key for survey in line_view(mill_c, "C04", now=NOW).surveys}


def test_times_of_a_line_are_its_sites(swapped: LineView) -> None:
    typed = {row["session"]: row["started_at"] for row in rows_of("mill-c", "sessions")}
    assert swapped.zone == "Europe/Berlin"
    for row in swapped.sessions:
        assert row.at.replace(tzinfo=None) == datetime.fromisoformat(typed[row.session])


def test_an_unknown_line_is_refused_in_a_whole_sentence(mill_c: Store) -> None:
    with pytest.raises(NotFoundError) as caught:
        line_view(mill_c, "C99", now=NOW)
    assert str(caught.value) == "There is no line 'C99' in the store; `asleft status` lists the lines there are."


def test_text_of_the_record_comes_back_to_the_letter(mill_c: Store, tmp_path: Path) -> None:
    del tmp_path
    typed = {row["session"]: row["remarks"] for row in rows_of("mill-c", "sessions") if row["line"] == "C01"}
    shown = {row.session: row.remarks for row in line_view(mill_c, "C01", now=NOW).sessions}
    assert {session: remark or "" for session, remark in shown.items()} == typed
    assert "went well 👍🏽" in shown.values()
