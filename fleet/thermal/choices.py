"""Five ways to choose a cold offset, each judged against every run it did not know of.

The ways, in the order that ties go by: `none` (zero), `bore_size` (the rule of thumb), `heat_model`, `own_record`
(heat model + this line's mean of measured minus modelled) and `pooled` (the same, shrunk over lines).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import stdtrit

from fleet.errors import InputError
from fleet.thermal.history import History, Values, own_record, pooled
from fleet.thermal.judging import LEAST_RUNS, Choice, Judgement, choose, judge, score_runs
from fleet.thermal.keys import numbered
from fleet.values import BoolArray, FloatArray, IntArray

Way = Literal["none", "bore_size", "heat_model", "own_record", "pooled"]
WAYS: Final[tuple[Way, ...]] = ("none", "bore_size", "heat_model", "own_record", "pooled")
NONE, BORE_SIZE, HEAT_MODEL, OWN_RECORD, POOLED = range(5)
V_AXIS: Final = 0
H_AXIS: Final = 1


@dataclass(frozen=True, slots=True)
class RunRows:
    """What was measured on past runs, flat: one element a line, run, station, axis and check; all arrays (n,).

    Attributes
    ----------
    line, run, station : int arrays
        Any numbering; `run` from `fleet.thermal.measured.group_runs` (unique over the fleet).
    axis : int array
        0 for v, 1 for h.
    cohort : int array
        Which lines are alike: a number for each saddle and size of barrel.
    rise_um, u_rise_um : arrays
        Measured rise relative to the gearbox axis from the cold reference, and its standard uncertainty (above 0).
        Rows with a NaN rise are left aside. [um]
    modelled_um, u_modelled_um : arrays
        Heat model at that run's own temperatures; 0 and 0 for h. NaN where the model does not apply: such a row
        teaches `own_record` its plain rise and `pooled` nothing. [um]
    as_left_um : array
        The cold offset of the last as-left at or before the run; NaN without one. [um]
    watch_um, limit_um : arrays
        Half-widths of the tolerance; NaN without one. [um]
    u_modelled_record_um : array
        The part of `u_modelled_um` that differs from run to run, because it comes from reading temperatures. The rest
        errs alike in all runs of a line, so that its record takes it away. [um]
    counts : bool array
        False: a row that another stands for (a check before the soak whose end is extrapolated): it is kept and shown,
        but nothing is judged by it or learnt from it.
    """

    line: IntArray
    run: IntArray
    station: IntArray
    axis: IntArray
    cohort: IntArray
    rise_um: FloatArray
    u_rise_um: FloatArray
    modelled_um: FloatArray
    u_modelled_um: FloatArray
    as_left_um: FloatArray
    watch_um: FloatArray
    limit_um: FloatArray
    u_modelled_record_um: FloatArray
    counts: BoolArray


@dataclass(frozen=True, slots=True)
class Places:
    """Where a target is wanted: one element a line, station and axis; all arrays (p,).

    Rows of runs at no place here (lines outside the question) still teach `pooled`, but are not judged.

    Attributes
    ----------
    line, station, axis, cohort : int arrays
        As in `RunRows`.
    size : int array
        A number for each bore size, for the judgement per size; negative where unknown.
    bore_size_um : array
        Rule-of-thumb target from `bore_size_target_um` with the plant's own points and shape; NaN without a figure;
        taken as 0 for h. [um]
    model_median_um, u_model_median_um : arrays
        Heat model at the line's median running temperatures; 0 and 0 for h; NaN where it does not apply. [um]
    """

    line: IntArray
    station: IntArray
    axis: IntArray
    cohort: IntArray
    size: IntArray
    bore_size_um: FloatArray
    model_median_um: FloatArray
    u_model_median_um: FloatArray


@dataclass(frozen=True, slots=True)
class Scope:
    """The ways judged over more than one place; axes are judged apart.

    Attributes
    ----------
    key, axis : (g,) int arrays
        The line, the size, or 0 for the fleet; and the axis.
    judgement : Judgement
        Row g of each array belongs to `key[g]`, `axis[g]`; columns in the order of `WAYS`.
    """

    key: IntArray
    axis: IntArray
    judgement: Judgement


@dataclass(frozen=True, slots=True)
class Comparison:
    """The five ways at every place (p) and for every row of past runs (n); columns in the order of `WAYS`.

    Attributes
    ----------
    target_um, u_target_um : (p, 5) arrays
        Cold target each way gives, from all runs; NaN: no figure. The rule of thumb and `none` have no uncertainty of
        their own (NaN). [um]
    row_place : (n,) int array
        Place of each row, -1 where it stands at none.
    ran_um : (n,) array
        Where the line ran: as-left + rise; NaN without an as-left. [um]
    would_have_run_um : (n, 5) array
        Where it would have run with each way that did not know of the row's run; NaN: no figure. [um]
    by_place : Judgement
        (p, 5) arrays.
    by_line, by_size, by_fleet : Scope
        Within a run the mean square over all its rows in the scope, then over runs.
    choice : Choice
        Recommended way at each place; -1 with no target at all.
    expected_running_um, low_um, high_um : (p,) arrays
        Running offset to expect with the recommended target, and its 95 % range: from the way's own record where it
        is judged by enough runs, else from target + the expected rise. NaN where nothing tells. [um]
    """

    target_um: FloatArray
    u_target_um: FloatArray
    row_place: IntArray
    ran_um: FloatArray
    would_have_run_um: FloatArray
    by_place: Judgement
    by_line: Scope
    by_size: Scope
    by_fleet: Scope
    choice: Choice
    expected_running_um: FloatArray
    low_um: FloatArray
    high_um: FloatArray


def compare(rows: RunRows, places: Places) -> Comparison:
    """Return what each way would set, where every past run would have come out with it, and which way to take.

    Parameters
    ----------
    rows : RunRows
        All runs of the fleet, so that `pooled` can learn from every line.
    places : Places
        Each line, station and axis once.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        A rise has no uncertainty above 0, or a place stands there twice.
    """
    known = rows.counts & ~np.isnan(rows.rise_um)
    if not (rows.u_rise_um[known] > 0.0).all():
        raise InputError("a measured rise has no standard uncertainty above 0; give each one in um")
    count = places.line.size
    merged, row_at = _merged(rows, places)
    size = merged.line.size

    median = np.full(size, np.nan)
    median[:count] = np.where(places.axis == H_AXIS, places.model_median_um * 0.0, places.model_median_um)
    asked = np.arange(size) < count
    rise_um = np.where(known, rows.rise_um, np.nan)
    row_modelled = rise_um - rows.modelled_um
    # Where the place has no heat model, its own record is the plain rise of all its runs.
    plain = asked & np.isnan(median)
    row_own = np.where(plain[row_at], rise_um, row_modelled)
    u_model = np.where(plain[row_at] | np.isnan(rows.u_modelled_um), 0.0, rows.u_modelled_um)
    weight = 1.0 / (rows.u_rise_um**2 + u_model**2)

    own_values, own_value_of_row = _values(row_at, rows.run, row_own, weight)
    own = own_record(own_values, places=size)
    # A plain rise is no departure from a model: it teaches the pool nothing.
    departure = np.where(plain[row_at], np.nan, row_modelled)
    pool_values, pool_value_of_row = _values(row_at, rows.run, departure, weight)
    pool = pooled(pool_values, line=merged.line, cohort=merged.cohort, axis=merged.axis)

    target, u_target = _targets(places, median[:count], own, pool)
    judged = known & (row_at < count)
    at = row_at[judged]
    running = np.full((rows.line.size, len(WAYS)), np.nan)
    running[judged] = rows.rise_um[judged, None] + target[at]
    # A row that taught a way nothing is judged by all that was taught, unless its run taught at another place.
    untaught_own = own_value_of_row < 0
    untaught_pool = (pool_value_of_row < 0) & ~np.isin(rows.run, pool_values.run)
    learnt = _learnt(own, own_value_of_row, row_at, untaught_own)
    running[judged, OWN_RECORD] = (rows.rise_um - np.nan_to_num(median[row_at]) - learnt)[judged]
    learnt = _learnt(pool, pool_value_of_row, row_at, untaught_pool)
    running[judged, POOLED] = (rows.rise_um - median[row_at] - learnt)[judged]

    running_judged = running[judged]
    run, watch, limit = rows.run[judged], rows.watch_um[judged], rows.limit_um[judged]
    scores = score_runs(at, run, running_judged, watch, limit)
    by_place = judge(scores, count)

    def scope(key: IntArray, of: IntArray) -> Scope:
        group, first = numbered(key, of)
        judgement = judge(score_runs(group[at], run, running_judged, watch, limit), first.size)
        return Scope(key=key[first], axis=of[first], judgement=judgement)

    choice = choose(scores, by_place, ~np.isnan(target), start_with=(POOLED, HEAT_MODEL, OWN_RECORD, BORE_SIZE))
    expected, low, high = _expected(by_place, choice, target, u_target)
    return Comparison(
        target_um=target,
        u_target_um=u_target,
        row_place=np.where(row_at < count, row_at, -1),
        ran_um=rows.as_left_um + rows.rise_um,
        would_have_run_um=running,
        by_place=by_place,
        by_line=scope(places.line, places.axis),
        by_size=scope(places.size, places.axis),
        by_fleet=scope(np.zeros(count, dtype=np.int64), places.axis),
        choice=choice,
        expected_running_um=expected,
        low_um=low,
        high_um=high,
    )


_REASONS: Final = {
    "least": "{way} came out closest to the axis over {runs} past runs ({rms:.0f} um root mean square)",
    "tie": "{way} cannot be told from {best} over {runs} past runs ({rms:.0f} and {best_rms:.0f} um root mean square), "
    "and comes first in the list",
    "start": "fewer than {least} past runs judge the ways here; {way} is the way to start with",
    "nothing": "no way has a target here; record supports, temperatures or running checks",
}


def why(comparison: Comparison, place: int) -> str:
    """Return the reason for the way recommended at one place, as a sentence without its full stop.

    Parameters
    ----------
    comparison : Comparison
    place : int
        Index into the places compared.

    Returns
    -------
    str
        Names ways by their words in `WAYS`; figures in um.
    """
    choice, judgement = comparison.choice, comparison.by_place
    way, best = int(choice.way[place]), int(choice.best[place])
    if way < 0:
        return _REASONS["nothing"]
    if not choice.judged[place]:
        return _REASONS["start"].format(least=LEAST_RUNS, way=WAYS[way])
    return _REASONS["tie" if choice.tied[place] else "least"].format(
        way=WAYS[way],
        best=WAYS[best],
        runs=int(judgement.runs[place, way]),
        rms=float(judgement.rms_um[place, way]),
        best_rms=float(judgement.rms_um[place, best]),
    )


@dataclass(frozen=True, slots=True)
class _Merged:
    """Every place that is asked for (first, in their order) or only stands in rows."""

    line: IntArray
    cohort: IntArray
    axis: IntArray


def _merged(rows: RunRows, places: Places) -> tuple[_Merged, IntArray]:
    """Return all places and the index of each row's among them."""
    count = places.line.size
    line, cohort, axis = (
        np.concatenate((getattr(places, name), getattr(rows, name))) for name in ("line", "cohort", "axis")
    )
    number, first = numbered(line, np.concatenate((places.station, rows.station)), axis)
    index = np.full(first.size, -1, dtype=np.int64)
    index[number[:count]] = np.arange(count)
    if np.count_nonzero(index >= 0) < count:
        raise InputError("a line, station and axis stands twice among the places; give each once")
    others = index < 0
    index[others] = count + np.arange(int(others.sum()))
    source = np.empty(first.size, dtype=np.int64)
    source[index] = first
    return _Merged(line[source], cohort[source], axis[source]), index[number[count:]]


