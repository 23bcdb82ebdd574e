"""Labels for the machines: the line's code in big letters, and the code that opens its job sheet. The content."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

SET_BASE_URL: Final = (
    "No QR codes: set ASLEFT_BASE_URL to the address of this Asleft as the phones at the machines reach it "
    "(such as https://asleft.plant.example), then print again."
)


@dataclass(frozen=True, slots=True)
class Label:
    """One machine's label; `address` is where its job sheet is, None where the base address is not set."""

    line: str
    site: str | None
    description: str | None
    address: str | None


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Labels to print, by line; `chosen` says in words which lines they are; `as_of` the day the record was read."""

    labels: tuple[Label, ...]
    chosen: str
    as_of: date
