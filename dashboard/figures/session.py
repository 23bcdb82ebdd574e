"""The profile of one visit, drawn as on the Line page, with the band of the visit's own day."""

from __future__ import annotations

from dashboard.figures.frame import Figure
from dashboard.figures.profile import profile
from fleet.reports.session_content import SessionRecord, SessionSurvey
from fleet.services.line_page import LineView, StationNow, SupportView, SurveyPoint, SurveyView
from fleet.words import ReaderUnit


def drawn_surveys(record: SessionRecord) -> tuple[SessionSurvey, ...]:
    """Return the newest as-found and the newest as-left; without either, the first cold survey."""
    cold = [survey for survey in record.surveys if survey.phase != "hot" and survey.offsets]
    chosen = [survey for phase in ("as_found", "as_left") for survey in [s for s in cold if s.phase == phase][-1:]]
    return tuple(chosen or cold[:1])


def session_figure(record: SessionRecord, unit: ReaderUnit, *, phone: bool = False) -> Figure:
    """Draw the visit's surveys in the band around the cold target of its day, in elevation and in plan.

    Parameters
    ----------
    record
        The visit; it has a cold survey.
    unit
        The reader's unit.
    phone
        The narrower figure.
    """
    surveys = [_survey(record, survey) for survey in drawn_surveys(record)]
    first, second = (surveys[0], surveys[-1]) if len(surveys) > 1 else (None, surveys[0])
    return profile(_view(record), first, second, unit, phone=phone)


def _survey(record: SessionRecord, survey: SessionSurvey) -> SurveyView:
    return SurveyView(
        key=f"{record.session}/{survey.number}",
        session=record.session,
        number=survey.number,
        phase=survey.phase,
        on=survey.measured_at,
        points=tuple(SurveyPoint(o.station, o.distance_mm, *o.cold_um, *o.u95_cold_um) for o in survey.offsets),
    )


def _view(record: SessionRecord) -> LineView:
    """Return the line as it stood at the visit, with nothing expected: only what was measured is drawn."""
    places = {offset.station: offset for survey in drawn_surveys(record) for offset in survey.offsets}
    nothing = (None, None)
    stations = tuple(
        StationNow(
            station=place.station,
            distance_mm=place.distance_mm,
            support=place.support,
            position_um=nothing,
            u95_position_um=nothing,
            target_um=place.target_um,
            deviation_um=nothing,
            watch_um=place.watch_um,
            limit_um=place.limit_um,
            status=("no record", "no record"),
        )
        for place in sorted(places.values(), key=lambda place: place.distance_mm)
    )
    on = record.started_at.date()
    return LineView(
        line=record.line,
        site=record.site,
        site_name=record.site_name,
        description=record.description,
        screw_diameter_mm=None,
        barrel_outside_diameter_mm=None,
        barrel_length_mm=record.barrel_length_mm,
        feed_section_mm=record.feed_section_mm,
        foundation=None,
        cold_reference_c=record.cold_reference_c,
        right_hand_side=record.right_hand_side,
        commissioned_on=None,
        status="no record",
        why=None,
        worst_station=None,
        worst_axis=None,
        supports=tuple(SupportView(support.code, support.distance_mm) for support in record.supports),
        stations=stations,
        surveys=(),
        history=None,
        drift=(),
        sessions=(),
        outages=(),
        remarks=(),
        as_of=on,
        horizon=on,
        zone=record.zone,
    )
