"""The sentences and cells of a job sheet as plain text, shared by paper, terminal and screen.

Cells come as (lead, rest): the lead is the figure to act on, set in bold; the rest is smaller. Sentences with bold
figures come as pieces of (text, strong). Nothing here is escaped: whoever puts it on a page does that.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Final

from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.values import AXES, Axis
from fleet.words import NBSP, Kind, ReaderUnit, day, direction, figure, plus_minus, quantised, said

Pieces = tuple[tuple[str, bool], ...]
Cell = tuple[str, str]

SET_BASE_URL: Final = "Set ASLEFT_BASE_URL to the address of this Asleft."
NO_STATIONS: Final = "No stations on record. Import the line’s stations, or record its first visit."
NOT_KNOWN: Final = "not known"
SWAP: Final = "Standing at the discharge end, right and left swap."
_UM_PER: Final[dict[ReaderUnit, Decimal]] = {"mm": Decimal(1000), "thou": Decimal("25.4")}
_AXIS_WORD: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}
_MM_PER_INCH: Final = 25.4


def plain(pieces: Pieces) -> str:
    """Return pieces as one text."""
    return "".join(text for text, _ in pieces)


def joined(items: Sequence[str]) -> str:
    """Return 'A', 'A and B' or 'A, B and C'."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def named(code: str, kind: str) -> str:
    """Return a code as it stands before a figure: a code that begins with a digit gets its kind, 'station 1'."""
    return f"{kind}{NBSP}{code}" if code[:1].isdigit() else code


def sentence(text: str) -> str:
    """Return a text on one line, with a capital first letter and a full stop."""
    line = re.sub(r"[\s\x00-\x1f\x7f-\x9f]+", lambda gap: gap[0] if gap[0] == NBSP else " ", text).strip()
    if not line:
        return ""
    return line[0].upper() + line[1:] + ("" if line[-1] in ".?!" else ".")


def distance(distance_mm: float, unit: ReaderUnit) -> str:
    """Return a distance along the axis: '1 500 mm', for readers of thou '59.06 in'."""
    if unit == "thou":
        return f"{distance_mm / _MM_PER_INCH:.2f}{NBSP}in"
    return f"{distance_mm:,.0f}{NBSP}mm".replace(",", NBSP)


def temperature(celsius: float, unit: ReaderUnit) -> str:
    """Return '22 °C', for readers of thou '22 °C (72 °F)'."""
    shown = f"{celsius:.0f}{NBSP}°C"
    return f"{shown} ({celsius * 1.8 + 32:.0f}{NBSP}°F)" if unit == "thou" else shown


def span(start: date | None, end: date | None) -> str:
    """Return '19–30 Dec 2026', or one day where the other is missing, or nothing."""
    if start is None or end is None or start == end:
        known = start or end
        return "" if known is None else day(known)
    first = day(start).split(NBSP)
    keep = 1 if (start.year, start.month) == (end.year, end.month) else 2 if start.year == end.year else 3
    return f"{NBSP.join(first[:keep])}–{day(end)}"


def with_side(um: float, axis: Axis, kind: Kind, unit: ReaderUnit, side: str | None, *, with_unit: bool = True) -> str:
    """Return an offset or a movement in words; right carries the plant's word: '0.05 mm right (operator side)'."""
    word = f" ({side})" if side and "right" in direction(um, axis, kind, unit) else ""
    return said(um, axis, kind, unit, with_unit=with_unit) + word


def shown_difference_um(to_um: float, from_um: float, unit: ReaderUnit) -> float:
    """Return the difference of two figures as they are printed, so that a reader who subtracts finds the same."""
    return float((quantised(to_um, unit) - quantised(from_um, unit)) * _UM_PER[unit])


# cells of the two tables


def station_cell(station: SheetStation, unit: ReaderUnit) -> Cell:
    """Return the station's code and 'at 1 500 mm'; its support is named where it has another code.

    'At' keeps a station called 1, 200 mm out, from being read as 1 200 mm.
    """
    over = f", support{NBSP}{station.support}" if station.support not in (None, station.station) else ""
    return station.station, f"at{NBSP}{distance(station.distance_mm, unit)}{over}"


