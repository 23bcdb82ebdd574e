"""Taking back a dated fact: it is never deleted, and comes back by being recorded anew, as a row of its own.

Both go to the audit with the whole row, in one transaction with the change and with a new version of the facts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import func, insert, inspect, select, update
from sqlalchemy.orm import Session

from fleet.errors import InputError, NotFoundError
from fleet.store import audit
from fleet.store.bulk import new_ids, table_of
from fleet.store.planning import Proposal
from fleet.store.plant import Barrel, Gearbox, Line, Screw, Station, Support, Tolerance
from fleet.store.running import Event, Meter, RunningCheck, Wear
from fleet.store.types import WITHDRAW_COLUMNS, Base
from fleet.store.versions import raise_data_version
from fleet.store.visits import Finding, SupportTemperature, VisitSession

MODELS: Final[dict[str, Any]] = {
    "running-checks": RunningCheck,
    "meters": Meter,
    "tolerances": Tolerance,
    "events": Event,
    "wear": Wear,
    "findings": Finding,
}
"""Facts that can be withdrawn, by the name of their list."""

ONE: Final = {
    "running-checks": "a running check",
    "meters": "a meter reading",
    "tolerances": "a tolerance",
    "events": "an event",
    "wear": "a wear measurement",
    "findings": "a finding",
}
_KEYS: Final = {
    "running-checks": ("line_id", "checked_at", "station_id"),
    "meters": ("line_id", "read_at"),
    "tolerances": ("line_id", "station_id", "axis", "measure", "from_on"),
    "events": ("line_id", "happened_at", "kind", "station_id", "support_id"),
    "wear": ("gearbox_id", "barrel_id", "screw_id", "measured_at", "distance_mm"),
}
"""What only one fact in force can have; a finding cannot be recorded anew, because its visit is signed."""
_CODES: Final[dict[str, tuple[str, Any, str]]] = {
    "line_id": ("line", Line, "code"),
    "station_id": ("station", Station, "code"),
    "support_id": ("support", Support, "code"),
    "session_id": ("session", VisitSession, "code"),
    "gearbox_id": ("asset", Gearbox, "serial"),
    "barrel_id": ("asset", Barrel, "serial"),
    "screw_id": ("asset", Screw, "serial"),
}


@dataclass(frozen=True, slots=True)
class GoesWith:
    """What else changes when a fact is withdrawn.

    Attributes
    ----------
    temperatures : own temperatures of supports that belong to the run, where it is the last station of it
    decisions : decisions on a change of drift that recorded this event, and count no longer
    """

    temperatures: int = 0
    decisions: int = 0


def _row(transaction: Session, kind: str, number: int) -> Any:
    model = MODELS.get(kind)
    row = transaction.get(model, number, with_for_update=True) if model is not None else None
    if row is None:
        raise NotFoundError(f"there is no {kind.replace('-', ' ')} entry {number}; look at the list again")
    return row


def _content(transaction: Session, row: Base) -> dict[str, object]:
    """Return what a row holds, with codes in place of numbers, withdrawal and empty values left out."""
    content: dict[str, object] = {}
    for column in inspect(type(row)).columns:
        value = getattr(row, column.name)
        if value is None or column.name in ("id", "typed", *WITHDRAW_COLUMNS):
            continue
        if column.name in _CODES:
            name, model, code = _CODES[column.name]
            content[name] = transaction.scalar(select(getattr(model, code)).where(model.id == value))
        else:
            content[column.name] = value
    if isinstance(row, Finding):
        line = select(Line.code).join(VisitSession, VisitSession.line_id == Line.id)
        content["line"] = transaction.scalar(line.where(VisitSession.id == row.session_id))
    return content


def goes_with(transaction: Session, kind: str, number: int) -> GoesWith:
    """Return what a withdrawal takes along, before anybody decides on it."""
    if kind == "events":
        count = select(func.count(Proposal.id)).where(Proposal.event_id == number)
        return GoesWith(decisions=transaction.scalar(count) or 0)
    if kind == "running-checks":
        run = select(RunningCheck.line_id, RunningCheck.checked_at).where(RunningCheck.id == number)
        found = transaction.execute(run).first()
        if found is not None:
            return GoesWith(temperatures=len(_temperatures(transaction, found.line_id, found.checked_at, number)))
    return GoesWith()


def _temperatures(transaction: Session, line_id: int, checked_at: datetime, number: int) -> list[int]:
    """Return the supports' temperatures that belong to a run, where one check is the last of it in force."""
    others = select(func.count(RunningCheck.id)).where(
        RunningCheck.line_id == line_id,
        RunningCheck.checked_at == checked_at,
        RunningCheck.withdrawn_at.is_(None),
        RunningCheck.id != number,
    )
    if transaction.scalar(others):
        return []
    own = select(SupportTemperature.id).where(
        SupportTemperature.line_id == line_id,
        SupportTemperature.checked_at == checked_at,
        SupportTemperature.withdrawn_at.is_(None),
    )
    return list(transaction.scalars(own))


