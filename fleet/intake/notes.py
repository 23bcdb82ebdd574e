"""What signing would have asked about, noted on imported sessions and never a ground to refuse them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date

from fleet.intake.checking import local_day
from fleet.intake.known import View
from fleet.intake.parsing import Places, Table
from fleet.intake.raw import shown


def settle_phases(tables: Mapping[str, Table]) -> None:
    """Make an as_left with loose bolts an interim: what is not torqued is not left yet. What was typed is kept."""
    surveys = tables.get("surveys")
    if surveys is None:
        return
    phases, bolts = surveys.values["phase"], surveys.values["bolts"]
    for position, (phase, held) in enumerate(zip(phases, bolts, strict=True)):
        if phase == "as_left" and held == "loose":
            phases[position] = "interim"


def of_sessions(view: View, places: Places, positions: list[int]) -> dict[str, tuple[str, ...]]:
    """Return what signing would have asked about new sessions: calibration, temperatures, loose bolts.

    Parameters
    ----------
    view
        Source and store together.
    places
        Where the lines stand, for the day of a session.
    positions
        Rows of `sessions` that are new.

    Returns
    -------
    dict
        Sentences by session code; sessions without any are left out.
    """
    sessions, surveys = view.tables.get("sessions"), view.tables.get("surveys")
    if sessions is None or not positions:
        return {}
    calibrated: defaultdict[str, list[tuple[date, date | None]]] = defaultdict(list)
    for key in view.keys("calibrations"):
        calibrated[key[0]].append((key[1], view.value("calibrations", key, "due_on")))
    used: defaultdict[str, set[str]] = defaultdict(set)
    cold: defaultdict[str, list[int]] = defaultdict(list)
    loose: defaultdict[str, list[int]] = defaultdict(list)
    if surveys is not None:
        values = surveys.values
        for position, (code, number) in enumerate(surveys.keys()):
            if code is None or position in surveys.bad:
                continue
            if values["instrument"][position]:
                used[code].add(values["instrument"][position])
            if values["barrel_c"][position] is None or values["gearbox_c"][position] is None:
                cold[code].append(number)
            if surveys.typed["phase"][position] == "as_left" and values["phase"][position] == "interim":
                loose[code].append(number)
    out: dict[str, tuple[str, ...]] = {}
    for position in positions:
        code = sessions.values["session"][position]
        day = local_day(view, places, code)
        instruments = set(used[code]) | {sessions.values["instrument"][position]} - {None}
        found = [
            f"instrument {shown(each)} has no calibration that covers {day}"
            for each in sorted(instruments)
            if day is not None and not _covered(calibrated[each], day)
        ]
        if cold[code]:
            found.append(f"no barrel or gearbox temperature on survey {', '.join(map(str, cold[code]))}")
        if loose[code]:
            numbers = ", ".join(map(str, loose[code]))
            found.append(f"survey {numbers} was called as_left with loose bolts; it counts as interim")
        if found:
            out[code] = tuple(found)
    return out


def _covered(calibrations: list[tuple[date, date | None]], day: date) -> bool:
    return any(done <= day and (due is None or day <= due) for done, due in calibrations)
