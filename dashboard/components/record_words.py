"""The words of Record: readings as the instrument shows them, rolls with their clock position, steps and phases."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

from dashboard.components import numbers
from fleet import words
from fleet.services.recording.view import InstrumentView, PassView, RecordView, Slot
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

PHASES: Final[dict[str, str]] = {
    "as_found": "As-found",
    "interim": "Interim",
    "as_left": "As-left",
    "hot": "Hot survey",
}
_SENSES: Final[dict[str | None, str]] = {
    "bore_from_beam": "bore from beam",
    "beam_from_bore": "beam from bore",
    None: "sense not recorded",
}
PLACES: Final[dict[str, str]] = {"gearbox_feet": "Gearbox feet", "flange": "Flange"}


def as_shown(um: float, unit: ReaderUnit, *, with_unit: bool = True) -> str:
    """Return a reading with its bare sign, as an instrument shows it: '− 0.047 mm'."""
    shown = words.quantised(um, unit, fine=True)
    sign = f"+{NBSP}" if shown > 0 else f"−{NBSP}" if shown < 0 else ""
    return f"{sign}{abs(shown)}{NBSP}{unit}" if with_unit else f"{sign}{abs(shown)}"


def as_typed(text: str, unit: str) -> str:
    """Return a reading as it was typed, its sign set apart and never left out: '+ 0,047 mm'."""
    bare = text.strip()
    sign, rest = ("−", bare[1:]) if bare[:1] in ("-", "−") else ("+", bare.lstrip("+"))
    return f"{sign}{NBSP}{rest.strip()}{NBSP}{unit}".rstrip(NBSP)


def length(um: float, unit: ReaderUnit) -> str:
    """Return a length without direction, to 0.001 mm: '0.057 mm'."""
    return f"{words.figure(um, unit, fine=True)}{NBSP}{unit}"


def clock(slot: Slot) -> str:
    """Return where the beam's mark stands: '6 o’clock'."""
    return f"{slot.clock} o’clock"


def roll(slot: Slot) -> str:
    """Return a roll with its clock position: '180° (6 o’clock)'."""
    return f"{slot.roll_deg}° ({clock(slot)})"


def pass_name(made: PassView) -> str:
    """Return what a pass is called: 'As-found', 'As-left', 'Interim, pass 2'."""
    name = PHASES.get(made.phase, made.phase)
    return f"{name}, pass {made.number}" if made.phase == "interim" else name


def calibrated(instrument: InstrumentView | None) -> str:
    """Return how an instrument's calibration stands: 'I-04, calibrated to 3 Mar 2027'."""
    if instrument is None:
        return "not chosen yet"
    if instrument.calibration == "none recorded":
        return f"{instrument.serial}, no calibration recorded"
    until = words.day(instrument.due_on) if instrument.due_on else ""
    if instrument.calibration == "lapsed":
        return f"{instrument.serial}, calibration lapsed {until}".strip()
    return f"{instrument.serial}, calibrated{f' to {until}' if until else ''}"


def shows(instrument: InstrumentView | None) -> str:
    """Return what an instrument's readings say: 'bore from beam, v + high, h + right'."""
    if instrument is None:
        return "not known yet"
    senses = (instrument.sense_v, instrument.sense_h)
    if senses[0] == senses[1]:
        turned = senses[0] == "beam_from_bore"
        signs = "v + beam high, h + beam right" if turned else "v + high, h + right"
        return f"{_SENSES[senses[0]]}, {signs}"
    return f"v {_SENSES[senses[0]]}, h {_SENSES[senses[1]]}"


def time_of_day(moment: datetime) -> str:
    """Return '14:52'."""
    return f"{moment:%H:%M}"


def when(moment: datetime, today: date) -> str:
    """Return the time of day, with the day where it is not today: '14:52', '24 Nov 2026, 14:52'."""
    return time_of_day(moment) if moment.date() == today else f"{words.day(moment)}, {time_of_day(moment)}"


def offset(um: float, axis: Axis, unit: ReaderUnit, right_hand_side: str | None = None) -> str:
    """Return an offset to 0.001 mm with unit and word, and the plant's word for right: '0.057 mm right (wall side)'."""
    text = words.said(um, axis, "offset", unit, fine=True)
    side = numbers.right_word(words.direction(um, axis, "offset", unit, fine=True), right_hand_side)
    return f"{text} {side}".strip()


def crumb(view: RecordView) -> str:
    """Return the line above the title: line, day, who, with what."""
    day = words.day(view.started_at) if view.started_at else "no start yet"
    who = ", ".join(part for part in (view.technician, view.instrument.serial if view.instrument else None) if part)
    parts = [view.line, day, who, f"corrects {view.corrects}" if view.corrects else ""]
    return " · ".join(part for part in parts if part)


def axes_note(right_hand_side: str | None) -> str:
    """Return how the directions of a page are to be read."""
    side = f"Right is the {right_hand_side}, looking" if right_hand_side else "Right is meant looking"
    return (
        f"{side} from the gearbox toward the discharge end. Standing at the discharge end, right and left swap. "
        "Clock positions of the beam are seen from the gearbox."
    )


def both(pair: tuple[float, float], unit: ReaderUnit) -> str:
    """Return how far two axes changed, without direction: 'v 0.004, h 0.006 mm'."""
    return (
        ", ".join(f"{axis}{NBSP}{words.figure(um, unit, fine=True)}" for axis, um in zip(AXES, pair, strict=True))
        + f"{NBSP}{unit}"
    )
