"""The rules of a time zone as a calendar carries them (RFC 5545, 3.6.5), read off the zone itself.

Every change of the clocks is written out for the years that matter, as the local time before it: that is what the
standard asks for, and it holds for zones whose changes follow no yearly rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class _Change:
    """The clocks change at this moment (UTC) from one offset to the next."""

    at: datetime
    before: timedelta
    after: timedelta
    name: str

    @property
    def local(self) -> datetime:
        """What the clocks show just then, by the offset before."""
        return (self.at + self.before).replace(tzinfo=None)


@lru_cache(maxsize=64)
def zone_rules(name: str, first: date, last: date) -> Timezone:
    """Return the rules of a zone from one day to another.

    Parameters
    ----------
    name : of the IANA time zone database
    first, last : days between which they hold

    Raises
    ------
    ZoneInfoNotFoundError
        There is no such zone.
    """
    zone = ZoneInfo(name)
    begin = datetime.combine(first, time(), UTC)
    rules = Timezone()
    rules.add("tzid", name)
    offset = _offset(begin, zone)
    summer = bool(begin.astimezone(zone).dst())
    rules.add_component(_observance(_Change(begin, offset, offset, _named(begin, zone)), summer=summer))
    for change in _changes(zone, begin, datetime.combine(last, time(), UTC)):
        rules.add_component(_observance(change, summer=change.after > change.before))
    return rules


def _observance(change: _Change, *, summer: bool) -> TimezoneDaylight | TimezoneStandard:
    """Return one change as an observance of its own; lists of dates within one are lost on some readers."""
    part = TimezoneDaylight() if summer else TimezoneStandard()
    part.add("dtstart", change.local)
    # Named again: some readers take an observance without any recurrence for none at all.
    part.add("rdate", [change.local])
    part.add("tzoffsetfrom", change.before)
    part.add("tzoffsetto", change.after)
    part.add("tzname", change.name)
    return part


def _changes(zone: ZoneInfo, begin: datetime, end: datetime) -> Iterator[_Change]:
    moment = begin
    while moment < end:
        later = moment + _DAY
        before, after = _offset(moment, zone), _offset(later, zone)
        if before != after:
            at = _first_with(after, zone, moment, later)
            yield _Change(at, before, after, _named(at, zone))
        moment = later


def _first_with(offset: timedelta, zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    """Return the first second of an offset that holds at `high` and not at `low`."""
    while high - low > _SECOND:
        middle = low + timedelta(seconds=(high - low) // _SECOND // 2)
        low, high = (low, middle) if _offset(middle, zone) == offset else (middle, high)
    return high


def _offset(moment: datetime, zone: ZoneInfo) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta()


def _named(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).tzname() or str(zone)
