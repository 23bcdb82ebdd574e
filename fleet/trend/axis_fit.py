"""The fit of one axis: mean rate, its spread between series, and the wander, by marginal likelihood."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.trend.axis_pool import AxisPool, Prior, design_columns, grown
from fleet.trend.gls import Segments, Sums, left_out_residuals, sums
from fleet.trend.jumps import NO_JUMPS
from fleet.trend.lines import correlations
from fleet.trend.records import Series
from fleet.values import FloatArray, IntArray

_LOG_TAU: Final = (np.log(1e-3), np.log(5e4))
_LOG_SIGMA: Final = (np.log(1e-3), np.log(5e4))
_ENOUGH_SEGMENTS: Final = 1000
_ENOUGH_FOR_A_MEDIAN: Final = 30_000
_ENOUGH_LINES: Final = 8
"""From here on the record may speak about growth along the barrel and about jumps."""


@dataclass(frozen=True, slots=True)
class _Problem:
    """One axis, laid out; the scales say how tau and sigma go with the share."""

    laid: Segments
    design: FloatArray
    tau_scale: FloatArray
    sigma_scale2: FloatArray
    prior: Prior

    def sums(self, sigma: float) -> Sums:
        return sums(self.laid, sigma**2 * self.sigma_scale2)

    def mean(self, got: Sums, tau: float) -> tuple[float, FloatArray, FloatArray]:
        """Return -2 log marginal likelihood (constants left out), and the mean's coefficients with their covariance."""
        spread = (tau * self.tau_scale) ** 2
        inflate = 1.0 + spread * got.a
        weight, target = got.a / inflate, got.b / inflate
        normal = self.design.T @ (self.design * weight[:, None])
        normal[np.diag_indices_from(normal)] += 1.0 / self.prior.mean_sd_um**2
        right = self.design.T @ target
        covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        coefficients = covariance @ right
        quadratic = float(np.sum(got.c - spread * got.b * target)) - float(right @ coefficients)
        log_det = float(np.sum(got.log_det) + np.sum(np.log(inflate)))
        log_det += float(np.linalg.slogdet(normal)[1]) + 2.0 * normal.shape[0] * float(np.log(self.prior.mean_sd_um))
        prior = ((np.log(tau) - np.log(self.prior.tau_um)) / self.prior.tau_log_sd) ** 2
        prior -= 2.0 * self.prior.keep_spread * np.log(tau)
        return quadratic + log_det + float(prior), coefficients, covariance

    def at(self, sigma: float, got: Sums, log_tau: float) -> float:
        prior = ((np.log(sigma) - np.log(self.prior.sigma_um)) / self.prior.sigma_log_sd) ** 2
        return self.mean(got, float(np.exp(log_tau)))[0] + float(prior)

    def best_tau(self, sigma: float, about: float, reach: float) -> tuple[float, float]:
        """Return log tau and the objective at its least for a given wander."""
        from scipy.optimize import minimize_scalar

        got = self.sums(sigma)
        bounds = (max(_LOG_TAU[0], about - reach), min(_LOG_TAU[1], about + reach))
        best = minimize_scalar(
            lambda x: self.at(sigma, got, x), bounds=bounds, method="bounded", options={"xatol": 2e-3}
        )
        return float(best.x), float(best.fun)


@dataclass(frozen=True, slots=True)
class _Fit:
    tau: float
    sigma: float
    sigma_curvature: float
    objective: float
    coefficients: FloatArray
    covariance: FloatArray


def _maximise(problem: _Problem, start: tuple[float, float], reach: float) -> _Fit:
    """Find the most likely spread and wander; tau is profiled inside, sigma is searched outside."""
    from scipy.optimize import minimize_scalar

    tau_at: dict[float, float] = {}
    about = [start[0]]

    def outer(log_sigma: float) -> float:
        log_tau, objective = problem.best_tau(float(np.exp(log_sigma)), about[0], reach)
        tau_at[log_sigma] = log_tau
        return objective

    bounds = (max(_LOG_SIGMA[0], start[1] - reach), min(_LOG_SIGMA[1], start[1] + reach))
    best = minimize_scalar(outer, bounds=bounds, method="bounded", options={"xatol": 2e-3})
    log_sigma, least = float(best.x), float(best.fun)
    about[0] = tau_at[log_sigma]
    step = 0.05
    curvature = (outer(log_sigma - step) - 2.0 * least + outer(log_sigma + step)) / step**2
    tau, sigma = float(np.exp(about[0])), float(np.exp(log_sigma))
    _, coefficients, covariance = problem.mean(problem.sums(sigma), tau)
    return _Fit(tau, sigma, curvature, least, coefficients, covariance)


