"""Which surveys count as found and left: small cases worked by hand from the rules of the record."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.trend.assembly import AS_FOUND, AS_LEFT, INTERIM, NO_MOVE, Assembled, Measured, Resets, Sessions, assemble

NONE = np.empty(0)
NO_RESETS = Resets(NONE.astype(np.int64), NONE, NONE.astype(np.int64))


def made(
    rows: list[tuple[int, int, int, int, float]],
    *,
    moves: dict[int, tuple[int, int]] | None = None,
    resets: Resets = NO_RESETS,
    has_zero_moves: tuple[int, ...] = (),
) -> Assembled:
    """Rows are (session, survey number, phase, series, value); one line, one session every 365.25 days."""
    moves = moves or {}
    n = max(row[0] for row in rows) + 1
    sessions = Sessions(
        line=np.zeros(n, dtype=np.int64),
        days=np.arange(n) * 365.25,
        local_day=np.floor(np.arange(n) * 365.25).astype(np.int64),
        has_moves=np.array([i in moves or i in has_zero_moves for i in range(n)]),
        first_move_after=np.array([moves.get(i, (NO_MOVE, -1))[0] for i in range(n)]),
        last_move_after=np.array([moves.get(i, (NO_MOVE, -1))[1] for i in range(n)]),
    )
    column = [np.array(c) for c in zip(*rows, strict=True)]
    measured = Measured(
        column[0], column[1], column[2], column[3], column[4].astype(float), np.ones(len(rows)), np.full(len(rows), 0.4)
    )
    return assemble(sessions, measured, resets, sessions.days / 365.25)


def test_as_found_and_as_left_of_a_realigned_session_are_its_first_and_last_survey() -> None:
    visits = made([(0, 1, AS_LEFT, 0, -10.0), (1, 1, AS_FOUND, 0, -60.0), (1, 2, AS_LEFT, 0, -12.0)]).visits
    assert np.isnan(visits.found_um[0])
    assert visits.left_um[0] == -10.0
    assert (visits.found_um[1], visits.left_um[1]) == (-60.0, -12.0)
    assert visits.moved.tolist() == [True, True]
    assert visits.chained.tolist() == [False, True]


def test_an_interim_survey_alone_moved_nothing_and_is_found_and_left_at_once() -> None:
    visits = made([(0, 1, AS_LEFT, 0, 0.0), (1, 1, INTERIM, 0, -20.0)]).visits
    assert visits.one_survey.tolist() == [False, True]
    assert visits.moved.tolist() == [True, False]


def test_a_later_session_with_an_as_left_only_ends_no_interval() -> None:
    visits = made([(0, 1, AS_FOUND, 0, 0.0), (1, 1, AS_LEFT, 0, 5.0)]).visits
    assert np.isnan(visits.found_um[1])
    assert visits.left_um[1] == 5.0


def test_a_station_read_between_two_rounds_of_moves_counts_for_neither() -> None:
    rows = [(0, 1, AS_FOUND, 0, 1.0), (0, 2, INTERIM, 0, 2.0), (0, 2, INTERIM, 1, 7.0), (0, 3, AS_LEFT, 0, 3.0)]
    built = made(rows, moves={0: (1, 2)})
    assert built.visits.series.tolist() == [0]
    assert (built.visits.found_um[0], built.visits.left_um[0]) == (1.0, 3.0)


def test_a_move_that_was_never_measured_leaves_the_station_unknown() -> None:
    visits = made([(0, 1, AS_FOUND, 0, -80.0)], moves={0: (1, 1)}).visits
    assert visits.found_um[0] == -80.0
    assert np.isnan(visits.left_um[0])


def test_moves_of_zero_moved_nothing() -> None:
    visits = made([(0, 1, AS_FOUND, 0, 4.0), (0, 2, AS_LEFT, 0, 5.0)], has_zero_moves=(0,)).visits
    assert not visits.moved[0]


def test_an_interval_does_not_reach_over_a_session_that_moved_the_line_without_reading_the_station() -> None:
    rows = [
        (0, 1, AS_LEFT, 0, 0.0), (0, 1, AS_LEFT, 1, 0.0), (1, 1, AS_FOUND, 1, 3.0), (1, 2, AS_LEFT, 1, 0.0),
        (2, 1, AS_FOUND, 0, 9.0), (2, 1, AS_FOUND, 1, 2.0),
    ]  # fmt: skip
    visits = made(rows).visits
    assert visits.series.tolist() == [0, 0, 1, 1, 1]
    assert visits.chained.tolist() == [False, False, False, True, True]


@pytest.mark.parametrize(
    ("day_of_event", "found", "left"),
    [(100.0, [0, 1], [0, 1]), (365.0, [0, 1], [0, 1]), (365.5, [0, 0], [0, 1]), (400.0, [0, 0], [0, 0])],
)
def test_an_event_on_the_day_of_a_visit_after_its_start_lies_between_found_and_left(
    day_of_event: float, found: list[int], left: list[int]
) -> None:
    resets = Resets(np.array([0]), np.array([day_of_event]), np.array([int(day_of_event)]))
    rows = [(0, 1, AS_LEFT, 0, 0.0), (1, 1, AS_FOUND, 0, 1.0), (1, 2, AS_LEFT, 0, 0.0)]
    visits = made(rows, resets=resets).visits
    assert visits.regime_found.tolist() == found
    assert visits.regime_left.tolist() == left


def test_an_event_of_one_series_does_not_touch_another() -> None:
    resets = Resets(np.array([1]), np.array([10.0]), np.array([10]))
    rows = [(1, 1, AS_FOUND, 0, 1.0), (1, 1, AS_FOUND, 1, 1.0), (0, 1, AS_FOUND, 0, 0.0)]
    visits = made(rows, resets=resets).visits
    assert visits.series.tolist() == [0, 0, 1]
    assert visits.regime_found.tolist() == [0, 0, 1]
