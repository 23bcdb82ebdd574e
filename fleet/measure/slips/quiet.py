"""Which surveys are worth a closer look: coarse figures of a whole stack at once.

Nothing is raised here. The bars are set so that a survey which the closer look would raise passes them, and few clean
ones do; they cost time, not false alarms.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import fdtr, fdtrc, stdtr

from fleet.measure.adjustment import STATED_DOF, stacked, stated
from fleet.measure.design import Stack, rotation
from fleet.measure.slips.model import Expected
from fleet.measure.slips.weighing import Weighed, expected_covariance, weigh
from fleet.measure.survey import Instrument, SurveyReadings
from fleet.values import BoolArray, FloatArray

CLOSER_LOOK: Final[dict[str, float]] = {
    "an axis of a reading": 0.008,
    "a reading": 0.008,
    "a step": 0.006,
    "the whole, too loud": 0.002,
    "the whole, too quiet": 0.0005,
    "an offset against the forecast": 0.003,
    "all offsets against the forecast": 0.001,
}
"""Share of clean surveys that each figure may send to the closer look, its members together (Bonferroni)."""


def looks_odd(
    surveys: Sequence[tuple[SurveyReadings, Instrument, bool]], expected: Sequence[Expected | None]
) -> BoolArray:
    """Return which surveys of one shape are worth a closer look.

    Parameters
    ----------
    surveys
        Surveys of one shape: readings, instrument and whether the bore was hot.
    expected
        What each was expected to show, or None.

    Returns
    -------
    BoolArray
        Shape (n_surveys,).

    References
    ----------
    Deletion residuals: R. D. Cook and S. Weisberg, Residuals and Influence in Regression, 1982, 2.2 (from memory).
    """
    stack = stacked(surveys, [np.unique(survey[0].beam_state) for survey in surveys])
    u_noise, u_prior = stated(surveys, stack.n_states)
    weighed = weigh(stack, u_noise=u_noise, u_prior=u_prior)
    odd = readings_odd(weighed) | _steps_odd(weighed, stack)
    places = [place for place, what in enumerate(expected) if what is not None]
    if places:
        odd[places] |= offsets_odd(weighed, u_noise, places, [what for what in expected if what is not None])
    return odd


def readings_odd(weighed: Weighed) -> BoolArray:
    """Return which surveys' readings do not sit easily with each other, shape (n,)."""
    n = len(weighed.misfit)
    if weighed.dof == 0:
        return np.zeros(n, dtype=np.bool_)
    freedom = STATED_DOF + weighed.dof
    told = weighed.information > 1e-6
    squared = weighed.misfit**2 / np.where(told, weighed.information, 1.0)
    squared = np.clip(np.where(told, squared, 0.0), 0.0, freedom * (1 - 1e-12))
    deleted = np.sqrt(squared * (freedom - 1) / (freedom - squared))
    n_told = np.maximum(told.sum(axis=(1, 2)), 1)
    by_reading = 2 * stdtr(freedom - 1, -deleted.max(axis=(1, 2))) * n_told < CLOSER_LOOK["an axis of a reading"]
    if weighed.dof > 2:
        cross = weighed.basis.reshape(n, -1, 2, weighed.basis.shape[2])
        inner = (weighed.factor[:, None] + weighed.spread) ** -1 - 1.0 / weighed.factor[:, None]
        off = np.einsum("bmq,bmq,bq->bm", cross[:, :, 0], cross[:, :, 1], inner, optimize=True)
        first, second = weighed.information[..., 0], weighed.information[..., 1]
        size = first * second - off**2
        both = told.all(axis=2) & (size > 1e-9)
        v, h = weighed.misfit[..., 0], weighed.misfit[..., 1]
        explained = (second * v**2 - 2 * off * v * h + first * h**2) / np.where(both, size, 1.0)
        most = np.where(both, explained, 0.0).max(axis=1)
        by_reading |= _too_much(most, freedom) * told.shape[1] < CLOSER_LOOK["a reading"]
    level = weighed.square / weighed.dof
    loud = fdtrc(weighed.dof, STATED_DOF, level) < CLOSER_LOOK["the whole, too loud"]
    quiet = fdtr(weighed.dof, STATED_DOF, level) < CLOSER_LOOK["the whole, too quiet"]
    return np.asarray(by_reading | loud | quiet, dtype=np.bool_)


