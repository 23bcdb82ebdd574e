"""Sources nothing was taken of, refused or holding nothing new; they stand in the list of what came in all the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from fleet.store import audit
from fleet.store.bulk import new_ids, table_of
from fleet.store.proof import Intake

_WHAT = {"refused": "refused a source", "nothing_new": "found nothing new in a source"}


@dataclass(frozen=True, slots=True)
class CameIn:
    """A source and how much of it was read; `container` is `folder` or `workbook`, None where it is not known."""

    file_name: str
    sha256: str
    container: str | None
    files: int
    rows_read: int


def note_source(
    transaction: Session,
    source: CameIn,
    *,
    result: Literal["refused", "nothing_new"],
    who: str,
    at: datetime,
    rows_refused: int = 0,
    told: Mapping[str, object] | None = None,
) -> int:
    """Keep that a source came in and nothing of it was taken; return the number of its row.

    The very same source, brought again by the same person right after and with the same result, is one row still.

    Parameters
    ----------
    transaction : from `Store.write`; the version of the facts is not raised
    source : what came in
    result : why nothing was taken
    who, at : who brought it, and when (aware)
    rows_refused : how many rows stand in the way
    told : what there is to say of it; the first problems of a refused one
    """
    newest = transaction.execute(
        select(Intake.id, Intake.sha256, Intake.result, Intake.taken_by).order_by(Intake.id.desc()).limit(1)
    ).first()
    if newest is not None and tuple(newest)[1:] == (source.sha256, result, who):
        return int(newest.id)
    (number,) = new_ids(transaction, Intake, 1)
    row = {
        "id": number,
        "file_name": source.file_name,
        "sha256": source.sha256,
        "taken_at": at,
        "taken_by": who,
        "rows_taken": 0,
        "rows_refused": rows_refused,
        "result": result,
        "container": source.container,
        "files": source.files,
        "rows_read": source.rows_read,
        "told": audit.as_text(told or {}),
    }
    transaction.execute(insert(table_of(Intake)), [row])
    after = {"source": source.file_name, "sha256": source.sha256, "rows_refused": rows_refused}
    audit.record(transaction, at=at, who=who, what=_WHAT[result], after=after)
    return number
