"""How far a forecast is to be trusted: its ranges counted against what came in, and its score beside simple rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import bdtr

from fleet.trend.backtest import RANGES, Backtest
from fleet.trend.scoring import SIMPLE_RULES
from fleet.values import BoolArray, FloatArray, IntArray

Verdict = Literal["few", "holds", "too_narrow", "too_wide"]
STRETCHES_DAYS: Final = ((0.0, 180.0), (180.0, 365.25), (365.25, 730.5), (730.5, np.inf))
"""How long ahead was looked: up to half a year, a year, two years, longer; the upper end belongs to the stretch."""
ENOUGH: Final = 20
"""Independent values from which on a share says something; the values of a visit count as fewer than they are."""
NEAR_ENOUGH: Final = 0.05
"""A share this near, in standard deviations of a single count, holds however many values could tell it from exact:
0.94 to 0.96 of the 95 % range (our choice)."""
_GUESS: Final = 0.3
_GUESS_WORTH: Final = 5.0


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many measured values lay inside ranges that were to hold a given share.

    Parameters
    ----------
    share : what the range was to hold, 0 to 1
    n, inside : values, and those inside
    worth : how many independent values the n are worth
    fewest, most : count inside that 95 in 100 fair forecasts would have shown
    u_share : standard uncertainty of inside / n, the values of a visit taken as a cluster; NaN for a single visit
    mean_width_um : mean width of the range
    verdict : `few`: too few to say; else whether the count lies between fewest and most (or near enough to what was to
        be expected), below or above
    """

    share: float
    n: int
    inside: int
    worth: float
    fewest: int
    most: int
    u_share: float
    mean_width_um: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RuleScore:
    """A simple rule beside the forecast, over the values for which it has something to say.

    Parameters
    ----------
    rule : one of `SIMPLE_RULES`
    n : values
    score_um, forecast_um : mean ranked probability score of the rule and of the forecast; NaN for none
    u_gain_um : standard uncertainty of score_um - forecast_um, visits taken as clusters; NaN for a single visit
    """

    rule: str
    n: int
    score_um: float
    forecast_um: float
    u_gain_um: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """The forecasts that looked over from_days < days ahead <= to_days."""

    from_days: float
    to_days: float
    n: int
    visits: int
    coverages: tuple[Coverage, ...]
    score_um: float


@dataclass(frozen=True, slots=True)
class Reliability:
    """What a backtest comes to; `coverages` in the order of `RANGES`, `stretches` of `STRETCHES_DAYS`."""

    n: int
    visits: int
    coverages: tuple[Coverage, ...]
    score_um: float
    rules: tuple[RuleScore, ...]
    stretches: tuple[Stretch, ...]

    @property
    def verdict(self) -> Verdict:
        """What the 95 % range comes to: the one that the dates on the pages are drawn from."""
        return self.coverages[-1].verdict


def reliability(tested: Backtest, rows: IntArray | None = None) -> Reliability:
    """Sum up a backtest, or some rows of it.

    Parameters
    ----------
    tested : from `backtest`
    rows : which predictions to judge; None: all
    """
    rows = np.arange(tested.series.size) if rows is None else rows
    ahead = tested.days_ahead[rows]
    return Reliability(
        n=int(rows.size),
        visits=_visits(tested, rows),
        coverages=_coverages(tested, rows),
        score_um=_mean(tested.score_um[rows]),
        rules=tuple(_rule(tested, rows, number) for number in range(len(SIMPLE_RULES))),
        stretches=tuple(
            _stretch(tested, rows[(ahead > low) & (ahead <= high)], low, high) for low, high in STRETCHES_DAYS
        ),
    )


