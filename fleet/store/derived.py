"""Results kept so that a page need not compute them: droppable, rebuilt at any time, never the only copy."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import AXIS_WORDS
from fleet.store.types import Base, Code, one_of
from fleet.values import STATUSES


class Reduction(Base):
    """A survey's adjustment: readings brought to offsets."""

    __tablename__ = "reduction"

    id: Mapped[int] = mapped_column(primary_key=True)
    survey_id: Mapped[int] = mapped_column(ForeignKey("survey.id"), unique=True)
    method_version: Mapped[str]
    dof: Mapped[float | None]
    scale: Mapped[float | None]
    covariance: Mapped[str | None] = mapped_column(comment="JSON: stations and the matrix in um^2")
    beam: Mapped[str | None] = mapped_column(comment="JSON: e [um] and theta [um/m] per beam state")
    closure: Mapped[str | None] = mapped_column(comment="JSON: change at the first station read again [um]")
    remarks: Mapped[str | None] = mapped_column(comment="JSON: checks and remarks")
    budget: Mapped[str | None] = mapped_column(
        comment="JSON: standard uncertainty by cause and station [um], and what would halve it"
    )
    common: Mapped[str | None] = mapped_column(
        comment="JSON: target zero and wander with their standard uncertainties [um]"
    )
    checks: Mapped[str | None] = mapped_column(comment="JSON: slips noticed from the readings alone")


class ReducedOffset(Base):
    """A survey's offset at one station, as measured and at the line's cold reference."""

    __tablename__ = "reduced_offset"
    __table_args__ = (
        UniqueConstraint("survey_id", "station_id"),
        # A station's history over all surveys: the series and the Line page.
        Index(None, "station_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    survey_id: Mapped[int] = mapped_column(ForeignKey("survey.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    v_um: Mapped[float]
    h_um: Mapped[float]
    u_v_um: Mapped[float]
    u_h_um: Mapped[float]
    dof_v: Mapped[float | None] = mapped_column(comment="none: entered, without degrees of freedom")
    dof_h: Mapped[float | None]
    setup_v_um2: Mapped[float] = mapped_column(comment="variance in common to the session's surveys and stations")
    setup_h_um2: Mapped[float]
    v_cold_um: Mapped[float]
    h_cold_um: Mapped[float]
    u_v_cold_um: Mapped[float]
    u_h_cold_um: Mapped[float]
    method: Mapped[str]


class SeriesState(Base):
    """Where a series (line, station, axis) is and goes, as of a day at its site: every field of the forecast."""

    __tablename__ = "series_state"
    __table_args__ = (
        one_of("axis", AXIS_WORDS),
        one_of("status", STATUSES),
        UniqueConstraint("line_id", "station_id", "axis"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    axis: Mapped[str]
    data_version: Mapped[int]
    site_day: Mapped[date] = mapped_column(comment="as of the end of this day at the site")
    last_session: Mapped[Code | None]
    last_measured_um: Mapped[float | None]
    last_measured_at: Mapped[datetime | None]
    measured_deviation_um: Mapped[float | None]
    u95_deviation_um: Mapped[float | None]
    position_um: Mapped[float | None]
    u_position_um: Mapped[float | None]
    rate_um_per_year: Mapped[float | None]
    u_rate_um_per_year: Mapped[float | None]
    rate_um_per_1000_h: Mapped[float | None]
    deviation_um: Mapped[float | None]
    watch_um: Mapped[float | None]
    limit_um: Mapped[float | None]
    status: Mapped[str]
    chance_now: Mapped[float | None]
    chance_30: Mapped[float | None]
    chance_90: Mapped[float | None]
    chance_180: Mapped[float | None]
    chance_365: Mapped[float | None]
    chance_730: Mapped[float | None]
    next_outage: Mapped[Code | None]
    chance_before_next_outage: Mapped[float | None]
    following_outage: Mapped[Code | None]
    chance_before_following_outage: Mapped[float | None]
    over_p10: Mapped[date | None]
    over_p50: Mapped[date | None]
    over_p90: Mapped[date | None]
    borrowed_lines: Mapped[int | None]
    borrowed_weight: Mapped[float | None]
    expected: Mapped[str | None] = mapped_column(comment="JSON: what a cold survey on the asked dates would measure")


class LineState(Base):
    """A line's worst series with what the Fleet page sorts, filters and shows, so that one query reads one page."""

    __tablename__ = "line_state"
    __table_args__ = (
        one_of("status", STATUSES),
        one_of("axis", AXIS_WORDS),
        # Fleet, 50 rows at a time in order of urgency: all, of one site, of one status.
        Index(None, "urgency", "line_id"),
        Index(None, "site_id", "urgency"),
        Index(None, "status", "urgency"),
        # What the filters count, in the order they are counted by: no sorting of ten thousand lines for each page.
        Index(
            "ix_line_state_counted",
            *("site_id", "status", "foundation", "screw_diameter_mm", "site_day", "data_version"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"), unique=True)
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    foundation: Mapped[str | None]
    screw_diameter_mm: Mapped[float | None]
    data_version: Mapped[int]
    site_day: Mapped[date]
    urgency: Mapped[float] = mapped_column(comment="the smaller, the sooner: sorts the Fleet page")
    status: Mapped[str]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"), comment="the worst station")
    axis: Mapped[str | None]
    share_of_limit: Mapped[float | None]
    chance_next: Mapped[float | None]
    chance_following: Mapped[float | None]
    over_p10: Mapped[date | None]
    over_p50: Mapped[date | None]
    over_p90: Mapped[date | None]
    last_visit_at: Mapped[datetime | None]
    next_outage: Mapped[Code | None]
    evidence: Mapped[str | None] = mapped_column(comment="JSON: what stands behind the status of the worst series")


class StoreState(Base):
    """One row: the version of the facts, and the version and day the derived results stand at."""

    __tablename__ = "store_state"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    data_version: Mapped[int] = mapped_column(server_default="0", default=0)
    derived_version: Mapped[int | None]
    derived_on: Mapped[date | None]
