"""A line's own clock: running hours where a meter is kept, the calendar elsewhere.

Drift follows use, so the trend of a metered line is counted in *years of use*: running hours divided by the line's
mean hours a year over its record. `pace` says how many such years one calendar year has been worth lately.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.errors import InputError
from fleet.values import DAYS_PER_YEAR, FloatArray


@dataclass(frozen=True, slots=True)
class LineClock:
    """Running time of one line as a function of the day, straight between meter readings.

    `knot_days` and `knot_hours` are empty where the line has no meter: the clock is then the calendar.
    """

    knot_days: FloatArray
    knot_hours: FloatArray
    mean_hours_per_year: float
    recent_hours_per_year: float

    @property
    def metered(self) -> bool:
        """Whether the line goes by running hours."""
        return bool(self.knot_days.size)

    @property
    def pace(self) -> float:
        """Years of use that one calendar year is worth from the last reading on."""
        return self.recent_hours_per_year / self.mean_hours_per_year if self.metered else 1.0

    def hours(self, days: FloatArray) -> FloatArray:
        """Return running hours since the first reading, shape as `days`; NaN throughout without a meter.

        Parameters
        ----------
        days : ndarray
            Days since the epoch. Before the first reading the mean use holds, after the last the recent one.
        """
        if not self.metered:
            return np.full(np.shape(days), np.nan)
        inside = np.interp(days, self.knot_days, self.knot_hours)
        before = np.minimum(days - self.knot_days[0], 0.0) * self.mean_hours_per_year / DAYS_PER_YEAR
        after = np.maximum(days - self.knot_days[-1], 0.0) * self.recent_hours_per_year / DAYS_PER_YEAR
        return np.asarray(inside + before + after, dtype=np.float64)

    def years(self, days: FloatArray) -> FloatArray:
        """Return the clock in years of use (calendar years of 365.25 d without a meter), shape as `days`."""
        if not self.metered:
            return np.asarray(days, dtype=np.float64) / DAYS_PER_YEAR
        return self.hours(days) / self.mean_hours_per_year


CALENDAR = LineClock(np.empty(0), np.empty(0), 0.0, 0.0)


def line_clock(read_days: FloatArray, meter_hours: FloatArray) -> LineClock:
    """Return a line's clock from its meter readings.

    Fewer than two readings, or none that ever advanced, give the calendar. A reading lower than the one before starts
    a new meter: the hours between the two are projected at the mean use of all other stretches.

    Parameters
    ----------
    read_days, meter_hours : ndarray, shape (n,)
        When each reading was taken [days since the epoch, any order] and what the meter showed [h].

    Raises
    ------
    InputError
        A reading is not finite or negative.
    """
    if not (np.isfinite(read_days).all() and np.isfinite(meter_hours).all() and (meter_hours >= 0.0).all()):
        raise InputError("A meter reading must be a number of hours, 0 or more, on a known day; correct the reading.")
    order = np.lexsort((meter_hours, read_days))
    days, shown = np.asarray(read_days, dtype=np.float64)[order], np.asarray(meter_hours, dtype=np.float64)[order]
    keep = np.append(np.diff(days) > 0.0, True) if days.size else np.empty(0, dtype=bool)
    days, shown = days[keep], shown[keep]
    if days.size < 2:
        return CALENDAR
    elapsed, steps = np.diff(days), np.diff(shown)
    same_meter = steps >= 0.0
    if not steps[same_meter].sum() > 0.0:
        return CALENDAR
    mean_per_day = steps[same_meter].sum() / elapsed[same_meter].sum()
    hours = np.concatenate([[0.0], np.cumsum(np.where(same_meter, steps, elapsed * mean_per_day))])
    year_ago = np.interp(days[-1] - DAYS_PER_YEAR, days, hours)
    recent = (hours[-1] - year_ago) / min(DAYS_PER_YEAR, days[-1] - days[0]) * DAYS_PER_YEAR
    return LineClock(days, hours, float(mean_per_day * DAYS_PER_YEAR), float(recent))
