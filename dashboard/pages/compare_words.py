"""What Compare says in sentences: who moves most, who differs from the fleet, which groups and events are real."""

from __future__ import annotations

from typing import Final, Literal

from dashboard.components import cold, numbers
from dashboard.components.rich import Bold, Sentence
from dashboard.pages.compare_address import AT_WORDS, BY_WORDS
from fleet import words
from fleet.services.compare import FALSE_ALARMS, Change, Cohort, CohortBy, Cohorts, CompareView, KindOfEvent, Ranked
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

Verdict = Literal["faster", "slower", "the other way", "cannot be told apart"]
A_YEAR: Final = f"a{NBSP}year"
_FEW: Final = 3
"""So few intervals can make a large rate by chance alone."""


def intervals(number: int) -> str:
    """Return '2 intervals', '1 interval'."""
    return f"{numbers.grouped(number)}{NBSP}{'interval' if number == 1 else 'intervals'}"


def per_year(um: float, axis: Axis, unit: ReaderUnit) -> str:
    """Return a rate with everything that belongs to it: '0.276 mm lower a year'."""
    return f"{numbers.rate(um, axis, unit)} {A_YEAR}"


def rate_and_spread(um: float, u95_um: float | None, axis: Axis, unit: ReaderUnit) -> str:
    """Return '0.276 lower ± 0.041' for a column whose header has the unit."""
    spread = "" if u95_um is None else f" {words.plus_minus(u95_um, unit, fine=True)}"
    return numbers.rate(um, axis, unit, with_unit=False) + spread


def name_of(row: Ranked) -> str:
    """Return a line's code, with its bore where that is not the first."""
    return row.line if row.bore == 1 else f"{row.line}, bore {row.bore}"


def verdict(row: Ranked, *, fleet_clear: bool) -> Verdict:
    """Return how a line differs from the fleet, in a word, and never more than was told apart.

    `fleet_clear` says whether the fleet's own mean leaves out no drift at all: only then has it a way to go against.
    """
    if not row.told_apart:
        return "cannot be told apart"
    same_way = row.rate * row.fleet > 0.0
    farther = abs(row.rate) > abs(row.fleet) and abs(row.rate) > row.u95_rate
    if farther and (same_way or not fleet_clear):
        return "faster"
    if not same_way and abs(row.rate) > row.u95_rate:
        return "the other way"
    return "slower"


def fleet_clear(view: CompareView) -> bool:
    """Return whether the fleet's mean rate leaves out no drift at all."""
    return view.fleet is not None and view.u95_fleet is not None and abs(view.fleet) > view.u95_fleet


def lead(view: CompareView, unit: ReaderUnit) -> Sentence:
    """Answer the page's question: who is told apart, who only seems to be, and which groups differ."""
    if view.total < 2:
        return ("One line alone has a drift to judge: nothing to compare it with yet.",)
    parts: list[str] = []
    clear = fleet_clear(view)
    if view.told:
        of = f"{cold.capital(numbers.count(view.told_count))} of {cold.lines(view.total)}"
        can = "differs" if view.told_count == 1 else "differ"
        parts.append(f"{of} {can} from the fleet, and that is real: ")
        groups: dict[str, list[str]] = {}
        for row in view.told:
            groups.setdefault(_goes(row, view.filters.axis, verdict(row, fleet_clear=clear)), []).append(name_of(row))
        more = view.told_count - len(view.told)
        named = "; ".join(
            f"{cold.joined(lines)} {'goes' if len(lines) == 1 else 'go'} {how}" for how, lines in groups.items()
        )
        parts += [Bold(named), f"; and {more} more. " if more else ". "]
        rest = view.total - view.told_count
        if rest:
            parts.append(f"The other {numbers.count(rest)} cannot be told apart. ")
    else:
        parts.append(f"None of {cold.lines(view.total)} can be told apart from the fleet. ")
    parts += _loudest(view, unit)
    parts.append(groups_in_short(view.cohorts, unit))
    return tuple(part for part in parts if part)


def _goes(row: Ranked, axis: Axis, word: Verdict) -> str:
    """Return how a line differs and which way it goes: 'lower faster', 'the other way, higher', 'slower'."""
    way = words.direction(row.rate, axis, "movement", fine=True)
    if word == "the other way":
        return f"the other way, {way}"
    return f"{way} faster" if word == "faster" else word


def _loudest(view: CompareView, unit: ReaderUnit) -> list[str]:
    """Say so where the largest rate of all is one that the rest of the record does not bear out."""
    row = view.loudest
    if row is None or row.told_apart or row.place == 1 or row.intervals > _FEW:
        return []
    return [
        f"{name_of(row)} shows the largest rate by its own record, {per_year(row.own, view.filters.axis, unit)} from "
        f"{intervals(row.intervals)}: drawn to the fleet it ranks {row.place} and cannot be told apart. "
    ]


