"""A whole sheet at a time: from raw cells to values, one parse for every different text of a column.

A million readings hold a few thousand different texts, so a column is parsed by its distinct texts and spread again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from fleet.errors import InputError
from fleet.intake import cells
from fleet.intake.layout import SESSION_SHEETS, SETTING_CHANCES, SETTING_NUMBERS, SHEETS, Column, Sheet
from fleet.intake.raw import Problem, RawTable, Source, shown

_NORMAL_UTC: Final = "UTC"


@dataclass(slots=True)
class Table:
    """The understood rows of one sheet.

    `typed` holds each column's texts as an export writes them again, `values` what they mean (None where the cell is
    empty, or where it is bad); both have every column of the sheet. `bad` holds the positions of rows with a problem,
    `empties` the columns in which an empty cell takes away what the store holds.
    """

    sheet: Sheet
    label: str
    rows: list[int]
    typed: dict[str, list[str]]
    values: dict[str, list[Any]]
    bad: set[int] = field(default_factory=set)
    empties: frozenset[str] = frozenset()

    def __len__(self) -> int:
        return len(self.rows)

    def keys(self) -> list[tuple[Any, ...]]:
        """Return each row's key by meaning."""
        return list(zip(*(self.values[name] for name in self.sheet.keys), strict=True))

    def session_of(self, position: int) -> str | None:
        """Return the session a row hangs from, where it does."""
        if self.sheet.name in SESSION_SHEETS or self.sheet.name == "support_temperatures":
            code: str | None = self.values["session"][position] or self.typed["session"][position] or None
            return code
        return None

    def problem(self, position: int, column: str | None, text: str) -> Problem:
        """Return a problem of one row, and mark the row as bad."""
        self.bad.add(position)
        return Problem(self.label, self.rows[position], column, text, self.session_of(position))


@dataclass(slots=True)
class Places:
    """Where lines stand, so that a local time can be read: from the store at first, then from the source."""

    site_zone: dict[str, str] = field(default_factory=dict)
    line_site: dict[str, str | None] = field(default_factory=dict)
    session_line: dict[str, str] = field(default_factory=dict)

    def of_site(self, site: str | None) -> str:
        """Return a site's time zone; UTC where there is none."""
        return self.site_zone.get(site, _NORMAL_UTC) if site else _NORMAL_UTC

    def of_line(self, line: str | None) -> str:
        """Return a line's time zone; UTC where it has no site."""
        return self.of_site(self.line_site.get(line)) if line else _NORMAL_UTC

    def of_session(self, session: str | None) -> str:
        """Return the time zone of the line a session visited."""
        return self.of_line(self.session_line.get(session)) if session else _NORMAL_UTC

    def learn(self, table: Table) -> None:
        """Take over what a sheet of the source says of sites, lines and sessions; its filled cells win."""
        values = table.values
        if table.sheet.name == "sites":
            for site, zone in zip(values["site"], values["time_zone"], strict=True):
                if site and zone:
                    self.site_zone[site] = zone
        elif table.sheet.name == "lines":
            for line, site in zip(values["line"], values["site"], strict=True):
                if line and (site or line not in self.line_site):
                    self.line_site[line] = site
        elif table.sheet.name == "sessions":
            for session, line in zip(values["session"], values["line"], strict=True):
                if session and line:
                    self.session_line[session] = line

    def zones(self, sheet: Sheet, values: dict[str, list[Any]]) -> Iterable[str]:
        """Return each row's time zone."""
        name = sheet.name
        if name == "outages":
            return [
                self.of_line(line) if line else self.of_site(site)
                for line, site in zip(values["line"], values["site"], strict=True)
            ]
        if name == "sessions" or "line" in values:
            return map(self.of_line, values["line"])
        if "session" in values:
            return map(self.of_session, values["session"])
        return [_NORMAL_UTC] * len(next(iter(values.values())))


def understand(source: Source, places: Places, *, today: date) -> tuple[dict[str, Table], list[Problem]]:
    """Parse every sheet of a source, in the order in which the things exist.

    Parameters
    ----------
    source
        What a container yielded.
    places
        What the store knows of sites, lines and sessions; taught what the source says of them.
    today
        The day of the intake; what has happened lies before the day after tomorrow.

    Returns
    -------
    tuple
        The tables by sheet name, and every cell that cannot be understood.
    """
    tables: dict[str, Table] = {}
    problems: list[Problem] = []
    for sheet in SHEETS:
        raw = source.tables.get(sheet.name)
        if raw is None:
            continue
        table, found = parse(raw, sheet, places, today=today)
        problems += found
        places.learn(table)
        tables[sheet.name] = table
    return tables, problems


def parse(raw: RawTable, sheet: Sheet, places: Places, *, today: date) -> tuple[Table, list[Problem]]:
    """Parse one sheet; see `understand`."""
    count = len(raw.rows)
    empty = [""] * count
    table = Table(sheet, raw.label, raw.rows, {}, {}, empties=frozenset(raw.columns if raw.empties else ()))
    failures: list[tuple[int, int, str, str]] = []
    later: list[Column] = []
    order = {column.name: position for position, column in enumerate(sheet.columns)}

    def fail(position: int, name: str, text: str) -> None:
        failures.append((position, order[name], name, text))

    for column in sheet.columns:
        texts = raw.columns.get(column.name, empty)
        if column.kind in ("time", "length"):
            later.append(column)
            table.typed[column.name] = texts
            table.values[column.name] = []
            continue
        normal, parser = _ways(column, today=today, decimal_comma=raw.decimal_comma)
        table.typed[column.name], table.values[column.name] = _spread(texts, normal, parser, column, fail)
    for column in later:
        texts = table.typed[column.name]
        if column.kind == "time":
            table.values[column.name] = _times(texts, places.zones(sheet, table.values), column, today, fail)
        else:
            table.typed[column.name], table.values[column.name] = _lengths(
                texts, table.values["unit"], column, raw.decimal_comma, fail
            )
    if sheet.name == "sites":
        _zones(table, fail)
    if sheet.name == "settings" and raw.decimal_comma:
        _setting_commas(table)
    if sheet.name == "findings":
        _findings(table, raw.decimal_comma, fail)
    for name in sheet.required:
        typed = table.typed[name]
        if "" in typed:
            for position, text in enumerate(typed):
                if text == "":
                    fail(position, name, "the cell is empty; it has to be filled")
    failures.sort()
    return table, [table.problem(position, name, text) for position, _, name, text in failures]


