"""Bringing surveys to offsets: readings are adjusted, entered offsets taken, both brought to the cold reference.

What comes out is derived: kept so that nobody has to compute it again, and made anew where the method, the line's
geometry or the instruments have changed since.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

import numpy as np

from fleet.measure import PARTS, Adjustment, Instrument, SurveyReadings, adjust_many
from fleet.measure.slips import Slip, find_slips_many
from fleet.services.checks import slips_as_text
from fleet.services.plant import LineInfo, Plant, StationInfo, load_plant
from fleet.services.readings import instrument_of, is_hot, survey_readings
from fleet.services.schemes import scheme_of
from fleet.services.temperatures import NONE_RECORDED, own_temperatures
from fleet.store import queries
from fleet.store.engine import Store
from fleet.store.rewriting import replace_reductions
from fleet.store.versions import data_version, derived_state
from fleet.thermal.cold_reference import ColdOffsets, to_cold_reference
from fleet.thermal.geometry import LineGeometry, Temperatures
from fleet.thermal.rise import Rise, rise
from fleet.values import FloatArray

METHOD: Final = "2"
ENTERED_U_UM: Final = 15.0
"""Standard uncertainty of an entered offset that states none, until the fleet's own can tell (from memory)."""
ENOUGH_STATED: Final = 20
SETUP_SHARE: Final = 0.4
"""Share of an entered offset's variance that all surveys of its session have in common (from memory)."""
_CHUNK: Final = 2_000
_TEN_K: Final = 10.0
_SEVERAL: Final = 3

