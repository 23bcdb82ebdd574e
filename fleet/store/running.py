"""What is known of a line between visits: rises, hours run, wear, and what befell it. Withdrawn, never deleted."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import ASSET_KINDS, DIE, GEARBOX_C_AT, RELATIVE_TO, SCREW, UNITS
from fleet.store.types import (
    CROSS_UM,
    IN_FORCE,
    Base,
    Code,
    Typed,
    Withdrawable,
    across,
    along,
    between,
    not_negative,
    one_of,
    warm,
    withdrawal,
)


class RunningCheck(Typed, Withdrawable, Base):
    """A measured rise of one station with its temperatures, the line hot and running or just stopped."""

    __tablename__ = "running_check"
    __table_args__ = (
        one_of("unit", UNITS),
        one_of("relative_to", RELATIVE_TO),
        one_of("gearbox_c_at", GEARBOX_C_AT),
        one_of("screw", SCREW),
        one_of("die", DIE),
        *across("v_rise_um", "h_rise_um", "gearbox_rise_um"),
        *between(0, CROSS_UM, "u_um"),
        *warm("barrel_c", "gearbox_c", "base_c", "zero_barrel_c", "zero_gearbox_c", "zero_base_c"),
        *not_negative("hours_since_heats_on"),
        withdrawal(),
        # A withdrawn check does not stand in the way of the one that takes its place; also how a line's runs are read.
        Index(
            "uq_running_check_key",
            "line_id",
            "checked_at",
            "station_id",
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    checked_at: Mapped[datetime]
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    v_rise_entered: Mapped[str]
    h_rise_entered: Mapped[str | None]
    u_entered: Mapped[str | None]
    gearbox_rise_entered: Mapped[str | None]
    unit: Mapped[str]
    v_rise_um: Mapped[float]
    h_rise_um: Mapped[float | None]
    u_um: Mapped[float | None]
    gearbox_rise_um: Mapped[float | None]
    relative_to: Mapped[str] = mapped_column(server_default="gearbox_axis", default="gearbox_axis")
    barrel_c: Mapped[float | None]
    gearbox_c: Mapped[float | None]
    gearbox_c_at: Mapped[str] = mapped_column(server_default="casing_mean", default="casing_mean")
    base_c: Mapped[float | None]
    zero_barrel_c: Mapped[float | None]
    zero_gearbox_c: Mapped[float | None]
    zero_base_c: Mapped[float | None]
    hours_since_heats_on: Mapped[float | None]
    screw: Mapped[str | None]
    die: Mapped[str | None]
    method: Mapped[str | None]
    technician: Mapped[str | None]


class Meter(Typed, Withdrawable, Base):
    """A reading of a line's running-hours meter."""

    __tablename__ = "meter"
    __table_args__ = (
        *not_negative("running_hours", "starts"),
        withdrawal(),
        Index(
            "uq_meter_key",
            "line_id",
            "read_at",
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    read_at: Mapped[datetime]
    running_hours: Mapped[float]
    starts: Mapped[int | None]


class Wear(Typed, Withdrawable, Base):
    """Diameters measured in a bore or on a screw, at a distance."""

    __tablename__ = "wear"
    __table_args__ = (
        one_of("asset_kind", ASSET_KINDS),
        CheckConstraint(
            "(asset_kind = 'gearbox' and gearbox_id is not null and barrel_id is null and screw_id is null)"
            " or (asset_kind = 'barrel' and gearbox_id is null and barrel_id is not null and screw_id is null)"
            " or (asset_kind = 'screw' and gearbox_id is null and barrel_id is null and screw_id is not null)",
            name="asset_of_its_kind",
        ),
        one_of("unit", UNITS),
        *along("distance_mm"),
        *not_negative("diameter_v_um", "diameter_h_um"),
        withdrawal(),
        Index(
            "uq_wear_key",
            text("coalesce(gearbox_id, 0)"),
            text("coalesce(barrel_id, 0)"),
            text("coalesce(screw_id, 0)"),
            "measured_at",
            "distance_mm",
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    asset_kind: Mapped[str]
    gearbox_id: Mapped[int | None] = mapped_column(ForeignKey("gearbox.id"))
    barrel_id: Mapped[int | None] = mapped_column(ForeignKey("barrel.id"))
    screw_id: Mapped[int | None] = mapped_column(ForeignKey("screw.id"))
    measured_at: Mapped[datetime]
    distance_mm: Mapped[float]
    diameter_v_entered: Mapped[str | None]
    diameter_h_entered: Mapped[str | None]
    unit: Mapped[str]
    diameter_v_um: Mapped[float | None]
    diameter_h_um: Mapped[float | None]
    method: Mapped[str | None]


class Event(Typed, Withdrawable, Base):
    """Something that may change how a line moves."""

    __tablename__ = "event"
    __table_args__ = (
        withdrawal(),
        Index(
            "uq_event_key",
            "line_id",
            "happened_at",
            "kind",
            text("coalesce(station_id, 0)"),
            text("coalesce(support_id, 0)"),
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    happened_at: Mapped[datetime]
    kind: Mapped[Code]
    note: Mapped[str | None]
    resets_trend: Mapped[bool] = mapped_column(server_default=text("false"), default=False)
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    support_id: Mapped[int | None] = mapped_column(ForeignKey("support.id"))