Fail = Callable[[int, str, str], None]


def _ways(column: Column, *, today: date, decimal_comma: bool) -> tuple[Callable[[str], str], Callable[[str], Any]]:
    """Return how a column's text is made normal, and how the normal text is parsed."""
    match column.kind:
        case "code":
            return (lambda text: cells.normal_code(cells.unshielded(text))), str
        case "text":
            return (lambda text: cells.normal_text(text, column)), str
        case "number":
            return (lambda text: cells.normal_number(text, decimal_comma=decimal_comma)), (
                lambda text: cells.number_of(text, column)
            )
        case "whole":
            return (lambda text: cells.normal_number(text, decimal_comma=decimal_comma)), (
                lambda text: cells.whole_of(text, column)
            )
        case "unit":
            return str, cells.unit_of
        case "date":
            return str, (lambda text: cells.day_of(text, column, today=today))
        case "flag":
            return str, cells.flag_of
        case _:
            return str, (lambda text: cells.word_of(text, column))


def _spread(
    texts: list[str], normal: Callable[[str], str], parser: Callable[[str], Any], column: Column, fail: Fail
) -> tuple[list[str], list[Any]]:
    typed: dict[str, str] = {"": ""}
    values: dict[str, Any] = {"": None}
    wrong: dict[str, str] = {}
    for text in set(texts):
        if text == "":
            continue
        try:
            typed[text] = text
            typed[text] = normal(text)
            values[text] = parser(typed[text]) if typed[text] else None
        except InputError as error:
            values[text] = None
            wrong[text] = str(error)
    if wrong:
        for position, text in enumerate(texts):
            if text in wrong:
                fail(position, column.name, wrong[text])
    if column.assumed is not None:
        values[""] = parser(column.assumed)
        values.update({text: values[""] for text, kept in typed.items() if kept == ""})
    return [typed[text] for text in texts], [values[text] for text in texts]


def _lengths(
    texts: list[str], units: list[str | None], column: Column, decimal_comma: bool, fail: Fail
) -> tuple[list[str], list[Any]]:
    typed: dict[str, str] = {"": ""}
    wrong_text: dict[str, str] = {}
    for text in set(texts):
        try:
            typed[text] = cells.normal_number(text, decimal_comma=decimal_comma)
        except InputError as error:
            typed[text] = text
            wrong_text[text] = str(error)
    values: dict[tuple[str, str | None], float | None] = {}
    wrong: dict[tuple[str, str | None], str] = {}
    for pair in set(zip(texts, units, strict=True)):
        text, unit = pair
        values[pair] = None
        if text in wrong_text:
            wrong[pair] = wrong_text[text]
        elif typed[text] and unit is not None:
            try:
                values[pair] = cells.length_um(typed[text], unit, column)
            except InputError as error:
                wrong[pair] = str(error)
    if wrong:
        for position, pair in enumerate(zip(texts, units, strict=True)):
            if pair in wrong:
                fail(position, column.name, wrong[pair])
    return [typed[text] for text in texts], [values[pair] for pair in zip(texts, units, strict=True)]


def _times(texts: list[str], zones: Iterable[str], column: Column, today: date, fail: Fail) -> list[Any]:
    if not any(texts):
        return [None] * len(texts)
    pairs = list(zip(texts, zones, strict=True))
    values: dict[tuple[str, str], Any] = {}
    wrong: dict[tuple[str, str], str] = {}
    for pair in set(pairs):
        text, zone = pair
        values[pair] = None
        if text == "":
            continue
        try:
            values[pair] = cells.time_of(text, column, zone=zone, today=today)
        except InputError as error:
            wrong[pair] = str(error)
    if wrong:
        for position, pair in enumerate(pairs):
            if pair in wrong:
                fail(position, column.name, wrong[pair])
    return [values[pair] for pair in pairs]


def _zones(table: Table, fail: Fail) -> None:
    for position, zone in enumerate(table.values["time_zone"]):
        if zone:
            try:
                cells.zone_of(zone)
            except InputError as error:
                table.values["time_zone"][position] = None
                fail(position, "time_zone", str(error))


def _setting_commas(table: Table) -> None:
    for position, (name, value) in enumerate(zip(table.typed["name"], table.typed["value"], strict=True)):
        pointed = value.replace(",", ".")
        if name in (*SETTING_CHANCES, *SETTING_NUMBERS) and cells.is_number(pointed):
            table.typed["value"][position] = table.values["value"][position] = pointed


def _findings(table: Table, decimal_comma: bool, fail: Fail) -> None:
    for position, unit in enumerate(table.typed["unit"]):
        value = table.typed["value"][position]
        if unit and not value:
            fail(position, "unit", f"{shown(unit)} stands without a value; give the value or leave the unit empty")
        elif unit:
            try:
                table.typed["value"][position] = cells.normal_number(value, decimal_comma=decimal_comma)
            except InputError as error:
                fail(position, "value", str(error))
            table.values["value"][position] = table.typed["value"][position]
