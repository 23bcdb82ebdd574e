"""What every query shares: the types of rows and session, and which sessions count."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, and_, exists
from sqlalchemy.orm import Session, aliased

from fleet.store.visits import VisitSession

Rows = Sequence[Row[*tuple[Any, ...]]]
Record = Session
"""What `Store.read()` gives: one state of the record, seen throughout."""

_Correction = aliased(VisitSession)


def counts() -> ColumnElement[bool]:
    """Return the condition that a session counts: signed, and not replaced by a signed correction."""
    replaced = exists().where(_Correction.corrects_id == VisitSession.id, _Correction.state == "signed")
    return and_(VisitSession.state == "signed", ~replaced)


def fetched(record: Session, statement: Select[*tuple[Any, ...]]) -> Rows:
    """Return all rows of a query."""
    return record.execute(statement).all()
