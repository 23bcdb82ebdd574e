"""One cell at a time: from its text to a value, by the rules of the exchange format.

Each parser takes a text that is not empty and raises `InputError` with a sentence that names the value and what would
be right. `typed` values (what an export writes again) are the texts these functions call normal: numbers without the
spaces around them and with a decimal point, codes in Unicode NFC.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

from fleet.errors import InputError
from fleet.intake.layout import CODE_CHARACTERS, Column
from fleet.intake.raw import shown
from fleet.units import UM_PER, normal_unit

_NUMBER: Final = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")
_DAY: Final = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_TIME: Final = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})T([0-9]{2}):([0-9]{2})(?::([0-9]{2}))?(Z|([+-])([0-9]{2}):([0-9]{2}))?"
)
_SHIELDED: Final = re.compile(r"'+[=+\-@]")
_RISKY: Final = re.compile(r"'*[=+\-@]")
_FLAGS: Final = {"yes": True, "no": False}
FIRST_DAY: Final = date(1900, 1, 1)
LAST_DAY: Final = date(2199, 12, 31)


def unshielded(text: str) -> str:
    """Return text from a file without the one apostrophe that shields a leading =, +, - or @."""
    return text[1:] if _SHIELDED.match(text) else text


def shielded(text: str) -> str:
    """Return text for a file: one more apostrophe where a spreadsheet would take the text for a formula."""
    return "'" + text if _RISKY.match(text) else text


def normal_code(text: str) -> str:
    """Return a code in Unicode NFC.

    Raises
    ------
    InputError
        It is longer than 64 characters, has a space at an end or a control character inside.
    """
    code = unicodedata.normalize("NFC", text)
    if code != code.strip():
        raise InputError(f"{shown(text)} has a space at an end; take it away")
    if any(unicodedata.category(c) == "Cc" for c in code):
        raise InputError(f"{shown(text)} holds a control character; a code has none")
    if len(code) > CODE_CHARACTERS:
        raise InputError(f"{shown(text)} has {len(code)} characters; a code has at most {CODE_CHARACTERS}")
    return code


def normal_text(text: str, column: Column) -> str:
    """Return free text without the apostrophe that shields it, every character kept."""
    kept = unshielded(text)
    if len(kept) > column.most:
        raise InputError(f"{shown(text)} has {len(kept)} characters; at most {column.most} are kept here")
    return kept


def is_number(text: str) -> bool:
    """Return whether a text is a number of the format."""
    return _NUMBER.fullmatch(text) is not None


def normal_number(text: str, *, decimal_comma: bool) -> str:
    """Return a number's text with spaces trimmed and a decimal point; empty where only spaces stood.

    Raises
    ------
    InputError
        The text is no `[+-]digits[.digits]`.
    """
    number = text.strip()
    if decimal_comma:
        number = number.replace(",", ".")
    if number and not _NUMBER.fullmatch(number):
        if not decimal_comma and "," in number:
            raise InputError(f"{shown(text)} is not a number; write a decimal point")
        raise InputError(f"{shown(text)} is not a number; write digits, with a decimal point where needed")
    return number


def within(number: Decimal, column: Column, text: str) -> None:
    """Refuse a number outside its column's bounds.

    Raises
    ------
    InputError
        It lies outside, or on a bound that is not part of the range.
    """
    low, high = column.low, column.high
    if low is None or high is None:
        return
    if low <= number <= high and not (column.open_ends and number in (low, high)):
        return
    if low == 0 and number < 0:
        raise InputError(f"{shown(text)} is negative; write a number from 0 to {high}")
    between = "between" if column.open_ends else "from"
    joint = "and" if column.open_ends else "to"
    raise InputError(f"{shown(text)} is out of range; write a number {between} {low} {joint} {high}")


def number_of(text: str, column: Column) -> float:
    """Return a normal number as a float within the column's bounds."""
    number = Decimal(text)
    within(number, column, text)
    return float(number)


def whole_of(text: str, column: Column) -> int:
    """Return a normal number as a whole one within the column's bounds."""
    number = Decimal(text)
    within(number, column, text)
    if number != number.to_integral_value():
        raise InputError(f"{shown(text)} is not a whole number; write one")
    return int(number)


def unit_of(text: str) -> str:
    """Return the unit's own spelling (the micro sign is um)."""
    return normal_unit(text)


def length_um(text: str, unit: str, column: Column) -> float:
    """Return a normal number in its unit as micrometres, within the column's bounds (50 mm, most of them)."""
    um = Decimal(text) * UM_PER[unit]
    low, high = column.low, column.high
    if low is not None and high is not None and not low <= um <= high:
        if low == 0 and um < 0:
            raise InputError(f"{shown(text)} {unit} is negative; it cannot be")
        raise InputError(f"{shown(text)} {unit} is beyond {(high / 1000).normalize():f} mm; check number and unit")
    return float(um)


def flag_of(text: str) -> bool:
    """Return yes as true and no as false."""
    if text not in _FLAGS:
        raise InputError(f"{shown(text)} is neither yes nor no; write one of them")
    return _FLAGS[text]


def word_of(text: str, column: Column) -> str:
    """Return a closed word, in exact case."""
    if text not in column.words:
        raise InputError(f"{shown(text)} is not one of {', '.join(column.words)}; write one of them")
    return text