def _steps_odd(weighed: Weighed, stack: Stack) -> BoolArray:
    """Return where a step in the target or in the beam from some reading on would explain much."""
    n, n_readings = stack.station.shape
    if weighed.dof <= 2:
        return np.zeros(n, dtype=np.bool_)
    order = np.argsort(stack.sequence, axis=1, kind="stable")
    place = np.argsort(order, axis=1, kind="stable")
    after = (place[:, :, None] >= np.arange(1, n_readings)).astype(np.float64)
    freedom = STATED_DOF + weighed.dof
    inner = (weighed.factor[:, None] + weighed.spread) ** -1 - 1.0 / weighed.factor[:, None]
    survey = np.arange(n)[:, None]
    most = np.zeros(n)
    for shape in (weighed.to_reading.swapaxes(2, 3), rotation(stack.beam_roll_deg)):
        steps = shape[:, :, :, None, :] * after[:, :, None, :, None]
        steps = steps.reshape(n, n_readings, -1)
        steps -= (weighed.mean @ steps)[survey, stack.station]
        steps = steps.reshape(n, 2 * n_readings, n_readings - 1, 2)
        along = np.einsum("boq,bokc->bqkc", weighed.basis, steps, optimize=True)
        information = np.einsum("bokc,bokd->bkcd", steps, steps, optimize=True) / weighed.factor[:, None, None, None]
        information += np.einsum("bq,bqkc,bqkd->bkcd", inner, along, along, optimize=True)
        answer = np.einsum("bokc,bo->bkc", steps, weighed.misfit.reshape(n, -1), optimize=True)
        told = np.linalg.det(information) > 1e-9
        information[~told] = np.eye(2)
        explained = np.einsum("bkc,bkc->bk", answer, np.linalg.solve(information, answer[..., None])[..., 0])
        most = np.maximum(most, np.where(told, explained, 0.0).max(axis=1))
    return np.asarray(_too_much(most, freedom) * 2 * (n_readings - 1) < CLOSER_LOOK["a step"], dtype=np.bool_)


def _too_much(explained: FloatArray, freedom: float) -> FloatArray:
    """Return how seldom an error of two components explains that much of the sum of squares by chance."""
    explained = np.minimum(explained, freedom * (1 - 1e-12))
    return np.asarray(fdtrc(2, freedom - 2, explained / 2 * (freedom - 2) / (freedom - explained)))


def offsets_odd(
    weighed: Weighed,
    u_noise: FloatArray,
    places: list[int],
    expected: list[Expected],
    widen_um2: FloatArray | None = None,
) -> BoolArray:
    """Return which of the surveys in some places of a stack do not sit easily with what was expected of them."""
    own = weighed.offset_covariance()[places] * u_noise[places, None, None] ** 2
    offset_um = weighed.offset[places].reshape(len(places), -1) * u_noise[places, None]
    odd = np.zeros(len(places), dtype=np.bool_)
    for i, what in enumerate(expected):
        known, covariance = expected_covariance(what)
        if len(known) == 0:
            continue
        difference = offset_um[i, known] - what.offset_um.ravel()[known]
        at = np.ix_(known, known)
        total = covariance + own[i][at] + (0.0 if widen_um2 is None else widen_um2[at])
        ratio = np.abs(difference) / np.sqrt(np.diagonal(total))
        dof = min(what.dof, 1e6)
        single = 2 * stdtr(dof, -ratio.max()) * len(known) < CLOSER_LOOK["an offset against the forecast"]
        joint = float(difference @ np.linalg.solve(total, difference)) / len(known)
        odd[i] = single or fdtrc(len(known), dof, joint) < CLOSER_LOOK["all offsets against the forecast"]
    return odd
