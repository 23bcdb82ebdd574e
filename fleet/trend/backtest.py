"""The forecast held against what came in: every as-found predicted from only what lay before the day of its visit.

The walk goes forward in time. A visit is predicted as the forecast of the day before would have been: own record, the
line's other stations and the pool, all from visits on earlier days. The pooled parameters are learnt anew whenever the
record has grown by a set share, always from visits before the first day they serve, so that a fleet of a thousand
lines takes a few dozen fits and not one a day; between two fits they are at most that share of the record old.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Final, TypeVar

import numpy as np

from fleet.trend.axis_pool import DEFAULT_PRIOR, Prior
from fleet.trend.outlook import QUANTILES, Outlook, outlook
from fleet.trend.pooling import Pooled, pool_rates
from fleet.trend.posterior import posteriors
from fleet.trend.records import Intervals, Series, TrendError, Visits, intervals
from fleet.trend.scoring import SIMPLE_RULES, normal_quantiles_um, predict_simply, ranked_score_um
from fleet.values import BoolArray, FloatArray, IntArray

GROWTH: Final = 0.25
"""Share by which the record of intervals grows before the pool is learnt anew."""
RANGES: Final = ((0.50, 3, 5), (0.80, 2, 6), (0.95, 0, 8))
"""Ranges judged: their share, and the places of their ends among `QUANTILES`."""

Arrays = TypeVar("Arrays")


@dataclass(frozen=True, slots=True)
class Backtest:
    """Every as-found that could be predicted, in the order of `Visits`; shapes (n,) unless said.

    Parameters
    ----------
    series, visit, from_visit : which series, which visit found it, and the visit it was left at
    cluster : number of the line's visit; the values of one visit are not independent
    days_ahead, years_ahead : since the line was left: calendar days, and years of use as foreseen the day before
    expected_um, sd_um : mean and standard deviation of what a survey was expected to show
    quantiles_um : its quantiles at `QUANTILES`, shape (n, 9)
    measured_um : what the survey showed
    place : chance the forecast gave to a value at or below the measured one, 0 to 1; even over fair forecasts
    inside : measured lay inside the ranges of `RANGES`, ends included, shape (n, 3)
    score_um : ranked probability score of the forecast
    simple_score_um : that of the two simple rules, shape (n, 2); NaN where a rule had nothing to go by
    """

    series: IntArray
    visit: IntArray
    from_visit: IntArray
    cluster: IntArray
    days_ahead: FloatArray
    years_ahead: FloatArray
    expected_um: FloatArray
    sd_um: FloatArray
    quantiles_um: FloatArray
    measured_um: FloatArray
    place: FloatArray
    inside: BoolArray
    score_um: FloatArray
    simple_score_um: FloatArray


def _take(arrays: Arrays, rows: IntArray) -> Arrays:
    """Return the given rows of a record of parallel arrays."""
    return type(arrays)(**{item.name: getattr(arrays, item.name)[rows] for item in fields(arrays)})  # type: ignore[arg-type]


def backtest(
    series: Series,
    visits: Visits,
    day: IntArray,
    *,
    session: IntArray | None = None,
    years_ahead: FloatArray | None = None,
    regime_before: IntArray | None = None,
    prior: Prior = DEFAULT_PRIOR,
    growth: float = GROWTH,
) -> Backtest:
    """Predict every as-found from what lay before the day of its visit, and hold it against what was measured.

    Predicted is what ends an interval: an as-found of a series that was left measured on an earlier day, with nothing
    moved unseen in between. A line's first as-found has nothing to be predicted from.

    Parameters
    ----------
    series, visits : as everywhere in this package
    day : local day of every visit, shape (n_visits,); only visits of smaller days speak for it
    session : number of the line's visit each row belongs to, shape (n_visits,); None: by line and day
    years_ahead : years of use between every visit and the one of its series before it, as the clock of the day before
        foresaw them, shape (n_visits,); NaN, or None: those that really passed
    regime_before : trend-resetting events up to the day before the visit, shape (n_visits,); None: those at or before
        the as-found, so that an event on the very day counts as known
    prior : what is believed before any record
    growth : share by which the intervals on record grow before the pool is learnt anew; 0: before every day

    Returns
    -------
    the predictions, in the order of the visits

    Raises
    ------
    TrendError
        A visit's day lies before that of the one above it in the same series.

    References
    ----------
    Dawid (1984), Statistical theory: the prequential approach, J. R. Stat. Soc. A 147, 278-292: a forecaster is judged
    by forecasts made one after the other, each from the past alone.
    """
    back = (visits.series[1:] == visits.series[:-1]) & (day[1:] < day[:-1])
    if np.any(back):
        raise TrendError(f"visit {int(np.argmax(back)) + 1} has an earlier day than the one above it; sort by day")
    found = intervals(visits)
    known_from, ends = day[found.from_visit], day[found.to_visit]
    wanted = np.flatnonzero((known_from < ends) & np.isfinite(found.years))
    years = found.years.copy()
    if years_ahead is not None:
        foreseen = years_ahead[found.to_visit]
        years = np.where(np.isfinite(foreseen), np.maximum(foreseen, 0.0), years)
    regime = (visits.regime_found if regime_before is None else regime_before)[found.to_visit]

    lines = _Lines.of(series, visits)
    measured, left = visits.found_um[found.to_visit[wanted]], visits.left_um[found.from_visit[wanted]]
    mean, sd, place = (np.full(wanted.size, np.nan) for _ in range(3))
    quantiles = np.full((wanted.size, len(QUANTILES)), np.nan)
    moved, spread = (np.full((wanted.size, len(SIMPLE_RULES)), np.nan) for _ in range(2))
    for first_day, rows in _eras(ends, wanted, growth):
        before = np.flatnonzero(ends < first_day)
        pooled = _learn(_take(visits, np.flatnonzero(day < first_day)), series, prior)
        jumps = np.zeros(found.years.shape)
        jumps[before] = pooled.jump_var_um2
        asked = wanted[rows]
        stood = lines.as_of(asked, found, day)
        ahead = _predict(stood, found, asked, replace(pooled, jump_var_um2=jumps), years, regime)
        mean[rows], sd[rows] = ahead.mean_um[:, 0], ahead.sd_um[:, 0]
        quantiles[rows], place[rows] = ahead.quantiles()[:, 0], ahead.cdf(measured[rows, None])[:, 0]
        moved[rows], spread[rows] = predict_simply(found, series.axis[found.series], before, asked, years)
    # A line moved since without being measured has no position to predict from.
    keep = np.flatnonzero(np.isfinite(mean) & np.isfinite(sd) & (sd > 0.0))
    wanted, measured, left, quantiles = wanted[keep], measured[keep], left[keep], quantiles[keep]
    to_visit = found.to_visit[wanted]
    simply = normal_quantiles_um(left[:, None] + moved[keep], spread[keep])
    return Backtest(
        series=found.series[wanted],
        visit=to_visit,
        from_visit=found.from_visit[wanted],
        cluster=_clusters(
            series.line[found.series[wanted]], day[to_visit], None if session is None else session[to_visit]
        ),
        days_ahead=(ends - known_from)[wanted].astype(np.float64),
        years_ahead=years[wanted],
        expected_um=mean[keep],
        sd_um=sd[keep],
        quantiles_um=quantiles,
        measured_um=measured,
        place=place[keep],
        inside=np.stack(
            [(measured >= quantiles[:, low]) & (measured <= quantiles[:, high]) for _, low, high in RANGES], axis=1
        ),
        score_um=ranked_score_um(quantiles, measured),
        simple_score_um=ranked_score_um(simply, np.broadcast_to(measured[:, None], simply.shape[:2])),
    )


def _eras(ends: IntArray, wanted: IntArray, growth: float) -> Iterator[tuple[int, IntArray]]:
    """Yield the first day of every stretch that one pool serves, and the rows of `wanted` that fall into it."""
    order = np.argsort(ends[wanted], kind="stable")
    days, start = np.unique(ends[wanted][order], return_index=True)
    known = np.searchsorted(np.sort(ends), days, side="left")
    learnt, since = -1, 0
    for at in range(days.size):
        if learnt < 0 or (known[at] > learnt and known[at] >= (1.0 + growth) * learnt):
            if at > since:
                yield int(days[since]), order[start[since] : start[at]]
            learnt, since = int(known[at]), at
    if days.size:
        yield int(days[since]), order[start[since] :]


def _learn(before: Visits, series: Series, prior: Prior) -> Pooled:
    """Learn the pool from visits of earlier days alone."""
    return pool_rates(intervals(before), series, prior=prior)


@dataclass(frozen=True, slots=True)
class _AsOf:
    """Lines as they stood before single days: one copy of a line's record for every day it was visited.

    `of` and `visit` are the real series and visits behind the copies, `target` the copied series of every prediction.
    """

    series: Series
    visits: Visits
    of: IntArray
    visit: IntArray
    target: IntArray


@dataclass(frozen=True, slots=True)
class _Lines:
    """Where each line's series and visits stand; `place` is a series' number within its line."""

    series: Series
    visits: Visits
    series_of: dict[int, IntArray]
    visits_of: dict[int, IntArray]
    place: IntArray

    @classmethod
    def of(cls, series: Series, visits: Visits) -> _Lines:
        series_of = _by_value(series.line)
        place = np.zeros(series.line.shape, dtype=np.int64)
        for members in series_of.values():
            place[members] = np.arange(members.size)
        return cls(series, visits, series_of, _by_value(series.line[visits.series]), place)

    def as_of(self, asked: IntArray, found: Intervals, day: IntArray) -> _AsOf:
        """Copy the lines' records up to the day before each prediction.

        Series share only within their line, so that all days of one pool can be worked out in one go.
        """
        line, on = self.series.line[found.series[asked]], day[found.to_visit[asked]]
        pairs, of_pair = np.unique(np.stack([line, on], axis=1), axis=0, return_inverse=True)
        of_pair = of_pair.ravel()
        members, numbers, rows, copies = [], [], [], []
        first = np.zeros(len(pairs), dtype=np.int64)
        copied = 0
        for number, (code, until) in enumerate(pairs.tolist()):
            own, seen = self.series_of[code], self.visits_of[code]
            seen = seen[day[seen] < until]
            first[number] = copied
            members.append(own)
            numbers.append(np.full(own.size, number, dtype=np.int64))
            rows.append(seen)
            copies.append(copied + self.place[self.visits.series[seen]])
            copied += own.size
        of = np.concatenate(members)
        series = replace(_take(self.series, of), line=np.concatenate(numbers))
        visit = np.concatenate(rows)
        visits = replace(_take(self.visits, visit), series=np.concatenate(copies))
        return _AsOf(series, visits, of, visit, first[of_pair] + self.place[found.series[asked]])


def _by_value(values: IntArray) -> dict[int, IntArray]:
    """Return the places of every value, in order."""
    order = np.argsort(values, kind="stable")
    distinct, first = np.unique(values[order], return_index=True)
    return dict(zip(distinct.tolist(), np.split(order, first[1:]), strict=True)) if values.size else {}


def _predict(
    stood: _AsOf, found: Intervals, asked: IntArray, pooled: Pooled, years: FloatArray, regime: IntArray
) -> Outlook:
    """Forecast the asked as-founds, as the forecast of the day before each would have: here alone the model is called.

    `pooled` holds the variance of jumps for every interval of `found`, 0 for those that came in since it was learnt.
    """
    own = intervals(stood.visits)
    interval_ending = np.full(int(np.max(found.to_visit)) + 1, -1, dtype=np.int64)
    interval_ending[found.to_visit] = np.arange(found.to_visit.size)
    number = interval_ending[stood.visit[own.to_visit]]
    regime_now = np.zeros(stood.series.axis.shape, dtype=np.int64)
    # Of a station that is not measured that day the newest visit says in which regime it stands.
    np.maximum.at(regime_now, stood.visits.series, stood.visits.regime_left)
    regime_now[stood.target] = regime[asked]
    copied = pooled.of_series(stood.of, pooled.jump_var_um2[number])
    known = _take(posteriors(stood.visits, own, stood.series, copied, regime_now=regime_now), stood.target)
    days = found.to_day[asked] - found.from_day[asked]
    return outlook(known, years=years[asked][:, None], days=days[:, None])


def _clusters(line: IntArray, day: IntArray, session: IntArray | None) -> IntArray:
    keys = np.stack([line, day], axis=1) if session is None else session[:, None]
    return np.unique(keys, axis=0, return_inverse=True)[1].ravel().astype(np.int64)
