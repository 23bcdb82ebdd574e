"""How a visit's record is said: the same sentences and figures on its page, on paper and in the terminal.

Digits are the fine ones (0.001 mm, 0.01 thou): this is the record itself. Readings stand as they were typed.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Final

from fleet.reports import check_words
from fleet.reports.check_words import CheckFacts
from fleet.reports.session_content import (
    InstrumentOnDay,
    MoveMade,
    Pair,
    SessionRecord,
    SessionSurvey,
    SettledCheck,
    StationOffset,
)
from fleet.reports.sheet_words import Pieces, sentence
from fleet.values import AXES, Axis
from fleet.words import NBSP, Kind, ReaderUnit, day, direction, figure, plus_minus, said

PHASES: Final[dict[str, str]] = {"as_found": "as-found", "interim": "interim", "as_left": "as-left", "hot": "hot"}
AXIS_NAMES: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}
PLACES: Final[dict[str, str]] = {"gearbox_feet": "gearbox feet", "flange": "flange"}
_AXIS_BY: Final[dict[str, str]] = {
    "shaft_turned": "the gearbox shaft turned",
    "fixture_turned": "the fixture turned",
    "bore_centred": "centred in the bore",
}
_PLUS: Final[dict[tuple[str, Axis], str]] = {
    ("bore_from_beam", "v"): "high",
    ("beam_from_bore", "v"): "low",
    ("bore_from_beam", "h"): "right",
    ("beam_from_bore", "h"): "left",
}
_SIGNED_ON_IMPORT: Final = re.compile(r"^(?P<who>.*) \(import, sha256 [0-9a-f]{64}\)$")
_ON: Final = "on target"
_CLOCK_H: Final = 12
_DEGREES_AN_HOUR: Final = 30


def clock_position(roll_deg: float) -> str:
    """Return where a roll points as seen from the gearbox: 0 is '12 o’clock', 90 '9 o’clock', 45 '10:30'.

    Rolls count counter-clockwise looking downstream, the clock runs the other way.
    """
    minutes = round((-roll_deg / _DEGREES_AN_HOUR) % _CLOCK_H * 60.0) % (_CLOCK_H * 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour or _CLOCK_H}:{minute:02d}" if minute else f"{hour or _CLOCK_H}{NBSP}o’clock"


def roll(roll_deg: float) -> str:
    """Return '180° (6 o’clock)'."""
    return f"{roll_deg:g}° ({clock_position(roll_deg)})"


def at(moment: datetime) -> str:
    """Return '25 Nov 2026, 22:40': a moment in the zone it carries."""
    return f"{day(moment)}, {moment:%H:%M}"


def zone_words(record: SessionRecord) -> str:
    """Return the zone's name and how far it was from UTC when the visit began: 'Asia/Tokyo, UTC+9'."""
    return f"{record.zone}, {offset_from_utc(record.started_at)}"


def offset_from_utc(moment: datetime) -> str:
    """Return 'UTC+9', 'UTC−8', 'UTC+5:30', or 'UTC'."""
    offset = moment.utcoffset()
    minutes = 0 if offset is None else round(offset.total_seconds() / 60)
    if minutes == 0:
        return "UTC"
    hour, minute = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '−'}{hour}{f':{minute:02d}' if minute else ''}"


def clock(moment: datetime, record: SessionRecord) -> str:
    """Return the time of day; with its day where that is not the visit's, with its offset where the clocks changed."""
    shown = f"{moment:%H:%M}" if moment.date() == record.started_at.date() else at(moment)
    return shown if moment.utcoffset() == record.started_at.utcoffset() else f"{shown} ({offset_from_utc(moment)})"


def degrees(celsius: float, unit: ReaderUnit) -> str:
    """Return a temperature as recorded: '22.5 °C', for readers of thou with '(72.5 °F)'."""
    shown = f"{celsius:g}{NBSP}°C"
    return f"{shown} ({round(celsius * 1.8 + 32.0, 1):g}{NBSP}°F)" if unit == "thou" else shown


