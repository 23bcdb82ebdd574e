"""Days and moments at a site: what "today", "by the end of that day" and "noon" mean there."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_DAY: Final = timedelta(days=1)


def zone_of(name: str | None) -> ZoneInfo:
    """Return the site's zone; lines without a site go by UTC."""
    return ZoneInfo(name or "UTC")


def epoch_days(moment: datetime) -> float:
    """Return days since the epoch (UTC) of an aware moment."""
    return (moment - EPOCH) / _DAY


def local_day_number(moment: datetime, zone: ZoneInfo) -> int:
    """Return the day at the site as whole days since the epoch."""
    return (moment.astimezone(zone).date() - EPOCH.date()).days


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the last moment of a day at the site, in UTC."""
    return datetime.combine(day + _DAY, time(), zone).astimezone(UTC) - timedelta(microseconds=1)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return midnight at the start of a day at the site, in UTC."""
    return datetime.combine(day, time(), zone).astimezone(UTC)


def noon(day: date, zone: ZoneInfo) -> datetime:
    """Return noon of a day at the site, in UTC."""
    return datetime.combine(day, time(12), zone).astimezone(UTC)


def site_today(zone: ZoneInfo, now: datetime | None = None) -> date:
    """Return today's date at the site."""
    return (now or datetime.now(UTC)).astimezone(zone).date()
