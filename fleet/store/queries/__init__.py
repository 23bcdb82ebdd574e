"""Reading the record: columns for the calculations and the pages, never whole objects.

Every function takes an open session of `Store.read()` and returns plain rows. What counts is decided once, in
`reading`: signed sessions that no signed correction replaces, and facts that were not withdrawn. `plant` reads what
stands, `visits` what was measured, `proposals` what people decided, `pages` what is shown.
"""

from __future__ import annotations

from fleet.store.queries.drafts import (
    draft_entries,
    drafts,
    session_codes,
    session_to_correct,
    signed_as,
)
from fleet.store.queries.line_facts import (
    findings_of_line,
    levels_of_line,
    tolerances_of_line,
    wear_of_line,
)
from fleet.store.queries.pages import (
    fleet_conditions,
    fleet_facets,
    fleet_page,
    kept_evidence,
    reduced_surveys,
    session_exists,
    surveys_of_line,
    visits_of_line,
)
from fleet.store.queries.planning import (
    CREW_HOURS,
    cold_surveys_of,
    crew_hours,
    findings_of_lines,
    stepped_supports,
)
from fleet.store.queries.plant import (
    calibrations,
    events,
    instruments,
    line_codes,
    lines,
    meters,
    outages,
    placements,
    settings,
    stations,
    supports,
    time_zones,
    tolerances,
)
from fleet.store.queries.proposals import decisions
from fleet.store.queries.reading import Record, Rows, counts
from fleet.store.queries.visits import (
    cold_offsets,
    cold_targets,
    covariances,
    entered_offsets,
    entered_uncertainties,
    hot_offsets,
    lines_without_uncertainty,
    moves_made,
    readings,
    readings_of,
    reduced_offsets,
    running_checks,
    sessions,
    support_temperatures,
    surveys_measured,
    surveys_to_reduce,
)
from fleet.store.queries.windows import all_outages, line_figures

__all__ = [
    "CREW_HOURS",
    "Record",
    "Rows",
    "all_outages",
    "calibrations",
    "cold_offsets",
    "cold_surveys_of",
    "cold_targets",
    "counts",
    "covariances",
    "crew_hours",
    "decisions",
    "draft_entries",
    "drafts",
    "entered_offsets",
    "entered_uncertainties",
    "events",
    "findings_of_line",
    "findings_of_lines",
    "fleet_conditions",
    "fleet_facets",
    "fleet_page",
    "hot_offsets",
    "instruments",
    "kept_evidence",
    "levels_of_line",
    "line_codes",
    "line_figures",
    "lines",
    "lines_without_uncertainty",
    "meters",
    "moves_made",
    "outages",
    "placements",
    "readings",
    "readings_of",
    "reduced_offsets",
    "reduced_surveys",
    "running_checks",
    "session_codes",
    "session_exists",
    "session_to_correct",
    "sessions",
    "settings",
    "signed_as",
    "stations",
    "stepped_supports",
    "support_temperatures",
    "supports",
    "surveys_measured",
    "surveys_of_line",
    "surveys_to_reduce",
    "time_zones",
    "tolerances",
    "tolerances_of_line",
    "visits_of_line",
    "wear_of_line",
]
