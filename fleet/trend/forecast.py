"""Where every series will be, what a survey would show, and when the limit will have been passed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from fleet.trend.outlook import outlook
from fleet.trend.posterior import Posterior
from fleet.trend.starting import CHUNK, Start, days_of_use, start_of
from fleet.values import DAYS_PER_YEAR, FloatArray

HORIZONS_DAYS: Final = (30.0, 90.0, 180.0, 365.0, 730.0)
OVER_LEVELS: Final = (0.10, 0.50, 0.90)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Everything foreseen, one row per series; NaN where there is no position, or no limit for the chances.

    Parameters
    ----------
    position_um, u_position_um : true cold offset on as-of if nobody touched the line, and its standard uncertainty
    deviation_um : that minus the cold target, shape (n,)
    measured_deviation_um : newest measured offset minus the cold target, shape (n,)
    chance_now : chance that |deviation| has passed the limit between the newest cold survey and as-of, shape (n,)
    chance_over : the same by the horizons, shape (n, horizons)
    chance_before_next, chance_before_following : the same by the two outages; the first NaN where there is none, the
        second one year ahead where there is none, shape (n,)
    over_on_days : days after the newest cold survey by which the chance is 10, 50, 90 %, shape (n, 3); NaN beyond the
        horizon
    expected_um, expected_sd_um : what a survey would measure at each date, shape (n, dates)
    expected_quantiles_um : its quantiles at `QUANTILES`, shape (n, dates, 9)
    """

    position_um: FloatArray
    u_position_um: FloatArray
    deviation_um: FloatArray
    measured_deviation_um: FloatArray
    chance_now: FloatArray
    chance_over: FloatArray
    chance_before_next: FloatArray
    chance_before_following: FloatArray
    over_on_days: FloatArray
    expected_um: FloatArray
    expected_sd_um: FloatArray
    expected_quantiles_um: FloatArray


@dataclass(frozen=True, slots=True)
class Ahead:
    """Where a series stands on as-of, and how its clock runs on; every array has shape (n_series,) unless said.

    Parameters
    ----------
    elapsed_years : years of use between the newest cold survey and as-of
    elapsed_days : calendar days between them
    years_per_day : years of use per calendar day after as-of (0 for a line that stands still)
    next_outage_days, following_outage_days : days after as-of to the starts of the two coming outages, NaN for none
    expected_days : days after as-of at which a survey is imagined (before it negative, the newest survey at the
        earliest), shape (dates,) or (n_series, dates)
    horizon_years : calendar years after as-of beyond which no date is given
    """

    elapsed_years: FloatArray
    elapsed_days: FloatArray
    years_per_day: FloatArray
    next_outage_days: FloatArray
    following_outage_days: FloatArray
    expected_days: FloatArray
    horizon_years: float = 5.0


def _probit(chance: FloatArray) -> FloatArray:
    return np.asarray(ndtri(np.clip(chance, 1e-12, 1.0 - 1e-12)), dtype=np.float64)


def _years_reached(start: Start, grid: FloatArray, chance: FloatArray, rounds: int = 3) -> FloatArray:
    """Return the years at which the chance reaches `OVER_LEVELS`, between columns of a grid of known chances.

    Regula falsi (Illinois) on the probit of the chance over log years, where the curve is nearly straight; all levels
    side by side.
    """
    crossed = chance[:, :, None] >= np.array(OVER_LEVELS)
    reached = np.where(crossed[:, 0], grid[:, :1], np.nan)
    rows, level = np.nonzero(crossed[:, -1] & ~crossed[:, 0])
    if rows.size == 0:
        return reached
    upper = np.argmax(crossed[rows, :, level], axis=1)
    target = ndtri(np.array(OVER_LEVELS))[level]
    x0, x1 = (np.log(np.maximum(grid[rows, at], 1e-6)) for at in (upper - 1, upper))
    y0, y1 = (_probit(chance[rows, at]) - target for at in (upper - 1, upper))
    kept = np.zeros(rows.size, dtype=np.int64)
    here = start.rows(rows)
    x = x1
    for turn in range(rounds + 1):
        x = x1 - y1 * (x1 - x0) / np.where(y1 > y0, y1 - y0, 1.0)
        if turn == rounds:
            break
        y = _probit(here.chance(np.exp(x)[:, None])[:, 0]) - target
        above = y >= 0
        y0 = np.where(above & (kept == 1), y0 / 2.0, y0)
        y1 = np.where(~above & (kept == -1), y1 / 2.0, y1)
        x1, y1 = np.where(above, x, x1), np.where(above, y, y1)
        x0, y0 = np.where(above, x0, x), np.where(above, y0, y)
        kept = np.where(above, 1, -1)
    reached[rows, level] = np.exp(x)
    return reached