def _refine(problem: _Problem, near: _Fit, reach: float) -> _Fit:
    """Find the most likely spread and wander from a place near them, by Newton steps on a stencil of nine.

    Where the objective is no bowl there, or they turn out to be farther than `reach`, they are searched for.
    """
    start = float(np.log(near.tau)), float(np.log(near.sigma))
    at = np.array(start)
    steps = np.array([0.04, 0.04])
    for _ in range(4):
        values = np.empty((3, 3))
        for column, turn in enumerate((-1, 0, 1)):
            log_sigma = at[1] + turn * steps[1]
            got = problem.sums(float(np.exp(log_sigma)))
            for row, other in enumerate((-1, 0, 1)):
                values[row, column] = problem.at(float(np.exp(log_sigma)), got, at[0] + other * steps[0])
        slope = np.array([values[2, 1] - values[0, 1], values[1, 2] - values[1, 0]]) / (2.0 * steps)
        mixed = (values[2, 2] - values[2, 0] - values[0, 2] + values[0, 0]) / (4.0 * steps[0] * steps[1])
        bend = np.array([[values[2, 1] - 2.0 * values[1, 1] + values[0, 1], 0.0], [0.0, 0.0]])
        bend[1, 1] = values[1, 2] - 2.0 * values[1, 1] + values[1, 0]
        bend = bend / steps[:, None] / steps + np.array([[0.0, mixed], [mixed, 0.0]])
        if bend[0, 0] <= 0.0 or np.linalg.det(bend) <= 0.0:
            break
        move = -np.linalg.solve(bend, slope)
        if np.max(np.abs(at + move - start)) > reach:
            break
        at = at + np.clip(move, -0.5, 0.5)
        if np.max(np.abs(move)) < 0.02:
            # So near, the parabola is the objective.
            tau, sigma = float(np.exp(at[0])), float(np.exp(at[1]))
            _, coefficients, covariance = problem.mean(problem.sums(sigma), tau)
            curvature = float(bend[1, 1] - mixed**2 / bend[0, 0])
            return _Fit(tau, sigma, curvature, float(values[1, 1] + 0.5 * slope @ move), coefficients, covariance)
    return _maximise(problem, start, reach)


