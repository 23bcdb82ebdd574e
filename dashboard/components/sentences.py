"""The sentences under the titles: each answers its page's question before any table does, in the reader's unit."""

from __future__ import annotations

from datetime import date

from dashboard.components import numbers
from dashboard.components.rich import Bold, Sentence
from fleet import words
from fleet.services import explaining
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.services.fleet_page import FleetView
from fleet.services.line_history import History, Phase
from fleet.services.line_page import LineView, SessionRow
from fleet.words import NBSP, ReaderUnit

PHASE_WORDS: dict[Phase, str] = {"as_found": "as-found", "interim": "interim", "as_left": "as-left", "hot": "hot"}
WAY_NAMES: dict[str, tuple[str, str]] = {
    "own_record": ("This line’s own checks", "leaving out the check that is judged"),
    "pooled": ("Comparable lines", "measured over modelled rise"),
    "heat_model": ("Heat model", "barrel, base and gearbox axis"),
    "bore_size": ("By bore size", "trade’s rule of thumb"),
    "none": ("No offset", "set it to the axis"),
}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def fleet_lead(view: FleetView) -> Sentence:
    """Say how many lines are probably over, how many are due before which stop, and how many are to be watched."""
    over, due, watch = (view.counts.get(status, 0) for status in ("over", "due", "watch"))
    none = view.counts.get("no record", 0)
    known = sum(view.counts.values()) - none
    if known == 0:
        return (f"{_capital(_lines(none))} without a record: nothing can be said of where they stand.",) if none else ()
    parts: list[str] = []
    if over:
        parts.append(f"{_capital(_lines(over))} {'is' if over == 1 else 'are'} probably over the limit today.")
    else:
        parts.append("No line is probably over the limit today.")
    if due:
        more = (
            f"{_capital(numbers.count(due))} more {'is' if due == 1 else 'are'}"
            if over
            else (f"{_capital(_lines(due))} {'is' if due == 1 else 'are'}")
        )
        parts.append(f"{more} due {_before(view, due)} unless realigned.")
    if not over and not due:
        parts.append(
            f"{_capital(_lines(watch))} {'is' if watch == 1 else 'are'} to be watched."
            if watch
            else "None is due before the outage after its next."
        )
    if none:
        parts.append(f"{_capital(_lines(none))} {'has' if none == 1 else 'have'} no record to stand on.")
    return (" ".join(parts),)


def _lines(number: int) -> str:
    return f"{numbers.count(number)} {'line' if number == 1 else 'lines'}"


def _before(view: FleetView, due: int) -> str:
    """Name the stop the due lines are due before, where it is one and the same for all of them."""
    rows = [row for row in view.rows if row.status == "due"]
    codes = {row.following_outage for row in rows}
    marks = {outage.code: outage for outage in view.outages}
    if len(rows) == due and len(codes) == 1 and (mark := marks.get(codes.pop() or "")) is not None:
        return f"before the {mark.kind or 'outage'} of {words.day(mark.starts_at)}"
    return "before the outage after their next" if due > 1 else "before the outage after its next"


def line_lead(view: LineView, unit: ReaderUnit) -> Sentence:
    """Say where the worst place is expected today against its limit, and what the line's status stands on."""
    worst = next((station for station in view.stations if station.station == view.worst_station), None)
    axis = view.worst_axis
    if worst is None or axis is None:
        return (_capital(view.why.rstrip(".")) + ".",) if view.why else ("No survey to stand on.",)
    index = 0 if axis == "v" else 1
    deviation, u95, limit = worst.deviation_um[index], worst.u95_position_um[index], worst.limit_um[index]
    if deviation is None:
        return (_capital(view.why.rstrip(".")) + ".",) if view.why else ("No survey to stand on.",)
    side = numbers.right_word(words.direction(deviation, axis, "deviation", unit), view.right_hand_side)
    parts = [
        f"Station {worst.station} is expected ",
        Bold(words.said(deviation, axis, "deviation", unit)),
        f" {side}" if side else "",
        f" ({words.plus_minus(u95, unit)})" if u95 is not None else "",
        " today",
        f"; the limit is {words.figure(limit, unit)}{NBSP}{unit}." if limit is not None else ".",
    ]
    if view.evidence is not None:
        parts.append(f" {_capital(explaining.sentence(view.evidence, unit))}.")
    return tuple(part for part in parts if part)


def history_note(view: LineView, unit: ReaderUnit) -> Sentence:
    """Say what the history shows and how it judges."""
    history = view.history
    if history is None:
        return ()
    side = ""
    if history.axis == "h":
        side = f"; right is {view.right_hand_side}" if view.right_hand_side else ""
        side = f" Left is up, right is down{side}."
    return (
        f"Station {history.station}, {numbers.AXIS_WORDS[history.axis]} deviation from the cold target, {unit}, "
        f"at {numbers.celsius(view.cold_reference_c)}. Each visit is judged against the target of its day.{side}",
    )


