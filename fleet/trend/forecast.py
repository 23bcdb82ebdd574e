"""Where every series will be, what a survey would show, and when the limit will have been passed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from scipy.special import ndtri

from fleet.trend.jumps import at_least_one
from fleet.trend.outlook import outlook
from fleet.trend.passage import chance_passed
from fleet.trend.posterior import Posterior
from fleet.trend.season import phase
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

HORIZONS_DAYS: Final = (30.0, 90.0, 180.0, 365.0, 730.0)
OVER_LEVELS: Final = (0.10, 0.50, 0.90)
_CHUNK: Final = 16_384
_JUMP_NODES: Final = 8
"""For starts spread by a jump, whose chance counts as little as jumps are rare."""
_SEASON_PLACES: Final = 25
_SURE_DOF: Final = 200.0
"""From here on the wander counts as known."""
_LEAST_SURE: Final = 0.2
_NEGLIGIBLE: Final = 1e-4


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


@dataclass(frozen=True, slots=True)
class _Start:
    """The rows a chance is worked out for, in deviations from the target; every array has one row each."""

    position_um: FloatArray
    position_var_um2: FloatArray
    rate_um: FloatArray
    rate_var_um2: FloatArray
    cov_um2: FloatArray
    sigma_um: FloatArray
    sigma_dof: FloatArray
    jumps_per_year: FloatArray
    jump_um: FloatArray
    swing_um: FloatArray
    day: FloatArray
    elapsed_years: FloatArray
    elapsed_days: FloatArray
    years_per_day: FloatArray
    limit_um: FloatArray

    def rows(self, pick: IntArray) -> _Start:
        return _Start(*(getattr(self, item.name)[pick] for item in fields(_Start)))

    def chance(self, years: FloatArray) -> FloatArray:
        """Return the chance of having passed: wander's own uncertainty, jumps and the time of the year included.

        Parameters
        ----------
        years : years of use since the newest cold survey, shape (n, k)
        """
        here, table, position, limit = self, years, self.position_um, self.limit_um
        if np.any(self.swing_um):
            here, table = self._each(years), years.reshape(-1, 1)
            low, high = here._swing_reach(table[:, 0])
            # What the season adds at its worst moments narrows the room on either side.
            position = here.position_um + (low + high) / 2.0
            limit = np.maximum(here.limit_um - (high - low) / 2.0, 0.0)
        calm = here._averaged(position, limit, table)
        if np.any(self.jumps_per_year):
            times = table.shape[1]
            each, at = here._each(table), table.ravel()
            chance, number = at_least_one(each.jumps_per_year * at)
            # Beside a jump the wander's own uncertainty is nothing.
            jumped = chance_passed(
                position_um=np.repeat(position, times),
                position_var_um2=each.position_var_um2 + number * each.jump_um**2,
                rate_um=each.rate_um, rate_var_um2=each.rate_var_um2, cov_um2=each.cov_um2, sigma_um=each.sigma_um,
                limit_um=np.repeat(limit, times), years=at, nodes=_JUMP_NODES,
            ).reshape(table.shape)  # fmt: skip
            calm = calm + chance.reshape(table.shape) * (jumped - calm)
        return np.asarray(calm.reshape(years.shape), dtype=np.float64)

    def _each(self, years: FloatArray) -> _Start:
        return self.rows(np.repeat(np.arange(years.shape[0]), years.shape[1]))

    def _averaged(self, position: FloatArray, limit: FloatArray, years: FloatArray) -> FloatArray:
        def given(sigma: FloatArray, pick: IntArray | slice, at: FloatArray) -> FloatArray:
            return chance_passed(
                position_um=position[pick], position_var_um2=self.position_var_um2[pick], rate_um=self.rate_um[pick],
                rate_var_um2=self.rate_var_um2[pick], cov_um2=self.cov_um2[pick], sigma_um=sigma[pick],
                limit_um=limit[pick], years=at,
            )  # fmt: skip

        if not np.any(self.sigma_dof < _SURE_DOF):
            return given(self.sigma_um, slice(None), years)
        # Two Gauss-Hermite nodes of a log-normal variance with the mean and relative variance that are known.
        log_var = np.log1p(2.0 / np.maximum(self.sigma_dof - 4.0, _LEAST_SURE))
        middle, step = self.sigma_um * np.exp(-log_var / 4.0), np.exp(np.sqrt(log_var) / 2.0)
        chance = given(middle * step, slice(None), years) / 2.0
        # Where much wander hardly gets there, little wander does not.
        rows, columns = np.nonzero(chance > _NEGLIGIBLE)
        chance[rows, columns] += given(middle / step, rows, years[rows, columns]) / 2.0
        return chance

    def _swing_reach(self, years: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far down and up the season has reached by then, beside where rate and wander have led.

        A reach of some time ago counts less by what rate and wander have led on since: it was reached from further
        back. The wander's farthest point grows like sigma sqrt(2 t / pi), the mean of a reflected Brownian motion.
        """
        days = days_of_use(years[:, None], self.elapsed_years, self.elapsed_days, self.years_per_day)
        span = np.minimum(days, DAYS_PER_YEAR) * np.linspace(0.0, 1.0, _SEASON_PLACES)
        turn = phase(self.day[:, None] + days - span) - phase(self.day)[:, None, :]
        shift = np.einsum("ndj,nj->nd", turn, self.swing_um)
        since = self.years_per_day[:, None] * span
        before = np.sqrt(np.maximum(years[:, None] - since, 0.0))
        wandered = self.sigma_um[:, None] * np.sqrt(2.0 / np.pi) * (np.sqrt(years)[:, None] - before)
        led = self.rate_um[:, None] * since
        low = np.min(shift - np.minimum(led, 0.0) + wandered, axis=1)
        return low, np.max(shift - np.maximum(led, 0.0) - wandered, axis=1)


def _probit(chance: FloatArray) -> FloatArray:
    return np.asarray(ndtri(np.clip(chance, 1e-12, 1.0 - 1e-12)), dtype=np.float64)


def _years_reached(start: _Start, grid: FloatArray, chance: FloatArray, rounds: int = 3) -> FloatArray:
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


def _chances(start: _Start, asked: FloatArray, early: FloatArray, late: FloatArray) -> tuple[FloatArray, FloatArray]:
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
    start = _Start(
        known.position_um - target_um, known.position_var_um2, known.rate_um, known.rate_var_um2, known.cov_um2,
        known.sigma_um, known.sigma_dof, known.jumps_per_year, known.jump_um, known.swing_um, known.day,
        elapsed, ahead.elapsed_days, per_day, limit_um,
    )  # fmt: skip
    parts = [supported[at : at + _CHUNK] for at in range(0, supported.size, _CHUNK)]
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


def days_of_use(years: FloatArray, elapsed: FloatArray, elapsed_days: FloatArray, per_day: FloatArray) -> FloatArray:
    """Turn years of use since the newest survey into days since it: by the recorded clock up to as-of, then ahead."""
    with np.errstate(invalid="ignore", divide="ignore"):
        before = np.where(elapsed[:, None] > 0, years / elapsed[:, None] * elapsed_days[:, None], elapsed_days[:, None])
        after = elapsed_days[:, None] + np.where(
            per_day[:, None] > 0, (years - elapsed[:, None]) / per_day[:, None], 0.0
        )
        # A line already beyond its limit at the survey passed on that day.
        days = np.where(years <= 0, 0.0, np.where(years <= elapsed[:, None], before, after))
    return np.where(np.isfinite(years), days, np.nan)
