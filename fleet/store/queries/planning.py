"""What a plan asks of past visits: crew hours, what they found, by what they were measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import exists, func, or_, select

from fleet.store.plan_tables import KeptPlan, PlanChoice, PlanItem, PlanStop
from fleet.store.plant import Instrument, Line, Site, Support
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.visits import Finding, Survey, VisitSession

_AT_ONCE: Final = 500
CREW_HOURS: Final = "crew hours"
"""Item of the finding that says how many crew hours a visit took, in h; capitals do not matter."""


def crew_hours(record: Record) -> Rows:
    """Return what the visits that count say of their crew hours, as written, by line and time.

    `set_to` tells whether the visit has an as-left survey: one that was broken off says little of what a visit takes.
    """
    set_to = exists().where(Survey.session_id == VisitSession.id, Survey.phase == "as_left")
    return fetched(
        record,
        select(
            VisitSession.line_id,
            VisitSession.id.label("session_id"),
            VisitSession.started_at,
            Finding.value,
            Finding.unit,
            set_to.label("set_to"),
        )
        .join(VisitSession, VisitSession.id == Finding.session_id)
        .where(counts(), Finding.withdrawn_at.is_(None), func.lower(func.trim(Finding.item)) == CREW_HOURS)
        .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code),
    )


def cold_surveys_of(record: Record, line_ids: Sequence[int]) -> Rows:
    """Return the cold surveys of the visits of some lines that count, by line and time.

    Each with its session, the outage that names, and the instrument it was taken with.
    """
    rows: list[Any] = []
    for start in range(0, len(line_ids), _AT_ONCE):
        rows += fetched(
            record,
            select(
                VisitSession.line_id,
                VisitSession.id.label("session_id"),
                VisitSession.code.label("session"),
                VisitSession.started_at,
                VisitSession.outage_id,
                Survey.id.label("survey_id"),
                Survey.number,
                Survey.phase,
                Instrument.id.label("instrument_id"),
                Instrument.serial.label("instrument"),
            )
            .join(Survey, Survey.session_id == VisitSession.id)
            .outerjoin(Instrument, Instrument.id == func.coalesce(Survey.instrument_id, VisitSession.instrument_id))
            .where(
                counts(),
                VisitSession.line_id.in_(line_ids[start : start + _AT_ONCE]),
                Survey.phase.in_(("as_found", "interim", "as_left")),
            )
            .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code, Survey.number),
        )
    return rows


def findings_of_lines(record: Record, line_ids: Sequence[int]) -> Rows:
    """Return what was found beside the alignment at the visits of some lines that count, by line and time."""
    rows: list[Any] = []
    for start in range(0, len(line_ids), _AT_ONCE):
        rows += fetched(
            record,
            select(
                VisitSession.line_id, VisitSession.started_at, Finding.item, Finding.value, Finding.unit, Finding.note
            )
            .join(VisitSession, VisitSession.id == Finding.session_id)
            .where(
                counts(),
                Finding.withdrawn_at.is_(None),
                VisitSession.line_id.in_(line_ids[start : start + _AT_ONCE]),
            )
            .order_by(VisitSession.line_id, VisitSession.started_at, VisitSession.code, Finding.item),
        )
    return rows


def stepped_supports(record: Record, line_ids: Sequence[int]) -> Rows:
    """Return the supports of some lines that go up in steps, by line and distance, with the days they stood."""
    rows: list[Any] = []
    for start in range(0, len(line_ids), _AT_ONCE):
        rows += fetched(
            record,
            select(Support.line_id, Support.code, Support.added_on, Support.removed_on)
            .where(
                Support.line_id.in_(line_ids[start : start + _AT_ONCE]),
                Support.v_step_um > 0.0,
                or_(Support.adjusts_v.is_(None), Support.adjusts_v.is_(True)),
            )
            .order_by(Support.line_id, Support.distance_mm, Support.code),
        )
    return rows


def plans_to_judge(record: Record, code: str | None = None) -> Rows:
    """Return the kept plan of a code, or (None) every plan that is signed off, oldest first."""
    which = KeptPlan.state == "signed_off" if code is None else KeptPlan.code == code
    return fetched(
        record,
        select(KeptPlan.id, KeptPlan.code, KeptPlan.state, KeptPlan.as_of, KeptPlan.signed_at)
        .where(which)
        .order_by(KeptPlan.signed_at, KeptPlan.id),
    )


def planned_visits(record: Record, plan_ids: Sequence[int]) -> Rows:
    """Return where some plans take every one of their lines (`outage_id` None: nowhere), and the crew hours of that."""
    return fetched(
        record,
        select(
            PlanItem.plan_id,
            PlanItem.line_id,
            Line.code.label("line"),
            Site.code.label("site"),
            PlanItem.outage_id,
            PlanItem.visit_hours,
        )
        .join(Line, Line.id == PlanItem.line_id)
        .outerjoin(Site, Site.id == Line.site_id)
        .where(PlanItem.plan_id.in_(plan_ids))
        .order_by(PlanItem.plan_id, PlanItem.position),
    )


def planned_stops(record: Record, plan_ids: Sequence[int]) -> Rows:
    """Return the outages that some plans considered, in their order."""
    return fetched(
        record,
        select(PlanStop.plan_id, PlanStop.outage_id)
        .where(PlanStop.plan_id.in_(plan_ids), PlanStop.aside.is_(None))
        .order_by(PlanStop.plan_id, PlanStop.position),
    )


def chances_stated(record: Record, plan_ids: Sequence[int], outage_ids: Sequence[int]) -> Rows:
    """Return the chances of being over before some outages that some plans stated of their lines."""
    return fetched(
        record,
        select(PlanItem.plan_id, PlanItem.line_id, PlanStop.outage_id, PlanChoice.chance_before)
        .join(PlanItem, PlanItem.id == PlanChoice.plan_item_id)
        .join(PlanStop, PlanStop.id == PlanChoice.plan_stop_id)
        .where(
            PlanItem.plan_id.in_(plan_ids),
            PlanStop.outage_id.in_(outage_ids),
            PlanStop.aside.is_(None),
            PlanChoice.chance_before.is_not(None),
        ),
    )
