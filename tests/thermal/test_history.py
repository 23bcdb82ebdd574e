"""What runs teach: weighted means by hand, pooling against its limits, and leaving a run out whole."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.thermal.history import Values, own_record, pooled
from fleet.values import FloatArray, IntArray


def ints(*values: int) -> IntArray:
    return np.array(values, dtype=np.int64)


def fleet(rng: np.random.Generator, lines: int, runs: int, sd_line: float, sd_run: float) -> tuple[Values, FloatArray]:
    """Two places a line, each run measured at both."""
    true = 40.0 + sd_line * rng.standard_normal(2 * lines)
    place, run = (a.ravel() for a in np.meshgrid(np.arange(2 * lines), np.arange(runs), indexing="ij"))
    value = true[place] + sd_run * rng.standard_normal(place.size)
    return Values(place, (place // 2) * runs + run, value, np.full(place.size, sd_run**-2.0)), true


def everything_alike(lines: int) -> dict[str, IntArray]:
    zeros = np.zeros(2 * lines, dtype=np.int64)
    return {"line": np.arange(2 * lines) // 2, "cohort": zeros, "axis": zeros}


def test_a_lines_own_record_is_its_weighted_mean() -> None:
    # by hand: (10/1 + 40/4) / (1/1 + 1/4) = 16; without the first 40, without the second 10
    found = own_record(Values(ints(0, 0), ints(0, 1), np.array([10.0, 40.0]), np.array([1.0, 0.25])), places=2)
    assert found.correction_um[0] == pytest.approx(16.0)
    assert found.u_correction_um[0] == pytest.approx(np.sqrt(0.8))
    np.testing.assert_allclose(found.without_um, [40.0, 10.0])
    assert np.isnan(found.correction_um[1])


def test_leaving_the_only_run_out_leaves_no_figure() -> None:
    one = Values(ints(0, 1), ints(0, 0), np.array([10.0, 12.0]), np.array([1.0, 1.0]))
    assert np.isnan(own_record(one, places=2).without_um).all()
    alone = pooled(one, line=ints(0, 0), cohort=ints(0, 0), axis=ints(0, 0))
    assert np.isnan(alone.without_um).all()
    assert np.isfinite(alone.correction_um).all()


def test_a_run_left_out_is_as_if_it_had_never_been() -> None:
    # cohorts, axes, two bores of one line (two cohorts), ragged runs: each run taken away, everything done again
    rng = np.random.default_rng(1)
    line = np.repeat(np.arange(6), 4)
    axis = np.tile(ints(0, 0, 1, 1), 6)
    cohort = np.repeat(ints(0, 0, 0, 1, 1, 2), 4)
    cohort[1::8] = 3
    place, run, runs = [], [], 0
    for which, count in enumerate((1, 3, 2, 4, 1, 2)):
        for _ in range(count):
            seen = [4 * which + k for k in range(4) if rng.random() < 0.85]
            place += seen
            run += [runs] * len(seen)
            runs += 1
    values = Values(
        np.array(place), np.array(run), rng.normal(20.0, 30.0, len(place)), rng.uniform(10.0, 30.0, len(place)) ** -2
    )
    whole = pooled(values, line=line, cohort=cohort, axis=axis)
    for out in range(runs):
        keep = values.run != out
        rest = Values(values.place[keep], values.run[keep], values.value_um[keep], values.weight[keep])
        again = pooled(rest, line=line, cohort=cohort, axis=axis)
        np.testing.assert_allclose(whole.without_um[~keep], again.correction_um[values.place[~keep]], rtol=1e-9)


def test_lines_that_are_alike_lend_each_other_nearly_everything() -> None:
    # synthetic truth: lines do not differ, runs scatter by 30 um: the cohort's mean beats a line's own mean of two runs
    values, true = fleet(np.random.default_rng(5), 200, 2, 0.0, 30.0)
    found = pooled(values, **everything_alike(200)).correction_um
    own = own_record(values, places=400).correction_um
    assert np.sqrt(np.mean((found - true) ** 2)) < 0.3 * np.sqrt(np.mean((own - true) ** 2))


def test_lines_that_differ_keep_their_own_record() -> None:
    # synthetic truth: lines differ by 100 um, runs by 5: shrinking is slight
    values, true = fleet(np.random.default_rng(6), 200, 3, 100.0, 5.0)
    found = pooled(values, **everything_alike(200)).correction_um
    own = own_record(values, places=400).correction_um
    assert np.max(np.abs(found - own)) < 2.0
    assert np.sqrt(np.mean((found - true) ** 2)) < 4.0


def test_shrinking_beats_both_extremes_and_its_uncertainty_is_what_it_misses_by() -> None:
    # synthetic truth: lines differ by 20 um, the mean of two runs by 21: the best share is about a half
    # (Efron and Morris 1975: risk below that of the separate means)
    values, true = fleet(np.random.default_rng(8), 400, 2, 20.0, 30.0)
    found = pooled(values, **everything_alike(400))
    miss = np.sqrt(np.mean((found.correction_um - true) ** 2))
    own_miss = np.sqrt(np.mean((own_record(values, places=800).correction_um - true) ** 2))
    assert miss < 0.8 * own_miss
    assert miss < 0.8 * 20.0
    # theory: sqrt(20^2 x 450 / (20^2 + 450)) = 14.5 um
    assert miss == pytest.approx(14.55, rel=0.08)
    np.testing.assert_allclose(found.u_correction_um, miss, rtol=0.1)


def test_a_line_without_runs_takes_its_cohorts_mean_and_not_another_cohorts() -> None:
    rng = np.random.default_rng(9)
    values, _ = fleet(rng, 60, 3, 5.0, 10.0)
    other = Values(values.place, values.run, values.value_um + np.where(values.place < 60, 0.0, 100.0), values.weight)
    line = np.append(np.arange(120) // 2, [60, 61])
    cohort = np.append(np.repeat(ints(0, 1), 60), ints(0, 1))
    found = pooled(other, line=line, cohort=cohort, axis=np.zeros(122, dtype=np.int64))
    first, second = found.correction_um[-2:]
    assert first == pytest.approx(40.0, abs=6.0)
    assert second == pytest.approx(140.0, abs=6.0)


def test_a_fleet_without_any_run_has_no_figure() -> None:
    none = Values(ints(), ints(), np.array([]), np.array([]))
    found = pooled(none, line=ints(0, 1), cohort=ints(0, 0), axis=ints(0, 1))
    assert np.isnan(found.correction_um).all()
    assert np.isnan(found.u_correction_um).all()
