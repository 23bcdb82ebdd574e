"""How a workbook of ours looks: a page a sheet, its header frozen, help and choices at every cell.

Used by the export and by the empty template, so that what was exported can be filled in further.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from fleet.intake.layout import FLAGS, MOST_ROWS, SETTINGS, SHEETS, UNITS, Column, Sheet
from fleet.intake.raw import IntakeError
from fleet.intake.source import WORKBOOK_ENDINGS

DAY_FORMAT: Final = "yyyy-mm-dd"
MINUTE_FORMAT: Final = "yyyy-mm-dd hh:mm"
SECOND_FORMAT: Final = "yyyy-mm-dd hh:mm:ss"
_LAST: Final = MOST_ROWS - 1
_TITLE_CHARACTERS: Final = 32
_MESSAGE_CHARACTERS: Final = 255
_WIDTHS: Final = {"text": 24, "code": 14, "time": 18, "date": 12}
_LEAST_WIDTH: Final = 9
_HEADER: Final = {"bold": True, "bottom": 1, "valign": "top"}
_OPTIONAL: Final = {"italic": True, "bottom": 1, "valign": "top"}


class Book:
    """A workbook being written beside its target; it takes the target's place when all of it is there."""

    def __init__(self, target: Path) -> None:
        import xlsxwriter

        self.target = target
        self.part = target.with_name(f".{target.name}.part")
        self.place = tempfile.TemporaryDirectory()
        # Row by row to the disk: the cells of a long history never stand in memory together
        self.book = xlsxwriter.Workbook(str(self.part), {"constant_memory": True, "tmpdir": self.place.name})
        self.closed = False
        self.formats: dict[str, Any] = {}

    def format(self, number_format: str) -> Any:
        """Return the cell format that shows values so."""
        if number_format not in self.formats:
            self.formats[number_format] = self.book.add_format({"num_format": number_format})
        return self.formats[number_format]

    def page(self, sheet: Sheet) -> Any:
        """Add the page of a sheet: header, widths, formats, choices and help."""
        page = self.book.add_worksheet(sheet.name)
        page.freeze_panes(1, 0)
        required, optional = (self.book.add_format(each) for each in (_HEADER, _OPTIONAL))
        for at, column in enumerate(sheet.columns):
            shown = _column_format(column)
            width = max(_WIDTHS.get(column.kind, _LEAST_WIDTH), len(column.name) + 2)
            page.set_column(at, at, width, self.format(shown) if shown else None)
            page.data_validation(1, at, _LAST, at, _validation(sheet, column))
        page.ignore_errors({"number_stored_as_text": f"A2:XFD{MOST_ROWS}"})
        for at, column in enumerate(sheet.columns):
            page.write_string(0, at, column.name, required if column.required else optional)
        return page

    def finish(self) -> None:
        """Close the workbook and put it in the target's place."""
        self.closed = True
        self.book.close()
        if self.target.exists():
            raise _there(self.target)
        self.part.replace(self.target)

    def discard(self) -> None:
        """Take away what was not finished, and what the library laid down beside it."""
        from xlsxwriter.exceptions import XlsxWriterException

        if not self.closed and self.book.worksheets():
            # The library lets go of its own files only when it closes; what failed first is what the person is told
            with contextlib.suppress(OSError, XlsxWriterException):
                self.book.close()
        self.part.unlink(missing_ok=True)
        self.place.cleanup()


def check_target(target: Path) -> None:
    """Refuse a place where no workbook can be written.

    Raises
    ------
    IntakeError
        The name does not end in .xlsx, something stands there already, or its folder is missing.
    """
    if target.suffix.lower() != ".xlsx":
        raise IntakeError((f"{target}: a workbook's name ends in .xlsx; name it so",))
    if target.exists() or target.is_symlink():
        raise _there(target)
    if not target.parent.is_dir():
        raise IntakeError((f"{target}: there is no folder {target.parent}; make it or name another",))


def unwritten(target: Path, error: Exception) -> IntakeError:
    """Return the error about a workbook that could not be written to the disk."""
    reason = getattr(error, "strerror", None) or str(error)
    return IntakeError((f"{target}: cannot be written ({reason}); check the folder and the disk",))


def write_template(target: Path) -> None:
    """Write an empty workbook with every sheet of the format, to be filled in and imported later.

    Parameters
    ----------
    target
        A file that is not there yet, its name ending in .xlsx.

    Raises
    ------
    IntakeError
        The file is there already or cannot be written.
    """
    from xlsxwriter.exceptions import XlsxWriterException

    check_target(target)
    book = Book(target)
    try:
        for sheet in SHEETS:
            book.page(sheet)
        book.finish()
    except (OSError, XlsxWriterException) as error:
        raise unwritten(target, error) from error
    finally:
        book.discard()


def _there(target: Path) -> IntakeError:
    return IntakeError((f"{target}: there is something of this name already; name another file",))


def _column_format(column: Column) -> str:
    match column.kind:
        case "date":
            return DAY_FORMAT
        case "time":
            return MINUTE_FORMAT
        case "code" | "text":
            # As text, so that a code such as 007 or 3-4 stays what was typed
            return "@"
        case _:
            return ""


def _validation(sheet: Sheet, column: Column) -> dict[str, Any]:
    """Return what a spreadsheet offers and says at the cells of a column.

    Only closed words are enforced there; all else is checked when the workbook comes in, with better sentences.
    """
    said: dict[str, Any] = {
        "validate": "any",
        "input_title": column.name[:_TITLE_CHARACTERS],
        "input_message": _help(column)[:_MESSAGE_CHARACTERS],
    }
    closed = _closed(sheet, column)
    choices = closed or column.usual
    if choices:
        said |= {"validate": "list", "source": list(choices)}
    if closed:
        said |= {"error_title": column.name[:_TITLE_CHARACTERS], "error_message": _one_of(closed)}
    elif choices:
        said["show_error"] = False
    return said


def _closed(sheet: Sheet, column: Column) -> Sequence[str]:
    if column.kind == "unit":
        return UNITS
    if column.kind == "flag":
        return FLAGS
    if sheet.name == "settings" and column.name == "name":
        return SETTINGS
    return column.words


def _one_of(choices: Sequence[str]) -> str:
    return f"One of: {', '.join(choices)}"[:_MESSAGE_CHARACTERS]


def _help(column: Column) -> str:
    return f"{column.help} {'Has to be filled.' if column.required else 'May stay empty.'}"


def is_wrong_ending(target: Path) -> bool:
    """Return whether a target is named like a workbook of a kind that is not written."""
    return target.suffix.lower() in WORKBOOK_ENDINGS and target.suffix.lower() != ".xlsx"
