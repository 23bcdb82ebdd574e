"""Taking a dated fact back, and recording it anew: who, when and why, and what goes with it."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from fleet.errors import InputError
from fleet.services.people import unverified
from fleet.store.engine import Store
from fleet.store.withdraw import MODELS, ONE, goes_with, record_anew, withdraw

KINDS: Final = tuple(MODELS)
"""Lists of facts that can be withdrawn: running-checks, meters, tolerances, events, wear, findings."""
LONGEST_REASON: Final = 2_000


@dataclass(frozen=True, slots=True)
class Along:
    """What else a withdrawal changes, as counts; see `said`."""

    kind: str
    temperatures: int
    decisions: int
    resets_trend: bool

    def said(self) -> tuple[str, ...]:
        """Return it in sentences, the general one of its kind first."""
        texts = [_ALWAYS[self.kind]]
        if self.resets_trend:
            texts.append(
                "The trend of its line no longer begins anew at this event: visits from before it count again."
            )
        if self.temperatures:
            many = self.temperatures != 1
            texts.append(
                f"It is the last station of its run, so the run’s {self.temperatures if many else 'one'} own "
                f"support temperature{'s' if many else ''} {'go' if many else 'goes'} with it, and "
                f"{'come' if many else 'comes'} back with it."
            )
        if self.decisions:
            texts.append("A change of drift was accepted by this event; that decision counts no longer.")
        return tuple(texts)


_ALWAYS: Final = {
    "running-checks": "The rise it measured no longer counts toward what the line needs when cold.",
    "meters": "Running hours around it are worked out from the other readings of the meter.",
    "tolerances": "From its day on, the band before it holds again; where there is none, nothing is judged.",
    "events": "It is no longer drawn on the line’s charts.",
    "wear": "The diameters it holds no longer count.",
    "findings": "It no longer stands on the visit’s report. The visit is signed: it cannot be put back alone.",
}


def take_back(store: Store, kind: str, number: int, *, name: str, why: str, now: datetime | None = None) -> str:
    """Withdraw one fact with what goes with it; return what was done, in a sentence.

    Parameters
    ----------
    store : the record
    kind, number : its list (one of `KINDS`), and its number there
    name : who takes it back, as typed
    why : the reason
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        There is no such fact.
    InputError
        No name or reason was given, or it was withdrawn already.
    """
    who, reason = unverified(name), _reason(why)
    with store.write() as record:
        withdraw(record, kind, number, who=who, at=now or datetime.now(UTC), why=reason)
    return f"Withdrawn: {ONE[kind]}. It stays in the list with your name and reason, and can be recorded anew."


def bring_back(store: Store, kind: str, number: int, *, name: str, why: str, now: datetime | None = None) -> str:
    """Record a withdrawn fact anew, as an entry of its own; return what was done, in a sentence.

    Parameters
    ----------
    store : the record
    kind, number : its list, and the number of the withdrawn entry
    name : who brings it back, as typed
    why : the reason
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        There is no such fact.
    InputError
        No name or reason was given, it was not withdrawn, or something else stands in its place.
    """
    who, reason = unverified(name), _reason(why)
    with store.write() as record:
        record_anew(record, kind, number, who=who, at=now or datetime.now(UTC), why=reason)
    return f"Recorded anew: {ONE[kind]}. The withdrawn entry stays in the list beside it."


def along(store: Store, kind: str, number: int, *, resets_trend: bool = False) -> Along:
    """Return what a withdrawal would take along, before anybody decides on it."""
    with store.read() as record:
        also = goes_with(record, kind, number)
    return Along(kind, also.temperatures, also.decisions, resets_trend)


def _reason(why: str) -> str:
    text = " ".join(unicodedata.normalize("NFC", why).split())
    if not text:
        raise InputError("No reason was given; write in a few words why, it is kept for ever.")
    if len(text) > LONGEST_REASON:
        raise InputError(f"The reason has {len(text)} characters; write at most {LONGEST_REASON}.")
    return text
