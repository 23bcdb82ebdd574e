"""Values of the record as its lists and its audit say them: figure, unit, direction, to 0.001 mm or 0.01 thou."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Final

from dashboard.components import numbers
from dashboard.components.records_moment import moment
from fleet import words
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

_NAMES: Final = {
    "v_rise_um": "rise",
    "h_rise_um": "rise",
    "u_um": "standard uncertainty",
    "barrel_c": "barrel",
    "gearbox_c": "gearbox",
    "base_c": "base",
    "set_within_um": "set within",
    "resets_trend": "begins the trend anew",
    "happened_at": "on",
    "checked_at": "on",
    "read_at": "on",
    "measured_at": "on",
    "from_on": "from",
    "hours_since_heats_on": "heats on for",
    "gearbox_c_at": "gearbox taken at",
    "axis": "",
}
_FIRST: Final = (
    "happened_at", "checked_at", "read_at", "measured_at", "from_on", "kind", "item", "axis", "measure", "v_rise_um",
    "h_rise_um", "running_hours", "starts", "watch_um", "limit_um", "distance_mm", "diameter_v_um", "diameter_h_um",
)  # fmt: skip
"""What is said first of a fact; all else follows in the order it is kept in."""
_MOST: Final = 6
_LEFT_OUT: Final = ("unit", "typed", "line", "sha256", "source", "draft", "lines", "notes")
_SIGNED: Final[Mapping[str, Axis]] = {"v_rise_um": "v", "h_rise_um": "h", "gearbox_rise_um": "v"}


def figure(name: str, value: float, unit: ReaderUnit, *, per_metre: bool = False) -> str:
    """Return a named figure with its unit: '0.289 mm higher', '210 °C', '20 388 h'.

    Parameters
    ----------
    name
        The name says the unit it is kept in: `v_rise_um`, `barrel_c`, `distance_mm`, `running_hours`.
    value, unit
        The figure, and the reader's unit.
    per_metre
        Whether lengths in micrometres are slopes, in micrometres a metre.
    """
    if name in _SIGNED:
        if words.quantised(value, unit, fine=True) == 0:
            return "no movement sideways" if _SIGNED[name] == "h" else "no movement"
        return words.said(value, _SIGNED[name], "movement", unit, fine=True)
    if name.endswith("_um"):
        if per_metre:
            return f"{numbers.slope_figure(value, unit, fine=True)}{NBSP}{numbers.slope_unit(unit)}"
        return f"{words.figure(value, unit, fine=True)}{NBSP}{unit}"
    if name.endswith("_mm"):
        return numbers.distance(value, unit) if name == "distance_mm" else f"{value:g}{NBSP}mm"
    if name.endswith("_c"):
        return f"{value:g}{NBSP}°C"
    if name.endswith(("hours", "_h")) or name.startswith("hours_"):
        return f"{numbers.grouped(value)}{NBSP}h" if float(value).is_integer() else f"{value:g}{NBSP}h"
    return numbers.grouped(value) if float(value).is_integer() else f"{value:g}"


def named(name: str) -> str:
    """Return a column's name as people say it: 'barrel', 'set within', 'cold reference'."""
    if name in _NAMES:
        return _NAMES[name]
    for suffix in ("_um_per_m", "_um", "_mm", "_c", "_per_k", "_on", "_at", "_h"):
        if name.endswith(suffix):
            name = name.removesuffix(suffix)
            break
    return name.replace("_", " ")


def pairs(values: Mapping[str, object] | None, unit: ReaderUnit, *without: str) -> str:
    """Return values by name in one phrase: 'limit 0.250 mm, from 1 Dec 2026'; nothing where there are none.

    What was typed is left out where the figure it gave stands beside it, and so is what the list has in a column.
    Of many values the first six are said, what matters most before all else.
    """
    if not values:
        return ""
    typed = {f"{name.removesuffix('_um')}_entered" for name in values if name.endswith("_um")}
    said = [
        f"{named(name)} {value_words(name, value, unit)}".strip()
        for name, value in sorted(values.items(), key=_rank)
        if value is not None and name not in typed and name not in (*_LEFT_OUT, *without)
    ]
    more = len(said) - _MOST
    return ", ".join(said if more <= 1 else [*said[:_MOST], f"and {more} more values"])


def _rank(item: tuple[str, object]) -> int:
    return _FIRST.index(item[0]) if item[0] in _FIRST else len(_FIRST)


def value_words(name: str, value: object, unit: ReaderUnit) -> str:
    """Return one value as people read it."""
    if isinstance(value, bool):
        return "" if name == "resets_trend" and value else ("yes" if value else "no")
    if isinstance(value, int | float):
        return figure(name, value, unit)
    if isinstance(value, list):
        return ", ".join(str(each) for each in value)
    if isinstance(value, dict):
        return ", ".join(f"{each} {value[each]}" for each in value)
    text = str(value)
    if name.endswith(("_at", "_on")):
        try:
            return words.day(date.fromisoformat(text)) if len(text) == 10 else _utc(datetime.fromisoformat(text))
        except ValueError:
            return text
    return _AXES.get(text, text) if name == "axis" else text


def _utc(at: datetime) -> str:
    # The audit keeps moments in UTC; which site's they are is not told there.
    return moment(at) if at.utcoffset() is None else f"{moment(at)}{NBSP}UTC"


_AXES: Final = {"v": "vertical", "h": "horizontal"}
