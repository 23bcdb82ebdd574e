"""Records with next to nothing in them: every command and both pages answer, and say no more than is known.

The rate of a line that nobody can be compared with is the prior's: 0 um a year, weight 1 borrowed (`fleet.trend`'s
prior is centred at no drift). Where a figure is asserted, the arithmetic stands beside it.
"""

from __future__ import annotations

from datetime import date

import pytest
from thin_records import AS_OF, TOLERANCES, Make, answers, meters, one, thin, told, visit

FOUND, LEFT = "as_found", "as_left"


def test_one_session_stands_where_it_was_measured_and_borrows_its_rate_wholly(store_of: Make) -> None:
    got = answers(store_of(thin(visit("2025-06-30T08:00", (FOUND, one(-40, 10))))))
    assert got.forecast.keys() == {("S1", "v"), ("S1", "h")}
    row = got.forecast["S1", "v"]
    assert (row["last_measured_um"], row["position_um"], row["rate_um_per_year"]) == (-40.0, -40.0, 0.0)
    assert row["borrowed_from"] == {"lines": 0, "weight": 1.0}
    assert got.drift == {}
    # Nobody touches it and it is not known to drift: the mean stays, what is not known grows.
    now, later = row["expected"]
    assert now["mean_um"] == later["mean_um"] == -40.0
    assert later["sd_um"] > now["sd_um"] > 5.0


def test_two_sessions_on_one_day_are_an_interval_of_hours(store_of: Make) -> None:
    source = thin(
        visit("2025-03-01T08:00", (FOUND, one(-40)), (LEFT, one(0))), visit("2025-03-01T14:00", (FOUND, one(2)))
    )
    got = answers(store_of(source))
    (moved,) = got.drift["S1", "v"]
    assert moved["moved_um"] == pytest.approx(2.0)
    # 2 um in a quarter of a day; but measured to 7 um, so it says next to nothing of the year's rate.
    assert moved["rate"] == pytest.approx(2.0 / 0.25 * 365.25)
    assert not moved["beyond_measurement"]
    assert abs(got.forecast["S1", "v"]["rate_um_per_year"]) < 5.0
    assert got.forecast["S1", "v"]["borrowed_from"]["weight"] > 0.95


def test_two_sessions_of_the_same_moment_are_an_interval_without_a_rate(store_of: Make) -> None:
    source = thin(visit("2025-03-01T08:00", (FOUND, one(-40))), visit("2025-03-01T08:00", (FOUND, one(-36))))
    got = answers(store_of(source))
    (moved,) = got.drift["S1", "v"]
    assert (moved["moved_um"], moved["rate"]) == (4.0, None)
    assert got.forecast["S1", "v"]["rate_um_per_year"] == pytest.approx(0.0, abs=1e-6)


def test_without_a_tolerance_there_is_a_position_but_no_status(store_of: Make) -> None:
    source = thin(visit("2024-07-01T08:00", (FOUND, one(-40))), visit("2025-06-01T08:00", (FOUND, one(-60))))
    got = answers(store_of({name: text for name, text in source.items() if name != "tolerances"}))
    assert {row["status"] for row in got.forecast.values()} == {"no record"}
    assert got.forecast["S1", "v"]["rate_um_per_year"] < 0.0
    assert got.status["T1"]["why"].startswith("no limit to judge by")
    assert got.sheet["status_why"] == "no limit to judge by"


@pytest.mark.parametrize("watch", ["", "0"])
def test_a_limit_of_zero_is_passed_on_the_day_of_the_survey(store_of: Make, watch: str) -> None:
    source = thin(
        visit("2025-06-01T08:00", (FOUND, one(-1))), tolerances=f"line,axis,watch_um,limit_um\nT1,v,{watch},0\n"
    )
    got = answers(store_of(source))
    row = got.forecast["S1", "v"]
    assert (row["status"], row["limit_um"], set(row["chance_over"].values())) == ("over", 0.0, {1.0})
    assert set(row["over_on"].values()) == {"2025-06-01"}
    assert (got.forecast["S1", "h"]["status"], got.status["T1"]["status"]) == ("no record", "over")


