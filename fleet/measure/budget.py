"""What would halve a survey's largest uncertainty: other ways of reading it, worked out before anybody reads again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.measure.adjustment import Adjustment, planned_u_um
from fleet.measure.survey import Instrument, SurveyReadings
from fleet.values import FloatArray, IntArray

Doing = Literal[
    "read it cold",
    "read the first station again at the end",
    "reverse the beam at every station",
    "reverse the beam and turn the target at every station",
    "read everything twice",
    "read everything four times, the target turned too",
]
_HALF_TURN: Final = 180.0
_GAIN: Final = 0.98
"""Ways of reading whose uncertainties differ by less than this ratio are as good as each other."""


@dataclass(frozen=True, slots=True)
class Remedy:
    """The least work that halves the worst station's uncertainty; where none does, that lowers it about as far as any.

    Attributes
    ----------
    doing
        What to do the next time.
    u_now_um, u_then_um
        Standard uncertainty of the station known worst, now, and with that done of the one known worst then. [um]
    halves
        Whether that is half of what it is now, or less.
    """

    doing: Doing
    u_now_um: float
    u_then_um: float
    halves: bool


def remedy(
    readings: SurveyReadings,
    instrument: Instrument,
    adjustment: Adjustment,
    *,
    hot: bool,
    u_warm_v_um: FloatArray | None = None,
) -> Remedy | None:
    """Find what would halve the uncertainty of a survey's worst cold offset.

    Every way of reading is worked out with the adjustment's own equations and the noise this survey showed: reading
    cold, closing the pass, reversing at every station, turning the target too, reading more often. The list goes from
    little work to much. A pass that was closed stays closed.

    Parameters
    ----------
    readings, instrument, hot
        The survey as it was taken.
    adjustment
        What it came to.
    u_warm_v_um
        What bringing it to the cold reference added to each station's v, (n_stations,), standard uncertainty; None or
        zeros: read cold. [um]

    Returns
    -------
    Remedy or None
        None where nothing of this would lower it by a fiftieth.

    Raises
    ------
    InputError
        As `adjust`.
    """
    n_stations = len(readings.distance_mm)
    warm = np.zeros(n_stations) if u_warm_v_um is None else u_warm_v_um
    cold = np.zeros((n_stations, 2))
    heat = np.stack([warm, np.zeros(n_stations)], axis=1)
    now = float(np.sqrt(adjustment.u_um**2 + heat**2).max())

    def then(taken: SurveyReadings, *, added: FloatArray = heat, in_heat: bool = hot) -> float:
        u = planned_u_um(taken, instrument, hot=in_heat, scale=adjustment.scale)
        return float(np.sqrt(u**2 + added**2).max())

    reversed_ = _scheme(readings, ((0.0, 0.0), (_HALF_TURN, 0.0)))
    turned = _scheme(readings, ((0.0, 0.0), (0.0, _HALF_TURN), (_HALF_TURN, _HALF_TURN), (_HALF_TURN, 0.0)))
    visits = _visits(readings)
    leaves = bool(np.any(visits != visits[0]))
    closed = leaves and visits[0] == visits[-1]
    if closed:
        reversed_, turned = _closed(reversed_), _closed(turned)
    tried: list[tuple[Doing, float]] = []
    if warm.any() or hot:
        tried.append(("read it cold", then(readings, added=cold, in_heat=False)))
    if leaves and not closed:
        tried.append(("read the first station again at the end", then(_closed(readings))))
    tried += [
        ("reverse the beam at every station", then(reversed_)),
        ("reverse the beam and turn the target at every station", then(turned)),
        ("read everything twice", then(_repeated(readings, 2))),
        ("read everything four times, the target turned too", then(_repeated(turned, 4))),
    ]
    # Four times the readings halve what noise alone carries, but for the last digit of a float.
    halving = next((entry for entry in tried if entry[1] <= now / 2.0 * (1.0 + 1e-9)), None)
    best = min(u_then for _, u_then in tried)
    doing, u_then = halving or next(entry for entry in tried if _GAIN * entry[1] <= best)
    if u_then > _GAIN * now:
        return None
    return Remedy(doing, now, u_then, halving is not None)


def _scheme(readings: SurveyReadings, rolls: tuple[tuple[float, float], ...]) -> SurveyReadings:
    """Plan a pass that reads every station once at each pair of beam and target roll."""
    n_stations = len(readings.distance_mm)
    station = np.repeat(np.arange(n_stations), len(rolls))
    return _planned(readings, station, np.ones_like(station), np.tile(np.array(rolls), (n_stations, 1)))


def _closed(readings: SurveyReadings) -> SurveyReadings:
    """Plan the same pass with the opening readings of its last beam state repeated at the end.

    An earlier beam state cannot be read again: the beam has been trimmed since.
    """
    order = np.argsort(readings.sequence, kind="stable")
    last = order[readings.beam_state[order] == readings.beam_state[order[-1]]]
    opening = np.logical_and.accumulate(readings.station[last] == readings.station[last[0]])
    return _picked(readings, np.concatenate([order, last[opening]]))


def _repeated(readings: SurveyReadings, times: int) -> SurveyReadings:
    return _picked(readings, np.repeat(np.argsort(readings.sequence, kind="stable"), times))


def _picked(readings: SurveyReadings, rows: IntArray) -> SurveyReadings:
    rolls = np.stack([readings.beam_roll_deg, readings.target_roll_deg], axis=1)
    return _planned(readings, readings.station[rows], readings.beam_state[rows], rolls[rows])


def _planned(readings: SurveyReadings, station: IntArray, state: IntArray, rolls: FloatArray) -> SurveyReadings:
    """Return a pass of readings yet to be taken; planned ones show nought, which their uncertainty does not mind."""
    return SurveyReadings(
        distance_mm=readings.distance_mm,
        station=station,
        sequence=np.arange(len(station)),
        beam_state=state,
        beam_roll_deg=rolls[:, 0],
        target_roll_deg=rolls[:, 1],
        v_um=np.zeros(len(station)),
        h_um=np.zeros(len(station)),
    )


def _visits(readings: SurveyReadings) -> IntArray:
    """Return the stations of the last beam state in the order they were read."""
    order = np.argsort(readings.sequence, kind="stable")
    last = order[readings.beam_state[order] == readings.beam_state[order[-1]]]
    return np.asarray(readings.station[last], dtype=np.int64)
