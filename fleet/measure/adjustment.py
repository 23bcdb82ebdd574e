"""One weighted least-squares adjustment per survey: readings to offsets with their covariance, whatever was read.

Every bore centre is estimated together with the beam's offset and direction (per beam state), the target's zero and
the wander, from all readings at once: reversal pairs, four positions, sweeps, tries at setting the beam, closure. The
common errors carry a pseudo-observation of zero each, the offsets carry none, so uncertainties come out larger where
less was done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.measure.closure import closure_change
from fleet.measure.design import PER_BEAM_STATE, PER_STATION, Stack, design_matrix
from fleet.measure.expanded import coverage_factor, effective_dof
from fleet.measure.least_squares import scaled_least_squares, weighted_least_squares
from fleet.measure.survey import HOT_FACTOR, Instrument, SurveyReadings, check_instrument, check_readings
from fleet.values import FloatArray, IntArray

STATED_DOF: Final = 10.0
"""How many degrees of freedom an instrument's stated noise is worth."""

PARTS: Final = ("readings", "beam", "target zero", "wander")
"""What carries an offset's variance, in the order of `Adjustment.variance_parts_um2`."""

_STACK_ENTRIES: Final = 2_000_000


@dataclass(frozen=True, slots=True)
class BeamState:
    """The beam's error during one beam state, referred to roll 0: where it falls from the gearbox axis.

    Attributes
    ----------
    state
        The beam state's number as given with the readings.
    offset_um, u_offset_um
        At the gearbox's face and its standard uncertainty, (v, h), shape (2,), + high or right.
    direction_um_per_m, u_direction_um_per_m
        Change along the axis toward the discharge end and its standard uncertainty, (v, h), shape (2,).
    """

    state: int
    offset_um: FloatArray
    direction_um_per_m: FloatArray
    u_offset_um: FloatArray
    u_direction_um_per_m: FloatArray

    def error_um(self, distance_mm: float) -> FloatArray:
        """Return where the beam falls from the axis at a distance from the gearbox's face, (v, h) at roll 0, um."""
        return self.offset_um + self.direction_um_per_m * (distance_mm / 1000.0)


@dataclass(frozen=True, slots=True)
class Adjustment:
    """One survey's offsets with all that carries their uncertainty.

    Attributes
    ----------
    offset_um
        Bore centre from the gearbox axis, shape (n_stations, 2) for v, h, + high or right.
    covariance_um2
        Shape (n_stations * 2, n_stations * 2), order v, h of each station in turn.
    dof
        Effective degrees of freedom of each offset, shape (n_stations, 2).
    variance_parts_um2
        What each of `PARTS` contributes to each offset's variance, shape (n_stations, 2, 4); they add up to it.
    scale
        Factor by which the residuals corrected the stated noise variance.
    dof_survey
        Degrees of freedom that the readings left, before the scale.
    residual_um, u_residual_um
        Reading minus fit in the instrument's own axes and signs, and the standard deviation that noise gives it,
        shape (n_readings, 2).
    beam
        One for every beam state, by rising number.
    target_zero_um, u_target_zero_um
        The target's own zero error and its standard uncertainty, in the instrument's axes and signs, shape (2,).
    wander_um, u_wander_um
        What the readings wandered from first to last and its standard uncertainty, likewise.
    closure_um
        The change of the first station read again at the end, likewise; None where it was not, at the same rolls.
    """

    offset_um: FloatArray
    covariance_um2: FloatArray
    dof: FloatArray
    variance_parts_um2: FloatArray
    scale: float
    dof_survey: float
    residual_um: FloatArray
    u_residual_um: FloatArray
    beam: tuple[BeamState, ...]
    target_zero_um: FloatArray
    u_target_zero_um: FloatArray
    wander_um: FloatArray
    u_wander_um: FloatArray
    closure_um: FloatArray | None

    @property
    def u_um(self) -> FloatArray:
        """Standard uncertainty of each offset, shape (n_stations, 2)."""
        return np.sqrt(np.diagonal(self.covariance_um2)).reshape(-1, 2)

    @property
    def u95_um(self) -> FloatArray:
        """Expanded uncertainty of each offset (95 %, Student's factor for `dof`), shape (n_stations, 2)."""
        return coverage_factor(self.dof) * self.u_um

    @property
    def setup_variance_um2(self) -> FloatArray:
        """What the target's zero contributes to each offset's variance: one value for a session, (n_stations, 2)."""
        return self.variance_parts_um2[:, :, PARTS.index("target zero")]


