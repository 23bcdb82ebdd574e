"""Compare through the real import: small fleets whose drift is straight, so that every rate is known by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

import pytest
from record_sources import NOW, rows_of
from thin_records import thin

from fleet.services.compare import Change, CompareFilters, CompareView, compare_view
from fleet.services.rows import ForecastRow
from fleet.store.engine import Store
from fleet.values import DAYS_PER_YEAR

# One calendar year of 365 days is a little less than a year of use, 365.25 days.
YEAR = 365.0 / DAYS_PER_YEAR


def straight(line: str, rate: float, years: range | list[int], **more: str) -> dict[str, str]:
    """Return a line measured on 1 January of odd years without leap days between, going `rate` um a 365 days at S2."""
    visits = [
        {"on": f"{year}-01-01T10:00", "surveys": (("as_found", {"S1": (0.2 * v, 0), "S2": (v, 0)}),), "more": {}}
        for year in years
        for v in [rate * (date(year, 1, 1) - date(years[0], 1, 1)).days / 365.0]
    ]
    return thin(*visits, u_um=4, line=line, **more)


def together(*sources: Mapping[str, str], lines: str | None = None, **more: str) -> dict[str, str]:
    """Return several sources as one; `lines` in place of their own."""
    joined: dict[str, str] = {}
    for source in sources:
        for name, text in source.items():
            head, _, rows = text.partition("\n")
            joined[name] = f"{joined[name]}{rows}" if name in joined else f"{head}\n{rows}"
    return {**joined, **({"lines": lines} if lines else {}), **more}


FLEET_RATES = {"T1": -200.0, "T2": -6.0, "T3": 4.0, "T4": 2.0, "T5": -3.0, "T6": 5.0, "T7": -1.0, "T8": 0.0}
LINES = "line,site,screw_diameter_mm,foundation,right_hand_side\n" + "".join(
    f"{line},{'EA' if number < 5 else 'EB'},{90 if number % 2 else 120},{'frame' if number < 3 else 'slab'},\n"
    for number, line in enumerate([*FLEET_RATES, "T9"], start=1)
)
SITES = "site,name,time_zone\nEA,East (invented),Pacific/Auckland\nEB,West (invented),UTC\n"


@pytest.fixture(scope="module")
def sources() -> dict[str, str]:
    """Eight lines visited five times, one of which goes down fast, and T9 that was only seen once."""
    measured = [straight(line, rate, range(2018, 2023)) for line, rate in FLEET_RATES.items()]
    return together(*measured, straight("T9", 0.0, [2022]), lines=LINES, sites=SITES)


@pytest.fixture
def fleet(store_of: Callable[..., Store], sources: dict[str, str]) -> Store:
    return store_of(sources)


def seen(store: Store, **asked: object) -> CompareView:
    return compare_view(store, CompareFilters(**asked), now=NOW)  # type: ignore[arg-type]


def test_a_line_that_goes_straight_has_that_rate_by_its_own_record(fleet: Store) -> None:
    view = seen(fleet)
    own = {row.line: row.own for row in view.ranked}
    assert own == pytest.approx({line: rate / YEAR for line, rate in FLEET_RATES.items()}, abs=1e-3)
    assert {row.station for row in view.ranked} == {"S2"}
    assert {(row.intervals, row.visits) for row in view.ranked} == {(4, 5)}
    nearest = {row.line: row for row in seen(fleet, at="gearbox").ranked}
    assert nearest["T1"].station == "S1"
    assert nearest["T1"].own == pytest.approx(-40.0 / YEAR, abs=1e-3)


def test_lines_stand_in_order_of_how_much_they_move_and_only_the_odd_one_is_told_apart(fleet: Store) -> None:
    view = seen(fleet)
    assert [row.place for row in view.ranked] == list(range(1, 9))
    assert [abs(row.rate) for row in view.ranked] == sorted((abs(row.rate) for row in view.ranked), reverse=True)
    assert view.ranked[0].line == "T1"
    assert [row.line for row in view.told] == ["T1"]
    assert (view.told_count, view.total, view.in_view, view.without_rate, view.lines_in_store) == (1, 8, 9, 1, 9)
    assert all(row.rate < row.fleet for row in view.told)


def test_the_rate_is_the_one_the_forecast_uses_but_where_that_takes_every_movement_for_a_jump(
    mills: Store, forecasts: list[ForecastRow]
) -> None:
    foreseen = {(row.line, row.station): row for row in forecasts if row.axis == "v"}
    agree = []
    for row in seen(mills, page=None).ranked:
        other = foreseen[row.line, row.station]
        pair = (row.rate, other.rate_um_per_year)
        if row.rate_um_per_1000_h is not None and other.rate_um_per_1000_h is not None:
            pair = (row.rate_um_per_1000_h, other.rate_um_per_1000_h)
        agree.append(pair[0] == pytest.approx(pair[1], rel=1e-9))
    assert sum(agree) > 0.9 * len(agree)


def test_two_visits_do_not_outrank_twenty(store_of: Callable[..., Store]) -> None:
    # Twenty visits at 40 a year beside one interval of two months that by itself looks like 60 a year, in a calm fleet.
    calm = [straight(f"T{number}", rate, range(2010, 2021)) for number, rate in enumerate((3, -4, 6, -2, 0), start=3)]
    long = straight("T1", -40.0, range(2002, 2022))
    short = thin(
        {"on": "2021-01-01T10:00", "surveys": (("as_found", {"S2": (0, 0)}),), "more": {}},
        {"on": "2021-03-01T10:00", "surveys": (("as_found", {"S2": (-10, 0)}),), "more": {}},
        u_um=8,
        line="T2",
    )
    view = seen(store_of(together(*calm, long, short)))
    assert view.loudest is not None
    assert (view.loudest.line, view.loudest.intervals) == ("T2", 1)
    assert view.loudest.own == pytest.approx(-10.0 / (59.0 / DAYS_PER_YEAR), abs=1e-3)
    assert view.ranked[0].line == "T1"
    short_row = next(row for row in view.ranked if row.line == "T2")
    assert abs(short_row.rate) < abs(short_row.own) / 2.0
    assert short_row.borrowed > 0.5
    assert not short_row.told_apart


def test_the_filters_choose_lines_and_leave_every_verdict_as_it_was(fleet: Store) -> None:
    whole = {row.line: row for row in seen(fleet).ranked}
    for asked, lines in (
        ({"site": "EA"}, {"T1", "T2", "T3", "T4"}),
        ({"foundation": "frame"}, {"T1", "T2"}),
        ({"screw_diameter_mm": 120.0}, {"T2", "T4", "T6", "T8"}),
        ({"site": "EB", "screw_diameter_mm": 90.0}, {"T5", "T7"}),
    ):
        view = seen(fleet, **asked)
        assert {row.line for row in view.ranked} == lines
        for row in view.ranked:
            assert (row.rate, row.told_apart) == (whole[row.line].rate, whole[row.line].told_apart)
    assert (seen(fleet, site="EB").without_rate, seen(fleet, site="EC").in_view) == (1, 0)


def test_groups_are_means_of_the_lines_own_rates(fleet: Store) -> None:
    # By hand: all lines are known alike, so a group's mean is the plain mean of its lines' own rates.
    groups = {group.name: group for group in seen(fleet, by="size").cohorts.groups}
    assert (groups["90"].lines, groups["90"].intervals, groups["90"].visits) == (4, 16, 20)
    assert groups["90"].mean == pytest.approx((-200.0 + 4.0 - 3.0 - 1.0) / 4.0 / YEAR, rel=0.02)
    assert groups["120"].mean == pytest.approx((-6.0 + 2.0 + 5.0 + 0.0) / 4.0 / YEAR, rel=0.1)
    assert groups["90"].from_rest == pytest.approx((groups["90"].mean or 0) - (groups["120"].mean or 0))
    # One odd line among four makes no group: the lines of a size differ as much among themselves.
    assert not groups["90"].told_apart


def test_a_foundation_on_which_every_line_moves_is_told_apart(store_of: Callable[..., Store]) -> None:
    rates = {"T1": -50.0, "T2": -56.0, "T3": -47.0, "T4": -53.0, "T5": 3.0, "T6": -4.0, "T7": 5.0, "T8": 0.0, "T9": 2.0}
    lines = "line,foundation\n" + "".join(
        f"{line},{'frame' if rate < -40 else 'slab'}\n" for line, rate in rates.items()
    )
    store = store_of(together(*(straight(line, rate, range(2018, 2023)) for line, rate in rates.items()), lines=lines))
    view = seen(store)
    frame, slab = view.cohorts.groups
    assert (frame.name, slab.name) == ("frame", "slab")
    assert frame.from_rest == pytest.approx((-51.5 - 1.2) / YEAR, abs=1.0)
    assert (frame.told_apart, slab.told_apart, frame.drifts, slab.drifts) == (True, True, True, False)
    assert view.cohorts.p_any is not None
    assert view.cohorts.p_any < 1e-4
    named = {(row.by, row.name): row for row in view.matrix}
    assert named["foundation", "frame"].cells[0] == frame
    across = named["foundation", "frame"].cells[1]
    assert across is not None
    assert not across.told_apart
    assert across.mean == pytest.approx(0.0, abs=1e-6)
    assert [row.name for row in view.matrix if row.by is None] == ["discharge", "gearbox"]


def test_what_is_not_recorded_makes_no_group(fleet: Store) -> None:
    view = seen(fleet, by="saddle")
    assert (view.cohorts.groups, view.cohorts.not_recorded, view.cohorts.p_any) == ((), 8, None)


def kinked(line: str, before: float, after: float, **more: str) -> dict[str, str]:
    """Return a line that goes one way to 1 January 2018 and another from then on, measured every year; a step there."""
    place = 0.0
    visits = []
    for year in range(2014, 2023):
        visits.append({"on": f"{year}-01-01T10:00", "surveys": (("as_found", {"S2": (place, 0)}),), "more": {}})
        days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
        place += (before if year < 2017 else after) * days / 365.0 + (300.0 if year == 2017 else 0.0)
    return thin(*visits, u_um=4, line=line, **more)


EVENTS = "line,happened_at,kind,note,resets_trend,station\n"


def changes_of(view: CompareView) -> dict[str, Change]:
    return {change.line: change for change in view.events.changes}


def test_before_and_after_are_the_rates_on_either_side_and_its_own_interval_counts_on_neither(
    store_of: Callable[..., Store],
) -> None:
    lines = {"T1": (-10.0, -90.0), "T2": (5.0, -80.0), "T3": (0.0, -75.0), "T4": (2.0, 1.0)}
    rows = "".join(f"{line},2017-06-01T10:00,flooded,cellar,{'yes' if line == 'T1' else 'no'},\n" for line in lines)
    source = together(*(kinked(line, *rates) for line, rates in lines.items()), events=EVENTS + rows)
    view = seen(store_of(source))
    got = changes_of(view)
    for line, (before, after) in lines.items():
        assert (got[line].before, got[line].after) == pytest.approx((before / YEAR, after / YEAR), abs=1.0)
        assert (got[line].intervals_before, got[line].intervals_after) == (3, 4)
        assert got[line].on == date(2017, 6, 1)
    assert got["T1"].change == pytest.approx(-80.0 / YEAR, abs=1.0)
    assert got["T1"].note == "cellar"
    (kind,) = view.events.kinds
    assert (kind.kind, kind.times, kind.lines, kind.judged) == ("flooded", 4, 4, 4)
    # About the plain mean: every line weighs by how much it wanders.
    assert kind.mean == pytest.approx((-80.0 - 85.0 - 75.0 - 1.0) / 4.0 / YEAR, abs=10.0)


def test_a_gearbox_changed_on_the_day_of_its_event_is_one_thing(store_of: Callable[..., Store]) -> None:
    source = together(
        kinked("T1", -10.0, -60.0),
        kinked("T2", 3.0, 3.0),
        gearboxes="gearbox,frame\nG1,large\nG2,large\nG3,small\n",
        placements="line,asset_kind,asset,installed_on,removed_on\nT1,gearbox,G1,2010-01-01,2017-06-01\n"
        "T1,gearbox,G2,2017-06-01,\nT2,gearbox,G3,2012-01-01,2016-05-01\nT2,gearbox,G1,2018-05-01,\n",
        events=EVENTS + "T1,2017-06-01T15:00,gearbox changed,spare fitted,yes,\n",
    )
    view = seen(store_of(source), by="frame")
    (kind,) = view.events.kinds
    assert (kind.kind, kind.times, kind.lines) == ("gearbox changed", 2, 2)
    got = changes_of(view)
    assert (got["T1"].note, got["T1"].intervals_before, got["T1"].intervals_after) == ("spare fitted", 3, 4)
    assert (got["T1"].before, got["T1"].after) == pytest.approx((-10.0 / YEAR, -60.0 / YEAR), abs=1.0)
    assert (got["T2"].note, got["T2"].on) == ("G1 in place of G3", date(2018, 5, 1))
    assert {row.line: row.frame for row in view.ranked} == {"T1": "large", "T2": "large"}
    assert kind.mean is None  # two lines are judged line by line


def test_one_interval_on_a_side_calls_no_change_real_and_nothing_after_gives_no_rate(
    store_of: Callable[..., Store],
) -> None:
    rows = "T1,2021-06-01T10:00,struck,,no,\nT2,2014-06-01T10:00,struck,,no,\nT3,2022-06-01T10:00,struck,,no,\n"
    source = together(*(kinked(line, 0.0, -400.0) for line in ("T1", "T2", "T3")), events=EVENTS + rows)
    got = changes_of(seen(store_of(source)))
    assert (got["T3"].intervals_after, got["T3"].change, got["T3"].sure) == (0, None, None)
    assert (got["T2"].intervals_before, got["T2"].change) == (0, None)
    assert got["T1"].intervals_after == 0
    assert not any(change.told_apart for change in got.values())


def test_a_change_found_in_the_drift_itself_is_no_evidence_for_a_change(store_of: Callable[..., Store]) -> None:
    lines = ("T1", "T2", "T3")
    rows = "".join(f"{line},2017-06-01T10:00,drift changed,,yes,\n" for line in lines)
    view = seen(store_of(together(*(kinked(line, 0.0, -90.0) for line in lines), events=EVENTS + rows)))
    (kind,) = view.events.kinds
    assert (kind.in_record, kind.mean, kind.told_apart, kind.judged) == (True, None, False, 3)
    assert not any(change.told_apart for change in view.events.changes)
    assert {round(change.change or 0.0) for change in view.events.changes} == {-90}


def test_what_happened_at_one_station_is_looked_at_there(store_of: Callable[..., Store]) -> None:
    source = straight("T1", -100.0, range(2014, 2023), events=EVENTS + "T1,2018-06-01T10:00,struck,,no,S1\n")
    got = changes_of(seen(store_of(together(source, straight("T2", 0.0, range(2018, 2023))))))
    assert got["T1"].station == "S1"
    assert got["T1"].before == pytest.approx(-20.0 / YEAR, abs=0.5)


def test_an_empty_store_and_a_line_seen_once_have_nothing_to_rank(store_of: Callable[..., Store]) -> None:
    empty = seen(store_of())
    assert (empty.lines_in_store, empty.total, empty.fleet, empty.loudest, empty.told) == (0, 0, None, None, ())
    once = seen(store_of(straight("T9", 0.0, [2022])))
    assert (once.lines_in_store, once.in_view, once.without_rate, once.total, once.scale) == (1, 1, 1, 0, (0.0, 0.0))
    assert once.events.kinds == ()


def test_pages_of_the_ranking_are_fifty_lines_and_one_too_far_is_the_last(mills: Store) -> None:
    first = seen(mills)
    lines = {row["line"] for mill in ("mill-a", "mill-b", "mill-c") for row in rows_of(mill, "lines")}
    assert first.lines_in_store == len(lines)
    assert first.total + first.without_rate >= len(lines)
    assert (first.pages, len(first.ranked)) == (-(-first.total // 50), 50)
    last = seen(mills, page=999)
    assert (last.filters.page, last.ranked[-1].place) == (first.pages, first.total)
    whole = seen(mills, page=None)
    assert [row.place for row in whole.ranked] == list(range(1, first.total + 1))
    assert whole.ranked[:50] == first.ranked
    told = [row for row in whole.ranked if row.told_apart]
    assert (first.told, first.told_count) == (tuple(told[:8]), len(told))
    assert all(abs(row.from_fleet) > row.u95_from_fleet for row in told)


def test_what_comes_after_a_screw_of_the_mills_is_seldom_called_real(mills: Store) -> None:
    # Synthetic truth: in the mills a screw drawn and refitted changes nothing. One false alarm in a thousand.
    view = seen(mills, event="screw")
    kind = next(kind for kind in view.events.kinds if kind.kind == "screw")
    assert kind.times == sum(
        row["kind"] == "screw" for m in ("mill-a", "mill-b", "mill-c") for row in rows_of(m, "events")
    )
    assert not kind.told_apart
    assert sum(change.told_apart for change in view.events.changes) <= 1
