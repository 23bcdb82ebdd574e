"""Five ways to choose a cold offset, each judged against every run it did not know of.

The ways, in the order that ties go by: `none` (zero), `bore_size` (the rule of thumb), `heat_model`, `own_record`
(heat model + this line's mean of measured minus modelled) and `pooled` (the same, shrunk over lines).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from fleet.errors import InputError
from fleet.thermal.history import History, Values, own_record, pooled
from fleet.thermal.judging import LEAST_RUNS, Choice, Judgement, choose, confidence, judge, score_runs
from fleet.thermal.keys import numbered
from fleet.thermal.measured import UNSTATED_U_UM
from fleet.thermal.run_spread import RunSpread, run_spread
from fleet.values import NORMAL_95, BoolArray, FloatArray, IntArray

Way = Literal["none", "bore_size", "heat_model", "own_record", "pooled"]
WAYS: Final[tuple[Way, ...]] = ("none", "bore_size", "heat_model", "own_record", "pooled")
NONE, BORE_SIZE, HEAT_MODEL, OWN_RECORD, POOLED = range(5)
START_WITH: Final = (POOLED, HEAT_MODEL, OWN_RECORD, BORE_SIZE)
"""Ways to take, in this order, where no way is judged by enough runs."""
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
    choice : Choice
        Which way to take there, by the same rule as at a place.
    closest, confidence : (g,) arrays
        From `fleet.thermal.judging.confidence`.
    """

    key: IntArray
    axis: IntArray
    judgement: Judgement
    choice: Choice
    closest: IntArray
    confidence: FloatArray


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
        Running offset to expect with the recommended target, and the 95 % range of the next run: from the way's own
        record where it is judged by enough runs, else from target + the expected rise; the scatter from run to run in
        both. NaN where nothing tells. [um]
    half_with_one_more_um : (p,) array
        Half that range once one more run has been measured at the place. [um]
    half_least_um : (p,) array
        Half that range after endless runs: the scatter alone. [um]
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
    half_with_one_more_um: FloatArray
    half_least_um: FloatArray


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

    u_record = np.where(plain[row_at] | np.isnan(rows.u_modelled_um), 0.0, rows.u_modelled_record_um)
    from_run_to_run = weight * (rows.u_rise_um**2 + u_record**2)

    own_values, own_value_of_row = _values(row_at, rows.run, row_own, weight)
    own = own_record(own_values, places=size)
    # A plain rise is no departure from a model: it teaches the pool nothing.
    departure = np.where(plain[row_at], np.nan, row_modelled)
    pool_values, pool_value_of_row = _values(row_at, rows.run, departure, weight)
    pool = pooled(
        pool_values,
        line=merged.line,
        cohort=merged.cohort,
        axis=merged.axis,
        stated=_mean_of_rows(pool_value_of_row, pool_values.run.size, from_run_to_run),
    )
    # Weights hold the model's whole uncertainty; what of it errs alike in every run is in the record already.
    scatter = np.where(np.isnan(pool.scatter), 1.0, pool.scatter)
    own = replace(own, u_correction_um=own.u_correction_um * np.sqrt(scatter))

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
        scored = score_runs(group[at], run, running_judged, watch, limit)
        judgement = judge(scored, first.size)
        has_target = np.stack(
            [np.bincount(group, column, first.size) > 0.0 for column in (~np.isnan(target)).T], axis=1
        )
        closest, chance = confidence(scored, judgement)
        return Scope(
            key=key[first],
            axis=of[first],
            judgement=judgement,
            choice=choose(scored, judgement, has_target, start_with=START_WITH),
            closest=closest,
            confidence=chance,
        )

    choice = choose(scores, by_place, ~np.isnan(target), start_with=START_WITH)
    of_run, of_run_row = _values(row_at, rows.run, rise_um, weight)
    stated_um2 = _mean_of_rows(of_run_row, of_run.run.size, rows.u_rise_um**2 + u_record**2)
    spread = run_spread(of_run.place, of_run.value_um, stated_um2, merged.axis)
    one_more = _weight_of_one_more(
        pool_values, merged.axis, np.append(places.u_model_median_um, np.full(size - count, np.nan))
    )
    ahead = _expected(by_place, choice, target, u_target, spread, pool.u_after_um(one_more)[:count])
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
        expected_running_um=ahead.expected_um,
        low_um=ahead.expected_um - ahead.half_um,
        high_um=ahead.expected_um + ahead.half_um,
        half_with_one_more_um=ahead.half_with_one_more_um,
        half_least_um=ahead.half_least_um,
    )


