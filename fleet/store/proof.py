"""Who did what, when: the audit, to which rows are only ever added, and one row per intake with its file's digest."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.types import Base, not_negative


class Intake(Base):
    """A source that was taken in: its name, its digest, who brought it, and how many rows were taken and refused."""

    __tablename__ = "intake"
    __table_args__ = (*not_negative("rows_taken", "rows_refused"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    file_name: Mapped[str]
    sha256: Mapped[str] = mapped_column(index=True)  # "was this very file taken before?"
    taken_at: Mapped[datetime]
    taken_by: Mapped[str]
    rows_taken: Mapped[int]
    rows_refused: Mapped[int] = mapped_column(server_default="0", default=0)


class AuditEntry(Base):
    """One change: who, what, and the values before and after as JSON objects (none: there was nothing)."""

    __tablename__ = "audit"
    # The Records page reads the newest first.
    __table_args__ = (Index(None, "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    who: Mapped[str]
    what: Mapped[str]
    before: Mapped[str | None]
    after: Mapped[str | None]
