"""When lines stand still: the windows in which they can be realigned."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import OUTAGE_STATES
from fleet.store.types import Base, Code, Typed, not_negative, one_of


class Outage(Typed, Base):
    """A window of a site, of one line, or of all where neither is given."""

    __tablename__ = "outage"
    __table_args__ = (
        one_of("state", OUTAGE_STATES),
        *not_negative("crew_hours", "crews"),
        CheckConstraint("ends_at is null or ends_at >= starts_at", name="ends_after_start"),
        # The coming outages of a line and of its site: status, forecast and plan ask for them in time order.
        Index(None, "site_id", "starts_at"),
        Index(None, "line_id", "starts_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[Code] = mapped_column(unique=True)
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    line_id: Mapped[int | None] = mapped_column(ForeignKey("line.id"))
    kind: Mapped[str | None]
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime | None]
    crew_hours: Mapped[float | None]
    crews: Mapped[float | None]
    state: Mapped[str] = mapped_column(server_default="planned", default="planned")