def _chances(start: Start, asked: FloatArray, early: FloatArray, late: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the chances at the asked years, shape (n, asked), and the years of `OVER_LEVELS`, shape (n, 3).

    Beside what is asked, what lies before as-of (asked first) and late years bracket the levels.
    """
    later = start.chance(np.concatenate([asked, late], axis=1))
    before = np.zeros(early.shape)
    # Where as-of has not seen the lowest level, nothing before it has.
    seen = np.flatnonzero(later[:, 0] >= OVER_LEVELS[0])
    if seen.size:
        before[seen] = start.rows(seen).chance(early[seen])
    together = np.concatenate([early, asked, late], axis=1)
    chance = np.concatenate([before, later], axis=1)
    order = np.argsort(together, axis=1, kind="stable")
    grid = np.take_along_axis(together, order, axis=1)
    # A chance of having passed cannot fall; what falls is the quadrature's last digits, and the reach of a season that
    # turns back.
    rising = np.maximum.accumulate(np.take_along_axis(chance, order, axis=1), axis=1)
    last = np.max(np.concatenate([early, late], axis=1), axis=1)
    over = _years_reached(start, grid, rising)
    np.put_along_axis(chance, order, rising, axis=1)
    asked_for = chance[:, early.shape[1] : early.shape[1] + asked.shape[1]]
    return asked_for, np.where(over <= last[:, None] * (1 + 1e-12), over, np.nan)


def forecast(known: Posterior, ahead: Ahead, *, target_um: FloatArray, limit_um: FloatArray) -> Forecast:
    """Foresee every series from its newest cold survey.

    Parameters
    ----------
    known : the posterior
    ahead : where as-of lies and what is asked
    target_um : cold target, shape (n,)
    limit_um : limit on |deviation|, shape (n,), NaN where there is none

    Returns
    -------
    the forecast

    Raises
    ------
    TrendError
        A limit is negative.
    """
    n = known.position_um.size
    elapsed, per_day = np.maximum(ahead.elapsed_years, 0.0), np.maximum(ahead.years_per_day, 0.0)
    dates = np.broadcast_to(np.atleast_1d(ahead.expected_days), (n, np.shape(ahead.expected_days)[-1]))
    expected = outlook(
        known,
        years=np.maximum(elapsed[:, None] + per_day[:, None] * dates, 0.0),
        days=np.maximum(ahead.elapsed_days[:, None] + dates, 0.0),
    )
    now = outlook(known, years=elapsed[:, None], days=ahead.elapsed_days[:, None], measuring_var_um2=np.zeros(n))
    position = now.mean_um

    following = np.where(np.isfinite(ahead.following_outage_days), ahead.following_outage_days, 365.0)
    asked_days = np.column_stack(
        [np.zeros(n), np.broadcast_to(HORIZONS_DAYS, (n, len(HORIZONS_DAYS))), ahead.next_outage_days, following]
    )
    asked = elapsed[:, None] + per_day[:, None] * asked_days
    # Beside what is asked: the survey itself, two places before as-of, and two between the horizons and the end.
    end_days = ahead.horizon_years * DAYS_PER_YEAR
    early = elapsed[:, None] * np.array([0.0, 0.25, 0.6])
    late = elapsed[:, None] + per_day[:, None] * end_days * np.array([0.65, 1.0])
    # A missing outage asks nothing; the horizon's end stands in, so that every row has numbers.
    asked_or_end = np.where(np.isfinite(asked), asked, late[:, 1:])

    chance = np.full((n, asked.shape[1]), np.nan)
    over = np.full((n, len(OVER_LEVELS)), np.nan)
    supported = np.flatnonzero(np.isfinite(known.position_um) & np.isfinite(limit_um) & np.isfinite(target_um))
    start = start_of(
        known, target_um=target_um, limit_um=limit_um, elapsed_years=elapsed, elapsed_days=ahead.elapsed_days,
        years_per_day=per_day,
    )  # fmt: skip
    parts = [supported[at : at + CHUNK] for at in range(0, supported.size, CHUNK)]
    # Most of the time is spent inside scipy's functions, which let other threads run.
    with ThreadPoolExecutor(max_workers=2) as pool:
        done = pool.map(lambda rows: _chances(start.rows(rows), asked_or_end[rows], early[rows], late[rows]), parts)
        for rows, (chances, years) in zip(parts, done, strict=True):
            chance[rows], over[rows] = chances, years
    chance[~np.isfinite(asked)] = np.nan

    return Forecast(
        position_um=position[:, 0],
        u_position_um=now.sd_um[:, 0],
        deviation_um=position[:, 0] - target_um,
        measured_deviation_um=known.measured_um - target_um,
        chance_now=chance[:, 0],
        chance_over=chance[:, 1 : 1 + len(HORIZONS_DAYS)],
        chance_before_next=chance[:, -2],
        chance_before_following=chance[:, -1],
        over_on_days=days_of_use(over, elapsed, ahead.elapsed_days, per_day),
        expected_um=expected.mean_um,
        expected_sd_um=expected.sd_um,
        expected_quantiles_um=expected.quantiles(),
    )
