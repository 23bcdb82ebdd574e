"""The trend's algebra against published data sets; where each comes from stands in tests/data/trend_source.md."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest
from trend_fleet import alone, no_visits, one_series, plain_intervals, pool_of

from fleet.trend import Prior, Series, Visits, gls, intervals, outlook, pool_rates, posteriors
from fleet.values import FloatArray

DATA = Path(__file__).parents[1] / "data"


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(rows: list[dict[str, str]], name: str) -> FloatArray:
    return np.array([float(row[name]) for row in rows])


def certified(dataset: str) -> dict[str, tuple[float, float]]:
    return {
        row["quantity"]: (float(row["certified_value"]), float(row["certified_sd_of_estimate"] or "nan"))
        for row in table("strd_certified.csv")
        if row["dataset"] == dataset
    }


def test_the_least_squares_core_meets_the_certified_norris_line() -> None:
    # NIST StRD Norris.
    rows, known = table("strd_norris.csv"), certified("Norris")
    x, y = column(rows, "x"), column(rows, "y")
    fit = gls(np.column_stack([np.ones_like(x), x]), y, np.ones_like(x))
    assert fit.coefficients == pytest.approx([known["B0_intercept"][0], known["B1_slope"][0]], rel=1e-10)
    assert fit.residual_sd == pytest.approx(known["residual_sd"][0], rel=1e-12)
    sd = np.sqrt(np.diag(fit.covariance)) * fit.residual_sd
    assert sd == pytest.approx([known["B0_intercept"][1], known["B1_slope"][1]], rel=1e-12)
    assert fit.dof == known["residual_dof"][0]


def test_a_series_that_only_drifts_and_was_never_moved_has_the_certified_slope_of_norris() -> None:
    # NIST StRD Norris: a drift from an unknown start, seen through measuring errors, is a line fit.
    rows, known = table("strd_norris.csv"), certified("Norris")
    order = np.argsort(column(rows, "x"), kind="stable")
    x, y = column(rows, "x")[order], column(rows, "y")[order]
    series, visits = one_series(list(x), list(y), var=known["residual_sd"][0] ** 2)
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=1e6, sigma=0.0))
    assert got.rate_um[0] == pytest.approx(known["B1_slope"][0], rel=1e-9)
    assert np.sqrt(got.rate_var_um2[0]) == pytest.approx(known["B1_slope"][1], rel=1e-7)
    line_at_last = known["B0_intercept"][0] + known["B1_slope"][0] * x[-1]
    assert got.position_um[0] == pytest.approx(line_at_last, rel=1e-9)


@pytest.mark.parametrize("dataset", ["NoInt1", "NoInt2"])
def test_movements_counted_from_a_reset_have_the_certified_slope_through_the_origin(dataset: str) -> None:
    # NIST StRD NoInt1 and NoInt2.
    rows, known = table(f"strd_{dataset.lower()}.csv"), certified(dataset)
    found = plain_intervals(column(rows, "x"), column(rows, "y"), known["residual_sd"][0] ** 2)
    got = posteriors(no_visits(), found, alone(), pool_of(found, tau=1e6, sigma=0.0))
    slope, sd = known["B1_slope_no_intercept"]
    assert got.rate_um[0] == pytest.approx(slope, rel=1e-9)
    assert np.sqrt(got.rate_var_um2[0]) == pytest.approx(sd, rel=1e-7)


def test_a_forecast_of_the_line_keeps_the_covariance_of_position_and_rate_as_gum_h3_does() -> None:
    # JCGM 100:2008, H.3: -0.1494 C with u = 0.0041 C at 30 C; dropping the covariance gives another figure.
    rows = table("gum_h3_readings.csv")
    known = {row["quantity"]: float(row["published"]) for row in table("gum_h3_results.csv")}
    temperature, correction = column(rows, "t_k_degC"), column(rows, "b_k_degC") * 1e6
    series, visits = one_series(list(temperature), list(correction), var=(known["s_residual"] * 1e6) ** 2)
    found = intervals(visits)
    got = posteriors(visits, found, series, pool_of(found, tau=1e9, sigma=0.0))
    ahead = np.array([[30.0 - temperature[-1]]])
    there = outlook(got, years=ahead, days=ahead, measuring_var_um2=np.zeros(1))
    assert there.mean_um[0, 0] / 1e6 == pytest.approx(known["b_at_30degC"], abs=0.00005)
    assert there.sd_um[0, 0] / 1e6 == pytest.approx(known["u_b_at_30degC"], abs=0.00005)
    assert got.rate_um[0] / 1e6 == pytest.approx(known["y2_slope"], abs=0.000005)
    assert np.sqrt(got.rate_var_um2[0]) / 1e6 == pytest.approx(known["s_y2"], abs=0.000005)


def test_the_degradation_example_comes_out_to_its_printed_figures() -> None:
    # NIST/SEMATECH e-Handbook 8.4.2.3.
    rows = table("degradation_readings.csv")
    known = {row["quantity"]: float(row["published"]) for row in table("degradation_fit.csv")}
    percent, hours = column(rows, "percent_change"), column(rows, "hours")
    y = np.log(30.0) - (np.log(percent) - np.log(hours))
    x = 100000.0 / (8.617 * (column(rows, "temperature_degC") + 273.16))
    fit = gls(np.column_stack([np.ones_like(x), x]), y, np.ones_like(x))
    sd = np.sqrt(np.diag(fit.covariance)) * fit.residual_sd
    assert fit.coefficients == pytest.approx([known["lnA_intercept"], known["activation_energy_eV"]], abs=6e-6)
    assert sd == pytest.approx([known["sd_lnA"], known["sd_activation_energy"]], abs=6e-6)
    assert fit.residual_sd == pytest.approx(known["residual_sd"], abs=6e-5)


def test_the_units_whose_own_rate_reaches_the_threshold_are_those_the_handbook_counts() -> None:
    # NIST/SEMATECH e-Handbook 8.4.2.3: by 1000 h one unit at 85 C and four at 105 C had passed 30 %.
    rows = table("degradation_readings.csv")
    units = sorted({(row["temperature_degC"], row["unit"]) for row in rows})
    of = np.array([units.index((row["temperature_degC"], row["unit"])) for row in rows])
    order = np.argsort(of, kind="stable")
    found = plain_intervals(
        column(rows, "hours")[order] / 1000.0, column(rows, "percent_change")[order], 1.0, of[order]
    )
    got = posteriors(no_visits(), found, alone(len(units)), pool_of(found, tau=1e6, sigma=0.0))
    passed = [units[number][0] for number in np.flatnonzero(got.rate_um > 30.0)]
    assert sorted(passed) == ["105", "105", "105", "105", "85"]


def sleepstudy() -> tuple[Series, Visits, list[str], dict[str, float]]:
    rows = table("sleepstudy.csv")
    known = {
        row["quantity"]: float(row["published"]) for row in table("sleepstudy_reml.csv") if row["model"] == "correlated"
    }
    subjects = sorted({row["subject"] for row in rows})
    n = len(rows)
    of = np.array([subjects.index(row["subject"]) for row in rows])
    order = np.lexsort((column(rows, "days"), of))
    reaction, var = column(rows, "reaction_ms")[order], np.full(n, known["residual_sd"] ** 2)
    yes, zero = np.ones(n, dtype=np.bool_), np.zeros(n, dtype=np.int64)
    visits = Visits(
        of[order],
        column(rows, "days")[order],
        column(rows, "days")[order],
        reaction,
        var,
        var,
        reaction,
        var,
        var,
        yes,
        ~yes,
        yes,
        zero,
        zero,
    )
    return alone(len(subjects), share=0.0), visits, subjects, known


def test_pooled_rates_of_the_sleep_study_are_the_published_random_slopes() -> None:
    # Bates et al. (2015): sd of slopes 5.922, mean slope 10.467 (1.546). No wander in that model: pinned at nought. The
    # start is free here and a correlated random effect there, so single subjects differ by a little.
    series, visits, subjects, known = sleepstudy()
    found = intervals(visits)
    no_wander = Prior(mean_sd_um=1e4, tau_um=6.0, tau_log_sd=100.0, sigma_um=2e-3, sigma_log_sd=1e-3, keep_spread=0.0)
    pooled = pool_rates(found, series, prior=no_wander)
    pool = pooled.axes[0]
    assert pool.tau_um == pytest.approx(known["sd_slope"], rel=0.01)
    assert pool.coefficients[0] == pytest.approx(known["fixed_slope"], abs=0.01)
    assert np.sqrt(pool.covariance[0, 0]) == pytest.approx(known["fixed_slope_se"], rel=0.02)

    # The published model is normal throughout; here single readings would be let go as jumps.
    pooled = dataclasses.replace(pooled, jump_var_um2=np.zeros(found.series.shape))
    got = posteriors(visits, found, series, pooled)
    published = {row["subject"]: row for row in table("sleepstudy_blup.csv")}
    theirs = np.array([known["fixed_slope"] + float(published[s]["published_ranef_slope"]) for s in subjects])
    plain = np.array([float(published[s]["ols_slope"]) for s in subjects])
    assert np.sqrt(np.mean((got.rate_um - theirs) ** 2)) < 0.2 * np.std(theirs)
    # Shrinkage by the published components: weight = tau^2 / (tau^2 + s^2 / Sxx), Sxx = 82.5 for days 0 to 9.
    weight = known["var_slope"] / (known["var_slope"] + known["residual_var"] / 82.5)
    assert got.borrowed == pytest.approx(1.0 - weight, abs=0.005)
    assert got.rate_um == pytest.approx(weight * plain + (1.0 - weight) * known["fixed_slope"], abs=0.06)
