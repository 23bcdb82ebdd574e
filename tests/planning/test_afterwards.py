"""Plan beside deed, and stated chances beside findings."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from fleet.planning import NO_VISIT, PlanError, planned_and_done, score


def test_every_line_is_told_what_became_of_its_plan() -> None:
    nan = np.nan
    deeds = planned_and_done(
        np.array([0, 0, 1, NO_VISIT, NO_VISIT]), np.array([0, 1, NO_VISIT, 1, NO_VISIT]),
        hours_planned=np.array([4.0, 6.0, 5.0, nan, nan]), hours_done=np.array([5.0, 6.5, nan, 3.0, nan]), n_outages=3,
    )  # fmt: skip
    assert deeds.each == ("as_planned", "other_outage", "missed", "extra", "left_as_planned")
    assert deeds.counts == {"as_planned": 1, "left_as_planned": 1, "other_outage": 1, "missed": 1, "extra": 1}
    assert deeds.hours_planned.tolist() == [10.0, 5.0, 0.0]
    assert deeds.hours_done.tolist() == [5.0, 9.5, 0.0]


def test_a_score_is_brier_s() -> None:
    # By hand: (0.1^2 + 0.8^2 + 0.4^2 + 0.6^2) / 4 = 1.17 / 4; half were over: 1 / 4.
    got = score(
        np.array([0.1, 0.2, 0.6, 0.6, np.nan, 0.9]), np.array([False, True, True, False, True, True]),
        looked_at=np.array([True, True, True, True, True, False]),
    )  # fmt: skip
    assert (got.looked_at, got.found) == (4, 2)
    assert got.expected == pytest.approx(1.5)
    assert got.brier == pytest.approx(0.2925)
    assert got.brier_of_rate == pytest.approx(0.25)
    # Bands up to 5 %, 20 %, 50 %, 100 %; 20 % itself belongs to the second.
    assert got.bands.tolist() == [[0, 0, 0], [2, pytest.approx(0.3), 1], [0, 0, 0], [2, pytest.approx(1.2), 1]]


@pytest.mark.parametrize(("found", "chance", "n"), [(9, 0.2, 20), (0, 0.3, 12), (4, 0.2, 20), (20, 0.5, 20)])
def test_the_surprise_of_equal_chances_is_the_binomial_law_s(found: int, chance: float, n: int) -> None:
    """Outside check: scipy.stats.binom."""
    over = np.arange(n) < found
    got = score(np.full(n, chance), over, looked_at=np.ones(n, dtype=np.bool_))
    tails = binom.cdf(found, n, chance), binom.sf(found - 1, n, chance)
    assert got.surprise == pytest.approx(min(1.0, 2.0 * min(tails)))


def test_the_surprise_of_unequal_chances_is_counted_out() -> None:
    # By hand: chances 1/2 and 1/4. None over: 3/8; one: 1/2; both: 1/8, twice that is 1/4.
    got = score(np.array([0.5, 0.25]), np.array([True, True]), looked_at=np.array([True, True]))
    assert got.surprise == pytest.approx(0.25)


def test_chances_that_are_right_surprise_no_more_often_than_they_say() -> None:
    """Synthetic truth: of 400 plans whose chances are right, at most some 5 % surprise at 5 % (three binomial sd)."""
    rng = np.random.default_rng(3)
    rare = 0
    for _ in range(400):
        stated = rng.uniform(0.0, 0.6, 30)
        got = score(stated, rng.random(30) < stated, looked_at=np.ones(30, dtype=np.bool_))
        rare += got.surprise <= 0.05
    assert 0 < rare <= 400 * 0.05 + 3 * np.sqrt(400 * 0.05 * 0.95)


def test_nothing_looked_at_has_no_score() -> None:
    got = score(np.array([0.5]), np.array([False]), looked_at=np.array([False]))
    assert got.looked_at == 0
    assert np.isnan([got.brier, got.brier_of_rate, got.surprise]).all()


def test_what_is_not_a_chance_is_refused() -> None:
    with pytest.raises(PlanError, match="a stated chance of 20 is not a chance; give numbers from 0 to 1"):
        score(np.array([20.0]), np.array([False]), looked_at=np.array([True]))
    with pytest.raises(PlanError, match="2 lines were planned and 1 are said to be done or not; give one of each"):
        planned_and_done(np.zeros(2, dtype=np.int64), np.zeros(1, dtype=np.int64), hours_planned=np.zeros(2),
                         hours_done=np.zeros(2), n_outages=1)  # fmt: skip
