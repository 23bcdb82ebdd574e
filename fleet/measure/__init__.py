"""Readings to offsets: the one survey adjustment with its covariance, expanded uncertainties, and reversal by hand.

`survey` holds what goes in (an instrument's stated uncertainties, one survey's readings) and refuses what cannot be
reduced; `design` says what a reading is made of; `least_squares` solves stacks of systems with priors; `adjustment`
joins them; `closure` compares the first station with itself; `expanded` gives degrees of freedom and Student's
factor; `reversal` is the pair worked by hand, for setting the beam. Pure functions on arrays, whole fleets at once.
"""

from fleet.measure.adjustment import PARTS, STATED_DOF, Adjustment, BeamState, adjust, adjust_many
from fleet.measure.expanded import coverage_factor, effective_dof
from fleet.measure.least_squares import Solution, scaled_least_squares, weighted_least_squares
from fleet.measure.reversal import PAIR_AGREES_UM, BeamSetting, axis_reading, beam_error, beam_setting
from fleet.measure.survey import HOT_FACTOR, Instrument, SurveyReadings

__all__ = [
    "HOT_FACTOR",
    "PAIR_AGREES_UM",
    "PARTS",
    "STATED_DOF",
    "Adjustment",
    "BeamSetting",
    "BeamState",
    "Instrument",
    "Solution",
    "SurveyReadings",
    "adjust",
    "adjust_many",
    "axis_reading",
    "beam_error",
    "beam_setting",
    "coverage_factor",
    "effective_dof",
    "scaled_least_squares",
    "weighted_least_squares",
]
