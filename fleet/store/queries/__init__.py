"""Reading the record: columns for the calculations and the pages, never whole objects.

Every function takes an open session of `Store.read()` and returns plain rows. What counts is decided once, in
`reading`: signed sessions that no signed correction replaces, and facts that were not withdrawn. `plant` reads what
stands, `visits` what was measured, `proposals` what people decided, `pages` what is shown.
"""

from __future__ import annotations

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

__all__ = [
    "Record",
    "Rows",
    "calibrations",
    "cold_offsets",
    "cold_targets",
    "counts",
    "covariances",
    "decisions",
    "entered_offsets",
    "entered_uncertainties",
    "events",
    "fleet_conditions",
    "fleet_facets",
    "fleet_page",
    "hot_offsets",
    "instruments",
    "kept_evidence",
    "line_codes",
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
    "session_exists",
    "sessions",
    "settings",
    "stations",
    "support_temperatures",
    "supports",
    "surveys_measured",
    "surveys_of_line",
    "surveys_to_reduce",
    "time_zones",
    "tolerances",
    "visits_of_line",
]
