"""The supports' own temperatures, found by the survey or the running check they were read at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fleet.store import queries

Own = tuple[dict[str, float], dict[str, float]]
"""Temperatures of barrel and base by code of the support. [C]"""
NONE_RECORDED: Final[Own] = ({}, {})


@dataclass(frozen=True, slots=True)
class OwnTemperatures:
    """Every support's own temperatures: by id of the survey, and by line id and moment of the running check."""

    at_survey: Mapping[int, Own]
    at_check: Mapping[tuple[int, datetime], Own]


def own_temperatures(record: queries.Record) -> OwnTemperatures:
    """Read the supports' own temperatures of the whole record."""
    at_survey: defaultdict[int, Own] = defaultdict(lambda: ({}, {}))
    at_check: defaultdict[tuple[int, datetime], Own] = defaultdict(lambda: ({}, {}))
    for row in queries.support_temperatures(record):
        own = at_check[row.line_id, row.checked_at] if row.survey_id is None else at_survey[row.survey_id]
        for held, value in zip(own, (row.barrel_c, row.base_c), strict=True):
            if value is not None:
                held[row.support] = value
    return OwnTemperatures(dict(at_survey), dict(at_check))
