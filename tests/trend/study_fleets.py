"""Nine kinds of simulated fleets with their future, and what one who knew every line's parameters would foresee.

Sizes are those of the field as far as they are told (from memory): rates up to 150 um a year, of which part is shared
by a line's stations; wander of 15 to 60 um per root year, half of its variance shared; u of 8 to 20 um, 40 % of its
variance set-up; visits 6 to 18 months apart; limits of 75 to 250 um.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.trend import Series, Visits
from fleet.values import DAYS_PER_YEAR, BoolArray, FloatArray, IntArray

AHEAD_DAYS: Final = (90, 180, 365, 730)
STEP_DAYS: Final = 5
SETUP_SHARE: Final = 0.4
SET_WITHIN_UM: Final = 8.0
JUMPS_A_YEAR: Final = 0.12
JUMP_UM: Final = 90.0


@dataclass(frozen=True, slots=True)
class Kind:
    """What makes a fleet one of its kind; see `KINDS`."""

    visits: tuple[int, int] = (4, 9)
    drifting: bool = True
    season: bool = False
    jumps: bool = False
    cohorts: bool = False
    event: bool = False
    metered: bool = False


KINDS: Final = {
    "plain": Kind(),
    "pure wander": Kind(drifting=False),
    "seasonal": Kind(season=True),
    "jumps": Kind(jumps=True),
    "sparse": Kind(visits=(1, 3)),
    "many visits": Kind(visits=(20, 20)),
    "mixed cohorts": Kind(cohorts=True),
    "resetting event": Kind(event=True),
    "meter clock": Kind(metered=True),
}


@dataclass(frozen=True, slots=True)
class Mixture:
    """Normal distributions about one mean, with weights; `mean_um` (n, dates), the others (n, dates, parts)."""

    mean_um: FloatArray
    weight: FloatArray
    sd_um: FloatArray


@dataclass(frozen=True, slots=True)
class StudyFleet:
    """A fleet as the record shows it on as-of, and what came of it.

    Parameters
    ----------
    series, visits, regime_now : what the forecast is given
    elapsed_years, elapsed_days, years_per_day : of the line's clock, shape (n,)
    limit_um : shape (n,); the target is 0
    use_years : years of use from the newest survey to each date of `AHEAD_DAYS` as projected on as-of, shape (n, dates)
    measured_um : what a survey showed on each date, shape (n, dates)
    passed : |position| had passed the limit by then, shape (n, dates)
    oracle : what the parameters and the record together foresee
    """

    series: Series
    visits: Visits
    regime_now: IntArray
    elapsed_years: FloatArray
    elapsed_days: FloatArray
    years_per_day: FloatArray
    limit_um: FloatArray
    use_years: FloatArray
    measured_um: FloatArray
    passed: BoolArray
    oracle: Mixture


def study_fleet(kind: Kind, *, lines: int, seed: int, stations: int = 4) -> StudyFleet:
    """Simulate a fleet of a kind."""
    rng = np.random.default_rng(seed)
    shape = (lines, stations, 2)
    share = np.broadcast_to(((np.arange(stations) + 1) / stations)[None, :, None], shape)

    def line_and_axis(values: FloatArray) -> FloatArray:
        return np.broadcast_to(values[:, None, :], shape)

    def per_line(values: FloatArray) -> FloatArray:
        return np.broadcast_to(values[:, None, None], shape)

    cohort = rng.integers(0, 3, lines)

    def drawn_rates() -> FloatArray:
        towards = np.where(rng.random((lines, 2)) < np.array([0.8, 0.6]), 1.0, -1.0)
        common = line_and_axis(rng.uniform(0.0, 150.0, (lines, 2))) * share
        rates = line_and_axis(towards) * (0.7 * common + 0.3 * rng.uniform(0.0, 150.0, shape))
        if kind.cohorts:
            rates = rates * per_line(np.array([0.2, 0.6, 1.0])[cohort])
        return np.asarray(rates if kind.drifting else 0.0 * rates, dtype=np.float64)

    rate = drawn_rates()
    sigma = rng.uniform(15.0, 60.0, lines)
    if kind.cohorts:
        sigma = np.array([18.0, 32.0, 50.0])[cohort] * rng.uniform(0.8, 1.2, lines)
    sigma_um = per_line(sigma)
    u_um = per_line(rng.uniform(8.0, 20.0, lines))
    limit_um = per_line(rng.uniform(75.0, 250.0, lines))
    site = rng.integers(0, 8, lines)
    swing = rng.uniform(15.0, 40.0, 8)[site] * rng.normal(1.0, 0.2, lines) * kind.season
    swing_um = per_line(swing) * np.array([1.0, 0.5])
    hottest = per_line(rng.normal(200.0, 15.0, 8)[site])

    def season(days: FloatArray) -> FloatArray:
        return np.asarray(swing_um * np.cos(2.0 * np.pi * (days - hottest) / DAYS_PER_YEAR), dtype=np.float64)

    n_visits = rng.integers(kind.visits[0], kind.visits[1] + 1, lines)
    most = kind.visits[1]
    days = np.cumsum(rng.uniform(182.0, 548.0, (lines, most)), axis=1) + 15_000.0
    pace = rng.uniform(0.3, 1.7, (lines, most + 1)) if kind.metered else np.ones((lines, most + 1))
    clock = np.cumsum(np.diff(days, axis=1, prepend=days[:, :1] - 365.0) * pace[:, :-1], axis=1) / DAYS_PER_YEAR
    realigned = rng.random((lines, most)) < 0.7
    event_at = np.where(rng.random(lines) < 0.6, rng.integers(1, np.maximum(n_visits, 2)), most + 1)
    event_before = most - n_visits + event_at if kind.event else np.full(lines, most + 1)

    def stepped(years: FloatArray) -> FloatArray:
        wander = np.sqrt(0.5) * (line_and_axis(rng.standard_normal((lines, 2))) + rng.standard_normal(shape))
        return np.asarray(rate * years + sigma_um * np.sqrt(years) * wander, dtype=np.float64)

    def jumped(years: FloatArray) -> FloatArray:
        if not kind.jumps:
            return np.zeros(shape)
        count = rng.poisson(JUMPS_A_YEAR * np.broadcast_to(years[:, :1, :1], (lines, 1, 2)))
        return np.asarray(share * JUMP_UM * np.sqrt(count) * rng.standard_normal((lines, 1, 2)), dtype=np.float64)

    setup_sd, own_sd = np.sqrt(SETUP_SHARE) * u_um, np.sqrt(1.0 - SETUP_SHARE) * u_um
    position = SET_WITHIN_UM * rng.standard_normal(shape)
    found, left = np.empty((*shape, most)), np.empty((*shape, most))
    # The oracle's belief about the position without season: mean and variance.
    belief, doubt = np.zeros(shape), np.full(shape, 1e12)
    for k in range(most):
        at = per_line(days[:, k])
        if k:
            years = per_line(clock[:, k] - clock[:, k - 1])
            anew = per_line(event_before == k)
            rate = np.where(anew, drawn_rates() if kind.event else rate, rate)
            jump = jumped(years)
            position = position + stepped(years) + jump
            belief = np.where(anew, 0.0, belief + rate * years + jump)
            doubt = np.where(anew, 1e12, doubt + sigma_um**2 * years)
        setup = setup_sd * line_and_axis(rng.standard_normal((lines, 2)))
        found[..., k] = position + season(at) + setup + own_sd * rng.standard_normal(shape)
        surprise = found[..., k] - season(at) - belief
        gain = doubt / (doubt + u_um**2)
        setup_mean = setup_sd**2 / (doubt + u_um**2) * surprise
        setup_var = setup_sd**2 - setup_sd**4 / (doubt + u_um**2)
        moved = per_line(realigned[:, k])
        position = np.where(moved, SET_WITHIN_UM * rng.standard_normal(shape) - season(at), position)
        again = position + season(at) + setup + own_sd * rng.standard_normal(shape)
        left[..., k] = np.where(moved, again, found[..., k])
        belief = np.where(moved, again - season(at) - setup_mean, belief + gain * surprise)
        doubt = np.where(moved, setup_var + own_sd**2, doubt * (1.0 - gain))

    last_day, last_pace = days[:, -1], pace[:, -2]
    elapsed = np.round(rng.uniform(0.0, 120.0, lines))
    future_pace = last_pace * (rng.uniform(0.9, 1.1, lines) if kind.metered else 1.0)
    asked = elapsed[:, None] + np.array(AHEAD_DAYS, dtype=np.float64)
    measured, passed = np.empty((*shape, len(AHEAD_DAYS))), np.zeros((*shape, len(AHEAD_DAYS)), dtype=np.bool_)
    gone = np.abs(position + season(per_line(last_day))) > limit_um
    x, since = position, np.zeros(lines)
    while True:
        step = np.minimum(float(STEP_DAYS), np.max(asked) - since)
        for column in range(len(AHEAD_DAYS)):
            due = np.floor(asked[:, column] / STEP_DAYS) == np.floor(since / STEP_DAYS)
            here = per_line(due)
            setup = setup_sd * line_and_axis(rng.standard_normal((lines, 2)))
            shown = x + season(per_line(last_day + since)) + setup + own_sd * rng.standard_normal(shape)
            measured[..., column] = np.where(here, shown, measured[..., column])
            passed[..., column] = np.where(here, gone, passed[..., column])
        if np.all(since >= np.max(asked)):
            break
        years = per_line(step * future_pace / DAYS_PER_YEAR)
        before = x + season(per_line(last_day + since))
        x = x + stepped(years)
        after = x + season(per_line(last_day + since + step))
        between = sigma_um**2 * np.maximum(years, 1e-9)
        for sign in (1.0, -1.0):
            room = np.maximum(limit_um - sign * before, 0.0) * np.maximum(limit_um - sign * after, 0.0)
            gone = gone | (rng.random(shape) < np.exp(-2.0 * room / between))
        x = x + jumped(years)
        gone = gone | (np.abs(x + season(per_line(last_day + since + step))) > limit_um)
        since = since + step

    use_years = asked * (last_pace / DAYS_PER_YEAR)[:, None]
    oracle = _oracle(
        kind, belief, doubt, rate, sigma_um, u_um, share,
        [season(per_line(last_day + asked[:, column])) for column in range(len(AHEAD_DAYS))], use_years,
    )  # fmt: skip

    kept = np.arange(most)[None, :] >= most - n_visits[:, None]
    per_visit = (*shape, most)

    def rows(values: FloatArray | BoolArray | IntArray) -> FloatArray:
        wide = np.broadcast_to(values[:, None, None, :] if values.ndim == 2 else values, per_visit)
        return np.asarray(wide[np.broadcast_to(kept[:, None, None, :], per_visit)])

    n = lines * stations * 2
    u2 = rows(np.broadcast_to((u_um**2)[..., None], per_visit))
    regime = (np.arange(most)[None, :] >= event_before[:, None]).astype(np.int64)
    visits = Visits(
        series=rows(np.broadcast_to(np.arange(n).reshape(shape)[..., None], per_visit)).astype(np.int64),
        clock_years=rows(clock),
        days=rows(days),
        found_um=rows(found),
        found_var_um2=u2,
        found_setup_um2=SETUP_SHARE * u2,
        left_um=rows(left),
        left_var_um2=u2,
        left_setup_um2=SETUP_SHARE * u2,
        one_survey=rows(~realigned),
        moved=rows(realigned),
        chained=np.ones(u2.size, dtype=np.bool_),
        regime_found=rows(regime),
        regime_left=rows(regime),
    )
    series = Series(
        axis=np.broadcast_to(np.arange(2), shape).ravel(),
        share=share.ravel(),
        line=per_line(np.arange(lines)).ravel(),
        foundation=per_line(cohort if kind.cohorts else np.full(lines, -1)).ravel(),
        site=per_line(site).ravel(),
    )
    dates = (n, len(AHEAD_DAYS))
    return StudyFleet(
        series=series,
        visits=visits,
        regime_now=per_line(regime[:, -1]).ravel(),
        elapsed_years=per_line(elapsed * last_pace / DAYS_PER_YEAR).ravel(),
        elapsed_days=per_line(elapsed).ravel(),
        years_per_day=per_line(last_pace / DAYS_PER_YEAR).ravel(),
        limit_um=limit_um.ravel(),
        use_years=np.broadcast_to(use_years[:, None, None, :], (*shape, len(AHEAD_DAYS))).reshape(dates),
        measured_um=measured.reshape(dates),
        passed=passed.reshape(dates),
        oracle=oracle,
    )


def _oracle(
    kind: Kind,
    belief: FloatArray,
    doubt: FloatArray,
    rate: FloatArray,
    sigma_um: FloatArray,
    u_um: FloatArray,
    share: FloatArray,
    swings: list[FloatArray],
    use_years: FloatArray,
) -> Mixture:
    means, weights, sds = [], [], []
    for column, swing in enumerate(swings):
        years = np.broadcast_to(use_years[:, column, None, None], belief.shape)
        counts = np.arange(4 if kind.jumps else 1)
        expected = JUMPS_A_YEAR * years[..., None]
        weight = np.exp(-expected) * expected**counts / np.array([1.0, 1.0, 2.0, 6.0])[: counts.size]
        if not kind.jumps:
            weight = np.ones((*belief.shape, 1))
        variance = (doubt + sigma_um**2 * years + u_um**2)[..., None] + counts * ((JUMP_UM * share) ** 2)[..., None]
        means.append((belief + rate * years + swing).ravel())
        weights.append((weight / weight.sum(axis=-1, keepdims=True)).reshape(-1, counts.size))
        sds.append(np.sqrt(variance).reshape(-1, counts.size))
    return Mixture(np.stack(means, axis=1), np.stack(weights, axis=1), np.stack(sds, axis=1))
