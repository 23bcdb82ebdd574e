"""Two rates instead of one: every place at which a series may have begun to drift differently, fitted side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend.gls import Segments
from fleet.values import FloatArray

_NOTHING: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Cuts:
    """Two rates fitted to every segment, for every place of the change; shapes (n_cuts, n_segments) unless said.

    Parameters
    ----------
    one_chi2 : shape (n_segments,), weighted sum of squared residuals with one rate
    two_chi2 : the same with two rates
    before_um, after_um : rates, um per year of use; NaN where there is no record on that side
    before_var_um2, after_var_um2 : their variances
    information : of the difference after - before, 1 / variance; 0 where either side is without record
    """

    one_chi2: FloatArray
    two_chi2: FloatArray
    before_um: FloatArray
    after_um: FloatArray
    before_var_um2: FloatArray
    after_var_um2: FloatArray
    information: FloatArray


def fit_cuts(laid: Segments, begins: FloatArray, cut: FloatArray, sigma2: FloatArray | float) -> Cuts:
    """Fit one rate, and two rates that meet at a cut, to every segment.

    An interval that a cut divides (a station that was not measured at that visit) counts with the years on either
    side of it.

    Parameters
    ----------
    laid : the segments
    begins : clock at which every interval begins, shape (longest, n_segments)
    cut : clock of the change, shape (n_cuts, n_segments)
    sigma2 : wander variance per year of use, um^2, scalar or shape (n_segments,)

    Returns
    -------
    the fits

    References
    ----------
    Generalised least squares with the tri-diagonal covariance of `fleet.trend.gls.sums`, its LDL' factor shared by
    all cuts. With variance 1 and years 1 it is the least-squares break in a mean (Bai and Perron 1998).
    """
    longest, n = laid.years.shape
    pivot, ratio = np.empty((longest, n)), np.zeros((longest, n))
    years, moved = laid.years.copy(), laid.moved_um.copy()
    for place in range(longest):
        pivot[place] = laid.years[place] * sigma2 + laid.var_um2[place]
        if place:
            ratio[place] = laid.cov_next_um2[place - 1] / pivot[place - 1]
            pivot[place] -= ratio[place] * laid.cov_next_um2[place - 1]
            years[place] -= ratio[place] * years[place - 1]
            moved[place] -= ratio[place] * moved[place - 1]
    tt, ty = np.sum(years * years / pivot, axis=0), np.sum(years * moved / pivot, axis=0)
    yy = np.sum(moved * moved / pivot, axis=0)

    bb, bt, by, ahead = (np.zeros(cut.shape) for _ in range(4))
    for place in range(longest):
        column = np.clip(cut - begins[place], 0.0, laid.years[place])
        column -= ratio[place] * ahead
        scaled = column / pivot[place]
        bb += scaled * column
        bt += scaled * years[place]
        by += scaled * moved[place]
        ahead = column
    aa, ab, ay = tt - 2.0 * bt + bb, bt - bb, ty - by
    determinant = aa * bb - ab * ab
    # Rounding leaves a little of the other side's record behind; that is no record.
    known = determinant > 1e-9 * np.maximum(tt, _NOTHING) ** 2
    safe = np.where(known, determinant, 1.0)
    before, after = (np.where(known, value / safe, np.nan) for value in (aa * by - ab * ay, bb * ay - ab * by))
    information = np.where(known, determinant / np.maximum(tt, _NOTHING), 0.0)
    one = yy - ty * ty / np.maximum(tt, _NOTHING)
    gain = np.where(known, (after - before) ** 2 * information, 0.0)
    return Cuts(
        one_chi2=one,
        two_chi2=one - gain,
        before_um=before,
        after_um=after,
        before_var_um2=np.where(known, aa / safe, np.nan),
        after_var_um2=np.where(known, bb / safe, np.nan),
        information=information,
    )
