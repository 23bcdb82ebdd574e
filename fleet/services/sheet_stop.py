"""The outage a job sheet is for, and the last day of it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from fleet.errors import InputError
from fleet.services.plant import LineInfo
from fleet.services.series import FleetSeries, OutageInfo
from fleet.services.site_time import end_of_day

_MOMENT: Final = timedelta(microseconds=1)


def stop_of(fleet: FleetSeries, line: LineInfo, day: date, asked: str | None) -> OutageInfo | None:
    """Return the outage a sheet is for: the one asked for, whomever it serves, else the line's next one.

    Parameters
    ----------
    fleet, line : the record, and the line the sheet is of
    day : the day it is made
    asked : code of an outage; None: the next one, None where none is planned ahead

    Raises
    ------
    InputError
        The outage asked for is not planned ahead of that day.
    """
    if asked is None:
        return next(iter(fleet.coming_outages(line, day)), None)
    after = end_of_day(day, line.zone)
    found = next((each for each in fleet.outages if each.code == asked and each.starts_at > after), None)
    if found is None:
        raise InputError(f"The outage {asked} is not planned ahead any more; see how it stands on the Outages page.")
    return found


def last_day(stop: OutageInfo | None, line: LineInfo) -> date | None:
    """Return the last day an outage reaches into: one that ends at midnight ends on the day before."""
    if stop is None or stop.ends_at is None:
        return None
    return max(stop.ends_at - _MOMENT, stop.starts_at).astimezone(line.zone).date()
