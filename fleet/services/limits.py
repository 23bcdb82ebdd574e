"""A line's limits: which held when, what a limit may be taken from, and setting one without touching old verdicts.

A limit is never edited. A new one holds from its day on; every visit is judged by the band of its own day, and over
means strictly greater than the limit.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final, Literal

from fleet import words
from fleet.errors import InputError
from fleet.intake import RawTable, Source, take
from fleet.intake.cells import shielded
from fleet.services.people import unverified
from fleet.services.plant import LineInfo, StationInfo
from fleet.services.refresh import bring_up_to_date
from fleet.services.series import FleetSeries, current_series
from fleet.services.site_time import site_today
from fleet.store import queries
from fleet.store.engine import Store
from fleet.units import to_um
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

CLEARANCE_SHARE: Final = 1.0 / 1000.0
"""Radial clearance of a new screw as a share of its diameter: textbook rule of thumb, from memory."""
SHARES: Final = (0.25, 0.5, 1.0)
"""Shares of the clearance that are worked out as examples; which one holds is for the plant to say."""
_AXIS_WORDS: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_COLUMNS: Final = ("line", "station", "axis", "measure", "from_on", "watch_um", "limit_um", "set_within_um", "basis")
_LONGEST_BASIS: Final = 500

Verdict = Literal["over", "past watch", "within", "no limit"]


@dataclass(frozen=True, slots=True)
class Band:
    """Half-widths that hold from one day to the next band's [um]; `from_on` None: always, `limit_um` None: no limit."""

    from_on: date | None
    watch_um: float | None
    limit_um: float | None


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One recorded limit [um]; `station` None: the whole line. `standing` is how it stands today."""

    station: str | None
    axis: Axis
    from_on: date | None
    watch_um: float | None
    limit_um: float
    set_within_um: float | None
    basis: str | None
    standing: Literal["in force", "to come", "followed by another"]


@dataclass(frozen=True, slots=True)
class LimitsView:
    """A line's limits, newest first, the places without one, and what a limit may be taken from.

    `missing` names stations and axes that stand today without a limit; `clearance_um` is the radial clearance of the
    line's screw when new by the rule of thumb, None where its diameter is not recorded.
    """

    rows: tuple[LimitRow, ...]
    missing: tuple[tuple[str, Axis], ...]
    stations: tuple[str, ...]
    screw_diameter_mm: float | None
    clearance_um: float | None


def verdict(deviation_um: float, band: Band | None) -> Verdict:
    """Return what a deviation is by a band; over means strictly greater than the limit.

    Where no watch width is recorded half the limit counts, as for a line's status.
    """
    if band is None or band.limit_um is None:
        return "no limit"
    size = abs(deviation_um)
    if size > band.limit_um:
        return "over"
    watch_um = band.limit_um / 2.0 if band.watch_um is None else band.watch_um
    return "past watch" if size > watch_um else "within"


def bands_over_time(rows: Iterable[Any], station_id: int, axis: Axis) -> tuple[Band, ...]:
    """Return the bands of a station and axis one after the other; its own beats its line's, as `FleetSeries` has it.

    Parameters
    ----------
    rows : of `queries.tolerances_of_line`
    """
    own, whole = ([], [])  # type: tuple[list[Any], list[Any]]
    for row in rows:
        if row.axis == axis and row.station_id in (None, station_id):
            (whole if row.station_id is None else own).append(row)
    days = sorted({row.from_on or date.min for row in (*own, *whole)})
    bands: list[Band] = []
    for day in days:
        row = _newest(own, day) or _newest(whole, day)
        if row is None:
            continue
        if not bands or (bands[-1].watch_um, bands[-1].limit_um) != (row.watch_um, row.limit_um):
            bands.append(Band(None if day == date.min else day, row.watch_um, row.limit_um))
    return tuple(bands)


def _newest(rows: Sequence[Any], day: date) -> Any | None:
    known = [row for row in rows if (row.from_on or date.min) <= day]
    return max(known, key=lambda row: row.from_on or date.min) if known else None


def band_on(bands: Sequence[Band], day: date) -> Band | None:
    """Return the band of a day; None before the first."""
    known = [band for band in bands if (band.from_on or date.min) <= day]
    return known[-1] if known else None


def clearance_at(screw_diameter_mm: float, share: float) -> float:
    """Return a share of a new screw's radial clearance by the rule of thumb. [um]"""
    return share * screw_diameter_mm * 1000.0 * CLEARANCE_SHARE


