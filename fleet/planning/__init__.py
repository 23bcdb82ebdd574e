"""Which line in which outage.

Pure functions on arrays. `expectations` turns the forecast's curves of chance into expected days over for every line
and outage, `problem_of` joins them with hours, windows, scopes and pins, `solve` chooses: fewest lines above the cap,
then least expected time over with what the visits cost. `reasons` and `unkept` tell why, `what_if` changes one thing,
`compare` sets two plans side by side, `planned_and_done` and `score` look back afterwards. `worst_first` and `in_turn`
are the simple rules that a plan has to beat.
"""

from fleet.planning.afterwards import BANDS, Deed, Deeds, Score, planned_and_done, score
from fleet.planning.curves import (
    DAYS_AFTER_LAST,
    AfterVisit,
    Curves,
    Expected,
    after_visit,
    as_left_var_um2,
    curve_days,
    expectations,
    plan_end_day,
    worst_of_lines,
)
from fleet.planning.problem import (
    CLOSED,
    NO_VISIT,
    OPEN,
    Parts,
    PinError,
    PlanError,
    Problem,
    check_pins,
    parts_of,
)
from fleet.planning.reasons import LineReason, Reason, Unkept, UnkeptLine, above_cap, reasons, unkept
from fleet.planning.rules import in_turn, worst_first
from fleet.planning.search import improved
from fleet.planning.situation import ANY, Lines, Outages, Situation, no_pins, problem_of, why_closed, window_hours
from fleet.planning.solving import Plan, solve
from fleet.planning.what_if import (
    Change,
    Difference,
    LineChange,
    Side,
    compare,
    side_of,
    with_cap,
    with_crew_hours,
    with_crew_more,
    with_curves,
    with_outage_moved,
)

__all__ = [
    "ANY",
    "BANDS",
    "CLOSED",
    "DAYS_AFTER_LAST",
    "NO_VISIT",
    "OPEN",
    "AfterVisit",
    "Change",
    "Curves",
    "Deed",
    "Deeds",
    "Difference",
    "Expected",
    "LineChange",
    "LineReason",
    "Lines",
    "Outages",
    "Parts",
    "PinError",
    "Plan",
    "PlanError",
    "Problem",
    "Reason",
    "Score",
    "Side",
    "Situation",
    "Unkept",
    "UnkeptLine",
    "above_cap",
    "after_visit",
    "as_left_var_um2",
    "check_pins",
    "compare",
    "curve_days",
    "expectations",
    "improved",
    "in_turn",
    "no_pins",
    "parts_of",
    "plan_end_day",
    "planned_and_done",
    "problem_of",
    "reasons",
    "score",
    "side_of",
    "solve",
    "unkept",
    "why_closed",
    "window_hours",
    "with_cap",
    "with_crew_hours",
    "with_crew_more",
    "with_curves",
    "with_outage_moved",
    "worst_first",
    "worst_of_lines",
]
