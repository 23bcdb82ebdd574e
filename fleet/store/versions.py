"""The version of the facts, and the version the derived results stand at."""

from __future__ import annotations

from datetime import date
from typing import Final

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from fleet.store.derived import StoreState

_RAISED: Final = "data_version_raised"


def data_version(session: Session) -> int:
    """Return the version of the facts this transaction sees."""
    return session.scalars(select(StoreState.data_version)).one()


def raise_data_version(session: Session) -> int:
    """Raise the version of the facts, at most once in a transaction, and return it.

    For every transaction that changes signed facts or master data; never for saving a draft.
    """
    if not session.info.get(_RAISED):
        session.execute(update(StoreState).values(data_version=StoreState.data_version + 1))
        session.info[_RAISED] = True
    return data_version(session)


def derived_state(session: Session) -> tuple[int | None, date | None]:
    """Return the version and the day the derived results stand at; none where there are none."""
    row = session.execute(select(StoreState.derived_version, StoreState.derived_on)).one()
    return row[0], row[1]


def mark_derived(session: Session, *, version: int, on: date) -> None:
    """Note that the derived results are those of a version of the facts, as of a day."""
    session.execute(update(StoreState).values(derived_version=version, derived_on=on))
