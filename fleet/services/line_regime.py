"""Deciding on a line's page whether its drift changed: a typed name, a reason, and the line the change belongs to."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from fleet.errors import InputError
from fleet.services import regimes
from fleet.services.people import unverified
from fleet.store.engine import Store

Decision = Literal["accept", "refuse"]


def decide(
    store: Store, line: str, handle: str, decision: Decision, *, by: str, why: str, now: datetime | None = None
) -> str:
    """Accept or refuse a proposed change of drift, from the page of the line it belongs to.

    Parameters
    ----------
    store : the record
    line : the line whose page was looked at
    handle : of the proposal
    decision : accepting records an event from which the trend begins anew; refusing keeps the reason only
    by : the name typed, kept as not verified
    why : what happened then, or why nothing did
    now : the present moment, for tests

    Returns
    -------
    what was done, in a sentence

    Raises
    ------
    NotFoundError
        There is no such line or proposal.
    InputError
        Name or reason is missing, the proposal is another line's, or it was decided already.
    StoreError
        The facts changed meanwhile; nothing was kept.
    """
    who = unverified(by)
    if not why.strip():
        raise InputError("Say what happened then, or why nothing did: the reason is kept for those who come after.")
    if not handle.startswith(f"{line}:"):
        raise InputError(f"‘{handle}’ is not a change proposed for {line}; decide on it on its own line's page.")
    act = regimes.accept if decision == "accept" else regimes.refuse
    return act(store, handle, who, why, now=now)
