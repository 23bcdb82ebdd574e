"""What is being typed at a visit, kept as text until it is signed: no fact yet, and no part of any analysis.

A draft never raises the version of the facts. Its making, signing and discarding go to the audit, its keystrokes do
not: each entry says itself from which device it came and when it was typed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ForeignKey, UniqueConstraint, delete, insert, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from fleet.store import audit
from fleet.store.errors import StoreError
from fleet.store.types import Base, not_negative


class Draft(Base):
    """A visit that is being recorded."""

    __tablename__ = "draft"

    id: Mapped[int] = mapped_column(primary_key=True)
    client_key: Mapped[str] = mapped_column(unique=True, comment="the device's own key: a retry makes no twin")
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"), index=True)
    corrects_id: Mapped[int | None] = mapped_column(ForeignKey("session.id"))
    created_by: Mapped[str]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(server_default="1", default=1, comment="raised by each change")


class DraftEntry(Base):
    """One thing typed: a field, its text as typed, from which device, and the device's own count of its keystrokes."""

    __tablename__ = "draft_entry"
    __table_args__ = (*not_negative("sequence"), UniqueConstraint("draft_id", "field"))

    id: Mapped[int] = mapped_column(primary_key=True)
    draft_id: Mapped[int] = mapped_column(ForeignKey("draft.id", ondelete="CASCADE"))
    field: Mapped[str]
    value: Mapped[str]
    typed_at: Mapped[datetime]
    device: Mapped[str]
    sequence: Mapped[int]


class StaleDraftError(StoreError):
    """Somebody typed into a draft, signed or discarded it since it was looked at."""


@dataclass(frozen=True, slots=True)
class Typing:
    """One entry as a device sends it; `typed_at` aware."""

    field: str
    value: str
    typed_at: datetime
    sequence: int


def create_draft(
    transaction: Session,
    *,
    client_key: str,
    line_id: int,
    line: str,
    corrects_id: int | None,
    who: str,
    at: datetime,
    device: str,
    entries: Iterable[Typing],
) -> bool:
    """Make a draft with what is known at its start; return whether it is new (the same key again changes nothing)."""
    if transaction.scalar(select(Draft.id).where(Draft.client_key == client_key)) is not None:
        return False
    draft = Draft(
        client_key=client_key, line_id=line_id, corrects_id=corrects_id, created_by=who, created_at=at, updated_at=at
    )
    transaction.add(draft)
    transaction.flush()
    rows = [_row(draft.id, device, entry) for entry in entries]
    if rows:
        transaction.execute(insert(DraftEntry), rows)
    audit.record(
        transaction, at=at, who=who, what=f"began a visit of line {line!r}", after={"draft": client_key, "line": line}
    )
    return True


def _row(draft_id: int, device: str, entry: Typing) -> dict[str, object]:
    return {
        "draft_id": draft_id,
        "field": entry.field,
        "value": entry.value,
        "typed_at": entry.typed_at,
        "device": device,
        "sequence": entry.sequence,
    }


def keep_entries(
    transaction: Session, client_key: str, entries: Iterable[Typing], *, device: str, at: datetime
) -> int | None:
    """Keep what a device sends and return the draft's version; None where there is no such draft.

    An entry takes the place of what stands in its field if it comes from the same device with a higher sequence, or
    from another device and was typed later. Whatever is sent again, or too late, changes nothing.
    """
    draft = transaction.execute(
        select(Draft.id, Draft.version).where(Draft.client_key == client_key).with_for_update()
    ).first()
    if draft is None:
        return None
    stands = {
        row.field: row
        for row in transaction.execute(
            select(DraftEntry.id, DraftEntry.field, DraftEntry.typed_at, DraftEntry.device, DraftEntry.sequence).where(
                DraftEntry.draft_id == draft.id
            )
        )
    }
    newest: dict[str, Typing] = {}
    for entry in sorted(entries, key=lambda each: each.sequence):
        known = stands.get(entry.field)
        if known is None or _replaces(entry, device, known.device, known.sequence, known.typed_at):
            newest[entry.field] = entry
    if not newest:
        return int(draft.version)
    fresh = [_row(draft.id, device, entry) for field, entry in newest.items() if field not in stands]
    if fresh:
        transaction.execute(insert(DraftEntry), fresh)
    for field, entry in newest.items():
        if field in stands:
            values = _row(draft.id, device, entry)
            transaction.execute(update(DraftEntry).where(DraftEntry.id == stands[field].id).values(**values))
    version = int(draft.version) + 1
    transaction.execute(update(Draft).where(Draft.id == draft.id).values(version=version, updated_at=at))
    return version


def _replaces(entry: Typing, device: str, known_device: str, known_sequence: int, known_typed_at: datetime) -> bool:
    if device == known_device:
        return entry.sequence > known_sequence
    # What a draft begins with is counted 0 and was typed by nobody: a device whose clock is slow types over it too.
    return known_sequence == 0 or entry.typed_at > known_typed_at


def close_draft(transaction: Session, client_key: str, *, version: int) -> None:
    """Take a draft away because it becomes a signed session in this transaction.

    Raises
    ------
    StaleDraftError
        It stands no longer at this version, or no longer at all.
    """
    draft = transaction.execute(
        select(Draft.id, Draft.version).where(Draft.client_key == client_key).with_for_update()
    ).first()
    if draft is None or draft.version != version:
        raise StaleDraftError(
            "Something was typed into this visit since the page was shown, perhaps on another device, so nothing was "
            "signed; look at the page again, then sign."
        )
    _delete(transaction, draft.id)


def discard_draft(transaction: Session, client_key: str, *, line: str, who: str, at: datetime) -> bool:
    """Throw a draft away, its texts kept in the audit; return whether there was one."""
    draft = transaction.scalar(select(Draft.id).where(Draft.client_key == client_key).with_for_update())
    if draft is None:
        return False
    typed = transaction.execute(select(DraftEntry.field, DraftEntry.value).where(DraftEntry.draft_id == draft)).all()
    _delete(transaction, draft)
    before = {"draft": client_key, "line": line, "typed": {row.field: row.value for row in typed}}
    audit.record(transaction, at=at, who=who, what=f"discarded the draft of a visit of line {line!r}", before=before)
    return True


def _delete(transaction: Session, draft_id: int) -> None:
    transaction.execute(delete(DraftEntry).where(DraftEntry.draft_id == draft_id))
    transaction.execute(delete(Draft).where(Draft.id == draft_id))
