"""How well a survey's readings fit each other, and what was expected, under one or many readings of what happened.

In the bore's own axes every reading shows its bore centre plus the common errors, so taking each station's mean off
leaves what the readings say about each other. The common errors carry their priors; the noise variance is integrated
out over the law that the stated one stands for, `STATED_DOF` degrees of freedom. What is left is one number for each
reading of what happened: the density of the readings, comparable between all that could have happened.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import logsumexp

from fleet.measure.adjustment import STATED_DOF
from fleet.measure.design import Stack, elapsed, rotation
from fleet.measure.slips.model import Expected
from fleet.values import FloatArray, IntArray

_STEP: Final = 0.3
_NEGLIGIBLE: Final = 1e-12
_MANY_DOF: Final = 1000.0


@dataclass(frozen=True, slots=True)
class NoiseLaw:
    """Factors on the stated noise variance and the logarithm of each one's weight, shape (n_nodes,)."""

    factor: FloatArray
    log_weight: FloatArray


def _even(low: float, high: float) -> NoiseLaw:
    log_factor = np.arange(low, high + _STEP / 2, _STEP)
    return NoiseLaw(np.exp(log_factor), np.full(len(log_factor), -np.log(len(log_factor))))


def _stated_law() -> NoiseLaw:
    log_factor = np.arange(-2.4, 4.3, _STEP)
    half = STATED_DOF / 2
    log_weight = -half * log_factor - half * np.exp(-log_factor)
    return NoiseLaw(np.exp(log_factor), log_weight - logsumexp(log_weight))


STATED: Final = _stated_law()
"""Stated variance times 10 / chi2(10)."""
LOUD: Final = _even(0.0, 18.0)
"""Anything louder than stated, evenly over the logarithm."""
TIDY: Final = _even(-18.0, 0.0)
"""Anything quieter: rounded, copied or computed readings agree better than an instrument can."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A stack of surveys weighed, in units of each one's stated noise.

    Attributes
    ----------
    log_density
        Of what the readings say about each other, shape (n,).
    factor
        Most likely factor on the noise variance, shape (n,).
    dof
        Reading components minus offsets.
    square
        Weighted sum of squares of what the readings say about each other, noise as stated, shape (n,).
    misfit
        Inverse covariance times the readings, with the offsets free, in the bore's axes, shape (n, n_readings, 2).
    information
        Its variance, shape (n, n_readings, 2).
    offset
        Bore centres, shape (n, n_stations, 2).
    basis, spread
        Directions of the common errors, (n, n_readings * 2, q), and the variance each carries, (n, q).
    carried
        What each unit of the common errors adds to a station's mean, shape (n, n_stations * 2, q), rotated alike.
    count
        Readings at each station, shape (n, n_stations).
    to_reading
        From the bore's axes to the reading's, shape (n, n_readings, 2, 2).
    mean
        Share of each reading in its station's mean, shape (n, n_stations, n_readings).
    """

    log_density: FloatArray
    factor: FloatArray
    dof: int
    square: FloatArray
    misfit: FloatArray
    information: FloatArray
    offset: FloatArray
    basis: FloatArray
    spread: FloatArray
    carried: FloatArray
    count: FloatArray
    to_reading: FloatArray
    mean: FloatArray

    def offset_covariance(self) -> FloatArray:
        """Return the offsets' covariance at the most likely noise, shape (n, n_stations * 2, n_stations * 2)."""
        factor = self.factor[:, None]
        left = factor / (factor + self.spread)
        covariance = np.einsum("biq,bq,bjq->bij", self.carried, left, self.carried, optimize=True)
        own = np.repeat(factor / self.count, 2, axis=1)
        diagonal = np.arange(own.shape[1])
        covariance[:, diagonal, diagonal] += own
        return np.asarray(covariance)

    def answer(self, place: int, columns: FloatArray, factor: float) -> tuple[FloatArray, FloatArray]:
        """Return the size of an error of known shape that fits best, and its covariance, one survey of the stack.

        Parameters
        ----------
        place
            Which of the stack.
        columns
            What each unit of the error adds to the readings, in their own axes, shape (n_readings, 2, k).
        factor
            On the noise variance, as it is without that error.

        Returns
        -------
        tuple of FloatArray, FloatArray
            Shapes (k,) and (k, k), in units of the stated noise per unit of `columns`; the covariance is infinite
            where the readings do not tell it.
        """
        k = columns.shape[2]
        bore = self.to_reading[place].swapaxes(1, 2) @ columns
        station_mean = np.einsum("sm,mak->sak", self.mean[place], bore)
        bore = (bore - station_mean[np.argmax(self.mean[place] > 0, axis=0)]).reshape(-1, k)
        along = self.basis[place].T @ bore
        weight = 1.0 / (factor + self.spread[place]) - 1.0 / factor
        shown = self.misfit[place].ravel()
        own = self.basis[place].T @ shown
        rest = self.factor[place] * (shown - self.basis[place] @ own)
        own *= (self.factor[place] + self.spread[place]) / (factor + self.spread[place])
        misfit = rest / factor + self.basis[place] @ own
        information = bore.T @ bore / factor + along.T @ (weight[:, None] * along)
        if np.linalg.eigvalsh(information)[0] < 1e-9 / factor:
            return np.zeros(k), np.full((k, k), np.inf)
        covariance = np.linalg.inv(information)
        return covariance @ (bore.T @ misfit), covariance

    def residual(self) -> FloatArray:
        """Return what each reading leaves to noise, in its own axes, shape (n, n_readings, 2)."""
        return np.asarray(np.einsum("biac,bic->bia", self.to_reading, self.misfit) * self.factor[:, None, None])


