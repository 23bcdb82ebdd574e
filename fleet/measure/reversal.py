"""A reversal pair by hand: what the axis reading is, what the beam is off, and what to trim it to.

Two readings at one station, the beam turned half a turn with the gearbox between them and not adjusted. Their mean is
where the gearbox axis meets the target, because the beam's own error changes sign and the bore does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.errors import InputError
from fleet.values import BoolArray, FloatArray

PAIR_AGREES_UM: Final = 25.0
"""How closely a pair has to agree for the beam to count as set: 0.025 mm, within about a thou (from memory)."""


@dataclass(frozen=True, slots=True)
class BeamSetting:
    """What a reversal says about the beam before stations are read.

    Attributes
    ----------
    trim_to_um
        The reading to adjust the beam to, without turning anything; in the instrument's own signs, shape of the input.
    error_um
        Where the beam falls from the gearbox axis at the first reading's roll, + high or right, shape of the input.
    difference_um
        The second reading minus the first, in the instrument's own signs, shape of the input.
    agrees
        Whether v and h both agree within the setting, one per pair, the input's shape without its last axis.
    """

    trim_to_um: FloatArray
    error_um: FloatArray
    difference_um: FloatArray
    agrees: BoolArray


def axis_reading(first_um: ArrayLike, turned_um: ArrayLike) -> FloatArray:
    """Return where the gearbox axis meets the target: the mean of two readings half a turn apart.

    Parameters
    ----------
    first_um, turned_um
        Readings as the instrument showed them, um; shapes broadcast.

    Returns
    -------
    FloatArray
        The axis reading in the instrument's own signs, um: also what to trim the beam to, at either roll.
    """
    return (np.asarray(first_um, dtype=np.float64) + np.asarray(turned_um, dtype=np.float64)) / 2


def beam_error(first_um: ArrayLike, turned_um: ArrayLike, *, sense: ArrayLike = 1) -> FloatArray:
    """Return where the beam falls from the gearbox axis at the first roll: half the difference of the pair.

    Parameters
    ----------
    first_um, turned_um
        Readings as the instrument showed them, um; shapes broadcast.
    sense
        +1 where the instrument shows the bore from the beam, -1 where it shows the beam from the bore; broadcast.

    Returns
    -------
    FloatArray
        The beam from the axis, um, + high or right: (turned - first) / 2 times the sense, because a beam that falls
        high makes the bore read low.
    """
    difference_um = np.asarray(turned_um, dtype=np.float64) - np.asarray(first_um, dtype=np.float64)
    return np.asarray(sense, dtype=np.float64) * difference_um / 2


def beam_setting(
    first_um: ArrayLike, turned_um: ArrayLike, *, sense: ArrayLike, agree_um: float = PAIR_AGREES_UM
) -> BeamSetting:
    """Say what the beam is off and what to trim it to, at the nearest and the farthest station or anywhere else.

    Parameters
    ----------
    first_um, turned_um
        Reversal pairs as the instrument showed them, shape (..., 2) for v and h, um.
    sense
        The instrument's senses (v, h), +1 bore from beam, -1 beam from bore.
    agree_um
        How closely a pair has to agree for the beam to need no further trimming, um.

    Returns
    -------
    BeamSetting
        One answer per pair.

    Raises
    ------
    InputError
        A reading is not a finite number, or the last axis does not hold v and h.
    """
    first = np.asarray(first_um, dtype=np.float64)
    turned = np.asarray(turned_um, dtype=np.float64)
    if first.shape != turned.shape or first.shape[-1:] != (2,):
        raise InputError(
            f"Reversal pairs have the shapes {first.shape} and {turned.shape}; give v and h of both readings."
        )
    if not (np.all(np.isfinite(first)) and np.all(np.isfinite(turned))):
        raise InputError("A reading of a reversal pair is not a finite number; read that station again.")
    difference_um = turned - first
    return BeamSetting(
        trim_to_um=axis_reading(first, turned),
        error_um=beam_error(first, turned, sense=sense),
        difference_um=difference_um,
        agrees=np.asarray(np.all(np.abs(difference_um) <= agree_um, axis=-1), dtype=np.bool_),
    )
