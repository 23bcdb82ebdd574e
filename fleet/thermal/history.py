"""What past runs teach beyond the heat model: a line's own record, and the same shrunk over lines.

Works on one value per place and run: measured minus modelled, with its weight. Each value's prediction leaves out the
whole run it belongs to, also where the run takes part in the pooled parameters; all of it in sums, so that ten
thousand lines take no longer than one pass over their values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.thermal.keys import numbered
from fleet.values import FloatArray, IntArray

_SCATTER_PRIOR: Final = 4.0
"""Degrees of freedom at which what is stated of single runs is believed for the scatter between them."""
_SPREAD_PRIOR: Final = 2.0
"""Degrees of freedom at which a place's departure is believed as large as a value's own uncertainty."""
_FLEET_LINES: Final = 1.0
"""What lines of other cohorts say counts as much as this many lines of the cohort."""


@dataclass(frozen=True, slots=True)
class Values:
    """Measured minus modelled, one element a place and run (u,).

    Attributes
    ----------
    place, run : int arrays
    value_um : array [um]
    weight : array
        1 / (u^2 + the model's u^2). [1/um^2]
    """

    place: IntArray
    run: IntArray
    value_um: FloatArray
    weight: FloatArray


@dataclass(frozen=True, slots=True)
class History:
    """A correction to the heat model for every place, from all values and for every value from the other runs.

    Attributes
    ----------
    correction_um, u_correction_um : (p,) arrays
        NaN where nothing speaks for it. [um]
    without_um : (u,) array
        For each value, the correction of its place without that value's run; NaN where nothing is left. [um]
    """

    correction_um: FloatArray
    u_correction_um: FloatArray
    without_um: FloatArray


@dataclass(frozen=True, slots=True)
class PooledHistory(History):
    """What `pooled` learnt, with the parameters behind it.

    Attributes
    ----------
    scatter : (p,) array
        By how much the runs of one place scatter, as a share of their stated variance 1 / weight; NaN without any.
    spread_um2 : (p,) array
        Variance between the places of a cohort. [um^2]
    lines : (p,) array
        How many lines the cohort's mean counts as.
    weight : (p,) array
        Sum of the place's weights. [1/um^2]
    """

    scatter: FloatArray
    spread_um2: FloatArray
    lines: FloatArray
    weight: FloatArray

    def u_after_um(self, more: FloatArray) -> FloatArray:
        """Return the standard uncertainty of the correction once runs of this much more weight are known.

        Parameters
        ----------
        more : (p,) array [1/um^2]

        Returns
        -------
        (p,) array
            [um]
        """
        weight = self.weight + more
        own_um2 = self.scatter / np.where(weight > 0.0, weight, 1.0)
        share = np.where(weight > 0.0, self.spread_um2 / (self.spread_um2 + own_um2), 0.0)
        return _u_shrunk(share, self.spread_um2, self.lines)


def own_record(values: Values, *, places: int) -> History:
    """Return each place's own weighted mean of measured minus modelled.

    Parameters
    ----------
    values : Values
    places : int
        Number of places; `values.place` lies below it.

    Returns
    -------
    History
        Uncertainty 1 / sqrt(sum of weights).

    References
    ----------
    Weighted mean with weights 1 / u^2.
    """
    p, w = values.place, values.weight
    n = np.bincount(p, minlength=places)
    total = np.bincount(p, w, places)
    first = np.bincount(p, w * values.value_um, places)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n > 0, first / total, np.nan)
        u = np.where(n > 0, 1.0 / np.sqrt(total), np.nan)
        without = np.where(n[p] > 1, (first[p] - w * values.value_um) / (total[p] - w), np.nan)
    return History(mean, u, without)


@dataclass(frozen=True, slots=True)
class _PlaceSums:
    """Sums over the values of one place, here of every place or of every value's place without it."""

    n: FloatArray
    weight: FloatArray
    mean: FloatArray
    squares: FloatArray  # weighted squares about the mean
    inverse: FloatArray  # sum of 1 / weight
    stated: FloatArray  # sum of the shares of 1 / weight that differ from run to run

    def additive(self) -> FloatArray:
        """Return the terms that add up over places, (10, n): see `_Pool`."""
        there = self.n > 0
        return np.stack(
            (
                self.weight,
                self.weight * self.mean,
                self.weight * self.mean**2,
                self.weight**2,
                there.astype(np.float64),
                self.squares,
                np.maximum(self.n - 1.0, 0.0),
                self.n,
                self.inverse,
                self.stated,
            )
        )


@dataclass(frozen=True, slots=True)
class _Pool:
    """Pooled parameters: scatter between runs (a factor), spread between places, expected value, weight of lines."""

    scatter: FloatArray
    spread_um2: FloatArray
    expected_um: FloatArray
    lines: FloatArray


def pooled(
    values: Values, *, line: IntArray, cohort: IntArray, axis: IntArray, stated: FloatArray | None = None
) -> PooledHistory:
    """Return each place's mean of measured minus modelled, shrunk toward lines of its cohort, and these to the fleet.

    A place departs from the heat model by theta, normal about its cohort's mean with a spread tau common to the axis;
    its runs scatter about theta by phi / weight. The cohort's mean is the mean over lines, a line counting n / (n + 1)
    for its n runs, and the fleet's mean counting as one line more. phi is the pooled within-place estimate, tau^2 the
    method of moments; each leans on a prior of few degrees of freedom (phi = the mean of `stated`, tau^2 = the mean
    1 / weight) so that a young fleet has figures too. A place without runs takes its cohort's mean.

    Parameters
    ----------
    values : Values
    line, cohort, axis : (p,) int arrays
        Of every place, not negative. Lines of one cohort are alike; bores of a twin need cohorts of their own.
    stated : (u,) array or None
        Which share of each value's variance 1 / weight differs from run to run by what is stated; the rest is the
        place's own error of the model, alike in all its runs. None: all of it.

    Returns
    -------
    PooledHistory
        NaN where no value on that axis is left anywhere.

    References
    ----------
    DerSimonian and Laird (1986), Controlled Clinical Trials 7, 177-188 (tau^2); Efron and Morris (1975), J. American
    Statistical Association 70, 311-319 (shrinkage).
    """
    places = line.size
    axes = int(axis.max(initial=0)) + 1
    cohort_of, first = numbered(axis, cohort)
    axis_of_cohort, cohorts = axis[first], first.size
    team_of, first = numbered(cohort_of, line)  # a team: the places of one line in one cohort and axis
    cohort_of_team, teams = cohort_of[first], first.size

    p = values.place
    share = np.ones(values.value_um.size) if stated is None else stated
    whole = _sums_of_places(values, share, places)
    left = _sums_without(values, share, whole)

    # Everything below the axis adds up over cohorts, below the cohort over places and lines: taking a run out of it
    # is one subtraction per level.
    terms = whole.additive()
    by_cohort = _add(terms, cohort_of, cohorts)
    by_team = _team_terms(terms, whole.mean, team_of, teams)
    team_mean, team_weight = _team_mean(by_team)
    cohort_lines = _add(np.stack((team_weight, team_weight * team_mean)), cohort_of_team, cohorts)
    by_axis = _add(_cohort_terms(by_cohort), axis_of_cohort, axes)
    axis_lines = _add(cohort_lines, axis_of_cohort, axes)
    pool = _pool(by_axis[:, axis_of_cohort], cohort_lines, axis_lines[:, axis_of_cohort])
    correction, u = _shrunk(whole, pool, cohort_of)

    # A leaving: one run's values in one team, then in one cohort, then on one axis.
    change = left.additive() - terms[:, p]
    leaving_team, first_team = numbered(team_of[p], values.run)
    leaving_cohort, first_cohort = numbered(cohort_of[p], values.run)
    leaving_axis, first_axis = numbered(axis[p], values.run)
    team, cohort_in, axis_in = team_of[p][first_team], cohort_of[p][first_cohort], axis[p][first_axis]
    n_team, n_cohort, n_axis = team.size, cohort_in.size, axis_in.size
    cohort_of_leaving_team = leaving_cohort[first_team]
    axis_of_leaving_cohort = leaving_axis[first_cohort]

    means_change = np.where(left.n > 0, left.mean, 0.0) - whole.mean[p]
    team_left = by_team[:, team] + _add(np.stack((change[4], means_change, change[7])), leaving_team, n_team)
    mean_left, weight_left = _team_mean(team_left)
    lines_change = np.stack(
        (weight_left - team_weight[team], weight_left * mean_left - team_weight[team] * team_mean[team])
    )
    cohort_lines_change = _add(lines_change, cohort_of_leaving_team, n_cohort)
    cohort_left = by_cohort[:, cohort_in] + _add(change, leaving_cohort, n_cohort)
    axis_change = _cohort_terms(cohort_left) - _cohort_terms(by_cohort)[:, cohort_in]
    axis_left = by_axis[:, axis_in] + _add(axis_change, axis_of_leaving_cohort, n_axis)
    axis_lines_left = axis_lines[:, axis_in] + _add(cohort_lines_change, axis_of_leaving_cohort, n_axis)
    pool_left = _pool(
        axis_left[:, axis_of_leaving_cohort],
        cohort_lines[:, cohort_in] + cohort_lines_change,
        axis_lines_left[:, axis_of_leaving_cohort],
    )
    without, _ = _shrunk(left, pool_left, leaving_cohort)
    return PooledHistory(
        correction_um=correction,
        u_correction_um=u,
        without_um=without,
        scatter=np.where(np.isnan(correction), np.nan, pool.scatter[cohort_of]),
        spread_um2=pool.spread_um2[cohort_of],
        lines=pool.lines[cohort_of],
        weight=whole.weight,
    )


def _add(terms: FloatArray, into: IntArray, size: int) -> FloatArray:
    return np.stack([np.bincount(into, row, size).astype(np.float64) for row in terms])


def _sums_of_places(values: Values, share: FloatArray, places: int) -> _PlaceSums:
    p, w, d = values.place, values.weight, values.value_um
    n = np.bincount(p, minlength=places).astype(np.float64)
    weight = _add(w[None], p, places)[0]
    mean: FloatArray = np.bincount(p, w * d, places) / np.where(n > 0, weight, 1.0)
    squares = _add((w * (d - mean[p]) ** 2)[None], p, places)[0]
    inverse, stated = _add(np.stack((1.0 / w, share)), p, places)
    return _PlaceSums(n, weight, mean, squares, inverse, stated)


def _sums_without(values: Values, share: FloatArray, whole: _PlaceSums) -> _PlaceSums:
    p, w, d = values.place, values.weight, values.value_um
    n = whole.n[p] - 1.0
    some = n > 0
    weight = np.where(some, whole.weight[p] - w, 0.0)
    divisor = np.where(some, weight, 1.0)
    departure = d - whole.mean[p]
    return _PlaceSums(
        n=n,
        weight=weight,
        mean=np.where(some, whole.mean[p] - w * departure / divisor, 0.0),
        squares=np.where(some, np.maximum(whole.squares[p] - w * departure**2 * (1.0 + w / divisor), 0.0), 0.0),
        inverse=np.where(some, whole.inverse[p] - 1.0 / w, 0.0),
        stated=np.where(some, whole.stated[p] - share, 0.0),
    )


def _team_terms(terms: FloatArray, mean: FloatArray, team_of: IntArray, teams: int) -> FloatArray:
    """Return places with values, sum of their means, and runs: (3, teams)."""
    return _add(np.stack((terms[4], mean, terms[7])), team_of, teams)


def _team_mean(by_team: FloatArray) -> tuple[FloatArray, FloatArray]:
    there, means, runs = by_team
    some = there > 0.5
    divisor = np.where(some, there, 1.0)
    n = np.where(some, runs, 0.0) / divisor
    return np.where(some, means, 0.0) / divisor, n / (n + 1.0)


def _cohort_terms(by_cohort: FloatArray) -> FloatArray:
    """Return what tau^2 and phi need of each cohort, (8, c): Q, C, places - 1, and five plain sums."""
    weight, first, second, squared_weight, there, squares, dof, n, inverse, stated = by_cohort
    some = there > 0.5
    divisor = np.where(some, weight, 1.0)
    q = np.where(some, np.maximum(second - first**2 / divisor, 0.0), 0.0)
    c = np.where(some, np.maximum(weight - squared_weight / divisor, 0.0), 0.0)
    return np.stack((q, c, np.where(some, there - 1.0, 0.0), squares, dof, n, inverse, stated))


def _pool(by_axis: FloatArray, cohort_lines: FloatArray, axis_lines: FloatArray) -> _Pool:
    q, c, degrees, squares, dof, n, inverse, stated = by_axis
    divisor = np.where(n > 0.5, n, 1.0)
    scatter = (_SCATTER_PRIOR * np.where(n > 0.5, stated / divisor, 1.0) + squares) / (_SCATTER_PRIOR + dof)
    prior_um2 = inverse / divisor
    several = degrees > 0.5
    moments_um2 = np.where(several, np.maximum(q - scatter * degrees, 0.0) / np.where(several, c, 1.0), 0.0)
    spread_um2 = (_SPREAD_PRIOR * prior_um2 + degrees * moments_um2) / (_SPREAD_PRIOR + degrees)
    some = axis_lines[0] > 1e-9  # the least a line can count is a half
    fleet_um = np.where(some, axis_lines[1] / np.where(some, axis_lines[0], 1.0), np.nan)
    lines = np.where(cohort_lines[0] > 1e-9, cohort_lines[0], 0.0)
    first = np.where(lines > 0.0, cohort_lines[1], 0.0)
    return _Pool(scatter, spread_um2, (first + _FLEET_LINES * fleet_um) / (lines + _FLEET_LINES), lines)


def _shrunk(sums: _PlaceSums, pool: _Pool, of: IntArray) -> tuple[FloatArray, FloatArray]:
    spread_um2, expected = pool.spread_um2[of], pool.expected_um[of]
    some = sums.n > 0
    own_um2 = pool.scatter[of] / np.where(some, sums.weight, 1.0)
    share = np.where(some, spread_um2 / (spread_um2 + own_um2), 0.0)
    correction = np.where(some, share * sums.mean, 0.0) + (1.0 - share) * expected
    u = _u_shrunk(share, spread_um2, pool.lines[of])
    return correction, np.where(np.isnan(correction), np.nan, u)


def _u_shrunk(share: FloatArray, spread_um2: FloatArray, lines: FloatArray) -> FloatArray:
    u_expected_um2 = spread_um2 / (lines + _FLEET_LINES)
    u: FloatArray = np.sqrt((1.0 - share) * spread_um2 + (1.0 - share) ** 2 * u_expected_um2)
    return u
