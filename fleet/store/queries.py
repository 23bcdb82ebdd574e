"""Reading the record: columns for the calculations and the pages, never whole objects.

Every function takes an open session of `Store.read()` and returns plain rows. What counts as the record is decided
here once: signed sessions that no signed correction replaces, and facts that were not withdrawn.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, and_, exists, func, or_, select, true
from sqlalchemy.orm import Session, aliased

from fleet.store.derived import LineState, ReducedOffset, Reduction, SeriesState, StoreState
from fleet.store.planning import Outage
from fleet.store.plant import Barrel, Gearbox, Instrument, Line, Placement, Setting, Site, Station, Support, Tolerance
from fleet.store.running import Event, Meter, RunningCheck
from fleet.store.visits import (
    ColdTarget,
    Move,
    OffsetEntered,
    Reading,
    SupportTemperature,
    Survey,
    VisitSession,
)

Rows = Sequence[Row[*tuple[Any, ...]]]
Record = Session
"""What `Store.read()` gives: one state of the record, seen throughout."""

_Correction = aliased(VisitSession)


def counts() -> ColumnElement[bool]:
    """Return the condition that a session counts: signed, and not replaced by a signed correction."""
    replaced = exists().where(_Correction.corrects_id == VisitSession.id, _Correction.state == "signed")
    return and_(VisitSession.state == "signed", ~replaced)


def _all(record: Session, statement: Select[*tuple[Any, ...]]) -> Rows:
    return record.execute(statement).all()


def time_zones(record: Session) -> tuple[str | None, ...]:
    """Return the time zones lines stand in, None for lines whose site has none."""
    zones = select(Site.time_zone).select_from(Line).outerjoin(Site, Site.id == Line.site_id).distinct()
    return tuple(sorted(record.execute(zones).scalars(), key=str))


def lines(record: Session) -> Rows:
    """Return every line with its site, by code."""
    return _all(
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


def line_codes(record: Session) -> tuple[str, ...]:
    """Return the codes of all lines, in order."""
    return tuple(record.execute(select(Line.code).order_by(Line.code)).scalars())


def stations(record: Session) -> Rows:
    """Return every station with the code of its support, by line and distance."""
    return _all(
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


def supports(record: Session) -> Rows:
    """Return every support's geometry, by line and distance."""
    return _all(
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
            Support.added_on,
            Support.removed_on,
        ).order_by(Support.line_id, Support.distance_mm, Support.code),
    )


