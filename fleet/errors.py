"""The base of every error this package raises on purpose."""

from __future__ import annotations


class FleetError(Exception):
    """Something a person can put right; the message is a sentence that names the thing, the value and the remedy."""


class InputError(FleetError, ValueError):
    """A value given to a calculation or a command is not usable."""


class NotFoundError(FleetError, LookupError):
    """A line, session or other named record is not in the store."""
