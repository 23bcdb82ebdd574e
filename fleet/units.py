"""Lengths as typed and as computed: exact decimal conversion between micrometres and the units people write.

1 thou = 0.001 in = 25.4 um exactly (the international inch, 25.4 mm by definition).
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Final

from fleet.errors import InputError

UM_PER: Final[dict[str, Decimal]] = {
    "um": Decimal(1),
    "mm": Decimal(1000),
    "in": Decimal(25400),
    "thou": Decimal("25.4"),
}
_MICRO_SIGNS: Final = ("µm", "μm")  # MICRO SIGN and GREEK SMALL LETTER MU


def normal_unit(text: str) -> str:
    """Return the unit's own spelling.

    Raises
    ------
    InputError
        The text is not one of um, mm, in, thou (`mil` is refused with the word to write instead).
    """
    if text in _MICRO_SIGNS:
        return "um"
    if text in UM_PER:
        return text
    if text == "mil":
        raise InputError("'mil' is not a unit here; write thou")
    raise InputError(f"'{text}' is not a unit; use um, mm, in or thou")


def to_um(text: str | Decimal, unit: str) -> float:
    """Convert a typed length to micrometres by decimal arithmetic, rounding once at the end.

    Raises
    ------
    InputError
        The text is not a finite decimal number, or the unit is unknown.
    """
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise InputError(f"'{text}' is not a number; write digits with a decimal point") from None
    if not number.is_finite():
        raise InputError(f"'{text}' is not a finite number; write digits with a decimal point")
    return float(number * UM_PER[normal_unit(unit)])
