"""Readings that are not in the record yet, brought to cold offsets by the same adjustment as those that are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.measure import Adjustment, Instrument, SurveyReadings, adjust
from fleet.services.expanded import expanded
from fleet.services.plant import LineInfo, Plant, StationInfo
from fleet.services.readings import survey_readings
from fleet.services.reduction import brought_to_cold, remarks_on
from fleet.thermal.geometry import Temperatures
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class TypedReading:
    """One complete reading, as `services.readings` takes a row of the store."""

    station_id: int
    sequence: int
    beam_state: int
    beam_roll_deg: float
    target_roll_deg: float
    v_um: float
    h_um: float


@dataclass(frozen=True, slots=True)
class Unsaved:
    """One pass, reduced.

    Attributes
    ----------
    stations
        Those with readings, by distance, n of them.
    readings, adjusted
        What went into the adjustment and what came out.
    cold_um, u95_um
        Offsets at the cold reference and their expanded uncertainty, (n, 2). [um]
    covariance_um2
        Of the cold offsets, (2 n, 2 n). [um^2]
    setup_um2
        What the session's set-up contributes to each variance, (n, 2). [um^2]
    warm_um, warm_var_um2
        As surveyed minus cold, and its variance, (n,): of v alone. [um], [um^2]
    remarks
        What the reduction has to say.
    """

    stations: tuple[StationInfo, ...]
    readings: SurveyReadings
    adjusted: Adjustment
    cold_um: FloatArray
    u95_um: FloatArray
    covariance_um2: FloatArray
    setup_um2: FloatArray
    warm_um: FloatArray
    warm_var_um2: FloatArray
    remarks: tuple[str, ...]

    def place(self, station: str) -> int | None:
        """Return where a station stands among those with readings."""
        return next((k for k, each in enumerate(self.stations) if each.code == station), None)

    def axis_covariance(self, axis: int) -> FloatArray:
        """Return the covariance of the cold offsets of one axis, (n, n)."""
        return self.covariance_um2[axis::2, axis::2]


def reduce_unsaved(
    rows: Sequence[TypedReading],
    stations: Mapping[int, StationInfo],
    instrument: Instrument,
    *,
    plant: Plant,
    line: LineInfo,
    day: date,
    temperatures: Temperatures,
    level_recorded: bool,
    hot: bool,
) -> Unsaved:
    """Reduce the readings of one pass.

    Parameters
    ----------
    rows : at least one complete reading
    stations : every station by id
    instrument : what they were taken with
    day : of the visit at the site
    temperatures : as typed so far
    level_recorded : whether the gearbox's level was typed
    hot : whether the bore is above 60 C

    Raises
    ------
    InputError
        The readings cannot be adjusted.
    """
    readings, at = survey_readings(rows, stations)
    got = adjust(readings, instrument, hot=hot)
    warm, cold, covariance = brought_to_cold(
        plant.geometry(line, day), temperatures, at, got.offset_um, got.covariance_um2, level_recorded=level_recorded
    )
    u_um = np.sqrt(np.maximum(np.diagonal(covariance), 0.0)).reshape(-1, 2)
    u95 = np.array([[expanded(u_um[k, a], float(got.dof[k, a])) for a in (0, 1)] for k in range(len(at))])
    value = got.offset_um.copy()
    value[:, 0] = cold.v_cold_um
    return Unsaved(
        stations=at,
        readings=readings,
        adjusted=got,
        cold_um=value,
        u95_um=u95,
        covariance_um2=covariance,
        setup_um2=got.setup_variance_um2,
        warm_um=got.offset_um[:, 0] - cold.v_cold_um,
        warm_var_um2=np.maximum(cold.u_v_cold_um**2 - got.u_um[:, 0] ** 2, 0.0),
        remarks=(*remarks_on(readings, at), *warm.remarks),
    )
