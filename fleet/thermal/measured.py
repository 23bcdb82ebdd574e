"""Running checks as measured rises from the cold reference, and which of them belong to one run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import BoolArray, FloatArray, IntArray

UNSTATED_U_UM: Final = 15.0
"""Standard uncertainty of a check that states none (from memory, as for entered offsets)."""
LEAST_U_UM: Final = 1.0
"""No rise is known better than this, also where a record states 0: it would outweigh all others for ever."""
SAME_RUN_H: Final = 7 * 24.0
HOT_LABEL: Final = "hot, screw out"


@dataclass(frozen=True, slots=True)
class MeasuredRise:
    """Rises relative to the gearbox axis, from the cold reference.

    Attributes
    ----------
    rise_um, u_rise_um : (n,) arrays
        NaN where the check holds no figure. [um]
    u_assumed : (n,) bool array
        Whether the check stated no uncertainty of its own.
    """

    rise_um: FloatArray
    u_rise_um: FloatArray
    u_assumed: BoolArray


def measured_rise(
    rise_um: FloatArray,
    u_um: FloatArray,
    *,
    relative_to_floor: BoolArray,
    gearbox_rise_um: FloatArray,
    gearbox_modelled_um: FloatArray,
    u_gearbox_modelled_um: FloatArray,
    zero_rise_um: FloatArray,
    u_zero_rise_um: FloatArray,
) -> MeasuredRise:
    """Return running checks as rises relative to the gearbox axis, from the cold reference; one element a row and axis.

    A check relative to the floor has the gearbox's rise taken off: the measured one, else the modelled one with its
    uncertainty. A zero taken warm has the modelled rise up to that zero added.

    Parameters
    ----------
    rise_um, u_um : (n,) arrays
        As the check holds them; NaN uncertainty: 15 um, less than 1 um: 1 um. [um]
    relative_to_floor : (n,) bool array
        False: relative to the gearbox axis already. For h give False: the gearbox rises straight up.
    gearbox_rise_um : (n,) array
        The gearbox axis's own measured rise since the zero, NaN where it was not measured. Its uncertainty is taken
        as that of the check. [um]
    gearbox_modelled_um, u_gearbox_modelled_um : (n,) arrays
        `Rise.gearbox_rise_um` at the check's temperatures less that at the zero's, and its uncertainty; used only
        where `relative_to_floor` and not measured; NaN where it is not known (`Rise.gearbox_known`), which leaves the
        row without a figure. [um]
    zero_rise_um, u_zero_rise_um : (n,) arrays
        `Rise.v_um` at that station at the zero's temperatures (`zero_barrel_c`, ...), and its uncertainty; 0 where no
        zero temperatures are recorded, and for h. [um]

    Returns
    -------
    MeasuredRise

    References
    ----------
    Law of propagation for independent quantities, JCGM 100:2008, 5.2.
    """
    rise = np.asarray(rise_um, dtype=np.float64)
    assumed = np.isnan(u_um)
    u = np.where(assumed, UNSTATED_U_UM, np.maximum(u_um, LEAST_U_UM))
    modelled = np.isnan(gearbox_rise_um)
    gearbox = np.where(modelled, gearbox_modelled_um, gearbox_rise_um)
    u_gearbox = np.where(modelled, u_gearbox_modelled_um, u)
    total = rise - np.where(relative_to_floor, gearbox, 0.0) + zero_rise_um
    u_total = np.sqrt(u**2 + np.where(relative_to_floor, u_gearbox, 0.0) ** 2 + np.asarray(u_zero_rise_um) ** 2)
    return MeasuredRise(rise_um=total, u_rise_um=np.where(np.isnan(total), np.nan, u_total), u_assumed=assumed)


def hot_survey_rise(
    hot_um: FloatArray, u_hot_um: FloatArray, as_left_um: FloatArray, u_as_left_um: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the rise that a hot survey shows, label it "hot, screw out".

    Parameters
    ----------
    hot_um, u_hot_um : (n,) arrays
        Offsets of the hot survey as surveyed. [um]
    as_left_um, u_as_left_um : (n,) arrays
        The last as-left before it, at the cold reference, of the same stations; NaN where none. [um]

    Returns
    -------
    (n,) array, (n,) array
        Rise and its standard uncertainty, at least 1 um. [um]
    """
    rise = np.asarray(hot_um, dtype=np.float64) - np.asarray(as_left_um, dtype=np.float64)
    return rise, np.maximum(np.hypot(u_hot_um, u_as_left_um), LEAST_U_UM)


def group_runs(line: IntArray, time_h: FloatArray, as_left_line: IntArray, as_left_time_h: FloatArray) -> IntArray:
    """Return which run every check belongs to: same line, within 7 days of the run's first check, no as-left between.

    Parameters
    ----------
    line, time_h : (n,) arrays
        Line and time of every check, in any order (rows of one check hold the same time). [h, any common origin]
    as_left_line, as_left_time_h : (m,) arrays
        Line and time of every as-left; one at the very time of a check lies before it. [h]

    Returns
    -------
    (n,) int array
        Run numbers from 0, in order of line and time, unique over the fleet.

    Raises
    ------
    InputError
        A time is not a number.
    """
    n = line.size
    if np.isnan(time_h).any() or np.isnan(as_left_time_h).any():
        raise InputError("a check or an as-left has no time; give each its time in hours")
    all_line = np.concatenate((line, as_left_line))
    all_time = np.concatenate((time_h, as_left_time_h))
    is_check = np.arange(all_line.size) < n
    order = np.lexsort((is_check, all_time, all_line))
    run = np.empty(n, dtype=np.int64)
    now, first_h, at_line, after_as_left = -1, np.inf, None, False
    for k, this_line, this_h in zip(order.tolist(), all_line[order].tolist(), all_time[order].tolist(), strict=True):
        if k >= n:
            after_as_left = True
            continue
        if after_as_left or this_line != at_line or this_h - first_h > SAME_RUN_H:
            now, first_h, at_line, after_as_left = now + 1, this_h, this_line, False
        run[k] = now
    return run


def before_soak(hours_since_heats_on: FloatArray, *, soak_hours: float = 12.0) -> BoolArray:
    """Return which checks were taken before the line had soaked; hours not recorded (NaN) are not marked.

    Parameters
    ----------
    hours_since_heats_on : (n,) array [h]
    soak_hours : float
        The setting; 12 from memory. [h]

    Returns
    -------
    (n,) bool array
    """
    return np.asarray(hours_since_heats_on, dtype=np.float64) < soak_hours
