"""Where series stand when a chance is asked of them, and the chance of having passed a limit by any day ahead."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from fleet.trend.jumps import at_least_one
from fleet.trend.passage import chance_passed
from fleet.trend.posterior import Posterior
from fleet.trend.season import phase
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

CHUNK: Final = 16_384
_JUMP_NODES: Final = 8
"""For starts spread by a jump, whose chance counts as little as jumps are rare."""
_SEASON_PLACES: Final = 25
_SURE_DOF: Final = 200.0
"""From here on the wander counts as known."""
_LEAST_SURE: Final = 0.2
_NEGLIGIBLE: Final = 1e-4


@dataclass(frozen=True, slots=True)
class Start:
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

    def rows(self, pick: IntArray) -> Start:
        return Start(*(getattr(self, item.name)[pick] for item in fields(Start)))

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

    def _each(self, years: FloatArray) -> Start:
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


def start_of(
    known: Posterior,
    *,
    target_um: FloatArray,
    limit_um: FloatArray,
    elapsed_years: FloatArray,
    elapsed_days: FloatArray,
    years_per_day: FloatArray,
) -> Start:
    """Return where series stand at their newest cold survey, in deviations from the target.

    Parameters
    ----------
    known : the posterior, n series
    target_um, limit_um : cold target and limit on |deviation|, shape (n,)
    elapsed_years, elapsed_days : years of use and calendar days from that survey to as-of, shape (n,)
    years_per_day : years of use per calendar day after as-of, shape (n,)
    """
    return Start(
        known.position_um - target_um, known.position_var_um2, known.rate_um, known.rate_var_um2, known.cov_um2,
        known.sigma_um, known.sigma_dof, known.jumps_per_year, known.jump_um, known.swing_um, known.day,
        elapsed_years, elapsed_days, years_per_day, limit_um,
    )  # fmt: skip


def chances_on(start: Start, days: FloatArray) -> FloatArray:
    """Return the chance that |deviation| has passed the limit since the newest cold survey, day by day.

    Parameters
    ----------
    start : n series; those without a position or a limit have no chance
    days : days after as-of, rising, shape (k,)

    Returns
    -------
    shape (n, k), never falling along the days; NaN for a series without a position or a limit

    Raises
    ------
    TrendError
        A limit is negative.
    """
    chance = np.full((start.position_um.size, days.size), np.nan)
    supported = np.flatnonzero(np.isfinite(start.position_um) & np.isfinite(start.limit_um))
    years = start.elapsed_years[:, None] + start.years_per_day[:, None] * days
    step = max(CHUNK // max(days.size, 1), 1)
    parts = [supported[at : at + step] for at in range(0, supported.size, step)]
    # Most of the time is spent inside scipy's functions, which let other threads run.
    with ThreadPoolExecutor(max_workers=2) as pool:
        done = pool.map(lambda rows: start.rows(rows).chance(years[rows]), parts)
        for rows, chances in zip(parts, done, strict=True):
            # What falls is the quadrature's last digits, and the reach of a season that turns back.
            chance[rows] = np.maximum.accumulate(chances, axis=1)
    return chance
