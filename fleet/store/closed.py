"""The closed words of the record: the database refuses any other, files and screens offer exactly these."""

from __future__ import annotations

from typing import Final

ASSET_KINDS: Final = ("gearbox", "barrel", "screw")
AXIS_WORDS: Final = ("v", "h")
AXIS_BY: Final = ("shaft_turned", "fixture_turned", "bore_centred")
BOLTS: Final = ("torqued", "loose")
CARRIES: Final = ("rigid", "floating")
CONTAINERS: Final = ("folder", "workbook")
DIE: Final = ("on", "off")
GEARBOX_C_AT: Final = ("casing_mean", "oil")
INTAKE_RESULTS: Final = ("taken", "refused", "nothing_new")
MEASURES: Final = ("offset", "slope", "bow")
MOVE_PLACES: Final = ("gearbox_feet", "flange")
OUTAGE_STATES: Final = ("planned", "done", "cancelled")
PHASES: Final = ("as_found", "interim", "as_left", "hot")
PLAN_CLOSED: Final = (
    "open", "not_planned", "past", "after_end", "serves_others", "window_too_short", "crew_hours_too_few",
    "pinned_out",
)  # fmt: skip
PLAN_HOURS_FROM: Final = ("recorded", "own_record", "fleet_record", "assumed")
PLAN_PINS: Final = ("into", "out")
PLAN_REASONS: Final = (
    "pinned_into", "above_cap_anyway", "late_for_lack_of_room", "keeps_cap", "saves_days",
    "no_forecast", "pinned_out", "no_outage_open", "no_room", "not_worth_it",
)  # fmt: skip
PLAN_STATES: Final = ("saved", "signed_off")
PLAN_UNKEPT: Final = ("above_now", "above_before_first", "no_outage_open", "pinned_past_it")
PROPOSAL_DECISIONS: Final = ("accepted", "refused")
PROPOSAL_KINDS: Final = ("regime_change",)
RELATIVE_TO: Final = ("gearbox_axis", "floor")
SADDLES: Final = ("vee", "flat", "centreline", "plate")
SCREW: Final = ("out", "in")
SENSES: Final = ("bore_from_beam", "beam_from_bore")
SESSION_STATES: Final = ("draft", "signed")
SETTLED: Final = ("kept", "corrected", "read_again")
SLIDES: Final = ("fixed", "slides", "rolls", "flexes")
UNITS: Final = ("um", "mm", "in", "thou")
