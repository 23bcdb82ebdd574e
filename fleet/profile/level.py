"""What a level on the gearbox says of a movement: did the gearbox tilt, did the barrel, both, or can it not be told."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from fleet.errors import InputError
from fleet.values import NORMAL_95

Which = Literal["gearbox", "barrel", "both", "cannot be told"]

U_LEVEL_UM_PER_M: Final = 10.0
"""Standard uncertainty of one level reading: half a division of a 0.02 mm/m machine level (from memory)."""


@dataclass(frozen=True, slots=True)
class LevelSays:
    """A turn of the bore against the gearbox axis, taken apart by two readings of the gearbox's level.

    Attributes
    ----------
    tilt_um_per_m, u_tilt_um_per_m
        How far the gearbox tilted between the two readings, + higher toward the discharge end. [um/m]
    accounts_um, u_accounts_um
        What that alone does to the bore's offset at the distance asked for: a gearbox that rises toward the discharge
        end lets the bore lie lower against its axis. [um]
    rest_um_per_m, u_rest_um_per_m
        What is left of the turn: the barrel's own, + higher toward the discharge end. [um/m]
    which
        `gearbox`, `barrel` or `both` where that tilt, that rest or both are beyond their 95 % uncertainty.
    """

    tilt_um_per_m: float
    u_tilt_um_per_m: float
    accounts_um: float
    u_accounts_um: float
    rest_um_per_m: float
    u_rest_um_per_m: float
    which: Which


def level_says(
    *,
    before_um_per_m: float,
    after_um_per_m: float,
    turned_um_per_m: float,
    u_turned_um_per_m: float,
    distance_mm: float,
    u_level_um_per_m: float = U_LEVEL_UM_PER_M,
) -> LevelSays:
    """Say how much of a turn the gearbox's own tilt accounts for.

    The bore's offset at distance x is its height less that of the gearbox axis there. The barrel is bolted to the
    gearbox's face, so a gearbox that tilts by t about it changes the offset by -t x; what is measured beyond that is
    the barrel's.

    Parameters
    ----------
    before_um_per_m, after_um_per_m
        The gearbox's level at both surveys, + higher toward the discharge end. [um/m]
    turned_um_per_m, u_turned_um_per_m
        Slope of the movement along the bore between them, and its standard uncertainty. [um/m]
    distance_mm
        Where to say what the tilt alone accounts for. [mm]
    u_level_um_per_m
        Standard uncertainty of one level reading. [um/m]

    Returns
    -------
    LevelSays

    Raises
    ------
    InputError
        A value is not finite, an uncertainty is negative, or the distance is.

    References
    ----------
    Geometry of a small angle; combined standard uncertainties as in JCGM 100:2008, 5.1.
    """
    for name, value, least in (
        ("level before", before_um_per_m, -math.inf),
        ("level after", after_um_per_m, -math.inf),
        ("turn", turned_um_per_m, -math.inf),
        ("uncertainty of the turn", u_turned_um_per_m, 0.0),
        ("distance", distance_mm, 0.0),
        ("uncertainty of a level reading", u_level_um_per_m, 0.0),
    ):
        if not math.isfinite(value) or value < least:
            need = "a finite number of 0 or more" if least == 0.0 else "a finite number"
            raise InputError(f"The {name} is {value}; give {need}.")
    tilt, u_tilt = after_um_per_m - before_um_per_m, math.sqrt(2.0) * u_level_um_per_m
    rest, u_rest = turned_um_per_m + tilt, math.hypot(u_turned_um_per_m, u_tilt)
    metres = distance_mm / 1000.0
    gearbox, barrel = abs(tilt) > NORMAL_95 * u_tilt, abs(rest) > NORMAL_95 * u_rest
    which: Which = "cannot be told"
    if gearbox or barrel:
        which = "both" if gearbox and barrel else "gearbox" if gearbox else "barrel"
    return LevelSays(
        tilt_um_per_m=tilt,
        u_tilt_um_per_m=u_tilt,
        accounts_um=-tilt * metres,
        u_accounts_um=u_tilt * metres,
        rest_um_per_m=rest,
        u_rest_um_per_m=u_rest,
        which=which,
    )
