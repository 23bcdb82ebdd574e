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
