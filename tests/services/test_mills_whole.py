"""The three mills as a whole: every line speaks, no figure is no number, and reading changes nothing."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from record_sources import MILLS, NAMES, NOW, TODAY, all_rows, rows_of

from fleet.services.catalog import line_codes
from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.cold_offsets_page import cold_offsets_view
from fleet.services.drift import drift_rows
from fleet.services.exporting import export_records
from fleet.services.fleet_page import FleetFilters, fleet_view, whole_fleet
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.job_sheet import job_sheet
from fleet.services.line_page import line_view
from fleet.services.offsets import offset_rows
from fleet.services.rows import ColdOffsetRow, DriftInterval, ForecastRow, OffsetRow
from fleet.store.engine import Store, open_store
from fleet.store.versions import data_version
from fleet.values import STATUSES


def numbers(value: Any) -> Iterator[float]:
    """Yield every floating-point number in a result, however deep."""
    if isinstance(value, float):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from numbers(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from numbers(inner)


def test_every_line_with_a_cold_survey_has_a_forecast_for_each_surveyed_station_and_axis(
    forecasts: list[ForecastRow],
) -> None:
    cold = {
        (row["session"], row["survey"])
        for row in all_rows("surveys")
        if row["phase"] in ("as_found", "as_left", "interim")
    }
    line_of = {row["session"]: row["line"] for row in all_rows("sessions")}
    measured = {
        (line_of[row["session"]], row["station"], axis)
        for row in (*all_rows("readings"), *all_rows("offsets"))
        if (row["session"], row["survey"]) in cold
        for axis in ("v", "h")
    }
    assert len(measured) > 400
    assert {(row.line, row.station, row.axis) for row in forecasts} == measured


def test_no_figure_anywhere_is_not_a_number(
    mills: Store,
    forecasts: list[ForecastRow],
    offsets: list[OffsetRow],
    drifts: list[DriftInterval],
    comparison: list[ColdOffsetRow],
) -> None:
    results: list[Any] = [asdict(row) for rows in (forecasts, offsets, drifts, comparison) for row in rows]
    results.append(asdict(whole_fleet(mills, now=NOW)))
    found = list(numbers(results))
    assert len(found) > 20_000
    assert all(math.isfinite(number) for number in found)
    assert json.dumps(results, default=str, allow_nan=False)


@pytest.mark.parametrize("line", ["C01", "C02", "C03", "C04", "C05", "C06", "C07", "C08"])
def test_no_figure_on_the_pages_of_a_line_is_not_a_number(mill_c: Store, line: str) -> None:
    pages = [
        asdict(line_view(mill_c, line, now=NOW)),
        asdict(job_sheet(mill_c, line, now=NOW)),
        asdict(cold_offsets_view(mill_c, line, now=NOW)),
    ]
    found = list(numbers(pages))
    assert len(found) > 10
    assert all(math.isfinite(number) for number in found)


def test_at_least_three_kinds_of_status_show(mills: Store) -> None:
    view = whole_fleet(mills, now=NOW)
    assert set(view.counts) == set(STATUSES)
    assert sum(view.counts.values()) == len(all_rows("lines")) == 72
    assert len([status for status, count in view.counts.items() if count and status != "no record"]) >= 3


def test_the_day_of_the_forecast_is_the_one_asked_for(forecasts: list[ForecastRow]) -> None:
    assert {row.as_of for row in forecasts} == {TODAY}
    assert {tuple(e.at for e in row.expected) for row in forecasts} == {(TODAY, date(2027, 11, 1))}


def test_chances_of_one_row_never_fall_with_time(forecasts: list[ForecastRow]) -> None:
    judged = [row for row in forecasts if row.limit_um is not None]
    assert len(judged) > 400
    for row in judged:
        chances = [row.chance_over[days] for days in ("30", "90", "180", "365", "730")]
        known = [chance for chance in chances if chance is not None]
        assert len(known) == 5
        assert all(0.0 <= chance <= 1.0 for chance in known)
        assert known == sorted(known)


def test_dates_of_passing_stand_in_order_and_within_the_horizon(forecasts: list[ForecastRow]) -> None:
    horizon = TODAY + timedelta(days=5 * 366)
    some = 0
    for row in forecasts:
        days = [day for day in (row.over_on.p10, row.over_on.p50, row.over_on.p90) if day is not None]
        some += bool(days)
        assert days == sorted(days)
        assert all(day <= horizon for day in days)
    assert some > 20


def test_quantiles_of_what_is_expected_stand_in_order(forecasts: list[ForecastRow]) -> None:
    for row in forecasts:
        for e in row.expected:
            quantiles = [e.q025, e.q05, e.q10, e.q25, e.q50, e.q75, e.q90, e.q95, e.q975]
            assert quantiles == sorted(quantiles)
            assert e.sd_um > 0.0


def test_the_expected_measurement_is_wider_than_the_true_position(forecasts: list[ForecastRow]) -> None:
    # What a survey would measure has the survey's own uncertainty on top of the position's.
    assert all(row.expected[0].sd_um > row.u_position_um for row in forecasts)


def test_an_uncertain_rate_makes_the_future_less_certain(forecasts: list[ForecastRow]) -> None:
    assert all(row.expected[1].sd_um > row.expected[0].sd_um for row in forecasts)


@pytest.mark.parametrize("name", NAMES)
def test_importing_the_same_mill_again_is_nothing_new(own_mills: Store, name: str) -> None:
    with own_mills.read() as record:
        before = data_version(record)
    taken = import_folder(own_mills, MILLS / name, who="tester", now=NOW)
    assert taken.result.nothing_new
    assert taken.summary == f"Nothing new in {name}: the store holds all of it already."
    with own_mills.read() as record:
        assert data_version(record) == before


def test_a_store_exported_and_imported_into_an_empty_one_exports_the_same_bytes(
    mills: Store, store_of: Callable[..., Store], tmp_path: Path
) -> None:
    export_records(mills, tmp_path / "first")
    again = store_of(tmp_path / "first")
    export_records(again, tmp_path / "second")
    first = {path.name: path.read_bytes() for path in (tmp_path / "first").glob("*.csv")}
    second = {path.name: path.read_bytes() for path in (tmp_path / "second").glob("*.csv")}
    assert len(first) >= 24
    assert first == second


def test_a_store_made_from_the_export_forecasts_the_same(
    mills: Store, store_of: Callable[..., Store], tmp_path: Path, forecasts: list[ForecastRow]
) -> None:
    export_records(mills, tmp_path / "out")
    again = {(r.line, r.station, r.axis): r for r in forecast_rows(store_of(tmp_path / "out"), as_of=TODAY)}
    assert len(again) == len(forecasts)
    for row in forecasts:
        other = again[row.line, row.station, row.axis]
        assert other.position_um == pytest.approx(row.position_um, abs=1e-6)
        assert other.rate_um_per_year == pytest.approx(row.rate_um_per_year, abs=1e-6)
        assert other.status == row.status


def test_reading_leaves_the_version_of_the_facts_alone(own_mill_c: Store) -> None:
    with own_mill_c.read() as record:
        before = data_version(record)
    offset_rows(own_mill_c, line="C01")
    drift_rows(own_mill_c, line="C01", now=NOW)
    forecast_rows(own_mill_c, line="C01", as_of=TODAY)
    cold_offset_rows(own_mill_c, line="C01", now=NOW)
    whole_fleet(own_mill_c, now=NOW)
    fleet_view(own_mill_c, FleetFilters(), now=NOW + timedelta(days=30))
    line_view(own_mill_c, "C01", now=NOW)
    job_sheet(own_mill_c, "C01", now=NOW)
    cold_offsets_view(own_mill_c, "C01", now=NOW)
    with own_mill_c.read() as record:
        assert data_version(record) == before


def test_a_line_without_a_limit_stands_with_nulls(forecasts: list[ForecastRow]) -> None:
    rows = [row for row in forecasts if row.line == "C05"]
    assert {(row.station, row.axis) for row in rows} == {("P1", "v"), ("P1", "h"), ("P2", "v"), ("P2", "h")}
    for row in rows:
        assert (row.status, row.limit_um, row.watch_um) == ("no record", None, None)
        assert set(row.chance_over.values()) == {None}
        assert (row.chance_before_next_outage, row.chance_before_following_outage) == (None, None)
        assert (row.over_on.p10, row.over_on.p50, row.over_on.p90) == (None, None, None)
        assert math.isfinite(row.position_um)
        assert math.isfinite(row.deviation_um)


def test_a_line_without_a_limit_says_so(mill_c: Store) -> None:
    view = line_view(mill_c, "C05", now=NOW)
    assert (view.status, view.why) == ("no record", "no limit to judge by")


def test_a_line_never_surveyed_has_no_record_and_says_so(
    mills: Store, mill_c: Store, forecasts: list[ForecastRow]
) -> None:
    assert not [row for row in forecasts if row.line == "C08"]
    (row,) = [row for row in whole_fleet(mills, now=NOW).rows if row.line == "C08"]
    assert (row.status, row.why, row.deviation_um, row.station) == ("no record", "no survey yet", None, None)
    view = line_view(mill_c, "C08", now=NOW)
    assert (view.status, view.why, view.history, view.sessions) == ("no record", "no survey yet", None, ())


def test_a_line_without_a_site_goes_by_utc_and_has_no_outage(mill_c: Store, forecasts: list[ForecastRow]) -> None:
    typed = {row["session"]: row["started_at"] for row in rows_of("mill-c", "sessions") if row["line"] == "C06"}
    rows = [row for row in forecasts if row.line == "C06"]
    assert rows
    assert {row.next_outage for row in rows} == {None}
    for row in rows:
        assert row.last_measured_at.utcoffset() == timedelta(0)
        assert row.last_measured_at.replace(tzinfo=None) == datetime.fromisoformat(typed[row.last_session])
    view = line_view(mill_c, "C06", now=NOW)
    assert (view.site, view.zone, view.outages) == (None, "UTC", ())


def test_the_codes_of_all_lines_are_listed_in_order(mills: Store) -> None:
    assert list(line_codes(mills)) == sorted(row["line"] for row in all_rows("lines"))


@pytest.mark.postgres
def test_both_engines_export_the_same_bytes(postgres_url: str, mill_c: Store, tmp_path: Path) -> None:
    server = open_store(postgres_url)
    try:
        import_folder(server, MILLS / "mill-c", who="tester", now=NOW)
        export_records(server, tmp_path / "server")
    finally:
        server.close()
    export_records(mill_c, tmp_path / "file")
    files = {path.name: path.read_bytes() for path in (tmp_path / "file").glob("*.csv")}
    assert files.keys() == {path.name for path in (MILLS / "mill-c").glob("*.csv")}
    assert files == {path.name: path.read_bytes() for path in (tmp_path / "server").glob("*.csv")}
