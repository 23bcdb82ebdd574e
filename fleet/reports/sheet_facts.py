"""The three facts at the head of a job sheet: Last as-left, How it came out running, Why this target."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from fleet.reports.job_sheet import JobSheet, PastSurvey
from fleet.reports.sheet_words import (
    Pieces,
    joined,
    named,
    plain,
    sentence,
    shown_difference_um,
    temperature,
    with_side,
)
from fleet.words import NBSP, ReaderUnit, day, figure, plus_minus, said

_STATIONS_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class Fact:
    """One of the three facts at the head of the sheet: its title and its sentences."""

    title: str
    pieces: Pieces

    @property
    def text(self) -> str:
        """The sentences without their emphasis."""
        return plain(self.pieces)


def _key_stations(sheet: JobSheet, recorded: Iterable[str]) -> list[str]:
    """Return the stations worth naming in a sentence: those over supports; without any, the worst and the farthest."""
    names = list(recorded)
    over_support = [station.station for station in sheet.stations if station.support and station.station in names]
    if over_support:
        return over_support
    if len(names) <= _STATIONS_NAMED:
        return names
    worst = {sheet.worst[0]} if sheet.worst else set()
    chosen = (worst & set(names)) | {max(sheet.stations, key=lambda s: s.distance_mm).station}
    return [name for name in names if name in chosen] or names[-1:]


def _grouped(said_at: Sequence[tuple[str, str]], total: int) -> list[tuple[str, str]]:
    """Return (stations, words) with stations that share their words joined: ('A and B', '0.26 mm low')."""
    by_words: dict[str, list[str]] = {}
    for name, words in said_at:
        by_words.setdefault(words, []).append(named(name, "station"))
    if total == 2 and len(by_words) == 1:
        return [("both", words) for words in by_words]
    return [(joined(names), words) for words, names in by_words.items()]


def _listed(groups: Sequence[tuple[str, str]], *, strong: bool) -> list[tuple[str, bool]]:
    pieces: list[tuple[str, bool]] = []
    for number, (names, words) in enumerate(groups):
        pieces += [((", " if number else "") + f"{names}{NBSP}", False), (words, strong)]
    return pieces


def _each(u95_um: float | None, count: int, unit: ReaderUnit) -> str:
    if u95_um is None:
        return ""
    return f", each {plus_minus(u95_um, unit)}" if count > 1 else f" {plus_minus(u95_um, unit)}"


def _offsets(sheet: JobSheet, survey: PastSurvey, unit: ReaderUnit, *, both_axes: bool) -> list[tuple[str, bool]]:
    keys = _key_stations(sheet, (name for name, _, _ in survey.offsets_um))
    if not keys:
        return [("No figures on record", False)]
    rows = [row for row in survey.offsets_um if row[0] in keys]
    side = sheet.right_hand_side
    vertical = _grouped([(name, said(v, "v", "offset", unit)) for name, v, _ in rows], 0)
    horizontal = _grouped([(name, with_side(h, "h", "offset", unit, side)) for name, _, h in rows], len(rows))
    return [
        *_listed(vertical, strong=both_axes),
        *([("; horizontally ", False), *_listed(horizontal, strong=False)] if both_axes else []),
        (_each(survey.u95_um, 2 if both_axes else len(rows), unit), False),
    ]


def _temperatures(places: Sequence[tuple[str, float | None]], unit: ReaderUnit) -> str:
    """Return 'barrel and gearbox 22 °C' or 'barrel 205 °C, gearbox 50 °C'; empty where none was recorded."""
    known = [(name, temperature(value, unit)) for name, value in places if value is not None]
    return ", ".join(f"{names} {shown}" for names, shown in _grouped(known, 0))


def last_as_left(sheet: JobSheet, unit: ReaderUnit) -> Fact:
    """Return what was left last time, by whom, how and how warm, and what was measured since."""
    pieces: list[tuple[str, bool]] = []
    survey = sheet.last_as_left
    if survey is None:
        pieces.append(("No as-left on record.", False))
    else:
        by = f", {survey.technician}" if survey.technician else ""
        pieces += [(day(survey.on), True), (f"{by}. ", False), *_offsets(sheet, survey, unit, both_axes=True)]
        warm = _temperatures((("barrel", survey.barrel_c), ("gearbox", survey.gearbox_c)), unit)
        how = ", ".join(filter(None, (survey.scheme.replace("_", " "), survey.instrument)))
        pieces.append((f". {sentence(warm) if warm else 'No temperatures on record.'} {sentence(how)}".rstrip(), False))
    if sheet.measured_since is not None:
        since = sheet.measured_since
        pieces.append((f" On {day(since.on)} measured only: ", False))
        pieces += [*_offsets(sheet, since, unit, both_axes=False), (".", False)]
    return Fact("Last as-left", tuple(piece for piece in pieces if piece[0]))


def came_out_running(sheet: JobSheet, unit: ReaderUnit) -> Fact:
    """Return how far the stations rose after the last as-left and where the bore ran."""
    title = "How it came out running"
    run = sheet.running
    if run is None:
        text = "No running check on record" + (" since the last as-left." if sheet.last_as_left else ".")
        return Fact(title, ((text, False),))
    pieces: list[tuple[str, bool]] = [(day(run.checked_at), True)]
    if run.hours_since_heats_on is not None:
        pieces.append((f", {run.hours_since_heats_on:.0f}{NBSP}h after heats on", False))
    warm = _temperatures((("barrel", run.barrel_c), ("gearbox", run.gearbox_c), ("base", run.base_c)), unit)
    pieces.append((f"; {warm}. " if warm else ". ", False))
    rows = [row for row in run.stations if row[0] in _key_stations(sheet, (name for name, _, _ in run.stations))]
    rises = [
        (name, f"{'rose' if rise >= 0 else 'went down'} {figure(rise, unit)}{NBSP}{unit}".replace(" ", NBSP))
        for name, rise, _ in rows
    ]
    if rises:
        pieces += _listed(_grouped(rises, len(rises)), strong=False)
        pieces.append((f"{_each(run.u95_um, len(rises), unit)}. ", False))
    ran = [(name, f"ran{NBSP}{said(value, 'v', 'running', unit)}") for name, _, value in rows if value is not None]
    if ran:
        listed = _listed(_grouped(ran, len(ran)), strong=True)
        pieces += [(listed[0][0][0].upper() + listed[0][0][1:], False), *listed[1:], (".", False)]
    else:
        pieces.append(("Where it ran is not known: no as-left before it.", False))
    return Fact(title, tuple(pieces))


def why_this_target(sheet: JobSheet, unit: ReaderUnit) -> Fact:
    """Return the cold target, its reason, and what is set against drift and why."""
    keys = _key_stations(sheet, (station.station for station in sheet.stations))
    rows = [station for station in sheet.stations if station.station in keys]
    targets = [(s.station, said(s.target_um[0], "v", "offset", unit)) for s in rows if s.target_um[0] is not None]
    pieces: list[tuple[str, bool]] = []
    if targets:
        pieces += [*_listed(_grouped(targets, 0), strong=True), (". ", False)]
    pieces.append(
        (sentence(sheet.target_why) or ("No reason on record." if targets else "No cold target on record."), False)
    )
    drifts = [
        (s.station, said(drift, "v", "movement", unit))
        for s in rows
        if s.target_um[0] is not None
        and s.set_to_um[0] is not None
        and (drift := shown_difference_um(s.set_to_um[0], s.target_um[0], unit))
    ]
    if drifts:
        pieces.append((f" Then {plain(tuple(_listed(_grouped(drifts, 0), strong=False)))} against drift.", False))
    if sheet.drift_why:
        pieces.append((f" {sentence(sheet.drift_why)}", False))
    return Fact("Why this target", tuple(pieces))


def facts(sheet: JobSheet, unit: ReaderUnit) -> tuple[Fact, Fact, Fact]:
    """Return the three facts in their order."""
    return last_as_left(sheet, unit), came_out_running(sheet, unit), why_this_target(sheet, unit)
