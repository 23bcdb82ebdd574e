"""Reading from the store what a source speaks of, and no more than that."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from typing import Any, Final

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from fleet.intake.cells import unshielded
from fleet.intake.homes import MODELS, Ids, Shelf, fetch
from fleet.intake.known import Known, Stored
from fleet.intake.layout import SESSION_SHEETS
from fleet.intake.parsing import Places
from fleet.intake.raw import Source
from fleet.store import (
    Event,
    Meter,
    RunningCheck,
    Station,
    Support,
    SupportTemperature,
    Survey,
    Tolerance,
    VisitSession,
)
from fleet.store.bulk import table_of

_CHUNK: Final = 500
_ALWAYS: Final = ("sites", "lines", "gearboxes", "barrels", "screws", "instruments", "outages")


def chunks(codes: Iterable[Any]) -> Iterator[list[Any]]:
    """Yield codes in portions a statement can hold."""
    listed = sorted(set(codes))
    for start in range(0, len(listed), _CHUNK):
        yield listed[start : start + _CHUNK]


def named(source: Source, *columns: tuple[str, str]) -> set[str]:
    """Return the codes in some columns of a source, as they are compared."""
    found: set[str] = set()
    for sheet, column in columns:
        table = source.tables.get(sheet)
        if table is not None:
            found |= set(table.columns.get(column, ()))
    return {unicodedata.normalize("NFC", unshielded(text)) for text in found - {""}}


class Library:
    """The store's rows around one source, read once; `ids` and `known` grow with each shelf."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.ids = Ids()
        self.known = Known()
        self.shelves: dict[str, Shelf] = {}

    def take(self, sheet: str, *conditions: ColumnElement[bool]) -> Shelf:
        """Read rows of a sheet and make them known by key."""
        shelf = fetch(self.session, sheet, self.ids, *conditions)
        rows = self.known.rows.setdefault(sheet, {})
        columns = list(shelf.values.values())
        names = list(shelf.values)
        for at, key in enumerate(shelf.keys()):
            if shelf.state[at] == "withdrawn":
                continue
            rows[key] = Stored(shelf.ids[at], {n: c[at] for n, c in zip(names, columns, strict=True)}, shelf.state[at])
        self.shelves[sheet] = _joined(self.shelves.get(sheet), shelf)
        return shelf

    def contents(self, sheet: str, sessions: set[str]) -> Shelf:
        """Read what hangs from some sessions, without making it known row by row."""
        whole: Shelf | None = None
        surveys = [number for key, number in self.ids.by_key.get("surveys", {}).items() if key[0] in sessions]
        numbers = [self.ids.by_key["sessions"][code,] for code in sessions if (code,) in self.ids.by_key["sessions"]]
        table = table_of(MODELS[sheet])
        owners, column = (numbers, "session_id") if "session_id" in table.c else (surveys, "survey_id")
        for portion in chunks(owners):
            whole = _joined(whole, fetch(self.session, sheet, self.ids, table.c[column].in_(portion)))
        return whole if whole is not None else fetch(self.session, sheet, self.ids, table.c.id < 0)


def _joined(first: Shelf | None, second: Shelf) -> Shelf:
    if first is None:
        return second
    return Shelf(
        first.sheet,
        first.ids + second.ids,
        {name: values + second.values[name] for name, values in first.values.items()},
        {name: values + second.entered[name] for name, values in first.entered.items()},
        first.typed + second.typed,
        first.state + second.state,
    )


def load(session: Session, source: Source) -> tuple[Library, Places]:
    """Read everything of the store a source refers to or repeats.

    Parameters
    ----------
    session
        An open session of the store.
    source
        The source, not yet understood: its texts say which lines and sessions matter.

    Returns
    -------
    tuple
        The rows, and where lines and sessions stand.
    """
    library = Library(session)
    for sheet in _ALWAYS:
        library.take(sheet)
    ids, known = library.ids, library.known
    codes = named(
        source, *((sheet, "session") for sheet in (*SESSION_SHEETS, "support_temperatures")), ("sessions", "corrects")
    )
    _sessions(library, codes)
    lines = named(source, *((sheet, "line") for sheet in source.tables))
    lines |= {stored.values["line"] for stored in known.of("sessions").values()}
    numbers = [ids.by_key["lines"][code,] for code in lines if (code,) in ids.by_key["lines"]]
    _by_line(library, "supports", Support.line_id, numbers)
    _by_line(library, "stations", Station.line_id, numbers)
    if "placements" in source.tables:
        library.take("placements")
    if {"calibrations", "sessions"} & source.tables.keys():
        library.take("calibrations")
    if "settings" in source.tables:
        library.take("settings")
    if "wear" in source.tables:
        library.take("wear")
    for sheet, column in (
        ("tolerances", Tolerance.line_id),
        ("running_checks", RunningCheck.line_id),
        ("meters", Meter.line_id),
        ("events", Event.line_id),
        ("support_temperatures", SupportTemperature.line_id),
    ):
        if sheet in source.tables or (sheet == "running_checks" and "support_temperatures" in source.tables):
            _by_line(library, sheet, column, numbers)
    places = Places(
        site_zone={
            key[0]: row.values["time_zone"] for key, row in known.of("sites").items() if row.values["time_zone"]
        },
        line_site={key[0]: row.values["site"] for key, row in known.of("lines").items()},
        session_line={key[0]: row.values["line"] for key, row in known.of("sessions").items()},
    )
    return library, places


def _by_line(library: Library, sheet: str, column: Any, numbers: list[int]) -> None:
    if len(numbers) > _CHUNK:
        library.take(sheet, column.is_not(None))
        return
    for portion in chunks(numbers):
        library.take(sheet, column.in_(portion))


def _sessions(library: Library, codes: set[str]) -> None:
    """Read the named sessions, those they correct, those that correct them, and their surveys."""
    ids, known, session = library.ids, library.known, library.session
    wanted: set[int] = set()
    corrected: dict[int, str] = {}
    for portion in chunks(codes):
        found = session.execute(select(VisitSession.id, VisitSession.corrects_id).where(VisitSession.code.in_(portion)))
        for number, old in found:
            wanted |= {number} if old is None else {number, old}
    for portion in chunks(wanted):
        rows = session.execute(
            select(VisitSession.corrects_id, VisitSession.code).where(VisitSession.corrects_id.in_(portion))
        )
        corrected.update({old: code for old, code in rows if old is not None})
    # Whom a row corrects has to be known before the row is read
    for portion in chunks(wanted):
        rows = session.execute(select(VisitSession.id, VisitSession.code).where(VisitSession.id.in_(portion)))
        olds = session.execute(
            select(VisitSession.id, VisitSession.code).where(
                VisitSession.id.in_(select(VisitSession.corrects_id).where(VisitSession.id.in_(portion)))
            )
        )
        for number, code in [*rows, *olds]:
            ids.add("sessions", [(code,)], [number])
    for portion in chunks(wanted):
        library.take("sessions", VisitSession.id.in_(portion))
        library.take("surveys", Survey.session_id.in_(portion))
    known.corrected_by = {ids.by_id["sessions"][old][0]: code for old, code in corrected.items()}
    ids.session_line.update({key[0]: row.values["line"] for key, row in known.of("sessions").items()})