def test_a_station_added_later_starts_its_own_record_and_leans_on_its_line(store_of: Make) -> None:
    source = thin(
        visit("2022-07-01T08:00", (FOUND, one(0))),
        visit("2023-07-01T08:00", (FOUND, one(-30))),
        visit("2024-07-01T08:00", (FOUND, {"S1": (-60, 0), "S2": (-15, 0)})),
        stations="line,station,distance_mm,added_on\nT1,S1,1000,\nT1,S2,2000,2024-01-01\n",
    )
    got = answers(store_of(source))
    assert len(got.drift["S1", "v"]) == 2
    assert ("S2", "v") not in got.drift
    row = got.forecast["S2", "v"]
    assert (row["last_measured_um"], row["borrowed_from"]["weight"]) == (-15.0, 1.0)
    # Its neighbour went lower: so will it, as far as anybody can tell.
    assert row["rate_um_per_year"] < 0.0


def test_a_record_that_never_changes_foresees_no_change(store_of: Make) -> None:
    years = [visit(f"{year}-07-01T08:00", (FOUND, one(-40, 10))) for year in range(2015, 2026)]
    got = answers(store_of(thin(*years)))
    assert [row["moved_um"] for row in got.drift["S1", "v"]] == [0.0] * 10
    assert not any(row["unusual"] or row["beyond_measurement"] for row in got.drift["S1", "v"])
    row = got.forecast["S1", "v"]
    assert row["rate_um_per_year"] == pytest.approx(0.0, abs=1e-6)
    assert row["u_rate_um_per_year"] < 5.0
    assert (row["status"], row["over_on"]["p50"]) == ("within", None)


def test_a_record_of_as_found_only_runs_from_visit_to_visit(store_of: Make) -> None:
    years = [visit(f"{2020 + k}-07-01T08:00", (FOUND, one(-10 * k))) for k in range(6)]
    got = answers(store_of(thin(*years)))
    moved = got.drift["S1", "v"]
    assert [(row["from_session"], row["to_session"]) for row in moved] == [
        (f"T1-{k}", f"T1-{k + 1}") for k in range(1, 6)
    ]
    assert [row["moved_um"] for row in moved] == pytest.approx([-10.0] * 5)
    # 5 um twice, independent but for the set-up: sqrt(2) * 5.
    assert [row["u_um"] for row in moved] == pytest.approx([50.0**0.5] * 5)
    assert -11.0 < got.forecast["S1", "v"]["rate_um_per_year"] < -5.0


def test_a_record_of_as_left_only_says_where_it_was_set_and_not_how_it_drifts(store_of: Make) -> None:
    years = [visit(f"{2020 + k}-07-01T08:00", (LEFT, one(-10 * k))) for k in range(5)]
    got = answers(store_of(thin(*years)))
    assert got.drift == {}
    row = got.forecast["S1", "v"]
    assert (row["last_measured_um"], row["position_um"], row["rate_um_per_year"]) == (-40.0, -40.0, 0.0)
    assert row["borrowed_from"]["weight"] == 1.0


def test_a_visit_that_moved_and_was_not_measured_after_leaves_nothing_to_stand_on(store_of: Make) -> None:
    source = thin(
        visit("2025-06-01T08:00", (FOUND, one(-40))),
        supports="line,support,distance_mm\nT1,A,1000\n",
        moves="session,after_survey,support,v,h,unit\nT1-1,1,A,40,0,um\n",
    )
    got = answers(store_of(source))
    assert got.forecast == {}
    assert (got.status["T1"]["status"], got.status["T1"]["why"]) == ("no record", "no cold survey to stand on")


@pytest.mark.parametrize("stations", ["line,station,distance_mm\nT1,S1,1000\n", ""])
def test_a_line_without_surveys_or_stations_has_no_record(store_of: Make, stations: str) -> None:
    got = answers(store_of(thin(stations=stations, tolerances=TOLERANCES)))
    assert (got.forecast, got.drift) == ({}, {})
    assert (got.status["T1"]["status"], got.status["T1"]["why"]) == ("no record", "no survey yet")


