"""Scatter told apart by where it arises: from instrument to instrument, survey to survey, reading to reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class NestedComponents:
    """Analysis of variance of values in groups within groups; entries from the outermost level to the single value.

    Attributes
    ----------
    mean_square
        Mean square of each level, shape (n_levels + 1,).
    dof
        Degrees of freedom of each, likewise.
    variance
        What each level adds to the variance of a single value, likewise; NaN for a level without degrees of freedom,
        whose share then stands with the level outside it. Estimates below nought are kept: nothing was seen there.
    share
        Of each level in a single value's variance, likewise, those below nought counted as nought.
    """

    mean_square: FloatArray
    dof: FloatArray
    variance: FloatArray
    share: FloatArray


def nested_components(values: FloatArray, levels: Sequence[IntArray]) -> NestedComponents:
    """Tell apart how much of the scatter of values arises at each of several nested levels.

    Groups may be of any size; the estimates are those that mean squares have on average.

    Parameters
    ----------
    values
        Shape (n,), in any unit.
    levels
        Group codes of each value, shape (n,) each, outermost first. A code means a group within its outer group only.

    Returns
    -------
    NestedComponents

    Raises
    ------
    InputError
        A column differs in length from the values, a value is not finite, or no group holds two values.

    References
    ----------
    Nested analysis of variance with unequal numbers, expected mean squares set equal to the observed ones; Searle,
    Casella and McCulloch, Variance Components (from memory).
    """
    for codes in levels:
        if codes.shape != values.shape:
            raise InputError(f"{codes.size} group codes beside {values.size} values; give one for every value.")
    if not np.isfinite(values).all():
        raise InputError(f"Value {values[~np.isfinite(values)][0]} is not a finite number; leave it out.")
    # One outermost group of everything and one innermost for every value, so that all levels are treated alike.
    cells = [np.zeros(values.size, dtype=np.int64)]
    for codes in levels:
        pair = np.stack([cells[-1], codes], axis=1)
        cells.append(np.unique(pair, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64))
    cells.append(np.arange(values.size, dtype=np.int64))
    count = [np.bincount(cell) for cell in cells]
    dof = np.diff([len(number) for number in count]).astype(np.float64)
    if dof[-1] == 0.0:
        raise InputError("No two values share a group, so nothing tells how a value repeats; give repeated ones.")

    fitted = [(np.bincount(cell, values) / number)[cell] for cell, number in zip(cells, count, strict=True)]
    squares = np.array([((inner - outer) ** 2).sum() for outer, inner in pairwise(fitted)])
    # Trace of each level's averaging over the products of each level's group indicators.
    held = np.array([[_held(cells[a], count[a], cells[b]) for b in range(1, len(cells))] for a in range(len(cells))])
    expected = np.diff(held, axis=0)

    told = dof > 0.0
    variance = np.full(len(dof), np.nan)
    variance[told] = np.linalg.solve(expected[np.ix_(told, told)], squares[told])
    seen = np.maximum(np.nan_to_num(variance), 0.0)
    total = seen.sum()
    return NestedComponents(
        mean_square=np.divide(squares, dof, out=np.full(len(dof), np.nan), where=told),
        dof=dof,
        variance=variance,
        share=seen / total if total > 0.0 else seen,
    )


def _held(cell: IntArray, count: IntArray, other: IntArray) -> float:
    """Return the trace of averaging within `cell` times the indicator products of `other`."""
    pairs, together = np.unique(np.stack([cell, other], axis=1), axis=0, return_counts=True)
    return float((together**2 / count[pairs[:, 0]]).sum())
