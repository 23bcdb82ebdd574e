"""Slips in offsets that were entered without readings: only what was expected can show them."""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.measure.expanded import coverage_factor
from fleet.measure.slips.hypotheses import log_weights, possibilities
from fleet.measure.slips.judging import Forecast, likeliest, own_widening
from fleet.measure.slips.model import CheckName, Expected, Slip, check_expected
from fleet.measure.slips.telling import Found
from fleet.measure.survey import SurveyReadings
from fleet.values import AXES, FloatArray

SETUP_SHARE: Final = 0.4
"""Share of an entered offset's variance that its whole survey has in common (from memory)."""
_ROUNDS: Final = 3


def find_entered_slips(
    offset_um: FloatArray, u_um: FloatArray, *, expected: Expected, distance_mm: FloatArray
) -> tuple[Slip, ...]:
    """Notice what does not fit the forecast in entered offsets; nothing is changed.

    Parameters
    ----------
    offset_um, u_um
        Entered offsets and their standard uncertainties, shape (n_stations, 2) for v, h, um, + high or right.
    expected
        What the survey was expected to show.
    distance_mm
        Stations from the gearbox's face, shape (n_stations,), mm.

    Returns
    -------
    tuple of Slip
        All of them against the forecast; empty where nothing is odd.

    Raises
    ------
    InputError
        Shapes differ, a value is not finite, an uncertainty is not above zero, or the expectation cannot be used.

    References
    ----------
    As `find_slips`.
    """
    n_stations = len(distance_mm)
    if offset_um.shape != (n_stations, 2) or u_um.shape != (n_stations, 2):
        raise InputError(
            f"Offsets and uncertainties have the shapes {offset_um.shape} and {u_um.shape} at {n_stations} stations; "
            "give v and h for each."
        )
    if not (np.isfinite(offset_um).all() and np.isfinite(u_um).all() and (u_um > 0).all()):
        raise InputError("An entered offset or its uncertainty is not a finite number above zero; correct it.")
    check_expected(expected, n_stations)
    if not np.isfinite(expected.offset_um).any():
        return ()
    survey = SurveyReadings(
        distance_mm=distance_mm,
        station=np.arange(n_stations),
        sequence=np.arange(1, n_stations + 1),
        beam_state=np.ones(n_stations, dtype=np.int64),
        beam_roll_deg=np.zeros(n_stations),
        target_roll_deg=np.zeros(n_stations),
        v_um=offset_um[:, 0].copy(),
        h_um=offset_um[:, 1].copy(),
    )
    flat_u = u_um.ravel()
    axis = np.arange(2 * n_stations) % 2
    alike = np.where(axis[:, None] == axis[None, :], SETUP_SHARE, 0.0)
    np.fill_diagonal(alike, 1.0)
    own_um2 = alike * flat_u[:, None] * flat_u[None, :]

    widen_um2 = np.zeros_like(own_um2)
    slips: list[Slip] = []
    for _ in range(_ROUNDS):
        found = [p for p in possibilities(survey, sense=np.ones(2), expected=True) if p.extra_um is None]
        forecast = Forecast(expected, widen_um2)
        offsets = np.stack([_offsets(p.readings) for p in found])
        score = log_weights(found) - np.array([p.stretched + p.stretched_offsets for p in found])
        score += forecast.log_density(offsets, own_um2[None], np.stack([own_widening(p) for p in found]))
        benign = float(forecast.log_density(_offsets(survey)[None], own_um2[None])[0])
        likely = likeliest(found, score, benign, own_gain=np.zeros(len(found)), forecast=True)
        if likely is None:
            break
        slips.append(_as_slip(likely, _offsets(survey), own_um2 + widen_um2, expected))
        widen_um2 = widen_um2 + own_widening(likely.possibility)
        survey = likely.possibility.readings
    return tuple(slips)


def _offsets(survey: SurveyReadings) -> FloatArray:
    offset_um = np.empty((len(survey.distance_mm), 2))
    offset_um[survey.station, 0] = survey.v_um
    offset_um[survey.station, 1] = survey.h_um
    return offset_um


def _as_slip(found: Found, offset_um: FloatArray, own_um2: FloatArray, expected: Expected) -> Slip:
    likely = found.possibility
    check: CheckName = likely.check if found.plain else "unlike_forecast"
    also = tuple(kind for kind in found.also if kind != check.replace("_", " "))
    if found.plain and likely.station is not None and not found.station_plain:
        also = (*also, "another station")
    station = likely.station if found.station_plain else None
    other_station = likely.other_station if found.station_plain else None
    axis = likely.axis if found.axis_plain else None
    after_um = _offsets(likely.readings)
    difference = offset_um - expected.offset_um
    u_um = np.sqrt(np.diagonal(own_um2).reshape(-1, 2) + expected.u_um**2)
    axes = [a for a, name in enumerate(AXES) if axis in (None, name)]
    misfit_um = u95_misfit_um = agrees_to_um = None
    if station is not None and other_station is None:
        told = [a for a in axes if np.isfinite(difference[station, a])]
        if told:
            worst = max(told, key=lambda a: abs(difference[station, a]) / u_um[station, a])
            misfit_um = abs(float(difference[station, worst]))
            u95_misfit_um = float(coverage_factor(expected.dof) * u_um[station, worst])
    named = found.plain and check != "unlike_forecast"
    if named:
        left = (after_um - expected.offset_um)[:, axes]
        stations = [s for s in (station, other_station) if s is not None]
        left = left[stations] if stations else left
        left = left[np.isfinite(left)]
        agrees_to_um = float(np.sqrt(np.mean(left**2))) if len(left) else None
    one = station is not None and axis is not None
    at = (station, AXES.index(axis)) if station is not None and axis is not None else (0, 0)
    return Slip(
        check=check,
        axis=axis,
        station=station,
        other_station=other_station,
        sequence=None,
        cause=likely.cause if found.plain else "cause unknown",
        misfit_um=misfit_um,
        u95_misfit_um=u95_misfit_um,
        typed_um=None,
        would_read_um=None,
        offset_um=float(offset_um[at]) if one else None,
        would_be_um=float(after_um[at]) if one and named else None,
        expected_um=float(expected.offset_um[at]) if one and np.isfinite(expected.offset_um[at]) else None,
        agrees_to_um=agrees_to_um,
        against_forecast=True,
        also=also,
    )
