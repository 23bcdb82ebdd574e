"""What is entered beside a visit, from the form's fields to rows of the exchange format, and what it means in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from dashboard.pages.record_forms import rise_sentences
from dashboard.record_sources import RecordSources
from fleet.errors import InputError
from fleet.words import ReaderUnit

Row = dict[str, str]

SHEETS: Final[dict[str, str]] = {"running": "running_checks", "meter": "meters", "event": "events", "wear": "wear"}
"""The sheet of the exchange format that each of the forms fills."""
_OF_A_CHECK: Final = (
    "checked_at", "unit", "u", "relative_to", "gearbox_rise", "barrel_c", "gearbox_c", "gearbox_c_at", "base_c",
    "zero_barrel_c", "zero_gearbox_c", "zero_base_c", "hours_since_heats_on", "screw", "die", "method", "technician",
)  # fmt: skip
_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "meter": ("read_at", "running_hours", "starts"),
    "event": ("happened_at", "kind", "note", "resets_trend", "station", "support"),
    "wear": ("asset_kind", "asset", "measured_at", "distance_mm", "diameter_v", "diameter_h", "unit", "method"),
}


def rows_of(what: str, line: str, fields: Mapping[str, str]) -> list[Row]:
    """Return the rows a form comes to; every text as typed.

    Raises
    ------
    InputError
        There is no such form, or no station has a rise.
    """
    if what == "running":
        return _checks(line, fields)
    columns = _COLUMNS.get(what)
    if columns is None:
        raise InputError(f"'{what}' is nothing that is entered here; it is one of {', '.join(SHEETS)}.")
    row = {name: fields.get(name, "") for name in columns}
    if what != "wear":
        row["line"] = line
    return [row]


def _checks(line: str, fields: Mapping[str, str]) -> list[Row]:
    shared = {name: fields.get(name, "") for name in _OF_A_CHECK}
    if shared["relative_to"] != "floor":
        shared["gearbox_rise"] = ""
    rows = []
    for name, text in fields.items():
        kind, _, station = name.partition(".")
        if kind != "v_rise" or not text.strip():
            continue
        rows.append(
            {**shared, "line": line, "station": station, "v_rise": text, "h_rise": fields.get(f"h_rise.{station}", "")}
        )
    if not rows:
        raise InputError("No station has a vertical rise; type at least one.")
    return rows


def entered(
    sources: RecordSources, what: str, line: str, fields: Mapping[str, str], *, look: bool, unit: ReaderUnit
) -> dict[str, Any]:
    """Store what a form holds, or only say what it means; return what the device is told.

    Parameters
    ----------
    look
        Say what the rises mean and whether they could be stored, and store nothing.
    unit
        The reader's unit for the sentences.

    Raises
    ------
    FleetError
        Something in it cannot be stored; the sentences say what and what would be right.
    """
    rows = rows_of(what, line, fields)
    name = fields.get("technician", "")
    said: list[str] = []
    if what == "running":
        side = sources.begin(line).right_hand_side
        said += rise_sentences(sources.rises(line, rows), unit, side)
    taken = sources.enter(SHEETS[what], rows, name, look)
    if look:
        return {"kept": True, "sentences": [*said, "Nothing is stored yet."]}
    return {"sentences": [*said, *taken.sentences]}
