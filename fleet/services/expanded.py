"""Expanding a stored standard uncertainty to 95 %."""

from __future__ import annotations

from fleet.measure import coverage_factor
from fleet.values import NORMAL_95


def expanded(u_um: float, dof: float | None) -> float:
    """Return the expanded uncertainty (95 %): Student's factor where degrees of freedom are known."""
    return u_um * (NORMAL_95 if dof is None else float(coverage_factor(dof)))
