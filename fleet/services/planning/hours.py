"""Crew hours of a visit, and where they come from: typed, the line's own record, the fleet's, or assumed."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from statistics import median
from typing import Any, Final

import numpy as np

from fleet.reports.plan_content import HoursFrom
from fleet.store import queries
from fleet.values import FloatArray

ASSUMED_H: Final = 8.0
"""One shift, where no line has any hours on record: common practice, no source."""
_HOURS: Final = re.compile(r"([0-9]+(?:[.,][0-9]+)?)(?:\s*h)?")
_MOST_H: Final = 10_000.0
"""More crew hours than a year has hours are no hours of one visit."""


def hours_written(value: str | None, unit: str | None) -> float | None:
    """Return the crew hours a finding says; None where it says none. [h]

    The value is free text, and a finding's unit is one of lengths or empty: what is no positive number ("14", "14,5",
    "14 h"), or has another unit than h, says none.
    """
    written = _HOURS.fullmatch((value or "").strip())
    if written is None or (unit or "").strip() not in ("", "h"):
        return None
    hours = float(written[1].replace(",", "."))
    return hours if 0.0 < hours <= _MOST_H else None


def visit_hours(
    record: queries.Record, lines: Sequence[Any], *, until: datetime | None = None
) -> tuple[FloatArray, tuple[HoursFrom, ...]]:
    """Return the crew hours of a visit to each line, and where they come from.

    What is typed for the line beats the median of its own visits that ended as-left, that beats the median over the
    lines of the fleet that have either, and that beats one shift.

    Parameters
    ----------
    record : open session of `Store.read()`
    lines : rows with `id` and `visit_hours` (None where none are typed), in the order of the answer
    until : visits that began later are not known yet; None: all

    Returns
    -------
    crew hours, shape (n,) [h], and for each line where they come from
    """
    own: dict[int, list[float]] = defaultdict(list)
    for row in queries.crew_hours(record):
        hours = hours_written(row.value, row.unit)
        if hours is not None and row.set_to and (until is None or row.started_at <= until):
            own[row.line_id].append(hours)
    known: list[tuple[float, HoursFrom] | None] = [_known(line, own.get(line.id, [])) for line in lines]
    said = [found[0] for found in known if found is not None]
    rest: tuple[float, HoursFrom] = (median(said), "fleet_record") if said else (ASSUMED_H, "assumed")
    every = [found or rest for found in known]
    return np.array([hours for hours, _ in every], dtype=np.float64), tuple(source for _, source in every)


def _known(line: Any, own: list[float]) -> tuple[float, HoursFrom] | None:
    if line.visit_hours is not None:
        return float(line.visit_hours), "recorded"
    return (median(own), "own_record") if own else None
