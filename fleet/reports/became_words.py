"""What became of a plan and what its chances were worth, in sentences: the same on page, paper and terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from fleet import words
from fleet.reports.became_content import Became, BecameLine, BecameStop, Deed, Found, Looked, ScoreBand, ScoreContent
from fleet.reports.plan_figures import count, crew_hours, percent, rounded, word
from fleet.reports.plan_words import last_day
from fleet.reports.sheet_words import joined, span
from fleet.words import NBSP, ReaderUnit

FEW: Final = 20
FEW_OVER: Final = 5
"""Fewer looks than that, or fewer lines over both stated and found, tell gross errors only: common practice, after
Cochran's rule that counts expected below 5 are small (from memory)."""
RARE: Final = 0.05
"""A number that comes up less often than that, were the chances right, is not put down to chance: common practice, no
source."""
CAME_BACK: Final = "What is found can only fall short of what was stated: a line that was over and came back is within."
STATED: Final = (
    "Stated is the chance of |deviation| having passed its limit before the stop began, at the line’s worst place; "
    "found is judged by the limit of the day it was measured."
)
_TENTH: Final = 0.05


def lead(looked: Became) -> str:
    """Return what became of a plan's visits, and of its chances, in a few sentences."""
    if not looked.stops:
        return "No stop of this plan is past yet, so there is nothing to look back on."
    return " ".join((visits(looked), *score_sentences(looked.score)))


def visits(looked: Became) -> str:
    """Return 'Of nine visits planned into stops that are past, eight were made where planned and one was missed.'"""
    made, elsewhere, missed = (looked.count(deed) for deed in ("as_planned", "other_outage", "missed"))
    due, extra = made + elsewhere + missed, looked.count("extra")
    if due == 0:
        first = "No visit was planned into the stops that are past."
    elif due == 1:
        how = "made where planned" if made else "made at another time" if elsewhere else "missed"
        first = f"The one visit planned into stops that are past was {how}."
    elif due == made:
        first = f"All {count(due, 'visit')} planned into stops that are past were made where planned."
    else:
        parts = [f"{word(made) if made else 'none'} {_was(made)} made where planned"]
        if elsewhere:
            parts.append(f"{word(elsewhere)} at another time")
        if missed:
            parts.append(f"{word(missed)} {_was(missed)} missed")
        first = f"Of {count(due, 'visit')} planned into stops that are past, {joined(parts)}."
    more = f" {_capital(count(extra, 'line'))} {_was(extra)} visited without having been planned." if extra else ""
    return first + more


def score_sentences(score: ScoreContent) -> tuple[str, ...]:
    """Return how many lines were expected over and how many were, and what that says of the stated chances."""
    n = score.looked_at
    if n == 0 or score.surprise is None or score.brier is None or score.brier_of_rate is None:
        return ("No line was looked at yet for which a chance had been stated.", *_not_judged(score))
    one = rounded(score.expected) == "1"
    named = len({look.line for look in score.lines})
    looks = f"of {n} looked at" if named == n else f"in {n} looks at {count(named, 'line')}"
    number = word(score.found) if score.found else "none"
    said = [
        f"{_capital(expected(score.expected))} {'was' if one else 'were'} expected over {looks}; {number} "
        f"{_was(score.found)}.",
        _meaning(score),
    ]
    if n < FEW or max(score.expected, score.found) < FEW_OVER:
        said.append("Numbers this small tell gross errors only.")
    return (*said, *_not_judged(score))


def _meaning(score: ScoreContent) -> str:
    """Return whether the number found fits the stated chances."""
    assert score.surprise is not None
    of_100 = score.surprise * 100.0
    times = f"fewer than 1{NBSP}" if of_100 < 1.0 else f"{rounded(of_100, 0)}{NBSP}"
    often = f"were they right, a number as far off or farther would come up in {times}of 100 such records"
    if score.surprise >= RARE:
        return f"That is as good as chance allows: {often}."
    low = score.found > score.expected
    return (
        f"That is {'more' if low else 'fewer'} than the stated chances allow: {often}. They were stated too "
        f"{'low' if low else 'high'}."
    )


def _not_judged(score: ScoreContent) -> tuple[str, ...]:
    if not score.not_judged:
        return ()
    more = score.not_judged
    what = f"{_capital(count(more, 'look'))} could not be judged"
    return (f"{what}: no chance had been stated for that visit, or no limit held that day.",)


def brier(score: ScoreContent) -> str:
    """Return how far stated chances were from what was found, beside one share stated for all; empty without looks.

    It is the root of Brier's score, so that it is a share like the chances.
    """
    if score.brier is None or score.brier_of_rate is None:
        return ""
    first = (
        f"From what was found (100{NBSP}% over, 0{NBSP}% within) the stated chances were off by "
        f"{_share(score.brier)}, root mean square; the found share stated for every line would have been off by "
        f"{_share(score.brier_of_rate)}"
    )
    if score.found in (0, score.looked_at):
        return f"{first}: with all found alike that is no yardstick."
    told = "told the lines apart" if score.brier < score.brier_of_rate else "did not tell the lines apart"
    return f"{first}: the stated chances {told}."


