"""Drift, its rate and the forecast.

Pure functions on flat arrays, vectorised over the whole fleet: `intervals` pairs what was left with what was found
next, `pool_rates` learns from all lines how they drift, `posteriors` joins that with each series' own record, `flags`
says which movements are remarkable, `forecast` looks ahead (position, expected survey, chance of passing the limit
and by when), `statuses` sums it up in a word, `set_against_drift` says where to leave a line, and `rate_changes` finds
where a line began to drift at another rate. The clock is years of use.
"""

from fleet.trend.axis_pool import DEFAULT_PRIOR, AxisPool, Prior
from fleet.trend.flags import Flags, flags
from fleet.trend.forecast import (
    HORIZONS_DAYS,
    OVER_LEVELS,
    Ahead,
    Forecast,
    forecast,
)
from fleet.trend.gls import GlsFit, gls
from fleet.trend.outlook import QUANTILES, Outlook, outlook
from fleet.trend.passage import chance_passed
from fleet.trend.pooling import Pooled, pool_rates
from fleet.trend.posterior import Posterior, last_visits, posteriors
from fleet.trend.records import Intervals, Series, TrendError, Visits, intervals
from fleet.trend.regimes import GROWN_CLEARLY, WORTH_PROPOSING, Change, rate_changes
from fleet.trend.setting import set_against_drift
from fleet.trend.starting import Start, chances_on, start_of
from fleet.trend.status import statuses, worst_of_line

__all__ = [
    "DEFAULT_PRIOR",
    "GROWN_CLEARLY",
    "HORIZONS_DAYS",
    "OVER_LEVELS",
    "QUANTILES",
    "WORTH_PROPOSING",
    "Ahead",
    "AxisPool",
    "Change",
    "Flags",
    "Forecast",
    "GlsFit",
    "Intervals",
    "Outlook",
    "Pooled",
    "Posterior",
    "Prior",
    "Series",
    "Start",
    "TrendError",
    "Visits",
    "chance_passed",
    "chances_on",
    "flags",
    "forecast",
    "gls",
    "intervals",
    "last_visits",
    "outlook",
    "pool_rates",
    "posteriors",
    "rate_changes",
    "set_against_drift",
    "start_of",
    "statuses",
    "worst_of_line",
]