def adjust(readings: SurveyReadings, instrument: Instrument, *, hot: bool) -> Adjustment:
    """Adjust one survey.

    Parameters
    ----------
    readings
        All readings of the survey.
    instrument
        The instrument they were taken with.
    hot
        Whether the bore was above 60 C: repeatability and wander then count three times.

    Returns
    -------
    Adjustment
        Offsets with their covariance.

    Raises
    ------
    InputError
        The readings or the instrument cannot be reduced; the sentence names what and the remedy.

    References
    ----------
    Weighted least squares with prior pseudo-observations; degrees of freedom by Welch-Satterthwaite, JCGM 100:2008,
    G.4, with the priors known exactly.
    """
    return adjust_many([(readings, instrument, hot)])[0]


def adjust_many(surveys: Sequence[tuple[SurveyReadings, Instrument, bool]]) -> list[Adjustment]:
    """Adjust many surveys, those of one shape in one stacked solution.

    Parameters
    ----------
    surveys
        Readings, instrument and whether the bore was hot, for each survey.

    Returns
    -------
    list of Adjustment
        In the order given; the same as `adjust` on each.

    Raises
    ------
    InputError
        One of the surveys cannot be reduced; with more than one given the sentence says which, counted from 1.
    """
    states: list[IntArray] = []
    groups: dict[tuple[int, int, int], list[int]] = {}
    for place, (readings, instrument, _) in enumerate(surveys):
        try:
            check_instrument(instrument)
            check_readings(readings)
        except InputError as refused:
            if len(surveys) == 1:
                raise
            raise InputError(f"Survey {place + 1} of {len(surveys)}: {refused}") from refused
        states.append(np.unique(readings.beam_state))
        shape = (len(readings.station), len(readings.distance_mm), len(states[-1]))
        groups.setdefault(shape, []).append(place)

    results: dict[int, Adjustment] = {}
    for (n_readings, n_stations, n_states), places in groups.items():
        entries = 2 * n_readings * (PER_STATION * n_stations + PER_BEAM_STATE * n_states)
        # Bounded, because one stack of a whole fleet's history would need gigabytes.
        step = max(1, _STACK_ENTRIES // entries)
        for start in range(0, len(places), step):
            part = places[start : start + step]
            adjusted = _adjust_stack([surveys[place] for place in part], [states[place] for place in part])
            results.update(zip(part, adjusted, strict=True))
    return [results[place] for place in range(len(surveys))]


def planned_u_um(readings: SurveyReadings, instrument: Instrument, *, hot: bool, scale: float) -> FloatArray:
    """Return the standard uncertainties that readings at these rolls give, whatever they may show.

    Parameters
    ----------
    readings
        A survey taken or planned; its values do not count.
    instrument
        The instrument.
    hot
        Whether the bore is above 60 C.
    scale
        Factor on the stated noise variance, as a survey before it found; 1 takes it as stated.

    Returns
    -------
    FloatArray
        Shape (n_stations, 2), um.

    Raises
    ------
    InputError
        As `adjust`.
    """
    check_instrument(instrument)
    check_readings(readings)
    survey = [(readings, instrument, hot)]
    states = [np.unique(readings.beam_state)]
    stack = stacked(survey, states)
    u_noise, u_prior = stated(survey, stack.n_states)
    solution = weighted_least_squares(
        design_matrix(stack),
        np.zeros((1, 2 * len(readings.station))),
        u_noise=u_noise[:, None] * np.sqrt(scale),
        u_prior=u_prior,
    )
    variance = np.diagonal(solution.covariance[0])[: PER_STATION * len(readings.distance_mm)]
    return np.asarray(np.sqrt(variance), dtype=np.float64).reshape(-1, 2)


def _adjust_stack(
    surveys: Sequence[tuple[SurveyReadings, Instrument, bool]], states: Sequence[IntArray]
) -> list[Adjustment]:
    """Adjust surveys of one shape (n_readings, n_stations, n_states)."""
    stack = stacked(surveys, states)
    n_surveys, n_stations = stack.distance_mm.shape
    u_noise, u_prior = stated(surveys, stack.n_states)
    solution, scale, dof_survey = scaled_least_squares(
        design_matrix(stack),
        stack.reading_um.reshape(n_surveys, -1),
        u_noise=u_noise[:, None],
        u_prior=u_prior,
        stated_dof=STATED_DOF,
    )

    n_offsets = PER_STATION * n_stations
    noise_part = solution.noise_variance[:, :n_offsets]
    prior_part = solution.prior_variance[:, :n_offsets]
    n_beam = PER_BEAM_STATE * stack.n_states
    parts = np.stack(
        [
            noise_part,
            prior_part[:, :, :n_beam].sum(axis=2),
            prior_part[:, :, n_beam : n_beam + 2].sum(axis=2),
            prior_part[:, :, n_beam + 2 :].sum(axis=2),
        ],
        axis=2,
    ).reshape(n_surveys, n_stations, 2, len(PARTS))
    noise_dof = np.broadcast_to((STATED_DOF + dof_survey)[:, None], noise_part.shape)
    dof = effective_dof(
        np.sqrt(np.stack([noise_part, prior_part.sum(axis=2)], axis=2)),
        np.stack([noise_dof, np.full_like(noise_part, np.inf)], axis=2),
    ).reshape(n_surveys, n_stations, 2)

    offset_um = solution.estimate[:, :n_offsets].reshape(n_surveys, n_stations, 2)
    covariance_um2 = solution.covariance[:, :n_offsets, :n_offsets]
    common = solution.estimate[:, n_offsets:].reshape(n_surveys, -1, 2)
    variance = np.diagonal(solution.covariance, axis1=1, axis2=2)
    u_common = np.sqrt(variance[:, n_offsets:]).reshape(n_surveys, -1, 2)
    residual_um = solution.residual.reshape(n_surveys, -1, 2)
    left = np.maximum(1.0 - solution.leverage, 0.0)
    u_residual_um = ((u_noise * np.sqrt(scale))[:, None] * np.sqrt(left)).reshape(n_surveys, -1, 2)
    closure_um = closure_change(stack)
    closed = np.isfinite(closure_um[:, 0])
    return [
        Adjustment(
            offset_um=offset_um[i],
            covariance_um2=covariance_um2[i],
            dof=dof[i],
            variance_parts_um2=parts[i],
            scale=float(scale[i]),
            dof_survey=float(dof_survey[i]),
            residual_um=residual_um[i],
            u_residual_um=u_residual_um[i],
            beam=tuple(
                BeamState(
                    state=int(state),
                    offset_um=common[i, 2 * k],
                    direction_um_per_m=common[i, 2 * k + 1],
                    u_offset_um=u_common[i, 2 * k],
                    u_direction_um_per_m=u_common[i, 2 * k + 1],
                )
                for k, state in enumerate(states[i])
            ),
            target_zero_um=common[i, -2],
            u_target_zero_um=u_common[i, -2],
            wander_um=common[i, -1],
            u_wander_um=u_common[i, -1],
            closure_um=closure_um[i] if closed[i] else None,
        )
        for i in range(n_surveys)
    ]


def stacked(surveys: Sequence[tuple[SurveyReadings, Instrument, bool]], states: Sequence[IntArray]) -> Stack:
    readings = [survey[0] for survey in surveys]
    """Return surveys of one shape as one stack, beam states numbered from 0."""
    return Stack(
        distance_mm=np.stack([r.distance_mm for r in readings]),
        station=np.stack([r.station for r in readings]),
        state=np.stack([np.searchsorted(s, r.beam_state) for s, r in zip(states, readings, strict=True)]),
        sequence=np.stack([r.sequence for r in readings]),
        beam_roll_deg=np.stack([r.beam_roll_deg for r in readings]),
        target_roll_deg=np.stack([r.target_roll_deg for r in readings]),
        reading_um=np.stack([np.stack([r.v_um for r in readings]), np.stack([r.h_um for r in readings])], axis=2),
        sense=np.array([[i.sense_v, i.sense_h] for _, i, _ in surveys], dtype=np.float64),
        n_states=len(states[0]),
    )


def stated(surveys: Sequence[tuple[SurveyReadings, Instrument, bool]], n_states: int) -> tuple[FloatArray, FloatArray]:
    """Return the stated noise of a reading, shape (n_surveys,), and the priors of e, theta, z and d."""
    stated = np.array(
        [
            (
                i.repeatability_um * (HOT_FACTOR if hot else 1.0),
                i.resolution_um,
                i.beam_offset_um,
                i.beam_direction_um_per_m,
                i.target_zero_um,
                i.wander_um * (HOT_FACTOR if hot else 1.0),
            )
            for _, i, hot in surveys
        ],
        dtype=np.float64,
    )
    u_noise = np.sqrt(stated[:, 0] ** 2 + stated[:, 1] ** 2 / 12.0)
    beam = np.repeat(np.tile(stated[:, 2:4], (1, n_states)), 2, axis=1)
    return u_noise, np.concatenate([beam, np.repeat(stated[:, 4:6], 2, axis=1)], axis=1)
