"""Adding to the audit, in the same transaction as the change it tells of."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import Connection, insert
from sqlalchemy.orm import Session

from fleet.store.proof import AuditEntry


def record(
    transaction: Session | Connection,
    *,
    at: datetime,
    who: str,
    what: str,
    before: Mapping[str, object] | None = None,
    after: Mapping[str, object] | None = None,
) -> None:
    """Add one entry: who did what, with the values before and after.

    Parameters
    ----------
    transaction : Session or Connection
        The transaction that makes the change: both are kept or neither.
    at : datetime
        When, aware (the store has no clock).
    who, what : str
        Login or name; a short phrase of the trade's words.
    before, after : mapping, optional
        The values that changed; none where there was nothing.
    """
    row = {"at": at, "who": who, "what": what, "before": as_text(before), "after": as_text(after)}
    transaction.execute(insert(AuditEntry), [row])


def as_text(values: Mapping[str, object] | None) -> str | None:
    """Return values as one JSON object with sorted names: the same values are always the same text."""
    if values is None:
        return None
    return json.dumps(values, ensure_ascii=False, sort_keys=True, separators=(",", ":"), default=_plain)


def _plain(value: object) -> object:
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value)
