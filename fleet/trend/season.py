"""The yearly swing: where a building's temperature moves its lines through the year and the record can show it.

A swing is a sine of one year's period on top of drift and wander. Lines of one site share a mean swing, each line has
its own about it, and no swing at all is taken into account unless the record speaks clearly for one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.trend.gls import Segments, gram
from fleet.trend.records import Intervals, Series
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

_SITE_SD_UM: Final = 30.0
"""What a site's mean swing may be before any record (standard deviation of each coefficient, from memory)."""
_OWN_SD_UM: Final = (0.5, 3.0, 6.0, 12.0, 24.0)
_CLEARLY: Final = 10.0
"""Twice the log Bayes factor from which a swing is believed: "very strong" evidence.

References
----------
Kass and Raftery (1995), Bayes factors, J. American Statistical Association 90, 773-795.
"""
_LINES_LOOKED_AT: Final = 600


@dataclass(frozen=True, slots=True)
class Season:
    """The yearly swing of every series; shift = swing . (cos, sin)(2 pi day / 365.25).

    Parameters
    ----------
    swing_um : shape (n_series, 2), 0 where none is believed
    covariance_um2 : shape (n_series, 2, 2)
    """

    swing_um: FloatArray
    covariance_um2: FloatArray

    def moved_um(self, found: Intervals) -> FloatArray:
        """Return what the swing contributes to every interval's movement, um, shape (n_intervals,)."""
        turn = phase(found.to_day) - phase(found.from_day)
        return np.asarray(np.einsum("ij,ij->i", turn, self.swing_um[found.series]), dtype=np.float64)


def no_season(n_series: int) -> Season:
    """Return a season in which nothing swings."""
    return Season(np.zeros((n_series, 2)), np.zeros((n_series, 2, 2)))


def unseasoned(found: Intervals, season: Season) -> Intervals:
    """Return the intervals with the swing taken off their movements."""
    return replace(found, moved_um=found.moved_um - season.moved_um(found))


def phase(days: FloatArray) -> FloatArray:
    """Return (cos, sin) of the time of the year, shape (..., 2).

    Parameters
    ----------
    days : since the epoch
    """
    angle = 2.0 * np.pi * np.asarray(days, dtype=np.float64) / DAYS_PER_YEAR
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


@dataclass(frozen=True, slots=True)
class _Lines:
    """What every line's record says of its swing: information (n, 2, 2) and its weighted sum (n, 2); sites by line."""

    information: FloatArray
    weighted: FloatArray
    lines: IntArray
    site: IntArray


def _of_lines(
    laid: Segments, found: Intervals, series: Series, mean: FloatArray, tau: FloatArray, sigma: FloatArray,
    share: FloatArray, error_rho: float,
) -> _Lines:  # fmt: skip
    held = laid.index >= 0
    at = np.maximum(laid.index, 0)
    turn = np.where(held[..., None], phase(found.to_day[at]) - phase(found.from_day[at]), 0.0) * share[:, None]
    left = np.where(held, laid.moved_um - mean * laid.years, 0.0)
    products = gram(laid, sigma**2, [laid.years, left, turn[..., 0], turn[..., 1]])
    # The rate integrated out, as it is in the pool.
    shrink = tau**2 / (1.0 + tau**2 * products[:, 0, 0])
    rest = products[:, 1:, 1:] - shrink[:, None, None] * products[:, 1:, :1] * products[:, :1, 1:]
    lines, first, of = np.unique(series.line[laid.series], return_index=True, return_inverse=True)
    stations = np.bincount(of[np.unique(laid.series, return_index=True)[1]], minlength=lines.size)
    worth = 1.0 / (1.0 + (stations - 1.0) * error_rho)
    information, weighted = np.zeros((lines.size, 2, 2)), np.zeros((lines.size, 2))
    np.add.at(information, of, rest[:, 1:, 1:] * worth[of, None, None])
    np.add.at(weighted, of, rest[:, 1:, 0] * worth[of, None])
    return _Lines(information, weighted, lines, series.site[laid.series[first]])


@dataclass(frozen=True, slots=True)
class _Fit:
    gain: float
    own_sd_um: float
    sites: IntArray
    mean: FloatArray
    covariance: FloatArray


