"""What pages and lists show: reduced surveys, a line's visits, the fleet sorted, filtered and paged in SQL."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, and_, exists, func, select, true
from sqlalchemy.orm import aliased

from fleet.store.derived import LineState, ReducedOffset, Reduction, SeriesState, StoreState
from fleet.store.plant import Instrument, Line, Site, Station, Support
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.visits import (
    Reading,
    Survey,
    VisitSession,
)


def reduced_surveys(record: Record, line: str | None = None, session: str | None = None) -> Rows:
    """Return reduced offsets with their survey, session, line and station, in the order people read them.

    A session that was asked for by its code is shown even where a correction has replaced it.
    """
    statement = (
        select(
            VisitSession.code.label("session"),
            VisitSession.started_at,
            Survey.id.label("survey_id"),
            Survey.number,
            Survey.phase,
            func.coalesce(Survey.measured_at, VisitSession.started_at).label("measured_at"),
            Line.code.label("line"),
            Station.code.label("station"),
            Station.distance_mm,
            Support.code.label("support"),
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
            ReducedOffset.setup_v_um2,
            ReducedOffset.setup_h_um2,
            ReducedOffset.method,
            Reduction.remarks,
            Reduction.budget,
        )
        .join(Survey, Survey.id == ReducedOffset.survey_id)
        .join(Reduction, Reduction.survey_id == Survey.id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .join(Line, Line.id == VisitSession.line_id)
        .join(Station, Station.id == ReducedOffset.station_id)
        .outerjoin(Support, Support.id == Station.support_id)
        .where(counts() if session is None else VisitSession.state == "signed")
        .order_by(
            Line.code, VisitSession.started_at, VisitSession.code, Survey.number, Station.distance_mm, Station.code
        )
    )
    if line is not None:
        statement = statement.where(Line.code == line)
    if session is not None:
        statement = statement.where(VisitSession.code == session)
    return fetched(record, statement)


def session_exists(record: Record, code: str) -> bool:
    """Return whether a signed session has this code."""
    return bool(
        record.execute(select(exists().where(VisitSession.code == code, VisitSession.state == "signed"))).scalar_one()
    )


def visits_of_line(record: Record, line_id: int) -> Rows:
    """Return every signed session of a line, replaced ones too, newest first, for its list of visits."""
    corrected = aliased(VisitSession)
    correction = aliased(VisitSession)
    return fetched(
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


def surveys_of_line(record: Record, line_id: int) -> Rows:
    """Return the surveys of a line's signed sessions with how many readings and rolls each has."""
    return fetched(
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
        # By the state's own column, so that the index of sites in order of urgency serves.
        wanted.append(LineState.site_id == select(Site.id).where(Site.code == site).scalar_subquery())
    if status is not None:
        wanted.append(LineState.status == status)
    if foundation is not None:
        wanted.append(LineState.foundation == foundation)
    if screw_diameter_mm is not None:
        wanted.append(LineState.screw_diameter_mm == screw_diameter_mm)
    return wanted


def fleet_page(record: Record, conditions: Sequence[ColumnElement[bool]], *, limit: int | None, offset: int) -> Rows:
    """Return one page of the fleet, most urgent first, with every line's worst series; one query.

    The page is found in the index of urgency alone; what it shows is looked up for its rows only.
    """
    chosen = select(LineState.id).where(*conditions).order_by(LineState.urgency, LineState.line_id).offset(offset)
    page = (chosen if limit is None else chosen.limit(limit)).subquery()
    statement = (
        select(
            Line.code.label("line"),
            LineState.site_id,
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
            LineState.evidence,
            Site.time_zone,
        )
        .join(page, page.c.id == LineState.id)
        .join(Line, Line.id == LineState.line_id)
        .outerjoin(Site, Site.id == LineState.site_id)
        .outerjoin(Station, Station.id == LineState.station_id)
        .outerjoin(
            SeriesState,
            and_(
                SeriesState.line_id == LineState.line_id,
                SeriesState.station_id == LineState.station_id,
                SeriesState.axis == LineState.axis,
            ),
        )
        .order_by(LineState.urgency, LineState.line_id)
    )
    return fetched(record, statement)


def kept_evidence(record: Record, line_id: int) -> str | None:
    """Return what stands behind a line's status, as it was kept with its state; None where nothing can be said."""
    return record.scalar(select(LineState.evidence).where(LineState.line_id == line_id))


def fleet_facets(record: Record) -> Rows:
    """Return how many lines there are per site, status, foundation, screw size, and version and day of their state.

    One query serves the filters, the counts, and the question whether the derived states are up to date. Every row
    carries the version of the facts and how many lines they know; without any state there is one row, `n` none.
    """
    keys = (
        LineState.site_id,
        LineState.status,
        LineState.foundation,
        LineState.screw_diameter_mm,
        LineState.site_day,
        LineState.data_version.label("state_version"),
    )
    # Counted before anything is joined: ten thousand lines fall into some dozens of groups.
    groups = select(*keys, func.count().label("n")).group_by(*keys).subquery()
    lines = select(func.count(Line.id)).scalar_subquery()
    return fetched(
        record,
        select(
            groups,
            Site.code.label("site"),
            Site.name.label("site_name"),
            Site.time_zone,
            StoreState.data_version,
            lines.label("lines"),
        )
        .select_from(StoreState)
        .outerjoin(groups, true())
        .outerjoin(Site, Site.id == groups.c.site_id),
    )
