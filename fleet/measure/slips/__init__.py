"""Slips noticed from readings before anything is moved: a turned sign, a wrong unit, a missed turn, swapped stations.

`model` says what was expected and what is noticed; `quiet` passes over the surveys that show nothing odd, thousands at
once; `hypotheses` lists what may have gone wrong in one survey; `weighing` says how well each explains it, `judging`
which is likeliest and how plainly, `telling` in which facts;
`finding` joins them for surveys with readings, `entered` does so for offsets without. Nothing here changes a value.
"""

from fleet.measure.slips.entered import find_entered_slips
from fleet.measure.slips.finding import find_slips, find_slips_many
from fleet.measure.slips.model import CHECKS, CheckName, Expected, Slip

__all__ = ["CHECKS", "CheckName", "Expected", "Slip", "find_entered_slips", "find_slips", "find_slips_many"]
