"""What is planned and decided: the windows in which lines can be realigned, and what people made of proposals."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import AXIS_WORDS, OUTAGE_STATES, PROPOSAL_DECISIONS, PROPOSAL_KINDS
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


class Proposal(Base):
    """A person's decision on something the tool proposed; what is proposed is worked out anew at any time, never kept.

    An accepted one made an event of its line; were that withdrawn, the decision would count no longer.
    """

    __tablename__ = "proposal"
    __table_args__ = (
        one_of("axis", AXIS_WORDS),
        one_of("kind", PROPOSAL_KINDS),
        one_of("decision", PROPOSAL_DECISIONS),
        CheckConstraint("length(trim(why)) > 0", name="why_given"),
        CheckConstraint("(decision = 'accepted') = (event_id is not null)", name="accepted_made_an_event"),
        Index(None, "line_id", "axis"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"), comment="none: the whole line")
    axis: Mapped[str]
    kind: Mapped[str]
    after_session_id: Mapped[int] = mapped_column(ForeignKey("session.id"), comment="the visit after which it begins")
    evidence: Mapped[float] = mapped_column(comment="natural log of the Bayes factor when it was decided")
    said: Mapped[str] = mapped_column(comment="what the person was told")
    decision: Mapped[str]
    decided_by: Mapped[str]
    decided_at: Mapped[datetime]
    why: Mapped[str]
    event_id: Mapped[int | None] = mapped_column(ForeignKey("event.id"), comment="what accepting it recorded")
