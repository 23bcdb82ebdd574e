"""The nine cautions of a job sheet: one wording and one order for the screen, the print and the PDF."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from fleet.words import NBSP, ReaderUnit

HEADING: Final = "Before you reach in"
OPEN_WORDS: Final = "Read all nine cautions"
LAST: Final = (
    "This sheet is no permission to work. Local codes, the machine builder’s instructions and licensed practice "
    "come first."
)
"""The ninth, bold, on a line of its own after the others."""

_GROWTH_LEAD: Final = "Let the barrel slide:"
CAUTIONS: Final[tuple[tuple[str, str], ...]] = (
    (
        "Isolate and lock out",
        "drive, heaters and stored energy, and prove them dead; a heater at set-point zero is not isolated.",
    ),
    (
        "Hot barrel;",
        "hot polymer may be under pressure: relieve it before opening head or adapter; ventilate.",
    ),
    (
        "Never look into the beam,",
        "nor into the bore from the discharge end while it is on; a bright bore reflects it.",
    ),
    ("Support the barrel", "before loosening a support; fingers out of the saddle, it can spring."),
    ("Isolate before turning the gearbox;", "by hand only, one person in charge."),
    ("Keep from under", "screw, die and lifting gear."),
    (_GROWTH_LEAD, "it grows about {growth} in length."),
    (
        "Before power returns:",
        "target, rod and beam out of the bore and counted, bolts at the builder’s torque, screw turned free by hand.",
    ),
)
"""The first eight: bold lead and the rest; `{growth}` is the line's own growth in length."""


def length_growth(length_growth_mm: float, unit: ReaderUnit) -> str:
    """Return the growth in length in whole mm, or tenths of an inch for readers of thou: '8 mm', '0.3 inch'."""
    growth = Decimal(repr(float(length_growth_mm)))
    if unit == "thou":
        return f"{(growth / Decimal('25.4')).quantize(Decimal('0.1'), rounding=ROUND_HALF_UP)}{NBSP}inch"
    return f"{growth.quantize(Decimal(1), rounding=ROUND_HALF_UP)}{NBSP}mm"


def cautions(length_growth_mm: float | None, unit: ReaderUnit = "mm") -> tuple[tuple[str, str], ...]:
    """Return the first eight cautions for one line; where its growth is not known, the figure is left out, not guessed.

    Parameters
    ----------
    length_growth_mm
        How much the barrel grows in length from cold to running [mm]; None: unknown.
    unit
        The reader's unit.
    """
    if length_growth_mm is None:
        return tuple(
            (lead, "it grows millimetres in length." if lead == _GROWTH_LEAD else rest) for lead, rest in CAUTIONS
        )
    growth = length_growth(length_growth_mm, unit)
    return tuple((lead, rest.format(growth=growth)) for lead, rest in CAUTIONS)