def expected_cell(station: SheetStation, axis: Axis, unit: ReaderUnit, side: str | None) -> Cell:
    """Return ('0.03 right', '(operator side) ± 0.05'): where the bore is expected and its expanded uncertainty."""
    index = AXES.index(axis)
    expected, u95 = station.expected_um[index], station.u95_expected_um[index]
    if expected is None:
        return NOT_KNOWN, ""
    doubt = f"± {NOT_KNOWN}".replace(" ", NBSP) if u95 is None else plus_minus(u95, unit)
    word = direction(expected, axis, "offset", unit)
    return said(expected, axis, "offset", unit, with_unit=False), (
        f"({side}) {doubt}" if side and word == "right" else doubt
    )


def set_to_cell(station: SheetStation, axis: Axis, unit: ReaderUnit, side: str | None) -> Cell:
    """Return ('0.20 low', '(target 0.26 low, 0.06 higher against drift)'): the figure to set to and its two parts.

    The part against drift is the difference of the two printed figures. A horizontal figure names its parts only where
    they differ from it.
    """
    index = AXES.index(axis)
    target, set_to = station.target_um[index], station.set_to_um[index]
    if set_to is None:
        lead, parts = (
            NOT_KNOWN,
            [] if target is None else [f"target {said(target, axis, 'offset', unit, with_unit=False)}"],
        )
        return lead, f"({parts[0]}, drift {NOT_KNOWN})" if parts else ""
    lead = said(set_to, axis, "offset", unit, with_unit=False)
    parts = [side] if side and direction(set_to, axis, "offset", unit) == "right" else []
    drift = 0.0 if target is None else shown_difference_um(set_to, target, unit)
    if target is not None and (axis == "v" or drift):
        parts.append(f"target {said(target, axis, 'offset', unit, with_unit=False)}")
    if drift:
        parts.append(f"{said(drift, axis, 'movement', unit, with_unit=False)} against{NBSP}drift")
    return lead, f"({', '.join(parts)})" if parts else ""


# sentences under the headings


