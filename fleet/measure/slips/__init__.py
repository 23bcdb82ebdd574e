"""Slips noticed from readings before anything is moved: a turned sign, a wrong unit, a missed turn, swapped stations.

`model` says what was expected and what is noticed. Nothing here changes a value.
"""

from fleet.measure.slips.model import CHECKS, CheckName, Expected, Slip

__all__ = ["CHECKS", "CheckName", "Expected", "Slip"]
