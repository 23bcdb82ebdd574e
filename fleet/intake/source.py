"""A source by its path: a folder of CSV files, or one workbook."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from fleet.intake.csvfolder import read_folder
from fleet.intake.raw import Source
from fleet.intake.workbook import read_workbook

WORKBOOK_ENDINGS: Final = (".xlsx", ".xlsm", ".xltx", ".xltm", ".xlsb", ".xls", ".ods")
"""Endings of files that are meant as workbooks; whether one is an XLSX workbook without macros is told by its bytes."""


def is_workbook(path: Path) -> bool:
    """Return whether a path is meant as a workbook rather than as a folder."""
    return path.suffix.lower() in WORKBOOK_ENDINGS and not path.is_dir()


def read_source(path: Path) -> Source:
    """Read a folder of CSV files, or a workbook.

    Raises
    ------
    IntakeError
        It cannot be read, or holds nothing of the format.
    """
    return read_workbook(path) if is_workbook(path) else read_folder(path)
