"""Number the different combinations of whole-number columns."""

from __future__ import annotations

import numpy as np

from fleet.values import IntArray


def numbered(*columns: IntArray) -> tuple[IntArray, IntArray]:
    """Return which combination each element has, and where each combination stands first.

    Parameters
    ----------
    *columns : (n,) int arrays
        One or more.

    Returns
    -------
    (n,) int array, (k,) int array
        Number of each element's combination, in ascending order of the columns, and index of its first element.
    """
    number = np.zeros(columns[0].size, dtype=np.int64)
    first = np.zeros(0, dtype=np.int64)
    for column in columns:
        levels, level = np.unique(column, return_inverse=True)
        _, first, number = np.unique(number * levels.size + level, return_index=True, return_inverse=True)
    return number, first
