"""Backtest: every as-found held against what the forecast of the day before expected, and what that comes to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

import numpy as np

from fleet.errors import NotFoundError
from fleet.services.backtest_words import verdict_sentence
from fleet.services.kept import Kept
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import FleetSeries, current_series
from fleet.services.site_time import epoch_days, local_day_number, noon, start_of_day
from fleet.store import queries
from fleet.store.engine import Store
from fleet.trend.backtest import Backtest
from fleet.trend.backtest import backtest as hold_against
from fleet.trend.clock import LineClock, line_clock
from fleet.trend.reliability import Coverage, Reliability, RuleScore, Stretch, Verdict, reliability
from fleet.values import Axis, FloatArray, IntArray

_KEPT: Kept[Backtest] = Kept()
_FAR_DAY: Final = 1_000_000
"""More days than any record spans, on either side of the epoch by half."""
_ENDS: Final = (0, 2, 3, 5, 6, 8)
"""Places of the rows' quantiles among those the forecast gives."""


@dataclass(frozen=True, slots=True)
class BacktestRow:
    """One as-found beside what was expected of it the day before [um, offsets at the cold reference].

    `q025` to `q975` are quantiles of what the survey was expected to show, `place` is the chance the forecast gave to
    a value at or below the measured one, `days_ahead` are counted from the visit the line was left at.
    """

    line: str
    station: str
    axis: Axis
    session: str
    date: date
    days_ahead: int
    expected_um: float
    q025: float
    q10: float
    q25: float
    q75: float
    q90: float
    q975: float
    measured_um: float
    place: float
    inside_50: bool
    inside_80: bool
    inside_95: bool


@dataclass(frozen=True, slots=True)
class RangeCount:
    """How many measured values lay inside the range that was to hold `share` of them.

    `expected_fewest` and `expected_most`: 95 in 100 fair forecasts would have shown a count between them. Null stands
    where the values are too few for a share to say anything (`verdict` is then `few`).
    """

    share: float
    n: int
    inside: int
    expected_fewest: int
    expected_most: int
    share_inside: float | None
    u_share_inside: float | None
    mean_width_um: float | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RuleComparison:
    """A simple rule beside the forecast over the same values: mean ranked probability scores [um], less is better.

    `as_left`: found as it was left last; `own_rate`: goes on as fast as over its last interval. `u_gain_um` is the
    standard uncertainty of the difference.
    """

    rule: str
    n: int
    score_um: float | None
    forecast_score_um: float | None
    u_gain_um: float | None


@dataclass(frozen=True, slots=True)
class AheadCount:
    """The forecasts that looked more than `over_days` and at most `up_to_days` ahead (null: without end)."""

    over_days: float
    up_to_days: float | None
    n: int
    visits: int
    score_um: float | None
    ranges: tuple[RangeCount, ...]


@dataclass(frozen=True, slots=True)
class BacktestSummary:
    """What a backtest comes to; `ranges` hold 50, 80 and 95 %, `sentence` is the verdict in words."""

    n: int
    visits: int
    verdict: Verdict
    sentence: str
    ranges: tuple[RangeCount, ...]
    score_um: float | None
    simple_rules: tuple[RuleComparison, ...]
    by_days_ahead: tuple[AheadCount, ...]


@dataclass(frozen=True, slots=True)
class BacktestView:
    """The backtest of a line, a site or the fleet: the summary, and every value behind it by line, station and time."""

    summary: BacktestSummary
    rows: tuple[BacktestRow, ...]