def whole(number: float) -> str:
    """Return a number as recorded with its thousands set apart: '41 870', '1 200.5'."""
    return f"{Decimal(repr(float(number))).normalize():,f}".replace(",", NBSP)


def in_words(um: float, axis: Axis, kind: Kind, unit: ReaderUnit, side: str | None, *, with_unit: bool = True) -> str:
    """Return a length to 0.001 mm in words; right carries the plant's word: '0.050 mm right (operator side)'."""
    word = f" ({side})" if side and "right" in direction(um, axis, kind, unit, fine=True) else ""
    return said(um, axis, kind, unit, fine=True, with_unit=with_unit) + word


def with_spread(um: float, u95_um: float, axis: Axis, unit: ReaderUnit) -> str:
    """Return an offset under a header that names the unit: '0.298 low ± 0.021'."""
    return f"{said(um, axis, 'offset', unit, fine=True, with_unit=False)} {plus_minus(u95_um, unit, fine=True)}"


def deviation(um: float | None, axis: Axis, unit: ReaderUnit) -> str:
    """Return a deviation under a header that says 'of target': '0.098 below'; a dash where there is no target."""
    if um is None:
        return "–"
    word = said(um, axis, "deviation", unit, fine=True, with_unit=False)
    return word if direction(um, axis, "deviation", unit, fine=True) == _ON else word.removesuffix(f"{NBSP}target")


def signer(signed_by: str | None) -> str:
    """Return who signed, without the digest that stands beside it: 'K. Dremmond, on import'."""
    if not signed_by:
        return "not recorded"
    found = _SIGNED_ON_IMPORT.match(signed_by)
    return f"{found['who']}, on import" if found else signed_by


def phases(record: SessionRecord) -> str:
    """Return what was surveyed: 'as-found and as-left'."""
    names = list(dict.fromkeys(PHASES[survey.phase] for survey in record.surveys))
    if not names:
        return "no survey"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def title(record: SessionRecord) -> str:
    """Return the heading: 'Visit ORR-07-08 of ORR-07'."""
    return f"Visit {record.session} of {record.line}"


def when_and_who(record: SessionRecord) -> str:
    """Return the first sentence: when, by whom, with what."""
    who = f" by {record.technician}" if record.technician else ""
    tool = f" with {record.instrument.serial}" if record.instrument else ""
    what = phases(record)
    return f"{at(record.started_at)} ({zone_words(record)}): {what}{who}{tool}."


def farthest(survey: SessionSurvey) -> tuple[StationOffset, Axis, float] | None:
    """Return where a survey lies farthest from target: station, axis, deviation [um]; None without targets."""
    found: list[tuple[float, StationOffset, Axis, float]] = []
    for offset in survey.offsets:
        for axis, um in zip(AXES, offset.deviation_um, strict=True):
            if um is not None:
                found.append((abs(um), offset, axis, um))
    if not found:
        return None
    _, offset, axis, um = max(found, key=lambda one: one[0])
    return offset, axis, um


def outcome(record: SessionRecord, unit: ReaderUnit) -> Pieces:
    """Return how the bore was found and how it was set, against the target and the limit of the visit's day."""
    if not record.surveys:
        return (("This record holds no survey: it withdraws the visit it corrects.", False),)
    parts: list[tuple[str, bool]] = []
    limit: float | None = None
    for phase, lead in (("as_found", "As-found"), ("as_left", "As-left")):
        survey = next((one for one in reversed(record.surveys) if one.phase == phase), None)
        worst = farthest(survey) if survey else None
        if worst is None:
            continue
        offset, axis, um = worst
        parts += [
            (f"{lead}, farthest from target at station {offset.station}: ", False),
            (in_words(um, axis, "deviation", unit, record.right_hand_side), True),
            (". ", False),
        ]
        limit = offset.limit_um[AXES.index(axis)]
    if not parts:
        return (("No cold target had been set by then, so nothing is judged.", False),)
    if limit is not None:
        shown = f"{figure(limit, unit, fine=True)}{NBSP}{unit}"
        parts.append((f"The limit of that day was {shown} from the target.", False))
    return tuple(parts)


