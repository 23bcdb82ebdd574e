"""Where each sheet's columns live in the store, and the way there and back, column by column."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from fleet.intake.layout import SHEET, Column, Sheet
from fleet.intake.parsing import Table
from fleet.store import (
    Barrel,
    Base,
    Calibration,
    ColdTarget,
    Event,
    Finding,
    Gearbox,
    Instrument,
    Line,
    Meter,
    Move,
    OffsetEntered,
    Outage,
    Placement,
    Reading,
    RunningCheck,
    Screw,
    Setting,
    Site,
    Station,
    Support,
    SupportTemperature,
    Survey,
    Tolerance,
    VisitSession,
    Wear,
)
from fleet.store.bulk import table_of

MODELS: Final[dict[str, type[Base]]] = {
    "sites": Site,
    "lines": Line,
    "gearboxes": Gearbox,
    "barrels": Barrel,
    "screws": Screw,
    "placements": Placement,
    "supports": Support,
    "stations": Station,
    "instruments": Instrument,
    "calibrations": Calibration,
    "tolerances": Tolerance,
    "settings": Setting,
    "outages": Outage,
    "sessions": VisitSession,
    "surveys": Survey,
    "readings": Reading,
    "offsets": OffsetEntered,
    "moves": Move,
    "cold_targets": ColdTarget,
    "findings": Finding,
    "running_checks": RunningCheck,
    "support_temperatures": SupportTemperature,
    "meters": Meter,
    "wear": Wear,
    "events": Event,
}

OWN_CODE: Final = {
    "sites": ("site", "code"),
    "lines": ("line", "code"),
    "gearboxes": ("gearbox", "serial"),
    "barrels": ("barrel", "serial"),
    "screws": ("screw", "serial"),
    "supports": ("support", "code"),
    "stations": ("station", "code"),
    "instruments": ("instrument", "serial"),
    "outages": ("outage", "code"),
    "sessions": ("session", "code"),
    "surveys": ("survey", "number"),
}
"""The column that names a row, and the attribute it lives in."""

_REFERENCES: Final = {
    "site": ("site_id", "sites"),
    "line": ("line_id", "lines"),
    "instrument": ("instrument_id", "instruments"),
    "outage": ("outage_id", "outages"),
    "session": ("session_id", "sessions"),
    "corrects": ("corrects_id", "sessions"),
    "station": ("station_id", "stations"),
    "support": ("support_id", "supports"),
    "after_survey": ("after_survey_id", "surveys"),
}
_ASSETS: Final = {"gearbox": "gearboxes", "barrel": "barrels", "screw": "screws"}
BY_SURVEY: Final = ("readings", "offsets", "support_temperatures")
WITHDRAWABLE: Final = (
    "tolerances",
    "findings",
    "running_checks",
    "support_temperatures",
    "meters",
    "wear",
    "events",
)

Key = tuple[Any, ...]


@dataclass(slots=True)
class Ids:
    """Row numbers by key and keys by row number, sheet by sheet."""

    by_key: dict[str, dict[Key, int]] = field(default_factory=dict)
    by_id: dict[str, dict[int, Key]] = field(default_factory=dict)
    session_line: dict[str, str] = field(default_factory=dict)

    def add(self, sheet: str, keys: Iterable[Key], ids: Iterable[int]) -> None:
        """Learn the row numbers of some rows."""
        forward, back = self.by_key.setdefault(sheet, {}), self.by_id.setdefault(sheet, {})
        for key, number in zip(keys, ids, strict=True):
            forward[key] = number
            back[number] = key

    def last(self, sheet: str, numbers: Iterable[int | None]) -> list[Any]:
        """Return the last part of each row's key: its own code."""
        back = self.by_id.get(sheet, {})
        return [None if number is None else back[number][-1] for number in numbers]


@dataclass(slots=True)
class Shelf:
    """Rows of one sheet as they stand in the store.

    `values` and `entered` go by column of the format (`entered`: lengths as typed), `typed` is each row's JSON text,
    `state` says `signed`, `draft`, `withdrawn` or nothing.
    """

    sheet: Sheet
    ids: list[int]
    values: dict[str, list[Any]]
    entered: dict[str, list[str | None]]
    typed: list[str]
    state: list[str]

    def __len__(self) -> int:
        return len(self.ids)

    def keys(self) -> list[Key]:
        """Return each row's key."""
        return list(zip(*(self.values[name] for name in self.sheet.keys), strict=True)) if self.ids else []


def keeps_typed(sheet: str, column: Column) -> bool:
    """Return whether a column's text is kept in the row's `typed` JSON."""
    if column.assumed is not None:
        return True
    if column.kind == "whole":
        return not column.key
    return column.kind in ("number", "time") or (sheet, column.name) == ("surveys", "phase")


def fetch(session: Session, sheet: str, ids: Ids, *conditions: ColumnElement[bool]) -> Shelf:
    """Read rows of one sheet; what they refer to has to be in `ids` already.

    Parameters
    ----------
    session
        An open session of the store.
    sheet
        Name of the sheet.
    ids
        Keys of the rows referred to; taught the rows read, where others refer to them.
    conditions
        Which rows; all of them without.
    """
    spec = SHEET[sheet]
    table = table_of(MODELS[sheet])
    names = [column.name for column in table.columns]
    found = session.execute(select(*table.columns).where(*conditions).order_by(table.c.id)).all()
    columns: dict[str, Sequence[Any]]
    columns = dict(zip(names, zip(*found, strict=True), strict=True)) if found else dict.fromkeys(names, ())
    shelf = Shelf(spec, list(columns["id"]), {}, {}, list(columns["typed"]), [""] * len(found))
    if sheet == "sessions":
        shelf.state = list(columns["state"])
        ids.add("sessions", ((code,) for code in columns["code"]), shelf.ids)
    elif "withdrawn_at" in columns:
        shelf.state = ["" if at is None else "withdrawn" for at in columns["withdrawn_at"]]
    for column in spec.columns:
        shelf.values[column.name] = _values(sheet, column, columns, ids)
        if column.kind == "length":
            shelf.entered[column.name] = list(columns[f"{column.name}_entered"])
    if sheet in OWN_CODE and sheet != "sessions":
        ids.add(sheet, shelf.keys(), shelf.ids)
    return shelf