def test_a_session_without_any_survey_is_a_visit_that_says_nothing(store_of: Make) -> None:
    source = thin(sessions="session,line,started_at\nT1-1,T1,2025-06-01T08:00\n")
    got = answers(store_of(source))
    assert (got.forecast, got.status["T1"]["why"]) == ({}, "no cold survey to stand on")


def test_a_visit_on_as_of_day_itself_counts_whole(store_of: Make) -> None:
    source = thin(
        visit("2024-07-01T08:00", (FOUND, one(0))), visit("2025-07-01T23:59", (FOUND, one(-30)), (LEFT, one(5)))
    )
    row = answers(store_of(source)).forecast["S1", "v"]
    assert (row["last_session"], row["last_measured_um"]) == ("T1-2", 5.0)
    # It lies after noon of as-of, so no drift is added yet.
    assert row["position_um"] == pytest.approx(5.0, abs=3.0)


def test_as_of_before_the_first_visit_knows_of_no_station(store_of: Make) -> None:
    store = store_of(thin(visit("2025-07-02T00:00", (FOUND, one(-30)))))
    assert answers(store).forecast == {}
    assert answers(store, as_of=date(2025, 7, 2), at=(date(2025, 7, 2),)).forecast.keys() == {("S1", "v"), ("S1", "h")}


def test_after_a_gap_of_ten_years_the_line_may_be_anywhere(store_of: Make) -> None:
    source = thin(visit("2014-07-01T08:00", (FOUND, one(0))), visit("2015-07-01T08:00", (FOUND, one(-12))))
    row = answers(store_of(source)).forecast["S1", "v"]
    years = 10.0
    # -12 um a year at most, and ten years of wander and unknown rate on top of a 5 um survey.
    assert -12.0 - 12.0 * years < row["position_um"] < -12.0
    assert row["u_position_um"] > 50.0
    assert row["status"] == "over"
    assert date(2015, 7, 1) < date.fromisoformat(row["over_on"]["p50"]) < AS_OF


@pytest.mark.parametrize(("u_um", "least", "most"), [("0", 0.0, 0.1), ("5000", 4990.0, 5001.0)])
def test_a_survey_said_to_be_exact_or_hopeless_keeps_its_uncertainty(
    store_of: Make, u_um: str, least: float, most: float
) -> None:
    years = [visit(f"{2021 + k}-07-01T08:00", (FOUND, one(-10 * k))) for k in range(4)]
    got = answers(store_of(thin(*years, visit("2025-07-01T12:00", (FOUND, one(-40))), u_um=u_um)))
    row = got.forecast["S1", "v"]
    assert row["last_measured_um"] == -40.0
    if least == 0.0:
        assert row["u_position_um"] < most
    else:
        assert least < got.drift["S1", "v"][0]["u_um"] / 2.0**0.5 < most
        # Such a survey says nothing against a limit of 120 um: half of the chance lies outside on either side.
        assert row["chance_over"]["30"] > 0.5


def test_one_station_beside_another_bore_is_its_own_place(store_of: Make) -> None:
    twin = {"A1": (-40.0, 5.0), "B1": (40.0, -5.0)}
    later = {"A1": (-80.0, 5.0), "B1": (80.0, -5.0)}
    source = thin(
        visit("2023-07-01T08:00", (FOUND, twin)),
        visit("2025-06-01T08:00", (FOUND, later)),
        stations="line,station,distance_mm,bore\nT1,A1,1000,1\nT1,B1,1000,2\n",
    )
    got = answers(store_of(source))
    first, second = got.forecast["A1", "v"], got.forecast["B1", "v"]
    assert (first["last_measured_um"], second["last_measured_um"]) == (-80.0, 80.0)
    # Alike but for the sign: neither bore pulls the other its way.
    assert first["rate_um_per_year"] == pytest.approx(-second["rate_um_per_year"], abs=1e-6)
    assert first["rate_um_per_year"] < -10.0
    assert first["status"] == second["status"]


def test_meters_of_a_line_that_was_never_surveyed_change_nothing(store_of: Make) -> None:
    got = answers(store_of(thin(meters=meters(("2024-01-01T00:00", 100), ("2025-01-01T00:00", 8000)))))
    assert (got.forecast, got.status["T1"]["status"]) == ({}, "no record")


