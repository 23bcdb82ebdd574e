"""A visit from its first keystroke to its signature or its waste basket: begun, kept, listed, discarded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.errors import InputError, NotFoundError
from fleet.services.people import unverified
from fleet.services.recording.correcting import values_of
from fleet.services.recording.errors import RecordingError
from fleet.services.recording.fields import is_length
from fleet.services.recording.targets import proposed_targets
from fleet.services.recording.view import DraftHead
from fleet.services.site_time import zone_of
from fleet.store import queries
from fleet.store.drafts import Typing, create_draft, discard_draft, keep_entries
from fleet.store.engine import Store
from fleet.units import UM_PER, normal_unit

SERVER: Final = "server"
"""The device of what a draft begins with."""
LONGEST_NAME: Final = 4_000
LONGEST_TEXT: Final = 4_000
MOST_ENTRIES: Final = 2_000
_LONGEST_KEY: Final = 100
_AHEAD: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing typed: field, text as typed, the device's count of its keystrokes, and when it was typed (aware)."""

    field: str
    value: str
    sequence: int
    typed_at: datetime


@dataclass(frozen=True, slots=True)
class KeptEntries:
    """What became of entries that were sent.

    Attributes
    ----------
    sequence
        The highest sequence of those sent: all of them are stored and need not be sent again.
    version
        The draft's version now.
    refused
        Sentences about entries that cannot be kept at all (a unit changed after lengths were typed in it).
    """

    sequence: int
    version: int
    refused: tuple[str, ...] = ()


def start(
    store: Store,
    line: str,
    *,
    author: str,
    client_key: str,
    now: datetime | None = None,
    corrects: str | None = None,
    fields: Mapping[str, str] | None = None,
) -> DraftHead:
    """Begin to record a visit of a line; the same key again gives the same draft.

    Parameters
    ----------
    store : the record
    line : its code
    author : typed name of who begins
    client_key : the device's own key, 8 to 100 characters, so that a retry makes no twin
    now : the present moment, aware, for tests
    corrects : code of the signed session that this one corrects; its values are what the draft begins with
    fields : what is known at the start, by field name (`started_at`, `unit`, `instrument`, `rolls`, ...)

    Raises
    ------
    NotFoundError
        There is no such line, or no such session to correct.
    InputError
        The name or the unit cannot be used.
    RecordingError
        The session is of another line, is no signed one, or was corrected already; the key belongs to a signed visit.
    """
    who = unverified(author)
    moment = now or datetime.now(UTC)
    if not 8 <= len(client_key) <= _LONGEST_KEY or not client_key.isprintable():
        raise InputError(f"A draft's key has 8 to {_LONGEST_KEY} characters; '{client_key[:20]}' cannot be used.")
    with store.read() as record:
        for row in queries.signed_as(record, client_key):
            raise RecordingError((f"This visit is signed already, as session {row.session} of line {row.line}.",))
        info = next((row for row in queries.lines(record) if row.code == line), None)
        if info is None:
            raise NotFoundError(f"There is no line '{line}' in the store; choose one of the list.")
        old = _to_correct(record, line, corrects)
        begins: dict[str, str] = {}
        if old is not None:
            begins |= values_of(record, old.code, zone_of(info.time_zone))
    begins |= {name: text for name, text in (fields or {}).items() if text != ""}
    if old is not None:
        # A correction keeps the moment of the visit it corrects, whatever the form said.
        begins["started_at"] = _local_text(old.started_at, zone_of(info.time_zone))
    begins.setdefault("technician", author.strip())
    begins["unit"] = normal_unit(begins.get("unit", "mm"))
    begins.setdefault("rolls", "2")
    begins.setdefault("started_at", moment.astimezone(zone_of(info.time_zone)).strftime("%Y-%m-%dT%H:%M"))
    if old is None:
        begins = {**proposed_targets(store, line, begins["unit"], now=now), **begins}
    entries = [Typing(name, text, moment, 0) for name, text in begins.items()]
    _check_texts(entries)
    with store.write() as transaction:
        create_draft(
            transaction,
            client_key=client_key,
            line_id=info.id,
            line=line,
            corrects_id=old.id if old is not None else None,
            who=who,
            at=moment,
            device=SERVER,
            entries=entries,
        )
    return draft_head(store, client_key)


