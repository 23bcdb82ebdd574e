"""What similar lines do: rates of one's own by hand, and who counts as similar."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from fleet.trend.records import Intervals, Series, Visits, intervals
from fleet.trend.similar import Alike, OwnRates, alike, own_rates


def _visits(*found_um: float, regime: tuple[int, ...] | None = None, var_um2: float = 25.0) -> Visits:
    """Return one series found at these offsets a year apart, one survey a visit, nothing moved."""
    n = len(found_um)
    value, variance = np.array(found_um), np.full(n, var_um2)
    each = np.array(regime or (0,) * n, dtype=np.int64)
    return Visits(
        series=np.zeros(n, dtype=np.int64), clock_years=np.arange(n, dtype=np.float64),
        days=365.25 * np.arange(n, dtype=np.float64), found_um=value, found_var_um2=variance,
        found_setup_um2=0.4 * variance, left_um=value, left_var_um2=variance, left_setup_um2=0.4 * variance,
        one_survey=np.ones(n, dtype=np.bool_), moved=np.zeros(n, dtype=np.bool_), chained=np.ones(n, dtype=np.bool_),
        regime_found=each, regime_left=each,
    )  # fmt: skip


def _own(found: Intervals, speak: int, *, jump_um2: float = 0.0, sigma_um: float = 0.0) -> tuple[float, float]:
    jumps = np.full(found.series.size, jump_um2)
    own = own_rates(found, np.array([speak], dtype=np.int64), jumps, np.array([sigma_um]))
    return float(own.rate_um[0]), float(own.sd_um[0])


def test_ones_own_rate_is_all_it_moved_over_all_its_years() -> None:
    # 0 -> -10 -> -50 -> -60 in three years; what the two surveys between got wrong cancels: sqrt(25 + 25) / 3.
    assert _own(intervals(_visits(0.0, -10.0, -50.0, -60.0)), 3) == pytest.approx((-20.0, sqrt(50.0) / 3.0), rel=1e-3)


def test_wander_and_jumps_make_ones_own_rate_less_certain() -> None:
    found = intervals(_visits(0.0, -30.0, -60.0))
    # Two years of 16 um^2 a year, and 100 um^2 in each of the two intervals.
    assert _own(found, 2, sigma_um=4.0)[1] == pytest.approx(sqrt(50.0 + 2 * 16.0) / 2.0, rel=1e-3)
    assert _own(found, 2, jump_um2=100.0)[1] == pytest.approx(sqrt(50.0 + 2 * 100.0) / 2.0, rel=1e-3)


def test_only_the_newest_regime_speaks() -> None:
    # The interval from the second to the third visit lies across an event; after it one of 5 um.
    found = intervals(_visits(0.0, -40.0, -80.0, -75.0, regime=(0, 0, 1, 1)))
    assert _own(found, 1) == pytest.approx((5.0, sqrt(50.0)))
    # Without an interval since an event there is nothing to say.
    assert np.isnan(_own(found, 0)).all()


def test_a_series_that_only_stood_still_has_no_rate_of_its_own() -> None:
    visits = _visits(0.0, -10.0)
    still = Visits(**{n: getattr(visits, n) for n in Visits.__dataclass_fields__} | {"clock_years": np.zeros(2)})
    assert np.isnan(_own(intervals(still), 1)).all()


def _alike(
    share: list[float], rate: list[float], line: list[int], *, axis: list[int] | None = None,
    foundation: list[int] | None = None, bore: list[int] | None = None,
) -> Alike:  # fmt: skip
    n = len(share)
    zeros = np.zeros(n, dtype=np.int64)
    series = Series(
        axis=np.array(axis or zeros, dtype=np.int64), share=np.array(share), line=np.array(line, dtype=np.int64),
        foundation=np.array(foundation or zeros, dtype=np.int64), site=zeros,
    )  # fmt: skip
    own = OwnRates(np.array(rate), np.full(n, 5.0))
    return alike(series, own, np.array(line, dtype=np.int64), np.array(bore or zeros, dtype=np.int64))


NAN = float("nan")


def test_other_lines_are_counted_and_ones_own_line_is_not() -> None:
    # 1.96 * 5 = 9.8 um a year: the second line's 9 is not beyond its uncertainty.
    got = _alike([0.9, 0.9, 0.9, 0.9], [-40.0, -9.0, -10.0, 40.0], [0, 1, 2, 3])
    assert (got.lines.tolist(), got.lower.tolist(), got.higher.tolist()) == ([3] * 4, [1, 2, 1, 2], [1, 1, 1, 0])


def test_a_line_speaks_once_in_a_third_by_its_farthest_station() -> None:
    # Line 1 has two stations in the last third: the farther one goes up.
    got = _alike([0.9, 0.7, 0.8], [-40.0, -40.0, 40.0], [0, 1, 1])
    assert (got.lines.tolist(), got.lower.tolist(), got.higher.tolist()) == ([1, 1, 1], [0, 1, 1], [1, 0, 0])


def test_a_line_without_a_record_of_its_own_is_compared_but_not_counted() -> None:
    got = _alike([0.9, 0.9, 0.9], [-40.0, NAN, -40.0], [0, 1, 2])
    assert (got.lines.tolist(), got.lower.tolist()) == ([1, 2, 1], [1, 2, 1])
    nobody = _alike([0.9, 0.9], [NAN, NAN], [0, 1])
    assert (nobody.lines.tolist(), nobody.higher.tolist(), nobody.lower.tolist()) == ([0, 0], [0, 0], [0, 0])


@pytest.mark.parametrize(
    "changed",
    [{"share": [0.9, 0.3]}, {"axis": [0, 1]}, {"foundation": [0, 1]}, {"bore": [0, 1]}],
    ids=["third", "axis", "foundation", "bore"],
)
def test_what_makes_two_lines_unlike(changed: dict[str, list[int]]) -> None:
    same: dict[str, object] = {"share": [0.9, 0.9], "rate": [-40.0, -40.0], "line": [0, 1]}
    assert _alike(**same).lines.tolist() == [1, 1]  # type: ignore[arg-type]
    assert _alike(**same | changed).lines.tolist() == [0, 0]  # type: ignore[arg-type]


def test_a_line_on_an_unrecorded_foundation_is_compared_with_all() -> None:
    got = _alike([0.9] * 4, [-40.0] * 4, [0, 1, 2, 3], foundation=[-1, 0, 0, 1])
    assert got.lines.tolist() == [3, 1, 1, 0]


def test_a_fleet_without_series_has_nothing_to_compare() -> None:
    assert _alike([], [], []).lines.size == 0