def placements(record: Session) -> Rows:
    """Return what stood on which line from when to when, with the measures of gearboxes and barrels."""
    return _all(
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


def tolerances(record: Session) -> Rows:
    """Return the tolerances of offsets in force or to come, oldest first."""
    return _all(
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
        .where(Tolerance.withdrawn_at.is_(None), Tolerance.measure == "offset")
        .order_by(Tolerance.from_on),
    )


def settings(record: Session) -> Rows:
    """Return every setting, by site and day."""
    return _all(record, select(Setting.site_id, Setting.name, Setting.value, Setting.from_on))


def outages(record: Session) -> Rows:
    """Return the planned outages in time order: codes of site and line, and the site they are at."""
    line_site = aliased(Site)
    return _all(
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


def events(record: Session) -> Rows:
    """Return every event of every line, in time order."""
    return _all(
        record,
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
        .order_by(Event.happened_at),
    )


def meters(record: Session) -> Rows:
    """Return every reading of a running-hours meter, those noted at sessions included: line_id, read_at, hours."""
    own = select(Meter.line_id, Meter.read_at, Meter.running_hours).where(Meter.withdrawn_at.is_(None))
    noted = select(VisitSession.line_id, VisitSession.started_at.label("read_at"), VisitSession.running_hours).where(
        counts(), VisitSession.running_hours.is_not(None)
    )
    return [*_all(record, own), *_all(record, noted)]


def sessions(record: Session) -> Rows:
    """Return the sessions that count, by line and time."""
    return _all(
        record,
        select(VisitSession.id, VisitSession.code, VisitSession.line_id, VisitSession.started_at)
        .where(counts())
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code),
    )


def moves(record: Session) -> Rows:
    """Return what was moved in the sessions that count: session_id, number of the survey before, v, h."""
    return _all(
        record,
        select(Move.session_id, Survey.number, Move.v_um, Move.h_um)
        .join(VisitSession, VisitSession.id == Move.session_id)
        .outerjoin(Survey, Survey.id == Move.after_survey_id)
        .where(counts()),
    )


def cold_offsets(record: Session, phases: Collection[str] = ("as_found", "interim", "as_left")) -> Rows:
    """Return reduced offsets at the cold reference of the sessions that count, one row per survey and station."""
    return _all(
        record,
        select(
            Survey.session_id,
            Survey.number,
            Survey.phase,
            Survey.measured_at,
            ReducedOffset.station_id,
            ReducedOffset.v_cold_um,
            ReducedOffset.h_cold_um,
            ReducedOffset.u_v_cold_um,
            ReducedOffset.u_h_cold_um,
            ReducedOffset.setup_v_um2,
            ReducedOffset.setup_h_um2,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts(), Survey.phase.in_(tuple(phases))),
    )


def hot_offsets(record: Session) -> Rows:
    """Return the offsets of hot surveys as surveyed, one row per survey and station."""
    return _all(
        record,
        select(
            VisitSession.line_id,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            Survey.id.label("survey_id"),
            Survey.barrel_c,
            Survey.gearbox_c,
            Survey.gearbox_c_at,
            Survey.base_c,
            ReducedOffset.station_id,
            ReducedOffset.v_um,
            ReducedOffset.h_um,
            ReducedOffset.u_v_um,
            ReducedOffset.u_h_um,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts(), Survey.phase == "hot")
        .order_by(VisitSession.line_id, VisitSession.started_at, Survey.number),
    )


def cold_targets(record: Session) -> Rows:
    """Return the cold targets of the sessions that count, oldest first: station_id, started_at, v, h, basis, reason."""
    return _all(
        record,
        select(
            ColdTarget.station_id,
            VisitSession.line_id,
            VisitSession.started_at,
            ColdTarget.v_um,
            ColdTarget.h_um,
            ColdTarget.basis,
            ColdTarget.reason,
        )
        .join(VisitSession, VisitSession.id == ColdTarget.session_id)
        .where(counts())
        .order_by(VisitSession.started_at, VisitSession.code),
    )


def running_checks(record: Session) -> Rows:
    """Return every running check, by line and time."""
    return _all(
        record,
        select(
            RunningCheck.line_id,
            RunningCheck.checked_at,
            RunningCheck.station_id,
            RunningCheck.v_rise_um,
            RunningCheck.h_rise_um,
            RunningCheck.u_um,
            RunningCheck.relative_to,
            RunningCheck.gearbox_rise_um,
            RunningCheck.barrel_c,
            RunningCheck.gearbox_c,
            RunningCheck.gearbox_c_at,
            RunningCheck.base_c,
            RunningCheck.zero_barrel_c,
            RunningCheck.zero_gearbox_c,
            RunningCheck.zero_base_c,
            RunningCheck.hours_since_heats_on,
            RunningCheck.screw,
            RunningCheck.die,
            RunningCheck.method,
        )
        .where(RunningCheck.withdrawn_at.is_(None))
        .order_by(RunningCheck.line_id, RunningCheck.checked_at, RunningCheck.station_id),
    )


def support_temperatures(record: Session) -> Rows:
    """Return the supports' own temperatures, at surveys and at running checks."""
    return _all(
        record,
        select(
            SupportTemperature.survey_id,
            SupportTemperature.line_id,
            SupportTemperature.checked_at,
            Support.code.label("support"),
            SupportTemperature.barrel_c,
            SupportTemperature.base_c,
        )
        .join(Support, Support.id == SupportTemperature.support_id)
        .where(SupportTemperature.withdrawn_at.is_(None)),
    )


def surveys_to_reduce(record: Session) -> Rows:
    """Return every signed survey with what reducing it needs and the version its reduction stands at, by id."""
    return _all(
        record,
        select(
            Survey.id,
            VisitSession.line_id,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            func.coalesce(Survey.instrument_id, VisitSession.instrument_id).label("instrument_id"),
            Survey.barrel_c,
            Survey.gearbox_c,
            Survey.gearbox_c_at,
            Survey.base_c,
            Survey.gearbox_level_um_per_m,
            Reduction.method_version,
        )
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .outerjoin(Reduction, Reduction.survey_id == Survey.id)
        .where(VisitSession.state == "signed")
        .order_by(Survey.id),
    )


def lines_without_uncertainty(record: Session) -> frozenset[int]:
    """Return the ids of lines that hold an entered offset without its uncertainty."""
    return frozenset(
        record.execute(
            select(VisitSession.line_id)
            .join(Survey, Survey.session_id == VisitSession.id)
            .join(OffsetEntered, OffsetEntered.survey_id == Survey.id)
            .where(or_(OffsetEntered.u_v_um.is_(None), OffsetEntered.u_h_um.is_(None)))
            .distinct()
        ).scalars()
    )


def readings(record: Session, first_survey_id: int, last_survey_id: int) -> Rows:
    """Return the readings of a range of surveys, by survey and sequence."""
    return _all(
        record,
        select(
            Reading.survey_id,
            Reading.sequence,
            Reading.station_id,
            Reading.beam_state,
            Reading.beam_roll_deg,
            Reading.target_roll_deg,
            Reading.v_um,
            Reading.h_um,
        )
        .where(Reading.survey_id.between(first_survey_id, last_survey_id))
        .order_by(Reading.survey_id, Reading.sequence),
    )


def entered_offsets(record: Session, first_survey_id: int, last_survey_id: int) -> Rows:
    """Return the entered offsets of a range of surveys."""
    return _all(
        record,
        select(
            OffsetEntered.survey_id,
            OffsetEntered.station_id,
            OffsetEntered.v_um,
            OffsetEntered.h_um,
            OffsetEntered.u_v_um,
            OffsetEntered.u_h_um,
        )
        .where(OffsetEntered.survey_id.between(first_survey_id, last_survey_id))
        .order_by(OffsetEntered.survey_id, OffsetEntered.station_id),
    )


def entered_uncertainties(record: Session) -> tuple[list[float], list[float]]:
    """Return all entered standard uncertainties of v and of h, for where a record gives none. [um]"""
    rows = _all(
        record,
        select(OffsetEntered.u_v_um, OffsetEntered.u_h_um)
        .join(Survey, Survey.id == OffsetEntered.survey_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(counts()),
    )
    return [row[0] for row in rows if row[0] is not None], [row[1] for row in rows if row[1] is not None]


def instruments(record: Session) -> Rows:
    """Return every instrument with its senses and standard uncertainties."""
    return _all(
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


def reduced_surveys(record: Session, line: str | None = None, session: str | None = None) -> Rows:
    """Return reduced offsets with their survey, session, line and station, in the order people read them.

    A session that was asked for by its code is shown even where a correction has replaced it.
    """
    statement = (
        select(
            VisitSession.code.label("session"),
            VisitSession.started_at,
            Survey.number,
            Survey.phase,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            Line.code.label("line"),
            Station.code.label("station"),
            Station.distance_mm,
            ReducedOffset.v_um,
            ReducedOffset.h_um,
            ReducedOffset.u_v_um,
            ReducedOffset.u_h_um,
            ReducedOffset.dof_v,
            ReducedOffset.dof_h,
            ReducedOffset.v_cold_um,
            ReducedOffset.h_cold_um,
            ReducedOffset.u_v_cold_um,
            ReducedOffset.u_h_cold_um,
            ReducedOffset.method,
            Reduction.remarks,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(Reduction, Reduction.survey_id == Survey.id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .join(Line, Line.id == VisitSession.line_id)
        .join(Station, Station.id == ReducedOffset.station_id)
        .where(counts() if session is None else VisitSession.state == "signed")
        .order_by(
            Line.code, VisitSession.started_at, VisitSession.code, Survey.number, Station.distance_mm, Station.code
        )
    )
    if line is not None:
        statement = statement.where(Line.code == line)
    if session is not None:
        statement = statement.where(VisitSession.code == session)
    return _all(record, statement)


def session_exists(record: Session, code: str) -> bool:
    """Return whether a signed session has this code."""
    return bool(
        record.execute(select(exists().where(VisitSession.code == code, VisitSession.state == "signed"))).scalar_one()
    )


def visits_of_line(record: Session, line_id: int) -> Rows:
    """Return every signed session of a line, replaced ones too, newest first, for its list of visits."""
    corrected = aliased(VisitSession)
    correction = aliased(VisitSession)
    return _all(
        record,
        select(
            VisitSession.id,
            VisitSession.code,
            VisitSession.started_at,
            VisitSession.technician,
            Instrument.serial.label("instrument"),
            VisitSession.signed_at,
            VisitSession.signed_by,
            VisitSession.remarks,
            VisitSession.correction_reason,
            corrected.code.label("corrects"),
            correction.code.label("corrected_by"),
        )
        .outerjoin(Instrument, Instrument.id == VisitSession.instrument_id)
        .outerjoin(corrected, corrected.id == VisitSession.corrects_id)
        .outerjoin(correction, and_(correction.corrects_id == VisitSession.id, correction.state == "signed"))
        .where(VisitSession.line_id == line_id, VisitSession.state == "signed")
        .order_by(VisitSession.started_at.desc(), VisitSession.code.desc()),
    )


def surveys_of_line(record: Session, line_id: int) -> Rows:
    """Return the surveys of a line's signed sessions with how many readings and rolls each has."""
    return _all(
        record,
        select(
            Survey.id,
            Survey.session_id,
            Survey.number,
            Survey.phase,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            Survey.barrel_c,
            Survey.gearbox_c,
            func.count(Reading.id).label("n_readings"),
            func.count(Reading.beam_roll_deg.distinct()).label("n_beam_rolls"),
            func.count(Reading.target_roll_deg.distinct()).label("n_target_rolls"),
            func.count(Reading.station_id.distinct()).label("n_stations"),
        )
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .outerjoin(Reading, Reading.survey_id == Survey.id)
        .where(VisitSession.line_id == line_id, VisitSession.state == "signed")
        .group_by(
            Survey.id,
            Survey.session_id,
            Survey.number,
            Survey.phase,
            Survey.measured_at,
            VisitSession.started_at,
            Survey.barrel_c,
            Survey.gearbox_c,
        )
        .order_by(Survey.session_id, Survey.number),
    )


def fleet_conditions(
    *,
    site: str | None = None,
    status: str | None = None,
    foundation: str | None = None,
    screw_diameter_mm: float | None = None,
) -> list[ColumnElement[bool]]:
    """Return the conditions of the Fleet page's filters; None means all."""
    wanted: list[ColumnElement[bool]] = []
    if site is not None:
        wanted.append(Site.code == site)
    if status is not None:
        wanted.append(LineState.status == status)
    if foundation is not None:
        wanted.append(LineState.foundation == foundation)
    if screw_diameter_mm is not None:
        wanted.append(LineState.screw_diameter_mm == screw_diameter_mm)
    return wanted


def fleet_page(record: Session, conditions: Sequence[ColumnElement[bool]], *, limit: int | None, offset: int) -> Rows:
    """Return one page of the fleet, most urgent first, with every line's worst series; one query."""
    statement = (
        select(
            Line.code.label("line"),
            Site.code.label("site"),
            Site.name.label("site_name"),
            Line.description,
            Line.screw_diameter_mm,
            Line.foundation,
            Line.right_hand_side,
            Line.commissioned_on,
            LineState.status,
            LineState.site_day,
            LineState.last_visit_at,
            LineState.next_outage,
            Station.code.label("station"),
            LineState.axis,
            SeriesState.deviation_um,
            SeriesState.u95_deviation_um,
            SeriesState.measured_deviation_um,
            SeriesState.last_measured_at,
            SeriesState.watch_um,
            SeriesState.limit_um,
            SeriesState.chance_before_next_outage,
            SeriesState.following_outage,
            SeriesState.chance_before_following_outage,
            LineState.over_p10,
            LineState.over_p50,
            LineState.over_p90,
            Site.time_zone,
        )
        .join(Line, Line.id == LineState.line_id)
        .outerjoin(Site, Site.id == LineState.site_id)
        .outerjoin(Station, Station.id == LineState.station_id)
        .outerjoin(
            SeriesState,
            and_(SeriesState.station_id == LineState.station_id, SeriesState.axis == LineState.axis),
        )
        .where(*conditions)
        .order_by(LineState.urgency, Line.code)
        .offset(offset)
    )
    return _all(record, statement if limit is None else statement.limit(limit))


def fleet_facets(record: Session) -> Rows:
    """Return how many lines there are per site, status, foundation, screw size, and version and day of their state.

    One query serves the filters, the counts, and the question whether the derived states are up to date.
    """
    keys = (
        Site.code.label("site"),
        Site.name.label("site_name"),
        Site.time_zone,
        LineState.status,
        LineState.foundation,
        LineState.screw_diameter_mm,
        LineState.site_day,
        LineState.data_version.label("state_version"),
        StoreState.data_version,
    )
    return _all(
        record,
        select(*keys, func.count(Line.id).label("n"))
        .select_from(StoreState)
        .join(Line, true())
        .outerjoin(LineState, LineState.line_id == Line.id)
        .outerjoin(Site, Site.id == Line.site_id)
        .group_by(*keys),
    )
