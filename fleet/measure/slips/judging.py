"""One survey looked into: what most likely happened, whether that is plain, and whether something remains after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import logsumexp

from fleet.measure.adjustment import stacked, stated
from fleet.measure.slips.hypotheses import Possibility, log_weights, possibilities
from fleet.measure.slips.model import Expected, Slip
from fleet.measure.slips.quiet import offsets_odd, readings_odd
from fleet.measure.slips.telling import Found, as_slip
from fleet.measure.slips.weighing import (
    LOUD,
    STATED,
    TIDY,
    NoiseLaw,
    Weighed,
    expected_covariance,
    log_expected,
    weigh,
)
from fleet.measure.survey import Instrument, SurveyReadings
from fleet.values import FloatArray

ALARM_FACTOR: Final = 20.0
"""How many times likelier the readings must be with slips than without before anything is raised.

A clean survey reaches a factor K with a chance of at most 1 / K (Markov's inequality: the factor's mean is 1). That
bound is loose: in simulated surveys fewer than 1 in 200 reach 20, whatever the scheme.
"""
PLAIN: Final = 0.8
"""How likely one kind, one place or one reading must be among all explanations to be named as such (our choice)."""
MENTIONED: Final = 0.05
"""How likely another kind must be to be mentioned beside it (our choice)."""
OF_ITSELF_FACTOR: Final = 20.0
"""From what factor on the readings alone count as the evidence, not the forecast (our choice)."""
_ROUNDS: Final = 3
_STACK_ENTRIES: Final = 4_000_000
_MOST_COLUMNS: Final = 24
_TIDY_WEIGHT: Final = 0.01
_LOUD_WEIGHT: Final = 0.02


@dataclass(frozen=True, slots=True)
class _Known:
    """What earlier rounds accepted: the corrected readings, further common errors, and a wider expectation."""

    readings: SurveyReadings
    extra_um: FloatArray
    widen_um2: FloatArray


def judge(
    readings: SurveyReadings,
    instrument: Instrument,
    expected: Expected | None,
    *,
    hot: bool,
) -> tuple[Slip, ...]:
    """Say what does not fit in one survey.

    Parameters
    ----------
    readings, instrument
        The survey, checked before.
    expected
        What it was expected to show, or None.
    hot
        Whether the bore was above 60 C.

    Returns
    -------
    tuple of Slip
        At most three, each found after the one before it was taken out.
    """
    if expected is not None and not np.isfinite(expected.offset_um).any():
        expected = None
    known = _nothing_known(readings)
    slips: list[Slip] = []
    for _ in range(_ROUNDS):
        step = _round(known, instrument, hot, expected, again=bool(slips))
        if step is None:
            break
        slip, _, known_after = step
        slips.append(slip)
        if known_after is None:
            break
        known = known_after
    return tuple(slips)


def first_found(
    readings: SurveyReadings, instrument: Instrument, expected: Expected | None, *, hot: bool
) -> Found | None:
    """Return the likeliest of all that may have happened in one survey, with how plain it is; None: nothing odd.

    Parameters
    ----------
    readings, instrument, expected, hot
        As in `judge`.

    Returns
    -------
    Found or None
        What the first slip of `judge` is told from.
    """
    step = _round(_nothing_known(readings), instrument, hot, expected, again=False)
    return None if step is None else step[1]


def _nothing_known(readings: SurveyReadings) -> _Known:
    n_offsets = 2 * len(readings.distance_mm)
    return _Known(readings, np.zeros((len(readings.station), 2, 0)), np.zeros((n_offsets, n_offsets)))


def _round(
    known: _Known, instrument: Instrument, hot: bool, expected: Expected | None, *, again: bool
) -> tuple[Slip, Found, _Known | None] | None:
    readings = known.readings
    u_noise, _ = stated([(readings, instrument, hot)], 1)
    noise_um = float(u_noise[0])

    def weighed(of: list[SurveyReadings], extra: FloatArray | None = None, law: NoiseLaw = STATED) -> Weighed:
        surveys = [(one, instrument, hot) for one in of]
        states = np.unique(readings.beam_state)
        stack = stacked(surveys, [states] * len(of))
        noise, prior = stated(surveys, stack.n_states)
        fixed = np.broadcast_to(known.extra_um, (len(of), *known.extra_um.shape))
        both = fixed if extra is None else np.concatenate([fixed, extra], axis=3)
        return weigh(stack, u_noise=noise, u_prior=prior, extra=both, law=law)

    base = weighed([readings])
    if again and not (
        readings_odd(base)[0]
        or (expected is not None and offsets_odd(base, u_noise, [0], [expected], known.widen_um2)[0])
    ):
        return None
    found = possibilities(
        readings,
        sense=np.array([instrument.sense_v, instrument.sense_h], dtype=np.float64),
        expected=expected is not None,
    )
    forecast = None if expected is None else Forecast(expected, known.widen_um2)

    def unlike(of: Weighed, widen_um2: FloatArray | None = None) -> FloatArray:
        if forecast is None:
            return np.zeros(len(of.offset))
        return forecast.log_density(of.offset * noise_um, of.offset_covariance() * noise_um**2, widen_um2)

    of_base = float(unlike(base)[0])
    density = np.full(len(found), base.log_density[0])
    fit = np.full(len(found), of_base)
    changed = [i for i, p in enumerate(found) if p.extra_um is None and p.widen_um is None]
    stepped = [i for i, p in enumerate(found) if p.extra_um is not None]
    at_once = max(1, _STACK_ENTRIES // (2 * len(readings.station) * _MOST_COLUMNS))
    for sort in (changed, stepped):
        for start in range(0, len(sort), at_once):
            part = sort[start : start + at_once]
            of_part = weighed([found[i].readings for i in part], _extras([found[i] for i in part]))
            density[part] = of_part.log_density
            fit[part] = unlike(of_part)
    widened = [i for i, p in enumerate(found) if p.widen_um is not None]
    if widened:
        fit[widened] = unlike(base, np.stack([own_widening(found[i]) for i in widened]))
    density -= np.array([p.stretched for p in found])
    if forecast is not None:
        fit -= np.array([p.stretched_offsets for p in found])

    whole = density + fit + log_weights(found)
    tidy = np.log(_TIDY_WEIGHT) + weighed([readings], law=TIDY).log_density[0]
    benign = float(np.logaddexp(base.log_density[0], tidy)) + of_base
    loud = float(np.log(_LOUD_WEIGHT) + weighed([readings], law=LOUD).log_density[0]) + of_base
    gain = np.append(density - base.log_density[0], np.inf)
    found.append(Possibility("unexplained_residual", "restless", None, None, readings))
    likely = likeliest(found, np.append(whole, loud), benign, own_gain=gain, forecast=expected is not None)
    if likely is None:
        return None
    slip = as_slip(
        likely,
        base=base,
        after=weighed([likely.possibility.readings], _extras([likely.possibility])),
        noise_um=noise_um,
        expected=expected,
        readings=readings,
        instrument=instrument,
        hot=hot,
        widen_um2=known.widen_um2,
    )
    if likely.possibility.cause == "restless":
        return slip, likely, None
    widen_um2 = known.widen_um2 + own_widening(likely.possibility)
    extra_um = known.extra_um
    if likely.possibility.extra_um is not None:
        extra_um = np.concatenate([extra_um, likely.possibility.extra_um], axis=2)
    return slip, likely, _Known(likely.possibility.readings, extra_um, widen_um2)


def _extras(found: list[Possibility]) -> FloatArray | None:
    """Return the further errors of possibilities side by side, shape (n, n_readings, 2, 4); None where none has any."""
    if all(p.extra_um is None for p in found):
        return None
    extra_um = np.zeros((len(found), len(found[0].readings.station), 2, 4))
    for i, p in enumerate(found):
        if p.extra_um is not None:
            extra_um[i, :, :, : p.extra_um.shape[2]] = p.extra_um
    return extra_um


def likeliest(
    found: list[Possibility], log_score: FloatArray, log_benign: float, *, own_gain: FloatArray, forecast: bool
) -> Found | None:
    """Return the likeliest possibility and how plain it is, or None where nothing has to be raised.

    Parameters
    ----------
    found
        Everything that may have happened.
    log_score
        Logarithm of each one's prior weight times the density it gives the survey, shape (n,).
    log_benign
        The same for a survey without slips.
    own_gain
        What each gains over a survey without slips by the readings alone, logarithm, shape (n,).
    forecast
        Whether anything was expected.

    Returns
    -------
    Found or None
        Named as its kind only where that kind is likely among all.
    """
    everything = float(logsumexp(log_score))
    if everything - log_benign < np.log(ALARM_FACTOR):
        return None
    chance = np.exp(log_score - everything)
    kinds = np.array([p.check for p in found])
    by_kind = {str(kind): float(chance[kinds == kind].sum()) for kind in np.unique(kinds)}
    leading = max(by_kind, key=by_kind.__getitem__)
    plain = by_kind[leading] >= PLAIN
    among = kinds == leading if plain else np.ones(len(found), dtype=np.bool_)
    best = int(np.argmax(np.where(among, chance, -1.0)))
    likely = found[best]

    def is_plain(*names: str) -> bool:
        alike = np.array([all(getattr(p, name) == getattr(likely, name) for name in names) for p in found])
        return bool(chance[among & alike].sum() >= PLAIN * chance[among].sum())

    return Found(
        likely,
        log_factor=everything - log_benign,
        chance=by_kind[leading],
        plain=plain,
        also=tuple(
            kind.replace("_", " ")
            for kind, its in sorted(by_kind.items(), key=lambda item: -item[1])
            if its >= MENTIONED and not (plain and kind == leading)
        ),
        axis_plain=is_plain("axis"),
        station_plain=is_plain("station", "other_station"),
        reading_plain=is_plain("reading"),
        against_forecast=forecast and bool(own_gain[best] < np.log(OF_ITSELF_FACTOR)),
    )


def own_widening(possibility: Possibility) -> FloatArray:
    """Return the covariance by which a possibility widens the expectation, all offsets, um^2.

    Parameters
    ----------
    possibility
        One thing that may have happened.

    Returns
    -------
    FloatArray
        Shape (n_stations * 2, n_stations * 2); nought where it does not touch the expectation.
    """
    n_offsets = 2 * len(possibility.readings.distance_mm)
    size = np.zeros(n_offsets) if possibility.widen_um is None else possibility.widen_um.ravel()
    if not possibility.together:
        return np.diag(size**2)
    axis = np.arange(len(size)) % 2
    return np.asarray(np.where(axis[:, None] == axis[None, :], size[:, None] * size[None, :], 0.0))


class Forecast:
    """Weighs offsets against one expectation."""

    def __init__(self, expected: Expected, widen_um2: FloatArray) -> None:
        self.known, own = expected_covariance(expected)
        self.widen_um2 = widen_um2
        self.covariance_um2 = own
        self.offset_um = expected.offset_um.ravel()[self.known]
        self.dof = expected.dof

    def log_density(
        self, offset_um: FloatArray, covariance_um2: FloatArray, widen_um2: FloatArray | None = None
    ) -> FloatArray:
        """Return the log density of offsets, shape (n, n_stations, 2), covariances (1 or n, n_offsets, n_offsets)."""
        own = covariance_um2[:, self.known[:, None], self.known[None, :]]
        wide = self.widen_um2 if widen_um2 is None else self.widen_um2 + widen_um2
        own = own + wide[..., self.known[:, None], self.known[None, :]]
        difference = offset_um.reshape(len(offset_um), -1)[:, self.known] - self.offset_um
        return log_expected(difference, own, self.covariance_um2, self.dof)
