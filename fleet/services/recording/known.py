"""What the record knows of a line on the day it is visited: expectation, targets, limits, how its supports answer.

It is worked out once per version of the facts and day, because a visit is looked at after each keystroke.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from fleet.reports.job_sheet import JobSheet, SheetStation
from fleet.services.forecasting import foresee, rows_of
from fleet.services.job_sheet import job_sheet
from fleet.services.kept import Kept
from fleet.services.line_shape import Answers, Today, response_of
from fleet.services.line_surveys import SurveyArrays, survey_arrays
from fleet.services.plant import LineInfo, Plant, StationInfo, SupportInfo
from fleet.services.refresh import bring_up_to_date
from fleet.services.series import FleetSeries, current_series, load_series
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import NORMAL_95, Axis


@dataclass(frozen=True, slots=True)
class ExpectedAt:
    """What a cold survey of a station would show if nobody touched the line; `u_um` leaves its own measuring out."""

    mean_um: float
    u95_um: float
    u_um: float


@dataclass(frozen=True, slots=True)
class Known:
    """A line as its record stands on a day.

    Attributes
    ----------
    sheet
        Its job sheet.
    day
        The day of the visit at the site.
    expected
        By station code and axis; missing where nothing can be expected.
    stations
        Those that stand that day, by distance.
    supports
        Those that stand that day, by distance; `rigid` are those that carry.
    surveys, made
        The line's past surveys and moves, for how its supports answered.
    pair_agreement_um
        How closely a reversal pair has to agree.
    """

    plant: Plant
    line: LineInfo
    sheet: JobSheet
    day: date
    expected: Mapping[tuple[str, Axis], ExpectedAt]
    stations: tuple[StationInfo, ...]
    supports: tuple[SupportInfo, ...]
    rigid: tuple[SupportInfo, ...]
    surveys: Mapping[str, SurveyArrays]
    made: tuple[Any, ...]
    pair_agreement_um: float
    answered: dict[tuple[str, ...], Answers] = field(default_factory=dict, repr=False, compare=False)

    def answers(self, today: Today) -> Answers:
        """Return how the line answered its past moves at some stations; worked out once."""
        codes = tuple(station.code for station in today.stations)
        if codes not in self.answered:
            v, h = (response_of(today, self.rigid, self.surveys, self.made, axis) for axis in (0, 1))
            self.answered[codes] = (v, h)
        return self.answered[codes]

    @property
    def by_station(self) -> Mapping[str, SheetStation]:
        """The stations of the job sheet by code."""
        return {station.station: station for station in self.sheet.stations}


_KEPT: Kept[dict[tuple[str, date, bool], Known]] = Kept()


def known_of(store: Store, line: str, day: date, *, corrects: str | None = None, now: datetime | None = None) -> Known:
    """Return what the record knows of a line on the day of a visit.

    A visit of today goes by everything known; one of an earlier day, and a correction, by what was known the day
    before it, so that it is never compared with itself.

    Parameters
    ----------
    store : the record
    line : the line's code
    day : of the visit at the site
    corrects : the session that is corrected
    now : the present moment, for tests
    """
    bring_up_to_date(store, now=now)
    with store.read() as record:
        newest = current_series(record, now=now)
        held = _KEPT.of(record, newest.as_of, dict)
    info = newest.plant.line(line)
    today = newest.as_of[newest.line_index[info.id]]
    past = corrects is not None or day < today
    key = (line, day, past)
    if key not in held:
        held[key] = _known(store, newest, info, day, past=past, now=now)
    return held[key]


def _known(store: Store, newest: FleetSeries, info: LineInfo, day: date, *, past: bool, now: datetime | None) -> Known:
    before = day - timedelta(days=1)
    sheet = job_sheet(store, info.code, as_of=before if past else None, now=now)
    with store.read() as record:
        fleet = load_series(record, as_of=before) if past else newest
        made = tuple(queries.moves_made(record, info.id))
        arrays = survey_arrays(queries.reduced_surveys(record, info.code), queries.covariances(record, info.id))
    if past:
        arrays = {key: each for key, each in arrays.items() if each.measured_at.astimezone(info.zone).date() < day}
    supports = tuple(s for s in fleet.plant.supports.get(info.id, ()) if s.on(day))
    return Known(
        plant=fleet.plant,
        line=info,
        sheet=sheet,
        day=day,
        expected=_expected(fleet, info, max(day, fleet.as_of[fleet.line_index[info.id]])),
        stations=tuple(
            sorted(
                (s for s in fleet.plant.stations.get(info.id, ()) if s.removed_on is None or day < s.removed_on),
                key=lambda s: (s.distance_mm, s.code),
            )
        ),
        supports=tuple(sorted(supports, key=lambda s: (s.distance_mm, s.code))),
        rigid=_rigid(supports),
        surveys=arrays,
        made=made,
        pair_agreement_um=fleet.settings.number("pair_agreement_um", info.site_id, day),
    )


def _rigid(supports: tuple[SupportInfo, ...]) -> tuple[SupportInfo, ...]:
    """Return the supports that carry the barrel, the first of those at one distance."""
    by_distance: dict[float, SupportInfo] = {}
    for support in supports:
        if support.geometry.carries != "floating" and support.distance_mm > 0.0:
            by_distance.setdefault(support.distance_mm, support)
    return tuple(by_distance[mm] for mm in sorted(by_distance))


def _expected(fleet: FleetSeries, info: LineInfo, day: date) -> dict[tuple[str, Axis], ExpectedAt]:
    foreseen = foresee(fleet, fleet.rows_of(info.id), (day,))
    expected = {}
    for index, row in zip(foreseen.rows.tolist(), rows_of(foreseen), strict=True):
        at = row.expected[0]
        measuring = float(fleet.posterior.measured_var_um2[index])
        own = max(at.sd_um**2 - (measuring if np.isfinite(measuring) else 0.0), 1.0)
        half = (at.q975 - at.q025) / 2.0
        # Tails are heavier than a bell's: scale the part without measuring as the whole is.
        widen = half / (NORMAL_95 * at.sd_um) if at.sd_um > 0.0 else 1.0
        expected[row.station, row.axis] = ExpectedAt(at.mean_um, half, float(np.sqrt(own)) * min(widen, 1.5))
    return expected
