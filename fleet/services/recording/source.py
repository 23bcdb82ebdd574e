"""A visit as a source of the exchange format: so that signing goes through every check an import goes through."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Final

from fleet.intake import cells
from fleet.intake.layout import SHEET
from fleet.intake.raw import RawTable, Source
from fleet.services.recording import fields
from fleet.services.recording.asking import Visit
from fleet.services.recording.typed import Typed, plain_number
from fleet.values import AXES

_ORDER: Final = (
    "sessions", "surveys", "readings", "moves", "cold_targets", "findings", "support_temperatures",
)  # fmt: skip
_NUMBERS: Final = ("number", "whole", "length")

Rows = dict[str, list[dict[str, str]]]


def source_of(visit: Visit, session: str, *, started_at: str | None = None) -> Source:
    """Return a visit as the exchange format has it, texts as typed.

    Parameters
    ----------
    visit : what was typed
    session : the code it gets
    started_at : the moment it began as the format writes it; None: as typed. A correction keeps the old one's.
    """
    typed = visit.typed
    rows: Rows = {name: [] for name in _ORDER}
    rows["sessions"].append(
        {
            "session": session,
            "line": visit.known.line.code,
            **{name: typed.text(name) for name in fields.HEAD},
            **({"started_at": started_at} if started_at else {}),
            "corrects": visit.corrects or "",
            "correction_reason": typed.text("correction_reason") if visit.corrects else "",
        }
    )
    for read in visit.kept:
        _survey(visit, read.number, session, rows)
    _moves(visit, session, rows)
    _targets(typed, visit, session, rows)
    for k in range(1, fields.MOST_FINDINGS + 1):
        if typed.text(f"f{k}.item"):
            finding = {part: typed.text(f"f{k}.{part}") for part in ("item", "value", "unit", "note")}
            rows["findings"].append({"session": session, **finding})
    return in_memory(f"recorded on the page, {session}", {name: got for name, got in rows.items() if got})


def in_memory(name: str, rows: Mapping[str, list[dict[str, str]]], *, empties: bool = False) -> Source:
    """Return rows of texts as a source: numbers may have a comma or a typographic minus, text keeps every character.

    Parameters
    ----------
    name : what the record calls the source
    rows : by file of the format; a column that is not given is empty
    empties : an empty cell of a column that is given takes away what a known row of master data holds
    """
    tables = {}
    for sheet, got in rows.items():
        names = [column for column in SHEET[sheet].by_name if any(column in row for row in got)]
        columns = {column: [_cell(sheet, column, row.get(column, "")) for row in got] for column in names}
        tables[sheet] = RawTable(
            sheet,
            f"{name}, {sheet.replace('_', ' ')}",
            columns,
            list(range(1, len(got) + 1)),
            decimal_comma=True,
            empties=empties,
        )
    content = json.dumps({sheet: table.columns for sheet, table in tables.items()}, ensure_ascii=False, sort_keys=True)
    return Source(name, hashlib.sha256(content.encode("utf-8")).hexdigest(), tables)


def _cell(sheet: str, column: str, text: str) -> str:
    kind = SHEET[sheet].by_name[column].kind
    if kind in _NUMBERS:
        return text.replace("\u2212", "-")
    return cells.shielded(text) if kind in ("text", "code") else text


def _survey(visit: Visit, number: int, session: str, rows: Rows) -> None:
    typed = visit.typed
    read = visit.reads[number - 1]
    conditions = {name: typed.condition_text(number, name) for name in fields.CONDITIONS}
    # An as-left with loose bolts goes in as typed: the intake makes it an interim and keeps what was said.
    phase = "as_left" if read.phase_why else read.phase
    rows["surveys"].append({"session": session, "survey": str(number), "phase": phase, **conditions})
    for sequence, place in enumerate(read.taken.places, start=1):
        rows["readings"].append(
            {
                "session": session,
                "survey": str(number),
                "sequence": str(sequence),
                "station": place.station.code,
                "beam_state": str(place.state),
                "beam_roll_deg": str(place.roll),
                "target_roll_deg": "0",
                "v": typed.text(place.v),
                "h": typed.text(place.h),
                "unit": typed.unit,
            }
        )
    for support in visit.known.supports:
        own = {name: typed.text(fields.support_field(number, support.code, name)) for name in ("barrel_c", "base_c")}
        if any(own.values()):
            rows["support_temperatures"].append(
                {"session": session, "survey": str(number), "support": support.code, **own}
            )


def _moves(visit: Visit, session: str, rows: Rows) -> None:
    typed = visit.typed
    stored = [read.number for read in visit.kept]
    for number, done in visit.done.items():
        before = [each for each in stored if each <= number]
        after = str(before[-1]) if before else ""
        by_place: dict[str, dict[str, str]] = {}
        for each in done:
            row = by_place.setdefault(each.place, {})
            row[each.axis] = each.text
            if each.how and each.how not in row.get("how", "").split(", "):
                row["how"] = ", ".join(filter(None, (row.get("how", ""), each.how)))
        for place, row in by_place.items():
            room = {name: typed.text(fields.room_field(number, place, name)) for name in ("room_up", "room_down")}
            rows["moves"].append(
                {
                    "session": session,
                    "after_survey": after,
                    "support": place,
                    **row,
                    "unit": typed.unit,
                    **{name: text for name, text in room.items() if text},
                }
            )


def _targets(typed: Typed, visit: Visit, session: str, rows: Rows) -> None:
    for station in visit.known.stations:
        texts = {axis: typed.text(fields.target_field(station.code, axis)) for axis in AXES}
        if not all(texts.values()):
            continue
        why = {
            part: typed.text(fields.target_field(station.code, part)) or typed.text(f"c.{part}")
            for part in ("basis", "reason")
        }
        rows["cold_targets"].append(
            {
                "session": session,
                "station": station.code,
                **{axis: plain_number(text) for axis, text in texts.items()},
                "unit": typed.unit,
                **why,
            }
        )
