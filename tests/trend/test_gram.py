"""Segments laid side by side, and their inner products against dense linear algebra."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from trend_fleet import simulated

from fleet.trend import Intervals, Series, intervals
from fleet.trend.gls import Segments, gram, segments, sums
from fleet.values import FloatArray


def fleet_of(seed: int = 21) -> tuple[Series, Intervals, Segments]:
    """Return a small fleet whose segments differ in length, some with events inside."""
    series, visits, _ = simulated(lines=6, visits=7, seed=seed, stations=2)
    found = intervals(visits)
    rng = np.random.default_rng(seed)
    across = rng.random(found.series.size) < 0.15
    regime = np.zeros(found.series.size, dtype=np.int64)
    for of in np.unique(found.series):
        rows = np.flatnonzero(found.series == of)
        regime[rows] = np.cumsum(np.r_[False, across[rows][:-1]])
    found = dataclasses.replace(found, across_event=across, regime=regime)
    use = rng.random(found.series.size) < 0.9
    return series, found, segments(found, use, np.zeros(found.series.size))


def dense(laid: Segments, segment: int, sigma2: float) -> FloatArray:
    count = int(laid.count[segment])
    covariance = np.diag(sigma2 * laid.years[:count, segment] + laid.var_um2[:count, segment])
    beside = laid.cov_next_um2[: count - 1, segment]
    return np.asarray(covariance + np.diag(beside, 1) + np.diag(beside, -1))


def test_inner_products_are_those_of_the_dense_inverse() -> None:
    _, _, laid = fleet_of()
    assert np.unique(laid.count).size > 3
    assert np.any(laid.cov_next_um2 != 0.0)
    rng = np.random.default_rng(22)
    sigma2 = rng.uniform(50.0, 900.0, laid.series.size)
    held = laid.index >= 0
    columns = [laid.years, *(np.where(held, rng.standard_normal(laid.years.shape), 0.0) for _ in range(3))]
    got = gram(laid, sigma2, columns)
    assert got.shape == (laid.series.size, 4, 4)
    for segment in range(laid.series.size):
        count = int(laid.count[segment])
        table = np.stack([column[:count, segment] for column in columns], axis=1)
        theirs = table.T @ np.linalg.inv(dense(laid, segment, sigma2[segment])) @ table
        assert got[segment] == pytest.approx(theirs, rel=1e-9, abs=1e-12)


def test_the_sums_are_inner_products_and_the_determinant_of_the_dense_matrix() -> None:
    _, _, laid = fleet_of(seed=23)
    got = sums(laid, 400.0)
    for segment in range(laid.series.size):
        covariance = dense(laid, segment, 400.0)
        count = int(laid.count[segment])
        years, moved = laid.years[:count, segment], laid.moved_um[:count, segment]
        inverse = np.linalg.inv(covariance)
        theirs = [years @ inverse @ years, years @ inverse @ moved, moved @ inverse @ moved]
        assert [got.a[segment], got.b[segment], got.c[segment]] == pytest.approx(theirs, rel=1e-9)
        assert got.log_det[segment] == pytest.approx(np.linalg.slogdet(covariance)[1], rel=1e-12)


def test_no_column_and_no_segment_give_empty_products() -> None:
    _, found, laid = fleet_of()
    assert gram(laid, 100.0, []).shape == (laid.series.size, 0, 0)
    none = segments(found, np.zeros(found.series.size, dtype=np.bool_), np.zeros(found.series.size))
    assert gram(none, 100.0, [none.years, none.moved_um]).shape == (0, 2, 2)


def test_every_chosen_interval_that_crosses_no_event_stands_in_one_place() -> None:
    _, found, laid = fleet_of()
    places = laid.index[laid.index >= 0]
    assert np.unique(places).size == places.size == np.sum(laid.count)
    assert not np.any(found.across_event[places])
    segment = np.nonzero(laid.index >= 0)[1]
    assert np.sort(laid.moved_um[laid.index >= 0]) == pytest.approx(np.sort(found.moved_um[places]))
    assert np.all(found.regime[places] == laid.regime[segment])
    assert np.all(found.series[places] == laid.series[segment])
    assert found.series[laid.last].tolist() == laid.series.tolist()


def test_added_variance_lies_on_the_diagonal_and_leaves_the_rest_alone() -> None:
    _, _, laid = fleet_of()
    extra = np.where(laid.index >= 0, np.random.default_rng(24).uniform(0.0, 500.0, laid.years.shape), 0.0)
    more = laid.with_more(extra)
    for segment in range(laid.series.size):
        added = dense(more, segment, 30.0) - dense(laid, segment, 30.0)
        assert added == pytest.approx(np.diag(extra[: laid.count[segment], segment]))
    assert more.moved_um is laid.moved_um
    # An interval of all but boundless variance says nothing: its segment's products are those without it.
    silent = np.zeros(laid.years.shape)
    chosen = int(np.argmax(laid.count))
    silent[0, chosen] = 1e12
    theirs = np.linalg.inv(dense(laid, chosen, 30.0)[1:, 1:])
    years = laid.years[1 : laid.count[chosen], chosen]
    assert sums(laid.with_more(silent), 30.0).a[chosen] == pytest.approx(years @ theirs @ years, rel=1e-6)


def test_other_movements_go_to_their_own_places() -> None:
    _, found, laid = fleet_of()
    moved = np.linspace(1000.0, 1000.0 + found.series.size - 1.0, found.series.size)
    other = laid.moved_by(moved)
    held = laid.index >= 0
    assert other.moved_um[held] == pytest.approx(1000.0 + laid.index[held])
    assert np.all(other.moved_um[~held] == 0.0)
    back = other.moved_by(found.moved_um)
    assert back.moved_um.tolist() == laid.moved_um.tolist()


def test_picked_segments_say_what_they_said_among_the_others() -> None:
    _, _, laid = fleet_of()
    pick = np.array([7, 0, 3])
    few = laid.picked(pick)
    whole, part = sums(laid, 200.0), sums(few, 200.0)
    for name in ("a", "b", "c", "log_det", "last_pivot", "last_years", "last_moved"):
        assert getattr(part, name).tolist() == getattr(whole, name)[pick].tolist()
    assert few.series.tolist() == laid.series[pick].tolist()
    assert few.last.tolist() == laid.last[pick].tolist()
    assert few.index.tolist() == laid.index[:, pick].tolist()
