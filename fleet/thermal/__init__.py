"""Heat: how far a barrel rises, and which cold offset makes it run on the axis.

`expansion` has the coefficients and the growth of steel; `geometry` what is known of a line and its temperatures;
`rise` the heat model with its uncertainty (from `parts` and `pinned`); `cold_reference` brings a warm survey back to
cold; `measured` turns running checks into rises and groups them into runs; `soak` finds where an unfinished warm-up
is heading; `bore_size` is the trade's rule of thumb; `choices` compares the five ways of choosing a cold offset
(`history` learns from runs, `judging` weighs the ways). Pure: arrays and small value objects in, the same out.
"""

from fleet.thermal.bore_size import BORE_SIZE_POINTS, bore_size_drop_um, bore_size_target_um
from fleet.thermal.choices import WAYS, Comparison, Places, RunRows, Scope, Way, compare, why
from fleet.thermal.cold_reference import ColdOffsets, to_cold_reference
from fleet.thermal.geometry import LineGeometry, SupportGeometry, Temperatures, is_warm
from fleet.thermal.judging import Choice, Judgement
from fleet.thermal.measured import (
    HOT_LABEL,
    MeasuredRise,
    before_soak,
    group_runs,
    hot_survey_rise,
    measured_rise,
)
from fleet.thermal.parts import SupportRise
from fleet.thermal.rise import Rise, rise
from fleet.thermal.soak import SoakedRise, soaked_rise

__all__ = [
    "BORE_SIZE_POINTS",
    "HOT_LABEL",
    "WAYS",
    "Choice",
    "ColdOffsets",
    "Comparison",
    "Judgement",
    "LineGeometry",
    "MeasuredRise",
    "Places",
    "Rise",
    "RunRows",
    "Scope",
    "SoakedRise",
    "SupportGeometry",
    "SupportRise",
    "Temperatures",
    "Way",
    "before_soak",
    "bore_size_drop_um",
    "bore_size_target_um",
    "compare",
    "group_runs",
    "hot_survey_rise",
    "is_warm",
    "measured_rise",
    "rise",
    "soaked_rise",
    "to_cold_reference",
    "why",
]