def limits_view(fleet: FleetSeries, info: LineInfo, rows: Sequence[Any], day: date) -> LimitsView:
    """Return a line's limits as of a day.

    Parameters
    ----------
    rows : of `queries.tolerances_of_line` of the line
    """
    places = _places(fleet, info, day)
    shown = [
        LimitRow(
            station=row.station,
            axis=row.axis,
            from_on=row.from_on,
            watch_um=row.watch_um,
            limit_um=row.limit_um,
            set_within_um=row.set_within_um,
            basis=row.basis,
            standing=_standing(row, rows, day),
        )
        for row in rows
    ]
    shown.sort(key=lambda row: (row.station or "", AXES.index(row.axis)))
    shown.sort(key=lambda row: row.from_on or date.min, reverse=True)
    return LimitsView(
        rows=tuple(shown),
        missing=tuple(
            (station.code, axis)
            for station in places
            for axis in AXES
            if (band := band_on(bands_over_time(rows, station.id, axis), day)) is None or band.limit_um is None
        ),
        stations=tuple(station.code for station in places),
        screw_diameter_mm=info.screw_diameter_mm,
        clearance_um=clearance_at(info.screw_diameter_mm, 1.0) if info.screw_diameter_mm else None,
    )


def _places(fleet: FleetSeries, info: LineInfo, day: date) -> tuple[StationInfo, ...]:
    return tuple(
        station
        for station in fleet.plant.stations.get(info.id, ())
        if station.removed_on is None or station.removed_on > day
    )


def _standing(row: Any, rows: Sequence[Any], day: date) -> Literal["in force", "to come", "followed by another"]:
    if row.from_on is not None and row.from_on > day:
        return "to come"
    alike = [other for other in rows if (other.station_id, other.axis) == (row.station_id, row.axis)]
    newest = _newest(alike, day)
    return "in force" if newest is row else "followed by another"


@dataclass(frozen=True, slots=True)
class LimitAsked:
    """A limit as a person typed it: lengths in `unit`, empty texts where nothing was typed.

    `station` None is the whole line; `from_on` empty is always, which only a first limit may be.
    """

    station: str | None
    axes: tuple[Axis, ...]
    limit: str
    watch: str
    set_within: str
    unit: ReaderUnit
    from_on: str
    basis: str
    by: str


def set_limit(store: Store, line: str, asked: LimitAsked, *, now: datetime | None = None) -> str:
    """Record a limit: a new dated tolerance for each axis, taken in as any other record is.

    Where a limit held already, the new one has to begin after the day of the newest visit: what was judged by the old
    one stays judged by it.

    Parameters
    ----------
    store : the record
    line : its code
    asked : the limit as typed
    now : the present moment, for tests

    Returns
    -------
    what was recorded, in a sentence in the reader's unit

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        A value is missing or cannot be, or the limit would change a verdict that stands.
    IntakeError
        The intake refuses it; nothing was stored.
    """
    who = unverified(asked.by)
    limit_um, watch_um, within_um = _widths(asked)
    basis = _basis(asked.basis)
    with store.read() as record:
        fleet = current_series(record, now=now)
        info = fleet.plant.line(line)
        day = site_today(info.zone, now)
        rows = queries.tolerances_of_line(record, info.id)
    from_on = _day(asked.from_on)
    axes = tuple(axis for axis in AXES if axis in asked.axes)
    if not axes:
        raise InputError("A limit holds for an axis; choose vertical, horizontal or both.")
    _keeps_old_verdicts(fleet, info, rows, asked.station, axes, from_on, day)
    cells = {
        "line": info.code,
        "station": asked.station or "",
        "measure": "offset",
        "from_on": from_on.isoformat() if from_on else "",
        "watch_um": "" if watch_um is None else _plain(watch_um),
        "limit_um": _plain(limit_um),
        "set_within_um": "" if within_um is None else _plain(within_um),
        "basis": shielded(basis),
    }
    columns: dict[str, list[str]] = {
        name: [*axes] if name == "axis" else [cells[name]] * len(axes) for name in _COLUMNS
    }
    digest = hashlib.sha256(json.dumps(columns, sort_keys=True).encode()).hexdigest()
    table = RawTable("tolerances", "the limit", columns, list(range(2, 2 + len(axes))))
    source = Source(f"limit typed on the page of {info.code}", digest, {"tolerances": table})
    taken = take(store, source, who=who, today=day, now=now or datetime.now(UTC))
    bring_up_to_date(store, now=now)
    if taken.nothing_new:
        return f"Nothing was changed: {info.code} has exactly this limit already."
    return _said(info, asked, axes, limit_um, from_on)