def backtest(
    store: Store, *, line: str | None = None, site: str | None = None, now: datetime | None = None
) -> BacktestView:
    """Hold every as-found of a line, a site or the fleet against what the forecast of the day before expected.

    Each is predicted from the whole fleet's visits of earlier days, whatever is asked for here. What a session corrects
    counts as its correction says; a first as-found has nothing to be predicted from and does not count. Running time
    ahead is foreseen from the meter readings of earlier days; only its unit, the line's mean hours a year, and barrel
    and foundation are those of today.

    Parameters
    ----------
    store : the record
    line, site : their codes; None: all
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line, or no site, has this code.
    """
    fleet, tested, rows = _judged(store, line, site, now)
    return BacktestView(summary_of(reliability(tested, rows)), _rows(fleet, tested, rows))


def backtest_summary(
    store: Store, *, line: str | None = None, site: str | None = None, now: datetime | None = None
) -> BacktestSummary:
    """Return the summary alone, as `backtest` gives it: a large fleet has many single values."""
    _, tested, rows = _judged(store, line, site, now)
    return summary_of(reliability(tested, rows))


def line_summary_at_hand(record: queries.Record, fleet: FleetSeries, line_id: int) -> BacktestSummary | None:
    """Return how the forecast held on one line, where the fleet's backtest is at hand; None where it is not.

    A line's page is no place to work out the whole fleet's backtest.
    """
    tested = _KEPT.held(record, fleet.as_of)
    if tested is None:
        return None
    rows = np.flatnonzero(fleet.of_line[tested.series] == fleet.line_index[line_id]).astype(np.int64)
    return summary_of(reliability(tested, rows))


def _judged(
    store: Store, line: str | None, site: str | None, now: datetime | None
) -> tuple[FleetSeries, Backtest, IntArray]:
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        tested = current_backtest(record, fleet)
    lines = np.arange(len(fleet.plant.lines))
    if line is not None:
        lines = np.array([fleet.line_index[fleet.plant.line(line).id]])
    if site is not None:
        of_site = [index for index in lines.tolist() if fleet.plant.lines[index].site == site]
        if not any(info.site == site for info in fleet.plant.lines):
            raise NotFoundError(f"There is no site '{site}' with lines in the store; `asleft status` lists the lines.")
        lines = np.array(of_site, dtype=np.int64)
    return fleet, tested, np.flatnonzero(np.isin(fleet.of_line[tested.series], lines)).astype(np.int64)


def current_backtest(record: queries.Record, fleet: FleetSeries) -> Backtest:
    """Return the backtest of the whole fleet, worked out once per version of the facts and day.

    Parameters
    ----------
    record : open session of `Store.read()`
    fleet : the record brought to series as of today
    """
    return _KEPT.of(record, fleet.as_of, lambda: _tested(fleet))


def _tested(fleet: FleetSeries) -> Backtest:
    zones = [fleet.plant.lines[session.line].zone for session in fleet.sessions]
    days = np.array(
        [local_day_number(s.started_at, zone) for s, zone in zip(fleet.sessions, zones, strict=True)], dtype=np.int64
    )
    session, visits = fleet.assembled.session, fleet.assembled.visits
    return hold_against(
        fleet.series,
        visits,
        days[session],
        session=session,
        years_ahead=_years_foreseen(fleet),
        regime_before=_resets_before(fleet, visits.series, days[session]),
    )


