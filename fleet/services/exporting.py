"""Giving records out in the exchange format."""

from __future__ import annotations

from pathlib import Path

from fleet.intake.writing import export
from fleet.store.engine import Store


def export_folder(store: Store, target: Path) -> str:
    """Write all signed sessions and facts as CSV files; return what was written, in a sentence.

    Raises
    ------
    IntakeError
        The folder cannot be written, or holds files that are not ours.
    """
    written = export(store, target)
    return f"{sum(written.rows.values())} rows in {len(written.rows)} files written to {written.target}."
