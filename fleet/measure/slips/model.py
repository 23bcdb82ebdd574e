"""What a survey was expected to show, and what is noticed about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np

from fleet.errors import InputError
from fleet.values import Axis, FloatArray

CheckName = Literal[
    "sign_turned",
    "unit_mistyped",
    "roll_mistyped",
    "stations_swapped",
    "target_loose",
    "beam_disturbed",
    "calibration_expired",
    "still_warm",
    "unexplained_residual",
    "unlike_forecast",
    "support_not_answering",
]
CHECKS: Final[tuple[CheckName, ...]] = get_args(CheckName)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a survey was expected to show before it was read, as surveyed (not brought to cold).

    Attributes
    ----------
    offset_um, u_um
        Expected offset and its standard uncertainty, shape (n_stations, 2) for v, h; NaN where nothing is expected.
    dof
        Degrees of freedom of Student's t for the expectation, such as 8: how heavy its tails are.
    common
        Share of the variance that stations of one survey have in common, 0 to 1, on each axis.
    """

    offset_um: FloatArray
    u_um: FloatArray
    dof: float
    common: float


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing noticed, with its evidence and what the value would be if it were so.

    Attributes
    ----------
    check
        Name of the check.
    axis
        Axis it concerns; None: both, or the whole survey.
    station, other_station
        Indices into the survey's `distance_mm`; None: the whole survey. The other one only for swapped stations.
    sequence
        Sequence number of the reading, or of the first one after a step; None where several or not known which.
    cause
        A short stable word for what is most likely.
    misfit_um, u95_misfit_um
        How far what does not fit lies off, and its 95 % range, um; None where no one length says it.
    typed_um, would_read_um
        The reading as typed and what it would read if it were so, um, in the instrument's own signs.
    offset_um, would_be_um
        The offset at the station as typed, and if it were so, um, + high or right.
    expected_um
        The offset that was expected, um; None: nothing expected.
    agrees_to_um
        What remains if it were so, um: root mean square of the residuals concerned, or the difference from the forecast
        where that is the evidence.
    against_forecast
        Whether the evidence is the forecast rather than the survey itself.
    also
        Other explanations that the data cannot tell from it, as short words; empty where it is named clearly.
    """

    check: CheckName
    axis: Axis | None
    station: int | None
    other_station: int | None
    sequence: int | None
    cause: str
    misfit_um: float | None
    u95_misfit_um: float | None
    typed_um: float | None
    would_read_um: float | None
    offset_um: float | None
    would_be_um: float | None
    expected_um: float | None
    agrees_to_um: float | None
    against_forecast: bool
    also: tuple[str, ...]


def check_expected(expected: Expected, n_stations: int) -> None:
    """Refuse an expectation that nothing can be compared with.

    Parameters
    ----------
    expected
        What the survey was expected to show.
    n_stations
        How many stations the survey has.

    Raises
    ------
    InputError
        A shape is wrong, an uncertainty is not above zero, or `dof` or `common` is out of its range.
    """
    for name, values in (("offset_um", expected.offset_um), ("u_um", expected.u_um)):
        if values.shape != (n_stations, 2):
            raise InputError(
                f"The expected '{name}' has the shape {values.shape}; give v and h for each of {n_stations} stations."
            )
    known = np.isfinite(expected.offset_um)
    if not np.all(np.isfinite(expected.u_um[known]) & (expected.u_um[known] > 0)):
        raise InputError("An expected offset has no standard uncertainty above zero; give one, or leave it out as NaN.")
    if not expected.dof > 0:
        raise InputError(f"The expectation has {expected.dof} degrees of freedom; give a number above zero.")
    if not 0 <= expected.common <= 1:
        raise InputError(f"The share in common is {expected.common}; give a number from 0 to 1.")
