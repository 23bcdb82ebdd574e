"""Forecast: where each station goes if nobody touches the line, and the chance that it passes its limit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta

import numpy as np

from fleet.errors import InputError
from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import Borrowed, Expected, ForecastRow, OverOn
from fleet.services.series import FleetSeries, OutageInfo, load_series
from fleet.services.site_time import epoch_days, noon
from fleet.store.engine import Store
from fleet.trend.forecast import HORIZONS_DAYS, Ahead, Forecast, forecast
from fleet.trend.posterior import Posterior
from fleet.trend.status import statuses
from fleet.values import DAYS_PER_YEAR, STATUSES, BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Foreseen:
    """The forecast of some series of a fleet, with what it was judged by; arrays are parallel to `rows`.

    `rows` index into the fleet's series; only series with a cold survey to stand on are among them.
    """

    fleet: FleetSeries
    rows: IntArray
    forecast: Forecast
    status: IntArray
    target_um: FloatArray
    watch_um: FloatArray
    limit_um: FloatArray
    next_outage: tuple[OutageInfo | None, ...]
    following_outage: tuple[OutageInfo | None, ...]
    at: tuple[date, ...]


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _of(posterior: Posterior, rows: IntArray) -> Posterior:
    return Posterior(**{item.name: getattr(posterior, item.name)[rows] for item in fields(Posterior)})


def there(fleet: FleetSeries, rows: IntArray) -> BoolArray:
    """Return which series' stations still exist on as-of: a removed one tells of the past, and judges no line."""
    gone = [station.removed_on for station in fleet.stations]
    return np.array(
        [(day := gone[fleet.of_station[i]]) is None or day > fleet.as_of[fleet.of_line[i]] for i in rows],
        dtype=np.bool_,
    )


def foresee(fleet: FleetSeries, rows: IntArray, at: tuple[date, ...] = ()) -> Foreseen:
    """Forecast the given series of a fleet.

    Parameters
    ----------
    fleet : the series as of a day
    rows : which of them; those without a cold survey to stand on, and stations no longer there, are left out
    at : days at whose noon (at the site) a survey is imagined; before as-of the fan of what was to be expected then
    """
    rows = rows[np.isfinite(fleet.posterior.position_um[rows]) & there(fleet, rows)]
    known = _of(fleet.posterior, rows)
    lines = fleet.of_line[rows]
    lines_used, of_line = np.unique(lines, return_inverse=True)

    noons = np.array([epoch_days(noon(fleet.as_of[i], fleet.plant.lines[i].zone)) for i in lines_used])
    pace = np.array([fleet.clocks[i].pace / DAYS_PER_YEAR for i in lines_used])
    clock_now = np.array([fleet.clocks[i].years(np.array([day]))[0] for i, day in zip(lines_used, noons, strict=True)])
    settings = [(fleet.settings, fleet.plant.lines[i].site_id, fleet.as_of[i]) for i in lines_used]
    outages = [fleet.coming_outages(fleet.plant.lines[i], fleet.as_of[i])[:2] for i in lines_used]
    starts = np.array(
        [
            [epoch_days(outs[k].starts_at) - day if len(outs) > k else np.nan for k in (0, 1)]
            for outs, day in zip(outages, noons, strict=True)
        ]
    ).reshape(len(lines_used), 2)
    expected_days = np.array(
        [
            [epoch_days(noon(asked, fleet.plant.lines[i].zone)) - day for asked in at]
            for i, day in zip(lines_used, noons, strict=True)
        ]
    ).reshape(len(lines_used), len(at))

    visited = fleet.session_days[fleet.assembled.session[known.last_visit]] if rows.size else np.empty(0)
    tolerances = [fleet.tolerance(fleet.stations[fleet.of_station[i]], fleet.of_axis[i]) for i in rows]
    watch = np.array([np.nan if t.watch_um is None else t.watch_um for t in tolerances], dtype=np.float64)
    limit = np.array([np.nan if t.limit_um is None else t.limit_um for t in tolerances], dtype=np.float64)
    # A place without a cold target is judged from the gearbox axis itself.
    target = np.array(
        [fleet.target_um(fleet.stations[fleet.of_station[i]], fleet.of_axis[i]) or 0.0 for i in rows], dtype=np.float64
    )
    horizon = [s.number("horizon_years", site, day) for s, site, day in settings]
    ahead = Ahead(
        elapsed_years=np.maximum(clock_now[of_line] - fleet.assembled.visits.clock_years[known.last_visit], 0.0),
        elapsed_days=np.maximum(noons[of_line] - visited, 0.0),
        years_per_day=pace[of_line],
        next_outage_days=starts[of_line, 0],
        following_outage_days=starts[of_line, 1],
        expected_days=expected_days[of_line],
        horizon_years=max(horizon, default=5.0),
    )
    got = forecast(known, ahead, target_um=target, limit_um=limit)
    # The forecast looks as far as the longest horizon of all sites; a line's own may be nearer.
    last_days = ahead.elapsed_days + np.array(horizon, dtype=np.float64)[of_line] * DAYS_PER_YEAR
    over_on_days = np.where(got.over_on_days <= last_days[:, None], got.over_on_days, np.nan)
    got = replace(got, over_on_days=over_on_days)

    def chosen(name: str) -> FloatArray:
        return np.array([s.number(name, site, day) for s, site, day in settings])[of_line]

    status = statuses(
        got.chance_now,
        got.chance_before_following,
        got.measured_deviation_um,
        watch,
        limit,
        np.ones(rows.shape, dtype=np.bool_),
        chance_over=chosen("chance_over"),
        chance_due=chosen("chance_due"),
        chance_watch=chosen("chance_watch"),
    )
    return Foreseen(
        fleet=fleet,
        rows=rows,
        forecast=got,
        status=status,
        target_um=target,
        watch_um=watch,
        limit_um=limit,
        next_outage=tuple(outages[i][0] if outages[i] else None for i in of_line),
        following_outage=tuple(outages[i][1] if len(outages[i]) > 1 else None for i in of_line),
        at=at,
    )


