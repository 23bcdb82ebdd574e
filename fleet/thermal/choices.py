"""Five ways to choose a cold offset, each judged against every run it did not know of.

The ways, in the order that ties go by: `none` (zero), `bore_size` (the rule of thumb), `heat_model`, `own_record`
(heat model + this line's mean of measured minus modelled) and `pooled` (the same, shrunk over lines).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.values import FloatArray, IntArray

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
