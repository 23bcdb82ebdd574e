"""Numbers on a page: figure, direction word, uncertainty, unit, date; built on the words every layer shares."""

from __future__ import annotations

from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

from dash import html

from fleet import words
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

AXIS_WORDS: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}
_COUNTS: Final = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def count(number: int) -> str:
    """Return a count as running text says it: 'two', and '13' from thirteen on."""
    return _COUNTS[number] if number < len(_COUNTS) else grouped(number)


def grouped(number: float) -> str:
    """Return a whole number with its thousands set apart: '6 540'."""
    return f"{number:,.0f}".replace(",", NBSP)


def distance(distance_mm: float, unit: ReaderUnit, *, with_unit: bool = True) -> str:
    """Return a distance along the barrel, for readers of thou in inches as on the job sheet: '1 500 mm', '59.06 in'."""
    if unit == "thou":
        inches = (Decimal(repr(float(distance_mm))) / Decimal("25.4")).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
        return f"{inches}{NBSP}in" if with_unit else str(inches)
    return f"{grouped(distance_mm)}{NBSP}mm" if with_unit else grouped(distance_mm)


def distance_unit(unit: ReaderUnit) -> str:
    """Return the unit distances are shown in."""
    return "in" if unit == "thou" else "mm"


def diameter(diameter_mm: float) -> str:
    """Return a diameter as it was recorded: '120 mm', '63.5 mm'."""
    return f"{diameter_mm:g}{NBSP}mm"


def celsius(temperature_c: float) -> str:
    """Return a temperature in whole degrees: '21 °C'."""
    rounded = Decimal(repr(float(temperature_c))).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return f"{rounded}{NBSP}°C"


def span(starts: date | datetime, ends: date | datetime) -> str:
    """Return a stretch of days, what both ends share said once: '19–30 Dec', '24 Jul – 8 Aug'."""
    first, last = words.day(starts).split(NBSP), words.day(ends).split(NBSP)
    if (starts.year, starts.month, starts.day) == (ends.year, ends.month, ends.day):
        return NBSP.join(first[:2])
    if starts.month == ends.month and starts.year == ends.year:
        return f"{first[0]}–{last[0]}{NBSP}{last[1]}"
    return f"{NBSP.join(first[:2])} – {NBSP.join(last[:2])}"


def day_of_year(value: date | datetime) -> str:
    """Return a day without its year: '19 Dec'."""
    return NBSP.join(words.day(value).split(NBSP)[:2])


def short_of(um: float, axis: Axis, unit: ReaderUnit) -> str:
    """Return a deviation without the word target, for columns headed with it: '0.31 below', '0.02 right of'."""
    word = words.direction(um, axis, "deviation", unit)
    if word == "on target":
        return word.replace(" ", NBSP)
    return f"{words.figure(um, unit)}{NBSP}{word.removesuffix(' target')}".replace(" ", NBSP)


def right_word(word: str, right_hand_side: str | None) -> str:
    """Return the plant's word for the right-hand side in brackets where the direction is right, else nothing."""
    return f"({right_hand_side})" if right_hand_side and word.split()[0] == "right" else ""


def plus_minus(u95_um: float | None, unit: ReaderUnit) -> list[Any]:
    """Return the expanded uncertainty in the quieter ink, behind a space; nothing where it is not known."""
    return [] if u95_um is None else [" ", html.Span(words.plus_minus(u95_um, unit), className="u num")]


def in_unit(unit: ReaderUnit) -> html.P:
    """Return the line above a phone's list that names the unit of its figures once, as a table's header does."""
    return html.P(f"Figures in {unit}.", className="note in-unit narrow-only")


def offset(um: float | None, axis: Axis, unit: ReaderUnit, u95_um: float | None = None) -> list[Any]:
    """Return an offset for a table cell whose header names the unit: '0.57 low ± 0.09'; a dash where unknown."""
    if um is None:
        return [html.Span("–", className="dim3", title="not known")]
    return [words.said(um, axis, "offset", unit, with_unit=False), *plus_minus(u95_um, unit)]


def rate(rate_um: float, axis: Axis, unit: ReaderUnit, *, with_unit: bool = True) -> str:
    """Return a drift rate to 0.001 mm or 0.01 thou, without what it is per: '0.037 mm lower'."""
    return words.said(rate_um, axis, "movement", unit, fine=True, with_unit=with_unit)


def scaled(um: float, unit: ReaderUnit) -> float:
    """Return a length in the reader's unit as a number to draw, not to print."""
    return um / (1000.0 if unit == "mm" else 25.4)


def slope_unit(unit: ReaderUnit) -> str:
    """Return the unit slopes are shown in."""
    return "thou/ft" if unit == "thou" else "mm/m"


def slope_figure(um_per_m: float, unit: ReaderUnit, *, fine: bool = False) -> str:
    """Return the unsigned figure of a slope: to 0.01 mm/m or 0.1 thou/ft (fine: one place more), without the unit.

    One foot is 0.3048 m, one thou 25.4 um: both exact.
    """
    return str(abs(_slope(um_per_m, unit, fine=fine)))


def slope_spread(u95_um_per_m: float, unit: ReaderUnit, *, fine: bool = False) -> str:
    """Return '± 0.03' for a slope's expanded (95 %) uncertainty; one place more where it would round to nothing."""
    if _slope(u95_um_per_m, unit, fine=fine) == 0 and u95_um_per_m > 0.0:
        fine = True
    return f"±{NBSP}{slope_figure(u95_um_per_m, unit, fine=fine)}"


def slope_sign(um_per_m: float, unit: ReaderUnit, *, fine: bool = False) -> int:
    """Return 1, 0 or -1: which way a slope goes as shown, 0 where it rounds to nothing."""
    shown = _slope(um_per_m, unit, fine=fine)
    return (shown > 0) - (shown < 0)


def _slope(um_per_m: float, unit: ReaderUnit, *, fine: bool) -> Decimal:
    exact = Decimal(repr(float(um_per_m)))
    value = exact * Decimal("0.3048") / Decimal("25.4") if unit == "thou" else exact / 1000
    places = ("0.01" if fine else "0.1") if unit == "thou" else ("0.001" if fine else "0.01")
    return value.quantize(Decimal(places), rounding=ROUND_HALF_UP)
