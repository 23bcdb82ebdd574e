"""What if: what is changed in a plan, and what that makes of it, in one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from fleet.reports.plan_content import PlanContent, PlanRow
from fleet.reports.plan_figures import count, crew_hours, days, percent, rounded, word
from fleet.reports.sheet_words import joined
from fleet.words import NBSP, ReaderUnit, day, figure

ChangeKind = Literal["crew", "hours", "move", "limit", "limit_by", "cap", "without"]
"""crew: so many crews more; hours: so many crew hours; move: so many days later; limit: so many um on either side;
limit_by: so many um wider; cap: highest chance before a visit; without: the outage is cancelled."""
Moved = Literal["added", "dropped", "earlier", "later", "elsewhere"]
EVERY_LINE: Final = "*"
_NAMED: Final = 3
_GROUPS: Final = 3
_STILL_DAYS: Final = 0.05
"""Expected days that round to none."""


@dataclass(frozen=True, slots=True)
class Changed:
    """One thing that is tried out.

    Parameters
    ----------
    kind : what it is
    code : of the outage or line, '*' for every line, None for a cap
    number : crews, crew hours, days, um or a share, as the kind says; 0 for `without`
    before : what holds now; None where nothing does, or where there is no such figure
    """

    kind: ChangeKind
    code: str | None
    number: float
    before: float | None = None


@dataclass(frozen=True, slots=True)
class MovedLine:
    """A line that is treated differently.

    Parameters
    ----------
    change : what happens to it
    first, other : its row in the plan as it is, and in the one with the change
    """

    change: Moved
    first: PlanRow
    other: PlanRow


@dataclass(frozen=True, slots=True)
class WhatIfAnswer:
    """What a change makes of a plan; figures are the changed plan's less those of the plan as it is.

    Parameters
    ----------
    changes : what is tried out
    first, other : the plan as it is, and with the change
    lines : those treated differently
    days_over, weighted_days_over : expected days over, of all lines
    visits : how many are made
    above_first, above_other : lines whose chance passes the cap before their visit, or before the end without one
    proved : the difference of the sums is larger than what the solver left open of either plan
    """

    changes: tuple[Changed, ...]
    first: PlanContent
    other: PlanContent
    lines: tuple[MovedLine, ...]
    days_over: float
    weighted_days_over: float
    visits: int
    above_first: int
    above_other: int
    proved: bool

    @property
    def same(self) -> bool:
        """Nothing that is shown differs."""
        return not self.lines and self.above_first == self.above_other and abs(self.days_over) < _STILL_DAYS


def sentence(answer: WhatIfAnswer, unit: ReaderUnit = "mm") -> str:
    """Return what the change makes of the plan, in one sentence.

    Parameters
    ----------
    answer : of the question
    unit : the reader's, for limits
    """
    tried = intro(answer.changes, unit)
    if answer.same:
        return (
            f"{tried}: this makes no difference; the plan stays as it is, with "
            f"{_expected(answer.first.days_over, '')} {_over(answer)}."
        )
    said = [f"{tried}: {_days(answer)}"]
    with_ = [*_visits(answer.visits), *_above(answer)]
    if with_:
        said[0] += f", with {joined(with_)}"
    said += _lines(answer)
    if not answer.proved:
        said.append("this cannot be told apart from the solver’s own gap")
    return f"{'; '.join(said)}."


def intro(changes: Sequence[Changed], unit: ReaderUnit = "mm") -> str:
    """Return what is tried out: 'One crew more in ORR-2026-12-26 and a cap of 10 % instead of 20 %'."""
    text = joined([_tried(change, unit) for change in changes])
    # A code keeps its own case.
    return text if changes[0].kind == "move" else f"{text[:1].upper()}{text[1:]}"


def _tried(change: Changed, unit: ReaderUnit) -> str:
    code, number = change.code or "", change.number
    if change.kind == "crew":
        crews = word(round(abs(number))) if float(number).is_integer() else rounded(abs(number))
        plural = "crew" if abs(number) == 1.0 else "crews"
        return f"{crews} {plural} {'more' if number > 0 else 'fewer'} in {code}"
    if change.kind == "hours":
        had = "no limit" if change.before is None else crew_hours(change.before)
        return f"{crew_hours(number)} in {code} instead of {had}"
    if change.kind == "move":
        return f"{code} {shift(number)}"
    if change.kind == "cap":
        instead = "" if change.before is None else f" instead of {percent(change.before)}"
        return f"a cap of {percent(number)}{instead}"
    if change.kind == "without":
        return f"without {code}"
    where = "every line" if code == EVERY_LINE else code
    width = f"{figure(number, unit, fine=True)}{NBSP}{unit}"
    if change.kind == "limit":
        return f"a limit of {width} to either side on {where}"
    return f"limits {width} {'wider' if number > 0 else 'narrower'} on {where}"


def shift(by_days: float) -> str:
    """Return '4 weeks later', '10 days earlier'."""
    size = abs(by_days)
    weeks = size / 7.0
    of = f"{rounded(weeks)}{NBSP}{'week' if weeks == 1.0 else 'weeks'}" if weeks.is_integer() else days(size)
    return f"{of} {'later' if by_days > 0 else 'earlier'}"


def _days(answer: WhatIfAnswer) -> str:
    size = abs(answer.days_over)
    if size < _STILL_DAYS:
        return f"as many expected days {_over(answer)}"
    told = f"{_expected(size, 'fewer' if answer.days_over < 0 else 'more')} {_over(answer)}"
    # Lines count differently: the sum that is made least may fall while days rise.
    weighted = answer.weighted_days_over
    if abs(weighted) >= _STILL_DAYS and (weighted < 0) != (answer.days_over < 0):
        told += f" (counted by weight {days(abs(weighted))} {'fewer' if weighted < 0 else 'more'})"
    return told


def _expected(number: float, less: str) -> str:
    """Return '31 fewer expected days'."""
    shown, unit = days(number).rsplit(NBSP, 1)
    return " ".join(filter(None, (shown, less, f"expected{NBSP}{unit}")))


def _over(answer: WhatIfAnswer) -> str:
    return f"over the limit, all lines together, to {day(answer.first.end_on)}"


def _visits(number: int) -> list[str]:
    if number == 0:
        return []
    return [f"{count(abs(number), 'visit')} {'more' if number > 0 else 'fewer'}"]


def _above(answer: WhatIfAnswer) -> list[str]:
    """Return how many lines more run above the cap before their visit, for want of room or because nothing is open."""
    was, then = answer.above_first, answer.above_other
    cap, cap_then = percent(answer.first.cap), percent(answer.other.cap)
    if cap != cap_then:
        visit, instead = "its visit" if then == 1 else "their visits", word(was) if was else "none"
        return [f"{count(then, 'line')} above {cap_then} before {visit} instead of {instead} above {cap}"]
    if was == then:
        return []
    number = abs(then - was)
    visit = "its visit" if number == 1 else "their visits"
    return [f"{count(number, 'line')} {'more' if then > was else 'fewer'} above {cap} before {visit}"]


def _lines(answer: WhatIfAnswer) -> list[str]:
    if not answer.lines:
        return ["every line stays where it is"]
    named = {change.code for change in answer.changes if change.kind in ("crew", "hours", "move", "without")}
    there = next(iter(named)) if len(named) == 1 else None
    groups: dict[tuple[str | None, str | None], list[str]] = {}
    for line in answer.lines:
        groups.setdefault((line.first.chosen, line.other.chosen), []).append(line.first.line)
    told = [_group(lines, before, after, there) for (before, after), lines in list(groups.items())[:_GROUPS]]
    rest = sum(len(lines) for lines in list(groups.values())[_GROUPS:])
    if rest:
        told.append(f"{count(rest, 'more line')} {'changes' if rest == 1 else 'change'} place")
    return [joined(told)]


def _group(lines: Sequence[str], before: str | None, after: str | None, there: str | None) -> str:
    names = list(lines) if len(lines) <= _NAMED else [*lines[:_NAMED], f"{len(lines) - _NAMED} more"]
    one = len(lines) == 1
    if after is None:
        return f"{joined(names)} {'gets' if one else 'get'} no visit instead of one {_in(before, there, 'in')}"
    into = _in(after, there, "into")
    goes = "goes" if one else "go"
    if before is None:
        return f"{joined(names)}, without a visit as it is, {goes} {into}"
    return f"{joined(names)} {goes} {into} instead of {_in(before, there, 'into')}"


def _in(code: str | None, there: str | None, how: str) -> str:
    return "there" if code == there else f"{how} {code}"
