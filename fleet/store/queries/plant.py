"""What stands in the plants and what is set for it: lines, stations, supports, tolerances, outages, events, meters."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from fleet.store.planning import Outage
from fleet.store.plant import (
    Barrel,
    Calibration,
    Gearbox,
    Instrument,
    Line,
    Placement,
    Setting,
    Site,
    Station,
    Support,
    Tolerance,
)
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.running import Event, Meter
from fleet.store.visits import (
    VisitSession,
)


def time_zones(record: Record) -> tuple[str | None, ...]:
    """Return the time zones of all sites, and None for lines whose site has none.

    Which of them have lines is not asked: every page wants to know what day it is, and sites are few.
    """
    return tuple(sorted({None, *record.execute(select(Site.time_zone).distinct()).scalars()}, key=str))


def lines(record: Record) -> Rows:
    """Return every line with its site, by code."""
    return fetched(
        record,
        select(
            Line.id,
            Line.code,
            Line.site_id,
            Site.code.label("site"),
            Site.name.label("site_name"),
            Site.time_zone,
            Line.description,
            Line.screw_diameter_mm,
            Line.commissioned_on,
            Line.foundation,
            Line.cold_reference_c,
            Line.right_hand_side,
            Line.feed_section_mm,
        )
        .outerjoin(Site, Site.id == Line.site_id)
        .order_by(Line.code),
    )


def line_codes(record: Record) -> tuple[str, ...]:
    """Return the codes of all lines, in order."""
    return tuple(record.execute(select(Line.code).order_by(Line.code)).scalars())


def stations(record: Record) -> Rows:
    """Return every station with the code of its support, by line and distance."""
    return fetched(
        record,
        select(
            Station.id,
            Station.line_id,
            Station.code,
            Station.distance_mm,
            Station.support_id,
            Support.code.label("support"),
            Station.bore,
            Station.added_on,
            Station.removed_on,
        )
        .outerjoin(Support, Support.id == Station.support_id)
        .order_by(Station.line_id, Station.distance_mm, Station.code),
    )


def supports(record: Record) -> Rows:
    """Return every support's geometry, by line and distance."""
    return fetched(
        record,
        select(
            Support.id,
            Support.line_id,
            Support.code,
            Support.distance_mm,
            Support.height_mm,
            Support.saddle,
            Support.vee_angle_deg,
            Support.carries,
            Support.typed,
            Support.base_expansion_per_k,
            Support.adjusts_v,
            Support.adjusts_h,
            Support.v_step_um,
            Support.added_on,
            Support.removed_on,
        ).order_by(Support.line_id, Support.distance_mm, Support.code),
    )


def placements(record: Record) -> Rows:
    """Return what stood on which line from when to when, with the measures of gearboxes and barrels."""
    return fetched(
        record,
        select(
            Placement.line_id,
            Placement.asset_kind,
            Placement.installed_on,
            Placement.removed_on,
            Gearbox.centre_height_mm,
            Gearbox.expansion_per_k.label("gearbox_expansion_per_k"),
            Barrel.bore_mm,
            Barrel.outside_diameter_mm,
            Barrel.length_mm,
            Barrel.expansion_per_k.label("barrel_expansion_per_k"),
        )
        .outerjoin(Gearbox, Gearbox.id == Placement.gearbox_id)
        .outerjoin(Barrel, Barrel.id == Placement.barrel_id)
        .order_by(Placement.line_id, Placement.asset_kind, Placement.installed_on),
    )


def tolerances(record: Record, measure: str = "offset") -> Rows:
    """Return the tolerances of offsets (or slope, or bow) in force or to come, oldest first."""
    return fetched(
        record,
        select(
            Tolerance.line_id,
            Tolerance.station_id,
            Tolerance.axis,
            Tolerance.from_on,
            Tolerance.watch_um,
            Tolerance.limit_um,
            Tolerance.set_within_um,
        )
        .where(Tolerance.withdrawn_at.is_(None), Tolerance.measure == measure)
        .order_by(Tolerance.from_on),
    )


def settings(record: Record) -> Rows:
    """Return every setting, by site and day."""
    return fetched(record, select(Setting.site_id, Setting.name, Setting.value, Setting.from_on))


def outages(record: Record) -> Rows:
    """Return the planned outages in time order: codes of site and line, and the site they are at."""
    line_site = aliased(Site)
    return fetched(
        record,
        select(
            Outage.code,
            Outage.site_id,
            Outage.line_id,
            Site.code.label("site"),
            Line.code.label("line"),
            Outage.kind,
            Outage.starts_at,
            Outage.ends_at,
            Outage.crew_hours,
            func.coalesce(Site.code, line_site.code).label("at_site"),
            func.coalesce(Site.time_zone, line_site.time_zone).label("time_zone"),
        )
        .outerjoin(Site, Site.id == Outage.site_id)
        .outerjoin(Line, Line.id == Outage.line_id)
        .outerjoin(line_site, line_site.id == Line.site_id)
        .where(Outage.state == "planned")
        .order_by(Outage.starts_at, Outage.code),
    )


def events(record: Record, line_id: int | None = None) -> Rows:
    """Return every event of every line (of one line), in time order."""
    statement = (
        select(
            Event.line_id,
            Event.happened_at,
            Event.kind,
            Event.note,
            Event.resets_trend,
            Event.station_id,
            Event.support_id,
        )
        .where(Event.withdrawn_at.is_(None))
        .order_by(Event.happened_at)
    )
    return fetched(record, statement if line_id is None else statement.where(Event.line_id == line_id))


def meters(record: Record) -> Rows:
    """Return every reading of a running-hours meter, those noted at sessions included: line_id, read_at, hours."""
    own = select(Meter.line_id, Meter.read_at, Meter.running_hours).where(Meter.withdrawn_at.is_(None))
    noted = select(VisitSession.line_id, VisitSession.started_at.label("read_at"), VisitSession.running_hours).where(
        counts(), VisitSession.running_hours.is_not(None)
    )
    return [*fetched(record, own), *fetched(record, noted)]


def instruments(record: Record) -> Rows:
    """Return every instrument with its senses and standard uncertainties."""
    return fetched(
        record,
        select(
            Instrument.id,
            Instrument.serial,
            Instrument.resolution_um,
            Instrument.repeatability_um,
            Instrument.target_zero_um,
            Instrument.beam_offset_um,
            Instrument.beam_direction_um_per_m,
            Instrument.wander_um,
            Instrument.sense_v,
            Instrument.sense_h,
        ),
    )


def calibrations(record: Record) -> Rows:
    """Return every calibration, by instrument and day."""
    return fetched(
        record,
        select(Calibration.instrument_id, Calibration.calibrated_on, Calibration.due_on).order_by(
            Calibration.instrument_id, Calibration.calibrated_on
        ),
    )
