"""Giving records out in the exchange format: a folder of CSV files, a workbook, an empty workbook to fill in."""

from __future__ import annotations

from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

from fleet.errors import InputError
from fleet.intake.pages import is_wrong_ending, write_template
from fleet.intake.raw import IntakeError
from fleet.intake.workbook_writing import export_workbook
from fleet.intake.writing import export
from fleet.store.engine import Store


def export_records(store: Store, target: Path) -> str:
    """Write all signed sessions and facts; return what was written, in a sentence.

    Parameters
    ----------
    store : the record
    target : a workbook where its name ends in .xlsx, else a folder of CSV files

    Raises
    ------
    IntakeError
        The target cannot be written, is there already, or holds files that are not ours.
    """
    if is_wrong_ending(target):
        raise IntakeError((f"{target}: only XLSX workbooks are written; let its name end in .xlsx, or name a folder",))
    if target.suffix.lower() == ".xlsx":
        written = export_workbook(store, target)
        kind = "sheets"
    else:
        written = export(store, target)
        kind = "files"
    return f"{sum(written.rows.values())} rows in {len(written.rows)} {kind} written to {written.target}."


def export_file(store: Store, folder: Path, form: str, *, line: str | None = None) -> Path:
    """Write all records, or one line's, as one file to be sent: a workbook, or the CSV files together in a zip.

    Parameters
    ----------
    store : the record
    folder : an empty folder to write in
    form : `xlsx` or `zip`
    line : code of the line; none: all

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        There is no such form.
    IntakeError
        The record does not fit into a workbook, or cannot be written.
    """
    if form == "xlsx":
        target = folder / "records.xlsx"
        export_workbook(store, target, line=line)
        return target
    if form != "zip":
        raise InputError(f"records are not written as '{form}'; take them as xlsx or zip")
    files = folder / "records"
    export(store, files, line=line)
    target = folder / "records.zip"
    with ZipFile(target, "w", ZIP_DEFLATED) as packed:
        for file in sorted(files.iterdir()):
            packed.write(file, file.name)
    return target


def make_template(target: Path) -> str:
    """Write an empty workbook to be filled in and imported; return that, in a sentence.

    Raises
    ------
    IntakeError
        The file cannot be written, or is there already.
    """
    write_template(target)
    return f"Empty workbook written to {target}; fill it in and take it in with: asleft import {target}"
