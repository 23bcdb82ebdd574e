"""How instruments and people repeat: published gauge studies, tables of the F and chi-squared laws, planted truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from measure_model import four_positions, readings, single_pass, textbook_design

from fleet.errors import InputError
from fleet.measure import STATED_DOF, Instrument, adjust_many
from fleet.measure.gauge import relative_to, repeatability, zero_drift

DATA = Path(__file__).parent.parent / "data"
STATIONS = [500.0, 1400.0, 2300.0, 3100.0]


def pooled(chi2, dof, group, *, when=None, n_groups=1):
    chi2, dof = np.asarray(chi2, dtype=np.float64), np.asarray(dof, dtype=np.float64)
    moments = np.arange(chi2.size, dtype=np.float64) if when is None else when
    return repeatability(chi2, dof, np.asarray(group, dtype=np.int64), moments, n_groups=n_groups)


def test_repeatability_of_the_probes_is_the_handbooks():
    # NIST/SEMATECH e-Handbook, 2.6.1, see gauge_source.md: 0.0729 ohm cm on 300 dof for probe 2362 (the sixth digit
    # recomputed outside); each row's standard deviation is of six readings. "Stated" 0.1 here.
    rows = pd.read_csv(DATA / "gauge_resistivity.csv")
    published = pd.read_csv(DATA / "gauge_resistivity_results.csv").set_index(["subset", "quantity"])
    chi2 = 5.0 * (rows["short_term_sd_6_readings"].to_numpy() / 0.1) ** 2
    dof = np.full(len(rows), 5.0)
    probe, names = pd.factorize(rows["probe"])
    at = list(names).index(2362)
    got = pooled(chi2, dof, probe, n_groups=len(names))
    every = pooled(chi2, dof, np.zeros(len(rows)))
    level = "level 1 repeatability sd"
    assert (got.surveys[at], got.dof[at], every.dof[0]) == (60, 300.0, 1500.0)
    assert 0.1 * got.ratio[at] == pytest.approx(published.loc[("probe 2362", level), "recomputed_ohm_cm"], abs=5e-6)
    assert round(0.1 * float(got.ratio[at]), 4) == 0.0729
    assert 0.1 * every.ratio[0] == pytest.approx(
        published.loc[("all five probes", level), "recomputed_ohm_cm"], abs=5e-6
    )


def test_repeatability_of_the_textbook_study_is_its_pooled_within_cell_scatter():
    # AIAG, Measurement Systems Analysis, 4th ed., see gauge_source.md: sum of squares 2.7589 on 60 dof within cells,
    # and from average ranges EV = 0.20188, which a range of 95 % from the same readings must hold.
    rows = pd.read_csv(DATA / "gauge_textbook.csv")
    cells = rows.groupby(["appraiser", "part"])["value"]
    got = pooled((cells.var() * 2.0).to_numpy(), np.full(30, 2.0), np.zeros(30))
    assert got.dof[0] == 60.0
    assert got.ratio[0] ** 2 * 60.0 == pytest.approx(2.7589, abs=5e-5)
    assert got.low[0] < 0.20188 < got.high[0]


def test_the_range_of_a_repeatability_is_that_of_the_chi_squared_table():
    # Percentage points of chi-squared for 10 dof, any table (from memory): 20.483 at 2.5 %, 3.247 at 97.5 %.
    got = pooled([6.0, 4.0], [3.0, 7.0], [0, 0])
    assert got.ratio[0] == pytest.approx(1.0)
    assert got.low[0] == pytest.approx(np.sqrt(10.0 / 20.483), rel=2e-5)
    assert got.high[0] == pytest.approx(np.sqrt(10.0 / 3.247), rel=1e-4)
    assert not got.unlike_stated[0]


@pytest.mark.parametrize(("chi2", "unlike"), [(20.4, False), (20.6, True), (3.3, False), (3.2, True)])
def test_an_instrument_is_unlike_stated_beyond_the_chi_squared_table(chi2, unlike):
    # As above: 20.483 and 3.247.
    assert pooled([chi2], [10.0], [0]).unlike_stated[0] == unlike


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("quotient", "drifting"), [(5.80, False), (5.90, True)])
def test_a_latest_third_beyond_the_f_table_is_a_drift(quotient, drifting, turned):
    # F(10, 10) at 0.5 % is 5.847 (any table, from memory): 1 in 100 counted on both sides.
    sums = [5.0 / quotient, 5.0 / quotient, 10.0] if not turned else [5.0, 5.0, 10.0 / quotient]
    got = pooled(sums, [5.0, 5.0, 10.0], [0, 0, 0])
    assert got.drifting[0] == drifting
    assert got.since[0] / got.before[0] == pytest.approx(quotient ** (-0.5 if turned else 0.5))


def test_the_latest_third_goes_by_the_day_and_not_by_the_row():
    dof = np.full(6, 10.0)
    when = np.array([5.0, 0.0, 4.0, 1.0, 2.0, 3.0])
    got = pooled(np.where(when >= 4.0, 90.0, 10.0), dof, np.zeros(6), when=when)
    assert (got.before[0], got.since[0]) == pytest.approx((1.0, 3.0))
    assert got.drifting[0]


def test_a_steady_instrument_is_called_drifting_once_in_a_hundred_and_a_worsened_one_found():
    # Synthetic truth: 3000 instruments, 12 surveys each of 4 dof; bars of 3.5 standard deviations of the count.
    rng = np.random.default_rng(12)
    n, surveys = 3000, 12
    group = np.repeat(np.arange(n), surveys)
    chi2 = rng.chisquare(4.0, n * surveys)
    when = np.tile(np.arange(float(surveys)), n)
    steady = pooled(chi2, np.full(chi2.size, 4.0), group, when=when, n_groups=n)
    assert 0.01 - 3.5 * 0.0018 < steady.drifting.mean() < 0.01 + 3.5 * 0.0018
    assert 0.05 - 3.5 * 0.004 < steady.unlike_stated.mean() < 0.05 + 3.5 * 0.004
    worse = pooled(np.where(when >= 8.0, 9.0, 1.0) * chi2, np.full(chi2.size, 4.0), group, when=when, n_groups=n)
    assert worse.drifting.mean() > 0.95


def test_too_few_degrees_of_freedom_tell_no_drift_and_none_tell_nothing():
    few = pooled([1.0, 1.0, 90.0], [5.0, 5.0, 9.0], [0, 0, 0])
    assert not few.drifting[0]
    assert np.isnan([few.before[0], few.since[0]]).all()
    none = pooled([0.0, 3e-15], [0.0, 2e-15], [0, 0], n_groups=2)
    assert np.isnan([none.ratio, none.low, none.high]).all()
    assert not none.unlike_stated.any()
    assert none.surveys.tolist() == [2, 0]


def test_single_passes_say_nothing_of_how_an_instrument_repeats():
    plan = single_pass(STATIONS)
    rng = np.random.default_rng(1)
    instrument = Instrument(sense_v=1, sense_h=1)
    got = adjust_many([(readings(plan, *rng.normal(0, 50, (2, 4))), instrument, False) for _ in range(30)])
    dof = np.array([a.dof_survey for a in got])
    chi2 = np.maximum(np.array([a.scale for a in got]) * (STATED_DOF + dof) - STATED_DOF, 0.0)
    found = pooled(chi2, dof, np.zeros(30))
    assert np.isnan(found.ratio[0])
    assert not found.unlike_stated[0]


def test_surveys_of_an_instrument_twice_as_noisy_as_stated_say_so():
    # Synthetic truth, through the adjustment: 60 surveys at four positions, noise twice the stated.
    found = pooled(*_simulated(n=60, noise_times=2.0)[:2], np.zeros(60))
    assert found.low[0] < 2.0 < found.high[0]
    assert found.high[0] - found.low[0] < 0.2
    assert found.unlike_stated[0]


def test_nobody_answers_for_a_bad_instrument():
    # By hand, every survey scattering exactly as it should: instrument 1 repeats three times worse and person 0 uses
    # it in 60 surveys of 80, person 1 in 20 of 80.
    instrument = np.array([1] * 60 + [0] * 20 + [1] * 20 + [0] * 60)
    person = np.repeat([0, 1], 80)
    dof = np.full(160, 8.0)
    chi2 = dof * np.where(instrument == 1, 9.0, 1.0)
    instruments = pooled(chi2, dof, instrument, n_groups=2)
    assert instruments.ratio == pytest.approx([1.0, 3.0])
    blamed = pooled(chi2, dof, person, n_groups=2)
    assert blamed.ratio == pytest.approx(np.sqrt([7.0, 3.0]))
    people = pooled(relative_to(chi2, instruments.ratio, instrument), dof, person, n_groups=2)
    assert people.ratio == pytest.approx([1.0, 1.0])
    assert not people.unlike_stated.any()


def test_a_person_who_repeats_worse_than_others_with_the_same_instrument_shows():
    # By hand: two people share one instrument half and half, one scatters twice as much; it comes out at sqrt(2.5).
    person = np.tile([0, 1], 40)
    dof = np.full(80, 8.0)
    chi2 = dof * np.where(person == 1, 4.0, 1.0)
    one = np.zeros(80, dtype=np.int64)
    instrument = pooled(chi2, dof, one)
    assert instrument.ratio[0] == pytest.approx(np.sqrt(2.5))
    people = pooled(relative_to(chi2, instrument.ratio, one), dof, person, n_groups=2)
    assert people.ratio == pytest.approx([np.sqrt(1.0 / 2.5), np.sqrt(4.0 / 2.5)])


def test_an_instrument_of_unknown_repeatability_counts_as_stated():
    assert relative_to(np.array([8.0, 8.0]), np.array([2.0, np.nan]), np.array([0, 1])).tolist() == [2.0, 8.0]


@pytest.mark.parametrize("stated_um", [None, 8.0])
def test_the_drift_of_a_zero_is_that_of_statsmodels_wls(stated_um):
    # statsmodels WLS line per axis; both axes held at once, so each at the square root of 95 %. What surveys measured
    # is told to them beside a stated zero by adding the reciprocals of the variances.
    rng = np.random.default_rng(6)
    year = np.sort(rng.uniform(2020.0, 2026.0, 9))
    u_um = rng.uniform(2.0, 6.0, (9, 2))
    measured_um = rng.normal(0.0, 6.0, (9, 2)) + np.array([0.0, 9.0]) * (year[:, None] - 2023.0)
    if stated_um is None:
        got = zero_drift(measured_um, u_um, year)
        variance = u_um**2
    else:
        both = 1.0 / (u_um**-2.0 + stated_um**-2.0)
        got = zero_drift(measured_um * both / u_um**2, np.sqrt(both), year, stated_um=stated_um)
        variance = u_um**2 + stated_um**2
    fit = sm.WLS(measured_um[:, 1], sm.add_constant(year), weights=1.0 / variance[:, 1]).fit()
    low, high = fit.conf_int(alpha=1.0 - np.sqrt(0.95))[1]
    assert got is not None
    assert got.um_per_year == pytest.approx(fit.params[1], rel=1e-8)
    assert got.u95_um_per_year == pytest.approx((high - low) / 2.0, rel=1e-8)


def test_a_steady_zero_is_seldom_called_drifting_and_a_drifting_one_keeps_its_rate():
    # Synthetic truth, through the adjustment at four positions: the zero another one in every survey as stated, 12
    # surveys in 4 years, 150 instruments; steady, and drifting by 8 um a year in v.
    n, surveys = 150, 12
    year = np.sort(np.random.default_rng(9).uniform(0.0, 4.0, (n, surveys)), axis=1)
    steady, drifted = (
        [
            zero_drift(zero_um, u_um, when, stated_um=10.0)
            for zero_um, u_um, when in zip(
                *(a.reshape(n, surveys, 2) for a in _simulated(n=n * surveys, drift_um=rate * year.ravel())[2:]),
                year,
                strict=True,
            )
        ]
        for rate in (0.0, 8.0)
    )
    called = np.mean([abs(d.um_per_year) > d.u95_um_per_year for d in steady])
    assert called < 0.05 + 3.5 * np.sqrt(0.05 * 0.95 / n)
    rates = np.array([d.um_per_year for d in drifted])
    assert np.median(rates) == pytest.approx(8.0, abs=4.0 * rates.std() / np.sqrt(n))
    assert np.mean([abs(d.um_per_year) > d.u95_um_per_year for d in drifted]) > 0.3


def test_the_pull_of_the_stated_zero_is_taken_out():
    # By hand: known to 6 um after a prior of 10 um, so 100 / 64 of the estimate was measured, to 7.5 um.
    got = zero_drift(
        np.array([[0.0, 0.0], [6.4, 0.0], [12.8, 0.0]]), np.full((3, 2), 6.0), np.arange(3.0), stated_um=10.0
    )
    assert got is not None
    assert got.um_per_year == pytest.approx(10.0)


def test_two_zeros_or_one_day_tell_no_drift():
    assert zero_drift(np.zeros((2, 2)), np.ones((2, 2)), np.array([0.0, 1.0])) is None
    assert zero_drift(np.zeros((3, 2)), np.ones((3, 2)), np.zeros(3)) is None


def test_a_zero_that_was_never_told_is_refused_in_one_sentence():
    u_um = np.array([[3.0, 3.0], [3.0, 10.0], [3.0, 3.0]])
    with pytest.raises(InputError) as refused:
        zero_drift(np.zeros((3, 2)), u_um, np.arange(3.0), stated_um=10.0)
    assert str(refused.value) == (
        "A target zero known to 10 um tells nothing beside the 10 um stated; "
        "leave out surveys that never turned the target."
    )


@pytest.mark.parametrize(
    ("chi2", "dof", "said"),
    [
        (
            [1.0],
            [1.0, 2.0],
            "1 sums of squares, 2 degrees of freedom, 2 groups and 1 moments do not belong together; give one of each "
            "for every survey.",
        ),
        ([1.0, -1.0], [1.0, 2.0], "A sum of squares or a degree of freedom is negative; leave that survey out."),
        ([1.0, 1.0], [1.0, -2.0], "A sum of squares or a degree of freedom is negative; leave that survey out."),
    ],
)
def test_columns_that_cannot_be_pooled_are_refused_in_one_sentence(chi2, dof, said):
    with pytest.raises(InputError) as refused:
        pooled(chi2, dof, [0, 0])
    assert str(refused.value) == said


def _simulated(*, n, noise_times=1.0, drift_um=0.0):
    """Return chi2, dof, target zeros and their u of surveys at four positions, truth drawn as stated."""
    plan, instrument = four_positions(STATIONS), Instrument(sense_v=1, sense_h=-1)
    design = textbook_design(plan, instrument)
    rng = np.random.default_rng(11)
    truth = rng.normal(0.0, [150.0] * 8 + [200.0] * 4 + [10.0] * 2 + [4.0] * 2, (n, 16))
    truth[:, -4] += drift_um
    shown = truth @ design.T + noise_times * rng.normal(0.0, np.sqrt(100.0 + 1.0 / 12.0), (n, len(design)))
    got = adjust_many([(readings(plan, row[0::2], row[1::2]), instrument, False) for row in shown])
    dof = np.array([a.dof_survey for a in got])
    chi2 = np.maximum(np.array([a.scale for a in got]) * (STATED_DOF + dof) - STATED_DOF, 0.0)
    return chi2, dof, np.array([a.target_zero_um for a in got]), np.array([a.u_target_zero_um for a in got])
