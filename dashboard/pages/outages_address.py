"""What the address of Outages says, read and written: what is planned, what a person holds, what is looked at.

Pins stand in it as `into=LINE:OUTAGE,LINE:OUTAGE` and `out=...`, each code percent-quoted, so that a code may hold any
character.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final, Literal, get_args
from urllib.parse import quote, unquote

from dashboard.address import Address, href, page_number
from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import AHEAD_MONTHS, SECONDS, Asked

View = Literal["plan", "time", "calendar"]
VIEWS: Final[tuple[View, ...]] = get_args(View)
Pins = tuple[tuple[str, str], ...]
"""Pairs of line and outage."""
MOST_AHEAD: Final = 120
MOST_SECONDS: Final = 60.0
LONGER: Final = 30.0
"""Seconds that the page offers where the plan may be far from the best."""


@dataclass(frozen=True, slots=True)
class OutagesAsked:
    """What an address asks of Outages.

    Parameters
    ----------
    asked : what is planned, and what a person holds
    plan : code of a kept plan that is looked at in place of one worked out now
    beside : code of a kept plan that the one in view is compared with
    view : plan, time or calendar
    page : of the table's lines, from 1
    stops : of the table's stops, from 1
    what_if : the one thing that is changed, as it stands in the address
    edit : code of the outage that is edited
    """

    asked: Asked = field(default_factory=Asked)
    plan: str | None = None
    beside: str | None = None
    view: View = "plan"
    page: int = 1
    stops: int = 1
    what_if: str | None = None
    edit: str | None = None


def read(address: Address) -> tuple[OutagesAsked, tuple[str, ...]]:
    """Return what an address asks of Outages, and a sentence for everything that could not be read."""
    notes: list[str] = []
    cap = _number(address.said("cap"), 0.0, 100.0, "a cap in per cent", "the setting’s is used", notes)
    ahead = _number(address.said("ahead"), 0.0, MOST_AHEAD, "a number of months", f"{AHEAD_MONTHS} are used", notes)
    seconds = _number(
        address.said("seconds"), 1.0, MOST_SECONDS, "a time for solving in seconds", f"{SECONDS:g} are used", notes
    )
    view: View = "plan"
    if (said := address.said("view")) is not None:
        known = next((each for each in VIEWS if each == said), None)
        if known is None:
            notes.append(f"‘{said}’ is not a view of this page; write plan, time or calendar. The plan is shown.")
        view = known or "plan"
    asked = Asked(
        site=address.said("site"),
        cap=None if cap is None else cap / 100.0,
        ahead_months=AHEAD_MONTHS if ahead is None else round(ahead),
        into=_once_a_line(_pins(address.said("into"), notes), notes),
        out=_pins(address.said("out"), notes),
        seconds=SECONDS if seconds is None else seconds,
    )
    return (
        OutagesAsked(
            asked=asked,
            plan=address.said("plan"),
            beside=address.said("beside"),
            view=view,
            page=page_number(address.said("page"), notes),
            stops=page_number(address.said("stops"), notes),
            what_if=address.said("if"),
            edit=address.said("edit"),
        ),
        tuple(notes),
    )


def write(address: Address, shown: OutagesAsked) -> str:
    """Return the address of Outages that asks this, defaults left out; the reader's unit stays."""
    asked = shown.asked
    return href(
        replace(address, page="outages", code=None).saying(
            **{
                "site": asked.site,
                "cap": None if asked.cap is None else f"{asked.cap * 100:.4g}",
                "ahead": None if asked.ahead_months == AHEAD_MONTHS else str(asked.ahead_months),
                "into": _written(asked.into),
                "out": _written(asked.out),
                "seconds": None if asked.seconds == SECONDS else f"{asked.seconds:g}",
                "view": None if shown.view == "plan" else shown.view,
                "plan": shown.plan,
                "beside": shown.beside,
                "if": shown.what_if,
                "edit": shown.edit,
                "page": None if shown.page == 1 else str(shown.page),
                "stops": None if shown.stops == 1 else str(shown.stops),
            }
        )
    )


