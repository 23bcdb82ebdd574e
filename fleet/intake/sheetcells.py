"""One cell of a workbook: from what the spreadsheet holds to the text a CSV file would hold.

A spreadsheet turns what is typed into numbers, dates and truth values. Where the text that was meant is beyond doubt it
is given back as it is shown; where it is not (a code that became a date), the cell is refused with a sentence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final

from fleet.errors import InputError
from fleet.intake.layout import Column
from fleet.intake.raw import shown

_ESCAPE: Final = re.compile(r"_x([0-9A-Fa-f]{4})_")
_PLACES: Final = re.compile(r"0\.(0+)")
_ZEROS: Final = re.compile(r"0{2,64}")
_DIGITS: Final = 15
_AS_TEXT: Final = "format the cell as text and type it again"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell that holds something.

    `kind` is `text`, `number`, `truth`, `time`, `error` or `formula`; `format` the spreadsheet's number format, which
    for a time says whether a time of day is shown.
    """

    kind: str
    value: Any
    format: str = "General"
    clock: bool = False


def text_of(cell: Cell, column: Column | None) -> str:
    """Return the text that stands in a cell, as a CSV file would hold it.

    Parameters
    ----------
    cell
        The cell.
    column
        The column it stands in; none for a header.

    Raises
    ------
    InputError
        The cell holds a formula, an error, or something the spreadsheet made of a text that cannot be known any more.
    """
    kind = column.kind if column is not None else "text"
    match cell.kind:
        case "text":
            return _text(cell.value, kind)
        case "number":
            return _number(cell, kind)
        case "truth":
            said = "TRUE" if cell.value else "FALSE"
            if kind == "flag":
                return "yes" if cell.value else "no"
            if kind in ("code", "text"):
                raise InputError(f"{said} is a truth value where text is expected; {_AS_TEXT}")
            return said
        case "time":
            return _time(cell, column)
        case "error":
            raise InputError(
                f"{shown(str(cell.value))} is an error of the spreadsheet; write the value or empty the cell"
            )
        case _:
            raise InputError(
                f"{shown(str(cell.value))} is a formula, and formulas are not read; "
                "put the value itself in its place (copy, then paste as values)"
            )


def _text(value: str, kind: str) -> str:
    # ECMA-376-1:2016, 22.9.2.19 (ST_Xstring): characters that XML cannot hold are written _xHHHH_
    text = _ESCAPE.sub(_unescaped, value) if "_x" in value else value
    if "\0" in text:
        raise InputError(f"{shown(text)} holds a NUL character; take it out")
    if kind == "flag" and text in ("TRUE", "FALSE"):
        return "yes" if text == "TRUE" else "no"
    return text


def _unescaped(match: re.Match[str]) -> str:
    number = int(match[1], 16)
    return match[0] if 0xD800 <= number <= 0xDFFF else chr(number)


def digits_of(number: float) -> str:
    """Return a number as digits without an exponent, to the 15 significant digits a spreadsheet keeps.

    A result such as 0.1 + 0.2 that was pasted as a value is 0.30000000000000004 inside and 0.3 for every reader.
    """
    exact = Decimal(repr(number))
    if len(exact.normalize().as_tuple().digits) > _DIGITS:
        exact = Decimal(f"{number:.{_DIGITS}g}")
    text = f"{exact:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _number(cell: Cell, kind: str) -> str:
    text = digits_of(cell.value)
    if kind == "code":
        return _code(cell, text)
    places = _PLACES.fullmatch(cell.format)
    if places is not None:
        # Zeros that a fixed format shows were typed, or say to what step the number is known
        whole, _, part = text.partition(".")
        return f"{whole}.{part.ljust(len(places[1]), '0')}"
    return text


def _code(cell: Cell, text: str) -> str:
    """Return the code that a number is shown as, where no other code could have become the same number."""
    if _ZEROS.fullmatch(cell.format) and text.isdigit():
        return text.zfill(len(cell.format))
    if cell.format not in ("General", "0", "@") or not text.removeprefix("-").isdigit():
        raise InputError(f"the number {text} stands where a code is expected, and may have lost digits; {_AS_TEXT}")
    if len(text) > _DIGITS:
        raise InputError(f"the number {text} is too long to be kept digit by digit; {_AS_TEXT}")
    return text


def _time(cell: Cell, column: Column | None) -> str:
    value = cell.value
    kind = column.kind if column is not None else "text"
    if isinstance(value, datetime):
        # Times of day are fractions of a day in a workbook, exact to far less than a second
        moment = (value + timedelta(milliseconds=500)).replace(microsecond=0)
        text = _said(moment, cell)
    elif isinstance(value, date):
        moment, text = datetime.combine(value, time()), value.isoformat()
    else:
        moment, text = None, str(value)
    if kind in ("code", "text"):
        raise InputError(f"the date {text} stands where text is expected, a spreadsheet may have made it; {_AS_TEXT}")
    if column is not None and moment is not None and text.endswith("T00:00") and (column.clock or column.ends):
        # A cell that shows hours shows 00:00 too where only a date was typed
        day = text[: -len("T00:00")]
        other = f" or {day} for the end of that day" if column.ends else ""
        raise InputError(
            f"{text} may be a date to which the spreadsheet added 00:00; type the time of day, "
            f"or as text {text} for midnight{other}"
        )
    return text


def _said(moment: datetime, cell: Cell) -> str:
    if moment.time() == time() and not cell.clock:
        return moment.date().isoformat()
    return moment.isoformat(timespec="seconds" if moment.second else "minutes")
