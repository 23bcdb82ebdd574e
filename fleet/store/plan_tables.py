"""Tables of plans that were kept: which line goes into which outage, with what was known and foreseen that day."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import (
    AXIS_WORDS,
    OUTAGE_STATES,
    PLAN_CLOSED,
    PLAN_HOURS_FROM,
    PLAN_PINS,
    PLAN_REASONS,
    PLAN_STATES,
    PLAN_UNKEPT,
)
from fleet.store.types import Base, Code, between, not_negative, one_of
from fleet.values import STATUSES


class KeptPlan(Base):
    """A plan of a site, or of all where no site is given."""

    __tablename__ = "plan"
    __table_args__ = (
        one_of("state", PLAN_STATES),
        *between(0, 1, "cap", "gap"),
        *not_negative(
            "ahead_months",
            "data_version",
            "days_over",
            "days_if_none",
            "weighted_days_over",
            "cost_days",
            "over_cap",
            "over_cap_bound",
            "seconds",
            "lines_in_store",
            "outages_in_store",
        ),
        CheckConstraint("end_on >= as_of", name="ends_after_as_of"),
        CheckConstraint("length(trim(code)) > 0", name="code_given"),
        CheckConstraint(
            "(state = 'signed_off') = (signed_by is not null) and (signed_by is null) = (signed_at is null)",
            name="signed_off_by_somebody",
        ),
        CheckConstraint("version >= 1", name="version_counts"),
        # The list of kept plans, newest first, of all or of one site.
        Index(None, "made_at"),
        Index(None, "site_id", "made_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[Code] = mapped_column(unique=True)
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"), comment="none: of all sites")
    as_of: Mapped[date]
    end_on: Mapped[date]
    cap: Mapped[float]
    cap_asked: Mapped[bool] = mapped_column(comment="asked for, else the setting")
    ahead_months: Mapped[int]
    data_version: Mapped[int] = mapped_column(comment="of the facts it was worked out from")
    days_over: Mapped[float]
    days_if_none: Mapped[float] = mapped_column(comment="with no visit but the pinned ones")
    weighted_days_over: Mapped[float]
    cost_days: Mapped[float]
    over_cap: Mapped[int]
    over_cap_bound: Mapped[int] = mapped_column(comment="fewest possible as far as is proved")
    bound: Mapped[float] = mapped_column(comment="least sum possible as far as is proved, weighted days")
    gap: Mapped[float]
    seconds: Mapped[float] = mapped_column(comment="time the solver was given")
    solved_at: Mapped[datetime]
    dropped: Mapped[str] = mapped_column(comment="pins that could not be kept, a sentence a line")
    lines_in_store: Mapped[int]
    outages_in_store: Mapped[int]
    state: Mapped[str] = mapped_column(server_default="saved", default="saved")
    made_by: Mapped[str]
    made_at: Mapped[datetime]
    signed_by: Mapped[str | None]
    signed_at: Mapped[datetime | None]
    note: Mapped[str | None]
    version: Mapped[int] = mapped_column(server_default="1", default=1, comment="raised by save, sign and reopen")


class PlanStop(Base):
    """An outage as it stood when the plan was worked out; `aside` says why one was not planned into."""

    __tablename__ = "plan_stop"
    __table_args__ = (
        UniqueConstraint("plan_id", "outage_id"),
        UniqueConstraint("plan_id", "position"),
        one_of("state", OUTAGE_STATES),
        *not_negative("position", "crew_hours", "crews", "hours_used"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plan.id"))
    outage_id: Mapped[int] = mapped_column(ForeignKey("outage.id"), index=True)
    position: Mapped[int]
    kind: Mapped[str | None]
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    line_id: Mapped[int | None] = mapped_column(ForeignKey("line.id"))
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime | None]
    whole_days: Mapped[bool]
    crew_hours: Mapped[float | None]
    crews: Mapped[float | None]
    screw_out: Mapped[bool]
    hours_used: Mapped[float] = mapped_column(comment="crew hours the plan takes of it")
    state: Mapped[str]
    notes: Mapped[str] = mapped_column(comment="what was odd about it, a sentence a line")
    aside: Mapped[str | None] = mapped_column(comment="why it was not planned into; none: it was considered")


class PlanItem(Base):
    """A line in a plan: its outage or none, and what that rests on."""

    __tablename__ = "plan_item"
    __table_args__ = (
        UniqueConstraint("plan_id", "line_id"),
        UniqueConstraint("plan_id", "position"),
        one_of("pin", PLAN_PINS),
        one_of("status", STATUSES),
        one_of("axis", AXIS_WORDS),
        one_of("hours_from", PLAN_HOURS_FROM),
        one_of("reason", PLAN_REASONS),
        one_of("unkept", PLAN_UNKEPT),
        *between(0, 1, "chance_now", "chance_before", "chance_if_skipped"),
        *not_negative(
            "position",
            "weight",
            "visit_hours",
            "visit_cost_days",
            "cool_down_h",
            "screw_pull_h",
            "heat_up_h",
            "days_over",
            "days_if_skipped",
            "hours_missing",
        ),
        CheckConstraint("pin is null or pin <> 'into' or outage_id is not null", name="pinned_into_an_outage"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plan.id"))
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"), index=True)
    position: Mapped[int]
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    outage_id: Mapped[int | None] = mapped_column(ForeignKey("outage.id"), index=True, comment="none: no visit")
    pin: Mapped[str | None]
    status: Mapped[str]
    station: Mapped[str | None] = mapped_column(comment="the worst one, as it was called then")
    axis: Mapped[str | None]
    chance_now: Mapped[float | None]
    chance_before: Mapped[float | None]
    chance_if_skipped: Mapped[float | None]
    over_p10: Mapped[date | None]
    over_p50: Mapped[date | None]
    over_p90: Mapped[date | None]
    weight: Mapped[float]
    visit_hours: Mapped[float]
    hours_from: Mapped[str]
    visit_cost_days: Mapped[float]
    cool_down_h: Mapped[float | None]
    screw_pull_h: Mapped[float | None]
    heat_up_h: Mapped[float | None]
    days_over: Mapped[float | None]
    days_if_skipped: Mapped[float | None]
    saves: Mapped[float | None]
    reason: Mapped[str]
    rather_id: Mapped[int | None] = mapped_column(ForeignKey("outage.id"))
    hours_missing: Mapped[float]
    unkept: Mapped[str | None]
    above_cap: Mapped[bool]
    needs: Mapped[str] = mapped_column(comment="beside people, a phrase a line")


class PlanChoice(Base):
    """One line and one outage: the chance before it, whether it was open to the line, and who kept it closed."""

    __tablename__ = "plan_choice"
    __table_args__ = (
        UniqueConstraint("plan_item_id", "plan_stop_id"),
        one_of("closed", PLAN_CLOSED),
        *between(0, 1, "chance_before"),
        *not_negative("window_h"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    plan_item_id: Mapped[int] = mapped_column(ForeignKey("plan_item.id"))
    plan_stop_id: Mapped[int] = mapped_column(ForeignKey("plan_stop.id"), index=True)
    chance_before: Mapped[float | None]
    closed: Mapped[str]
    window_h: Mapped[float | None] = mapped_column(comment="none: no crew, it would never end")
    kept_out: Mapped[bool] = mapped_column(comment="a person keeps the line out of it")
