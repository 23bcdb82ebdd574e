"""The three invented mills as plain rows, and small sources to be written by a test."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from pathlib import Path

MILLS = Path(__file__).parents[1] / "data"
NAMES = ("mill-a", "mill-b", "mill-c")
NOW = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)
"""The day after the mills' last record."""
TODAY = NOW.date()

UM_IN: Mapping[str, float] = {"um": 1.0, "mm": 1000.0, "thou": 25.4, "in": 25_400.0}
"""1 thou = 25.4 um exactly: the international inch of 1959, 25.4 mm (NIST SP 811, B.6)."""


def rows_of(mill: str, sheet: str) -> list[dict[str, str]]:
    """Return the rows of one file of a mill as typed; a semicolon file's decimal commas become points."""
    path = MILLS / mill / f"{sheet}.csv"
    if not path.exists():
        return []
    text = path.read_text(encoding="utf-8-sig")
    header = text.splitlines()[0]
    semicolon = ";" in header
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file, delimiter=";" if semicolon else ","))
    return [{name: value.replace(",", ".") if semicolon else value for name, value in row.items()} for row in rows]


def all_rows(sheet: str) -> list[dict[str, str]]:
    """Return the rows of one file of all three mills."""
    return [row for mill in NAMES for row in rows_of(mill, sheet)]


def to_um(text: str, unit: str) -> float:
    """Return a typed length in micrometres."""
    return float(text) * UM_IN[unit]


def write_source(folder: Path, files: Mapping[str, str]) -> Path:
    """Write a source folder, one CSV file per entry, and return it."""
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def keep_rows(source: Path, target: Path, keep: Callable[[str, Mapping[str, str]], bool]) -> Path:
    """Copy a source, leaving out every row that `keep(sheet, row)` refuses; an emptied file is left out whole."""
    target.mkdir(parents=True)
    for path in sorted(source.glob("*.csv")):
        delimiter = ";" if ";" in path.read_text(encoding="utf-8-sig").splitlines()[0] else ","
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, delimiter=delimiter)
            names = list(reader.fieldnames or ())
            rows = [row for row in reader if keep(path.stem, row)]
        if rows:
            with (target / path.name).open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, names, delimiter=delimiter)
                writer.writeheader()
                writer.writerows(rows)
    return target


def day_of(text: str) -> date:
    """Return the day of a date or time as typed."""
    return date.fromisoformat(text[:10])
