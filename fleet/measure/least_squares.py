"""Weighted least squares with pseudo-observations of zero, for a stack of equally shaped systems at once.

A parameter with a prior is carried in units of its prior standard uncertainty. A prior of zero then empties the
parameter's column, which fixes it at zero exactly, and a wide prior costs no accuracy: the stacked system is
factored (QR), its normal equations are never formed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.errors import InputError
from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class Solution:
    """One weighted least-squares solution per system of a stack.

    Attributes
    ----------
    estimate
        Parameters, shape (n_systems, n_parameters).
    covariance
        Their covariance, shape (n_systems, n_parameters, n_parameters).
    noise_variance
        What the observations' noise contributes to each parameter's variance, diag(Q A'WA Q), shape
        (n_systems, n_parameters).
    prior_variance
        What each prior contributes to each parameter's variance, shape (n_systems, n_parameters, n_priors); with the
        noise it adds up to the variance.
    residual
        Observations minus fit, shape (n_systems, n_observations).
    leverage
        Diagonal of the observations' part of the hat matrix, shape (n_systems, n_observations).
    chi2
        Weighted sum of squared residuals of the observations, priors left out, shape (n_systems,).
    dof
        Observations minus the trace of the observations' part of the hat matrix, shape (n_systems,).
    """

    estimate: FloatArray
    covariance: FloatArray
    noise_variance: FloatArray
    prior_variance: FloatArray
    residual: FloatArray
    leverage: FloatArray
    chi2: FloatArray
    dof: FloatArray


def weighted_least_squares(
    design: FloatArray, observed: FloatArray, *, u_noise: FloatArray, u_prior: FloatArray
) -> Solution:
    """Solve a stack of weighted least-squares systems whose last parameters carry a pseudo-observation of zero.

    Parameters
    ----------
    design
        Design matrices A, shape (n_systems, n_observations, n_parameters).
    observed
        Observations, shape (n_systems, n_observations).
    u_noise
        Standard uncertainty of an observation, above zero, broadcast against `observed`.
    u_prior
        Standard uncertainty of the pseudo-observation of zero of each of the last n_priors parameters, shape
        (n_systems, n_priors); 0 fixes that parameter at zero. The parameters before them have none.

    Returns
    -------
    Solution
        Estimates, covariances and what carries them.

    Raises
    ------
    InputError
        There are fewer observations than parameters without a prior.
    numpy.linalg.LinAlgError
        The parameters without a prior are not determined (their columns depend on each other).

    References
    ----------
    JCGM 102:2011, and Golub and Van Loan, Matrix Computations, on least squares by QR (from memory).
    """
    n_systems, n_observations, n_parameters = design.shape
    n_priors = u_prior.shape[1]
    n_free = n_parameters - n_priors
    if n_observations < n_free:
        raise InputError(
            f"{n_observations} observations cannot determine {n_free} parameters that have no prior; add observations."
        )
    noise = np.broadcast_to(u_noise, observed.shape)
    unit = np.concatenate([np.ones((n_systems, n_free)), u_prior], axis=1)

    stacked = np.zeros((n_systems, n_observations + n_priors, n_parameters))
    stacked[:, :n_observations] = design * unit[:, None, :] / noise[:, :, None]
    stacked[:, n_observations + np.arange(n_priors), n_free + np.arange(n_priors)] = 1.0
    orthogonal, triangle = np.linalg.qr(stacked)
    seen = orthogonal[:, :n_observations]
    inverse = np.linalg.inv(triangle)

    weighted = observed / noise
    projected = np.einsum("bop,bo->bp", seen, weighted)
    residual = weighted - np.einsum("bop,bp->bo", seen, projected)
    covariance = inverse @ inverse.swapaxes(1, 2)
    leverage = np.einsum("bop,bop->bo", seen, seen)
    noise_part = inverse @ seen.swapaxes(1, 2)
    # In units of the priors every pseudo-observation has weight one, so Q P Q splits into squares of Q's columns.
    prior_part = covariance[:, :, n_free:] * unit[:, :, None]
    return Solution(
        estimate=np.einsum("bpq,bq->bp", inverse, projected) * unit,
        covariance=covariance * unit[:, :, None] * unit[:, None, :],
        noise_variance=np.einsum("bpo,bpo->bp", noise_part, noise_part) * unit**2,
        prior_variance=prior_part**2,
        residual=residual * noise,
        leverage=leverage,
        chi2=np.einsum("bo,bo->b", residual, residual),
        # A system that fits exactly leaves a rounding error either side of nought.
        dof=np.maximum(n_observations - leverage.sum(axis=1), 0.0),
    )


def scaled_least_squares(
    design: FloatArray, observed: FloatArray, *, u_noise: FloatArray, u_prior: FloatArray, stated_dof: float
) -> tuple[Solution, FloatArray, FloatArray]:
    """Solve, let the residuals correct the stated noise, and solve once more.

    The noise variance is multiplied by (stated_dof + chi2) / (stated_dof + dof), as if the stated value came from
    that many degrees of freedom; the priors are left alone. A `stated_dof` of zero takes the noise from the residuals
    alone, as an ordinary line fit does.

    Parameters
    ----------
    design, observed, u_noise, u_prior
        As in `weighted_least_squares`.
    stated_dof
        How many degrees of freedom the stated noise is worth.

    Returns
    -------
    tuple of Solution, FloatArray, FloatArray
        The second solution, the factor on the noise variance and the degrees of freedom of the first solution,
        both of shape (n_systems,).

    Raises
    ------
    InputError
        `stated_dof` is zero and the residuals have no degrees of freedom or are all zero.
    """
    first = weighted_least_squares(design, observed, u_noise=u_noise, u_prior=u_prior)
    freedom = stated_dof + first.dof
    evidence = stated_dof + first.chi2
    # An exact fit leaves degrees of freedom of a rounding error, not nought.
    if not (np.all(freedom > 1e-9 * observed.shape[1]) and np.all(evidence > 0)):
        raise InputError("The residuals alone cannot tell the noise here; state it with some degrees of freedom.")
    scale = evidence / freedom
    noise = np.broadcast_to(u_noise, observed.shape) * np.sqrt(scale)[:, None]
    return weighted_least_squares(design, observed, u_noise=noise, u_prior=u_prior), scale, first.dof