def _local_text(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as local time at the site, with its offset only in the hour that a clock change repeats."""
    local = moment.astimezone(zone)
    plain = local.replace(tzinfo=None)
    twice = plain.replace(tzinfo=zone, fold=0).utcoffset() != plain.replace(tzinfo=zone, fold=1).utcoffset()
    return (local if twice else plain).isoformat(timespec="seconds" if local.second else "minutes")


def _to_correct(record: queries.Record, line: str, corrects: str | None) -> Any:
    if corrects is None:
        return None
    rows = queries.session_to_correct(record, corrects)
    if not rows:
        raise NotFoundError(f"There is no session '{corrects}' to correct.")
    (row,) = rows
    if row.line != line:
        raise RecordingError((f"Session {corrects} is of line {row.line}, not of {line}; correct it there.",))
    if row.state != "signed":
        raise RecordingError((f"Session {corrects} is not signed; only a signed session is corrected.",))
    if row.corrected_by is not None:
        raise RecordingError((f"Session {corrects} is corrected by {row.corrected_by} already; correct that one.",))
    return row


def keep(
    store: Store, client_key: str, entries: Sequence[Entry], *, device: str, now: datetime | None = None
) -> KeptEntries:
    """Keep what a device sends, in one transaction; sent again it changes nothing.

    Parameters
    ----------
    store : the record
    client_key : the draft
    entries : what was typed, in any order
    device : the device's own name for itself
    now : the present moment, aware, for tests

    Raises
    ------
    NotFoundError
        There is no such draft: it was discarded.
    InputError
        An entry has no zone in its time, or is longer than anything typed.
    RecordingError
        The visit is signed already.
    """
    moment = now or datetime.now(UTC)
    if not device or len(device) > LONGEST_NAME:
        raise InputError("The device gives no name for itself, so nothing was kept; load the page again.")
    if len(entries) > MOST_ENTRIES:
        raise InputError(f"{len(entries)} entries came at once; send at most {MOST_ENTRIES}.")
    # A clock that runs ahead must not make this device win over all others for ever.
    sent = [Typing(e.field, e.value, min(_aware(e.typed_at), moment + _AHEAD), e.sequence) for e in entries]
    _check_texts(sent)
    refused: tuple[str, ...] = ()
    if any(entry.field == "unit" for entry in sent):
        sent, refused = _without_changed_unit(store, client_key, sent)
    with store.write() as transaction:
        version = keep_entries(transaction, client_key, sent, device=device, at=moment)
    if version is None:
        raise gone(store, client_key)
    return KeptEntries(max((e.sequence for e in entries), default=0), version, refused)


def gone(store: Store, client_key: str) -> Exception:
    """Return the error about a draft that is no longer there: signed or discarded."""
    with store.read() as record:
        rows = queries.signed_as(record, client_key)
    if rows:
        return RecordingError(
            (
                f"This visit was signed as session {rows[0].session} and takes nothing more; what is wrong is put "
                "right by a correction.",
            )
        )
    return NotFoundError("There is no such draft: it was discarded, or the address is not whole.")


def _aware(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise InputError(f"{moment.isoformat()} has no time zone; send the moment with its offset from UTC.")
    return moment


def _check_texts(entries: Iterable[Typing]) -> None:
    for entry in entries:
        if not entry.field or len(entry.field) > LONGEST_NAME or not entry.field.isprintable():
            raise InputError(f"'{entry.field[:40]}' is no field of a visit; load the page again.")
        if len(entry.value) > LONGEST_TEXT:
            raise InputError(f"{entry.field} has {len(entry.value)} characters; at most {LONGEST_TEXT} are kept.")
        if "\0" in entry.value:
            raise InputError(f"{entry.field} holds a character that cannot be kept; type it again.")
        if not 0 <= entry.sequence < 2**31:
            raise InputError(f"{entry.sequence} is no count of keystrokes; load the page again.")


def _without_changed_unit(store: Store, client_key: str, sent: list[Typing]) -> tuple[list[Typing], tuple[str, ...]]:
    """Leave out a change of the unit after lengths were typed: it would give what stands there another meaning."""
    with store.read() as record:
        rows = queries.drafts(record, client_key=client_key)
        stands = {row.field: row.value for row in queries.draft_entries(record, rows[0].id)} if rows else {}
    typed = any(is_length(name) and text.strip() for name, text in stands.items())
    kept, refused = [], []
    for entry in sent:
        if entry.field != "unit" or entry.value == stands.get("unit"):
            kept.append(entry)
        elif entry.value not in UM_PER:
            refused.append(f"'{entry.value}' is not a unit; use mm, in, thou or um.")
        elif typed:
            refused.append(
                f"The unit stays {stands['unit']}: lengths were typed in it already. Begin another visit for another."
            )
        else:
            kept.append(entry)
    return kept, tuple(refused)


def head_of(row: Any) -> DraftHead:
    """Return a draft's head from its row of `queries.drafts`, times in the site's zone."""
    zone = zone_of(row.time_zone)
    return DraftHead(
        client_key=row.client_key,
        line=row.line,
        site=row.site,
        zone=zone.key,
        created_by=row.created_by,
        created_at=row.created_at.astimezone(zone),
        updated_at=row.updated_at.astimezone(zone),
        version=row.version,
        entries=row.entries,
        corrects=row.corrects,
    )


def draft_head(store: Store, client_key: str) -> DraftHead:
    """Return the head of one draft.

    Raises
    ------
    NotFoundError
        There is no such draft.
    RecordingError
        It is signed already.
    """
    with store.read() as record:
        rows = queries.drafts(record, client_key=client_key)
    if not rows:
        raise gone(store, client_key)
    return head_of(rows[0])


def open_drafts(store: Store, line: str | None = None) -> tuple[DraftHead, ...]:
    """Return the visits that are being recorded, of one line or all, the one typed into last first."""
    with store.read() as record:
        return tuple(head_of(row) for row in queries.drafts(record, line=line))


def discard(store: Store, client_key: str, *, who: str, now: datetime | None = None) -> None:
    """Throw a draft away; what was typed stays in the audit.

    Parameters
    ----------
    who : typed name of the person

    Raises
    ------
    InputError
        No name was typed.
    NotFoundError
        There is no such draft.
    RecordingError
        It is signed already.
    """
    by = unverified(who)
    head = draft_head(store, client_key)
    with store.write() as transaction:
        discard_draft(transaction, client_key, line=head.line, who=by, at=now or datetime.now(UTC))
