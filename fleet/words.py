"""Numbers as people of the trade say them: a figure, a direction word, a unit, a date.

Every kind of number has its own set of direction words, so that an offset is never read as a deviation:
offsets high/low/right/left, deviations above/below/right of/left of target, movements higher/lower/to the right/to
the left, moves to make raise/bring down/move left/move right, running "ran high".
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Final, Literal

from fleet.values import Axis

ReaderUnit = Literal["mm", "thou"]
READER_UNITS: Final[tuple[ReaderUnit, ReaderUnit]] = ("mm", "thou")

NBSP: Final = "\u00a0"
_UM: Final[dict[str, Decimal]] = {"mm": Decimal(1000), "thou": Decimal("25.4")}
_PLACES: Final[dict[tuple[str, bool], Decimal]] = {
    ("mm", False): Decimal("0.01"),
    ("mm", True): Decimal("0.001"),
    ("thou", False): Decimal("0.1"),
    ("thou", True): Decimal("0.01"),
}
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

Kind = Literal["offset", "deviation", "movement", "move", "running"]
_WORDS: Final[dict[Kind, dict[Axis, tuple[str, str]]]] = {
    "offset": {"v": ("high", "low"), "h": ("right", "left")},
    "deviation": {"v": ("above target", "below target"), "h": ("right of target", "left of target")},
    "movement": {"v": ("higher", "lower"), "h": ("to the right", "to the left")},
    "move": {"v": ("raise", "bring down"), "h": ("move right", "move left")},
    "running": {"v": ("high", "low"), "h": ("right", "left")},
}
_ZERO: Final[dict[Kind, str]] = {
    "offset": "on axis",
    "deviation": "on target",
    "movement": "no movement",
    "move": "leave",
    "running": "on axis",
}


def quantised(um: float, unit: ReaderUnit, *, fine: bool = False) -> Decimal:
    """Return a length in the reader's unit, rounded half up to 0.01 mm or 0.1 thou (fine: one place more)."""
    return (Decimal(repr(float(um))) / _UM[unit]).quantize(_PLACES[unit, fine], rounding=ROUND_HALF_UP)


def figure(um: float, unit: ReaderUnit, *, fine: bool = False) -> str:
    """Return the unsigned figure of a length in the reader's unit, without the unit: '0.31'."""
    return str(abs(quantised(um, unit, fine=fine)))


def direction(um: float, axis: Axis, kind: Kind, unit: ReaderUnit = "mm", *, fine: bool = False) -> str:
    """Return the direction word of a signed length for its kind of number; its zero word where it rounds to zero."""
    shown = quantised(um, unit, fine=fine)
    if shown == 0:
        return _ZERO[kind]
    return _WORDS[kind][axis][0 if shown > 0 else 1]


def said(um: float, axis: Axis, kind: Kind, unit: ReaderUnit, *, fine: bool = False, with_unit: bool = True) -> str:
    """Return figure, unit and direction in one phrase: '0.31 mm below target', '0.23 mm low', 'raise 0.39 mm'.

    Non-breaking spaces stand inside, so that a figure never parts from its unit and word.
    """
    number = figure(um, unit, fine=fine) + (f"{NBSP}{unit}" if with_unit else "")
    word = direction(um, axis, kind, unit, fine=fine)
    text = f"{word} {number}" if kind == "move" else f"{number} {word}"
    return text.replace(" ", NBSP)


def plus_minus(u95_um: float, unit: ReaderUnit, *, fine: bool = False) -> str:
    """Return '± 0.09' for an expanded (95 %) uncertainty."""
    return f"±{NBSP}{figure(u95_um, unit, fine=fine)}"


def day(value: date | datetime) -> str:
    """Return '25 Nov 2026'."""
    return f"{value.day}{NBSP}{_MONTHS[value.month - 1]}{NBSP}{value.year}"


def month(value: date | datetime) -> str:
    """Return 'Aug 2026': forecast dates name the month only, because a day would promise too much."""
    return f"{_MONTHS[value.month - 1]}{NBSP}{value.year}"


def month_of_year(value: date) -> str:
    """Return 'Aug': for what comes round every year."""
    return _MONTHS[value.month - 1]


def chance(probability: float) -> str:
    """Return a chance in whole per cent, '< 1 %' and '> 99 %' at the ends."""
    if probability < 0.01:
        return f"<{NBSP}1{NBSP}%"
    if probability > 0.99:
        return f">{NBSP}99{NBSP}%"
    return f"{int(Decimal(repr(float(probability))).scaleb(2).quantize(Decimal(1), rounding=ROUND_HALF_UP))}{NBSP}%"
