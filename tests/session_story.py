"""Invented visits to ORR-07: one of 20 Dec 2026 with everything a visit can hold, and its correction.

The figures were chosen by hand; nothing here is computed by the code under test.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.errors import NotFoundError
from fleet.reports.check_words import CheckFacts
from fleet.reports.labels import Label, LabelSheet
from fleet.reports.session_content import (
    BeamState,
    ChainLink,
    FindingMade,
    InstrumentOnDay,
    MoveMade,
    Place,
    SessionRecord,
    SessionSurvey,
    SettledCheck,
    Source,
    StationOffset,
    SupportWarmth,
    TargetSet,
    TypedReading,
)

ZONE = ZoneInfo("Europe/London")
BEGAN = datetime(2026, 12, 20, 8, 10, tzinfo=ZONE)
I_04 = InstrumentOnDay(
    "I-04", "beam and target", ("bore_from_beam", "beam_from_bore"), date(2026, 3, 3), date(2027, 3, 3), "C-77", True
)
DIGEST = "9c41" * 16


def offset(station: str, distance_mm: float, v: float, h: float, support: str | None = None) -> StationOffset:
    return StationOffset(
        station, distance_mm, support, (v, h), (20.0, 20.0), (v - 1.0, h), (21.0, 20.0), (-200.0, 0.0), (130.0, 100.0),
        (250.0, 200.0),
    )  # fmt: skip


READINGS = (
    TypedReading(1, "A", 1, 0.0, 0.0, ("0.10", "-0.213"), "mm", BEGAN + timedelta(minutes=20)),
    TypedReading(2, "A", 1, 180.0, 0.0, ("-.5", "+0.19"), "mm", BEGAN + timedelta(minutes=22)),
    TypedReading(3, "B", 2, 90.0, 0.0, ("1e-1", "0"), "mm", None),
)
FOUND = SessionSurvey(
    number=1, phase="as_found", measured_at=BEGAN + timedelta(minutes=20), instrument=I_04, barrel_c=23.0,
    gearbox_c=22.0, gearbox_c_at="oil", base_c=21.5, gearbox_level_um_per_m=-40.0, axis_by="shaft_turned",
    bolts="torqued", screw="out", die="off", heats_off_h=38.0, remarks=None,
    supports=(SupportWarmth("A", 24.0, 22.0, None),), readings=READINGS, entered=(),
    offsets=(offset("A", 1500.0, -310.0, 15.0, "A"), offset("B", 3150.0, -386.0, -28.0, "B")),
    scheme="reversal pairs", beam=(BeamState(1, (15.0, -40.0), (-100.0, 51.0)),), closure_um=(6.0, -2.0), scale=0.81,
    notes=("no reversal at B: the beam's own error there is known from the other stations only",),
    checks=(CheckFacts("sign_turned", axis="h", station="B", sequence=3, misfit_um=52.0, u95_misfit_um=9.0),),
)  # fmt: skip
LEFT = replace(
    FOUND, number=2, phase="as_left", measured_at=BEGAN + timedelta(hours=5), readings=(), checks=(), beam=(),
    offsets=(offset("A", 1500.0, -229.0, 12.0, "A"), offset("B", 3150.0, -202.0, 21.0, "B")), closure_um=None,
    notes=(), heats_off_h=None, supports=(), gearbox_level_um_per_m=None,
)  # fmt: skip
LATER = SessionRecord(
    session="S-08", line="ORR-07", site="ORR", site_name="Orrindale", zone="Europe/London", description="Pipe",
    right_hand_side="operator side", cold_reference_c=20.0, feed_section_mm=None, barrel_length_mm=3840.0,
    length_growth_mm=8.2, started_at=BEGAN, reason="year-end stop", outage="ORR-2026-12", outage_kind="full stop",
    technician="M. Adeyrin", instrument=I_04, work_order="WO-58213", running_hours=41870.0, ambient_c=18.0,
    remarks="rod bent, straightened", surveys=(FOUND, LEFT),
    moves=(
        MoveMade(1, "B", None, ("0.19", None), "mm", (190.0, None), 400.0, None, "screw"),
        MoveMade(1, None, "gearbox_feet", ("-2", "1"), "thou", (-50.8, 25.4), None, None, None),
    ),
    targets=(TargetSet("B", ("-8", "0"), "thou", (-203.2, 0.0), "own checks", "ran 0.06 high in June"),),
    findings=(
        FindingMade("soft foot", "0.120", "mm", "gearbox, drive side rear", None),
        FindingMade("grout", None, None, None, "withdrawn 22 Dec 2026 by K. Dremmond: another line"),
    ),
    settled=(SettledCheck(1, "sign_turned", "h at station B", "kept", "M. Adeyrin (not verified)", "read twice"),),
    signed_view="ORR-07, 20 Dec 2026: as-left within 0.05 mm",
    chain=(
        ChainLink("S-07", "M. Adeyrin (not verified)", BEGAN + timedelta(hours=6), None, 2),
        ChainLink("S-08", "K. Dremmond (not verified)", BEGAN + timedelta(days=2), "inverted reading at B", 2),
    ),
    corrects="S-07", correction_reason="inverted reading at B", corrected_by=None,
    signed_by=f"K. Dremmond (import, sha256 {DIGEST})", signed_at=BEGAN + timedelta(days=2),
    source=Source("orrindale.xlsx", DIGEST, BEGAN + timedelta(days=2), "K. Dremmond"),
    supports=(Place("A", 1500.0), Place("B", 3150.0)), as_of=BEGAN + timedelta(days=3),
)  # fmt: skip
FIRST = replace(LATER, session="S-07", corrects=None, correction_reason=None, corrected_by="S-08")


def session(code: str) -> SessionRecord:
    """Return one of the two records of the visit."""
    for record in (FIRST, LATER):
        if record.session == code:
            return record
    raise NotFoundError(f"no session {code}")


def labels(site: str | None, lines: tuple[str, ...]) -> LabelSheet:
    """Return labels of two lines, those asked for."""
    every = tuple(
        Label(line, "Orrindale", "Pipe", f"https://asleft.example/job-sheet/{line}") for line in ("ORR-03", "ORR-07")
    )
    chosen = tuple(label for label in every if not lines or label.line in lines)
    return LabelSheet(chosen, f"Every line at {site or 'every site'}", date(2026, 11, 25))