def _robust_start(laid: Segments) -> tuple[float, float, FloatArray]:
    """Return start values of tau and sigma, and which intervals look like jumps beside the others.

    The scale is the median absolute deviation of movements about their median rate, so that up to half of the
    intervals may have jumped; it holds spread and wander together, which half each of the variance is a fair start of.
    """
    held = laid.index >= 0
    years, moved = laid.years[held], laid.moved_um[held]
    variance = laid.var_um2[held]
    spans = years > 0
    rates = moved[spans] / years[spans]
    rate = float(np.median(rates[:: max(1, rates.size // _ENOUGH_FOR_A_MEDIAN)])) if rates.size else 0.0
    residual = moved - rate * years
    some = slice(None, None, max(1, residual.size // _ENOUGH_FOR_A_MEDIAN))
    size, spread, span = np.abs(residual[some]), variance[some], years[some]
    scale2 = 0.0
    for _ in range(8):
        total = spread + scale2 * span
        typical = 1.4826 * float(np.median(size / np.sqrt(total)))
        scale2 = max(scale2 + (typical**2 - 1.0) * float(np.median(total)) / max(float(np.median(span)), 1e-6), 0.0)
    total = variance + scale2 * years
    jump = np.where(np.abs(residual) > 6.0 * np.sqrt(total), np.maximum(residual**2 - total, 0.0), 0.0)
    half = float(np.sqrt(max(scale2, 1.0) / 2.0))
    return half, half, jump


def _jumps(problem: _Problem, fit: _Fit, before: FloatArray, threshold: float = 4.0) -> FloatArray:
    """Return the variance that jumps add, judged by what the others of the series predict, (longest, n_segments)."""
    residual, sd = left_out_residuals(
        problem.laid,
        problem.design @ fit.coefficients,
        fit.tau * problem.tau_scale,
        fit.sigma * np.sqrt(problem.sigma_scale2),
    )
    plain2 = np.maximum(sd**2 - before, 1e-12)
    return np.where(residual**2 > threshold**2 * plain2, np.maximum(residual**2 - plain2, 0.0), 0.0)


def _with_jumps(problem: _Problem, extra: FloatArray) -> _Problem:
    return replace(problem, laid=problem.laid.with_more(extra))


def _design_effect(problem: _Problem, fit: _Fit, line: IntArray) -> float:
    """Return by how much the stations of one line, moving together, say less than as many lines would.

    1 + (k - 1) rho for clusters of k with correlation rho (Kish 1965), rho from products of the standardised rates.
    """
    got = problem.sums(fit.sigma)
    spread2 = (fit.tau * problem.tau_scale) ** 2
    size = (got.b - got.a * (problem.design @ fit.coefficients)) / np.sqrt(
        np.maximum(got.a * (1 + spread2 * got.a), 1e-300)
    )
    _, of_line, count = np.unique(line, return_inverse=True, return_counts=True)
    total = np.bincount(of_line, size)
    pairs = float(np.sum(count * (count - 1)))
    if pairs == 0.0:
        return 1.0
    rho = float(np.sum(total**2) - np.sum(size**2)) / pairs / max(float(np.mean(size**2)), 1e-12)
    # With a few lines rho is hardly known; the pull towards 1/2 fades as lines come in.
    lines = count.size
    rho = (lines * rho + 5 * 0.5) / (lines + 5)
    mean_size = float(np.sum(count**2) / np.sum(count))
    return 1.0 + (mean_size - 1.0) * float(np.clip(rho, 0.0, 1.0))


def _foundation_choices(codes: IntArray, line: IntArray) -> list[tuple[tuple[int, ...], bool]]:
    """Return the sets of foundation offsets worth trying: none, flat, and growing with the share."""
    known = codes >= 0
    present, of = np.unique(codes[known], return_inverse=True)
    lines = [np.unique(line[known][of == number]).size for number in range(present.size)]
    present = present[np.array(lines, dtype=np.int64) >= 2] if present.size else present
    if present.size < 2 or present.size > 30:
        return []
    own = tuple(int(code) for code in present[1:])
    return [(own, False), (own, True)]


def fit_axis(laid: Segments, series: Series, prior: Prior) -> tuple[AxisPool, FloatArray]:
    """Fit one axis.

    Parameters
    ----------
    laid : its segments
    series : the series of the fleet
    prior : what is believed before any record

    Returns
    -------
    the pool, and the variance that outliers add to their intervals, shape (longest, n_segments)
    """
    share, line = series.share[laid.series], series.line[laid.series]
    foundation = series.foundation[laid.series]
    ones = np.ones(laid.series.size)
    held = laid.index >= 0
    n_intervals = int(np.sum(held))
    n_lines = int(np.unique(line).size)
    base = _Problem(laid, design_columns(share, foundation, (), False), ones, ones, prior)
    if n_intervals == 0:
        covariance = np.eye(2) * prior.mean_sd_um**2
        return AxisPool(
            np.zeros(2), covariance, prior.tau_um, prior.sigma_um, 1.0 / (2.0 * prior.sigma_log_sd**2),
            0.0, 0.0, 0.3, 0.3, (), False, 0, 0, 0.0, NO_JUMPS,
        ), np.zeros(laid.years.shape)  # fmt: skip

    _, _, jumped = _robust_start(laid)
    extra = np.zeros(laid.years.shape)
    if n_intervals >= _ENOUGH_LINES:
        extra[held] = jumped
    problem = _with_jumps(base, extra)
    fit, growth = _start_from_part(problem, share, line)
    problem = _grown(problem, share, growth)
    if laid.series.size > 2 * _ENOUGH_SEGMENTS:
        fit = _refine(problem, fit, 0.2)
    if n_intervals >= _ENOUGH_LINES:
        for _ in range(2):
            before, extra = extra, _jumps(problem, fit, extra)
            change = float(np.sum(np.abs(extra - before) / (problem.laid.var_um2 + fit.sigma**2 * laid.years)))
            problem = _with_jumps(problem, extra - before)
            if change < 0.005 * n_intervals:
                break
            fit = _refine(problem, fit, 1.5)

    chosen: tuple[tuple[int, ...], bool] = ((), False)
    lowest = 0.0
    got = problem.sums(fit.sigma)
    weight = got.a / (1.0 + (fit.tau * problem.tau_scale) ** 2 * got.a)
    rate = np.divide(got.b, got.a, out=np.zeros_like(got.b), where=got.a > 0)
    effect = _design_effect(problem, fit, line)
    for own, by_share in _foundation_choices(foundation, line):
        wider = design_columns(share, foundation, own, by_share)
        fewer, more = (_weighted_chi2(design, rate, weight) for design in (problem.design, wider))
        gain = (fewer - more) / effect - len(own) * float(np.log(n_lines))
        if gain > lowest:
            chosen, lowest = (own, by_share), gain
    if chosen[0]:
        wider = design_columns(share, foundation, *chosen)
        problem = _Problem(problem.laid, wider, problem.tau_scale, problem.sigma_scale2, prior)
        fit = _refine(problem, fit, 1.0)
        effect = _design_effect(problem, fit, line)
    dof = _wander_dof(fit, effect, prior)
    tau, sigma = fit.tau * problem.tau_scale, fit.sigma * np.sqrt(problem.sigma_scale2)
    rate_rho, error_rho = correlations(problem.laid, line, problem.design @ fit.coefficients, tau, sigma)
    pool = AxisPool(
        coefficients=fit.coefficients,
        covariance=_less_certain(fit.covariance, effect, prior),
        tau_um=fit.tau,
        sigma_um=fit.sigma,
        sigma_dof=dof,
        tau_growth=growth[0],
        sigma_growth=growth[1],
        rate_rho=rate_rho,
        error_rho=error_rho,
        foundations=chosen[0],
        foundation_by_share=chosen[1],
        n_intervals=n_intervals,
        n_lines=n_lines,
        objective=fit.objective,
        jumps=NO_JUMPS,
    )
    return pool, extra


def _wander_dof(fit: _Fit, effect: float, prior: Prior) -> float:
    # -2 log likelihood is parabolic in log sigma with curvature 2 / var(log sigma), and a variance known with nu
    # degrees of freedom has var(log sigma) = 1 / (2 nu).
    return max(fit.sigma_curvature / 4.0 / effect, 1.0 / (2.0 * prior.sigma_log_sd**2))


def _less_certain(covariance: FloatArray, effect: float, prior: Prior) -> FloatArray:
    """Divide what the record says about the mean by the design effect, and leave the prior's part alone."""
    own = np.eye(covariance.shape[0]) / prior.mean_sd_um**2
    wider = np.linalg.inv((np.linalg.inv(covariance) - own) / effect + own)
    return (wider + wider.T) / 2.0


def _weighted_chi2(design: FloatArray, rate: FloatArray, weight: FloatArray) -> float:
    root = np.sqrt(weight)
    white, target = design * root[:, None], rate * root
    coefficients = np.linalg.lstsq(white, target, rcond=None)[0]
    return float(np.sum((target - white @ coefficients) ** 2))


def _choose_growth(problem: _Problem, fit: _Fit, share: FloatArray) -> tuple[float, float, _Fit]:
    """Let spread and wander grow with the share of the barrel where that is clearly likelier (6 units of -2 log L)."""
    if np.ptp(share) < 0.1:
        return 0.0, 0.0, fit
    best, growth = fit, (0.0, 0.0)
    trials = [(0.5, 0.5), (1.0, 1.0)]
    for turn in range(3):
        for trial in trials:
            scaled = _grown(problem, share, trial)
            found = _refine(scaled, best, 1.0)
            if found.objective < best.objective:
                best, growth = found, trial
        trials = [(value, growth[1]) for value in (0.0, 0.5, 0.75, 1.0) if value != growth[0]]
        if turn == 1:
            trials = [(growth[0], value) for value in (0.0, 0.25, 0.5, 0.75, 0.9) if value != growth[1]]
    if best.objective > fit.objective - 6.0:
        return 0.0, 0.0, fit
    return *growth, best


def _grown(problem: _Problem, share: FloatArray, growth: tuple[float, float]) -> _Problem:
    tau_scale, sigma_scale = grown(share, growth[0]), grown(share, growth[1])
    return _Problem(problem.laid, problem.design, tau_scale, sigma_scale**2, problem.prior)


def _start_from_part(problem: _Problem, share: FloatArray, line: IntArray) -> tuple[_Fit, tuple[float, float]]:
    """Fit a systematic sample of lines of a large fleet: it finds the place that the whole fleet then refines."""
    step = max(1, problem.laid.series.size // _ENOUGH_SEGMENTS)
    pick = np.flatnonzero(line % step == 0)
    if step > 1 and pick.size >= _ENOUGH_SEGMENTS // 2:
        problem, share, line = _picked(problem, pick), share[pick], line[pick]
    tau, sigma, _ = _robust_start(problem.laid)
    reach = 9.0 if int(np.sum(problem.laid.count)) < 50 else 4.0
    fit = _maximise(problem, (float(np.log(tau)), float(np.log(sigma))), reach)
    if np.unique(line).size < _ENOUGH_LINES:
        return fit, (0.0, 0.0)
    tau_growth, sigma_growth, fit = _choose_growth(problem, fit, share)
    return fit, (tau_growth, sigma_growth)


def _picked(problem: _Problem, pick: IntArray) -> _Problem:
    return _Problem(
        problem.laid.picked(pick),
        problem.design[pick],
        problem.tau_scale[pick],
        problem.sigma_scale2[pick],
        problem.prior,
    )
