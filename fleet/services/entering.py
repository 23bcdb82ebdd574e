"""What is entered beside a visit: a running check, the hour meter, an event, wear. By the same gate as a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from fleet.errors import InputError
from fleet.intake.layout import SHEET
from fleet.intake.raw import IntakeError
from fleet.intake.taking import take
from fleet.services.people import unverified
from fleet.services.recording.source import in_memory
from fleet.store.engine import Store

SHEETS: Final = {
    "running_checks": ("running check", "running checks"),
    "support_temperatures": ("temperature of a support", "temperatures of supports"),
    "meters": ("reading of the hour meter", "readings of the hour meter"),
    "events": ("event", "events"),
    "wear": ("measured diameter", "measured diameters"),
}
"""What can be entered, in words: one, several."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What was stored, in sentences; `rows` new rows, `nothing_new` where all of it was there already."""

    rows: int
    sentences: tuple[str, ...]
    lines: tuple[str, ...]
    nothing_new: bool


class EnteringError(IntakeError):
    """What was entered is not stored; its `problems` name field and remedy, row by row where there are several."""


def enter(
    store: Store,
    sheet: str,
    rows: Sequence[Mapping[str, str]],
    *,
    who: str,
    now: datetime | None = None,
    dry_run: bool = False,
) -> Taken:
    """Store rows typed on a page, all of them or none.

    Parameters
    ----------
    store : the record
    sheet : `running_checks`, `support_temperatures`, `meters`, `events` or `wear`
    rows : by column of the exchange format, text as typed; an empty text is not recorded
    who : typed name of the person
    now : the present moment, aware, for tests
    dry_run : only tell whether they could be stored

    Raises
    ------
    InputError
        No name was typed, or nothing was, or there is no such sheet or column.
    EnteringError
        Something in the rows cannot be stored; nothing was.
    """
    by = unverified(who)
    if sheet not in SHEETS:
        raise InputError(f"'{sheet}' is not entered here; what is: {', '.join(SHEETS)}.")
    unknown = sorted({name for row in rows for name in row} - set(SHEET[sheet].by_name))
    if unknown:
        raise InputError(f"'{unknown[0]}' is no column of {sheet}; the columns are {', '.join(SHEET[sheet].by_name)}.")
    given = [dict(row) for row in rows if any(text.strip() for text in row.values())]
    if not given:
        raise InputError("Nothing was typed, so nothing was stored.")
    one, several = SHEETS[sheet]
    source = in_memory(f"entered on the page, {several}", {sheet: given})
    moment = now or datetime.now(UTC)
    try:
        result = take(store, source, who=by, now=moment, dry_run=dry_run)
    except IntakeError as refused:
        label = source.tables[sheet].label
        told = tuple(_shortened(problem, label, len(given)) for problem in refused.problems)
        raise EnteringError(told, refused.count) from refused
    count = sum(result.taken.values())
    if result.nothing_new:
        said = "Nothing new: the record holds this already."
    else:
        said = f"{count} {one if count == 1 else several} {'would be' if dry_run else ''} stored.".replace("  ", " ")
    return Taken(count, (said, *result.remarks), result.lines, result.nothing_new)


def _shortened(problem: str, label: str, rows: int) -> str:
    """Return a problem without the name of a file that nobody sees; the row stays where there are several."""
    text = problem.removeprefix(f"{label} ")
    return text.partition(", ")[2] if rows == 1 and text.startswith("row ") and ", column" in text else text