def weigh(
    stack: Stack,
    *,
    u_noise: FloatArray,
    u_prior: FloatArray,
    extra: FloatArray | None = None,
    law: NoiseLaw = STATED,
) -> Weighed:
    """Weigh a stack of surveys, or of things that may have happened in one survey.

    Parameters
    ----------
    stack
        Surveys of one shape.
    u_noise
        Stated noise of a reading, shape (n,), um.
    u_prior
        Standard uncertainties of the common errors in the order of `design_matrix`, shape (n, q).
    extra
        Further common errors of unknown size, each column times its prior standard uncertainty, in the reading's own
        axes, shape (n, n_readings, 2, n_extra), um.
    law
        Law of the noise variance.

    Returns
    -------
    Weighed
        One row for each of the stack.

    References
    ----------
    Restricted likelihood: D. A. Harville, J. Amer. Statist. Assoc. 69 (1974) 383 (from memory); the noise variance is
    summed over a grid.
    """
    n, n_readings = stack.station.shape
    n_stations = stack.distance_mm.shape[1]
    n_observations = 2 * n_readings
    survey = np.arange(n)[:, None]
    # The transpose of a rotation with the senses before it, which are their own inverse.
    to_reading = stack.sense[:, None, :, None] * rotation(-stack.target_roll_deg)
    to_bore = to_reading.swapaxes(2, 3)
    beam = -rotation(stack.beam_roll_deg)
    x_m = (stack.distance_mm[survey, stack.station] / 1000.0)[:, :, None, None]
    n_beam = 4 * stack.n_states
    n_extra = 0 if extra is None else extra.shape[3]
    columns = np.zeros((n, n_readings, 2, n_beam + 4 + n_extra))
    for state in range(stack.n_states):
        now = (stack.state == state)[:, :, None, None]
        columns[..., 4 * state : 4 * state + 2] = beam * now
        columns[..., 4 * state + 2 : 4 * state + 4] = beam * x_m * now
    columns[..., n_beam : n_beam + 2] = to_bore
    columns[..., n_beam + 2 : n_beam + 4] = to_bore * elapsed(stack.sequence)[:, :, None, None]
    columns[..., : n_beam + 4] *= u_prior[:, None, None, :]
    if extra is not None:
        columns[..., n_beam + 4 :] = to_bore @ extra
    columns /= u_noise[:, None, None, None]
    shown = np.einsum("biac,bic->bia", to_bore, stack.reading_um) / u_noise[:, None, None]

    at = (stack.station[:, None, :] == np.arange(n_stations)[None, :, None]).astype(np.float64)
    count = at.sum(axis=2)
    mean = at / count[:, :, None]
    q = columns.shape[3]
    column_mean = (mean @ columns.reshape(n, n_readings, 2 * q)).reshape(n, n_stations, 2, q)
    shown_mean = mean @ shown
    columns = (columns - column_mean[survey, stack.station]).reshape(n, n_observations, q)
    rest = (shown - shown_mean[survey, stack.station]).reshape(n, n_observations)

    spread, turned = np.linalg.eigh(columns.swapaxes(1, 2) @ columns)
    seen = spread > _NEGLIGIBLE * np.maximum(spread[:, -1:], 1.0)
    spread = np.where(seen, spread, 0.0)
    basis = np.where(seen[:, None, :], columns @ turned / np.sqrt(np.where(seen, spread, 1.0))[:, None, :], 0.0)
    along = np.einsum("boq,bo->bq", basis, rest)
    rest = rest - np.einsum("boq,bq->bo", basis, along)
    beyond = n_observations - 2 * n_stations - seen.sum(axis=1)
    square = np.einsum("bo,bo->b", rest, rest)

    factor = law.factor
    total = factor + spread[:, :, None]
    each = np.where(seen[:, :, None], np.log(total) + along[:, :, None] ** 2 / total, 0.0).sum(axis=1)
    log_density = -0.5 * (each + beyond[:, None] * np.log(factor) + square[:, None] / factor) + law.log_weight
    best = factor[np.argmax(log_density, axis=1)]

    weight = 1.0 / (best[:, None] + spread)
    misfit = rest / best[:, None] + np.einsum("boq,bq->bo", basis, along * weight)
    share = (1.0 - 1.0 / count)[survey, stack.station]
    squared = basis**2
    information = (np.repeat(share, 2, axis=1) - squared.sum(axis=2)) / best[:, None] + np.einsum(
        "boq,bq->bo", squared, weight
    )
    carried = (column_mean @ turned[:, None]).reshape(n, 2 * n_stations, q)
    amount = np.sqrt(spread) * along * weight
    offset = shown_mean - np.einsum("biq,bq->bi", carried, amount).reshape(n, n_stations, 2)
    return Weighed(
        log_density=np.asarray(logsumexp(log_density, axis=1)),
        factor=best,
        dof=n_observations - 2 * n_stations,
        square=square + (along**2 / (1.0 + spread)).sum(axis=1),
        misfit=misfit.reshape(n, n_readings, 2),
        information=np.maximum(information, 0.0).reshape(n, n_readings, 2),
        offset=offset,
        basis=basis,
        spread=spread,
        carried=carried,
        count=count,
        to_reading=to_reading,
        mean=mean,
    )


