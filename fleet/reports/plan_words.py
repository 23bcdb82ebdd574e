"""Every sentence about a plan, once: page, paper, terminal, table and calendar say the same in the same words.

Chances are of the deviation having passed its limit since the newest cold survey, at the line's worst place. Nothing
here is escaped: whoever puts it on a page does that.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final

from fleet.reports.plan_content import AsideStop, Choice, PlanContent, PlanRow, Stop, after_skipping, hours_between
from fleet.reports.plan_figures import count as count
from fleet.reports.plan_figures import crew_hours as crew_hours
from fleet.reports.plan_figures import days as days
from fleet.reports.plan_figures import hours as hours
from fleet.reports.plan_figures import percent as percent
from fleet.reports.plan_figures import rounded as rounded
from fleet.reports.plan_figures import word as word
from fleet.reports.session_words import at, offset_from_utc
from fleet.reports.sheet_words import joined, span
from fleet.words import NBSP, chance, day, month

NO_PERMISSION: Final = "A plan is no permission to work on a machine."
CHANCES: Final = (
    "Chances are that |deviation| has passed the limit at the line’s worst station and axis before the stop starts."
)
HOURS_FROM: Final = {
    "recorded": "recorded for the line",
    "own_record": "median of the line’s own visits",
    "fleet_record": "median of all lines’ visits",
    "assumed": "assumed: no visit on record says",
}
_SOLVED: Final = 1e-3
"""Share of its sum within which a plan counts as the best there is: what the solver is asked for."""
_STILL: Final = 1e-9


# a stop


def stop_dates(stop: Stop | AsideStop) -> str:
    """Return '19–30 Dec 2026'; a stop of hours has its times and zone, one without an end 'from 19 Dec 2026'."""
    start, end = stop.starts_at, stop.ends_at
    if stop.whole_days:
        return f"from {day(start)}" if end is None else span(start.date(), last_day(start, end))
    zone = f" ({zone_name(start)})"
    if end is None:
        return f"from {_moment(start, start)}{zone}"
    if start.date() == end.date() and not (_told_apart(start, end) or _told_apart(end, start)):
        return f"{at(start)}–{end:%H:%M}{zone}"
    return f"{_moment(start, end)} – {_moment(end, start)}{zone}"


def last_day(starts_at: datetime, ends_at: datetime) -> date:
    """Return the last day of a stop of whole days, which ends at the midnight after it."""
    return max(starts_at.date(), (ends_at - timedelta(days=1)).date() if ends_at > starts_at else starts_at.date())


def zone_name(moment: datetime) -> str:
    """Return the name of the zone a moment is told in: 'Europe/Berlin', else how far it is from UTC."""
    key = getattr(moment.tzinfo, "key", None)
    return key if isinstance(key, str) else offset_from_utc(moment)


def _moment(moment: datetime, other: datetime) -> str:
    """Return day and time, with the offset where the clocks change between the two or the hour comes twice."""
    return f"{at(moment)} {offset_from_utc(moment)}" if _told_apart(moment, other) else at(moment)


def _told_apart(moment: datetime, other: datetime) -> bool:
    twice = moment.replace(fold=0).utcoffset() != moment.replace(fold=1).utcoffset()
    return twice or moment.utcoffset() != other.utcoffset()


def length_h(stop: Stop | AsideStop) -> float | None:
    """Return how long a stop lasts by the clock [h], None where no end is recorded."""
    return None if stop.ends_at is None else hours_between(stop.starts_at, stop.ends_at)


def stop_kind(stop: Stop | AsideStop) -> str:
    """Return what kind a stop is and how long: 'full stop, screw out, 264 h'."""
    length = length_h(stop)
    out = "screw out" if isinstance(stop, Stop) and stop.screw_out else None
    return ", ".join(filter(None, (stop.kind, out, "no end recorded" if length is None else hours(length))))


def serves(stop: Stop | AsideStop) -> str:
    """Return whom a stop serves: 'line TAR-03', 'site ORR', 'every line'."""
    if stop.line is not None:
        return f"line {stop.line}"
    return "every line" if stop.site is None else f"site {stop.site}"


def stop_room(stop: Stop) -> str:
    """Return what the plan takes of a stop: '78 of 96 crew h', '78 crew h, no limit recorded'."""
    if stop.crew_hours is None:
        return f"{crew_hours(stop.hours_used)}, no limit recorded"
    return f"{rounded(stop.hours_used)} of {crew_hours(stop.crew_hours)}"


# a line and a stop


def hours_from(row: PlanRow) -> str:
    """Return where a visit's crew hours come from: 'median of the line's own visits'."""
    return HOURS_FROM[row.hours_from]


def window(row: PlanRow, stop: Stop | None) -> str:
    """Return 'cool-down 16, pull 8, visit 7, heat-up 10 h', the hours by the clock that a visit takes.

    What is not on record is named; without a stop one crew is counted, and the pull.
    """
    crews = 1.0 if stop is None or stop.crews is None else stop.crews
    visit = None if crews <= 0.0 and row.visit_hours > 0.0 else row.visit_hours / crews if row.visit_hours else 0.0
    out = stop is not None and stop.screw_out
    parts = [
        ("cool-down", row.cool_down_h),
        *([] if out else [("pull", row.screw_pull_h)]),
        ("visit", visit),
        ("heat-up", row.heat_up_h),
    ]
    known = ", ".join(f"{name} {rounded(value)}" for name, value in parts if value is not None)
    said = [f"{known}{NBSP}h" if known else ""]
    said += ["no crew for the visit"] if visit is None else []
    missing = [name for name, value in parts if value is None and name != "visit"]
    said += [f"{joined(missing)} not recorded, counted 0"] if missing else []
    return "; ".join(filter(None, said))


def fits(choice: Choice, stop: Stop) -> str:
    """Return 'fits, 41 of 264 h', or 'too short by 6 h'."""
    if choice.window_h is None:
        return "no crew for the visit"
    if stop.hours is None:
        return f"{hours(choice.window_h)}, no end recorded"
    if choice.closed == "window_too_short":
        return f"too short by {hours(choice.window_h - stop.hours)}"
    return f"fits, {rounded(choice.window_h)} of {hours(stop.hours)}"


def closed(choice: Choice, row: PlanRow, stop: Stop) -> str:
    """Return why a stop is not open to a line, a sentence; empty where it is open."""
    said = closed_short(choice, row, stop)
    what = {
        "open": "",
        "not_planned": f"{stop.code} is not planned any more.",
        "past": f"{stop.code} has begun already, {day(stop.starts_at)}.",
        "after_end": f"{stop.code} begins after the plan’s end.",
        "serves_others": f"{stop.code} serves {serves(stop)} only.",
        "window_too_short": (
            f"{stop.code} is {said} for {row.line}: {window(row, stop)}; it lasts {hours(stop.hours or 0.0)}."
        ),
        "crew_hours_too_few": (
            f"A visit to {row.line} takes {crew_hours(row.visit_hours)}, {stop.code} has "
            f"{crew_hours(stop.crew_hours or 0.0)} in all."
        ),
        "pinned_out": f"{row.line} is kept out of {stop.code} by hand.",
    }
    if choice.closed == "window_too_short" and said.startswith("no crew"):
        return f"{stop.code} has no crew for a visit."
    return what[choice.closed]


def closed_short(choice: Choice, row: PlanRow, stop: Stop) -> str:
    """Return why a stop is not open to a line in a few words: 'too short by 6 h'; empty where it is open."""
    return {
        "open": "",
        "not_planned": "not planned",
        "past": "has begun",
        "after_end": "after the plan’s end",
        "serves_others": f"serves {serves(stop)}",
        "window_too_short": fits(choice, stop),
        "crew_hours_too_few": f"{crew_hours(row.visit_hours - (stop.crew_hours or 0.0))} too few",
        "pinned_out": "kept out",
    }[choice.closed]


def before(row: PlanRow) -> str:
    """Return '95 % before', the chance of being over before the visit; 'first survey' where none can be given."""
    return "first survey" if row.chance_before is None else f"{chance(row.chance_before)} before"


# why a line is where it is


def reason(row: PlanRow, plan: PlanContent) -> str:
    """Return why a line is where the plan has it, without a full stop."""
    cap, cost, saved = percent(plan.cap), days(row.visit_cost_days), _saved(row)
    missing = f"{crew_hours(row.hours_missing)} are missing there" if row.hours_missing > _STILL else "no room is there"
    rather = row.rather or "an earlier stop"
    if row.reason == "not_worth_it":
        if row.chance_if_skipped is not None and row.chance_if_skipped <= plan.cap:
            return f"no visit: {_under(cap)} to {month(plan.end_on)}"
        return f"no visit: it would cost more ({cost}) than it saves"
    return {
        "pinned_into": f"pinned into {row.chosen} by hand",
        "above_cap_anyway": f"no stop open to it is early enough for {cap}; the visit {saved}",
        "late_for_lack_of_room": f"{rather} would keep it under {cap}, but {missing}",
        "keeps_cap": f"keeps it under {cap}: without a visit {_at_end(row, plan)}",
        "saves_days": f"{saved}; a visit costs {cost}",
        "no_forecast": "no visit: nothing to plan by until it has a survey and a limit",
        "pinned_out": "no visit: kept out by hand of every stop it could go into",
        "no_outage_open": "no visit: no stop ahead is open to it",
        "no_room": f"no visit: {rather} would be worth it, but {missing}",
    }[row.reason]


def _saved(row: PlanRow) -> str:
    """Return 'saves 85 days over'; a line that counts more or less than others has weighted days."""
    saves = 0.0 if row.saves is None else row.saves
    return f"saves {days(saves)} over{'' if row.weight == 1.0 else f', counted {rounded(row.weight, 2)}-fold'}"


def _under(cap: str) -> str:
    return f"under {cap}"


def _at_end(row: PlanRow, plan: PlanContent) -> str:
    return "no chance known" if row.chance_if_skipped is None else f"{chance(row.chance_if_skipped)} by {_end(plan)}"


def _end(plan: PlanContent) -> str:
    return f"the plan’s end, {month(plan.end_on)}"


def risk(row: PlanRow, plan: PlanContent) -> str:
    """Return what a line risks if its visit is skipped: '99 % before ORR-2027-04-03 (3 Apr 2027) if skipped'.

    Of a line without a visit: what it runs to the plan's end.
    """
    stop, probability = after_skipping(plan, row)
    if probability is None:
        return "no chance can be given"
    if row.chosen is None:
        return f"{chance(probability)} before {_end(plan)}"
    when = _end(plan) if stop is None else f"{stop.code} ({day(stop.starts_at)})"
    return f"{chance(probability)} before {when} if skipped"


def unkept(row: PlanRow, plan: PlanContent) -> str:
    """Return why no choice keeps a line under the cap, without a full stop; empty where one does."""
    cap = percent(plan.cap)
    return {
        None: "",
        "above_now": f"already above {cap} today",
        "above_before_first": f"already above {cap} before the first stop open to it",
        "no_outage_open": f"above {cap} before {_end(plan)}, and no stop ahead is open to it",
        "pinned_past_it": f"held above {cap} by hand",
    }[row.unkept]


def above_cap(row: PlanRow, plan: PlanContent) -> str:
    """Return that a line runs above the cap though a stop would have kept it; empty where it does not."""
    if not row.above_cap:
        return ""
    when = "without a visit" if row.chosen is None else "before its visit"
    return f"above {percent(plan.cap)} {when}, though a stop open to it would keep it"


def why(row: PlanRow, plan: PlanContent) -> str:
    """Return all there is to say of why a line is where it is, nothing twice."""
    early = unkept(row, plan)
    if row.reason == "above_cap_anyway" and early:
        return f"{early}; the visit {_saved(row)}"
    return "; ".join(filter(None, (early, above_cap(row, plan), reason(row, plan))))


# the plan as a whole


def lead(plan: PlanContent) -> str:
    """Return the answer in a few sentences: how many visits in how many stops, who is above the cap, what helps."""
    if not plan.rows:
        where = "on record" if plan.site is None else f"at site {plan.site}"
        return f"No line is {where}, so there is nothing to plan."
    if not plan.stops:
        within = f" within {count(plan.ahead_months, 'month')}" if plan.ahead_months else ""
        first = f"No planned outage ahead{within}, so no visit is planned."
        said = [first, "Enter an outage, or look further ahead."]
    elif plan.visits == 0:
        said = [f"No visit in the {count(len(plan.stops), 'stop')} ahead."]
    else:
        used = len({row.chosen for row in plan.rows if row.chosen is not None})
        said = [f"{_capital(count(plan.visits, 'visit'))} in {count(used, 'stop')}."]
    said += [*_unkept_said(plan), *_over_cap_said(plan)]
    if not plan.stops:
        return " ".join(said)
    if any(row.unkept is None and not row.above_cap and row.chance_before is not None for row in plan.rows):
        others = any(row.unkept or row.above_cap for row in plan.rows)
        if not others:
            said.append(f"Every line with a forecast stays under {percent(plan.cap)} before its visit.")
    return " ".join([*said, *([gap(plan)] if plan.gap > _SOLVED else [])])


def _unkept_said(plan: PlanContent) -> list[str]:
    cap, said = percent(plan.cap), []
    early = [(row, _first_open(row, plan)) for row in plan.rows if row.unkept in ("above_now", "above_before_first")]
    with_stop = [(row, stop) for row, stop in early if stop is not None]
    if with_stop:
        same = all(stop == plan.stops[0] for _, stop in with_stop)
        number = len(with_stop)
        where = "the first stop" if same else f"the first stop open to {'it' if number == 1 else 'them'}"
        verb = "is" if number == 1 else "are"
        taken = _taken(number, sum(row.chosen == stop.code for row, stop in with_stop))
        said.append(f"{_capital(count(number, 'line'))} {verb} already above {cap} before {where}; {taken}.")
        said.append("Earlier needs an extra stop.")
    shut = [row for row, stop in early if stop is None] + [row for row in plan.rows if row.unkept == "no_outage_open"]
    if shut and plan.stops:
        names = _names(shut)
        its = "it" if len(shut) == 1 else "them"
        said.append(f"No stop ahead is open to {names}, above {cap} before {_end(plan)}: {its} needs an extra stop.")
        if len(shut) > 1:
            said[-1] = said[-1].replace("them needs", "they need")
    elif shut:
        verb = "is" if len(shut) == 1 else "are"
        said.append(f"{_capital(count(len(shut), 'line'))} {verb} above {cap} before {_end(plan)}.")
    held = [row for row in plan.rows if row.unkept == "pinned_past_it"]
    if held:
        verb = "is" if len(held) == 1 else "are"
        said.append(f"{_names(held)} {verb} held above {cap} by hand: take the pin away to keep the cap.")
    return said


def _taken(number: int, taken: int) -> str:
    if taken == number:
        return f"this plan takes {'it' if number == 1 else 'them'} then"
    if taken == 0:
        return f"this plan takes {'it' if number == 1 else 'them'} later or not at all"
    return f"this plan takes {word(taken)} of them then"


def _over_cap_said(plan: PlanContent) -> list[str]:
    if plan.over_cap == 0:
        return []
    cap, number = percent(plan.cap), plan.over_cap
    runs = "runs" if number == 1 else "run"
    first = (
        f"{_capital(count(number, 'line'))} {runs} above {cap} before {'its' if number == 1 else 'their'} visit for "
        "lack of room"
    )
    if plan.over_cap_bound >= number:
        return [f"{first}; with these hours it cannot be fewer."]
    least = "none" if plan.over_cap_bound <= 0 else count(plan.over_cap_bound, "line")
    return [f"{first}; whether it could be fewer, down to {least}, was not settled in {rounded(plan.seconds)}{NBSP}s."]


def gap(plan: PlanContent) -> str:
    """Return what the plan is worth beside the best possible, a sentence."""
    if plan.gap <= _SOLVED:
        return f"No other plan is better by more than {percent(_SOLVED)} of its sum."
    share = f"{rounded(min(plan.gap, 1.0) * 100.0)}{NBSP}%"
    return (
        f"This is the best plan found in {rounded(plan.seconds)}{NBSP}s; another could be better by up to {share} of "
        "its sum. Give it more time to know."
    )


def sums(plan: PlanContent) -> str:
    """Return the expected days over as planned and without: '41 days over expected ...; 233 days without a visit.'"""
    held = any(row.pin == "into" for row in plan.rows)
    without = "with no visit but the pinned ones" if held else "without a visit"
    return f"{days(plan.days_over)} over expected by {_end(plan)}; {days(plan.days_if_none)} {without}."


def state(plan: PlanContent) -> str:
    """Return whether the plan is kept, and by whom: 'Plan 3, signed off by J. Quillam (not verified), 25 Nov 2026.'"""
    kept = plan.kept
    if kept is None:
        return "Not saved."
    if kept.state == "signed_off" and kept.signed_by is not None and kept.signed_at is not None:
        return f"Plan {kept.code}, signed off by {kept.signed_by}, {at(kept.signed_at)}."
    return f"Plan {kept.code}, saved by {kept.made_by}, {at(kept.made_at)}; not signed off."


def solved(plan: PlanContent) -> str:
    """Return when it was worked out and what is held: 'Solved 25 Nov 2026, 07:12 (UTC); 1 pinned'."""
    pins = "" if plan.pinned == 0 else f"; {plan.pinned} pinned"
    return f"Solved {at(plan.solved_at)} ({zone_name(plan.solved_at)}){pins}"


def _first_open(row: PlanRow, plan: PlanContent) -> Stop | None:
    for stop, choice in zip(plan.stops, row.choices, strict=True):
        if choice.closed == "open":
            return stop
    return None


def _names(rows: Sequence[PlanRow]) -> str:
    shown = 4
    if len(rows) <= shown:
        return joined([row.line for row in rows])
    return joined([*(row.line for row in rows[: shown - 1]), f"{len(rows) - shown + 1} more"])


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
