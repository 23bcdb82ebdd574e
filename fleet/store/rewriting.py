"""Replacing derived results: old rows out, new rows in, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from fleet.store.bulk import insert_rows
from fleet.store.derived import LineState, ReducedOffset, Reduction, SeriesState, StoreState
from fleet.store.versions import mark_derived

Values = Sequence[Sequence[object]]
_AT_ONCE: Final = 500


def replace_reductions(
    record: Session,
    survey_ids: Sequence[int],
    reduction_columns: Sequence[str],
    reductions: Values,
    offset_columns: Sequence[str],
    offsets: Values,
) -> None:
    """Put the reductions of some surveys in the place of what was there for them."""
    for start in range(0, len(survey_ids), _AT_ONCE):
        part = survey_ids[start : start + _AT_ONCE]
        record.execute(delete(ReducedOffset).where(ReducedOffset.survey_id.in_(part)))
        record.execute(delete(Reduction).where(Reduction.survey_id.in_(part)))
    insert_rows(record, Reduction, reduction_columns, reductions)
    insert_rows(record, ReducedOffset, offset_columns, offsets)


def replace_states(
    record: Session,
    *,
    version: int,
    on: date,
    series_columns: Sequence[str],
    series: Values,
    line_columns: Sequence[str],
    lines: Values,
) -> bool:
    """Put the fleet's states in the place of the old ones, if the facts still stand at the version they were made from.

    Returns
    -------
    bool
        False where somebody changed the facts meanwhile: nothing was replaced, make them again.
    """
    # The lock makes two processes that refresh at once take turns (SQLite's writers queue by themselves).
    stands = record.scalars(select(StoreState.data_version).with_for_update()).one()
    if stands != version:
        return False
    record.execute(delete(SeriesState))
    record.execute(delete(LineState))
    insert_rows(record, SeriesState, series_columns, series)
    insert_rows(record, LineState, line_columns, lines)
    mark_derived(record, version=version, on=on)
    return True
