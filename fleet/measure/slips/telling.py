"""From what most likely happened to the facts that a person is told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.measure.adjustment import STATED_DOF, adjust
from fleet.measure.expanded import coverage_factor
from fleet.measure.slips.hypotheses import Possibility
from fleet.measure.slips.model import CheckName, Expected, Slip
from fleet.measure.slips.weighing import Weighed
from fleet.measure.survey import Instrument, SurveyReadings
from fleet.values import AXES, Axis, FloatArray


@dataclass(frozen=True, slots=True)
class Found:
    """The likeliest possibility and how plainly the data say it.

    Attributes
    ----------
    possibility
        The likeliest of the likeliest kind.
    log_factor
        Logarithm of how many times likelier the survey is with slips than without.
    chance
        Share of its kind among all explanations.
    plain, axis_plain, station_plain, reading_plain
        Whether its kind, its axis, its station (or stations) and its reading stand out far enough to be named.
    also
        Other kinds worth a mention.
    against_forecast
        Whether the evidence is the forecast rather than the readings themselves.
    """

    possibility: Possibility
    log_factor: float
    chance: float
    plain: bool
    also: tuple[str, ...]
    axis_plain: bool
    station_plain: bool
    reading_plain: bool
    against_forecast: bool


def as_slip(
    found: Found,
    *,
    base: Weighed,
    after: Weighed,
    noise_um: float,
    expected: Expected | None,
    readings: SurveyReadings,
    instrument: Instrument,
    hot: bool,
    widen_um2: FloatArray,
) -> Slip:
    """Return the facts of what was found.

    Parameters
    ----------
    found
        The likeliest possibility.
    base
        The survey as typed, weighed.
    after
        The survey if it were so, weighed.
    noise_um
        Stated noise of a reading.
    expected
        What was expected, or None.
    readings, instrument, hot
        The survey as typed.
    widen_um2
        By how much the expectation was widened before, covariance of all offsets.

    Returns
    -------
    Slip
        Only what the data tell is filled in.
    """
    likely = found.possibility
    check: CheckName = likely.check
    if not found.plain:
        check = "unlike_forecast" if found.against_forecast else "unexplained_residual"
    station = likely.station if found.station_plain else None
    other_station = likely.other_station if found.station_plain else None
    reading = likely.reading if found.reading_plain else None
    axis = likely.axis if found.axis_plain else None
    also = tuple(kind for kind in found.also if kind != check.replace("_", " "))
    if found.plain and likely.station is not None and station is None:
        also = (*also, "another station")

    misfit: tuple[float | None, float | None] = (None, None)
    if found.against_forecast:
        if station is not None and expected is not None and check != "stations_swapped":
            misfit = _from_forecast(base, noise_um, expected, widen_um2, station, axis)
    elif likely.cause != "restless":
        misfit = _from_others(base, noise_um, likely, readings, float(after.factor[0]))

    offset_um = would_be_um = expected_um = typed_um = would_read_um = None
    if axis is not None:
        a = AXES.index(axis)
        if station is not None:
            offset_um = float(adjust(readings, instrument, hot=hot).offset_um[station, a])
            if likely.extra_um is None and check != "unlike_forecast":
                would_be_um = float(adjust(likely.readings, instrument, hot=hot).offset_um[station, a])
            elif check != "unlike_forecast":
                would_be_um = float(after.offset[0, station, a]) * noise_um
            if expected is not None and np.isfinite(expected.offset_um[station, a]):
                expected_um = float(expected.offset_um[station, a])
        if reading is not None and likely.extra_um is None and check in ("sign_turned", "unit_mistyped"):
            column = f"{axis}_um"
            typed_um = float(getattr(readings, column)[reading])
            would_read_um = float(getattr(likely.readings, column)[reading])
    sequence = int(readings.sequence[reading]) if reading is not None and likely.reading is not None else None
    return Slip(
        check=check,
        axis=axis,
        station=station,
        other_station=other_station,
        sequence=sequence,
        cause=likely.cause if found.plain else "cause unknown",
        misfit_um=misfit[0],
        u95_misfit_um=misfit[1],
        typed_um=typed_um,
        would_read_um=would_read_um,
        offset_um=offset_um,
        would_be_um=would_be_um,
        expected_um=expected_um,
        agrees_to_um=_remains(found, check, after, noise_um, expected, station, axis),
        against_forecast=found.against_forecast,
        also=also,
    )


def _from_others(
    base: Weighed, noise_um: float, likely: Possibility, readings: SurveyReadings, factor: float
) -> tuple[float | None, float | None]:
    """Return how far what is odd lies from what the other readings say, and its 95 % range, um."""
    n_readings = len(readings.station)
    if likely.extra_um is not None and likely.check != "unexplained_residual":
        columns = likely.extra_um[:, :, :2] / np.abs(likely.extra_um).max()
    elif likely.reading is not None:
        columns = np.zeros((n_readings, 2, 2))
        columns[likely.reading] = np.eye(2)
        if likely.axis is not None:
            columns = columns[:, :, [AXES.index(likely.axis)]]
    else:
        return None, None
    size, covariance = base.answer(0, columns, factor)
    if not np.isfinite(covariance).all():
        return None, None
    worst = int(np.argmax(np.abs(size) / np.sqrt(np.diagonal(covariance))))
    student = float(coverage_factor(STATED_DOF + max(base.dof - len(size), 0)))
    return abs(float(size[worst])) * noise_um, student * float(np.sqrt(covariance[worst, worst])) * noise_um


def _from_forecast(
    base: Weighed, noise_um: float, expected: Expected, widen_um2: FloatArray, station: int, axis: Axis | None
) -> tuple[float | None, float | None]:
    """Return how far the offset at a station lies from what was expected, and its 95 % range, um."""
    own = np.diagonal(base.offset_covariance()[0]).reshape(-1, 2)[station] * noise_um**2
    own = own + np.diagonal(widen_um2).reshape(-1, 2)[station]
    difference = base.offset[0, station] * noise_um - expected.offset_um[station]
    u_um = np.sqrt(own + expected.u_um[station] ** 2)
    told = [a for a, name in enumerate(AXES) if axis in (None, name) and np.isfinite(difference[a])]
    if not told:
        return None, None
    worst = max(told, key=lambda a: abs(difference[a]) / u_um[a])
    return abs(float(difference[worst])), float(coverage_factor(expected.dof) * u_um[worst])


def _remains(
    found: Found,
    check: CheckName,
    after: Weighed,
    noise_um: float,
    expected: Expected | None,
    station: int | None,
    axis: Axis | None,
) -> float | None:
    """Return what remains if it were so: against the forecast, or of the readings, root mean square, um."""
    if not found.plain or check == "unlike_forecast":
        return None
    axes = [AXES.index(axis)] if axis is not None else [0, 1]
    if found.against_forecast and expected is not None:
        difference = (after.offset[0] * noise_um - expected.offset_um)[:, axes]
        stations = [s for s in (station, found.possibility.other_station) if s is not None]
        left = difference[stations] if stations else difference
    else:
        left = after.residual()[0][:, axes] * noise_um
        if station is not None:
            left = left[after.mean[0, station] > 0]
    left = left[np.isfinite(left)]
    return float(np.sqrt(np.mean(left**2))) if len(left) else None