def calibration(instrument: InstrumentOnDay) -> str:
    """Return how an instrument's calibration stood that day, in words."""
    if instrument.covered is None:
        return "no calibration on record"
    if instrument.calibrated_on is None:
        return "not yet calibrated on that day"
    named = f", certificate {instrument.certificate}" if instrument.certificate else ""
    done = f"calibrated {day(instrument.calibrated_on)}"
    if instrument.due_on is None:
        return f"{done}, no end given{named}"
    return f"{done}, {'holds' if instrument.covered else 'held only'} until {day(instrument.due_on)}{named}"


def instrument_words(instrument: InstrumentOnDay | None) -> str:
    """Return an instrument with its kind and its calibration that day."""
    if instrument is None:
        return "not recorded"
    kind = f" ({instrument.kind})" if instrument.kind else ""
    return f"{instrument.serial}{kind}, {calibration(instrument)}"


def sense_words(instrument: InstrumentOnDay | None) -> str:
    """Return what plus means as the instrument shows it: 'I-04: v + is high, h + is left.'; empty where unknown."""
    if instrument is None:
        return ""
    v, h = (_PLUS[sense, axis] for sense, axis in zip(instrument.sense, AXES, strict=True))
    return f"{instrument.serial}: v + is {v}, h + is {h}."


def head_facts(record: SessionRecord, unit: ReaderUnit) -> tuple[tuple[str, str], ...]:
    """Return what is recorded of the visit as a whole: name and value, what is not recorded left out."""
    outage = " ".join(filter(None, (record.outage_kind, f"({record.outage})" if record.outage_kind else record.outage)))
    facts = (
        ("Began", f"{at(record.started_at)} ({zone_words(record)})"),
        ("Technician", record.technician),
        ("Instrument", instrument_words(record.instrument)),
        ("Why", record.reason),
        ("Stop", outage),
        ("Work order", record.work_order),
        ("Hour meter", None if record.running_hours is None else f"{whole(record.running_hours)}{NBSP}h"),
        ("Hall", None if record.ambient_c is None else degrees(record.ambient_c, unit)),
        ("Remarks", record.remarks),
    )
    return tuple((name, value) for name, value in facts if value)


def survey_title(survey: SessionSurvey) -> str:
    """Return 'Survey 1, as-found'."""
    return f"Survey {survey.number}, {PHASES[survey.phase]}"


def conditions(record: SessionRecord, survey: SessionSurvey, unit: ReaderUnit) -> tuple[tuple[str, str], ...]:
    """Return how it stood at a survey: name and value, what is not recorded left out."""
    oil = " (oil)" if survey.gearbox_c_at == "oil" else ""
    own = "; ".join(_warmth(survey, unit))
    facts = (
        ("Taken", clock(survey.measured_at, record)),
        (
            "Instrument",
            instrument_words(survey.instrument)
            if survey.instrument and (not record.instrument or survey.instrument.serial != record.instrument.serial)
            else None,
        ),
        ("Barrel", None if survey.barrel_c is None else degrees(survey.barrel_c, unit)),
        ("Gearbox", None if survey.gearbox_c is None else degrees(survey.gearbox_c, unit) + oil),
        ("Base", None if survey.base_c is None else degrees(survey.base_c, unit)),
        ("At the supports", own),
        ("Heats off for", None if survey.heats_off_h is None else f"{whole(survey.heats_off_h)}{NBSP}h"),
        ("Gearbox level", _level(survey.gearbox_level_um_per_m, unit)),
        ("Axis found with", _AXIS_BY.get(survey.axis_by or "", survey.axis_by)),
        ("Bolts", survey.bolts),
        ("Screw", survey.screw),
        ("Die", survey.die),
        ("Remarks", survey.remarks),
    )
    return tuple((name, value) for name, value in facts if value)


