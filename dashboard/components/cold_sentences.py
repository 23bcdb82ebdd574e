"""What one line's cold offsets say in sentences: the verdict, the target, what the job sheet makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dashboard.components import cold, numbers, sentences
from dashboard.components.rich import Bold, Sentence
from fleet import words
from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.reports.sheet_words import shown_difference_um
from fleet.services.cold_offset_advice import NextTarget, TargetLeft
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.values import AXES
from fleet.words import NBSP, ReaderUnit

_OTHERS_NAMED = 3


def by_line_lead(view: ColdOffsetsView, unit: ReaderUnit, sheet: JobSheet | None) -> Sentence:
    """Say which way came out right here, the target it gives, how the line should run, and what the job sheet sets."""
    if view.advice is None or view.recommended_target_um is None:
        return sentences.cold_offsets_lead(view, unit)
    parts: list[str] = [f"{view.advice.verdict.rstrip('.')}. "]
    parts += sentences.cold_offsets_lead(replace(view, why=""), unit)
    parts.append(checks_behind(view))
    parts.append(other_supports(view, unit))
    if sheet is not None:
        parts += job_sheet_sets(view, unit, sheet)
    return tuple(part for part in parts if part)


def checks_behind(view: ColdOffsetsView) -> str:
    """Say from how many checks, from when to when: ' From five running checks, Mar 2022 – Jun 2025.'"""
    if not view.checks:
        return " No running check on this line yet."
    days = sorted(check.checked_at for check in view.checks)
    hot = sum(check.label.startswith("hot") for check in view.checks)
    kind = "running check" if not hot else "check, some with the screw out" if len(days) > 1 else "check, screw out"
    kind = kind.replace("check", "check" if len(days) == 1 else "checks")
    first, last = words.month(days[0]), words.month(days[-1])
    return f" From {numbers.count(len(days))} {kind}, {first if first == last else f'{first} – {last}'}."


def other_supports(view: ColdOffsetsView, unit: ReaderUnit) -> str:
    """Name the targets over the other supports: 'Station A is the same.' where it is."""
    targets = view.advice.targets if view.advice else ()
    over = {part.support for part in view.parts}
    others = [t for t in targets if t.axis == view.axis and t.station != view.station and t.station in over]
    known = [t for t in others if t.target_um is not None][:_OTHERS_NAMED]
    if not known or view.recommended_target_um is None:
        return ""
    mine = words.said(view.recommended_target_um, view.axis, "offset", unit)
    same, differ = [], []
    for target in known:
        said = words.said(target.target_um or 0.0, view.axis, "offset", unit)
        if said == mine:
            same.append(target.station)
        else:
            differ.append(f"{target.station} {said}")
    parts = []
    if same:
        parts.append(f" {'Station' if len(same) == 1 else 'Stations'} {cold.joined(same)} "
                     f"{'is' if len(same) == 1 else 'are'} the same.")  # fmt: skip
    if differ:
        parts.append(f" {'Station' if len(differ) == 1 else 'Stations'} {cold.joined(differ)}.")
    return "".join(parts)


def sheet_station(sheet: JobSheet | None, station: str) -> SheetStation | None:
    """Return the job sheet's row of a station."""
    return next((row for row in sheet.stations if row.station == station), None) if sheet else None


def job_sheet_sets(view: ColdOffsetsView, unit: ReaderUnit, sheet: JobSheet) -> Sentence:
    """Say what the job sheet sets at the station, where that differs from the recommended target, and why."""
    row, index = sheet_station(sheet, view.station), AXES.index(view.axis)
    if row is None or (set_to := row.set_to_um[index]) is None or (target := row.target_um[index]) is None:
        return ()
    parts: list[str] = []
    shown = words.said(target, view.axis, "offset", unit)
    if view.recommended_target_um is None or shown != words.said(view.recommended_target_um, view.axis, "offset", unit):
        parts.append(f" The job sheet keeps the newest target on record, {shown}, until three checks judge a way here.")
    drift = shown_difference_um(set_to, target, unit)
    if drift:
        parts += [
            f" The job sheet sets {view.station} to ",
            Bold(words.said(set_to, view.axis, "offset", unit)),
            f": {words.said(drift, view.axis, 'movement', unit)}, against the drift.",
        ]
    return tuple(parts)


def why_words(target: NextTarget) -> str:
    """Return why a way is the one to set by: 'closest over 11 checks', 'the way to start with, 2 checks so far'."""
    if target.way is None:
        return "nothing to choose by yet"
    counted = cold.checks(target.runs) if target.runs else f"no{NBSP}check"
    if not target.judged:
        return f"the way to start with; {counted} so far"
    if target.tied and target.closest is not None:
        return f"over {counted} as good as {cold.CHOOSING[target.closest].replace('each line', 'its own line')}"
    return f"closest over {counted}"


def left_sentence(rows: Sequence[TargetLeft], unit: ReaderUnit) -> str:
    """Say how many as-lefts met their own target, and whether the record of the day would have set it closer."""
    aimed = [row for row in rows if row.met is not None]
    parts = []
    if aimed:
        met = sum(bool(row.met) for row in aimed)
        widths = {words.figure(row.set_within_um, unit) for row in aimed}
        within = f" within {widths.pop()}{NBSP}{unit}" if len(widths) == 1 else ""
        which = (
            "The one as-left"
            if len(aimed) == 1
            else f"{cold.capital(numbers.count(met)) if met else 'None'} of {len(aimed)} as-lefts"
        )
        whose = "its" if len(aimed) == 1 else "their"
        verb = f"{'met' if len(aimed) > 1 or met else 'missed'} {whose} own target"
        parts.append(f"{which} {verb}{within}.")
    both = [row for row in rows if row.ran_um is not None and row.would_have_run_um is not None]
    closer = sum(abs(row.would_have_run_um or 0.0) < abs(row.ran_um or 0.0) for row in both)
    if both:
        parts.append(
            "The target the record would have recommended that day would have run closer to the axis on "
            f"{numbers.count(closer) if closer else 'none'} of {len(both)}."
        )
    return " ".join(parts)
