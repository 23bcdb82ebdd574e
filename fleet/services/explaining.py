"""Why a line has its status, in one plain sentence with its evidence.

"The bore goes 0.04 mm a year lower against the gearbox axis (0.03 to 0.05; 6 intervals); 0.06 mm to the limit on that
side; likely over between Mar and Aug 2027; 3 of 9 similar lines go the same way."
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Final

import numpy as np

from fleet import words
from fleet.services.forecasting import Foreseen, why_no_record
from fleet.services.rows import ForecastRow
from fleet.services.series import FleetSeries
from fleet.trend.similar import Alike, alike, own_rates
from fleet.values import DAYS_PER_YEAR, NORMAL_95, Axis, Status
from fleet.words import NBSP, ReaderUnit

_TOLD: Final = 4096
"""How many lines' words are at hand: the pages that people look at are the same few."""
_DAYS: Final = ("over_p10", "over_p50", "over_p90", "as_of", "horizon")


@dataclass(frozen=True, slots=True)
class Evidence:
    """What stands behind the status of one station and axis; lengths in um, None where the record cannot say.

    `missing` says what a judgement lacks (None: nothing); `u95` is expanded (95 %). `intervals` of its own speak for
    the rate, beside them those of the line's other stations (`beside`) and of `comparable_lines` that it leans on.
    `to_limit_um` is the way from the deviation expected today to the limit in the direction of drift, to the nearer one
    where the direction is not known; negative: past it. `over_p10`, `p50`, `p90` are the days by which the chance of
    having passed the limit reaches 10, 50, 90 %. Of `similar_lines` (same axis, same third of the barrel, same
    foundation) `similar_same_way` drift as this one does, beyond their own uncertainty.
    """

    status: Status
    missing: str | None
    axis: Axis
    rate_um_per_year: float
    u95_rate_um_per_year: float
    rate_um_per_1000_h: float | None
    intervals: int
    beside: bool
    comparable_lines: int
    to_limit_um: float | None
    past_watch: bool
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    as_of: date
    horizon: date
    similar_lines: int
    similar_same_way: int

    @property
    def way(self) -> int:
        """Which way it drifts: 1 higher or right, -1 lower or left, 0 where the record does not show it."""
        if abs(self.rate_um_per_year) <= self.u95_rate_um_per_year:
            return 0
        return 1 if self.rate_um_per_year > 0.0 else -1

    @property
    def stands_still(self) -> bool:
        """Whether the line ran no hours lately, so that none of its rate becomes drift."""
        return self.rate_um_per_1000_h is not None and self.rate_um_per_year == self.u95_rate_um_per_year == 0.0


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What every series of a fleet is seen beside; worked out once for all of them."""

    alike: Alike
    line_intervals: dict[tuple[int, int], int]


def surroundings(fleet: FleetSeries) -> Surroundings:
    """Return the similar lines of every series, and how many intervals its line has on each axis."""
    known, series = fleet.posterior, fleet.series
    own = own_rates(fleet.intervals, known.n_intervals, fleet.pooled.jump_var_um2, known.sigma_um)
    bore = series.line // max(len(fleet.plant.lines), 1)
    line_intervals: dict[tuple[int, int], int] = {}
    for line, axis, count in zip(series.line.tolist(), series.axis.tolist(), known.n_intervals.tolist(), strict=True):
        line_intervals[line, axis] = line_intervals.get((line, axis), 0) + count
    return Surroundings(alike(series, own, fleet.of_line, bore), line_intervals)


def evidence_of(foreseen: Foreseen, at: int, row: ForecastRow, around: Surroundings) -> Evidence:
    """Return what stands behind the status of one foreseen series.

    Parameters
    ----------
    foreseen : the forecast
    at : which of its rows
    row : that row as commands show it
    around : of the same fleet
    """
    fleet, index = foreseen.fleet, int(foreseen.rows[at])
    intervals = int(fleet.posterior.n_intervals[index])
    u95 = NORMAL_95 * row.u_rate_um_per_year
    rate = row.rate_um_per_year
    line = fleet.plant.lines[fleet.of_line[index]]
    years = fleet.settings.number("horizon_years", line.site_id, row.as_of)
    same_way = around.alike.higher[index] if rate > 0.0 else around.alike.lower[index]
    to_limit = None
    if row.limit_um is not None:
        drifts = abs(rate) > u95 and abs(row.deviation_um) <= row.limit_um
        to_limit = row.limit_um - (np.sign(rate) * row.deviation_um if drifts else abs(row.deviation_um))
    watch = row.watch_um if row.watch_um is not None else (row.limit_um or 0.0) / 2.0
    measured = float(foreseen.forecast.measured_deviation_um[at])
    key = int(fleet.series.line[index]), int(fleet.series.axis[index])
    return Evidence(
        status=row.status,
        missing=why_no_record(has_position=True, has_visit=True) if row.status == "no record" else None,
        axis=row.axis,
        rate_um_per_year=rate,
        u95_rate_um_per_year=u95,
        rate_um_per_1000_h=row.rate_um_per_1000_h,
        intervals=intervals,
        beside=around.line_intervals[key] > intervals,
        comparable_lines=row.borrowed_from.lines,
        to_limit_um=None if to_limit is None else float(to_limit),
        past_watch=row.limit_um is not None and abs(measured) > watch,
        over_p10=row.over_on.p10,
        over_p50=row.over_on.p50,
        over_p90=row.over_on.p90,
        as_of=row.as_of,
        horizon=date.fromordinal(row.as_of.toordinal() + round(years * DAYS_PER_YEAR)),
        similar_lines=int(around.alike.lines[index]),
        similar_same_way=int(same_way),
    )


def to_text(evidence: Evidence) -> str:
    """Return the evidence as it is kept beside a line's state."""
    return json.dumps(asdict(evidence), default=date.isoformat, allow_nan=False)