def _level(um_per_m: float | None, unit: ReaderUnit) -> str | None:
    if um_per_m is None:
        return None
    exact = Decimal(repr(float(um_per_m)))
    if unit == "thou":
        value, name = (exact * Decimal("0.3048") / Decimal("25.4")).quantize(Decimal("0.01")), "thou/ft"
    else:
        value, name = (exact / 1000).quantize(Decimal("0.001")), "mm/m"
    word = "level" if value == 0 else "upward" if value > 0 else "downward"
    return f"{abs(value)}{NBSP}{name} {word} toward the discharge end" if value else word


def _warmth(survey: SessionSurvey, unit: ReaderUnit) -> Iterable[str]:
    for own in survey.supports:
        figures = [
            f"{name} {degrees(celsius, unit)}"
            for name, celsius in (("barrel", own.barrel_c), ("base", own.base_c))
            if celsius is not None
        ]
        yield f"{own.support} {', '.join(figures)}" + (f" ({own.withdrawn})" if own.withdrawn else "")


def how_reduced(survey: SessionSurvey, unit: ReaderUnit) -> tuple[str, ...]:
    """Return the scheme, the beam, the closure and the scatter of a survey: a sentence each."""
    sentences: list[str] = []
    if survey.entered:
        sentences.append("The offsets came in as results; their readings are not on record.")
    elif survey.scheme:
        sentences.append(f"Read in {survey.scheme}.")
    for state in survey.beam:
        name = f"Beam state {state.state}: the beam" if len(survey.beam) > 1 else "The beam"
        sentences.append(
            f"{name} lay {_two(state.offset_um, 'offset', unit)} of the gearbox axis at the flange and ran "
            f"{_slopes(state.direction_um_per_m, unit)} from there."
        )
    if survey.closure_um is not None:
        v, h = (f"{figure(um, unit, fine=True)}{NBSP}{unit}" for um in survey.closure_um)
        sentences.append(f"Read again at the end, the first station came back within {v} vertical and {h} horizontal.")
    elif survey.readings:
        sentences.append("The first station was not read again at the end, so a wander of the beam would not show.")
    if survey.scale is not None and survey.readings:
        times = float(survey.scale) ** 0.5
        sentences.append(f"The readings scattered {times:.1f} times as far as the instrument states.")
    sentences += [sentence(note) for note in survey.notes if note.strip()]
    return tuple(sentences)


def _two(um: Pair, kind: Kind, unit: ReaderUnit) -> str:
    v, h = (said(value, axis, kind, unit, fine=True) for value, axis in zip(um, AXES, strict=True))
    return f"{v} and {h}"


def _slopes(um_per_m: Pair, unit: ReaderUnit) -> str:
    parts = []
    for value, (plus, minus) in zip(um_per_m, (("upward", "downward"), ("to the right", "to the left")), strict=True):
        exact = Decimal(repr(float(value)))
        shown = exact * Decimal("0.3048") / Decimal("25.4") if unit == "thou" else exact / 1000
        rounded = shown.quantize(Decimal("0.01") if unit == "thou" else Decimal("0.001"))
        name = "thou/ft" if unit == "thou" else "mm/m"
        parts.append(f"{abs(rounded)}{NBSP}{name} {plus if rounded > 0 else minus}" if rounded else "straight")
    return " and ".join(dict.fromkeys(parts))


def moved(move: MoveMade, record: SessionRecord, unit: ReaderUnit) -> tuple[str, str]:
    """Return what a support was moved by, vertically and horizontally: '0.085 mm higher', '–' where not recorded."""
    v, h = (
        "–" if um is None else in_words(um, axis, "movement", unit, record.right_hand_side)
        for um, axis in zip(move.moved_um, AXES, strict=True)
    )
    return v, h


