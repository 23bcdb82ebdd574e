"""What can go wrong between the record and its database, said in sentences."""

from __future__ import annotations

from sqlalchemy.exc import DontWrapMixin

from fleet.errors import FleetError


class StoreError(FleetError):
    """The database cannot be reached, is busy, full or not a record of ours."""


class FrozenError(StoreError):
    """Something would have changed a signed session, a fact that is only ever withdrawn, or the audit."""


class NaiveTimeError(StoreError, ValueError, DontWrapMixin):
    """A moment without a time zone was handed to the store."""