def _resets_before(fleet: FleetSeries, series: IntArray, day: IntArray) -> IntArray:
    """Count for every visit the trend-resetting events and swaps of its series on earlier days at the site."""
    # A series and a day make one sortable number.
    happened = np.sort(fleet.resets.series * _FAR_DAY + fleet.resets.local_day)
    of = series * _FAR_DAY
    earlier = np.searchsorted(happened, of + day) - np.searchsorted(happened, of - _FAR_DAY // 2)
    return earlier.astype(np.int64)


def _years_foreseen(fleet: FleetSeries) -> FloatArray:
    """Return for every visit the years of use since its series' visit before, as foreseen the day before; NaN first."""
    visits, session = fleet.assembled.visits, fleet.assembled.session
    foreseen = np.full(session.shape, np.nan)
    follows = np.flatnonzero(visits.series[1:] == visits.series[:-1]) + 1
    pairs, of_pair = np.unique(np.stack([session[follows - 1], session[follows]], axis=1), axis=0, return_inverse=True)
    years = np.array([_between(fleet, before, after) for before, after in pairs.tolist()], dtype=np.float64)
    foreseen[follows] = years[of_pair.ravel()]
    return foreseen


def _between(fleet: FleetSeries, before: int, after: int) -> float:
    """Return the years of use between two sessions of a line, by its clock as of the day before the later one."""
    line = fleet.sessions[after].line
    zone = fleet.plant.lines[line].zone
    day = fleet.sessions[after].started_at.astimezone(zone).date()
    whole = fleet.clocks[line]
    known = _as_of(whole, epoch_days(start_of_day(day, zone)))
    span = known.hours if known.metered else known.years
    start, end = span(np.array([fleet.session_days[before], epoch_days(noon(day, zone))])).tolist()
    return float(end - start) / (whole.mean_hours_per_year if known.metered else 1.0)


def _as_of(clock: LineClock, moment: float) -> LineClock:
    """Return a line's clock as it was known before a moment, in days since the epoch."""
    known = clock.knot_days < moment
    return line_clock(clock.knot_days[known], clock.knot_hours[known])


def _rows(fleet: FleetSeries, tested: Backtest, rows: IntArray) -> tuple[BacktestRow, ...]:
    shown = []
    for at in rows.tolist():
        series = int(tested.series[at])
        session = fleet.sessions[fleet.assembled.session[tested.visit[at]]]
        line = fleet.plant.lines[session.line]
        q025, q10, q25, q75, q90, q975 = tested.quantiles_um[at, _ENDS].tolist()
        inside_50, inside_80, inside_95 = tested.inside[at].tolist()
        shown.append(
            BacktestRow(
                line=line.code,
                station=fleet.stations[fleet.of_station[series]].code,
                axis=fleet.of_axis[series],
                session=session.code,
                date=session.started_at.astimezone(line.zone).date(),
                days_ahead=int(tested.days_ahead[at]),
                expected_um=float(tested.expected_um[at]),
                q025=q025,
                q10=q10,
                q25=q25,
                q75=q75,
                q90=q90,
                q975=q975,
                measured_um=float(tested.measured_um[at]),
                place=float(tested.place[at]),
                inside_50=inside_50,
                inside_80=inside_80,
                inside_95=inside_95,
            )
        )
    return tuple(shown)


def summary_of(judged: Reliability) -> BacktestSummary:
    """Return a backtest's summary with its verdict in words; what cannot be said is None."""
    return BacktestSummary(
        n=judged.n,
        visits=judged.visits,
        verdict=judged.verdict,
        sentence=verdict_sentence(judged),
        ranges=tuple(_range(one) for one in judged.coverages),
        score_um=_number(judged.score_um),
        simple_rules=tuple(_rule(one) for one in judged.rules),
        by_days_ahead=tuple(_ahead(one) for one in judged.stretches),
    )


def _range(one: Coverage) -> RangeCount:
    enough = one.verdict != "few"
    return RangeCount(
        share=one.share,
        n=one.n,
        inside=one.inside,
        expected_fewest=one.fewest,
        expected_most=one.most,
        share_inside=one.inside / one.n if enough else None,
        u_share_inside=_number(one.u_share) if enough else None,
        mean_width_um=_number(one.mean_width_um),
        verdict=one.verdict,
    )


def _rule(one: RuleScore) -> RuleComparison:
    return RuleComparison(one.rule, one.n, _number(one.score_um), _number(one.forecast_um), _number(one.u_gain_um))


def _ahead(one: Stretch) -> AheadCount:
    return AheadCount(
        over_days=one.from_days,
        up_to_days=_number(one.to_days),
        n=one.n,
        visits=one.visits,
        score_um=_number(one.score_um),
        ranges=tuple(_range(each) for each in one.coverages),
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
