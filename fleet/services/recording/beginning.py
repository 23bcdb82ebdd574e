"""What the form shows with which a visit begins: the line, its stations, instruments and their certificates."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal

from fleet.services.job_sheet import job_sheet
from fleet.services.recording.view import InstrumentView
from fleet.services.series import current_series
from fleet.store import queries
from fleet.store.engine import Store


@dataclass(frozen=True, slots=True)
class BeginView:
    """A line about to be visited.

    Attributes
    ----------
    now
        The moment, in the site's zone.
    stations
        Code and distance from the gearbox [mm] of each, nearest first; those of today.
    supports
        Codes, nearest first.
    instruments
        Those that readings can be taken with, the one used last here first.
    last_as_left
        When the line was last left, in the site's zone; None: no record.
    outage
        Code of the outage that is on now; None: none.
    """

    line: str
    site: str | None
    zone: str
    right_hand_side: str | None
    now: datetime
    stations: tuple[tuple[str, float], ...]
    supports: tuple[str, ...]
    instruments: tuple[InstrumentView, ...]
    length_growth_mm: float | None
    last_as_left: datetime | None
    outage: str | None


def begin_view(store: Store, line: str, *, now: datetime | None = None) -> BeginView:
    """Return what has to be known to begin a visit of a line, or to enter something beside one.

    Parameters
    ----------
    store : the record
    line : its code
    now : the present moment, aware, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    moment = now or datetime.now(UTC)
    sheet = job_sheet(store, line, now=now)
    with store.read() as record:
        fleet = current_series(record, now=now)
        instruments, certificates = queries.instruments(record), queries.calibrations(record)
    info = fleet.plant.line(line)
    here = moment.astimezone(info.zone)
    held: defaultdict[int, list[tuple[date, date | None]]] = defaultdict(list)
    for row in certificates:
        held[row.instrument_id].append((row.calibrated_on, row.due_on))
    last = sheet.measured_since or sheet.last_as_left
    usable = [row for row in instruments if row.sense_v and row.sense_h]
    usable.sort(key=lambda row: (last is None or row.serial != last.instrument, row.serial))
    stations = [s for s in fleet.plant.stations.get(info.id, ()) if s.removed_on is None or here.date() < s.removed_on]
    return BeginView(
        line=info.code,
        site=info.site,
        zone=info.zone.key,
        right_hand_side=info.right_hand_side,
        now=here,
        stations=tuple((s.code, s.distance_mm) for s in sorted(stations, key=lambda s: s.distance_mm)),
        supports=tuple(s.code for s in fleet.plant.supports.get(info.id, ()) if s.on(here.date())),
        instruments=tuple(
            instrument_view(row.serial, row.sense_v, row.sense_h, held[row.id], here.date()) for row in usable
        ),
        length_growth_mm=sheet.length_growth_mm,
        last_as_left=sheet.last_as_left.on.astimezone(info.zone) if sheet.last_as_left else None,
        outage=next(
            (
                o.code
                for o in fleet.outages
                if o.starts_at <= moment
                and (o.ends_at is None or moment <= o.ends_at)
                and (o.line_id == info.id or (o.line_id is None and o.site_id == info.site_id is not None))
            ),
            None,
        ),
    )


def instrument_view(
    serial: str,
    sense_v: str | None,
    sense_h: str | None,
    certificates: list[tuple[date, date | None]],
    on: date,
) -> InstrumentView:
    """Return an instrument with how its calibration stands on a day: the newest certificate up to it is the one.

    Parameters
    ----------
    certificates : when calibrated and when due again, in any order; due None: no end recorded
    on : the day it is to be used
    """
    before = sorted((each for each in certificates if each[0] <= on), key=lambda each: each[0])
    calibrated_on, due_on = before[-1] if before else (None, None)
    covered = any(due is None or on <= due for _, due in before)
    stands: Literal["in date", "lapsed", "none recorded"] = "in date" if covered else "lapsed"
    if not certificates:
        stands = "none recorded"
    return InstrumentView(serial, None, sense_v, sense_h, calibrated_on, due_on, stands)