def machine_line(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return what stands there: 'Pipe, screw 120 mm, barrel 240 mm outside, grouted.'; empty where nothing is known."""
    parts = [
        sheet.description,
        sheet.screw_diameter_mm and f"screw {distance(sheet.screw_diameter_mm, unit)}",
        sheet.barrel_outside_diameter_mm and f"barrel {distance(sheet.barrel_outside_diameter_mm, unit)} outside",
        sheet.foundation,
    ]
    return sentence(", ".join(part.strip().rstrip(".") for part in parts if part))


def outage_line(sheet: JobSheet) -> str:
    """Return the stop this sheet is for: 'Year-end stop, full stop, 19–30 Dec 2026.'"""
    parts = [sheet.outage, sheet.outage_kind, span(sheet.outage_starts_on, sheet.outage_ends_on)]
    return sentence(", ".join(part for part in parts if part)) or "No outage planned on record."


def status_line(sheet: JobSheet) -> str:
    """Return why the status is what it is, else where it is worst; empty where neither is known."""
    if sheet.status_why and sheet.status_why.strip():
        return sentence(sheet.status_why)
    return f"Worst at {sheet.worst[0]}, {_AXIS_WORD[sheet.worst[1]]}." if sheet.worst else ""


def expect_note(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return the line under 'Expect to find'."""
    if all(value is None for station in sheet.stations for value in station.expected_um):
        return "Nothing to expect from: no as-left on record. Read twice before you move anything."
    cold = f"{day(sheet.expected_on)}, cold, {temperature(sheet.cold_reference_c, unit)}."
    return f"{cold} In {unit}; range 95{NBSP}%. Outside it: read again before you move anything."


def good_enough_sentence(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return 'Good enough: within 0.05 mm of the bold figure.'; empty where no such width is set."""
    if sheet.good_enough_um is None:
        return ""
    return f"Good enough: within {figure(sheet.good_enough_um, unit)}{NBSP}{unit} of the bold figure."


def moves_sentence(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return what to expect to move at the supports, each with the uncertainty of what is expected there.

    'Expect to raise A 0.18 ± 0.05 and B 0.39 ± 0.10; move A 0.02 ± 0.05 left.' Empty where nothing can be said.
    """
    by_verb: dict[str, list[str]] = {}
    known = False
    for axis in AXES:
        index = AXES.index(axis)
        for station in sheet.stations:
            expected, set_to = station.expected_um[index], station.set_to_um[index]
            if station.support is None or expected is None or set_to is None:
                continue
            known = True
            move = shown_difference_um(set_to, expected, unit)
            if move == 0:
                continue
            u95 = station.u95_expected_um[index]
            amount = f"{named(station.support, 'support')} {figure(move, unit)}" + (
                "" if u95 is None else f" {plus_minus(u95, unit)}"
            )
            by_verb.setdefault(direction(move, axis, "move", unit), []).append(amount.replace(" ", NBSP))
    if not by_verb:
        return "No move expected at the supports." if known else ""
    clauses = []
    for verb, amounts in by_verb.items():
        word, _, to = verb.partition(" ")
        side = f" ({sheet.right_hand_side})" if to == "right" and sheet.right_hand_side else ""
        clauses.append(f"{word} {joined(amounts)} {to}{side}" if word == "move" else f"{verb} {joined(amounts)}")
    return f"Expect to {'; '.join(clauses)}."


def tolerance_sentence(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return 'Watch 0.13, limit 0.25 from the target.', by axis and station where they differ."""
    by_width: dict[str, list[tuple[Axis, str]]] = {}
    for axis in AXES:
        for station in sheet.stations:
            limit, watch = station.limit_um[AXES.index(axis)], station.watch_um[AXES.index(axis)]
            parts = [
                "" if watch is None else f"watch {figure(watch, unit)}",
                "no limit set" if limit is None else f"limit {figure(limit, unit)} from the target",
            ]
            by_width.setdefault(", ".join(filter(None, parts)), []).append((axis, station.station))
    if len(by_width) <= 1:
        return "".join(sentence(width) for width in by_width)
    clauses = []
    for width, places in by_width.items():
        for axis in AXES:
            codes = [code for at, code in places if at == axis]
            if codes:
                where = "" if len(codes) == len(sheet.stations) else f" at {joined(codes)}"
                clauses.append(f"{_AXIS_WORD[axis]}{where} {width}")
    return sentence("; ".join(clauses))


def directions_sentence(side: str | None) -> Pieces:
    """Return what v and h mean on the sheet, with the plant's word for the right-hand side."""
    right = f"right ({side})" if side else "right"
    return (
        ("v: ", False),
        ("high / low", True),
        (" of the gearbox axis. h: ", False),
        (f"{right} / left", True),
        (", looking from the gearbox toward the discharge end. ", False),
        (SWAP, True),
    )


def pair_agreement(sheet: JobSheet, unit: ReaderUnit) -> str:
    """Return how well the pairs have to agree before the beam is set: '0.025 mm'."""
    return f"{figure(sheet.pair_agreement_um, unit, fine=True)}{NBSP}{unit}"


def reading_sense_sentence(sheet: JobSheet) -> str:
    """Return what the signs of the instrument used last mean; where that is not known, what to look up."""
    last = sheet.measured_since or sheet.last_as_left
    name = last.instrument if last else None
    senses = {
        ("bore_from_beam", "v"): "v + is high",
        ("beam_from_bore", "v"): "v + is low",
        ("bore_from_beam", "h"): "h + is right",
        ("beam_from_bore", "h"): "h + is left",
    }
    known = [senses.get((sense or "", axis)) for sense, axis in zip(sheet.reading_sense, AXES, strict=True)]
    if name is None or None in known:
        return "Which way the signs count is in the instrument’s record: look before the first reading."
    return f"{name}, used last: {', '.join(word for word in known if word)}."