def _closed(text: str) -> str:
    """Return a text on one line with a full stop, its first letter as written: an axis is never made a capital."""
    return sentence(f"x {text}").removeprefix("X ")


def what_replaced(record: SessionRecord) -> str:
    """Return the sentence at the head of a record that a correction has replaced; empty where none has."""
    if record.corrected_by is None:
        return ""
    link = next(one for one in record.chain if one.session == record.corrected_by)
    why = f": {_closed(link.reason)}" if link.reason else "."
    when = f" on {day(link.signed_at)}" if link.signed_at else ""
    gone = " That record holds no survey: the visit is withdrawn." if link.surveys == 0 else ""
    return f"{link.session} replaced this record{when}{why}{gone} All figures use the newer record; both are kept."


def what_corrected(record: SessionRecord) -> str:
    """Return the sentence of a record that corrects another; empty where it corrects none."""
    if record.corrects is None:
        return ""
    why = f": {_closed(record.correction_reason)}" if record.correction_reason else "."
    return f"This record replaces {record.corrects}{why} Both are kept."


def proof(record: SessionRecord) -> tuple[tuple[str, str], ...]:
    """Return who signed when, and what the record came in with."""
    signed = signer(record.signed_by) + (f", {at(record.signed_at)}" if record.signed_at else "")
    facts = [("Signed", signed)]
    if record.source is not None:
        source = record.source
        facts += [
            ("Came in with", f"{source.file_name}, taken in {at(source.taken_at)} by {source.taken_by}"),
            ("Digest of that source (SHA-256)", source.sha256),
        ]
    if record.signed_view is not None:
        digest = hashlib.sha256(record.signed_view.encode()).hexdigest()
        facts.append(("What the signer saw", f"kept with the record as stored then, SHA-256 {digest}"))
    return tuple(facts)


def as_of(record: SessionRecord) -> str:
    """Return how fresh the data are: 'data as of 25 Nov 2026, 22:40'."""
    return f"data as of {at(record.as_of)}"


_SETTLED: Final[dict[str, str]] = {
    "kept": "kept as it was",
    "corrected": "corrected",
    "read_again": "read again",
}


def settled(check: SettledCheck) -> str:
    """Return how something noticed was settled: 'Kept as it was by M. Adeyrin: read twice.'."""
    return sentence(f"{_SETTLED.get(check.settled, check.settled)} by {check.accepted_by}: {_closed(check.why)}")


def settled_title(check: SettledCheck) -> str:
    """Return the heading of something noticed; a name that is not among the checks stands as stored."""
    try:
        return check_words.title(check.check)
    except KeyError:
        return check.check


def seen(record: SessionRecord) -> str:
    """Return what the person who signed saw, in lines where it is stored as JSON."""
    text = record.signed_view or ""
    try:
        return json.dumps(json.loads(text), indent=1, ensure_ascii=False)
    except ValueError:
        return text


def settled_where(check: SettledCheck) -> str:
    """Return 'Survey 1: ', or nothing where a check is of the whole visit."""
    return "" if check.survey is None else f"Survey {check.survey}: "


SEEN_BY_SIGNER: Final = "Show what the person who signed saw, as it was stored"
NOTHING_NOTICED: Final = "Nothing: the readings agree with each other and with what was expected."
UNIT_WORDS: Final[dict[ReaderUnit, str]] = {
    "mm": "Figures in millimetres.",
    "thou": "Figures in thou: 1 thou is 0.001 in, 25.4 um.",
}


def check_text(facts: CheckFacts, unit: ReaderUnit) -> str:
    """Return what a check says of a visit that is signed: nobody is asked to choose any more."""
    return check_words.text(facts, unit).removesuffix(check_words.CLOSING).strip()