def over_dates(foreseen: Foreseen, at: int) -> OverOn:
    """Return the days at the site by which the chance of series `at` reaches 10, 50 and 90 %."""
    fleet = foreseen.fleet
    line = fleet.plant.lines[fleet.of_line[foreseen.rows[at]]]
    visit = fleet.posterior.last_visit[foreseen.rows[at]]
    start = fleet.sessions[fleet.assembled.session[visit]].started_at
    days = foreseen.forecast.over_on_days[at]
    p10, p50, p90 = (
        (start + timedelta(days=float(d))).astimezone(line.zone).date() if np.isfinite(d) else None for d in days
    )
    return OverOn(p10, p50, p90)


def last_measured(foreseen: Foreseen, at: int) -> tuple[str, datetime]:
    """Return the session and the moment of the newest cold survey of series `at`, the moment in the site's zone."""
    fleet = foreseen.fleet
    visit = fleet.posterior.last_visit[foreseen.rows[at]]
    line = fleet.plant.lines[fleet.of_line[foreseen.rows[at]]]
    moment = fleet.measured_at[fleet.assembled.left_row[visit]]
    return fleet.sessions[fleet.assembled.session[visit]].code, moment.astimezone(line.zone)


def rows_of(foreseen: Foreseen) -> list[ForecastRow]:
    """Return the forecast row by row, with codes and dates, as commands and pages show it."""
    fleet, got = foreseen.fleet, foreseen.forecast
    pool_lines = {axis: _lines_behind(fleet, axis) for axis in (0, 1)}
    rows = []
    for at, index in enumerate(foreseen.rows):
        line_index = int(fleet.of_line[index])
        clock = fleet.clocks[line_index]
        session, measured_at = last_measured(foreseen, at)
        rate = float(fleet.posterior.rate_um[index])
        after, then = foreseen.next_outage[at], foreseen.following_outage[at]
        behind = pool_lines[int(fleet.series.axis[index])]
        rows.append(
            ForecastRow(
                line=fleet.plant.lines[line_index].code,
                station=fleet.stations[fleet.of_station[index]].code,
                axis=fleet.of_axis[index],
                as_of=fleet.as_of[line_index],
                last_session=session,
                last_measured_um=float(fleet.posterior.measured_um[index]),
                last_measured_at=measured_at,
                position_um=float(got.position_um[at]),
                u_position_um=float(got.u_position_um[at]),
                rate_um_per_year=rate * clock.pace,
                u_rate_um_per_year=float(np.sqrt(fleet.posterior.rate_var_um2[index])) * clock.pace,
                rate_um_per_1000_h=rate / clock.mean_hours_per_year * 1000.0 if clock.metered else None,
                deviation_um=float(got.deviation_um[at]),
                watch_um=_number(foreseen.watch_um[at]),
                limit_um=_number(foreseen.limit_um[at]),
                status=STATUSES[foreseen.status[at]],
                chance_over={f"{days:.0f}": _number(got.chance_over[at, k]) for k, days in enumerate(HORIZONS_DAYS)},
                next_outage=after.code if after else None,
                chance_before_next_outage=_number(got.chance_before_next[at]),
                following_outage=then.code if then else None,
                chance_before_following_outage=_number(got.chance_before_following[at]),
                over_on=over_dates(foreseen, at),
                expected=tuple(
                    Expected(
                        asked,
                        float(got.expected_um[at, k]),
                        float(got.expected_sd_um[at, k]),
                        *(float(q) for q in got.expected_quantiles_um[at, k]),
                    )
                    for k, asked in enumerate(foreseen.at)
                ),
                borrowed_from=Borrowed(
                    lines=behind.count - bool(behind.among[line_index]), weight=float(fleet.posterior.borrowed[index])
                ),
            )
        )
    return rows


