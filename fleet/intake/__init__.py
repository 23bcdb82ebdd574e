"""The exchange format in and out: one description of all sheets (`layout`), readers of containers, checks, the store.

`csvfolder` reads a folder into raw cells (`raw`), `parsing` and `cells` understand them, `checking` and `rules` look
between rows, `loading` and `comparing` hold them against the store, `taking` writes what is new in one transaction.
`writing` goes the other way. A source is taken whole or not at all, and the same content never twice.
"""

from __future__ import annotations

from fleet.intake.csvfolder import read_folder
from fleet.intake.raw import IntakeError, Problem, RawTable, Source
from fleet.intake.taking import IntakeResult, LeftOut, MasterChange, take
from fleet.intake.writing import ExportResult, export

__all__ = [
    "ExportResult",
    "IntakeError",
    "IntakeResult",
    "LeftOut",
    "MasterChange",
    "Problem",
    "RawTable",
    "Source",
    "export",
    "read_folder",
    "take",
]
