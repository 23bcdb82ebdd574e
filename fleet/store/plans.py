"""Keeping plans: saved, saved over, signed off, reopened, each with its audit in the same transaction.

A plan is no fact about a machine: keeping one never raises the version of the facts. It is never deleted; saving over
it leaves what stood there in the audit, and one that is signed off has to be reopened first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from typing import Any, Final

from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fleet.store import audit
from fleet.store.bulk import insert_rows, new_ids, table_of
from fleet.store.errors import StoreError
from fleet.store.plan_tables import KeptPlan, PlanChoice, PlanItem, PlanStop
from fleet.store.planning import Outage
from fleet.store.plant import Line, Site
from fleet.store.types import Base


class StalePlanError(StoreError):
    """A plan is not what it was when it was looked at, or not in a state that allows what is asked."""


@dataclass(frozen=True, slots=True)
class PlanRows:
    """A plan as rows to keep, things named by their codes.

    Attributes
    ----------
    site : code of its site, None for all
    plan : columns of `plan` that say what was worked out
    stops : columns of `plan_stop` without ids, `outage`, `site` and `line` as codes, in order
    items : columns of `plan_item` without ids, `line`, `site`, `outage` and `rather` as codes, in order
    choices : place of the item, place of the stop, chance_before, closed, window_h, kept_out
    """

    site: str | None
    plan: Mapping[str, object]
    stops: Sequence[Mapping[str, object]]
    items: Sequence[Mapping[str, object]]
    choices: Iterable[tuple[int, int, float | None, str, float | None, bool]]


_CHOICE: Final = ("plan_item_id", "plan_stop_id", "chance_before", "closed", "window_h", "kept_out")


def keep_plan(
    transaction: Session,
    rows: PlanRows,
    *,
    code: str | None,
    over: tuple[str, int] | None,
    who: str,
    at: datetime,
    note: str | None,
) -> str:
    """Keep a plan, as a new one or over one that is saved already, and tell the audit.

    Parameters
    ----------
    transaction : from `Store.write`; the version of the facts is not raised
    rows : the plan
    code : what a new one is to be called; None: the next free name made of its site and its first day
    over : code and version, as last seen, of the plan it takes the place of; `code` is then not used
    who, at : who keeps it, and when (aware)
    note : what it is about; None for nothing

    Returns
    -------
    its code

    Raises
    ------
    StalePlanError
        The plan to save over is gone, of another site, signed off, or was saved by somebody since.
    StoreError
        The code is taken, or a line or outage of the plan is not in the record any more.
    """
    site_id = _ids(transaction, Site, [rows.site])[rows.site]
    values = {**rows.plan, "site_id": site_id, "made_by": who, "made_at": at, "note": note}
    before: dict[str, object] | None = None
    if over is None:
        name = code or _free_code(transaction, rows)
        (number,) = new_ids(transaction, KeptPlan, 1)
        try:
            transaction.execute(insert(table_of(KeptPlan)), [{**values, "id": number, "code": name, "version": 1}])
        except IntegrityError as error:
            if not any(taken in str(error.orig) for taken in ("uq_plan_code", "UNIQUE constraint failed: plan.code")):
                raise
            said = f"There is a plan {name} already; give this one another code or save over that one."
            raise StoreError(said) from error
    else:
        name = over[0]
        stands = _seen(transaction, name, over[1], "saved")
        if stands.state != "saved":
            raise StalePlanError(
                f"The plan {name} was signed off by {stands.signed_by}; reopen it with a reason before saving over it, "
                "or save this one under another code."
            )
        if stands.site_id != site_id:
            raise StalePlanError(f"The plan {name} is of another site; save this one as a plan of its own.")
        number = int(stands.id)
        before = _said(transaction, number)
        _empty(transaction, number)
        transaction.execute(update(KeptPlan).where(KeptPlan.id == number).values(**values, version=over[1] + 1))
    _fill(transaction, number, rows)
    audit.record(
        transaction, at=at, who=who, what=f"saved the plan {name}", before=before, after=_said(transaction, number)
    )
    return name


def sign_plan(transaction: Session, code: str, *, version: int, who: str, at: datetime) -> None:
    """Sign a saved plan off: it is what is going to be done.

    Parameters
    ----------
    transaction : from `Store.write`
    code, version : of the plan, as last seen
    who, at : who signs, and when (aware)

    Raises
    ------
    StalePlanError
        The plan is gone, signed off already, or was saved by somebody since.
    """
    stands = _seen(transaction, code, version, "signed off")
    if stands.state == "signed_off":
        raise StalePlanError(f"The plan {code} was signed off already, by {stands.signed_by}; nothing was changed.")
    signed = {"state": "signed_off", "signed_by": who, "signed_at": at}
    transaction.execute(update(KeptPlan).where(KeptPlan.id == stands.id).values(**signed, version=version + 1))
    before = {"plan": code, "state": "saved", "version": version}
    audit.record(
        transaction, at=at, who=who, what=f"signed off the plan {code}", before=before,
        after={"plan": code, **signed, "version": version + 1},
    )  # fmt: skip


def reopen_plan(transaction: Session, code: str, *, version: int, who: str, why: str, at: datetime) -> None:
    """Take a signature off a plan, so that it can be saved over again; the audit keeps who had signed, and why not.

    Parameters
    ----------
    transaction : from `Store.write`
    code, version : of the plan, as last seen
    who, why, at : who reopens it, the reason, and when (aware)

    Raises
    ------
    StalePlanError
        The plan is gone, not signed off, or was changed by somebody since.
    """
    stands = _seen(transaction, code, version, "reopened")
    if stands.state != "signed_off":
        raise StalePlanError(f"The plan {code} is not signed off, so there is nothing to reopen; save over it.")
    opened = {"state": "saved", "signed_by": None, "signed_at": None}
    transaction.execute(update(KeptPlan).where(KeptPlan.id == stands.id).values(**opened, version=version + 1))
    before = {"state": "signed_off", "signed_by": stands.signed_by, "signed_at": stands.signed_at, "version": version}
    audit.record(
        transaction, at=at, who=who, what=f"reopened the plan {code}", before={"plan": code, **before},
        after={"plan": code, **opened, "why": why, "version": version + 1},
    )  # fmt: skip


def _seen(transaction: Session, code: str, version: int, done: str) -> Any:
    """Return a plan for writing, as it was when it was looked at."""
    stands = transaction.execute(
        select(KeptPlan.id, KeptPlan.site_id, KeptPlan.state, KeptPlan.made_by, KeptPlan.signed_by, KeptPlan.signed_at,
               KeptPlan.version).where(KeptPlan.code == code).with_for_update()
    ).first()  # fmt: skip
    if stands is None:
        raise StalePlanError(f"There is no plan {code}, so nothing was {done}; look at the list of kept plans.")
    if stands.version != version:
        raise StalePlanError(
            f"The plan {code} was changed since the page was shown (last saved by {stands.made_by}), so nothing was "
            f"{done}; look at it again first."
        )
    return stands


def _free_code(transaction: Session, rows: PlanRows) -> str:
    base = f"PLAN-{rows.plan['as_of']}"
    if rows.site is not None:
        base = f"{rows.site[:40]}-{base}"
    taken = set(transaction.scalars(select(KeptPlan.code).where(KeptPlan.code.startswith(base, autoescape=True))))
    return next(name for n in count(1) if (name := base if n == 1 else f"{base}-{n}") not in taken)


def _ids(transaction: Session, model: Any, codes: Iterable[object]) -> dict[object, int | None]:
    """Return ids by code; no code has none."""
    asked = {code for code in codes if code is not None}
    rows = transaction.execute(select(model.code, model.id)) if asked else ()
    found: dict[object, int] = {row.code: row.id for row in rows}
    missing = sorted(str(code) for code in asked - found.keys())
    if missing:
        what = model.__tablename__
        raise StoreError(f"The plan names the {what} {missing[0]}, which is not in the record any more; solve it anew.")
    return {None: None, **{code: found[code] for code in asked}}


def _fill(transaction: Session, plan_id: int, rows: PlanRows) -> None:
    """Insert what hangs from a plan."""
    sites = _ids(transaction, Site, [each["site"] for each in (*rows.stops, *rows.items)])
    lines = _ids(transaction, Line, [each["line"] for each in (*rows.stops, *rows.items)])
    into = [each["outage"] for each in (*rows.stops, *rows.items)]
    outages = _ids(transaction, Outage, [*into, *(each["rather"] for each in rows.items)])
    known = {"site": sites, "line": lines, "outage": outages, "rather": outages}
    stop_ids = _hang(transaction, PlanStop, plan_id, rows.stops, known)
    item_ids = _hang(transaction, PlanItem, plan_id, rows.items, known)
    choices = [(item_ids[i], stop_ids[j], *rest) for i, j, *rest in rows.choices]
    numbers = new_ids(transaction, PlanChoice, len(choices))
    insert_rows(transaction, PlanChoice, ("id", *_CHOICE), ((n, *row) for n, row in zip(numbers, choices, strict=True)))


def _hang(
    transaction: Session, model: type[Base], plan_id: int, rows: Sequence[Mapping[str, object]],
    known: Mapping[str, Mapping[object, int | None]],
) -> list[int]:  # fmt: skip
    """Insert rows of a table in their order, codes turned into ids; return their ids."""
    numbers = new_ids(transaction, model, len(rows))
    if not rows:
        return numbers
    fixed = ("id", "plan_id", "position")
    names = list(rows[0])
    columns = [*fixed, *(f"{name}_id" if name in known else name for name in names)]
    insert_rows(
        transaction, model, columns,
        (
            [number, plan_id, place, *(known[name][row[name]] if name in known else row[name] for name in names)]
            for place, (number, row) in enumerate(zip(numbers, rows, strict=True))
        ),
    )  # fmt: skip
    return numbers


def _empty(transaction: Session, plan_id: int) -> None:
    """Take away what hangs from a plan, in the transaction that fills it again."""
    items = select(PlanItem.id).where(PlanItem.plan_id == plan_id)
    transaction.execute(delete(PlanChoice).where(PlanChoice.plan_item_id.in_(items)))
    transaction.execute(delete(PlanItem).where(PlanItem.plan_id == plan_id))
    transaction.execute(delete(PlanStop).where(PlanStop.plan_id == plan_id))


def _said(transaction: Session, plan_id: int) -> dict[str, object]:
    """Return what the audit keeps of a plan: its figures, and which line goes into which outage."""
    plan = transaction.execute(
        select(KeptPlan.code.label("plan"), Site.code.label("site"), KeptPlan.as_of, KeptPlan.end_on, KeptPlan.cap,
               KeptPlan.data_version, KeptPlan.days_over, KeptPlan.made_by, KeptPlan.made_at, KeptPlan.note,
               KeptPlan.version).outerjoin(Site, Site.id == KeptPlan.site_id).where(KeptPlan.id == plan_id)
    ).one()  # fmt: skip
    items = transaction.execute(
        select(Line.code, Outage.code, PlanItem.pin).select_from(PlanItem).join(Line, Line.id == PlanItem.line_id)
        .outerjoin(Outage, Outage.id == PlanItem.outage_id).where(PlanItem.plan_id == plan_id)
        .order_by(PlanItem.position)
    ).all()  # fmt: skip
    return {
        **plan._mapping,
        "visits": {line: outage for line, outage, _ in items if outage is not None},
        "pinned": {line: pin for line, _, pin in items if pin is not None},
    }
