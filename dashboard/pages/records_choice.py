"""What an address of the Records page asks for; what it says that is nothing here falls back, and the page says so."""

from __future__ import annotations

from datetime import date
from typing import Final

from dashboard.address import Address
from fleet.services.records_page import SHOWS, WHATS, RecordsChoice

SHOW_WORDS: Final = {
    "intake": "what came in",
    "corrections": "corrections",
    "changes": "changes",
    "running-checks": "running checks",
    "meters": "meter readings",
    "tolerances": "tolerances",
    "events": "events",
    "wear": "wear",
    "findings": "findings",
}
WHAT_WORDS: Final = {
    "sources": "imports",
    "plant": "plant data",
    "visits": "visits",
    "drift": "changes of drift",
    "withdrawals": "withdrawals",
    "other": "anything else",
}
_MOST_PAGE: Final = 1_000_000


def asked(address: Address) -> tuple[RecordsChoice, tuple[str, ...]]:
    """Return what an address asks for, and a sentence for each value of it that is none.

    Parameters
    ----------
    address
        Of the Records page: `show`, `line`, `who`, `what`, `from`, `to`, `source`, `fact` and `page` are its own.
    """
    notes: list[str] = []
    show, what = address.said("show"), address.said("what")
    if show is not None and show not in SHOWS:
        notes.append(f"‘{show}’ is no list of this page; the first of everything is shown.")
        show = None
    if what is not None and what not in WHATS:
        notes.append(f"‘{what}’ is no kind of change; changes of every kind are shown.")
        what = None
    first, last = _day(address.said("from"), notes), _day(address.said("to"), notes)
    if first is not None and last is not None and first > last:
        notes.append(f"{first.isoformat()} comes after {last.isoformat()}; every day is shown.")
        first = last = None
    return (
        RecordsChoice(
            show=show,
            line=address.said("line"),
            who=address.said("who"),
            what=what,
            from_on=first,
            to_on=last,
            source=_whole(address.said("source"), notes, "number of a source; the list of all is shown"),
            fact=address.said("fact"),
            page=_whole(address.said("page"), notes, "page number; the first page is shown") or 1,
        ),
        tuple(notes),
    )


def _day(said: str | None, notes: list[str]) -> date | None:
    if said is None:
        return None
    try:
        return date.fromisoformat(said)
    except ValueError:
        notes.append(f"‘{said}’ is not a day; write it as 2026-11-25. Shown without it.")
        return None


def _whole(said: str | None, notes: list[str], what: str) -> int | None:
    if said is None:
        return None
    if said.isascii() and said.isdigit() and 1 <= int(said) <= _MOST_PAGE:
        return int(said)
    notes.append(f"‘{said}’ is no {what}.")
    return None