REDUCTION_COLUMNS: Final = (
    "survey_id", "method_version", "dof", "scale", "covariance", "beam", "closure", "remarks", "budget", "common",
    "checks",
)  # fmt: skip
OFFSET_COLUMNS: Final = (
    "survey_id", "station_id", "v_um", "h_um", "u_v_um", "u_h_um", "dof_v", "dof_h", "setup_v_um2", "setup_h_um2",
    "v_cold_um", "h_cold_um", "u_v_cold_um", "u_h_cold_um", "method",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Survey:
    """A survey to reduce, with everything the store holds of it."""

    id: int
    line: LineInfo
    version: str
    measured_at: datetime
    temperatures: Temperatures
    level_recorded: bool
    hot: bool
    instrument: Instrument | None


@dataclass(frozen=True, slots=True)
class _Offsets:
    """One survey's offsets at its stations, before the cold reference; arrays (n, 2) in v, h.

    `covariance_um2` has the shape (2 n, 2 n) in the order v, h of each station in turn; `parts_um2` the shape
    (n, 2, number of `PARTS`), None for entered offsets.
    """

    stations: tuple[StationInfo, ...]
    value_um: FloatArray
    covariance_um2: FloatArray
    u_um: FloatArray
    dof: FloatArray | None
    setup_um2: FloatArray
    method: str
    adjustment: Adjustment | None
    remarks: tuple[str, ...]
    slips: tuple[Slip, ...] = ()


def _entered_default(stated: tuple[list[float], list[float]]) -> tuple[float, float]:
    v, h = (round(float(np.median(values)), 1) if len(values) >= ENOUGH_STATED else ENTERED_U_UM for values in stated)
    return v, h


def _versions(plant: Plant, instruments: Sequence[Any], unstated: frozenset[int], default: Any) -> dict[int, str]:
    """Name, per line, the method and all that its reductions depend on beside the survey itself."""
    common = repr(sorted(tuple(row) for row in instruments))
    versions = {}
    for line in plant.lines:
        depends = (
            common, line.cold_reference_c, line.feed_section_mm, str(line.zone), plant.stations.get(line.id),
            plant.supports.get(line.id), plant.placed.get(line.id), default if line.id in unstated else None,
        )  # fmt: skip
        versions[line.id] = f"{METHOD}:{hashlib.sha256(repr(depends).encode()).hexdigest()[:20]}"
    return versions


def reduce_surveys(store: Store, *, progress: Callable[[int, int], None] | None = None) -> int:
    """Reduce every signed survey whose reduction is missing or out of date; return how many there were.

    Parameters
    ----------
    store : the record
    progress : told how many of how many are done
    """
    with store.read() as record:
        plant = load_plant(record)
        lines = {line.id: line for line in plant.lines}
        instrument_rows = queries.instruments(record)
        instruments = {row.id: instrument_of(row) for row in instrument_rows}
        default = _entered_default(queries.entered_uncertainties(record))
        versions = _versions(plant, instrument_rows, queries.lines_without_uncertainty(record), default)
        own = own_temperatures(record).at_survey
        due = [
            _Survey(
                id=row.id,
                line=lines[row.line_id],
                version=versions[row.line_id],
                measured_at=row.measured_at,
                temperatures=Temperatures(
                    row.barrel_c, row.gearbox_c, row.gearbox_c_at, row.base_c, *own.get(row.id, NONE_RECORDED)
                ),
                level_recorded=row.gearbox_level_um_per_m is not None,
                hot=is_hot(row.barrel_c),
                instrument=instruments.get(row.instrument_id),
            )
            for row in queries.surveys_to_reduce(record)
            if row.method_version != versions[row.line_id]
        ]
    stations = {station.id: station for group in plant.stations.values() for station in group}
    for start in range(0, len(due), _CHUNK):
        part = due[start : start + _CHUNK]
        with store.read() as record:
            offsets = _offsets_of(record, part, stations, default)
        reductions, reduced = _rows(part, offsets, plant)
        with store.write() as record:
            replace_reductions(
                record, [survey.id for survey in part], REDUCTION_COLUMNS, reductions, OFFSET_COLUMNS, reduced
            )
        if progress is not None:
            progress(start + len(part), len(due))
    return len(due)


def reduce_if_needed(store: Store) -> None:
    """Reduce what the facts of today ask for, unless the derived results already stand at their version."""
    with store.read() as record:
        derived, _ = derived_state(record)
        stands = data_version(record)
    if derived != stands:
        reduce_surveys(store)


def _offsets_of(
    record: queries.Record, surveys: Sequence[_Survey], stations: dict[int, StationInfo], default: tuple[float, float]
) -> dict[int, _Offsets]:
    """Return the offsets of every survey that holds readings or entered offsets, by survey id."""
    wanted = {survey.id: survey for survey in surveys}
    first, last = surveys[0].id, surveys[-1].id
    read: dict[int, list[Any]] = defaultdict(list)
    for row in queries.readings(record, first, last):
        if row.survey_id in wanted:
            read[row.survey_id].append(row)
    entered: dict[int, list[Any]] = defaultdict(list)
    for row in queries.entered_offsets(record, first, last):
        if row.survey_id in wanted:
            entered[row.survey_id].append(row)
    result = {survey_id: _entered(rows, stations, default) for survey_id, rows in entered.items()}
    result.update(_adjusted(read, wanted, stations))
    return result


def _adjusted(
    read: dict[int, list[Any]], surveys: dict[int, _Survey], stations: dict[int, StationInfo]
) -> dict[int, _Offsets]:
    ids, inputs, places = [], [], []
    for survey_id, rows in read.items():
        instrument = surveys[survey_id].instrument
        if instrument is None:
            # The intake refuses such readings; a later change of the instrument's record cannot take its senses away.
            continue
        readings, at = survey_readings(rows, stations)
        ids.append(survey_id)
        inputs.append((readings, instrument, surveys[survey_id].hot))
        places.append(at)
    result = {}
    found = zip(ids, inputs, places, adjust_many(inputs), find_slips_many(inputs), strict=True)
    for survey_id, (readings, _, _), at, got, slips in found:
        result[survey_id] = _Offsets(
            stations=at,
            value_um=got.offset_um,
            covariance_um2=got.covariance_um2,
            u_um=got.u_um,
            dof=got.dof,
            setup_um2=got.setup_variance_um2,
            method=scheme_of(readings.station, readings.beam_roll_deg, readings.target_roll_deg),
            adjustment=got,
            remarks=remarks_on(readings, at),
            slips=slips,
        )
    return result


def remarks_on(readings: SurveyReadings, at: tuple[StationInfo, ...]) -> tuple[str, ...]:
    """Return what is worth saying of readings before they are reduced: no reversal somewhere, all of them the same."""
    return (*_without_reversal(readings, at), *_all_equal(readings))


def _without_reversal(readings: SurveyReadings, at: tuple[StationInfo, ...]) -> tuple[str, ...]:
    single = [
        station.code
        for k, station in enumerate(at)
        if np.unique(readings.beam_roll_deg[readings.station == k] % 360.0).size < 2
    ]
    if not single:
        return ()
    return (
        f"no reversal at {', '.join(single)}: the beam's own error there is known from the other stations only, "
        "and the uncertainty is larger for it",
    )


def _all_equal(readings: SurveyReadings) -> tuple[str, ...]:
    n = len(readings.station)
    if n < _SEVERAL or np.ptp(readings.v_um) > 0.0 or np.ptp(readings.h_um) > 0.0:
        return ()
    return (f"all {n} readings are the same: see that the instrument followed the beam before you trust them",)


def _entered(rows: Sequence[Any], stations: dict[int, StationInfo], default: tuple[float, float]) -> _Offsets:
    u = np.array([(row.u_v_um, row.u_h_um) for row in rows], dtype=np.float64)
    missing = np.isnan(u)
    u = np.where(missing, np.array(default), u)
    remarks: tuple[str, ...] = ()
    if missing.any():
        remarks = (f"uncertainty not stated; {default[0]:g} um (v) and {default[1]:g} um (h) taken, as in this fleet",)
    return _Offsets(
        stations=tuple(stations[row.station_id] for row in rows),
        value_um=np.array([(row.v_um, row.h_um) for row in rows], dtype=np.float64),
        covariance_um2=_entered_covariance(u),
        u_um=u,
        dof=None,
        setup_um2=SETUP_SHARE * u**2,
        method="entered",
        adjustment=None,
        remarks=remarks,
    )


def _entered_covariance(u_um: FloatArray) -> FloatArray:
    """Return the covariance of entered offsets: the set-up's share is one error for all stations of an axis."""
    covariance = np.zeros((u_um.size, u_um.size))
    for axis in range(2):
        u = u_um[:, axis]
        covariance[axis::2, axis::2] = SETUP_SHARE * np.outer(u, u) + np.diag((1.0 - SETUP_SHARE) * u**2)
    return covariance


def _rows(
    surveys: Sequence[_Survey], offsets: dict[int, _Offsets], plant: Plant
) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    reductions: list[tuple[object, ...]] = []
    reduced: list[tuple[object, ...]] = []
    for survey in surveys:
        got = offsets.get(survey.id)
        if got is None:
            remarks = json.dumps(["no readings and no offsets in this survey"])
            reductions.append((survey.id, survey.version, *[None] * 5, remarks, *[None] * 3))
            continue
        day = survey.measured_at.astimezone(survey.line.zone).date()
        warm, cold, covariance = brought_to_cold(
            plant.geometry(survey.line, day),
            survey.temperatures,
            got.stations,
            got.value_um,
            got.covariance_um2,
            level_recorded=survey.level_recorded,
        )
        hidden = () if survey.temperatures.recorded() else _could_hide(plant, survey, got, day)
        remarks = json.dumps([*got.remarks, *warm.remarks, *hidden])
        reductions.append(
            (
                survey.id, survey.version, *_solution(got, covariance), remarks, _budget(got, warm.u_um), _common(got),
                slips_as_text(got.slips, got.stations),
            )
        )  # fmt: skip
        for k, station in enumerate(got.stations):
            reduced.append(
                (
                    survey.id, station.id, *got.value_um[k].tolist(), *got.u_um[k].tolist(),
                    *((None, None) if got.dof is None else got.dof[k].tolist()), *got.setup_um2[k].tolist(),
                    float(cold.v_cold_um[k]), float(got.value_um[k, 1]), float(cold.u_v_cold_um[k]),
                    float(got.u_um[k, 1]), got.method,
                )
            )  # fmt: skip
    return reductions, reduced


def brought_to_cold(
    geometry: LineGeometry,
    temperatures: Temperatures,
    stations: Sequence[StationInfo],
    value_um: FloatArray,
    covariance_um2: FloatArray,
    *,
    level_recorded: bool,
) -> tuple[Rise, ColdOffsets, FloatArray]:
    """Bring offsets as surveyed to the line's cold reference.

    Parameters
    ----------
    geometry : the line as it stood that day
    stations : where the offsets are, n of them
    value_um, covariance_um2 : offsets (n, 2) and their covariance (2 n, 2 n), order v, h of each station in turn
    level_recorded : whether the gearbox's level was read

    Returns
    -------
    the rise taken off, the cold vertical offsets, and the covariance of all cold offsets
    """
    distance_mm = np.array([station.distance_mm for station in stations], dtype=np.float64)
    warm = rise(geometry, temperatures, distance_mm, gearbox_level_recorded=level_recorded)
    cold = to_cold_reference(value_um[:, 0], covariance_um2[::2, ::2], warm)
    covariance = covariance_um2.copy()
    covariance[::2, ::2] = cold.covariance
    return warm, cold, covariance


def _could_hide(plant: Plant, survey: _Survey, got: _Offsets, day: date) -> tuple[str, ...]:
    """Say what a survey without temperatures could hide: what ten kelvin would do by the heat model."""
    warmer = Temperatures(barrel_c=survey.line.cold_reference_c + _TEN_K, base_c=survey.line.cold_reference_c)
    distance_mm = np.array([station.distance_mm for station in got.stations], dtype=np.float64)
    would = rise(plant.geometry(survey.line, day), warmer, distance_mm)
    if not would.applicable:
        return ()
    most = float(np.abs(would.v_um).max())
    return (
        f"no temperatures recorded: for every {_TEN_K:.0f} K that the barrel was above the cold reference, "
        f"up to {most:.0f} um of rise could hide here",
    )


def _figures(values: FloatArray) -> list[Any]:
    """Return an array as nested lists to a ten-thousandth, which is finer than any of it is known."""
    figures: list[Any] = np.round(values, 4).tolist()
    return figures


def _solution(got: _Offsets, cold_covariance_um2: FloatArray) -> tuple[object, ...]:
    """Return dof, scale, covariance, beam and closure of a survey as the store keeps them."""
    matrices = {"stations": [s.code for s in got.stations], "um2": _figures(got.covariance_um2)}
    if not np.array_equal(got.covariance_um2, cold_covariance_um2):
        matrices["cold_um2"] = _figures(cold_covariance_um2)
    covariance = json.dumps(matrices)
    adjusted = got.adjustment
    if adjusted is None:
        return None, None, covariance, None, None
    beam = [
        {
            "state": state.state,
            "offset_um": state.offset_um.tolist(),
            "direction_um_per_m": state.direction_um_per_m.tolist(),
        }
        for state in adjusted.beam
    ]
    closure = None if adjusted.closure_um is None else json.dumps(adjusted.closure_um.tolist())
    return adjusted.dof_survey, adjusted.scale, covariance, json.dumps(beam), closure


def _budget(got: _Offsets, u_warm_um: FloatArray) -> str:
    """Return what every cause contributes to the standard uncertainty of each cold offset, by station in order."""
    if got.adjustment is None:
        u_um = {"as entered": got.u_um}
    else:
        parts = np.sqrt(np.maximum(got.adjustment.variance_parts_um2, 0.0))
        u_um = {part: parts[:, :, k] for k, part in enumerate(PARTS)}
    if u_warm_um.any():
        u_um["cold reference"] = np.stack([u_warm_um, np.zeros_like(u_warm_um)], axis=1)
    return json.dumps({"stations": [s.code for s in got.stations], "u_um": {k: _figures(v) for k, v in u_um.items()}})


def _common(got: _Offsets) -> str | None:
    adjusted = got.adjustment
    if adjusted is None:
        return None
    return json.dumps(
        {
            "target_zero_um": adjusted.target_zero_um.tolist(),
            "u_target_zero_um": adjusted.u_target_zero_um.tolist(),
            "wander_um": adjusted.wander_um.tolist(),
            "u_wander_um": adjusted.u_wander_um.tolist(),
        }
    )
