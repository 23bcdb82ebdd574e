"""Who did what, when: the audit, to which rows are only ever added, and one row per source with its file's digest."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import CONTAINERS, INTAKE_RESULTS
from fleet.store.types import Base, not_negative, one_of


class Intake(Base):
    """A source that came in: its name, its digest, who brought it, and what came of it.

    `told` is a JSON object: of one that was taken the rows by file (`taken`) and the lines they are about; of one that
    was refused its first problems, each with file, row, column, what was found and what would be right.
    """

    __tablename__ = "intake"
    __table_args__ = (
        *not_negative("rows_taken", "rows_refused", "files", "rows_read"),
        one_of("result", INTAKE_RESULTS),
        one_of("container", CONTAINERS),
        Index(None, "taken_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    file_name: Mapped[str]
    sha256: Mapped[str] = mapped_column(index=True)  # "was this very file taken before?"
    taken_at: Mapped[datetime]
    taken_by: Mapped[str]
    rows_taken: Mapped[int]
    rows_refused: Mapped[int] = mapped_column(server_default="0", default=0)
    result: Mapped[str] = mapped_column(server_default="taken", default="taken")
    container: Mapped[str | None] = mapped_column(comment="none: not known, or not a file")
    files: Mapped[int | None]
    rows_read: Mapped[int | None]
    told: Mapped[str] = mapped_column(
        server_default="{}",
        default="{}",
        comment="JSON: rows by file and lines of what was taken; the first problems of what was not",
    )


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