def expected_covariance(expected: Expected) -> tuple[IntArray, FloatArray]:
    """Return which offset components are expected, as indices, and their covariance, um^2."""
    known = np.flatnonzero(np.isfinite(expected.offset_um).ravel())
    u_um = expected.u_um.ravel()[known]
    same_axis = (known[:, None] % 2) == (known[None, :] % 2)
    alike = np.where(same_axis, expected.common, 0.0)
    np.fill_diagonal(alike, 1.0)
    return known, alike * u_um[:, None] * u_um[None, :]


def log_expected(difference: FloatArray, own: FloatArray, expectation: FloatArray, dof: float) -> FloatArray:
    """Return the log density of offsets that miss what was expected, Student's tails on the expectation alone.

    Parameters
    ----------
    difference
        Offset minus expectation, shape (n, d).
    own
        The offsets' own covariance, shape (n, d, d).
    expectation
        Covariance of the expectation, shape (d, d) or (n, d, d).
    dof
        Degrees of freedom of its tails.

    Returns
    -------
    FloatArray
        Shape (n,), without the constant that depends on d alone.

    References
    ----------
    Student's t as a normal law whose variance is dof / chi2(dof), summed over a grid.
    """
    lower = np.linalg.cholesky(expectation)
    white = np.linalg.solve(lower, own)
    white = np.linalg.solve(lower, white.swapaxes(-1, -2))
    value, vector = np.linalg.eigh((white + white.swapaxes(-1, -2)) / 2)
    whitened = np.linalg.solve(lower, difference[..., None])[..., 0]
    along = np.einsum("ndj,nd->nj", vector, whitened)
    log_factor = np.arange(-2.0, 4.6, 0.4)
    half = min(dof, _MANY_DOF) / 2
    log_weight = -half * log_factor - half * np.exp(-log_factor)
    log_weight -= logsumexp(log_weight)
    total = np.exp(log_factor) + np.maximum(value, 0.0)[:, :, None]
    log_density = -0.5 * (np.log(total) + along[:, :, None] ** 2 / total).sum(axis=1)
    log_scale = np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(axis=-1)
    return np.asarray(logsumexp(log_density + log_weight, axis=1) - log_scale)