def _share(square: float) -> str:
    return f"{rounded(math.sqrt(square) * 100.0, 0)}{NBSP}%"


def band(one: ScoreBand) -> str:
    """Return 'up to 5 %', 'above 5 % up to 20 %'."""
    if one.low == 0.0:
        return f"up to {percent(one.high)}"
    return f"above {percent(one.low)} up to {percent(one.high)}"


def expected(number: float) -> str:
    """Return how many lines were expected over: '0.3 lines', '1 line', 'fewer than 0.1 lines'."""
    if 0.0 < number < _TENTH:
        return f"fewer than 0.1{NBSP}lines"
    shown = rounded(number)
    return f"{shown}{NBSP}{'line' if shown == '1' else 'lines'}"


def deed(line: BecameLine) -> str:
    """Return what became of a line's visit in a few words."""
    said: dict[Deed | None, str] = {
        "as_planned": "made as planned",
        "left_as_planned": "not planned, not visited",
        "other_outage": f"made in {line.done} instead" if line.done else "made outside a stop instead",
        "missed": "missed",
        "extra": f"not planned, made in {line.done}" if line.done else "not planned, made outside a stop",
        None: "still to come",
    }
    return said[line.deed]


def hours(line: BecameLine) -> str:
    """Return '14 crew h planned, 12 crew h written down'; empty where nothing was planned or written."""
    return _hours(line.hours_planned, line.hours_done, visited=line.session is not None)


def stop_hours(stop: BecameStop) -> str:
    """Return the crew hours planned into a stop, and those written down of the visits made there."""
    there = stop.made + stop.extra
    said = _hours(stop.hours_planned if stop.planned else None, stop.hours_done, visited=there > 0)
    if stop.hours_done is None or stop.hours_written == there:
        return said
    return f"{said} of {count(stop.hours_written, 'visit')}"


def _hours(planned: float | None, done: float | None, *, visited: bool) -> str:
    parts = [] if planned is None else [f"{crew_hours(planned)} planned"]
    if done is not None:
        parts.append(f"{crew_hours(done)} written down")
    elif visited:
        parts.append("none written down" if parts else "no crew hours written down")
    return ", ".join(parts)


def stop_dates(stop: BecameStop) -> str:
    """Return the days of a past stop: '10–14 Jun 2026'."""
    if stop.ends_at is None:
        return f"from {words.day(stop.starts_at)}"
    last = last_day(stop.starts_at, stop.ends_at) if stop.whole_days else stop.ends_at.date()
    return span(stop.starts_at.date(), last)


def stop_deeds(stop: BecameStop) -> str:
    """Return 'four planned, two made, one unplanned'."""
    parts = []
    if stop.cancelled:
        parts.append("cancelled")
    if stop.planned:
        parts += [f"{word(stop.planned)} planned", f"{word(stop.made) if stop.made else 'none'} made"]
    if stop.extra:
        parts.append(f"{word(stop.extra)} unplanned")
    return ", ".join(parts) or "none planned, none made"


def stated(chance: float | None) -> str:
    """Return the chance that had been stated, '–' where none was."""
    return "–" if chance is None else words.chance(chance)


def found(place: Found | None, unit: ReaderUnit) -> str:
    """Return what was found: 'over: 0.15 mm below target at S1, limit 0.10 mm'; '–' where nothing was.

    One place more is shown where deviation and limit would look alike.
    """
    if place is None:
        return "–"
    fine = words.figure(place.deviation_um, unit) == words.figure(place.limit_um, unit)
    limit = words.figure(place.limit_um, unit, fine=fine)
    alike = fine and words.figure(place.deviation_um, unit, fine=True) == limit
    step = f" by less than {'0.01' if unit == 'thou' else '0.001'}{NBSP}{unit}" if alike and place.over else ""
    right = f" ({place.side})" if place.side and place.axis == "h" and place.deviation_um > 0.0 else ""
    size = words.said(place.deviation_um, place.axis, "deviation", unit, fine=fine)
    told = f"over{step}" if place.over else "within"
    return f"{told}: {size}{right} at {place.station}, limit {limit}{NBSP}{unit}"


def heading(score: ScoreContent) -> str:
    """Return which plans a score is of: 'Two plans that were signed off: A, B.'"""
    if not score.plans:
        return "No plan that was signed off has been looked back on yet."
    number = len(score.plans)
    return f"{_capital(count(number, 'plan'))} that {_was(number)} signed off: {_some(score.plans)}."


def lines(number: int) -> str:
    """Return 'one line', '14 lines'."""
    return count(number, "line")


def by_line(looks: Sequence[Looked]) -> str:
    """Return what the list of looks is called."""
    return f"Line by line: {count(len(looks), 'look')}"


def _some(codes: Sequence[str]) -> str:
    shown = 4
    if len(codes) <= shown:
        return joined(codes)
    return joined([*codes[-(shown - 1) :], f"{len(codes) - shown + 1} older"])


def _was(number: int) -> str:
    return "was" if number == 1 else "were"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
