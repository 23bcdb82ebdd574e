"""What stands in the plants: sites, lines, what is mounted on them, where they are carried and measured, by what."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.closed import (
    ASSET_KINDS,
    AXIS_WORDS,
    CARRIES,
    MEASURES,
    SADDLES,
    SENSES,
    SLIDES,
)
from fleet.store.types import (
    IN_FORCE,
    Base,
    Code,
    Typed,
    Withdrawable,
    along,
    expansion,
    not_negative,
    one_of,
    warm,
    withdrawal,
)


class Site(Typed, Base):
    """A plant, with the time zone in which its people write times."""

    __tablename__ = "site"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[Code] = mapped_column(unique=True)
    name: Mapped[str | None]
    time_zone: Mapped[str | None] = mapped_column(comment="IANA name; none: UTC")


class Line(Typed, Base):
    """One extruder: gearbox, barrel and supports."""

    __tablename__ = "line"
    __table_args__ = (
        *not_negative(
            "screw_diameter_mm",
            "running_hours_per_year",
            "weight",
            "visit_hours",
            "visit_cost_days",
            "cool_down_h",
            "heat_up_h",
            "screw_pull_h",
        ),
        *along("feed_section_mm"),
        *warm("cold_reference_c"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[Code] = mapped_column(unique=True)
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"), index=True)
    description: Mapped[str | None]
    screw_diameter_mm: Mapped[float | None]
    commissioned_on: Mapped[date | None]
    running_hours_per_year: Mapped[float | None]
    foundation: Mapped[str | None]
    cold_reference_c: Mapped[float] = mapped_column(server_default="20", default=20.0)
    right_hand_side: Mapped[str | None] = mapped_column(comment="the plant's word for + in h")
    feed_section_mm: Mapped[float | None] = mapped_column(comment="the barrel begins here")
    weight: Mapped[float] = mapped_column(server_default="1", default=1.0)
    visit_hours: Mapped[float | None]
    visit_cost_days: Mapped[float | None]
    cool_down_h: Mapped[float | None]
    heat_up_h: Mapped[float | None]
    screw_pull_h: Mapped[float | None]


class Gearbox(Typed, Base):
    """A gearbox, wherever it stands."""

    __tablename__ = "gearbox"
    __table_args__ = (*not_negative("hollow_shaft_bore_mm"), *along("centre_height_mm"), *expansion("expansion_per_k"))

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[Code] = mapped_column(unique=True)
    frame: Mapped[str | None]
    hollow_shaft_bore_mm: Mapped[float | None]
    centre_height_mm: Mapped[float | None] = mapped_column(comment="feet to shaft axis")
    expansion_per_k: Mapped[float | None]


class Barrel(Typed, Base):
    """A barrel, wherever it lies."""

    __tablename__ = "barrel"
    __table_args__ = (
        *not_negative("bore_mm", "outside_diameter_mm"),
        *along("length_mm"),
        *expansion("expansion_per_k"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[Code] = mapped_column(unique=True)
    bore_mm: Mapped[float | None]
    outside_diameter_mm: Mapped[float | None]
    length_mm: Mapped[float | None]
    expansion_per_k: Mapped[float | None]


class Screw(Typed, Base):
    """A screw, wherever it turns."""

    __tablename__ = "screw"
    __table_args__ = (*not_negative("diameter_mm"), *along("length_mm"))

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[Code] = mapped_column(unique=True)
    diameter_mm: Mapped[float | None]
    length_mm: Mapped[float | None]


class Placement(Typed, Base):
    """Which gearbox, barrel or screw stood on which line: installed_on <= day < removed_on.

    That no two of a kind overlap on one line, and no asset stands on two lines at once, is the business of whoever
    writes: one visit takes one off and puts another on in either order, which a constraint would refuse half-way.
    """

    __tablename__ = "placement"
    __table_args__ = (
        one_of("asset_kind", ASSET_KINDS),
        CheckConstraint(
            "(asset_kind = 'gearbox' and gearbox_id is not null and barrel_id is null and screw_id is null)"
            " or (asset_kind = 'barrel' and gearbox_id is null and barrel_id is not null and screw_id is null)"
            " or (asset_kind = 'screw' and gearbox_id is null and barrel_id is null and screw_id is not null)",
            name="asset_of_its_kind",
        ),
        CheckConstraint("removed_on is null or removed_on >= installed_on", name="removed_after_installed"),
        UniqueConstraint("gearbox_id", "installed_on"),
        UniqueConstraint("barrel_id", "installed_on"),
        UniqueConstraint("screw_id", "installed_on"),
        # What stood on a line on a day: asked for every survey that is reduced.
        Index(None, "line_id", "asset_kind", "installed_on"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    asset_kind: Mapped[str]
    gearbox_id: Mapped[int | None] = mapped_column(ForeignKey("gearbox.id"))
    barrel_id: Mapped[int | None] = mapped_column(ForeignKey("barrel.id"))
    screw_id: Mapped[int | None] = mapped_column(ForeignKey("screw.id"))
    installed_on: Mapped[date]
    removed_on: Mapped[date | None]


class Support(Typed, Base):
    """An adjustable carrier under the barrel; its code stands for one place for ever."""

    __tablename__ = "support"
    __table_args__ = (
        one_of("saddle", SADDLES),
        one_of("carries", CARRIES),
        one_of("slides", SLIDES),
        *along("distance_mm", "height_mm"),
        CheckConstraint("vee_angle_deg > 0 and vee_angle_deg < 180", name="vee_angle_deg_in_bounds"),
        *not_negative("v_step_um"),
        *expansion("base_expansion_per_k"),
        CheckConstraint("removed_on is null or added_on is null or removed_on >= added_on", name="removed_after_added"),
        UniqueConstraint("line_id", "code"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    code: Mapped[Code]
    distance_mm: Mapped[float]
    height_mm: Mapped[float | None] = mapped_column(comment="base to barrel axis")
    saddle: Mapped[str | None]
    vee_angle_deg: Mapped[float | None] = mapped_column(comment="included angle")
    carries: Mapped[str] = mapped_column(server_default="rigid", default="rigid")
    slides: Mapped[str | None]
    adjusts_v: Mapped[bool | None]
    adjusts_h: Mapped[bool | None]
    v_step_um: Mapped[float | None]
    base_expansion_per_k: Mapped[float | None]
    added_on: Mapped[date | None]
    removed_on: Mapped[date | None]


class Station(Typed, Base):
    """A place in the bore that is measured; two may share a distance."""

    __tablename__ = "station"
    __table_args__ = (
        *along("distance_mm"),
        CheckConstraint("bore >= 1", name="bore_from_one"),
        CheckConstraint("removed_on is null or added_on is null or removed_on >= added_on", name="removed_after_added"),
        UniqueConstraint("line_id", "code"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    code: Mapped[Code]
    distance_mm: Mapped[float]
    support_id: Mapped[int | None] = mapped_column(ForeignKey("support.id"))
    bore: Mapped[int] = mapped_column(server_default="1", default=1)
    segment: Mapped[str | None]
    added_on: Mapped[date | None]
    removed_on: Mapped[date | None]


class Instrument(Typed, Base):
    """What readings are taken with; the senses say which way its numbers count."""

    __tablename__ = "instrument"
    __table_args__ = (
        *not_negative(
            "resolution_um",
            "repeatability_um",
            "target_zero_um",
            "beam_offset_um",
            "beam_direction_um_per_m",
            "wander_um",
        ),
        one_of("sense_v", SENSES),
        one_of("sense_h", SENSES),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    serial: Mapped[Code] = mapped_column(unique=True)
    kind: Mapped[str | None]
    resolution_um: Mapped[float | None]
    repeatability_um: Mapped[float | None]
    target_zero_um: Mapped[float | None]
    beam_offset_um: Mapped[float | None]
    beam_direction_um_per_m: Mapped[float | None]
    wander_um: Mapped[float | None]
    sense_v: Mapped[str | None]
    sense_h: Mapped[str | None]


class Calibration(Typed, Base):
    """A day an instrument was calibrated, and until when that holds."""

    __tablename__ = "calibration"
    __table_args__ = (UniqueConstraint("instrument_id", "calibrated_on"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    calibrated_on: Mapped[date]
    due_on: Mapped[date | None]
    certificate: Mapped[str | None]


class Tolerance(Typed, Withdrawable, Base):
    """Half-widths of the band a deviation is judged by; for measure `slope` the numbers are um per m."""

    __tablename__ = "tolerance"
    __table_args__ = (
        one_of("axis", AXIS_WORDS),
        one_of("measure", MEASURES),
        *not_negative("watch_um", "limit_um", "set_within_um"),
        CheckConstraint("watch_um is null or watch_um <= limit_um", name="watch_not_above_limit"),
        withdrawal(),
        # One band in force per line, station (or the whole line), axis, measure and day; also how a line's are found.
        Index(
            "uq_tolerance_key",
            "line_id",
            text("coalesce(station_id, 0)"),
            "axis",
            "measure",
            text("coalesce(from_on, '0001-01-01')"),
            unique=True,
            sqlite_where=text(IN_FORCE),
            postgresql_where=text(IN_FORCE),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("line.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"), comment="none: the whole line")
    axis: Mapped[str]
    measure: Mapped[str] = mapped_column(server_default="offset", default="offset")
    from_on: Mapped[date | None] = mapped_column(comment="none: always")
    watch_um: Mapped[float | None]
    limit_um: Mapped[float]
    set_within_um: Mapped[float | None]
    basis: Mapped[str | None]


class Setting(Typed, Base):
    """A number or word a plant chose; a site's own beats the general one, a later day an earlier."""

    __tablename__ = "setting"
    __table_args__ = (
        Index(
            "uq_setting_key",
            text("coalesce(site_id, 0)"),
            "name",
            text("coalesce(from_on, '0001-01-01')"),
            unique=True,
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"), comment="none: all sites")
    name: Mapped[Code]
    value: Mapped[str]
    from_on: Mapped[date | None]
