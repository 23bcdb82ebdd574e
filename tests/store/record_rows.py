"""A small invented record, as rows to insert: one line with one signed and one draft session."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from fleet.store import (
    AuditEntry,
    Barrel,
    Base,
    CalendarFeed,
    Calibration,
    ColdTarget,
    Draft,
    DraftEntry,
    Event,
    Finding,
    Gearbox,
    Instrument,
    Intake,
    KeptPlan,
    Line,
    LineState,
    Meter,
    Move,
    OffsetEntered,
    Outage,
    Placement,
    PlanChoice,
    PlanItem,
    PlanStop,
    Proposal,
    Reading,
    ReducedOffset,
    Reduction,
    RunningCheck,
    Screw,
    SeriesState,
    SessionCheck,
    SessionSignedView,
    Setting,
    Site,
    Station,
    Support,
    SupportTemperature,
    Survey,
    Tolerance,
    VisitSession,
    Wear,
)
from fleet.store.engine import Store

NOON = datetime(2024, 3, 4, 12, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Ids:
    """Ids of what `fill` put in; `signed` and `draft` map a table to the row of that session."""

    line: int
    station: int
    support: int
    signed: dict[str, int]
    draft: dict[str, int]
    run: dict[str, int]


def add(session: Session, row: Base) -> int:
    session.add(row)
    session.flush()
    number = row.id  # type: ignore[attr-defined]
    assert isinstance(number, int)
    return number


def hang_facts(session: Session, visit: int, station: int, support: int, number: int = 1) -> dict[str, int]:
    """Insert one row of every table that hangs from a session."""
    survey = add(session, Survey(session_id=visit, number=number, phase="as_found", barrel_c=21.0))
    return {
        "survey": survey,
        "bare_survey": add(session, Survey(session_id=visit, number=number + 50, phase="interim")),
        "reading": add(
            session,
            Reading(
                survey_id=survey,
                sequence=1,
                station_id=station,
                v_entered="0.10",
                h_entered="-0.2",
                unit="mm",
                v_um=100.0,
                h_um=-200.0,
                typed='{"sequence":"1"}',
            ),
        ),
        "offset_entered": add(
            session,
            OffsetEntered(
                survey_id=survey,
                station_id=station,
                v_entered="4",
                h_entered="0",
                unit="thou",
                v_um=101.6,
                h_um=0.0,
            ),
        ),
        "support_temperature": add(
            session, SupportTemperature(survey_id=survey, support_id=support, barrel_c=22.0, base_c=20.0)
        ),
        "move": add(
            session,
            Move(
                session_id=visit,
                after_survey_id=survey,
                support_id=support,
                v_entered="100",
                unit="um",
                v_um=100.0,
                how="shims",
            ),
        ),
        "cold_target": add(
            session,
            ColdTarget(
                session_id=visit, station_id=station, v_entered="-205", h_entered="0", unit="um", v_um=-205.0, h_um=0.0
            ),
        ),
        "finding": add(session, Finding(session_id=visit, item=f"soft foot {number}", value="0.120", unit="mm")),
        "session_check": add(
            session,
            SessionCheck(
                session_id=visit,
                survey_number=number,
                check="sign_turned",
                evidence="h at S1 does not fit",
                settled="kept",
                accepted_by="kim",
                why="read twice",
            ),
        ),
        "session_signed_view": add(session, SessionSignedView(session_id=visit, shown="{}")),
    }


def hang_plan(session: Session, *, line: int, outage: int, day: date) -> None:
    """Insert a kept plan that takes the line into the outage."""
    plan = add(
        session,
        KeptPlan(
            code="PLAN-KEPT", as_of=day, end_on=date(2025, 3, 4), cap=0.2, cap_asked=False, ahead_months=12,
            data_version=1, days_over=4.0, days_if_none=60.0, weighted_days_over=4.0, cost_days=1.0, over_cap=0,
            over_cap_bound=0, bound=5.0, gap=0.0, seconds=5.0, solved_at=NOON, dropped="", lines_in_store=1,
            outages_in_store=1, made_by="kim", made_at=NOON,
        ),
    )  # fmt: skip
    stop = add(
        session,
        PlanStop(
            plan_id=plan, outage_id=outage, position=0, starts_at=NOON, whole_days=False, screw_out=False,
            hours_used=8.0, state="planned", notes="",
        ),
    )  # fmt: skip
    item = add(
        session,
        PlanItem(
            plan_id=plan, line_id=line, position=0, outage_id=outage, status="within", weight=1.0, visit_hours=8.0,
            hours_from="assumed", visit_cost_days=1.0, reason="saves_days", hours_missing=0.0, above_cap=False,
            needs="",
        ),
    )  # fmt: skip
    add(session, PlanChoice(plan_item_id=item, plan_stop_id=stop, closed="open", window_h=8.0, kept_out=False))


def fill(store: Store) -> Ids:
    """Put one row or more into every table of facts; one session is signed, one a draft."""
    with store.write() as session:
        site = add(session, Site(code="NM", name="Northmere works (invented)", time_zone="Europe/London"))
        line = add(session, Line(code="A01", site_id=site, foundation="frame"))
        gearbox = add(session, Gearbox(serial="G-A01", centre_height_mm=700.0))
        barrel = add(session, Barrel(serial="B-A01", bore_mm=120.0))
        screw = add(session, Screw(serial="S-A01"))
        for kind, asset in (("gearbox", gearbox), ("barrel", barrel), ("screw", screw)):
            add(
                session,
                Placement(line_id=line, asset_kind=kind, installed_on=date(2017, 12, 10), **{f"{kind}_id": asset}),
            )
        support = add(session, Support(line_id=line, code="U1", distance_mm=2030.0, saddle="vee", vee_angle_deg=90.0))
        station = add(session, Station(line_id=line, code="S1", distance_mm=2030.0, support_id=support))
        instrument = add(session, Instrument(serial="I-04", sense_v="bore_from_beam", sense_h="beam_from_bore"))
        add(session, Calibration(instrument_id=instrument, calibrated_on=date(2024, 1, 2)))
        add(session, Setting(name="cap", value="0.2"))
        outage = add(session, Outage(code="NM-2024-03", site_id=site, starts_at=NOON))
        intake = add(
            session, Intake(file_name="mill.xlsx", sha256="0" * 64, taken_at=NOON, taken_by="kim", rows_taken=9)
        )
        add(session, AuditEntry(at=NOON, who="kim", what="took in mill.xlsx"))
        run = {
            "running_check": add(
                session,
                RunningCheck(
                    line_id=line, checked_at=NOON, station_id=station, v_rise_entered="289", unit="um", v_rise_um=289.0
                ),
            ),
            "meter": add(session, Meter(line_id=line, read_at=NOON, running_hours=20388.0)),
            "tolerance": add(session, Tolerance(line_id=line, axis="v", limit_um=200.0)),
            "event": add(session, Event(line_id=line, happened_at=NOON, kind="struck")),
            "wear": add(
                session,
                Wear(
                    asset_kind="barrel",
                    barrel_id=barrel,
                    measured_at=NOON,
                    distance_mm=400.0,
                    diameter_v_entered="120.01",
                    unit="mm",
                    diameter_v_um=120010.0,
                ),
            ),
            "support_temperature": add(
                session, SupportTemperature(line_id=line, checked_at=NOON, support_id=support, barrel_c=190.0)
            ),
        }
        visit = VisitSession(
            code="A01-01", line_id=line, started_at=NOON, outage_id=outage, instrument_id=instrument, intake_id=intake
        )
        signed = {"session": add(session, visit)}
        signed |= hang_facts(session, signed["session"], station, support)
        visit.state, visit.signed_by, visit.signed_at = "signed", "kim", NOON
        proposal = Proposal(
            line_id=line, station_id=station, axis="v", kind="regime_change", after_session_id=signed["session"],
            evidence=4.0, said="goes lower by more", decision="refused", decided_by="kim", decided_at=NOON,
            why="known",
        )  # fmt: skip
        run["proposal"] = add(session, proposal)
        draft = {"session": add(session, VisitSession(code="A01-02", line_id=line, started_at=NOON))}
        draft |= hang_facts(session, draft["session"], station, support)
        recorded = Draft(client_key="key", line_id=line, created_by="kim", created_at=NOON, updated_at=NOON)
        number = add(session, recorded)
        add(
            session,
            DraftEntry(draft_id=number, field="unit", value="mm", typed_at=NOON, device="phone", sequence=1),
        )
        survey = signed["survey"]
        add(session, Reduction(survey_id=survey, method_version="1"))
        add(
            session,
            ReducedOffset(
                survey_id=survey,
                station_id=station,
                v_um=100.0,
                h_um=-200.0,
                u_v_um=9.0,
                u_h_um=9.0,
                setup_v_um2=4.0,
                setup_h_um2=4.0,
                v_cold_um=100.0,
                h_cold_um=-200.0,
                u_v_cold_um=9.0,
                u_h_cold_um=9.0,
                method="single pass",
            ),
        )
        day = date(2024, 3, 4)
        add(
            session,
            SeriesState(line_id=line, station_id=station, axis="v", data_version=1, site_day=day, status="within"),
        )
        add(session, LineState(line_id=line, data_version=1, site_day=day, urgency=3.0, status="within"))
        hang_plan(session, line=line, outage=outage, day=day)
        add(session, CalendarFeed(name="office", token_sha256="0" * 64, created_by="J. Quillam", created_at=NOON))
    return Ids(line=line, station=station, support=support, signed=signed, draft=draft, run=run)
