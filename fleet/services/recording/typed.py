"""The texts of a draft and what they mean, read by the rules of the exchange format and never changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.errors import InputError
from fleet.intake import cells
from fleet.intake.layout import SHEET, Column
from fleet.services.recording.fields import CARRIED, condition_field
from fleet.services.recording.view import FieldView
from fleet.units import UM_PER

_MINUS: Final = "\u2212"


def plain_number(text: str) -> str:
    """Return a number's text with a hyphen for a minus sign and a point for a comma; empty where nothing stands.

    Raises
    ------
    InputError
        It is no number of the format.
    """
    return cells.normal_number(text.strip().replace(_MINUS, "-"), decimal_comma=True)


@dataclass(frozen=True, slots=True)
class Stored:
    """One entry of a draft as it is stored."""

    text: str
    typed_at: datetime
    device: str


@dataclass(frozen=True, slots=True)
class Typed:
    """Everything typed into a draft.

    Attributes
    ----------
    entries
        By field name.
    zone
        The site's.
    today
        Today at the site: what has happened lies before tomorrow's end.
    """

    entries: Mapping[str, Stored]
    zone: ZoneInfo
    today: date

    def text(self, name: str) -> str:
        """Return what stands in a field, empty where nothing does; spaces at the ends count for nothing."""
        entry = self.entries.get(name)
        return "" if entry is None else entry.text.strip()

    def raw(self, name: str) -> str:
        """Return the text as typed."""
        entry = self.entries.get(name)
        return "" if entry is None else entry.text

    def at(self, *names: str) -> datetime | None:
        """Return when the latest of some fields was typed, in the site's zone."""
        moments = [self.entries[name].typed_at for name in names if self.text(name)]
        return max(moments).astimezone(self.zone) if moments else None

    @property
    def unit(self) -> str:
        """The unit of every length of the visit."""
        unit = self.text("unit")
        return unit if unit in UM_PER else "mm"

    def length_um(self, name: str, column: Column) -> float | None:
        """Return a length [um]; None where nothing stands.

        Raises
        ------
        InputError
            It is no number, or beyond what the format takes.
        """
        text = plain_number(self.text(name))
        return cells.length_um(text, self.unit, column) if text else None

    def value(self, name: str, column: Column) -> Any:
        """Return what a field means by its column of the exchange format; None where nothing stands.

        Raises
        ------
        InputError
            It means nothing.
        """
        return self._meant(self.text(name), column)

    def _meant(self, text: str, column: Column) -> Any:
        if not text:
            return None
        match column.kind:
            case "number":
                return cells.number_of(plain_number(text), column)
            case "whole":
                return cells.whole_of(plain_number(text), column)
            case "length":
                return cells.length_um(plain_number(text), self.unit, column)
            case "time":
                return cells.time_of(text, column, zone=self.zone.key, today=self.today)
            case "date":
                return cells.day_of(text, column, today=self.today)
            case "word":
                return cells.word_of(text, column)
            case "flag":
                return cells.flag_of(text)
            case "unit":
                return cells.unit_of(text)
            case "code":
                return cells.normal_code(text)
            case _:
                return cells.normal_text(text, column)

    def safe(self, name: str, column: Column) -> Any:
        """Return what a field means, None where nothing stands or where it means nothing."""
        try:
            return self.value(name, column)
        except InputError:
            return None

    def field(self, name: str, column: Column | None = None, *, choices: tuple[str, ...] = ()) -> FieldView:
        """Return a field with what is wrong with its text, if anything."""
        text = self.raw(name)
        problem = None
        words = choices or (column.words if column is not None and column.kind == "word" else ())
        if column is not None and text.strip():
            problem = self._problem(lambda: self._meant(text.strip(), column))
        elif choices and text.strip() and text.strip() not in choices:
            problem = f"'{text.strip()}' is not one of {', '.join(choices)}; choose one of them."
        return FieldView(name, text, problem, words)

    @staticmethod
    def _problem(read: Callable[[], Any]) -> str | None:
        try:
            read()
        except InputError as error:
            return f"{error}."
        return None

    def condition_text(self, number: int, name: str) -> str:
        """Return a condition of a pass: its own text, else an earlier pass's where that holds on."""
        own = self.text(condition_field(number, name))
        if own or name not in CARRIED:
            return own
        for before in range(number - 1, 0, -1):
            text = self.text(condition_field(before, name))
            if text:
                return text
        return ""

    def condition(self, number: int, name: str) -> Any:
        """Return what a condition of a pass means, carried from an earlier pass where it holds; None: not recorded."""
        try:
            return self._meant(self.condition_text(number, name), SHEET["surveys"].by_name[name])
        except InputError:
            return None

    def condition_view(self, number: int, name: str) -> FieldView:
        """Return the field of a condition, with the text that an earlier pass lends it."""
        own = self.field(condition_field(number, name), SHEET["surveys"].by_name[name])
        carried = self.condition_text(number, name)
        if own.text.strip() or not carried:
            return own
        return FieldView(own.name, own.text, own.problem, own.choices, carried)


def typed_of(rows: Iterable[Any], zone: ZoneInfo, now: datetime | None = None) -> Typed:
    """Return what was typed from the store's rows of a draft."""
    moment = (now or datetime.now(UTC)).astimezone(zone)
    entries = {row.field: Stored(row.value, row.typed_at, row.device) for row in rows}
    return Typed(entries, zone, moment.date())
