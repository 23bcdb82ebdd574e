"""Fleet: filters, counts, pages and order of the three mills, and when their states are made anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from record_sources import NOW, TODAY, all_rows, write_source
from sqlalchemy import event

from fleet.services.fleet_page import PAGE_ROWS, FleetFilters, FleetView, fleet_view, whole_fleet
from fleet.services.importing import import_folder
from fleet.services.refresh import bring_up_to_date
from fleet.services.rows import ForecastRow
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import STATUSES, Status


@contextmanager
def selects(store: Store) -> Iterator[list[str]]:
    """Collect the SELECT statements a store runs."""
    seen: list[str] = []

    def note(*arguments: object) -> None:
        statement = str(arguments[2])
        if statement.lstrip().upper().startswith("SELECT"):
            seen.append(statement)

    event.listen(store.engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(store.engine, "before_cursor_execute", note)


@pytest.fixture(scope="module")
def whole(mills: Store) -> FleetView:
    return whole_fleet(mills, now=NOW)


def _pages(store: Store, filters: FleetFilters) -> list[FleetView]:
    first = fleet_view(store, filters, now=NOW)
    rest = [
        fleet_view(store, FleetFilters(**{**_fields(filters), "page": page}), now=NOW)
        for page in range(2, first.pages + 1)
    ]
    return [first, *rest]


def _fields(filters: FleetFilters) -> dict[str, object]:
    return {name: getattr(filters, name) for name in ("site", "status", "foundation", "screw_diameter_mm", "page")}


def test_the_pages_of_fifty_together_are_the_fleet_in_the_same_order(mills: Store, whole: FleetView) -> None:
    pages = _pages(mills, FleetFilters())
    assert [len(view.rows) for view in pages] == [PAGE_ROWS, 72 - PAGE_ROWS]
    assert PAGE_ROWS == 50
    assert [row.line for view in pages for row in view.rows] == [row.line for row in whole.rows]
    assert {(view.total, view.pages, view.lines_in_store) for view in pages} == {(72, 2, 72)}


def test_a_page_beyond_the_last_shows_the_last(mills: Store) -> None:
    view = fleet_view(mills, FleetFilters(page=9), now=NOW)
    assert (view.filters.page, len(view.rows)) == (2, 22)


def test_lines_stand_by_urgency_of_their_status(whole: FleetView) -> None:
    order = [STATUSES.index(row.status) for row in whole.rows]
    assert order == sorted(order)
    assert STATUSES == ("over", "due", "watch", "within", "no record")


def test_within_a_status_the_greater_chance_comes_first(whole: FleetView) -> None:
    for status in ("over", "due", "watch", "within"):
        chances = [row.chance_following or 0.0 for row in whole.rows if row.status == status]
        assert all(earlier >= later - 0.05 for earlier, later in pairwise(chances)), status


def test_a_line_takes_its_worst_station_and_axis(whole: FleetView, forecasts: list[ForecastRow]) -> None:
    for row in whole.rows:
        own = [STATUSES.index(r.status) for r in forecasts if r.line == row.line]
        assert STATUSES.index(row.status) == min(own, default=STATUSES.index("no record"))
        if row.station is not None:
            (shown,) = [r for r in forecasts if (r.line, r.station, r.axis) == (row.line, row.station, row.axis)]
            assert shown.status == row.status
            assert row.deviation_um == pytest.approx(shown.deviation_um, abs=1e-9)
            assert row.chance_following == shown.chance_before_following_outage
            assert (row.over_p10, row.over_p50, row.over_p90) == (
                shown.over_on.p10, shown.over_on.p50, shown.over_on.p90,
            )  # fmt: skip


@pytest.mark.parametrize("site", ["NM", "TF", "HB", "WS", "QE", "ER"])
def test_the_site_filter_keeps_the_sites_lines(mills: Store, site: str) -> None:
    rows = [row for view in _pages(mills, FleetFilters(site=site)) for row in view.rows]
    assert {row.line for row in rows} == {row["line"] for row in all_rows("lines") if row["site"] == site}
    assert {row.site for row in rows} == {site}


@pytest.mark.parametrize("status", STATUSES)
def test_the_status_filter_keeps_that_status_and_the_counts_of_all(
    mills: Store, whole: FleetView, status: Status
) -> None:
    view = fleet_view(mills, FleetFilters(status=status), now=NOW)
    assert {row.line for row in view.rows} == {row.line for row in whole.rows if row.status == status}
    assert view.counts == whole.counts
    assert view.total == whole.counts[status]


def test_filters_work_together_and_count_under_the_other_filters(mills: Store, whole: FleetView) -> None:
    slabs = {
        row["line"]
        for row in all_rows("lines")
        if row["foundation"] == "slab" and row["site"] == "WS" and float(row["screw_diameter_mm"]) == 120.0
    }
    filters = FleetFilters(site="WS", foundation="slab", screw_diameter_mm=120.0)
    view = fleet_view(mills, filters, now=NOW)
    assert {row.line for row in view.rows} == slabs
    assert slabs
    expected = Counter(row.status for row in whole.rows if row.line in slabs)
    assert view.counts == {status: expected[status] for status in STATUSES}


def test_a_selection_nothing_matches_is_told_from_an_empty_store(mills: Store, sqlite_store: Store) -> None:
    nothing = fleet_view(mills, FleetFilters(site="QE", foundation="frame", screw_diameter_mm=60.0), now=NOW)
    assert (nothing.rows, nothing.total, nothing.pages, nothing.lines_in_store) == ((), 0, 1, 72)
    empty = fleet_view(sqlite_store, FleetFilters(), now=NOW)
    assert (empty.rows, empty.total, empty.lines_in_store, empty.as_of) == ((), 0, 0, TODAY)


def test_the_filters_offer_what_there_is(whole: FleetView) -> None:
    lines = all_rows("lines")
    assert set(whole.sites) == {row["site"] for row in lines if row["site"]}
    assert set(whole.foundations) == {"slab", "frame"}
    assert list(whole.screw_diameters_mm) == sorted({float(row["screw_diameter_mm"]) for row in lines})
    assert whole.site_names["QE"] == "Quayle End works (invented)"


def test_outages_ahead_are_those_planned_after_today(whole: FleetView) -> None:
    planned = {
        row["outage"]
        for row in all_rows("outages")
        if row["state"] == "planned" and row["starts_at"][:10] > "2026-11-01"
    }
    assert {mark.code for mark in whole.outages} == planned
    assert [mark.starts_at for mark in whole.outages] == sorted(mark.starts_at for mark in whole.outages)


def test_the_site_filter_keeps_the_outages_that_serve_its_lines(mills: Store) -> None:
    marks = {mark.code for mark in fleet_view(mills, FleetFilters(site="QE"), now=NOW).outages}
    # The site's own and the one of its line C01; none of another site.
    assert marks >= {"QE-2026-12", "QE-2027-03", "C01-2027-02"}
    assert not marks & {"ER-2027-01", "NM-2026-12", "WS-2027-01"}


def test_a_fresh_page_asks_the_store_four_times_whatever_it_shows(own_mills: Store) -> None:
    fleet_view(own_mills, FleetFilters(), now=NOW)
    for filters in (FleetFilters(), FleetFilters(page=2), FleetFilters(site="QE", status="within")):
        with selects(own_mills) as seen:
            fleet_view(own_mills, filters, now=NOW)
        # Two on the derived states (what there is, and the page), one for the outages ahead, one for the settings.
        assert sum("line_state" in statement for statement in seen) == 2
        assert len(seen) == 4


def test_states_are_made_anew_when_the_day_changes_and_not_before(own_mill_c: Store) -> None:
    store = own_mill_c
    assert bring_up_to_date(store, now=NOW) is False
    assert bring_up_to_date(store, now=NOW + timedelta(hours=10)) is False
    assert bring_up_to_date(store, now=NOW + timedelta(days=1)) is True
    assert bring_up_to_date(store, now=NOW + timedelta(days=1)) is False
    view = fleet_view(store, FleetFilters(), now=NOW + timedelta(days=2))
    assert view.as_of == TODAY + timedelta(days=2)


def test_the_day_changes_first_at_the_site_farthest_east(own_mill_c: Store) -> None:
    # 23:30 UTC on 1 November is half past midnight in Berlin, still the 1st in London.
    late = datetime(2026, 11, 1, 23, 30, tzinfo=UTC)
    assert bring_up_to_date(own_mill_c, now=late) is True
    with own_mill_c.read() as record:
        days = {row.site: row.site_day for row in queries.fleet_facets(record)}
    assert days == {"QE": date(2026, 11, 1), "ER": date(2026, 11, 2), None: date(2026, 11, 1)}


def test_a_line_drifts_on_from_one_day_to_a_later_one(own_mill_c: Store) -> None:
    def of(days: int) -> dict[str, float | None]:
        view = fleet_view(own_mill_c, FleetFilters(), now=NOW + timedelta(days=days))
        return {row.line: row.chance_following for row in view.rows}

    today, later = of(0), of(200)
    assert today.keys() == later.keys()
    assert today != later


def test_states_are_made_anew_when_the_facts_change(own_mill_c: Store, tmp_path: Path) -> None:
    source = write_source(
        tmp_path / "more",
        {
            "sessions": "session,line,started_at\nC08-01,C08,2026-10-30T09:00\n",
            "surveys": "session,survey,phase\nC08-01,1,as_found\n",
            "offsets": "session,survey,station,v,h,unit,u_v,u_h\n"
            "C08-01,1,P1,0,0,um,10,10\nC08-01,1,P2,150,0,um,10,10\n",
        },
    )
    before = {row.line: row for row in fleet_view(own_mill_c, FleetFilters(), now=NOW).rows}["C08"]
    assert before.status == "no record"
    import_folder(own_mill_c, source, who="tester", now=NOW)
    assert bring_up_to_date(own_mill_c, now=NOW) is False
    row = {row.line: row for row in fleet_view(own_mill_c, FleetFilters(), now=NOW).rows}["C08"]
    # 0.15 mm high of the axis against a limit of 0.10 and no target: over.
    assert (row.status, row.station, row.axis, row.measured_on) == ("over", "P2", "v", date(2026, 10, 30))
    assert row.measured_deviation_um == pytest.approx(150.0)
    assert fleet_view(own_mill_c, FleetFilters(), now=NOW).rows[0].line == "C08"


def test_a_page_finds_out_by_itself_that_states_are_stale(own_mill_c: Store) -> None:
    view = fleet_view(own_mill_c, FleetFilters(), now=NOW + timedelta(days=400))
    assert {row.status for row in view.rows} <= set(STATUSES)
    with selects(own_mill_c) as seen:
        fleet_view(own_mill_c, FleetFilters(), now=NOW + timedelta(days=400))
    assert len(seen) == 4


def test_the_day_of_the_last_survey_is_the_sites(store_of: Callable[..., Store]) -> None:
    store = store_of(
        {
            "sites": "site,time_zone\nWE,America/Los_Angeles\n",
            "lines": "line,site\nW1,WE\n",
            "stations": "line,station,distance_mm\nW1,S1,2000\n",
            "sessions": "session,line,started_at\nX1,W1,2026-08-10T23:30\n",
            "surveys": "session,survey,phase\nX1,1,as_found\n",
            "offsets": "session,survey,station,v,h,unit\nX1,1,S1,10,0,um\n",
            "tolerances": "line,axis,limit_um\nW1,v,100\n",
        }
    )
    (row,) = fleet_view(store, FleetFilters(), now=NOW).rows
    assert row.measured_on == date(2026, 8, 10)