@lru_cache(maxsize=_TOLD)
def from_text(text: str) -> Evidence:
    """Return the evidence that `to_text` wrote."""
    fields: dict[str, Any] = json.loads(text)
    for name in _DAYS:
        fields[name] = date.fromisoformat(fields[name]) if fields[name] else None
    return Evidence(**fields)


@lru_cache(maxsize=_TOLD)
def sentence(evidence: Evidence, unit: ReaderUnit) -> str:
    """Return the whole explanation, in the reader's unit, without a capital and a full stop.

    Parameters
    ----------
    evidence : of one station and axis
    unit : the reader's
    """
    past = "measured past the watch width" if evidence.status == "watch" and evidence.past_watch else None
    moving, others = movement(evidence, unit), _others(evidence)
    parts = [evidence.missing, moving, past, _to_limit(evidence, unit), _when(evidence), others]
    return "; ".join(part for part in parts if part)


@lru_cache(maxsize=_TOLD)
def in_short(evidence: Evidence, unit: ReaderUnit) -> str:
    """Return how it moves and whether others do, for where the limit and the dates are drawn beside it."""
    moving, same = movement(evidence, unit, brief=True), evidence.similar_same_way
    if _others(evidence) is not None:
        does = "as do" if same > 1 else "as does"
        alone = f"{does} the only similar line" if same else "unlike the only similar line"
        moving += f", {alone if evidence.similar_lines == 1 else f'{does} {_how_many(evidence)} similar lines'}"
    return "; ".join(part for part in (evidence.missing, moving) if part)


