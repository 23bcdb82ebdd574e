"""One word for how urgent a station and axis is."""

from __future__ import annotations

import numpy as np

from fleet.values import STATUSES, BoolArray, FloatArray, IntArray


def statuses(
    chance_now: FloatArray,
    chance_before_following: FloatArray,
    measured_deviation_um: FloatArray,
    watch_um: FloatArray,
    limit_um: FloatArray,
    has_survey: BoolArray,
    *,
    chance_over: FloatArray | float = 0.5,
    chance_due: FloatArray | float = 0.2,
    chance_watch: FloatArray | float = 0.05,
) -> IntArray:
    """Judge every series by its chances of having passed the limit and by its last measured deviation.

    Parameters
    ----------
    chance_now : chance of having passed the limit by as-of, shape (n,)
    chance_before_following : the same before the second of the coming outages begins (or one year ahead)
    measured_deviation_um : last measured offset minus cold target, NaN where there is none
    watch_um : watch width, NaN where none is recorded (then half the limit)
    limit_um : limit, NaN where none is recorded
    has_survey : there is a cold survey to stand on
    chance_over, chance_due, chance_watch : the plant's settings, scalar or shape (n,)

    Returns
    -------
    shape (n,), indices into `fleet.values.STATUSES`, most urgent first
    """
    watch = np.where(np.isfinite(watch_um), watch_um, limit_um / 2.0)
    deviation = np.abs(measured_deviation_um)
    record = has_survey & np.isfinite(limit_um)
    with np.errstate(invalid="ignore"):
        rules = [
            ~record,
            chance_now >= chance_over,
            chance_before_following >= chance_due,
            (chance_before_following >= chance_watch) | (deviation > watch),
        ]
    words = [STATUSES.index(word) for word in ("no record", "over", "due", "watch")]
    return np.select(rules, words, default=STATUSES.index("within")).astype(np.int64)


def worst_of_line(status: IntArray, line: IntArray, n_lines: int) -> IntArray:
    """Give every line the status of its worst station and axis; one without any series has no record.

    Parameters
    ----------
    status : indices into `fleet.values.STATUSES`, shape (n,)
    line : index of the line of each, shape (n,)
    n_lines : number of lines

    Returns
    -------
    shape (n_lines,), indices into `fleet.values.STATUSES`
    """
    worst = np.full(n_lines, STATUSES.index("no record"), dtype=np.int64)
    np.minimum.at(worst, line, status)
    return worst