def worst(rows: Iterable[ForecastRow]) -> ForecastRow | None:
    """Return the row a line is judged by: the most urgent status, then the greater chance, then the greater share."""

    def urgency(row: ForecastRow) -> tuple[float, float, float]:
        share = abs(row.deviation_um) / row.limit_um if row.limit_um else abs(row.deviation_um) * 1e-9
        return STATUSES.index(row.status), -(row.chance_before_following_outage or 0.0), -share

    return min(rows, key=urgency, default=None)


def why_no_record(*, has_position: bool, has_visit: bool) -> str:
    """Return why a line has no status: what is missing."""
    if has_position:
        return "no limit to judge by"
    return "no cold survey to stand on" if has_visit else "no survey yet"


@dataclass(frozen=True, slots=True)
class _Behind:
    """The lines whose intervals an axis learns from: how many, and which of all (n_lines,)."""

    count: int
    among: BoolArray


def _lines_behind(fleet: FleetSeries, axis: int) -> _Behind:
    of = fleet.intervals.series[~fleet.intervals.across_event]
    among = np.zeros(len(fleet.plant.lines), dtype=np.bool_)
    among[fleet.of_line[of[fleet.series.axis[of] == axis]]] = True
    return _Behind(int(np.sum(among)), among)


def _refuse_days_before(at: tuple[date, ...], fleet: FleetSeries) -> None:
    latest = max(fleet.as_of, default=date.min)
    for asked in at:
        if asked < latest:
            raise InputError(
                f"--at {asked.isoformat()} lies before as-of {latest.isoformat()}; ask for that day or a later one."
            )


def forecast_rows(
    store: Store, *, line: str | None = None, as_of: date | None = None, at: tuple[date, ...] = ()
) -> list[ForecastRow]:
    """Return the forecast of a line or of the whole fleet.

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        A day asked for lies before as-of.
    """
    reduce_if_needed(store)
    with store.read() as connection:
        fleet = load_series(connection, as_of=as_of)
    _refuse_days_before(at, fleet)
    wanted = fleet.rows_of(fleet.plant.line(line).id) if line else np.arange(fleet.series.axis.size)
    return rows_of(foresee(fleet, wanted, at))