def over_by(history: History, horizon: date, as_of: date) -> Sentence:
    """Say by when the limit is passed: the days on which the chance reaches 10, 50 and 90 %."""
    if history.over_p10 is None:
        return (f"No date before {words.month(horizon)}.",)
    half = f", 50{NBSP}% by {words.month(history.over_p50)}" if history.over_p50 else ""
    if history.over_p90 is None:
        end = "90" if history.over_p50 else "50"
        soonest = f"Chance of being over: 10{NBSP}% by {words.month(history.over_p10)}{half}"
        return (f"{soonest}; {end}{NBSP}% not before {words.month(horizon)}.",)
    first, last = words.month(history.over_p10), words.month(history.over_p90)
    stretch = first if first == last else f"{first} – {last}"
    return (f"{'Passed the limit' if history.over_p90 <= as_of else 'Over the limit by'} {stretch}{half}.",)


def rate_note(history: History, unit: ReaderUnit) -> Sentence:
    """Say which rate the forecast uses and how much of it is borrowed."""
    if history.rate_um_per_1000_h is not None:
        rate = f"{numbers.rate(history.rate_um_per_1000_h, history.axis, unit)} per 1{NBSP}000 running hours"
    elif history.rate_um_per_year is not None:
        spread = ""
        if history.u95_rate_um_per_year is not None:
            spread = f" {words.plus_minus(history.u95_rate_um_per_year, unit, fine=True)}"
        rate = f"{numbers.rate(history.rate_um_per_year, history.axis, unit)} per year{spread}"
    else:
        return ("No rate can be given yet.",)
    own = f"{numbers.count(history.intervals)} {'interval' if history.intervals == 1 else 'intervals'}"
    if history.borrowed_weight is None:
        source = f"from this line’s own {own}"
    else:
        share = words.chance(history.borrowed_weight)
        lines = (
            "comparable lines"
            if history.borrowed_lines is None
            else (
                f"{numbers.count(history.borrowed_lines)} comparable "
                f"{'line' if history.borrowed_lines == 1 else 'lines'}"
            )
        )
        source = f"from this line’s {own}, {share} of it borrowed from {lines}"
    return (
        f"Rate used for the forecast: {rate}, {source}. "
        "Unusual means outside the 95 % range this line was expected in.",
    )


def habits_note(history: History, unit: ReaderUnit) -> Sentence:
    """Say what the forecast counts beside the rate: wander, a year's swing, jumps."""
    habits = history.habits
    parts = [f"Beside the rate it wanders by some {words.figure(habits.wander_um, unit)}{NBSP}{unit} in a year"]
    if habits.swing_um and habits.swing_peak:
        side = "highest" if history.axis == "v" else "farthest right"
        parts.append(
            f"swings with the seasons by {words.figure(habits.swing_um, unit)}{NBSP}{unit} to either side, "
            f"{side} about {words.month_of_year(habits.swing_peak)}"
        )
    if habits.jump_um and habits.jump_every_years:
        parts.append(
            f"may jump: stations like it do by some {words.figure(habits.jump_um, unit)}{NBSP}{unit}, once in "
            f"{habits.jump_every_years:.0f}{NBSP}years"
        )
    *rest, last = parts
    return (f"{', '.join(rest)} and {last}." if rest else f"{last}.",)


def session_what(row: SessionRow) -> str:
    """Return what a visit did: 'as-found, as-left' or 'as-found; nothing moved'."""
    seen = list(dict.fromkeys(PHASE_WORDS[phase] for phase in row.phases))
    text = ", ".join(seen) if seen else "no survey"
    return text if row.moved or "as-left" in seen else f"{text}; nothing moved"


def session_signed(row: SessionRow) -> str:
    """Return how far a visit's record is settled: signed when, corrected by what."""
    parts = [f"signed {words.day(row.signed_at)}" if row.signed_at else "not signed"]
    if row.corrects:
        reason = f": {row.correction_reason}" if row.correction_reason else ""
        parts.append(f"corrects {row.corrects}{reason}")
    if row.corrected_by:
        parts.append(f"corrected by {row.corrected_by}")
    return "; ".join(parts)


def cold_offsets_lead(view: ColdOffsetsView, unit: ReaderUnit) -> Sentence:
    """Say which cold target is recommended, how it should then run, and on what evidence."""
    target = view.recommended_target_um
    if target is None:
        return (_capital(view.why.rstrip(".")) + ".",)
    parts: list[str] = [
        f"Cold target for station {view.station}: ",
        Bold(words.said(target, view.axis, "offset", unit)),
    ]
    side = numbers.right_word(words.direction(target, view.axis, "offset", unit), view.right_hand_side)
    if side:
        parts.append(f" {side}")
    if view.u95_recommended_um is not None:
        parts.append(f" {words.plus_minus(view.u95_recommended_um, unit)}")
    parts.append(".")
    running, u95 = view.expected_running_um, view.u95_expected_running_um
    if running is not None:
        where = words.direction(running, view.axis, "running", unit)
        if where == "on axis":
            where = "on the axis"
        else:
            where = f"{words.said(running, view.axis, 'running', unit)} of the axis"
        parts.append(f" It should then run {where}")
        if u95 is not None:
            pair = "high or low" if view.axis == "v" else "right or left"
            parts.append(f", within {words.figure(u95, unit)}{NBSP}{unit} {pair} of that (95{NBSP}%)")
        parts.append(".")
    if view.why:
        parts.append(f" {_capital(view.why.rstrip('.'))}.")
    return tuple(parts)