def _values(row_at: IntArray, run: IntArray, value: FloatArray, weight: FloatArray) -> tuple[Values, IntArray]:
    """Return one value a place and run, and the index of each row's value, -1 where it teaches nothing.

    Rows of one run at one place count as one: their weighted mean, with the mean of their weights.
    """
    use = ~np.isnan(value)
    group, first = numbered(row_at[use], run[use])
    n = np.bincount(group, minlength=first.size)
    w = weight[use]
    total = np.bincount(group, w, first.size)
    mean = np.bincount(group, w * value[use], first.size) / total
    of_row = np.full(row_at.size, -1, dtype=np.int64)
    of_row[use] = group
    return Values(place=row_at[use][first], run=run[use][first], value_um=mean, weight=total / n), of_row


def _learnt(history: History, value_of_row: IntArray, row_at: IntArray, untaught: BoolArray) -> FloatArray:
    """Return, for every row, what its place has learnt from the other runs."""
    learnt = np.full(row_at.size, np.nan)
    taught = value_of_row >= 0
    learnt[taught] = history.without_um[value_of_row[taught]]
    learnt[untaught] = history.correction_um[row_at[untaught]]
    return learnt


def _targets(places: Places, median: FloatArray, own: History, pool: History) -> tuple[FloatArray, FloatArray]:
    count = median.size
    target = np.full((count, len(WAYS)), np.nan)
    target[:, NONE] = 0.0
    target[:, BORE_SIZE] = np.where(places.axis == H_AXIS, places.bore_size_um * 0.0, places.bore_size_um)
    target[:, HEAT_MODEL] = -median
    target[:, OWN_RECORD] = -(np.nan_to_num(median) + own.correction_um[:count])
    target[:, POOLED] = -(median + pool.correction_um[:count])
    u = np.full((count, len(WAYS)), np.nan)
    u[:, HEAT_MODEL] = places.u_model_median_um
    u[:, OWN_RECORD] = own.u_correction_um[:count]
    u[:, POOLED] = pool.u_correction_um[:count]
    return target + 0.0, np.where(np.isnan(target), np.nan, u)  # + 0.0 takes the sign off a zero


def _expected(
    by_place: Judgement, choice: Choice, target: FloatArray, u_target: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the running offset to expect with the recommended targets, and its 95 % range."""
    count = target.shape[0]
    index, way = np.arange(count), np.maximum(choice.way, 0)
    runs = by_place.runs[index, way].astype(np.float64)
    enough = runs >= LEAST_RUNS
    # The next run scatters as the judged ones did, about a mean known from n of them.
    factor = stdtrit(np.maximum(runs - 1.0, 1.0), 0.975)
    own_half = factor * by_place.u_bias_um[index, way] * np.sqrt(runs + 1.0)
    # Without enough runs the best word on the rise is the pooled target, else the heat model's.
    best = np.where(np.isnan(target[:, POOLED]), HEAT_MODEL, POOLED)
    expected = np.where(enough, by_place.bias_um[index, way], target[index, way] - target[index, best])
    half = np.where(enough, own_half, 1.96 * u_target[index, best])
    nothing = choice.way < 0
    expected, half = np.where(nothing, np.nan, expected), np.where(nothing, np.nan, half)
    return expected + 0.0, expected - half, expected + half