def withdraw(transaction: Session, kind: str, number: int, *, who: str, at: datetime, why: str) -> None:
    """Withdraw one fact and what goes with it.

    Parameters
    ----------
    transaction : from `Store.write`
    kind, number : the list it stands in (`MODELS`), and its row there
    who, at, why : who takes it back, when (aware), and the reason

    Raises
    ------
    NotFoundError
        There is no such fact.
    InputError
        It was withdrawn already, or hangs from a visit that is not signed.
    """
    row = _row(transaction, kind, number)
    if row.withdrawn_at is not None:
        raise InputError(
            f"This was withdrawn already by {row.withdrawn_by}: {row.withdrawn_why}. Nothing was changed; look at the "
            "list again."
        )
    if isinstance(row, Finding) and transaction.get_one(VisitSession, row.session_id).state != "signed":
        raise InputError("This finding belongs to a visit that is not signed yet; change it there.")
    before = _content(transaction, row)
    taken = {"withdrawn_at": at, "withdrawn_by": who, "withdrawn_why": why}
    temperatures: list[int] = []
    if kind == "running-checks":
        temperatures = _temperatures(transaction, row.line_id, row.checked_at, number)
    table = table_of(MODELS[kind])
    transaction.execute(update(table).where(table.c.id == number).values(**taken))
    if temperatures:
        own = table_of(SupportTemperature)
        transaction.execute(update(own).where(own.c.id.in_(temperatures)).values(**taken))
    after: dict[str, object] = {"why": why}
    if temperatures:
        after["support_temperatures"] = len(temperatures)
    audit.record(transaction, at=at, who=who, what=f"withdrew {ONE[kind]}", before=before, after=after)
    raise_data_version(transaction)


def record_anew(transaction: Session, kind: str, number: int, *, who: str, at: datetime, why: str) -> int:
    """Record a withdrawn fact once more, with the same content and as a row of its own; return its number.

    Parameters
    ----------
    transaction : from `Store.write`
    kind, number : the list it stands in, and the withdrawn row
    who, at, why : who brings it back, when (aware), and the reason

    Raises
    ------
    NotFoundError
        There is no such fact.
    InputError
        It was not withdrawn, something else stands in its place, or it belongs to a signed visit.
    """
    row = _row(transaction, kind, number)
    if kind not in _KEYS:
        raise InputError(
            "A finding belongs to its signed visit, to which nothing is added; a correction of the visit can hold it."
        )
    if row.withdrawn_at is None:
        raise InputError("This was not withdrawn; it stands as it is, and nothing was changed.")
    model, table = MODELS[kind], table_of(MODELS[kind])
    same = [getattr(model, name).is_not_distinct_from(getattr(row, name)) for name in _KEYS[kind]]
    if transaction.scalar(select(func.count(model.id)).where(model.withdrawn_at.is_(None), *same)):
        raise InputError(
            f"Another entry stands in its place, {ONE[kind]} of the same time and place; withdraw that one first."
        )
    (fresh,) = new_ids(transaction, model, 1)
    values = {
        column.name: getattr(row, column.name)
        for column in table.columns
        if column.name not in ("id", *WITHDRAW_COLUMNS)
    }
    transaction.execute(insert(table), [{**values, "id": fresh}])
    after = {**_content(transaction, row), "why": why}
    if kind == "running-checks":
        count = _temperatures_anew(transaction, row)
        if count:
            after["support_temperatures"] = count
    audit.record(transaction, at=at, who=who, what=f"recorded {ONE[kind]} anew", after=after)
    raise_data_version(transaction)
    return fresh


def _temperatures_anew(transaction: Session, check: RunningCheck) -> int:
    """Bring back the temperatures of supports that were withdrawn along with a running check."""
    own = table_of(SupportTemperature)
    went = (
        transaction.execute(
            select(own).where(
                own.c.line_id == check.line_id,
                own.c.checked_at == check.checked_at,
                own.c.withdrawn_at == check.withdrawn_at,
            )
        )
        .mappings()
        .all()
    )
    stands = set(
        transaction.scalars(
            select(own.c.support_id).where(
                own.c.line_id == check.line_id, own.c.checked_at == check.checked_at, own.c.withdrawn_at.is_(None)
            )
        )
    )
    rows = [row for row in went if row["support_id"] not in stands]
    numbers = new_ids(transaction, SupportTemperature, len(rows))
    fresh = [
        {**{name: value for name, value in row.items() if name not in WITHDRAW_COLUMNS}, "id": number}
        for row, number in zip(rows, numbers, strict=True)
    ]
    if fresh:
        transaction.execute(insert(own), fresh)
    return len(fresh)
