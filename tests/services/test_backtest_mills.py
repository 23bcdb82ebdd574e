"""The backtest on the sample mills: what it says is what the forecast of the day before said, and no more."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from record_sources import NOW, write_source

from fleet.errors import NotFoundError
from fleet.services.backtest import BacktestRow, BacktestView, backtest
from fleet.services.backtest_words import verdict_sentence
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.offsets import offset_rows
from fleet.store.engine import Store
from fleet.trend.backtest import Backtest
from fleet.trend.backtest import backtest as walk
from fleet.trend.reliability import Reliability, coverage

StoreOf = Callable[..., Store]

YEARLY = {
    "lines": "line,site\nT1,N\n",
    "sites": "site,name\nN,North\n",
    "stations": "line,station,distance_mm\nT1,S1,1500\n",
    "sessions": "session,line,started_at\nV1,T1,2020-06-01T08:00\nV2,T1,2021-06-01T08:00\nV3,T1,2022-06-01T08:00\n",
    "surveys": "session,survey,phase\nV1,1,as_found\nV2,1,as_found\nV3,1,as_found\n",
    "offsets": "session,survey,station,v,h,unit\nV1,1,S1,0,0,um\nV2,1,S1,-20,5,um\nV3,1,S1,-35,9,um\n",
}
CORRECTION = {
    "sessions": "session,line,started_at,corrects,correction_reason\nV2K,T1,2021-06-01T08:00,V2,sign turned\n",
    "surveys": "session,survey,phase\nV2K,1,as_found\n",
    "offsets": "session,survey,station,v,h,unit\nV2K,1,S1,20,5,um\n",
}


@pytest.fixture(scope="module")
def whole(mill_c: Store) -> BacktestView:
    return backtest(mill_c, now=NOW)


def by_visit(rows: tuple[BacktestRow, ...]) -> dict[tuple[str, date], list[BacktestRow]]:
    grouped: dict[tuple[str, date], list[BacktestRow]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.date):
        grouped[row.line, row.date].append(row)
    return grouped


def test_each_value_was_expected_as_the_forecast_of_the_day_before_says(mill_c: Store, whole: BacktestView) -> None:
    """The very command `forecast --as-of` the day before `--at` the day; only the pool may be a little older."""
    visits = list(by_visit(whole.rows).items())
    off, wider = [], []
    for (line, day), rows in [*visits[10:50:8], *visits[-5:]]:
        forecast = forecast_rows(mill_c, line=line, as_of=day - timedelta(days=1), at=(day,))
        expected = {(row.station, row.axis): row.expected[0] for row in forecast}
        for row in rows:
            foreseen = expected[row.station, row.axis]
            off.append((row.expected_um - foreseen.mean_um) / foreseen.sd_um)
            wider.append((row.q975 - row.q025) / (foreseen.q975 - foreseen.q025))
    assert len(off) > 50
    assert np.median(np.abs(off)) < 0.1
    assert np.max(np.abs(off)) < 1.0
    assert np.median(np.abs(np.log(wider))) < 0.1
    assert np.max(np.abs(np.log(wider))) < 0.7


def test_what_was_measured_is_the_first_survey_of_the_visit_at_the_cold_reference(
    mill_c: Store, whole: BacktestView
) -> None:
    found = {
        (row.session, row.station): (row.v_cold_um, row.h_cold_um)
        for row in offset_rows(mill_c)
        if (row.survey, row.phase) == (1, "as_found")
    }
    judged = [row for row in whole.rows if (row.session, row.station) in found]
    assert len(judged) > 0.9 * len(whole.rows)
    for row in judged:
        assert row.measured_um == pytest.approx(found[row.session, row.station]["vh".index(row.axis)], abs=1e-9)


def test_first_visits_do_not_count(mill_c: Store, whole: BacktestView) -> None:
    first: dict[tuple[str, str], str] = {}
    for row in offset_rows(mill_c):
        if row.phase != "hot":
            first.setdefault((row.line, row.station), row.session)
    assert first
    assert not [row for row in whole.rows if first[row.line, row.station] == row.session]
    assert all(row.days_ahead >= 1 for row in whole.rows)


def test_the_summary_counts_its_rows(whole: BacktestView) -> None:
    summary, rows = whole.summary, whole.rows
    assert summary.n == len(rows) == 352
    assert summary.visits == len(by_visit(rows)) == 52
    for one, name in zip(summary.ranges, ("inside_50", "inside_80", "inside_95"), strict=True):
        assert one.inside == sum(getattr(row, name) for row in rows)
        assert one.share_inside == pytest.approx(one.inside / 352)
        assert one.expected_fewest <= one.share * 352 <= one.expected_most
    assert summary.ranges[2].mean_width_um == pytest.approx(np.mean([row.q975 - row.q025 for row in rows]))
    for row in rows:
        assert row.inside_95 == (row.q025 <= row.measured_um <= row.q975)
        assert row.inside_50 == (row.q25 <= row.measured_um <= row.q75)
        assert (row.place < 0.5) == (row.measured_um < row.expected_um) or abs(row.place - 0.5) < 0.02
    assert [part.n for part in summary.by_days_ahead] == [
        sum(low < row.days_ahead <= high for row in rows)
        for low, high in ((0, 180), (180, 365.25), (365.25, 730.5), (730.5, 1e9))
    ]


def test_a_line_or_a_site_is_judged_by_its_own_values(mill_c: Store, whole: BacktestView) -> None:
    own = backtest(mill_c, line="C04", now=NOW)
    assert own.rows == tuple(row for row in whole.rows if row.line == "C04")
    assert own.summary.n == len(own.rows)
    lines_of = {row.line for row in backtest(mill_c, site="QE", now=NOW).rows}
    assert "C01" in lines_of
    assert lines_of < {row.line for row in whole.rows}
    with pytest.raises(NotFoundError, match="There is no line 'Z9' in the store"):
        backtest(mill_c, line="Z9", now=NOW)
    with pytest.raises(NotFoundError) as missing:
        backtest(mill_c, site="Z", now=NOW)
    assert str(missing.value) == "There is no site 'Z' with lines in the store; `asleft status` lists the lines."


def test_a_visit_that_comes_in_changes_none_of_the_earlier_values(own_mill_c: Store, tmp_path: Path) -> None:
    before = backtest(own_mill_c, now=NOW)
    more = {
        "sessions": "session,line,started_at\nC04-99,C04,2026-10-30T09:00\n",
        "surveys": "session,survey,phase\nC04-99,1,as_found\n",
        "offsets": "session,survey,station,v,h,unit\nC04-99,1,P1,-900,400,um\nC04-99,1,P2,-900,400,um\n",
    }
    import_folder(own_mill_c, write_source(tmp_path / "more", more), who="tester", now=NOW)
    after = backtest(own_mill_c, now=NOW)
    assert [row for row in after.rows if row.session != "C04-99"] == list(before.rows)
    new = [row for row in after.rows if row.session == "C04-99"]
    assert [(row.station, row.axis, row.inside_95) for row in new] == [
        ("P1", "v", False), ("P1", "h", False), ("P2", "v", False), ("P2", "h", False),
    ]  # fmt: skip
    assert after.summary.ranges[2].inside == before.summary.ranges[2].inside


def test_a_correction_takes_the_place_of_what_it_corrects(store_of: StoreOf) -> None:
    plain, corrected = backtest(store_of(YEARLY), now=NOW), backtest(store_of(YEARLY, CORRECTION), now=NOW)
    assert [(row.session, row.measured_um) for row in plain.rows if row.axis == "v"] == [("V2", -20.0), ("V3", -35.0)]
    assert [(row.session, row.measured_um) for row in corrected.rows if row.axis == "v"] == [
        ("V2K", 20.0), ("V3", -35.0),
    ]  # fmt: skip
    # What the correction says is where the next prediction starts from, too.
    second = [view.rows[1].expected_um for view in (plain, corrected)]
    assert second[1] > 10.0 > -10.0 > second[0]


def test_an_event_counts_from_the_day_after_it_happened(store_of: StoreOf) -> None:
    def expected(events: str) -> float:
        files = {**YEARLY, "events": f"line,happened_at,kind,resets_trend,station\n{events}"} if events else YEARLY
        (row,) = [row for row in backtest(store_of(files), now=NOW).rows if (row.session, row.axis) == ("V3", "v")]
        return row.expected_um

    plain = expected("")
    # Two hours before the as-found: the forecast of the day before could not know it.
    assert expected("T1,2022-06-01T06:00,struck,yes,\n") == plain
    # The day before: what the line did until then no longer speaks for its rate.
    assert abs(expected("T1,2022-05-31T06:00,struck,yes,\n") - plain) > 3.0
    assert expected("T1,2022-05-31T06:00,struck,no,\n") == plain
    swapped = {
        "barrels": "barrel\nB1\nB2\n",
        "placements": "line,asset_kind,asset,installed_on,removed_on\nT1,barrel,B1,2019-01-01,2022-05-31\n"
        "T1,barrel,B2,2022-05-31,\n",
    }
    (by_swap,) = [
        row.expected_um
        for row in backtest(store_of({**YEARLY, **swapped}), now=NOW).rows
        if (row.session, row.axis) == ("V3", "v")
    ]
    assert by_swap == expected("T1,2022-05-31T06:00,struck,yes,\n")


def test_running_time_ahead_is_what_the_meter_foresaw(store_of: StoreOf) -> None:
    # 1 000 h a year by the readings known before the third visit; in the year up to it the line ran 9 000 h.
    meters = "line,read_at,running_hours\nT1,2020-06-01T07:00,0\nT1,2021-06-01T07:00,1000\nT1,2022-06-01T07:00,10000\n"
    idle = meters.replace("10000", "2000")
    busy, plain = (backtest(store_of({**YEARLY, "meters": text}), now=NOW) for text in (meters, idle))
    widths = [[row.q975 - row.q025 for row in view.rows if row.session == "V3"] for view in (busy, plain)]
    # In years of use of 5 000 h the year foreseen is a fifth of one: the wander ahead is smaller, not nine times
    # larger as with what the meter showed afterwards.
    assert widths[0][0] < widths[1][0]


def test_a_handful_of_values_is_told_without_a_share(store_of: StoreOf) -> None:
    got = backtest(store_of(YEARLY), now=NOW).summary
    assert (got.verdict, got.n, got.visits) == ("few", 4, 2)
    assert got.sentence.replace("\u00a0", " ") == (
        "Only 4 as-found values of 2 visits could be held against a forecast so far, 4 of them inside their 95 % "
        "range: too few to say how far to trust it."
    )
    assert [one.share_inside for one in got.ranges] == [None, None, None]
    empty = backtest(store_of(), now=NOW)
    assert empty.rows == ()
    assert empty.summary.score_um is None
    assert empty.summary.sentence == (
        "No as-found could be held against a forecast yet: that takes a second visit to the same station."
    )


def judged(misses: tuple[int, int, int]) -> Reliability:
    """Return what 1 000 independent values with so many misses of the 50, 80 and 95 % range come to."""
    number = np.arange(1000)
    coverages = tuple(
        coverage(number >= missed, number, share=share) for share, missed in zip((0.5, 0.8, 0.95), misses, strict=True)
    )
    return Reliability(1000, 250, coverages, 10.0, (), ())


@pytest.mark.parametrize(
    ("misses", "counted", "meaning"),
    [
        ((500, 200, 50), "950 (95 %)", "the ranges hold. Chances and dates may be taken as they stand."),
        ((600, 290, 120), "880 (88 %)", "the ranges are too narrow. Lines are found farther from what was expected"),
        ((500, 200, 90), "910 (91 %)", "the ranges are a little too narrow at their ends. Most visits come out as"),
        ((500, 200, 110), "890 (89 %)", "the ends of the ranges are too narrow. Most visits come out as expected (the"),
        ((300, 100, 9), "991 (99 %)", "the ranges are too wide. Lines are found nearer to what was expected"),
    ],
)
def test_the_verdict_says_what_it_means_for_the_dates(misses: tuple[int, int, int], counted: str, meaning: str) -> None:
    """Binomial range of 1 000 at 0.95: 936 to 963 (scipy's binom.ppf at 2.5 and 97.5 %)."""
    said = verdict_sentence(judged(misses)).replace("\u00a0", " ")
    wanted = f"Of 1 000 as-found values of 250 visits, {counted} lay inside their 95 % range (expected 936 to 963): "
    assert said.startswith(wanted + meaning)


@pytest.fixture
def counted_walks(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """One entry for every time the backtest is worked out."""
    walks: list[int] = []

    def counting(*arguments: Any, **named: Any) -> Backtest:
        walks.append(1)
        return walk(*arguments, **named)

    monkeypatch.setattr("fleet.services.backtest.hold_against", counting)
    return walks


def test_it_is_worked_out_once_per_version_of_the_facts(
    store_of: StoreOf, tmp_path: Path, counted_walks: list[int]
) -> None:
    store = store_of(YEARLY)
    first = backtest(store, now=NOW)
    assert backtest(store, line="T1", now=NOW) == first
    assert len(counted_walks) == 1
    import_folder(store, write_source(tmp_path / "correction", CORRECTION), who="tester", now=NOW)
    assert backtest(store, now=NOW) != first
    assert len(counted_walks) == 2
