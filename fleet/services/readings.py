"""Readings and instruments from the store's rows to what the adjustment takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fleet.measure import Instrument, SurveyReadings
from fleet.services.plant import StationInfo

HOT_ABOVE_C: Final = 60.0
"""A bore warmer than this is hot: repeatability and wander count three times."""


def is_hot(barrel_c: float | None) -> bool:
    """Return whether a bore was hot when it was read; nothing recorded: it was not."""
    return barrel_c is not None and barrel_c > HOT_ABOVE_C


def instrument_of(row: Any) -> Instrument | None:
    """Return an instrument's senses and stated uncertainties, None without both senses; empty cells take defaults."""
    if row.sense_v is None or row.sense_h is None:
        return None
    stated = {
        name: getattr(row, name)
        for name in (
            "repeatability_um", "resolution_um", "target_zero_um", "beam_offset_um", "beam_direction_um_per_m",
            "wander_um",
        )
        if getattr(row, name) is not None
    }  # fmt: skip
    sign = {"bore_from_beam": 1, "beam_from_bore": -1}
    return Instrument(sense_v=sign[row.sense_v], sense_h=sign[row.sense_h], **stated)


def survey_readings(
    rows: Sequence[Any], stations: Mapping[int, StationInfo]
) -> tuple[SurveyReadings, tuple[StationInfo, ...]]:
    """Return one survey's readings and its stations, by distance.

    Parameters
    ----------
    rows : the survey's rows of `queries.readings`
    stations : every station by id
    """
    seen = sorted({row.station_id for row in rows}, key=lambda i: (stations[i].distance_mm, stations[i].code))
    index = {station_id: k for k, station_id in enumerate(seen)}
    columns = np.array([(row.beam_roll_deg, row.target_roll_deg, row.v_um, row.h_um) for row in rows], dtype=np.float64)
    whole = np.array([(index[row.station_id], row.sequence, row.beam_state) for row in rows], dtype=np.int64)
    readings = SurveyReadings(
        distance_mm=np.array([stations[i].distance_mm for i in seen], dtype=np.float64),
        station=whole[:, 0],
        sequence=whole[:, 1],
        beam_state=whole[:, 2],
        beam_roll_deg=columns[:, 0],
        target_roll_deg=columns[:, 1],
        v_um=columns[:, 2],
        h_um=columns[:, 3],
    )
    return readings, tuple(stations[i] for i in seen)
