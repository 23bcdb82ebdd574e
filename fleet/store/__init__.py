"""The record itself: tables, engine, migrations, freezing and audit; the only place with SQL.

`plant`, `visits`, `running` and `planning` hold the facts, `plans` what a planner kept, `feeds` the calendars that may
fetch it, `proof` the audit and the intakes, `derived` what can be dropped and computed again. A `Store` hands out
transactions: `read()` sees one state of the record, `write()` keeps everything or nothing. Signed sessions are frozen
by the database itself (`freeze`), and the schema changes through `schema` alone. No screen, no clock and no arithmetic
of alignment lives here.
"""

from __future__ import annotations

from fleet.store.derived import LineState, ReducedOffset, Reduction, SeriesState, StoreState
from fleet.store.drafts import Draft, DraftEntry, StaleDraftError
from fleet.store.errors import FrozenError, NaiveTimeError, StoreError
from fleet.store.feeds import CalendarFeed
from fleet.store.plan_tables import KeptPlan, PlanChoice, PlanItem, PlanStop
from fleet.store.planning import Outage, Proposal
from fleet.store.plans import StalePlanError
from fleet.store.plant import (
    Barrel,
    Calibration,
    Gearbox,
    Instrument,
    Line,
    Placement,
    Screw,
    Setting,
    Site,
    Station,
    Support,
    Tolerance,
)
from fleet.store.proof import AuditEntry, Intake
from fleet.store.running import Event, Meter, RunningCheck, Wear
from fleet.store.types import Base, UtcDateTime
from fleet.store.visits import (
    ColdTarget,
    Finding,
    Move,
    OffsetEntered,
    Reading,
    SessionCheck,
    SessionSignedView,
    SupportTemperature,
    Survey,
    VisitSession,
)

__all__ = [
    "AuditEntry",
    "Barrel",
    "Base",
    "CalendarFeed",
    "Calibration",
    "ColdTarget",
    "Draft",
    "DraftEntry",
    "Event",
    "Finding",
    "FrozenError",
    "Gearbox",
    "Instrument",
    "Intake",
    "KeptPlan",
    "Line",
    "LineState",
    "Meter",
    "Move",
    "NaiveTimeError",
    "OffsetEntered",
    "Outage",
    "Placement",
    "PlanChoice",
    "PlanItem",
    "PlanStop",
    "Proposal",
    "Reading",
    "ReducedOffset",
    "Reduction",
    "RunningCheck",
    "Screw",
    "SeriesState",
    "SessionCheck",
    "SessionSignedView",
    "Setting",
    "Site",
    "StaleDraftError",
    "StalePlanError",
    "Station",
    "StoreError",
    "StoreState",
    "Support",
    "SupportTemperature",
    "Survey",
    "Tolerance",
    "UtcDateTime",
    "VisitSession",
    "Wear",
]