def test_a_station_at_the_gearboxs_face_alone_is_a_line_all_the_same(store_of: Make) -> None:
    source = thin(
        visit("2024-07-01T08:00", (FOUND, one(-40))), visit("2025-06-01T08:00", (FOUND, one(-60))),
        stations="line,station,distance_mm\nT1,S1,0\n",
    )  # fmt: skip
    assert answers(store_of(source)).forecast["S1", "v"]["rate_um_per_year"] < 0.0


def test_a_hot_survey_alone_is_nothing_to_stand_on_cold(store_of: Make) -> None:
    got = answers(store_of(thin(visit("2025-06-01T08:00", ("hot", one(-40))))))
    assert (got.forecast, got.status["T1"]["why"]) == ({}, "no cold survey to stand on")


def test_a_horizon_of_no_years_gives_no_date_ahead(store_of: Make) -> None:
    source = thin(visit("2025-06-01T08:00", (FOUND, one(-115))), settings="site,name,value\n,horizon_years,0\n")
    row = answers(store_of(source)).forecast["S1", "v"]
    assert all(date.fromisoformat(day) <= AS_OF for day in row["over_on"].values() if day is not None)
    # The chances do not stop at the horizon: five um from the limit, it is passed within a year as likely as not.
    assert row["chance_over"]["365"] > 0.5


def test_offsets_at_the_bounds_of_what_can_be_typed_are_told_like_any_other(store_of: Make) -> None:
    # 50 mm either way is the exchange format's bound.
    source = thin(
        visit("2024-01-01T08:00", (FOUND, one(-50_000, 50_000))),
        visit("2025-01-01T08:00", (FOUND, one(50_000, -50_000))),
    )
    row = answers(store_of(source)).forecast["S1", "v"]
    assert (row["status"], row["over_on"]["p90"]) == ("over", "2025-01-01")
    assert row["rate_um_per_year"] == pytest.approx(100_000.0 / (366 / 365.25), rel=0.01)


@pytest.mark.parametrize(
    "source",
    [
        thin(stations=""),
        thin(visit("2025-06-01T08:00", ("hot", one(-40)))),
        thin(visit("2025-06-01T08:00", (FOUND, one(-40))), tolerances=""),
        thin(visit("2025-06-01T08:00", (LEFT, one(0))), visit("2025-06-01T08:00", (FOUND, one(1)))),
        thin(visit("2025-06-01T08:00", (FOUND, one(-1))), tolerances="line,axis,limit_um\nT1,v,0\n"),
    ],
    ids=["no station", "hot only", "no tolerance", "one moment", "limit of zero"],
)
def test_the_tables_for_people_hold_on_thin_records_too(store_of: Make, source: dict[str, str]) -> None:
    texts = told(store_of(source))
    assert all("T1" in texts[name] for name in ("status", "jobsheet"))
    assert "no interval yet" in texts["drift"].lower() or "T1" in texts["drift"]
    assert "no cold survey yet" in texts["forecast"].lower() or "T1" in texts["forecast"]


def test_a_station_that_was_removed_tells_of_the_past_and_judges_the_line_no_more(store_of: Make) -> None:
    source = thin(
        visit("2024-01-01T08:00", (FOUND, {"S1": (-10, 0), "S2": (-300, 0)})),
        visit("2025-01-01T08:00", (FOUND, one(-12))),
        stations="line,station,distance_mm,removed_on\nT1,S1,1000,\nT1,S2,2000,2024-06-01\n",
    )
    store = store_of(source)
    # The day before it went it was far over its limit of 120 um.
    before = answers(store, as_of=date(2024, 5, 31), at=())
    assert before.forecast["S2", "v"]["status"] == "over"
    after = answers(store)
    assert after.forecast.keys() == {("S1", "v"), ("S1", "h")}
    assert (after.status["T1"]["station"], after.sheet["worst"][0]) == ("S1", "S1")
    assert after.status["T1"]["status"] == after.sheet["status"] != "over"