def held(plan: PlanContent) -> tuple[Pins, Pins]:
    """Return what a person holds in a plan: pins into outages, and those out of them."""
    into = tuple((row.line, row.chosen) for row in plan.rows if row.pin == "into" and row.chosen is not None)
    return into, tuple((row.line, outage) for row in plan.rows for outage in row.kept_out)


def anew(shown: OutagesAsked, plan: PlanContent) -> OutagesAsked:
    """Return the question that works a plan out anew as it stands: same lines, cap, months and pins.

    A kept plan is never changed; whoever moves a line in it goes on from here. Pins of other sites' lines stay, pins
    of what is not on record go.
    """
    into, out = held(plan)
    if plan.site is not None and plan.kept is None:
        here = {row.line for row in plan.rows}
        into = (*(pin for pin in shown.asked.into if pin[0] not in here), *into)
        out = (*(pin for pin in shown.asked.out if pin[0] not in here), *out)
    asked = replace(
        shown.asked,
        site=plan.site,
        cap=plan.cap if plan.cap_asked else None,
        ahead_months=plan.ahead_months,
        into=into,
        out=out,
    )
    return replace(shown, asked=asked, plan=None)


def pinned(shown: OutagesAsked, line: str, outage: str) -> OutagesAsked:
    """Return the same with a line held in an outage; it is no longer kept out of that one."""
    into = (*(pin for pin in shown.asked.into if pin[0] != line), (line, outage))
    out = tuple(pin for pin in shown.asked.out if pin != (line, outage))
    return _held(shown, into, out)


def kept_out(shown: OutagesAsked, line: str, outage: str) -> OutagesAsked:
    """Return the same with a line kept out of an outage; it is no longer held in that one."""
    into = tuple(pin for pin in shown.asked.into if pin != (line, outage))
    return _held(shown, into, (*(pin for pin in shown.asked.out if pin != (line, outage)), (line, outage)))


def released(shown: OutagesAsked, line: str, outage: str) -> OutagesAsked:
    """Return the same with a line neither held in an outage nor kept out of it."""
    into = tuple(pin for pin in shown.asked.into if pin != (line, outage))
    return _held(shown, into, tuple(pin for pin in shown.asked.out if pin != (line, outage)))


def free(shown: OutagesAsked, lines: tuple[str, ...] | None = None) -> OutagesAsked:
    """Return the same with nothing held: of some lines, or of all."""
    if lines is None:
        return _held(shown, (), ())
    into = tuple(pin for pin in shown.asked.into if pin[0] not in lines)
    return _held(shown, into, tuple(pin for pin in shown.asked.out if pin[0] not in lines))


def _held(shown: OutagesAsked, into: Pins, out: Pins) -> OutagesAsked:
    return replace(shown, asked=replace(shown.asked, into=into, out=out))


def _number(said: str | None, least: float, most: float, what: str, otherwise: str, notes: list[str]) -> float | None:
    if said is None:
        return None
    try:
        number = float(said)
    except ValueError:
        number = float("nan")
    if least <= number <= most:
        return number
    notes.append(f"‘{said}’ is not {what} from {least:g} to {most:g}; {otherwise}.")
    return None


def _pins(said: str | None, notes: list[str]) -> Pins:
    pins: list[tuple[str, str]] = []
    for part in (said or "").split(","):
        halves = [unquote(half).strip() for half in part.split(":")]
        if len(halves) == 2 and all(halves):
            pins.append((halves[0], halves[1]))
        elif part:
            notes.append(f"‘{part}’ is not a line and an outage; write LINE:OUTAGE. It is left aside.")
    return tuple(dict.fromkeys(pins))


def _once_a_line(pins: Pins, notes: list[str]) -> Pins:
    last = dict(pins)
    for line in dict.fromkeys(line for line, outage in pins if last[line] != outage):
        notes.append(f"{line} is pinned into more than one outage; the last one, {last[line]}, counts.")
    return tuple(last.items())


def _written(pins: Pins) -> str | None:
    return ",".join(f"{quote(line, safe='')}:{quote(outage, safe='')}" for line, outage in pins) or None
