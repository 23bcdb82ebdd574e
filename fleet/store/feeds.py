"""Calendar feeds: addresses with a secret in them, under which calendars fetch the visits that are signed off.

Only the secret's hash is kept, so a copy of the record opens no calendar; the audit never holds either.
"""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, func, select, true, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from fleet.store import audit
from fleet.store.errors import StoreError
from fleet.store.plan_tables import KeptPlan, PlanItem
from fleet.store.planning import Outage
from fleet.store.plant import Line, Site
from fleet.store.queries.reading import Record, Rows, fetched
from fleet.store.types import Base


class CalendarFeed(Base):
    """One address that calendars fetch, of a site or of all where no site is given, until somebody ends it."""

    __tablename__ = "calendar_feed"
    __table_args__ = (
        CheckConstraint("length(trim(name)) > 0", name="name_given"),
        CheckConstraint("length(token_sha256) = 64", name="token_hashed"),
        CheckConstraint("(ended_by is null) = (ended_at is null)", name="ended_by_somebody"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(comment="whose calendar it is for")
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"), comment="none: of all sites")
    token_sha256: Mapped[str] = mapped_column(unique=True, comment="of the secret in the address")
    created_by: Mapped[str]
    created_at: Mapped[datetime]
    ended_by: Mapped[str | None]
    ended_at: Mapped[datetime | None]


def token_hash(token: str) -> str:
    """Return what is kept of a secret; it is long and random, so that a plain hash is enough."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def add_feed(transaction: Session, *, name: str, site: str | None, token: str, who: str, at: datetime) -> int:
    """Keep a feed and tell the audit; return its number.

    Parameters
    ----------
    transaction : from `Store.write`
    name : whose calendar it is for
    site : code of the site whose lines it holds; None: every site
    token : the secret; only its hash is kept
    who, at : who makes it, and when (aware)

    Raises
    ------
    StoreError
        There is no such site.
    """
    site_id = None
    if site is not None:
        site_id = transaction.scalar(select(Site.id).where(Site.code == site))
        if site_id is None:
            raise StoreError(f"There is no site ‘{site}’, so no calendar feed was made; choose one of the list.")
    feed = CalendarFeed(name=name, site_id=site_id, token_sha256=token_hash(token), created_by=who, created_at=at)
    transaction.add(feed)
    transaction.flush()
    audit.record(
        transaction, at=at, who=who, what=f"made the calendar feed {feed.id}", after={"name": name, "site": site}
    )
    return feed.id


def end_feed(transaction: Session, number: int, *, who: str, at: datetime) -> str:
    """End a feed for good and tell the audit; return its name.

    Parameters
    ----------
    transaction : from `Store.write`
    number : of the feed
    who, at : who ends it, and when (aware)

    Raises
    ------
    StoreError
        There is no such feed, or it was ended already.
    """
    stands = transaction.execute(
        select(CalendarFeed.name, CalendarFeed.ended_by).where(CalendarFeed.id == number).with_for_update()
    ).first()
    if stands is None:
        raise StoreError("There is no such calendar feed; look at the list again.")
    if stands.ended_by is not None:
        raise StoreError(f"The calendar feed ‘{stands.name}’ was ended already, by {stands.ended_by}.")
    ended = {"ended_by": who, "ended_at": at}
    transaction.execute(update(CalendarFeed).where(CalendarFeed.id == number).values(**ended))
    audit.record(
        transaction, at=at, who=who, what=f"ended the calendar feed {number}", before={"name": stands.name}, after=ended
    )
    return str(stands.name)


def feeds(record: Record) -> Rows:
    """Return every feed that is not ended, newest first, without any secret."""
    return fetched(
        record,
        select(
            CalendarFeed.id,
            CalendarFeed.name,
            CalendarFeed.created_by,
            CalendarFeed.created_at,
            Site.code.label("site"),
            Site.time_zone,
        )
        .outerjoin(Site, Site.id == CalendarFeed.site_id)
        .where(CalendarFeed.ended_at.is_(None))
        .order_by(CalendarFeed.created_at.desc(), CalendarFeed.id.desc()),
    )


def feed_of(record: Record, token: str) -> Any | None:
    """Return the feed a secret opens, None for one that is unknown or ended."""
    return record.execute(
        select(CalendarFeed.id, CalendarFeed.name, Site.code.label("site"), Site.name.label("site_name"))
        .outerjoin(Site, Site.id == CalendarFeed.site_id)
        .where(CalendarFeed.token_sha256 == token_hash(token), CalendarFeed.ended_at.is_(None))
    ).first()


def visits_signed_off(record: Record, site: str | None, *, line_id: int | None = None) -> Rows:
    """Return every line's visit by the newest plan that is signed off and covers it: codes of plan, line and outage.

    A line that its newest plan leaves without a visit has none, whatever an older plan said.

    Parameters
    ----------
    record : open session of `Store.read()`
    site : lines of this site only; None: every line
    line_id : this line only; None: every line
    """
    newest_first = (KeptPlan.signed_at.desc(), KeptPlan.id.desc())
    ranked = (
        select(
            KeptPlan.code.label("plan"),
            KeptPlan.signed_by,
            KeptPlan.signed_at,
            PlanItem.line_id,
            PlanItem.outage_id,
            func.row_number().over(partition_by=PlanItem.line_id, order_by=newest_first).label("place"),
        )
        .join(KeptPlan, KeptPlan.id == PlanItem.plan_id)
        .where(KeptPlan.state == "signed_off", true() if line_id is None else PlanItem.line_id == line_id)
        .subquery()
    )
    statement = (
        select(
            ranked.c.plan,
            ranked.c.signed_by,
            ranked.c.signed_at,
            Line.code.label("line"),
            Outage.code.label("outage"),
            Outage.kind,
            Outage.state,
            Outage.starts_at,
        )
        .join(Line, Line.id == ranked.c.line_id)
        .join(Outage, Outage.id == ranked.c.outage_id)
        .outerjoin(Site, Site.id == Line.site_id)
        .where(ranked.c.place == 1)
        .order_by(Outage.starts_at, Line.code)
    )
    return fetched(record, statement if site is None else statement.where(Site.code == site))
