"""Visits to intervals, by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from trend_fleet import first_visits, no_visits, one_series, simulated

from fleet.trend import TrendError, intervals


def test_an_interval_runs_from_the_as_left_to_the_next_as_found() -> None:
    _, visits = one_series([0.0, 1.0, 3.0], [0.0, 30.0, 50.0], [0.0, 5.0, 0.0])
    found = intervals(visits)
    assert found.moved_um.tolist() == [30.0, 45.0]
    assert found.years.tolist() == [1.0, 2.0]
    assert found.var_um2.tolist() == [200.0, 200.0]


def test_neighbours_share_the_set_up_of_the_session_between_them() -> None:
    _, visits = one_series([0.0, 1.0, 2.0, 3.0], [0.0, 3.0, 1.0, 2.0], [0.0, 0.0, 0.0, 0.0], var=100.0, setup=0.4)
    assert intervals(visits).cov_next_um2 == pytest.approx([-40.0, -40.0, 0.0])


def test_neighbours_share_the_whole_variance_of_a_session_that_measured_once() -> None:
    _, visits = one_series([0.0, 1.0, 2.0], [0.0, 3.0, 1.0], var=100.0)
    assert intervals(visits).cov_next_um2.tolist() == [-100.0, 0.0]


def test_no_interval_ends_in_a_session_without_as_found_or_begins_where_the_as_left_is_unknown() -> None:
    nan = float("nan")
    _, visits = one_series([0.0, 1.0, 2.0, 3.0], [1.0, nan, 4.0, 9.0], [1.0, 2.0, nan, 5.0])
    found = intervals(visits)
    assert found.from_visit.tolist() == [1]
    assert found.moved_um.tolist() == [2.0]


def test_a_broken_chain_and_an_event_are_kept_apart() -> None:
    _, visits = one_series(
        [0.0, 1.0, 2.0, 3.0], [0.0] * 4, [0.0] * 4, regime_found=[0, 0, 1, 1], regime_left=[0, 0, 1, 1]
    )
    assert intervals(visits).across_event.tolist() == [False, True, False]
    broken = dataclasses.replace(visits, chained=np.array([True, False, True, True]))
    assert intervals(broken).from_visit.tolist() == [1, 2]


def test_two_sessions_on_one_day_are_an_interval_of_no_length() -> None:
    _, visits = one_series([1.0, 1.0], [0.0, 4.0], [0.0, 0.0])
    assert intervals(visits).years.tolist() == [0.0]


def test_no_visits_give_no_intervals_and_intervals_never_join_two_series() -> None:
    assert intervals(no_visits()).series.size == 0
    series, visits, _ = simulated(lines=3, visits=4, seed=1)
    assert intervals(visits).series.size == series.axis.size * 3
    assert intervals(first_visits(visits, 4, 1)).series.size == 0


def test_unsorted_visits_and_negative_variances_are_refused() -> None:
    _, visits = one_series([1.0, 0.0], [0.0, 4.0])
    with pytest.raises(TrendError, match="visit 1 comes before"):
        intervals(visits)
    _, visits = one_series([0.0, 1.0], [0.0, 4.0], var=-1.0)
    with pytest.raises(TrendError, match="negative"):
        intervals(visits)
