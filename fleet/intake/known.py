"""What the store already holds of the things a source speaks of, and both together as one view."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fleet.intake.parsing import Table

Key = tuple[Any, ...]


@dataclass(slots=True)
class Stored:
    """One row of the store in the words of the format: its values by column, its row number, whether it is frozen.

    `state` is `signed` or `draft` for a session, `withdrawn` for a withdrawn fact, else empty.
    """

    id: int
    values: dict[str, Any]
    state: str = ""


@dataclass(slots=True)
class Known:
    """The store's side: rows by sheet and key.

    `sessions` and what hangs from them are loaded for the sessions a source names only. `corrected_by` tells which
    session corrects a named one.
    """

    rows: dict[str, dict[Key, Stored]] = field(default_factory=dict)
    corrected_by: dict[str, str] = field(default_factory=dict)

    def of(self, sheet: str) -> dict[Key, Stored]:
        """Return the rows of one sheet."""
        return self.rows.get(sheet, {})


@dataclass(slots=True)
class View:
    """Source and store together, as they would stand after the intake."""

    tables: dict[str, Table]
    known: Known
    unread: frozenset[str] = frozenset()
    _at: dict[str, dict[Key, int]] = field(default_factory=dict)

    def position(self, sheet: str) -> dict[Key, int]:
        """Return where each key of a sheet stands in the source."""
        if sheet not in self._at:
            table = self.tables.get(sheet)
            self._at[sheet] = {} if table is None else {key: at for at, key in enumerate(table.keys())}
        return self._at[sheet]

    def has(self, sheet: str, key: Key) -> bool:
        """Return whether a thing exists in the source or in the store; true where its file could not be read."""
        return key in self.position(sheet) or key in self.known.of(sheet) or sheet in self.unread

    def value(self, sheet: str, key: Key, column: str) -> Any:
        """Return what a column holds after the intake: the source's filled or emptying cell, else the store's value."""
        at = self.position(sheet).get(key)
        if at is not None:
            table = self.tables[sheet]
            given = table.values[column][at]
            if column in table.empties:
                return given
            if given is not None and (table.typed[column][at] or key not in self.known.of(sheet)):
                return given
        stored = self.known.of(sheet).get(key)
        return None if stored is None else stored.values.get(column)

    def keys(self, sheet: str) -> list[Key]:
        """Return every key of a sheet, the store's first, then the new ones in the source's order."""
        stored = self.known.of(sheet)
        return [*stored, *(key for key in self.position(sheet) if key not in stored)]