def _values(sheet: str, column: Column, columns: dict[str, Sequence[Any]], ids: Ids) -> list[Any]:
    name = column.name
    if OWN_CODE.get(sheet, ("",))[0] == name:
        return list(columns[OWN_CODE[sheet][1]])
    if name == "asset":
        return [
            next(code for code in codes if code is not None)
            for codes in zip(
                *(ids.last(plural, columns[f"{kind}_id"]) for kind, plural in _ASSETS.items()), strict=True
            )
        ]
    if sheet in BY_SURVEY and name in ("session", "survey"):
        back, at = ids.by_id.get("surveys", {}), 0 if name == "session" else 1
        return [None if number is None else back[number][at] for number in columns["survey_id"]]
    if name in _REFERENCES and f"{name}_id" in columns:
        values = ids.last(_REFERENCES[name][1], columns[_REFERENCES[name][0]])
        if sheet == "moves" and name == "support":
            return [place or code for place, code in zip(columns["place"], values, strict=True)]
        return values
    if column.kind == "length":
        return list(columns[f"{name}_um"])
    return list(columns[name])


def attributes(sheet: str, table: Table, positions: list[int], ids: Ids) -> dict[str, list[Any]]:
    """Return rows of a source as columns of the store's table, `id` and what is not in the format left out.

    Parameters
    ----------
    sheet
        Name of the sheet.
    table
        Its understood rows.
    positions
        Which of them.
    ids
        Row numbers of everything they refer to.
    """
    everything = positions == list(range(len(table)))

    def pick(values: list[Any]) -> list[Any]:
        return values if everything else [values[at] for at in positions]

    values = {name: pick(column) for name, column in table.values.items()}
    typed = {name: pick(column) for name, column in table.typed.items()}
    out: dict[str, list[Any]] = {}
    for column in table.sheet.columns:
        name = column.name
        if OWN_CODE.get(sheet, ("",))[0] == name:
            out[OWN_CODE[sheet][1]] = values[name]
        elif name == "asset":
            for kind, plural in _ASSETS.items():
                numbers = ids.by_key.get(plural, {})
                out[f"{kind}_id"] = [
                    numbers[code,] if which == kind else None
                    for which, code in zip(values["asset_kind"], values["asset"], strict=True)
                ]
        elif sheet in BY_SURVEY and name in ("session", "survey"):
            out["survey_id"] = _numbers(ids, "surveys", values["session"], values["survey"])
        elif name in ("station", "support"):
            lines = _lines(sheet, values, ids)
            numbers = ids.by_key.get(f"{name}s", {})
            out[f"{name}_id"] = [
                None if code is None else numbers.get((line, code))
                for line, code in zip(lines, values[name], strict=True)
            ]
            if sheet == "moves":
                out["place"] = [
                    code if number is None else None
                    for code, number in zip(values[name], out["support_id"], strict=True)
                ]
        elif name == "after_survey":
            out["after_survey_id"] = _numbers(ids, "surveys", values["session"], values[name])
        elif name in _REFERENCES:
            attribute, plural = _REFERENCES[name]
            numbers = ids.by_key.get(plural, {})
            out[attribute] = [None if code is None else numbers[code,] for code in values[name]]
        elif column.kind == "length":
            out[f"{name}_um"] = values[name]
            out[f"{name}_entered"] = [text or None for text in typed[name]]
        else:
            out[name] = values[name]
    if sheet == "surveys":
        # Only a phase that was stored as another one is kept as typed
        typed["phase"] = [
            "" if text == value else text for text, value in zip(typed["phase"], values["phase"], strict=True)
        ]
    out["typed"] = list(_typed_texts(sheet, table.sheet, typed, len(positions)))
    return out


def _numbers(ids: Ids, sheet: str, first: list[Any], second: list[Any]) -> list[int | None]:
    numbers = ids.by_key.get(sheet, {})
    return [None if b is None else numbers[a, b] for a, b in zip(first, second, strict=True)]


def _lines(sheet: str, values: dict[str, list[Any]], ids: Ids) -> list[Any]:
    """Return the code of each row's line, in which stations and supports are looked up."""
    of_session = ids.session_line
    if sheet == "support_temperatures":
        return [
            line if session is None else of_session[session]
            for line, session in zip(values["line"], values["session"], strict=True)
        ]
    if "line" in values:
        return values["line"]
    return [of_session[session] for session in values["session"]]


def _typed_texts(sheet: str, spec: Sheet, typed: dict[str, list[str]], count: int) -> Iterator[str]:
    parts: list[list[str]] = []
    for column in spec.columns:
        if not keeps_typed(sheet, column) or not any(typed[column.name]):
            continue
        pieces = {
            text: f"{json.dumps(column.name)}:{json.dumps(text, ensure_ascii=False)}" if text else ""
            for text in set(typed[column.name])
        }
        parts.append([pieces[text] for text in typed[column.name]])
    if not parts:
        yield from ["{}"] * count
        return
    for row in zip(*parts, strict=True):
        yield "{" + ",".join(filter(None, row)) + "}"