def movement(evidence: Evidence, unit: ReaderUnit, *, brief: bool = False) -> str:
    """Return how fast the bore goes which way, how sure that is, and what it is known from.

    `brief` leaves the bore and the gearbox axis to the heading above.
    """
    axis, rate, u95 = evidence.axis, evidence.rate_um_per_year, evidence.u95_rate_um_per_year
    if evidence.stands_still:
        per_1000 = words.said(evidence.rate_um_per_1000_h or 0.0, axis, "movement", unit, fine=True)
        return f"the line ran no hours lately, so it does not drift; running, {per_1000} in 1{NBSP}000{NBSP}h"
    start, basis = _basis(evidence)
    if evidence.intervals == 0 and not basis and start.endswith("known"):
        return start
    bore, against = ("", "") if brief else ("the bore ", " against the gearbox axis")
    smallest = f"{'0.01' if unit == 'mm' else '0.1'}{NBSP}{unit}"
    ends = [_a_year(um, axis, unit) for um in (rate - u95, rate + u95)]
    if evidence.way == 0:
        basis = f" ({basis})" if basis else ""
        if not any(words.quantised(um, unit) for um in (rate - u95, rate + u95)):
            return f"{start}{bore}moves less than {smallest} a year either way{basis}"
        if evidence.intervals and not brief:
            start = "the record does not show which way the bore goes: "
        elif not brief:
            start += "the bore may go "
        return f"{start}anything from {ends[0]} to {ends[1]}{basis}"
    if words.quantised(rate, unit) == 0:
        basis = f" ({basis})" if basis else ""
        return f"{start}{bore}goes less than {smallest} a year {_way(rate, axis)}{against}{basis}"
    low, high = abs(rate) - u95, abs(rate) + u95
    spread = f"{words.figure(low, unit)} to {words.figure(high, unit)}{f'; {basis}' if basis else ''}"
    return f"{start}{bore}goes {_a_year(rate, axis, unit)}{against} ({spread})"


def _basis(evidence: Evidence) -> tuple[str, str]:
    """Return what has to be said before a rate that is wholly lent, and how many intervals stand behind one's own."""
    if evidence.intervals:
        return "", f"{evidence.intervals}{NBSP}{'interval' if evidence.intervals == 1 else 'intervals'}"
    lent = ["the other stations"] if evidence.beside else []
    if lines := evidence.comparable_lines:
        lent.append(f"{lines} comparable {'line' if lines == 1 else 'lines'}")
    if not lent:
        return "no interval of its own yet, and no other to go by: how fast it moves is not known", ""
    return f"no interval of its own yet; going by {' and '.join(lent)}, ", ""


def _way(um: float, axis: Axis) -> str:
    return words.direction(np.copysign(1e6, um), axis, "movement")


def _a_year(um: float, axis: Axis, unit: ReaderUnit) -> str:
    return f"{words.figure(um, unit)}{NBSP}{unit} a year {_way(um, axis)}"


def _to_limit(evidence: Evidence, unit: ReaderUnit) -> str | None:
    if evidence.to_limit_um is None:
        return None
    figure = f"{words.figure(evidence.to_limit_um, unit)}{NBSP}{unit}"
    if evidence.to_limit_um < 0.0:
        return f"{figure} past the limit"
    return f"{figure} to the limit on that side" if evidence.way else f"{figure} to the nearer limit"


def _when(evidence: Evidence) -> str | None:
    """Return by when it is likely over: from the day the chance is 10 % to the day it is 90 %."""
    first, half, last = evidence.over_p10, evidence.over_p50, evidence.over_p90
    if evidence.to_limit_um is None:
        return None
    if first is None:
        return f"not likely over before {words.month(evidence.horizon)}"
    if last is None:
        until = words.month(evidence.horizon)
        then = f"50{NBSP}% by {words.month(half)}" if half else f"50{NBSP}% not before {until}"
        return f"10{NBSP}% chance of being over by {words.month(first)}, {then}"
    over = "likely passed the limit" if last <= evidence.as_of else "likely over"
    start, end = words.month(first), words.month(last)
    if start == end:
        return f"{over} in {end}"
    return f"{over} between {start.split(NBSP)[0] if first.year == last.year else start} and {end}"


def _others(evidence: Evidence) -> str | None:
    """Return how many similar lines do the same; nothing where there is nothing of its own to compare."""
    lines, same = evidence.similar_lines, evidence.similar_same_way
    if not lines or not evidence.way or not evidence.intervals:
        return None
    if lines == 1:
        return f"the only similar line {'goes' if same else 'does not go'} the same way"
    return f"{_how_many(evidence)} similar lines {'go' if same > 1 else 'goes'} the same way"


def _how_many(evidence: Evidence) -> str:
    lines, same = evidence.similar_lines, evidence.similar_same_way
    return f"all {lines}" if same == lines else f"{same or 'none'} of {lines}"
