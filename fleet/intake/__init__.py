"""The exchange format in and out: one description of all sheets (`layout`), readers of containers, checks, the store.

`csvfolder` reads a folder into raw cells (`raw`); `workbook` does the same with an XLSX file that `archive` found safe
to unpack, where `sheetcells` tells which text a cell stands for; `source` chooses between them by the path. `parsing`
and `cells` understand the texts, `checking` and `rules` look between rows, `loading` and `comparing` hold them against
the store, `taking` writes what is new in one transaction. `writing` goes the other way, `workbook_writing` into a
workbook laid out by `pages`, which makes the empty template too. A source is taken whole or not at all, and the same
content never twice.
"""

from __future__ import annotations

from fleet.intake.csvfolder import read_folder
from fleet.intake.pages import write_template
from fleet.intake.raw import IntakeError, Problem, RawTable, Source
from fleet.intake.source import read_source
from fleet.intake.taking import IntakeResult, LeftOut, MasterChange, take
from fleet.intake.workbook import read_workbook
from fleet.intake.workbook_writing import export_workbook
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
    "export_workbook",
    "read_folder",
    "read_source",
    "read_workbook",
    "take",
    "write_template",
]
