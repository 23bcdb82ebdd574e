"""Closure: the first station read again at the end, whose change tells what wandered meanwhile."""

from __future__ import annotations

import numpy as np

from fleet.measure.design import Stack
from fleet.values import FloatArray

_SAME_ROLL_DEG = 1e-6


def closure_change(stack: Stack) -> FloatArray:
    """Return how far the first station's readings changed until it was read again at the end of the pass.

    Only like is compared with like: a closing reading counts against the opening readings of the same beam state and
    the same rolls of beam and target.

    Parameters
    ----------
    stack
        Surveys of one shape.

    Returns
    -------
    FloatArray
        Shape (n_surveys, 2), um, closing minus opening in the instrument's own axes and signs; NaN where the last
        reading is not at the first station or was taken at rolls that the opening readings do not have.
    """
    n_surveys = len(stack.station)
    change = np.full((n_surveys, 2), np.nan)
    survey = np.arange(n_surveys)
    order = np.argsort(stack.sequence, axis=1, kind="stable")
    first = stack.station[survey, order[:, 0]]
    closes = (first == stack.station[survey, order[:, -1]]) & (order.shape[1] > 1)
    if not closes.any():
        return change

    rows, order = np.flatnonzero(closes)[:, None], order[closes]
    at_first = stack.station[rows, order] == first[closes][:, None]
    opening = np.minimum.accumulate(at_first, axis=1)
    closing = np.minimum.accumulate(at_first[:, ::-1], axis=1)[:, ::-1]
    # With no other station between, only the very first and the very last reading can stand for the two ends.
    alone = at_first.all(axis=1)
    opening[alone] = False
    opening[alone, 0] = True
    closing[alone] = False
    closing[alone, -1] = True

    alike = closing[:, :, None] & opening[:, None, :]
    state = stack.state[rows, order]
    alike &= state[:, :, None] == state[:, None, :]
    for roll_deg in (stack.beam_roll_deg[rows, order], stack.target_roll_deg[rows, order]):
        apart = (roll_deg[:, :, None] - roll_deg[:, None, :] + 180.0) % 360.0 - 180.0
        alike &= np.abs(apart) < _SAME_ROLL_DEG

    reading_um = stack.reading_um[rows, order]
    matches = alike.sum(axis=2)
    paired = matches > 0
    opened_um = np.einsum("bij,bja->bia", alike / np.maximum(matches, 1)[:, :, None], reading_um)
    total_um = np.where(paired[:, :, None], reading_um - opened_um, 0.0).sum(axis=1)
    count = paired.sum(axis=1)[:, None]
    change[closes] = np.where(count > 0, total_um / np.maximum(count, 1), np.nan)
    return change
