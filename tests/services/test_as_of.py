"""As of a day: only what had happened by its end at the site, and the tolerance, target and outages that held then."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from record_sources import MILLS, NOW, TODAY, all_rows, day_of, keep_rows, rows_of, to_um

from fleet.errors import InputError, NotFoundError
from fleet.services.drift import drift_rows
from fleet.services.forecasting import forecast_rows
from fleet.services.line_page import line_view
from fleet.services.offsets import offset_rows
from fleet.services.rows import DriftInterval, ForecastRow, OffsetRow
from fleet.store.engine import Store

THEN = date(2022, 6, 30)
HAPPENED = {
    "running_checks": "checked_at",
    "meters": "read_at",
    "events": "happened_at",
    "wear": "measured_at",
    "support_temperatures": "checked_at",
    "sessions": "started_at",
}


def _known_by(day: date, mill: str) -> Callable[[str, Mapping[str, str]], bool]:
    """Return which rows of a mill had happened by the end of a day; what hangs from a later session goes with it."""
    later = {row["session"] for row in rows_of(mill, "sessions") if day_of(row["started_at"]) > day}

    def keep(sheet: str, row: Mapping[str, str]) -> bool:
        when = row.get(HAPPENED.get(sheet, ""), "")
        return row.get("session", "") not in later and (not when or day_of(when) <= day)

    return keep


def test_as_of_a_past_day_equals_a_record_that_ends_on_that_day(
    mill_c: Store, store_of: Callable[..., Store], tmp_path: Path
) -> None:
    truncated = store_of(keep_rows(MILLS / "mill-c", tmp_path / "then", _known_by(THEN, "mill-c")))
    whole = forecast_rows(mill_c, as_of=THEN, at=(THEN, date(2023, 3, 1)))
    known = forecast_rows(truncated, as_of=THEN, at=(THEN, date(2023, 3, 1)))
    assert len(whole) == len(known) > 30
    for row, other in zip(whole, known, strict=True):
        assert (row.line, row.station, row.axis, row.last_session) == (
            other.line, other.station, other.axis, other.last_session,
        )  # fmt: skip
        assert (row.status, row.over_on, row.next_outage) == (other.status, other.over_on, other.next_outage)
        for name in ("last_measured_um", "position_um", "u_position_um", "rate_um_per_year", "deviation_um"):
            assert getattr(row, name) == pytest.approx(getattr(other, name), abs=1e-6), name
        assert row.chance_over == pytest.approx(other.chance_over, abs=1e-9)
        assert row.expected[1].q975 == pytest.approx(other.expected[1].q975, abs=1e-6)


def test_the_future_of_the_record_would_have_changed_that_forecast(mill_c: Store) -> None:
    # Without this the comparison above could hold because the later sessions say nothing.
    then = {(r.line, r.station, r.axis): r.position_um for r in forecast_rows(mill_c, as_of=THEN)}
    now = {(r.line, r.station, r.axis): r.position_um for r in forecast_rows(mill_c, as_of=TODAY)}
    assert sum(abs(now[key] - then[key]) > 5.0 for key in then) > 20


def test_a_day_before_the_first_session_knows_nothing(mill_c: Store) -> None:
    assert forecast_rows(mill_c, as_of=date(2010, 1, 1)) == []


def test_a_day_of_interest_before_as_of_is_refused_in_a_whole_sentence(mill_c: Store) -> None:
    with pytest.raises(InputError) as caught:
        forecast_rows(mill_c, as_of=TODAY, at=(date(2027, 1, 1), date(2026, 10, 31)))
    assert str(caught.value) == ("--at 2026-10-31 lies before as-of 2026-11-01; ask for that day or a later one.")


def test_an_unknown_line_is_named_with_a_way_on(mill_c: Store) -> None:
    sentence = "There is no line 'Z99' in the store; `asleft status` lists the lines there are."
    for ask in (forecast_rows, drift_rows, offset_rows):
        with pytest.raises(NotFoundError) as caught:
            ask(mill_c, line="Z99")
        assert str(caught.value) == sentence


@pytest.mark.parametrize("day", [date(2022, 4, 12), date(2023, 1, 1)])
def test_a_correction_takes_the_place_of_what_it_corrects_at_any_as_of(mill_c: Store, day: date) -> None:
    rows = {(r.station, r.axis): r for r in forecast_rows(mill_c, line="C04", as_of=day)}
    assert {row.last_session for row in rows.values()} == {"C04-08K"}
    # The sheet says 0.086 right; the first entry had the sign turned.
    assert rows["P3", "h"].last_measured_um == pytest.approx(86.0, abs=1e-9)


def test_a_corrected_session_is_gone_from_offsets_and_drift(
    offsets: list[OffsetRow], drifts: list[DriftInterval]
) -> None:
    of_line = {row.session for row in offsets if row.line == "C04"}
    assert "C04-08K" in of_line
    assert "C04-08" not in of_line
    named = {name for row in drifts if row.line == "C04" for name in (row.from_session, row.to_session)}
    assert "C04-08K" in named
    assert "C04-08" not in named


PLANT = {
    "sites": "site,name,time_zone\nEA,East works,Asia/Tokyo\nWE,West works,America/Los_Angeles\n"
    "MA,Middle works,Europe/Madrid\n",
    "lines": "line,site\nE1,EA\nW1,WE\nM1,MA\nN1,\n",
    "stations": "line,station,distance_mm\nE1,S1,2000\nE1,S2,3000\nW1,S1,2000\nM1,S1,2000\nN1,S1,2000\n",
}


def _plant(sessions: str, **more: str) -> dict[str, str]:
    """Return a source with one as-left of the same offsets per session."""
    codes = [row.split(",")[0:2] for row in sessions.splitlines()]
    return {
        **PLANT,
        "sessions": "session,line,started_at\n" + sessions,
        "surveys": "session,survey,phase\n" + "".join(f"{code},1,as_left\n" for code, _ in codes),
        "offsets": "session,survey,station,v,h,unit,u_v,u_h\n"
        + "".join(f"{code},1,S1,{-100 - 10 * k},20,um,10,10\n" for k, (code, _) in enumerate(codes)),
        **more,
    }


def _one(rows: list[ForecastRow], line: str, axis: str = "v", station: str = "S1") -> ForecastRow:
    (row,) = [r for r in rows if (r.line, r.station, r.axis) == (line, station, axis)]
    return row


def test_a_later_tolerance_is_ignored_before_its_day(store_of: Callable[..., Store]) -> None:
    store = store_of(
        _plant(
            "X1,E1,2024-05-01T10:00\n",
            tolerances="line,station,axis,from_on,watch_um,limit_um\n"
            "E1,,v,,80,160\nE1,,v,2025-03-01,40,90\nE1,,h,,70,140\n",
        )
    )
    before = _one(forecast_rows(store, as_of=date(2025, 2, 28)), "E1")
    after = _one(forecast_rows(store, as_of=date(2025, 3, 1)), "E1")
    assert (before.watch_um, before.limit_um) == (80.0, 160.0)
    assert (after.watch_um, after.limit_um) == (40.0, 90.0)
    assert _one(forecast_rows(store, as_of=date(2025, 3, 1)), "E1", "h").limit_um == 140.0


def test_a_stations_own_tolerance_beats_its_lines(store_of: Callable[..., Store]) -> None:
    source = _plant(
        "X1,E1,2024-05-01T10:00\n",
        tolerances="line,station,axis,from_on,watch_um,limit_um\nE1,S1,v,,30,60\nE1,,v,2024-06-01,80,160\n",
    )
    source["offsets"] += "X1,1,S2,-50,0,um,10,10\n"
    rows = forecast_rows(store_of(source), as_of=date(2025, 1, 1))
    # Its own holds although the line's is newer.
    assert _one(rows, "E1").limit_um == 60.0
    assert _one(rows, "E1", station="S2").limit_um == 160.0


def test_a_slope_tolerance_does_not_judge_offsets(forecasts: list[ForecastRow]) -> None:
    # C02 has v: line 82/150 and, by station, P4 60/110; its 40/70 um per m is a slope.
    limits = {r.station: (r.watch_um, r.limit_um) for r in forecasts if r.line == "C02" and r.axis == "v"}
    assert limits == {"P1": (82.0, 150.0), "P2": (82.0, 150.0), "P3": (82.0, 150.0), "P4": (60.0, 110.0)}


def test_tolerances_in_force_are_those_of_the_files(forecasts: list[ForecastRow]) -> None:
    written = sorted(
        (row for row in all_rows("tolerances") if row.get("measure", "") in ("", "offset")),
        key=lambda row: row["from_on"],
    )
    newest = {(row["line"], row["station"], row["axis"]): row for row in written if day_of(row["from_on"]) <= TODAY}
    judged = [row for row in forecasts if row.limit_um is not None]
    assert len(judged) > 400
    for row in judged:
        own = newest.get((row.line, row.station, row.axis)) or newest[row.line, "", row.axis]
        assert (row.watch_um, row.limit_um) == (float(own["watch_um"]), float(own["limit_um"]))


@pytest.mark.parametrize("day", [TODAY, date(2023, 1, 1)])
def test_the_deviation_is_from_the_newest_cold_target_at_or_before_as_of(mills: Store, day: date) -> None:
    started = {row["session"]: row["started_at"] for row in all_rows("sessions")}
    line_of = {row["session"]: row["line"] for row in all_rows("sessions")}
    targets: dict[tuple[str, str, str], float] = {}
    for row in sorted(all_rows("cold_targets"), key=lambda row: started[row["session"]]):
        if day_of(started[row["session"]]) <= day:
            for axis in ("v", "h"):
                targets[line_of[row["session"]], row["station"], axis] = to_um(row[axis], row["unit"])
    rows = forecast_rows(mills, as_of=day)
    assert sum((r.line, r.station, r.axis) in targets for r in rows) > 200
    for row in rows:
        target = targets.get((row.line, row.station, row.axis), 0.0)
        assert row.position_um - row.deviation_um == pytest.approx(target, abs=1e-6)


@pytest.mark.parametrize(
    ("line", "local", "other_day_in_utc"),
    [
        ("M1", "2024-08-10T23:30", False),
        ("M1", "2024-08-10T00:30", True),
        ("W1", "2024-08-10T23:30", True),
        ("E1", "2024-08-10T06:00", True),
        ("N1", "2024-08-10T23:30", False),
        ("M1", "2024-10-27T23:30", False),
        ("M1", "2024-03-31T23:30", False),
    ],
)
def test_a_session_stays_on_its_day_at_the_site(
    store_of: Callable[..., Store], line: str, local: str, other_day_in_utc: bool
) -> None:
    day = date.fromisoformat(local[:10])
    store = store_of(_plant(f"X1,{line},{local}\n"))
    assert forecast_rows(store, as_of=day - timedelta(days=1)) == []
    rows = forecast_rows(store, as_of=day)
    assert {row.last_session for row in rows} == {"X1"}
    moment = rows[0].last_measured_at
    assert moment.replace(tzinfo=None) == datetime.fromisoformat(local)
    assert (moment.astimezone(UTC).date() != day) == other_day_in_utc


def test_noon_at_the_site_is_what_a_day_of_interest_means(store_of: Callable[..., Store]) -> None:
    # The as-left at noon of the same day is 0 days old, so that what is expected that day is the as-left itself.
    rows = forecast_rows(store_of(_plant("X1,E1,2024-05-01T12:00\n")), as_of=date(2024, 5, 1), at=(date(2024, 5, 1),))
    assert rows[0].expected[0].mean_um == pytest.approx(-100.0, abs=1e-6)
    assert rows[0].position_um == pytest.approx(-100.0, abs=1e-6)


OUTAGES = (
    "outage,site,line,kind,starts_at,ends_at,state\n"
    "PAST,EA,,stop,2025-01-10T06:00,2025-01-12T06:00,planned\n"
    "DONE,EA,,stop,2025-06-01T06:00,2025-06-02T06:00,done\n"
    "OFF,EA,,stop,2025-06-03T06:00,2025-06-04T06:00,cancelled\n"
    "OTHER,WE,,stop,2025-06-05T06:00,2025-06-06T06:00,planned\n"
    "ANY,,,stop,2025-06-07T06:00,2025-06-08T06:00,planned\n"
    "SITE2,EA,,stop,2026-03-01T06:00,2026-03-02T06:00,planned\n"
    "OWN,,E1,stop,2025-09-01T06:00,2025-09-02T06:00,planned\n"
    "SITE1,EA,,stop,2025-12-01T06:00,2025-12-02T06:00,planned\n"
)


def test_outages_ahead_are_the_lines_own_and_its_sites_planned_ones_in_time_order(
    store_of: Callable[..., Store],
) -> None:
    source = _plant("X1,E1,2024-05-01T10:00\n", outages=OUTAGES, tolerances="line,axis,limit_um\nE1,v,150\n")
    store = store_of(source)
    seen = [
        (row.next_outage, row.following_outage)
        for day in (date(2025, 2, 1), date(2025, 9, 1), date(2025, 12, 1))
        for row in [_one(forecast_rows(store, as_of=day), "E1")]
    ]
    # An outage that begins on as-of lies no longer ahead of its end.
    assert seen == [("OWN", "SITE1"), ("SITE1", "SITE2"), ("SITE2", None)]


def test_with_one_outage_ahead_the_chance_is_that_of_one_year(store_of: Callable[..., Store]) -> None:
    source = _plant(
        "X1,E1,2021-05-01T10:00\nX2,E1,2023-05-01T10:00\n", outages=OUTAGES, tolerances="line,axis,limit_um\nE1,v,125\n"
    )
    row = _one(forecast_rows(store_of(source), as_of=date(2025, 12, 1)), "E1")
    assert (row.next_outage, row.following_outage) == ("SITE2", None)
    assert row.chance_over["365"] is not None
    assert 0.001 < row.chance_over["365"] < 1.0
    assert row.chance_before_following_outage == pytest.approx(row.chance_over["365"], abs=1e-12)
    # SITE2 begins 90 days after as-of (1 March 2026).
    assert row.chance_before_next_outage == pytest.approx(row.chance_over["90"], abs=2e-3)


def test_without_an_outage_ahead_both_are_null(store_of: Callable[..., Store]) -> None:
    source = _plant("X1,N1,2024-05-01T10:00\n", outages=OUTAGES, tolerances="line,axis,limit_um\nN1,v,150\n")
    row = _one(forecast_rows(store_of(source), as_of=date(2025, 1, 1)), "N1")
    assert (row.next_outage, row.following_outage, row.chance_before_next_outage) == (None, None, None)
    assert row.chance_before_following_outage == pytest.approx(row.chance_over["365"] or -1.0, abs=1e-12)


def test_an_outage_across_the_clock_change_keeps_its_local_hours(mill_c: Store) -> None:
    # British Summer Time 2027 begins on the last Sunday of March, the 28th (Summer Time Order 2002).
    (outage,) = [o for o in line_view(mill_c, "C01", now=NOW).outages if o.code == "QE-2027-03"]
    assert (outage.starts_at.isoformat(), outage.ends_at.isoformat()) == (
        "2027-03-26T22:00:00+00:00",
        "2027-03-30T06:00:00+01:00",
    )


def test_a_sites_own_setting_beats_the_general_one_and_waits_for_its_day(store_of: Callable[..., Store]) -> None:
    settings = (
        "site,name,value,from_on\n,chance_watch,0.999,\n,chance_due,0.9995,\n,chance_over,0.9999,\n"
        "EA,chance_watch,0.0001,2025-01-01\nEA,chance_due,0.0002,2025-01-01\n"
        ",chance_watch,0.998,2025-06-01\n,chance_due,0.9985,2025-06-01\n"
    )
    source = _plant(
        "X1,E1,2022-05-01T10:00\nX2,W1,2022-05-01T10:00\n",
        settings=settings,
        tolerances="line,axis,watch_um,limit_um\nE1,v,140,150\nW1,v,140,150\n",
    )
    store = store_of(source)
    # From June on the general one is the newer of the two; the site's own still holds there.
    for day, east in ((date(2024, 12, 31), "within"), (date(2025, 1, 1), "due"), (date(2025, 7, 1), "due")):
        rows = forecast_rows(store, as_of=day)
        assert (_one(rows, "E1").status, _one(rows, "W1").status) == (east, "within")


def test_a_sites_longer_horizon_gives_other_sites_no_later_dates(store_of: Callable[..., Store]) -> None:
    source = _plant(
        "X1,E1,2022-05-01T10:00\nX2,W1,2022-05-01T10:00\n",
        settings="site,name,value\n,horizon_years,1\nEA,horizon_years,60\n",
        tolerances="line,axis,watch_um,limit_um\nE1,v,140,200\nW1,v,140,200\n",
    )
    rows = forecast_rows(store_of(source), as_of=date(2022, 6, 1))
    assert _one(rows, "E1").over_on.p50 is not None
    assert _one(rows, "E1").over_on.p50 > date(2023, 6, 1)
    days = _one(rows, "W1").over_on
    assert all(day is None or day <= date(2023, 6, 2) for day in (days.p10, days.p50, days.p90))
    assert days.p50 is None
