"""Degrees of freedom of a combined uncertainty, and the factor that expands it to a stated coverage."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from fleet.errors import InputError
from fleet.values import FloatArray


def effective_dof(u: ArrayLike, dof: ArrayLike) -> FloatArray:
    """Return the effective degrees of freedom of a sum of independent contributions (Welch-Satterthwaite).

    Parameters
    ----------
    u
        Standard uncertainties of the contributions, shape (..., n_contributions), all in one unit.
    dof
        Their degrees of freedom, broadcast against `u`; infinite for one that is known exactly.

    Returns
    -------
    FloatArray
        Shape (...), not truncated; infinite where every contribution that counts is known exactly.

    Raises
    ------
    InputError
        A standard uncertainty is negative or not finite, or a degree of freedom is not above zero.

    References
    ----------
    JCGM 100:2008, G.4.1, equation (G.2b).
    """
    parts = np.asarray(u, dtype=np.float64)
    freedom = np.asarray(dof, dtype=np.float64)
    if not np.all(np.isfinite(parts) & (parts >= 0)):
        raise InputError("A standard uncertainty is negative or not a finite number; give every contribution as >= 0.")
    if not np.all(freedom > 0):
        raise InputError("A number of degrees of freedom is not above zero; give a positive number or infinity.")
    variance = parts**2
    combined = variance.sum(axis=-1) ** 2
    spread = (variance**2 / freedom).sum(axis=-1)
    effective = np.full(np.shape(combined), np.inf)
    np.divide(combined, spread, out=effective, where=spread > 0)
    return effective


def coverage_factor(dof: ArrayLike, coverage: float = 0.95) -> FloatArray:
    """Return the factor k that makes k times a standard uncertainty cover the stated share, two-sided.

    Parameters
    ----------
    dof
        Degrees of freedom, any shape, above zero; infinite gives the normal distribution's factor.
    coverage
        Share covered, strictly between 0 and 1.

    Returns
    -------
    FloatArray
        Student's factor, the shape of `dof`.

    Raises
    ------
    InputError
        The coverage is not between 0 and 1, or a degree of freedom is not above zero.

    References
    ----------
    JCGM 100:2008, G.3.2 and table G.2.
    """
    if not 0 < coverage < 1:
        raise InputError(f"A coverage of {coverage} is not a share; give a number between 0 and 1, such as 0.95.")
    freedom = np.asarray(dof, dtype=np.float64)
    if not np.all(freedom > 0):
        raise InputError("A number of degrees of freedom is not above zero; give a positive number or infinity.")
    upper = (1 + coverage) / 2
    finite = np.isfinite(freedom)
    student = stdtrit(np.where(finite, freedom, 1.0), upper)
    return np.asarray(np.where(finite, student, ndtri(upper)), dtype=np.float64)
