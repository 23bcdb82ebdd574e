"""Rows as a container yields them, before anything is understood: the common ground of folder and workbook.

A reader of a container gives one `RawTable` per sheet it found, its cells as text column by column, and the problems
that concern the container itself. Everything after that is the same for every container.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from fleet.errors import FleetError
from fleet.intake.layout import MOST_CHARACTERS, MOST_COLUMNS, SHEET

PROBLEMS_SHOWN: Final = 200
_SHOWN: Final = 60


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that keeps rows from being taken.

    `label` names the file or sheet as the reader of the message knows it; `row` counts from the header, which is 1;
    `session` names the session the row hangs from, where it does.
    """

    label: str
    row: int | None
    column: str | None
    text: str
    session: str | None = None

    def __str__(self) -> str:
        place = self.label
        if self.row is not None:
            place += f" row {self.row}"
        if self.column is not None:
            place += f", column {self.column}"
        return f"{place}: {self.text}"


class IntakeError(FleetError):
    """A source is not taken; `problems` holds the first 200 as sentences, `count` how many there were.

    The text of the error is those sentences, one a line, and at the end how many more there are. `places` holds the
    problems of its rows one by one, all of them, where it was read as far as that.
    """

    def __init__(self, problems: tuple[str, ...], count: int | None = None, places: tuple[Problem, ...] = ()) -> None:
        self.places = places
        self.problems = problems[:PROBLEMS_SHOWN]
        self.count = len(problems) if count is None else count
        lines = list(self.problems)
        if self.count > len(self.problems):
            lines.append(f"... and {self.count - len(self.problems)} more problems")
        super().__init__("\n".join(lines))


def refusal(problems: list[Problem]) -> IntakeError:
    """Return the error that names these problems."""
    return IntakeError(
        tuple(str(problem) for problem in problems[:PROBLEMS_SHOWN]), len(problems), places=tuple(problems)
    )


@dataclass(frozen=True, slots=True)
class RawTable:
    """The cells of one sheet.

    Parameters
    ----------
    name
        Name of the sheet, as in `layout.SHEETS`.
    label
        What messages call it: `readings.csv`, or `sheet readings`.
    columns
        Texts by column name, all of one length; an empty text is an empty cell.
    rows
        Row number of each record in its container.
    decimal_comma
        Whether numbers may be written with a comma.
    empties
        Whether an empty cell takes away what a known row of master data holds, as on a form that shows it; in a file
        an empty cell says nothing.
    """

    name: str
    label: str
    columns: dict[str, list[str]]
    rows: list[int]
    decimal_comma: bool = False
    empties: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """All a container holds: its sheets by name, a digest of its bytes, and what is wrong with the container itself.

    `unread` names sheets that are there but could not be read, so that references to them raise no second message.
    `container` says what it is where it is a file.
    """

    name: str
    sha256: str
    tables: dict[str, RawTable]
    problems: list[Problem] = field(default_factory=list)
    unread: frozenset[str] = frozenset()
    container: Literal["folder", "workbook"] | None = None

    @property
    def rows(self) -> int:
        """How many rows were read, headers left out."""
        return sum(len(table.rows) for table in self.tables.values())


def shown(text: str) -> str:
    """Return a cell's text in quotes, shortened, with control characters made visible."""
    cut = text if len(text) <= _SHOWN else text[:_SHOWN] + "..."
    return "'" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in cut) + "'"


def header_problems(name: str, label: str, header: list[str], row: int) -> list[Problem]:
    """Return what is wrong with a header row: unknown, repeated, empty or missing columns."""
    sheet = SHEET[name]
    problems: list[Problem] = []
    if len(header) > MOST_COLUMNS:
        return [Problem(label, row, None, f"{len(header)} columns; at most {MOST_COLUMNS} are read")]
    seen: set[str] = set()
    lower = {column.lower(): column for column in sheet.by_name}
    known = ", ".join(sheet.by_name)
    what = "sheet" if label.startswith("sheet ") else "file"
    for position, column in enumerate(header, start=1):
        if column in seen:
            problems.append(Problem(label, row, None, f"column {shown(column)} stands twice; keep one of them"))
        elif column == "":
            problems.append(Problem(label, row, None, f"column {position} has no name; name it or take it out"))
        elif column not in sheet.by_name:
            near = lower.get(column.strip().lower())
            remedy = f"write {near}" if near else f"the columns are {known}"
            problems.append(Problem(label, row, None, f"{shown(column)} is not a column of this {what}; {remedy}"))
        seen.add(column)
    for column in sheet.required:
        if column not in seen:
            problems.append(Problem(label, row, None, f"the required column {column} is missing; add it"))
    return problems


def too_long(text: str) -> str:
    """Return the sentence about a cell with too many characters."""
    return f"{shown(text[:20])} has {len(text)} characters; at most {MOST_CHARACTERS} are read"
