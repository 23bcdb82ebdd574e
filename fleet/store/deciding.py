"""A person's decision on a proposal: kept with the event it makes and the audit, all together or not at all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from fleet.store import audit
from fleet.store.errors import StoreError
from fleet.store.planning import Proposal
from fleet.store.running import Event
from fleet.store.versions import raise_data_version

DRIFT_CHANGED: Final = "drift changed"
"""Kind of the event that an accepted change of the drift records."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What was proposed, and what somebody decided about it.

    Attributes
    ----------
    line_id, station_id, axis : what it is about; no station: the whole line
    after_session_id : the visit after which the change begins
    evidence, said : natural log of the Bayes factor, and the sentence the person was told
    handle : how the person named it, for the audit
    who, at, why : who decided, when (aware), and the reason
    """

    line_id: int
    station_id: int | None
    axis: str
    after_session_id: int
    evidence: float
    said: str
    handle: str
    who: str
    at: datetime
    why: str


def accept_change(transaction: Session, decided: Decided, *, happened_at: datetime, seen_version: int) -> None:
    """Keep that a change of the drift is accepted, and record it as an event of the line that begins its trend anew.

    Parameters
    ----------
    transaction : from `Store.write`
    decided : the decision
    happened_at : when the event happened, aware
    seen_version : version of the facts the proposal was worked out from

    Raises
    ------
    StoreError
        The facts changed since: what was proposed may be proposed no longer.
    """
    if raise_data_version(transaction) != seen_version + 1:
        raise StoreError(
            "The record changed while this was being decided, so nothing was kept; look at `asleft regime list` again."
        )
    event = Event(
        line_id=decided.line_id, happened_at=happened_at, kind=DRIFT_CHANGED, note=decided.why, resets_trend=True
    )
    transaction.add(event)
    transaction.flush()
    audit.record(
        transaction,
        at=decided.at,
        who=decided.who,
        what=f"recorded the event {DRIFT_CHANGED!r} for {decided.handle}",
        after={"happened_at": happened_at, "kind": DRIFT_CHANGED, "note": decided.why, "resets_trend": True},
    )
    _keep(transaction, decided, "accepted", event.id)


def refuse_change(transaction: Session, decided: Decided) -> None:
    """Keep that a change of the drift is refused; nothing else is touched.

    Parameters
    ----------
    transaction : from `Store.write`
    decided : the decision
    """
    _keep(transaction, decided, "refused", None)


def _keep(transaction: Session, decided: Decided, decision: str, event_id: int | None) -> None:
    transaction.add(
        Proposal(
            line_id=decided.line_id,
            station_id=decided.station_id,
            axis=decided.axis,
            kind="regime_change",
            after_session_id=decided.after_session_id,
            evidence=decided.evidence,
            said=decided.said,
            decision=decision,
            decided_by=decided.who,
            decided_at=decided.at,
            why=decided.why,
            event_id=event_id,
        )
    )
    transaction.flush()
    audit.record(
        transaction,
        at=decided.at,
        who=decided.who,
        what=f"{decision} the change of drift {decided.handle}",
        after={"evidence": decided.evidence, "said": decided.said, "why": decided.why},
    )