def coverage(inside: BoolArray, cluster: IntArray, *, share: float, mean_width_um: float = np.nan) -> Coverage:
    """Count values inside a range against what a fair forecast would show.

    Stations and axes of one visit are wrong together, so that n values are worth n / (1 + (k - 1) rho): k the
    (size-weighted) mean number a visit, rho the correlation of being inside, estimated from the products within visits
    and pulled towards 0.3 (from memory) while visits are few.

    Parameters
    ----------
    inside : shape (n,)
    cluster : number of the visit of each, shape (n,)
    share : what the range was to hold
    mean_width_um : its mean width, handed on

    Returns
    -------
    the count, with the 95 % range of a binomial count of that worth

    References
    ----------
    Design effect: Kish (1965), Survey Sampling, section 5.4 (from memory). Uncertainty of the share: sum over clusters
    of squared residual totals (Liang and Zeger 1986, Biometrika 73, 13-22), times C / (C - 1).
    """
    n, hits = int(inside.size), int(np.sum(inside))
    if n == 0:
        return Coverage(share, 0, 0, 0.0, 0, 0, np.nan, mean_width_um, "few")
    _, of, sizes = np.unique(cluster, return_inverse=True, return_counts=True)
    residual = inside - hits / n
    totals = np.bincount(of.ravel(), residual)
    pairs = float(np.sum(sizes * (sizes - 1)))
    together = float(np.sum(totals**2) - np.sum(residual**2))
    alone = float(np.mean(residual**2))
    rho = together / pairs / alone if pairs and alone > 0.0 else _GUESS
    rho = float(np.clip((sizes.size * rho + _GUESS_WORTH * _GUESS) / (sizes.size + _GUESS_WORTH), 0.0, 1.0))
    worth = n / (1.0 + (float(np.sum(sizes**2)) / n - 1.0) * rho)
    fewest, most = _binomial_range(n, worth, share)
    u_share = float("nan")
    if sizes.size > 1:
        u_share = float(np.sqrt(np.sum(totals**2) * sizes.size / (sizes.size - 1))) / n
    off = hits / n - share
    verdict: Verdict = "holds"
    if worth < ENOUGH:
        verdict = "few"
    elif abs(off) > NEAR_ENOUGH * np.sqrt(share * (1.0 - share)) and not fewest <= hits <= most:
        verdict = "too_narrow" if off < 0.0 else "too_wide"
    return Coverage(share, n, hits, worth, fewest, most, u_share, mean_width_um, verdict)


def _binomial_range(n: int, worth: float, share: float) -> tuple[int, int]:
    """Return the least and the greatest of n that 95 in 100 binomial counts of the given worth lie between."""
    trials = max(round(worth), 1)
    count = np.arange(trials + 1)
    up_to = bdtr(count.astype(np.float64), trials, share)
    low, high = (int(np.argmax(up_to >= level)) for level in (0.025, 0.975))
    return int(np.floor(low * n / trials)), min(int(np.ceil(high * n / trials)), n)


def _coverages(tested: Backtest, rows: IntArray) -> tuple[Coverage, ...]:
    widths = (tested.quantiles_um[rows, high] - tested.quantiles_um[rows, low] for _, low, high in RANGES)
    return tuple(
        coverage(tested.inside[rows, k], tested.cluster[rows], share=share, mean_width_um=_mean(width))
        for k, ((share, _, _), width) in enumerate(zip(RANGES, widths, strict=True))
    )


def _stretch(tested: Backtest, rows: IntArray, low: float, high: float) -> Stretch:
    return Stretch(
        low, high, int(rows.size), _visits(tested, rows), _coverages(tested, rows), _mean(tested.score_um[rows])
    )


def _rule(tested: Backtest, rows: IntArray, number: int) -> RuleScore:
    rows = rows[np.isfinite(tested.simple_score_um[rows, number])]
    rule, forecast = tested.simple_score_um[rows, number], tested.score_um[rows]
    u_gain = float("nan")
    _, of, sizes = np.unique(tested.cluster[rows], return_inverse=True, return_counts=True)
    if sizes.size > 1:
        gain = rule - forecast
        totals = np.bincount(of.ravel(), gain - np.mean(gain))
        u_gain = float(np.sqrt(np.sum(totals**2) * sizes.size / (sizes.size - 1))) / rows.size
    return RuleScore(SIMPLE_RULES[number], int(rows.size), _mean(rule), _mean(forecast), u_gain)


def _visits(tested: Backtest, rows: IntArray) -> int:
    return int(np.unique(tested.cluster[rows]).size)


def _mean(values: FloatArray) -> float:
    return float(np.mean(values)) if values.size else float("nan")
