"""How well a line's survey was measured, and how the instruments and people that measured the line repeat."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import numpy as np

from fleet.measure import Instrument, SurveyReadings, adjust, beam_setting
from fleet.measure.budget import Remedy, remedy
from fleet.services.expanded import expanded
from fleet.services.line_evidence import BeamPair, BudgetView, Share, StationBudget
from fleet.services.line_surveys import SurveyArrays
from fleet.services.plant import LineInfo, StationInfo
from fleet.services.readings import instrument_of, is_hot, survey_readings
from fleet.services.series import FleetSeries
from fleet.store import queries

_HALF_TURN: Final = 180.0


def budget_view(
    record: queries.Record, fleet: FleetSeries, info: LineInfo, survey: SurveyArrays | None, day: date
) -> BudgetView | None:
    """Return where one survey's uncertainty comes from and what would halve the largest; None without a survey.

    Parameters
    ----------
    record : open session of `Store.read()`
    survey : which one
    day : as of which the setting for an agreeing pair is taken
    """
    if survey is None:
        return None
    rows = [row for row in queries.reduced_surveys(record, info.code, survey.session) if row.survey_id == survey.id]
    (taken,) = [row for row in queries.surveys_measured(record, info.id) if row.id == survey.id]
    (instrument_row,) = [row for row in queries.instruments(record) if row.id == taken.instrument_id] or (None,)
    stations = tuple(_station_budget(row) for row in rows)
    agree_um = fleet.settings.number("pair_agreement_um", info.site_id, day)
    beam: tuple[BeamPair, ...] = ()
    better: Remedy | None = None
    read = queries.readings_of(record, [survey.id])
    instrument = None if instrument_row is None else instrument_of(instrument_row)
    if read and instrument is not None:
        readings, at = survey_readings(read, {station.id: station for station in fleet.plant.stations[info.id]})
        hot = is_hot(taken.barrel_c)
        better = better_reading(readings, instrument, rows, hot=hot)
        beam = _beam_pairs(readings, at, instrument, agree_um)
    worst = max(stations, key=lambda station: max(station.u95_um))
    return BudgetView(
        survey=survey.key,
        on=survey.measured_at.astimezone(info.zone),
        phase=survey.phase,
        scheme=rows[0].method,
        instrument=instrument_row.serial if instrument_row is not None else None,
        stations=stations,
        largest=worst.station,
        doing=better.doing if better else None,
        doing_from_um=better.u_now_um if better else None,
        doing_to_um=better.u_then_um if better else None,
        halves=better.halves if better else False,
        closure_um=_two(json.loads(taken.closure)) if taken.closure else None,
        scale=taken.scale,
        beam=beam,
        pair_agreement_um=agree_um,
    )


def better_reading(
    readings: SurveyReadings, instrument: Instrument, rows: Sequence[Any], *, hot: bool
) -> Remedy | None:
    """Return what would halve a survey's largest uncertainty, or lower it most; None where nothing would.

    Parameters
    ----------
    readings, instrument, hot : the survey as it was taken
    rows : of `queries.reduced_surveys`, the survey's own, by distance
    """
    warm_um = np.array([_of_part(row, "cold reference") for row in rows], dtype=np.float64)
    return remedy(readings, instrument, adjust(readings, instrument, hot=hot), hot=hot, u_warm_v_um=warm_um)


def _of_part(row: Any, part: str) -> float:
    held = json.loads(row.budget)
    return float(held["u_um"][part][held["stations"].index(row.station)][0]) if part in held["u_um"] else 0.0


def _station_budget(row: Any) -> StationBudget:
    held = json.loads(row.budget)
    at = held["stations"].index(row.station)
    figures = {part: _two(values[at]) for part, values in held["u_um"].items()}
    whole = [sum(um[axis] ** 2 for um in figures.values()) or 1.0 for axis in (0, 1)]
    shares = [
        Share(part, um, (um[0] ** 2 / whole[0], um[1] ** 2 / whole[1])) for part, um in figures.items() if max(um) > 0.0
    ]
    return StationBudget(
        station=row.station,
        u95_um=(expanded(row.u_v_cold_um, row.dof_v), expanded(row.u_h_cold_um, row.dof_h)),
        shares=tuple(sorted(shares, key=lambda share: share.share[0], reverse=True)),
    )


def _beam_pairs(
    readings: SurveyReadings, at: Sequence[StationInfo], instrument: Instrument, agree_um: float
) -> tuple[BeamPair, ...]:
    """Return the newest reversal pair at the nearest and at the farthest station that has one."""
    pairs = []
    for place, station in enumerate(at):
        own = np.flatnonzero(readings.station == place)
        own = own[np.argsort(readings.sequence[own], kind="stable")][::-1]
        found = next(
            ((other, one) for one in own.tolist() if (other := _partner(readings, own, one)) is not None), None
        )
        if found is None:
            continue
        first, turned = sorted(found, key=lambda k: float(readings.beam_roll_deg[k] % 360.0))
        values = np.stack([readings.v_um, readings.h_um], axis=1)
        got = beam_setting(
            values[first], values[turned], sense=(instrument.sense_v, instrument.sense_h), agree_um=agree_um
        )
        pairs.append(
            BeamPair(
                station=station.code,
                difference_um=_two(got.difference_um),
                error_um=_two(got.error_um),
                trim_to_um=_two(got.trim_to_um),
                agrees=bool(got.agrees),
            )
        )
    return tuple(pairs) if len(pairs) < 2 else (pairs[0], pairs[-1])


def _partner(readings: SurveyReadings, own: Any, one: int) -> int | None:
    """Return the newest reading half a turn from another one, in the same beam state and at the same target roll."""
    for other in own.tolist():
        apart = (readings.beam_roll_deg[other] - readings.beam_roll_deg[one]) % 360.0
        alike = readings.beam_state[other] == readings.beam_state[one]
        if (
            alike
            and abs(apart - _HALF_TURN) < 1e-6
            and readings.target_roll_deg[other] == readings.target_roll_deg[one]
        ):
            return int(other)
    return None


def _two(values: Any) -> tuple[float, float]:
    return float(values[0]), float(values[1])
