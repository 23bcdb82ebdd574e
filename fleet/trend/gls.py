"""Generalised least squares: one small problem at a time, and many tri-diagonal ones side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fleet.trend.records import Intervals
from fleet.values import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class GlsFit:
    """A generalised least-squares fit.

    Parameters
    ----------
    coefficients : shape (p,)
    covariance : shape (p, p), for the stated covariance of the observations (not scaled by the residuals)
    chi2 : weighted sum of squared residuals
    dof : observations minus coefficients
    """

    coefficients: FloatArray
    covariance: FloatArray
    chi2: float
    dof: int

    @property
    def residual_sd(self) -> float:
        """Root of chi2 / dof: the residual standard deviation where the stated variance was 1."""
        return float(np.sqrt(self.chi2 / self.dof))


def gls(design: FloatArray, observed: FloatArray, covariance: FloatArray) -> GlsFit:
    """Fit observed = design @ coefficients with a full covariance of the observations.

    Parameters
    ----------
    design : shape (n, p)
    observed : shape (n,)
    covariance : shape (n, n), or (n,) for a diagonal one

    Returns
    -------
    the fit, solved by QR of the whitened system

    References
    ----------
    Aitken (1936), On least squares and linear combination of observations.
    """
    if covariance.ndim == 1:
        root = np.sqrt(covariance)
        white_design, white_observed = design / root[:, None], observed / root
    else:
        lower = np.linalg.cholesky(covariance)
        white_design, white_observed = np.linalg.solve(lower, design), np.linalg.solve(lower, observed)
    q, r = np.linalg.qr(white_design)
    coefficients = np.linalg.solve(r, q.T @ white_observed)
    inverse = np.linalg.inv(r)
    residual = white_observed - white_design @ coefficients
    n, p = design.shape
    return GlsFit(coefficients, inverse @ inverse.T, float(residual @ residual), n - p)


@dataclass(frozen=True, slots=True)
class Segments:
    """Intervals of one series and regime side by side: one column per segment, one row per place in it.

    Parameters
    ----------
    series, regime, count, last : shape (n_segments,); `last` is the index of the segment's last interval
    years, moved_um, var_um2, cov_next_um2 : shape (longest, n_segments); empty places hold 0, 0, 1, 0
    index : shape (longest, n_segments), index into the intervals, -1 in empty places
    """

    series: IntArray
    regime: IntArray
    count: IntArray
    last: IntArray
    years: FloatArray
    moved_um: FloatArray
    var_um2: FloatArray
    cov_next_um2: FloatArray
    index: IntArray

    def with_more(self, extra_var_um2: FloatArray) -> Segments:
        """Return the segments with variance added to single intervals, shape (longest, n_segments)."""
        return replace(self, var_um2=self.var_um2 + extra_var_um2)

    def moved_by(self, moved_um: FloatArray) -> Segments:
        """Return the segments with other movements, one for each interval they were laid out from."""
        return replace(self, moved_um=np.where(self.index >= 0, moved_um[self.index], 0.0))

    def picked(self, pick: IntArray) -> Segments:
        """Return the segments at these places."""
        return Segments(
            self.series[pick], self.regime[pick], self.count[pick], self.last[pick], self.years[:, pick],
            self.moved_um[:, pick], self.var_um2[:, pick], self.cov_next_um2[:, pick], self.index[:, pick],
        )  # fmt: skip


def segments(found: Intervals, use: BoolArray, extra_var_um2: FloatArray) -> Segments:
    """Lay the chosen intervals out by series and regime; intervals across an event belong to no segment.

    Parameters
    ----------
    found : intervals sorted by series, then time
    use : shape (n_intervals,), which of them take part
    extra_var_um2 : shape (n_intervals,), variance added to single intervals (jumps)

    Returns
    -------
    the segments
    """
    chosen = np.flatnonzero(use & ~found.across_event)
    series, regime = found.series[chosen], found.regime[chosen]
    begins = np.ones(chosen.size, dtype=np.bool_)
    begins[1:] = (series[1:] != series[:-1]) | (regime[1:] != regime[:-1])
    number = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    count = np.diff(np.append(first, chosen.size))
    place = np.arange(chosen.size) - first[number] if chosen.size else np.zeros(0, dtype=np.int64)
    shape = (int(count.max()) if chosen.size else 0, first.size)

    flat = place * shape[1] + number

    def spread(values: FloatArray, fill: float) -> FloatArray:
        table = np.full(shape, fill)
        table.ravel()[flat] = values
        return table

    # The covariance with the next interval counts only where that one stands in the next place of the same segment.
    next_in = np.zeros(chosen.size, dtype=np.bool_)
    next_in[:-1] = (number[1:] == number[:-1]) & (chosen[1:] == chosen[:-1] + 1)
    index = np.full(shape, -1, dtype=np.int64)
    index.ravel()[flat] = chosen
    return Segments(
        series=series[first],
        regime=regime[first],
        count=count.astype(np.int64),
        last=chosen[first + count - 1].astype(np.int64),
        years=spread(found.years[chosen], 0.0),
        moved_um=spread(found.moved_um[chosen], 0.0),
        var_um2=spread(found.var_um2[chosen] + extra_var_um2[chosen], 1.0),
        cov_next_um2=spread(np.where(next_in, found.cov_next_um2[chosen], 0.0), 0.0),
        index=index,
    )


@dataclass(frozen=True, slots=True)
class Sums:
    """Sufficient sums of every segment for a given wander; V is the segment's covariance, t its years, y its movements.

    Parameters
    ----------
    a, b, c : t'V^-1 t, t'V^-1 y, y'V^-1 y, shape (n_segments,)
    log_det : log |V|
    last_pivot, last_years, last_moved : D, and the forward-eliminated t and y, of the segment's last place
    """

    a: FloatArray
    b: FloatArray
    c: FloatArray
    log_det: FloatArray
    last_pivot: FloatArray
    last_years: FloatArray
    last_moved: FloatArray


def sums(laid: Segments, sigma2: FloatArray | float) -> Sums:
    """Eliminate every segment's tri-diagonal covariance V = sigma^2 diag(t) + measuring, all segments at once.

    Parameters
    ----------
    laid : the segments
    sigma2 : wander variance per year of use, um^2, scalar or shape (n_segments,)

    Returns
    -------
    the sums

    References
    ----------
    LDL' of a tri-diagonal matrix (Golub and Van Loan, Matrix Computations, from memory).
    """
    n = laid.series.size
    a, b, c, log_det = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    last_pivot, last_years, last_moved = np.ones(n), np.zeros(n), np.zeros(n)
    ahead_pivot, ahead_years, ahead_moved = np.ones(n), np.zeros(n), np.zeros(n)
    ahead_cov = np.zeros(n)
    for place in range(laid.years.shape[0]):
        ratio = ahead_cov / ahead_pivot
        pivot = laid.years[place] * sigma2 + laid.var_um2[place] - ratio * ahead_cov
        years = laid.years[place] - ratio * ahead_years
        moved = laid.moved_um[place] - ratio * ahead_moved
        scaled = years / pivot
        a += scaled * years
        b += scaled * moved
        c += moved * moved / pivot
        log_det += np.log(pivot)
        ends = laid.count == place + 1
        last_pivot[ends], last_years[ends], last_moved[ends] = pivot[ends], years[ends], moved[ends]
        ahead_pivot, ahead_years, ahead_moved, ahead_cov = pivot, years, moved, laid.cov_next_um2[place]
    return Sums(a, b, c, log_det, last_pivot, last_years, last_moved)


def gram(laid: Segments, sigma2: FloatArray | float, columns: Sequence[FloatArray]) -> FloatArray:
    """Return the inner products x'V^-1 y of columns laid out like the segments' own, V as in `sums`.

    Parameters
    ----------
    laid, sigma2 : as in `sums`
    columns : p of them, each of shape (longest, n_segments), 0 in empty places

    Returns
    -------
    shape (n_segments, p, p)
    """
    n, p = laid.series.size, len(columns)
    products = np.zeros((n, p, p))
    ahead_pivot, ahead_cov = np.ones(n), np.zeros(n)
    ahead = [np.zeros(n) for _ in columns]
    for place in range(laid.years.shape[0]):
        ratio = ahead_cov / ahead_pivot
        pivot = laid.years[place] * sigma2 + laid.var_um2[place] - ratio * ahead_cov
        here = [column[place] - ratio * before for column, before in zip(columns, ahead, strict=True)]
        for row, values in enumerate(here):
            scaled = values / pivot
            for other in range(row + 1):
                products[:, row, other] += scaled * here[other]
        ahead_pivot, ahead_cov, ahead = pivot, laid.cov_next_um2[place], here
    lower = np.tril_indices(p, -1)
    products[:, lower[1], lower[0]] = products[:, lower[0], lower[1]]
    return products


def solved(laid: Segments, sigma2: FloatArray | float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve V x = t and V x = y in every segment, and give the diagonal of V^-1.

    Parameters
    ----------
    laid, sigma2 : as in `sums`

    Returns
    -------
    V^-1 t, V^-1 y, diag(V^-1), each of shape (longest, n_segments)

    References
    ----------
    Forward elimination and back substitution; the diagonal by the recursion for an LDL' factor (Takahashi's equations).
    """
    longest, n = laid.years.shape
    pivot, years, moved = np.empty((longest, n)), laid.years.copy(), laid.moved_um.copy()
    ratio = np.zeros((longest, n))
    for place in range(longest):
        pivot[place] = laid.years[place] * sigma2 + laid.var_um2[place]
        if place:
            ratio[place] = laid.cov_next_um2[place - 1] / pivot[place - 1]
            pivot[place] -= ratio[place] * laid.cov_next_um2[place - 1]
            years[place] -= ratio[place] * years[place - 1]
            moved[place] -= ratio[place] * moved[place - 1]
    years /= pivot
    moved /= pivot
    diagonal = 1.0 / pivot
    for place in range(longest - 2, -1, -1):
        years[place] -= ratio[place + 1] * years[place + 1]
        moved[place] -= ratio[place + 1] * moved[place + 1]
        diagonal[place] += ratio[place + 1] ** 2 * diagonal[place + 1]
    return years, moved, diagonal


def left_out_residuals(
    laid: Segments, mean: FloatArray, tau: FloatArray, sigma: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Predict every interval from the others of its segment: what it moved beyond that, and the standard deviation.

    Parameters
    ----------
    laid : the segments
    mean, tau, sigma : mean rate, its spread and the wander of every segment, shape (n_segments,)

    Returns
    -------
    residual and standard deviation, um, shape (longest, n_segments); the deviation holds spread, wander and measuring

    References
    ----------
    Leave-one-out prediction of a Gaussian vector r with covariance S: r_j - E[r_j | others] = (S^-1 r)_j / (S^-1)_jj,
    with variance 1 / (S^-1)_jj (Rasmussen and Williams 2006, section 5.4.2; Sundararajan and Keerthi 2001).
    """
    by_years, by_moved, diagonal = solved(laid, sigma**2)
    a = np.sum(by_years * laid.years, axis=0)
    b = np.sum(by_years * laid.moved_um, axis=0)
    shrink = tau**2 / (1.0 + tau**2 * a)
    by_residual = by_moved - by_years * mean
    by_residual -= by_years * (shrink * (b - mean * a))
    precision = diagonal - shrink * by_years**2
    return by_residual / precision, 1.0 / np.sqrt(precision)
