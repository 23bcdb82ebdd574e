"""What the heat model needs to know of a line: its supports, barrel and gearbox, and its temperatures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

GearboxTemperatureAt = Literal["casing_mean", "oil"]

WARM_ABOVE_REFERENCE_K: Final = 10.0
"""A record is warm where a recorded temperature lies more than this above the cold reference (see `is_warm`)."""


@dataclass(frozen=True, slots=True)
class SupportGeometry:
    """One support as placed that day; None is "not recorded".

    Attributes
    ----------
    code : str
    distance_mm : float
        From the gearbox's mounting face. [mm]
    height_mm : float or None
        Base to barrel axis, cold. [mm]
    saddle : 'vee', 'flat', 'centreline', 'plate' or None
    vee_angle_deg : float or None
        Included angle of a vee, 0 to 180. [degree]
    carries : 'rigid', 'floating' or None
        None is taken as rigid and said so.
    base_expansion_per_k : float or None
        None: the default of `fleet.thermal.expansion`. [1/K]
    """

    code: str
    distance_mm: float
    height_mm: float | None = None
    saddle: str | None = None
    vee_angle_deg: float | None = None
    carries: str | None = None
    base_expansion_per_k: float | None = None


@dataclass(frozen=True, slots=True)
class LineGeometry:
    """A line as it stood on the day of the record; None is "not recorded".

    Attributes
    ----------
    supports : tuple of SupportGeometry
        In any order.
    barrel_outside_diameter_mm, barrel_length_mm : float or None [mm]
    barrel_expansion_per_k, gearbox_expansion_per_k : float or None
        None: the defaults of `fleet.thermal.expansion`. [1/K]
    gearbox_centre_height_mm : float or None
        Feet to shaft axis. [mm]
    feed_section_mm : float
        Where the barrel begins; 0 without a feed section. It does not enter the rise, which is zero at the gearbox's
        mounting face (distance 0): feed section and barrel are one piece from there. [mm]
    cold_reference_c : float [C]
    """

    supports: tuple[SupportGeometry, ...] = ()
    barrel_outside_diameter_mm: float | None = None
    barrel_length_mm: float | None = None
    barrel_expansion_per_k: float | None = None
    gearbox_centre_height_mm: float | None = None
    gearbox_expansion_per_k: float | None = None
    feed_section_mm: float = 0.0
    cold_reference_c: float = 20.0


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Temperatures of one record; None is "not recorded".

    Attributes
    ----------
    barrel_c, gearbox_c, base_c : float or None [C]
    gearbox_c_at : 'casing_mean' or 'oil'
        Where `gearbox_c` was read: the mean of the casing between feet and shaft, or the oil.
    support_barrel_c, support_base_c : mapping of support code to temperature [C]
        What was read at single supports; a support without its own takes `barrel_c`, `base_c`.
    """

    barrel_c: float | None = None
    gearbox_c: float | None = None
    gearbox_c_at: GearboxTemperatureAt = "casing_mean"
    base_c: float | None = None
    support_barrel_c: Mapping[str, float] = field(default_factory=dict)
    support_base_c: Mapping[str, float] = field(default_factory=dict)

    def recorded(self) -> tuple[float, ...]:
        """Return every temperature that was recorded. [C]"""
        single = (t for t in (self.barrel_c, self.gearbox_c, self.base_c) if t is not None)
        return (*single, *self.support_barrel_c.values(), *self.support_base_c.values())


def is_warm(temperatures: Temperatures, *, cold_reference_c: float) -> bool:
    """Return whether a record is warm: a recorded temperature lies more than 10 K above the cold reference.

    Ten kelvin keep a summer's or a winter's shop floor a cold record; a heated barrel or a gearbox that has run
    stands well beyond.

    Parameters
    ----------
    temperatures : Temperatures
    cold_reference_c : float [C]

    Returns
    -------
    bool
    """
    return any(t - cold_reference_c > WARM_ABOVE_REFERENCE_K for t in temperatures.recorded())
