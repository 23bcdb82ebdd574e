"""Figures of a plan with their units: counts, hours by the clock, crew hours, expected days, shares."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from fleet.reports.session_words import whole
from fleet.words import NBSP

_WORDS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def word(number: int) -> str:
    """Return a number as a word up to twelve, in figures beyond."""
    return _WORDS[number] if number < len(_WORDS) else str(number)


def count(number: int, one: str, several: str | None = None) -> str:
    """Return 'one line', 'nine visits', '14 lines': words up to twelve, figures beyond."""
    return f"{word(number)} {one if number == 1 else several or f'{one}s'}"


def rounded(number: float, places: int = 1) -> str:
    """Return a figure to so many places, zeros at the end left out: '14', '7.5', '1 204.3'."""
    return whole(float(Decimal(repr(float(number))).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)))


def hours(number: float) -> str:
    """Return hours by the clock: '41 h'."""
    return f"{rounded(number)}{NBSP}h"


def crew_hours(number: float) -> str:
    """Return hours of work: '14 crew h'."""
    return f"{rounded(number)}{NBSP}crew{NBSP}h"


def days(number: float) -> str:
    """Return expected days: '85 days', '0.4 days', '1 day'; below a twentieth '< 0.1 days'."""
    if 0.0 < number < 0.05:
        return f"<{NBSP}0.1{NBSP}days"
    shown = rounded(number, 0 if abs(number) >= 9.95 else 1)
    return f"{shown}{NBSP}{'day' if shown == '1' else 'days'}"


def percent(share: float) -> str:
    """Return a share in per cent as it was set: '20 %', '12.5 %'."""
    return f"{whole(float(Decimal(repr(float(share))).scaleb(2)))}{NBSP}%"