def day_of(text: str, column: Column, *, today: date) -> date:
    """Return a day written YYYY-MM-DD, between 1900 and tomorrow where the thing has happened."""
    match = _DAY.fullmatch(text)
    if match is None:
        raise InputError(f"{shown(text)} is not a date; write YYYY-MM-DD")
    day = _real_day(text, match)
    _in_range(text, day, column, today)
    return day


def _real_day(text: str, match: re.Match[str]) -> date:
    try:
        return date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        raise InputError(f"{shown(text)} is no day of the calendar; write YYYY-MM-DD") from None


def _in_range(text: str, day: date, column: Column, today: date) -> None:
    if day < FIRST_DAY:
        raise InputError(f"{shown(text)} lies before 1900; check the year")
    if column.happened and day > today + timedelta(days=1):
        raise InputError(f"{shown(text)} lies ahead, after tomorrow ({today + timedelta(days=1)}); check the date")
    if day > LAST_DAY:
        raise InputError(f"{shown(text)} lies after 2199; check the year")


def time_of(text: str, column: Column, *, zone: str, today: date) -> datetime:
    """Return the moment a text names, in UTC.

    Parameters
    ----------
    text
        `YYYY-MM-DD` (the day's beginning; its end in a column that ends something) or `YYYY-MM-DDTHH:MM[:SS]`,
        with `Z`, `+HH:MM`, `-HH:MM` or without.
    column
        The column it stands in: whether it lies in the past, whether it needs a time of day.
    zone
        IANA name of the site's time zone, in which a time without an offset is read.
    today
        The day of the intake.

    Raises
    ------
    InputError
        No such time; a clock change skips it, or repeats it and no offset says which is meant.

    References
    ----------
    ISO 8601-1:2019, 5.4.2 (date and time of day, extended format); PEP 495 (times that repeat and times that are not).
    """
    match = _TIME.fullmatch(text)
    if match is None:
        only_day = _DAY.fullmatch(text)
        if only_day is None:
            raise InputError(
                f"{shown(text)} is not a time; write YYYY-MM-DDTHH:MM, with an offset such as +01:00 or not"
            )
        if column.clock:
            raise InputError(f"{shown(text)} has no time of day; write YYYY-MM-DDTHH:MM")
        day = _real_day(text, only_day)
        _in_range(text, day, column, today)
        return _beginning(day + timedelta(days=1) if column.ends else day, zone)
    day = _real_day(text, match)
    hour, minute, second = int(match[4]), int(match[5]), int(match[6] or 0)
    if hour > 23 or minute > 59 or second > 59:
        raise InputError(f"{shown(text)} has no such time of day; hours end at 23, minutes and seconds at 59")
    _in_range(text, day, column, today)
    local = datetime.combine(day, time(hour, minute, second))
    if match[7] is None:
        return _moment(text, local, zone)
    if match[7] == "Z":
        return local.replace(tzinfo=UTC)
    ahead, behind = int(match[9]), int(match[10])
    if ahead > 23 or behind > 59:
        raise InputError(f"{shown(text)} has no such offset; write one such as +01:00")
    offset = timedelta(hours=ahead, minutes=behind) * (1 if match[8] == "+" else -1)
    return local.replace(tzinfo=timezone(offset)).astimezone(UTC)


def _moment(text: str, local: datetime, zone: str) -> datetime:
    where = zone_of(zone)
    first = local.replace(tzinfo=where).astimezone(UTC)
    second = local.replace(tzinfo=where, fold=1).astimezone(UTC)
    if first == second:
        return first
    if first.astimezone(where).replace(tzinfo=None, fold=0) != local:
        raise InputError(f"{shown(text)} does not exist in {zone}: the clock change skips it; check the time")
    offsets = " or ".join(_offset_text(local.replace(tzinfo=where, fold=fold)) for fold in (0, 1))
    raise InputError(f"{shown(text)} happens twice in {zone}, at a clock change; add its offset, {offsets}")


def _offset_text(moment: datetime) -> str:
    digits = f"{moment:%z}"
    return f"{digits[:3]}:{digits[3:5]}"


def _beginning(day: date, zone: str) -> datetime:
    """Return the first moment of a day; where a clock change skips midnight, the moment of the change."""
    return datetime.combine(day, time(), zone_of(zone)).astimezone(UTC)


@cache
def zone_of(name: str) -> ZoneInfo:
    """Return a time zone by its IANA name.

    Raises
    ------
    InputError
        There is no such zone.
    """
    if name not in _zones():
        raise InputError(f"{shown(name)} is not a time zone; write an IANA name such as Europe/London")
    return ZoneInfo(name)


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones()) - {"localtime", "Factory"}


def plain(number: float) -> str:
    """Return a number that was never typed as a file writes it: shortest digits, no exponent."""
    text = f"{Decimal(repr(number)):f}"
    return text.removesuffix(".0")


def utc_text(moment: datetime) -> str:
    """Return a moment as a file writes it where nothing was typed, or where what was typed no longer means it."""
    at = moment.astimezone(UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}Z" if at.second else f"{at:%Y-%m-%dT%H:%M}Z"