def group_name(by: CohortBy | None, name: str) -> str:
    """Return what a group's lines have in common, in the reader's words: 'Steel frame', '120 mm', 'Vees'."""
    if by is None:
        return "All lines, at the discharge end" if name == "discharge" else "All lines, at the gearbox end"
    if by == "size":
        return numbers.diameter(float(name))
    if by == "saddle":
        return cold.capital(cold.joined([_SADDLES.get(each, each) for each in name.split("+")]))
    return name if by == "site" else cold.capital(name)


_SADDLES = {"vee": "vees", "flat": "flat saddles", "plate": "plates", "centreline": "centreline mounts"}


def group_verdict(group: Cohort, axis: Axis) -> str:
    """Return how a group differs from the other lines, in a word or two."""
    if group.from_rest is None or group.mean is None:
        return "nothing to compare with"
    if group.lines < 2:
        return "one line: too few"
    if group.u95_from_rest is None:
        return "too few lines"
    if not group.told_apart:
        return "cannot be told apart"
    return f"real: {words.direction(group.from_rest, axis, 'movement', fine=True)}"


def groups_in_short(found: Cohorts, unit: ReaderUnit) -> str:
    """Say in one sentence which groups differ from the other lines."""
    told = [group for group in found.groups if group.told_apart]
    if len(found.groups) < 2:
        return ""
    if not told:
        return f"No single {BY_WORDS[found.by]} can be told apart from the others."
    first = told[0]
    return (
        f"{group_name(found.by, first.name)} differs from the other lines by "
        f"{per_year(first.from_rest or 0.0, found.axis, unit)} "
        f"{words.plus_minus(first.u95_from_rest or 0.0, unit, fine=True)}, and that is real."
    )


def groups_said(found: Cohorts, unit: ReaderUnit) -> Sentence:
    """Say which groups differ, and how often such differences come about where there are none."""
    kind = BY_WORDS[found.by]
    if not found.groups:
        return (f"No {kind} is recorded for the lines in view.",)
    if len(found.groups) < 2:
        return (f"All lines in view with a recorded {kind} have the same: nothing to compare.",)
    parts: list[str] = []
    told = [group for group in found.groups if group.told_apart]
    for group in told:
        parts += [
            Bold(f"{group_name(found.by, group.name)} differs, and that is real"),
            f": {per_year(group.from_rest or 0.0, found.axis, unit)} "
            f"{words.plus_minus(group.u95_from_rest or 0.0, unit, fine=True)} against all other lines. ",
        ]
    if not told:
        parts += [Bold(f"No single {kind} can be told apart from the others"), ". "]
    if found.p_any is not None:
        but = "All together they hardly look alike, though: if" if not told and found.p_any < FALSE_ALARMS else "If"
        parts.append(
            f"{but} the {kind} made no difference, such differences or larger ones would come about in "
            f"{words.chance(found.p_any)} of fleets like this. "
        )
    elif found.groups:
        parts.append("There are as many groups as lines: none can be judged. ")
    if found.not_recorded:
        have = "line has" if found.not_recorded == 1 else "lines have"
        parts.append(f"{cold.capital(numbers.count(found.not_recorded))} {have} none recorded.")
    return tuple(parts)


def kind_verdict(kind: KindOfEvent) -> str:
    """Return whether a kind of event changes the drift, over all lines it happened to."""
    if kind.in_record:
        return "found in the drift itself: no evidence"
    if kind.judged == 0:
        return "no interval on both sides yet"
    if kind.mean is None:
        return f"{numbers.count(kind.judged)} {'line' if kind.judged == 1 else 'lines'}: judged line by line"
    return "real" if kind.told_apart else "cannot be told from none"


def change_said(change: Change, axis: Axis, unit: ReaderUnit) -> Sentence:
    """Say how one line's drift changed, how sure that is, and what it stands on."""
    count = (
        f"From {intervals(change.intervals_before)} before and {numbers.grouped(change.intervals_after)} after."
        if change.intervals_before or change.intervals_after
        else "No interval on either side."
    )
    if change.change is None or change.u95_change is None or change.before is None or change.after is None:
        missing = "before" if not change.intervals_before else "after"
        return (f"Not to be judged yet: no interval {missing} it. ", count)
    way = words.direction(change.change, axis, "movement", unit, fine=True)
    spread = words.plus_minus(change.u95_change, unit, fine=True)
    by = f"{words.figure(change.change, unit, fine=True)}{NBSP}{unit}"
    if not change.told_apart:
        few = min(change.intervals_before, change.intervals_after) < 2
        why = ": one interval on a side cannot tell a rate from a jump" if few else ""
        return (f"Cannot be told apart{why}. The difference is {by} {A_YEAR} {way}, {spread}. ", count)
    turned = change.before * change.after < 0.0
    verb = "Turned" if turned else ("Faster" if abs(change.after) > abs(change.before) else "Slower")
    return (
        Bold(f"{verb} by {by} {way} {A_YEAR} {spread}"),
        f", {words.chance(change.sure or 0.0)} sure. ",
        count,
    )


def place_said(view: CompareView) -> str:
    """Return where and which way the page looks: 'vertical, at the discharge end'."""
    return f"{numbers.AXIS_WORDS[view.filters.axis]}, at the {AT_WORDS[view.filters.at]}"