_REASONS: Final = {
    "least": "{way} came out closest to the axis over {runs} past runs ({rms:.0f} um root mean square)",
    "tie": "{best} came out closest over {runs} past runs ({best_rms:.0f} um root mean square, {way} {rms:.0f}), but "
    "by no more than the standard error of the difference: a tie, which by rule goes to {way}, the earlier in the list",
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


@dataclass(frozen=True, slots=True)
class _Ahead:
    """What to expect of the next run with the recommended target; (p,) arrays [um]."""

    expected_um: FloatArray
    half_um: FloatArray
    half_with_one_more_um: FloatArray
    half_least_um: FloatArray


def _expected(
    by_place: Judgement,
    choice: Choice,
    target: FloatArray,
    u_target: FloatArray,
    spread: RunSpread,
    u_pooled_after: FloatArray,
) -> _Ahead:
    count = target.shape[0]
    index, way = np.arange(count), np.maximum(choice.way, 0)
    judged = by_place.runs[index, way] >= LEAST_RUNS
    # Without enough runs the best word on the rise is the pooled target, else the heat model's, else the line's own.
    has = ~np.isnan(target)
    best = np.where(has[:, POOLED], POOLED, np.where(has[:, HEAT_MODEL], HEAT_MODEL, OWN_RECORD))
    expected = np.where(judged, by_place.bias_um[index, way], target[index, way] - target[index, best])
    nothing = (choice.way < 0) | np.isnan(expected)
    u_best, runs = u_target[index, best], spread.runs[:count]
    u_after = np.where(best == OWN_RECORD, u_best * np.sqrt(runs / (runs + 1.0)), u_pooled_after)
    # A first run anywhere: what it leaves unknown is told by its own stated scatter.
    u_after = np.where(np.isnan(u_after), u_best, np.fmin(u_after, u_best))
    now = spread.half_um(0.0, np.where(judged, np.nan, u_best))[:count]
    then = spread.half_um(1.0, np.where(judged | (runs + 1.0 >= LEAST_RUNS), np.nan, u_after))[:count]
    return _Ahead(
        expected_um=np.where(nothing, np.nan, expected) + 0.0,
        half_um=np.where(nothing, np.nan, now),
        half_with_one_more_um=np.where(nothing, np.nan, then),
        half_least_um=np.where(nothing, np.nan, NORMAL_95 * np.sqrt(spread.variance_um2[:count])),
    )


def _mean_of_rows(value_of_row: IntArray, size: int, row: FloatArray) -> FloatArray:
    """Return the mean over the rows of every value."""
    taught = value_of_row >= 0
    n = np.bincount(value_of_row[taught], minlength=size)
    mean: FloatArray = np.bincount(value_of_row[taught], row[taught], size) / n
    return mean


def _weight_of_one_more(values: Values, axis: IntArray, u_model_um: FloatArray) -> FloatArray:
    """Return the weight that one more run would have at every place: as those it has, else as the axis has."""
    places, axes = axis.size, int(axis.max(initial=0)) + 1
    n, total = np.bincount(values.place, minlength=places), np.bincount(values.place, values.weight, places)
    of_axis = np.bincount(axis, total, axes) / np.maximum(np.bincount(axis, n, axes), 1)
    stated = 1.0 / (UNSTATED_U_UM**2 + np.nan_to_num(u_model_um) ** 2)
    usual = np.where(of_axis[axis] > 0.0, of_axis[axis], stated)
    return np.where(n > 0, total / np.maximum(n, 1), usual)
