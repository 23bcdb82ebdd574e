"""How instruments and people repeat, from what surveys left over: the measurement system seen by its own record.

Every survey's adjustment leaves residuals: pairs that do not agree with the beam's line, sweeps that are not circles,
closures. Their weighted sum of squares over their degrees of freedom, pooled over surveys, is how a reading repeats.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, fdtrc

from fleet.errors import InputError
from fleet.measure.expanded import coverage_factor
from fleet.values import BoolArray, FloatArray, IntArray

ENOUGH_DOF: Final = 10.0
"""Degrees of freedom from which two stretches of a record are compared."""
_SOME_DOF: Final = 1e-6
"""Fewer are a rounding error of a survey that fits exactly."""
DRIFT_CHANCE: Final = 0.01
"""Chance of calling a steady instrument drifting."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """How every group of surveys repeats; arrays of shape (n_groups,).

    Attributes
    ----------
    surveys
        How many surveys speak for it.
    dof
        Degrees of freedom their residuals left.
    ratio, low, high
        Standard deviation of a reading as a multiple of what is stated, with its 95 % range; NaN without a degree of
        freedom.
    unlike_stated
        Whether that range leaves out 1.
    before, since
        The same ratio in the earlier two thirds of its surveys and in the latest third; NaN where there is too little.
    drifting
        Whether those two differ by more than chance would do in 1 of 100.
    """

    surveys: IntArray
    dof: FloatArray
    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    unlike_stated: BoolArray
    before: FloatArray
    since: FloatArray
    drifting: BoolArray


def repeatability(
    chi2: FloatArray, dof: FloatArray, group: IntArray, when: FloatArray, *, n_groups: int
) -> Repeatability:
    """Pool what surveys left over, by instrument or by technician.

    Parameters
    ----------
    chi2
        Weighted sum of squared residuals of each survey by its stated noise, (n,).
    dof
        Degrees of freedom those have, (n,).
    group
        Which group each survey belongs to, (n,), 0 to n_groups - 1.
    when
        When each was taken, (n,), in any unit.
    n_groups
        How many groups there are.

    Returns
    -------
    Repeatability

    Raises
    ------
    InputError
        The columns differ in length, or a sum of squares or degree of freedom is negative.

    References
    ----------
    Pooled variance and its chi-squared interval, F test of two variances: NIST/SEMATECH e-Handbook of Statistical
    Methods, 1.3.5.8 and 1.3.5.9 (section numbers from memory).
    """
    if not chi2.shape == dof.shape == group.shape == when.shape:
        raise InputError(
            f"{chi2.size} sums of squares, {dof.size} degrees of freedom, {group.size} groups and {when.size} moments "
            "do not belong together; give one of each for every survey."
        )
    if np.any(chi2 < 0) or np.any(dof < 0):
        raise InputError("A sum of squares or a degree of freedom is negative; leave that survey out.")
    total, freedom = _pooled(chi2, group, n_groups), _pooled(dof, group, n_groups)
    ratio, low, high = _interval(total, freedom)

    late = _latest_third(group, when, n_groups)
    parts = [
        (_pooled(chi2[pick], group[pick], n_groups), _pooled(dof[pick], group[pick], n_groups))
        for pick in (~late, late)
    ]
    enough = (parts[0][1] >= ENOUGH_DOF) & (parts[1][1] >= ENOUGH_DOF)
    before, since = (np.where(enough, _root(*part), np.nan) for part in parts)
    with np.errstate(divide="ignore", invalid="ignore"):
        quotient = np.where(enough, since**2 / before**2, 1.0)
    above = fdtrc(np.maximum(parts[1][1], 1.0), np.maximum(parts[0][1], 1.0), quotient)
    drifting = enough & (np.minimum(above, 1.0 - above) < DRIFT_CHANCE / 2.0)
    return Repeatability(
        surveys=np.bincount(group, minlength=n_groups).astype(np.int64),
        dof=freedom,
        ratio=ratio,
        low=low,
        high=high,
        unlike_stated=(low > 1.0) | (high < 1.0),
        before=before,
        since=since,
        drifting=drifting,
    )


def relative_to(chi2: FloatArray, ratio: FloatArray, group: IntArray) -> FloatArray:
    """Return sums of squares by what each instrument was found to do, so that nobody answers for a bad instrument.

    An instrument's figure is what it does in the hands that use it; a person's is what is left beside it. Whoever is
    the only one to use an instrument can therefore not be told from it and comes out as 1.

    Parameters
    ----------
    chi2
        By the stated noise, (n,).
    ratio
        Of every instrument, (n_instruments,), as `repeatability` found it; NaN counts as stated.
    group
        The instrument of each survey, (n,).
    """
    known = np.where(np.isfinite(ratio) & (ratio > 0.0), ratio, 1.0)
    return np.asarray(chi2 / known[group] ** 2, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class ZeroDrift:
    """How an instrument's target zero changes in the axis that drifts more surely.

    Attributes
    ----------
    um_per_year
        Change per year. [um]
    u95_um_per_year
        Its expanded uncertainty; a steady instrument's change is less in both axes with a chance of 95 %. [um]
    """

    um_per_year: float
    u95_um_per_year: float


def zero_drift(
    zero_um: FloatArray, u_zero_um: FloatArray, year: FloatArray, *, stated_um: float | None = None
) -> ZeroDrift | None:
    """Lay a line through the target zeros that surveys could tell.

    The zero is another one in every survey, so the scatter about the line, not what the surveys themselves could tell,
    says how well its slope is known.

    Parameters
    ----------
    zero_um, u_zero_um
        Target zeros in the instrument's own axes and their standard uncertainties, (n, 2); leave out the surveys that
        never turned the target: they know nothing of it.
    year
        When, (n,).
    stated_um
        The instrument's stated target zero, which the adjustment held these zeros to nought with. That pull is taken
        out again, else every drift would look smaller than it is; None where nothing held them.

    Returns
    -------
    ZeroDrift or None
        None with fewer than three surveys or all on one day.

    Raises
    ------
    InputError
        A zero is not known better than stated.

    References
    ----------
    Weighted straight-line fit with the scatter estimated, Student's factor for n - 2; Press et al., Numerical Recipes,
    15.2 (from memory). Both axes held at once: each at the square root of 95 % (Sidak, from memory).
    """
    if len(year) < 3 or np.ptp(year) == 0.0:
        return None
    weight = 1.0 / u_zero_um**2
    if stated_um is not None:
        told = u_zero_um < stated_um
        if not told.all():
            raise InputError(
                f"A target zero known to {u_zero_um[~told][0]:g} um tells nothing beside the {stated_um:g} um stated; "
                "leave out surveys that never turned the target."
            )
        own = weight - 1.0 / stated_um**2
        zero_um = zero_um * weight / own
        weight = 1.0 / (1.0 / own + stated_um**2)
    lean = year[:, None] - (weight * year[:, None]).sum(axis=0) / weight.sum(axis=0)
    spread = (weight * lean**2).sum(axis=0)
    slope = (weight * lean * zero_um).sum(axis=0) / spread
    off = zero_um - (weight * zero_um).sum(axis=0) / weight.sum(axis=0) - slope * lean
    dof = len(year) - 2
    u = np.sqrt((weight * off**2).sum(axis=0) / dof / spread)
    axis = int(np.argmax(np.abs(slope) / np.maximum(np.hypot(slope, u), np.finfo(np.float64).tiny)))
    return ZeroDrift(float(slope[axis]), float(coverage_factor(dof, float(np.sqrt(0.95))) * u[axis]))


def _pooled(values: FloatArray, group: IntArray, n_groups: int) -> FloatArray:
    return np.asarray(np.bincount(group, values, minlength=n_groups), dtype=np.float64)


def _root(total: FloatArray, freedom: FloatArray) -> FloatArray:
    ratio = np.divide(total, freedom, out=np.full(total.shape, np.nan), where=freedom > _SOME_DOF)
    return np.asarray(np.sqrt(ratio), dtype=np.float64)


def _interval(total: FloatArray, freedom: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    has = freedom > _SOME_DOF
    inside = np.where(has, freedom, 1.0)
    low, high = (np.where(has, np.sqrt(total / chdtri(inside, tail)), np.nan) for tail in (0.025, 0.975))
    return _root(total, freedom), low, high


def _latest_third(group: IntArray, when: FloatArray, n_groups: int) -> BoolArray:
    order = np.lexsort((when, group))
    count = np.bincount(group, minlength=n_groups)
    first = np.cumsum(count) - count
    rank = np.empty(group.shape, dtype=np.int64)
    rank[order] = np.arange(group.size) - first[group[order]]
    late: BoolArray = rank >= np.ceil(2 * count[group] / 3)
    return late