def _said(info: LineInfo, asked: LimitAsked, axes: Sequence[Axis], limit_um: float, from_on: date | None) -> str:
    where = f"station {asked.station} of {info.code}" if asked.station else f"the whole line {info.code}"
    which = " and ".join(_AXIS_WORDS[axis] for axis in axes)
    width = f"{words.figure(limit_um, asked.unit, fine=True)}{NBSP}{asked.unit}"
    since = f"from {words.day(from_on)} on" if from_on else "for all its record"
    return f"The limit of {where}, {which}, is {width} {since}. Verdicts on earlier visits stand."


def _widths(asked: LimitAsked) -> tuple[float, float | None, float | None]:
    """Return limit, watch and set-within widths. [um]"""
    if not asked.limit.strip():
        raise InputError("A limit needs its width; type how far off target is still let pass.")
    limit_um = _width(asked.limit, "limit", asked.unit)
    if limit_um == 0.0:
        raise InputError("A limit of 0 would call every line over; type a width above 0.")
    others: list[float | None] = []
    for name, text in (("watch width", asked.watch), ("width to set within", asked.set_within)):
        um = _width(text, name, asked.unit) if text.strip() else None
        if um is not None and um > limit_um:
            raise InputError(
                f"The {name} {text.strip()} is above the limit {asked.limit.strip()}; it has to lie within."
            )
        others.append(um)
    return limit_um, others[0], others[1]


def _width(text: str, name: str, unit: ReaderUnit) -> float:
    typed = text.strip()
    decimals = typed.replace(",", ".") if typed.count(",") == 1 and "." not in typed else typed
    if not decimals.isascii() or not decimals.replace(".", "", 1).isdigit():
        raise InputError(f"The {name} ‘{typed}’ is not a width; write digits with a decimal point, in {unit}.")
    return to_um(decimals, unit)


def _basis(text: str) -> str:
    basis = text.strip()
    if not basis:
        raise InputError("A limit needs to say where it comes from, for those who come after.")
    if len(basis) > _LONGEST_BASIS:
        raise InputError(f"The grounds have {len(basis)} characters; say them in {_LONGEST_BASIS} or fewer.")
    return basis


def _day(text: str) -> date | None:
    """Read '2026-12-01' or '1 Dec 2026'; nothing typed is None."""
    typed = " ".join(text.replace(NBSP, " ").split())
    if not typed:
        return None
    parts = typed.lower().split(" ")
    try:
        if len(parts) == 3 and parts[1][:3] in _MONTHS:
            return date(int(parts[2]), _MONTHS.index(parts[1][:3]) + 1, int(parts[0]))
        return date.fromisoformat(typed)
    except ValueError:
        raise InputError(f"‘{typed}’ is not a day; write it as 2026-12-01 or 1 Dec 2026.") from None


def _keeps_old_verdicts(
    fleet: FleetSeries,
    info: LineInfo,
    rows: Sequence[Any],
    station: str | None,
    axes: Sequence[Axis],
    from_on: date | None,
    day: date,
) -> None:
    """Refuse a limit that would judge anew what an earlier one has judged.

    Raises
    ------
    NotFoundError, InputError
    """
    places = [place for place in _places(fleet, info, day) if station in (None, place.code)]
    if station is not None and not places:
        raise InputError(f"{info.code} has no station ‘{station}’ today; choose one of its stations or the whole line.")
    # A limit of the whole line does not reach stations that have their own.
    standing = any(
        row.axis in axes and (row.station_id is None or (station is not None and row.station == station))
        for row in rows
    )
    visits = [
        session.started_at.astimezone(info.zone).date()
        for session in fleet.sessions
        if fleet.plant.lines[session.line].id == info.id
    ]
    if not standing or not visits:
        return
    newest = max(visits)
    if from_on is None or from_on <= newest:
        raise InputError(
            f"{info.code} was last visited on {words.day(newest)} and judged by the limit of that day, which stands; "
            "let the new limit begin on a later day."
        )


def _plain(um: float) -> str:
    return f"{Decimal(repr(um)):f}"
