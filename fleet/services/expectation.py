"""What every cold survey was expected to show before it was read, from the rest of the line's record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fleet.services.series import FleetSeries
from fleet.trend.assembly import AS_LEFT, NO_MOVE
from fleet.trend.flags import flags
from fleet.values import FloatArray, IntArray

EXPECTED_DOF: Final = 10.0
"""How heavy the tails of what is expected are taken to be: a jump of a line is rarer than a slip, but not by much."""
COMMON_SHARE: Final = 0.5
"""Share of an expectation's variance that all stations of a survey have in common: they turn about one flange."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """Per row of `FleetSeries.measured`: what was expected there at the cold reference and how surely [um].

    `var_um2` leaves the survey's own measuring out. Both are NaN where nothing can be expected: a first visit, a
    visit after an event with nothing to go by, an as-left after moves nobody wrote down.
    """

    value_um: FloatArray
    var_um2: FloatArray


def expectations(fleet: FleetSeries, moves: Iterable[Any]) -> Expectation:
    """Return what every cold survey was expected to show.

    An as-found is expected where the as-left before it and the drift lead (its own movement left out), a later survey
    of the same session where the survey before it stood, if nothing was moved between the two.

    Parameters
    ----------
    fleet : the record brought to series
    moves : rows of `queries.moves_made`
    """
    measured = fleet.measured
    value = np.full(measured.value_um.shape, np.nan)
    variance = np.full(measured.value_um.shape, np.nan)

    found, visits = fleet.intervals, fleet.assembled.visits
    judged = flags(found, fleet.series, fleet.pooled)
    rows = fleet.assembled.found_row[found.to_visit]
    # Across an event the pool alone speaks, and an event is there because the line may have moved.
    speaks = ~found.across_event & (rows >= 0)
    value[rows[speaks]] = (visits.left_um[found.from_visit] + judged.expected_um)[speaks]
    variance[rows[speaks]] = (judged.expected_sd_um**2 - visits.found_var_um2[found.to_visit])[speaks]

    before, after = _untouched_pairs(fleet, moves)
    fresh = np.isnan(value[after])
    before, after = before[fresh], after[fresh]
    value[after] = measured.value_um[before]
    own = measured.var_um2[before] - measured.setup_um2[before]
    variance[after] = np.maximum(own, 0.0)
    return Expectation(value, np.maximum(variance, 1.0))


def _untouched_pairs(fleet: FleetSeries, moves: Iterable[Any]) -> tuple[IntArray, IntArray]:
    """Return rows of neighbouring surveys of one session and series between which nothing was moved."""
    measured = fleet.measured
    order = np.lexsort((measured.number, measured.session, measured.series))
    one, two = order[:-1], order[1:]
    same = (measured.series[one] == measured.series[two]) & (measured.session[one] == measured.session[two])
    one, two = one[same], two[same]

    place = {session.id: index for index, session in enumerate(fleet.sessions)}
    first, last = np.full(len(place), NO_MOVE, dtype=np.int64), np.full(len(place), -1, dtype=np.int64)
    told = np.zeros(len(place), dtype=np.bool_)
    for row in moves:
        at = place.get(row.session_id)
        if at is None:
            continue
        told[at] = True
        if row.v_um or row.h_um:
            first[at], last[at] = min(first[at], row.after or 0), max(last[at], row.after or 0)
    session = measured.session[two]
    between = (last[session] >= measured.number[one]) & (first[session] < measured.number[two])
    # An as-left without any row of moves was moved by an unknown amount.
    unknown = ~told[session] & (measured.phase[two] == AS_LEFT)
    still = ~between & ~unknown
    return one[still].astype(np.int64), two[still].astype(np.int64)
