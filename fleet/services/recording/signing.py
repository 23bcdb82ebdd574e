"""Signing a visit: everything that was asked is settled, then it goes into the record by the gate of every import."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Final

from fleet.intake import cells
from fleet.intake.raw import IntakeError
from fleet.intake.taking import IntakeResult, Settled, Signing, take
from fleet.reports.check_words import evidence, title
from fleet.services.people import unverified
from fleet.services.recording.errors import RecordingError
from fleet.services.recording.looking import Looked, look
from fleet.services.recording.source import source_of
from fleet.services.recording.view import Ask, NoticedView, SettledView
from fleet.store import queries
from fleet.store.drafts import StaleDraftError
from fleet.store.engine import Store

STALE: Final = (
    "Something was typed into this visit since the page was shown, perhaps on another device, so nothing was signed; "
    "look at the page again, then sign."
)
_TRIES: Final = 3
_ASKED: Final = {
    "why.beam": "beam_not_agreed",
    "why.stations": "stations_left_out",
    "why.temperatures": "temperatures_missing",
    "why.calibration": "calibration_expired",
    "why.warm": "still_warm",
    "why.as_left": "as_left_not_read",
}
"""What a session's checks call the reasons that were given."""


@dataclass(frozen=True, slots=True)
class Signed:
    """A signed session: its code and line, what was taken in sentences, and whether it was signed already before."""

    session: str
    line: str
    sentences: tuple[str, ...]
    before: bool = False


def sign(store: Store, client_key: str, *, name: str, version: int, now: datetime | None = None) -> Signed:
    """Sign a visit: it becomes a session that can only be corrected, and the draft is gone.

    Parameters
    ----------
    store : the record
    client_key : the draft; signing again gives the session it became
    name : typed name of who signs
    version : of the draft as it was shown
    now : the present moment, aware, for tests

    Raises
    ------
    InputError
        No name was typed.
    NotFoundError
        There is no such draft.
    RecordingError
        Something keeps it from being signed, or it was typed into since; `blocks` says what.
    StoreError
        The database cannot be reached; nothing was signed.
    """
    signer = unverified(name)
    moment = now or datetime.now(UTC)
    already = _already(store, client_key)
    if already is not None:
        return already
    for attempt in range(1, _TRIES + 1):
        looked = look(store, client_key, now=now)
        if looked.view.version != version:
            raise RecordingError((STALE,))
        _refuse_unready(looked)
        session = looked.view.signing.session
        try:
            result = take(
                store,
                source_of(looked.visit, session, started_at=_kept_start(store, looked)),
                who=signer,
                today=moment.astimezone(looked.visit.typed.zone).date(),
                now=moment,
                signing=Signing(
                    signed_by=signer,
                    created_by=looked.head.created_by,
                    client_key=client_key,
                    version=version,
                    settled=tuple(_settled(looked, signer)),
                    shown=_shown(looked, signer),
                ),
            )
        except StaleDraftError as stale:
            already = _already(store, client_key)
            if already is not None:
                return already
            raise RecordingError((str(stale),)) from stale
        except IntakeError as refused:
            # Two visits of one line on one day may have been given the same code at the same time
            if attempt < _TRIES and _is_taken(store, session):
                continue
            raise RecordingError(refused.problems) from refused
        return Signed(session, looked.view.line, _sentences(looked, result))
    raise RecordingError(("Other visits of this line are being signed at this moment; sign again.",))


def _already(store: Store, client_key: str) -> Signed | None:
    with store.read() as record:
        for row in queries.signed_as(record, client_key):
            said = f"Signed before, as session {row.session}; nothing was stored twice."
            return Signed(row.session, row.line, (said,), before=True)
    return None


def _is_taken(store: Store, session: str) -> bool:
    with store.read() as record:
        return session in queries.session_codes(record, session)


def _refuse_unready(looked: Looked) -> None:
    signing = looked.view.signing
    missing = tuple(ask.sentence for ask in signing.asks if not ask.settled)
    if signing.blocks or missing:
        raise RecordingError((*signing.blocks, *missing))


def _kept_start(store: Store, looked: Looked) -> str | None:
    """Return when the corrected session began, as the format writes it: a correction is of the same visit."""
    corrects = looked.view.corrects
    if corrects is None:
        return None
    with store.read() as record:
        (old,) = queries.session_to_correct(record, corrects)
    return cells.utc_text(old.started_at)


def _settled(looked: Looked, signer: str) -> list[Settled]:
    """Return the rows of `session_check`: what was noticed, what was put right, what was signed with a reason."""
    noticed = {each.key: each for view in looked.view.passes for each in view.noticed}
    rows = [_kept(each, signer) for each in noticed.values() if each.settled]
    rows += [
        _put_right(each, looked.view.unit, signer) for each in looked.view.signing.settled if each.choice != "kept"
    ]
    rows += [_asked(ask, signer) for ask in looked.view.signing.asks]
    return rows


def _kept(each: NoticedView, signer: str) -> Settled:
    return Settled(each.number, each.facts.check, evidence(each.facts, "mm"), "kept", signer, each.why.text.strip())


def _put_right(each: SettledView, unit: str, signer: str) -> Settled:
    where = f"Station {each.station}" if each.station else f"Pass {each.number}"
    if each.reading:
        where += f", {each.reading}"
    said = f"{where}: {title(each.check).rstrip('?').lower()}."
    if each.was is not None and each.now is not None:
        said += f" Typed {each.was} {unit}, now {each.now} {unit}."
    words = {"corrected": "corrected before signing", "read_again": "read again before signing"}
    return Settled(each.number, each.check, said, each.choice, signer, each.why or words[each.choice])


def _asked(ask: Ask, signer: str) -> Settled:
    check = _ASKED.get(ask.field.name, ask.field.name.removeprefix("why."))
    return Settled(None, check, ask.sentence, "kept", signer, ask.field.text.strip())


def _shown(looked: Looked, signer: str) -> str:
    """Return what the signer saw, as text: figures, conditions, what was settled, and the texts as typed."""
    view = looked.view
    passes: list[dict[str, Any]] = [
        {
            "number": each.number,
            "phase": each.phase,
            "conditions": {name: f.text or f.carried for name, f in each.conditions.items() if f.text or f.carried},
            "stations": [
                {
                    "station": station.station,
                    "offset_um": station.offset_um,
                    "u95_um": station.u95_um,
                    "set_to_um": station.set_to_um,
                    "off_by_um": station.off_by_um,
                }
                for station in each.stations
                if station.offset_um is not None
            ],
            "closure_um": each.closure_um,
        }
        for each in view.passes
        if each.open and each.started
    ]
    shown = {
        "line": view.line,
        "signed_by": signer,
        "unit": view.unit,
        "passes": passes,
        "signing": asdict(view.signing),
        "typed": dict(sorted(view.fields.items())),
    }
    return json.dumps(shown, ensure_ascii=False, sort_keys=True, default=str)


def _sentences(looked: Looked, result: IntakeResult) -> tuple[str, ...]:
    code = looked.view.signing.session
    counted = ", ".join(
        f"{count} {name.replace('_', ' ')}"
        for name, count in result.taken.items()
        if name in ("surveys", "readings", "moves")
    )
    first = f"Signed as session {code}: {counted}." if counted else f"Signed as session {code}."
    return (first, *looked.view.signing.said_before, *result.remarks)
