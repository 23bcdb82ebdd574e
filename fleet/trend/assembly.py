"""From the surveys of sessions to the visits the trend works on: what was found, what was left, what was moved.

A session's as-found is its first cold survey of a station before anything was moved; its as-left the last one after
the last move. An `as_left` survey in a session without recorded moves was moved by an unknown amount; `interim` alone
moved nothing; moves recorded as 0 moved nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.records import Visits
from fleet.values import BoolArray, FloatArray, IntArray

AS_FOUND: Final = 0
INTERIM: Final = 1
AS_LEFT: Final = 2
NO_MOVE: Final = 2**31
"""First move of a session that moved nothing: after any survey there can be."""


@dataclass(frozen=True, slots=True)
class Sessions:
    """Sessions that count, sorted by line, then time; every array has shape (n_sessions,).

    Parameters
    ----------
    line : index of the line
    days : start, in days since the epoch (UTC)
    local_day : the day at the site, in whole days since the epoch
    has_moves : the session holds rows of moves, zeros included
    first_move_after, last_move_after : number of the survey after which the first and the last move other than 0 was
        made; `NO_MOVE` and -1 where nothing was moved
    """

    line: IntArray
    days: FloatArray
    local_day: IntArray
    has_moves: BoolArray
    first_move_after: IntArray
    last_move_after: IntArray


@dataclass(frozen=True, slots=True)
class Measured:
    """One station and axis in one cold survey a row, in any order; every array has shape (n_rows,).

    Parameters
    ----------
    session : index into `Sessions`
    number : number of the survey within its session
    phase : AS_FOUND, INTERIM or AS_LEFT
    series : index into `fleet.trend.Series`
    value_um, var_um2, setup_um2 : cold offset, its variance, and the set-up error's part of the variance
    """

    session: IntArray
    number: IntArray
    phase: IntArray
    series: IntArray
    value_um: FloatArray
    var_um2: FloatArray
    setup_um2: FloatArray


@dataclass(frozen=True, slots=True)
class Resets:
    """Events that end a regime, one row per event and series it speaks for; every array has shape (n_rows,).

    Parameters
    ----------
    series : index into `fleet.trend.Series`
    days : when, in days since the epoch (UTC)
    local_day : the day at the site, in whole days since the epoch
    """

    series: IntArray
    days: FloatArray
    local_day: IntArray

    def count(self, n_series: int) -> IntArray:
        """Return how many there were of every series, which is the number of its current regime."""
        return np.bincount(self.series, minlength=n_series).astype(np.int64)


@dataclass(frozen=True, slots=True)
class Assembled:
    """The visits, with the session and the rows of `Measured` behind each; -1 where there is no such row."""

    visits: Visits
    session: IntArray
    found_row: IntArray
    left_row: IntArray


def session_moved(sessions: Sessions, measured: Measured) -> tuple[BoolArray, IntArray]:
    """Return which sessions moved their line, and the number of the first survey after an unrecorded move.

    Returns
    -------
    moved, unknown_from : shape (n_sessions,); `unknown_from` is `NO_MOVE` where moves are recorded or none was made
    """
    first_as_left = np.full(sessions.line.shape, NO_MOVE, dtype=np.int64)
    as_left = measured.phase == AS_LEFT
    np.minimum.at(first_as_left, measured.session[as_left], measured.number[as_left])
    unknown_from = np.where(sessions.has_moves, NO_MOVE, first_as_left)
    return (sessions.first_move_after < NO_MOVE) | (unknown_from < NO_MOVE), unknown_from


def _counts_at_or_before(events: FloatArray, series: IntArray, at_series: IntArray, at: FloatArray) -> IntArray:
    """Count, for every (at_series, at), the events of that series at or before it."""
    order = np.lexsort((events, series))
    marks = np.stack([series[order].astype(np.float64), events[order]])
    # One sort over (series, time, is-a-question) ranks questions behind the events of the same moment.
    stacked_series = np.concatenate([marks[0], at_series.astype(np.float64)])
    stacked_time = np.concatenate([marks[1], at])
    question = np.concatenate([np.zeros(marks.shape[1]), np.ones(at.shape[0])])
    rank = np.lexsort((question, stacked_time, stacked_series))
    is_event = question[rank] == 0.0
    seen = np.empty(rank.shape[0], dtype=np.int64)
    seen[rank] = np.cumsum(is_event)
    before_series = np.searchsorted(marks[0], at_series, side="left")
    return np.asarray(seen[marks.shape[1] :] - before_series, dtype=np.int64)


def assemble(sessions: Sessions, measured: Measured, resets: Resets, clock_years: FloatArray) -> Assembled:
    """Pair every series' surveys into visits.

    Parameters
    ----------
    sessions : sorted by line, then time
    measured : cold surveys only, in any order
    resets : events that end a regime; one later on the day of a visit lies between its as-found and its as-left
    clock_years : the line's clock at each session, shape (n_sessions,)

    Returns
    -------
    visits sorted by series, then time, with the rows behind them
    """
    moved, unknown_from = session_moved(sessions, measured)
    order = np.lexsort((measured.number, measured.session, measured.series))
    session, number = measured.session[order], measured.number[order]
    series, phase = measured.series[order], measured.phase[order]
    can_be_found = (number <= sessions.first_move_after[session]) & (number < unknown_from[session])
    can_be_found &= (phase != AS_LEFT) | sessions.has_moves[session]
    can_be_left = number > sessions.last_move_after[session]
    can_be_left &= (unknown_from[session] == NO_MOVE) | (number >= unknown_from[session])

    starts = np.ones(order.shape[0], dtype=np.bool_)
    starts[1:] = (series[1:] != series[:-1]) | (session[1:] != session[:-1])
    group = np.cumsum(starts) - 1
    n_groups = int(group[-1]) + 1 if group.size else 0
    rows = np.arange(order.shape[0])
    found = np.full(n_groups, order.shape[0], dtype=np.int64)
    np.minimum.at(found, group[can_be_found], rows[can_be_found])
    left = np.full(n_groups, -1, dtype=np.int64)
    np.maximum.at(left, group[can_be_left], rows[can_be_left])
    found[found == order.shape[0]] = -1

    keep = (found >= 0) | (left >= 0)
    found, left = found[keep], left[keep]
    of_session, of_series = session[starts][keep], series[starts][keep]
    found_row = np.where(found >= 0, order[found], -1) if order.size else found
    left_row = np.where(left >= 0, order[left], -1) if order.size else left

    moves_up_to = np.cumsum(moved)
    chained = np.zeros(of_session.shape, dtype=np.bool_)
    if of_session.size:
        before: IntArray = moves_up_to[of_session] - moved[of_session]
        chained[1:] = (of_series[1:] == of_series[:-1]) & (before[1:] == moves_up_to[of_session[:-1]])

    def taken(values: FloatArray, row: IntArray) -> FloatArray:
        return np.where(row >= 0, values[row], np.nan) if values.size else np.empty(0)

    days = sessions.days[of_session]
    local_day = sessions.local_day[of_session].astype(np.float64)
    visits = Visits(
        series=of_series,
        clock_years=clock_years[of_session],
        days=days,
        found_um=taken(measured.value_um, found_row),
        found_var_um2=taken(measured.var_um2, found_row),
        found_setup_um2=taken(measured.setup_um2, found_row),
        left_um=taken(measured.value_um, left_row),
        left_var_um2=taken(measured.var_um2, left_row),
        left_setup_um2=taken(measured.setup_um2, left_row),
        one_survey=(found_row == left_row) & (found_row >= 0),
        moved=moved[of_session],
        chained=chained,
        regime_found=_counts_at_or_before(resets.days, resets.series, of_series, days),
        regime_left=_counts_at_or_before(resets.local_day.astype(np.float64), resets.series, of_series, local_day),
    )
    return Assembled(visits, of_session, found_row, left_row)