def _fit(said: _Lines, own_sd_um: float) -> _Fit:
    """Integrate over every line's swing about its site's mean, and over the means; `gain` is 2 log(Bayes factor)."""
    eye = np.eye(2)
    damped = np.linalg.inv(eye + own_sd_um**2 * said.information)
    sites, of = np.unique(said.site, return_inverse=True)
    normal = np.zeros((sites.size, 2, 2))
    right = np.zeros((sites.size, 2))
    np.add.at(normal, of, damped @ said.information)
    np.add.at(right, of, np.einsum("nij,nj->ni", damped, said.weighted))
    covariance = np.asarray(np.linalg.inv(normal + eye / _SITE_SD_UM**2), dtype=np.float64)
    mean = np.einsum("nij,nj->ni", covariance, right)
    explained = np.einsum("ni,nij,nj->", said.weighted, own_sd_um**2 * damped, said.weighted)
    gain = float(explained + np.einsum("ni,ni->", right, mean))
    gain -= float(-np.sum(np.linalg.slogdet(damped)[1]))
    gain -= float(np.sum(np.linalg.slogdet(normal * _SITE_SD_UM**2 + eye)[1]))
    return _Fit(gain, own_sd_um, sites, mean, covariance)


def find_season(
    laid: Segments,
    found: Intervals,
    series: Series,
    *,
    mean: FloatArray,
    tau: FloatArray,
    sigma: FloatArray,
    error_rho: float,
) -> Season | None:
    """Look for a yearly swing in the movements of one axis.

    The same at all stations of a line, or growing with the distance from the gearbox, whichever is likelier.

    Parameters
    ----------
    laid, found, series : segments of the axis, all intervals, all series
    mean, tau, sigma : mean rate, its spread and the wander of every segment, shape (n_segments,)
    error_rho : how far the stations of a line move together

    Returns
    -------
    the swing of every series of the fleet as if it were of this axis; None where the record does not clearly show one

    References
    ----------
    A linear mixed model with two harmonics per line, integrated in closed form (Lindley and Smith 1972).
    """
    own_share = series.share[laid.series]
    if laid.series.size == 0:
        return None

    def said(share: FloatArray, part: Segments, pick: IntArray) -> _Lines:
        return _of_lines(part, found, series, mean[pick], tau[pick], sigma[pick], share[pick], error_rho)

    everything = np.arange(laid.series.size)
    lines = np.unique(series.line[laid.series])
    some = np.flatnonzero(np.isin(series.line[laid.series], lines[:: max(1, lines.size // _LINES_LOOKED_AT)]))
    part = laid.picked(some) if some.size < everything.size else laid
    trials = [
        (_fit(told, sd), grows)
        for grows, share in ((False, np.ones(own_share.shape)), (True, own_share))
        for told in [said(share, part, some)]
        for sd in _OWN_SD_UM
    ]
    best, grows = max(trials, key=lambda trial: trial[0].gain)
    if best.gain < _CLEARLY:
        return None
    scale = series.share if grows else np.ones(series.share.shape)
    told = said(scale[laid.series], laid, everything)
    return _posterior(told, _fit(told, best.own_sd_um), series, scale)


def _posterior(told: _Lines, fit: _Fit, series: Series, scale: FloatArray) -> Season:
    eye = np.eye(2)
    own2 = fit.own_sd_um**2
    # A site without record has no mean of its own: its lines have none, and the spread of a site's.
    site = np.minimum(np.searchsorted(fit.sites, series.site), fit.sites.size - 1)
    known_site = fit.sites[site] == series.site
    mean = np.where(known_site[:, None], fit.mean[site], 0.0)
    mean_covariance = np.where(known_site[:, None, None], fit.covariance[site], eye * _SITE_SD_UM**2)

    place = np.minimum(np.searchsorted(told.lines, series.line), told.lines.size - 1)
    known = told.lines[place] == series.line
    information = np.where(known[:, None, None], told.information[place], 0.0)
    weighted = np.where(known[:, None], told.weighted[place], 0.0)
    damped = np.linalg.inv(eye + own2 * information)
    swing = np.einsum("nij,nj->ni", damped, mean + own2 * weighted)
    covariance = own2 * damped + np.einsum("nij,njk,nlk->nil", damped, mean_covariance, damped)
    return Season(swing * scale[:, None], covariance * (scale**2)[:, None, None])
