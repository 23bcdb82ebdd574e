"""Plans that people keep: saved as they are now, signed off, reopened with a reason, and shown as they were."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from fleet.errors import InputError, NotFoundError
from fleet.intake.cells import normal_code
from fleet.reports.plan_content import PlanContent, PlanState
from fleet.reports.plan_figures import count, days
from fleet.services.people import unverified
from fleet.services.planning.asking import Asked
from fleet.services.planning.kept_rows import content_of_rows, rows_of_content
from fleet.services.planning.planned import plan_content
from fleet.services.site_time import zone_of
from fleet.store.engine import Store
from fleet.store.plans import keep_plan, reopen_plan, sign_plan
from fleet.store.queries import plans
from fleet.store.versions import data_version

NOW: Final = "now"
"""What an address calls the plan that is solved today; no kept plan can be called so."""
_LONGEST: Final = 500


@dataclass(frozen=True, slots=True)
class Saved:
    """What was kept: its code, and a sentence that says so."""

    code: str
    said: str


@dataclass(frozen=True, slots=True)
class KeptLine:
    """A kept plan in the list.

    Parameters
    ----------
    code, state, version : of the plan
    site : whose lines it plans, None for all
    as_of : first day that counts
    made_by, made_at : who saved it last, and when, in the zone of its site (UTC where sites differ)
    signed_by, signed_at : who signed it off, None for one that is not
    note : what it is about
    data_version : of the facts it was worked out from
    visits, days_over : how many lines are visited; expected days over of all its lines
    first_start : when the first outage begins that a line goes into, None without a visit
    """

    code: str
    state: PlanState
    version: int
    site: str | None
    as_of: date
    made_by: str
    made_at: datetime
    signed_by: str | None
    signed_at: datetime | None
    note: str | None
    data_version: int
    visits: int
    days_over: float
    first_start: datetime | None


def keep(
    store: Store,
    asked: Asked,
    *,
    by: str,
    note: str | None = None,
    code: str | None = None,
    over: tuple[str, int] | None = None,
    seen: int | None = None,
    now: datetime | None = None,
) -> Saved:
    """Work a plan out anew and keep it: what is kept is what the record says now.

    Parameters
    ----------
    store : the record
    asked : what is to be planned, as it was asked for when it was looked at
    by : typed name of the person
    note : what it is about
    code : what a new plan is to be called; None or empty: the next free name
    over : code and version, as last seen, of the saved plan whose place it takes
    seen : version of the facts that the person looked at, to tell whether they moved on since
    now : the present moment, aware, for tests

    Returns
    -------
    its code, and what was kept

    Raises
    ------
    InputError
        No name was typed, the code or note cannot be kept, or there is nothing to keep.
    PinError, PlanError
        The plan cannot be worked out.
    StoreError
        The code is taken, or the plan to save over was signed off or changed meanwhile; nothing was kept.
    """
    who, said, name = unverified(by), _note(note), _code(code)
    plan = plan_content(store, asked, now=now)
    if plan.older is not None:
        raise InputError(f"Nothing was saved. {plan.older}")
    if not plan.rows or not plan.stops:
        missing = "line" if not plan.rows else "outage ahead"
        raise InputError(f"There is no {missing} in this plan, so there is nothing to save; look at another choice.")
    rows = rows_of_content(plan)
    with store.write() as transaction:
        kept = keep_plan(
            transaction, rows, code=name, over=over, who=who, at=now or datetime.now(UTC), note=said
        )  # fmt: skip
    told = f"Saved as {kept}: {count(plan.visits, 'visit')}, {days(plan.days_over)} over expected."
    if seen is not None and seen != plan.data_version:
        told += " The record has changed since the page was shown; the figures kept are those of now."
    return Saved(kept, told)


def sign_off(store: Store, code: str, *, by: str, version: int, now: datetime | None = None) -> str:
    """Sign a saved plan off: it is what is going to be done.

    Parameters
    ----------
    store : the record
    code, version : of the plan, as last seen
    by : typed name of the person
    now : the present moment, aware, for tests

    Returns
    -------
    that it is, in a sentence

    Raises
    ------
    InputError
        No name was typed.
    StoreError
        There is no such plan, it is signed off already, or it was changed meanwhile; nothing was changed.
    """
    who = unverified(by)
    with store.write() as transaction:
        sign_plan(transaction, code, version=version, who=who, at=now or datetime.now(UTC))
    return f"{code} is signed off by {who}. It stands until somebody reopens it with a reason."


def reopen(store: Store, code: str, *, by: str, why: str, version: int, now: datetime | None = None) -> str:
    """Take the signature off a plan, so that it can be saved over; the audit keeps who had signed, and the reason.

    Parameters
    ----------
    store : the record
    code, version : of the plan, as last seen
    by, why : typed name of the person, and the reason
    now : the present moment, aware, for tests

    Returns
    -------
    that it is open, in a sentence

    Raises
    ------
    InputError
        No name or no reason was typed, or the reason is too long.
    StoreError
        There is no such plan, it is not signed off, or it was changed meanwhile; nothing was changed.
    """
    who = unverified(by)
    reason = why.strip()
    if not reason:
        raise InputError("A plan that is signed off is reopened with a reason; type why.")
    _short_enough(reason, "reason")
    with store.write() as transaction:
        reopen_plan(transaction, code, version=version, who=who, why=reason, at=now or datetime.now(UTC))
    return f"{code} is open again and can be saved over. The audit keeps who had signed it off, and your reason."


def kept_plans(store: Store, site: str | None = None) -> tuple[KeptLine, ...]:
    """Return the plans that were kept, newest first.

    Parameters
    ----------
    store : the record
    site : only plans of this site and those of all sites; None: every plan
    """
    with store.read() as record:
        rows = plans.kept_plans(record, site)
        shared = _shared(row.time_zone for row in plans.sites_with_lines(record)) if rows else zone_of(None)
    found = []
    for row in rows:
        zone = shared if row.site is None else zone_of(row.time_zone)
        found.append(
            KeptLine(
                code=row.code,
                state=row.state,
                version=row.version,
                site=row.site,
                as_of=row.as_of,
                made_by=row.made_by,
                made_at=row.made_at.astimezone(zone),
                signed_by=row.signed_by,
                signed_at=row.signed_at.astimezone(zone) if row.signed_at else None,
                note=row.note,
                data_version=row.data_version,
                visits=row.visits,
                days_over=row.days_over,
                first_start=row.first_start.astimezone(zone) if row.first_start else None,
            )
        )
    return tuple(found)


def kept_plan(store: Store, code: str) -> PlanContent:
    """Return a kept plan as it was worked out; only names and descriptions are those of today.

    Parameters
    ----------
    store : the record
    code : of the plan

    Raises
    ------
    NotFoundError
        No plan has this code.
    """
    with store.read() as record:
        head = plans.kept_plan(record, code)
        if head is None:
            raise NotFoundError(f"There is no kept plan ‘{code}’; choose one from the list of kept plans.")
        number = head[0].id
        items = plans.plan_items(record, number)
        return content_of_rows(
            head,
            plans.plan_stops(record, number),
            items,
            plans.plan_choices(record, number),
            sites=plans.sites_with_lines(record),
            zone=_shared(row.time_zone for row in items),
        )


def facts_version(store: Store) -> int:
    """Return the version of the facts as they are now, to tell whether a kept plan was worked out from older ones."""
    with store.read() as record:
        return data_version(record)


def asked_of(plan: PlanContent) -> Asked:
    """Return what a plan was asked for, so that it can be changed or solved anew: lines, cap, months, pins.

    Parameters
    ----------
    plan : kept, or solved just now
    """
    return Asked(
        site=plan.site,
        cap=plan.cap if plan.cap_asked else None,
        ahead_months=plan.ahead_months,
        into=tuple((row.line, row.chosen) for row in plan.rows if row.pin == "into" and row.chosen is not None),
        out=tuple((row.line, outage) for row in plan.rows for outage in row.kept_out),
        seconds=plan.seconds,
    )


def _shared(zones: Iterable[str | None]) -> ZoneInfo:
    """Return the zone that all share, else UTC."""
    found = set(zones)
    return zone_of(found.pop()) if len(found) == 1 else zone_of(None)


def _code(typed: str | None) -> str | None:
    code = normal_code((typed or "").strip())
    if code.lower() == NOW:
        raise InputError(f"‘{code}’ is what the plan solved today is called; give the plan another code.")
    return code or None


def _note(typed: str | None) -> str | None:
    note = (typed or "").strip()
    _short_enough(note, "note")
    return note or None


def _short_enough(text: str, what: str) -> None:
    if len(text) > _LONGEST:
        raise InputError(f"The {what} has {len(text)} characters; say it in {_LONGEST} or fewer.")
