"""The committed scores on simulated fleets are what the forecast does today, and keep their bounds."""

from __future__ import annotations

import numpy as np
import pytest
from forecast_study import (
    CHANCES,
    COVERAGE,
    DECILES,
    DOCUMENT,
    HEADING,
    N_LINES,
    NAMES,
    ORACLE,
    OURS,
    RULES,
    SCORES,
    document,
    rows_of,
)
from study_fleets import KINDS, study_fleet
from study_rivals import last_position, last_rate, own_line
from study_scores import INTERVALS, Known, scores

TEXT = DOCUMENT.read_text(encoding="utf-8")
COUNTED = 200
"""Tenths with fewer series and dates than this say nothing."""


def cells(heading: str) -> list[list[str]]:
    table = TEXT.split(heading)[1].split("\n\n")[0]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()]


COVERED = {(row[0], row[1]): [float(cell) for cell in row[2:]] for row in cells(COVERAGE)}
SCORED = {(row[0], row[1]): [float(cell) for cell in row[2:]] for row in cells(SCORES)}


@pytest.mark.simulation
@pytest.mark.parametrize("name", KINDS)
def test_a_fleet_scores_as_the_table_says(name: str) -> None:
    # Machines whose arithmetic differs in the last bits differ in the last digit, and in cases near a tenth's edge.
    again = rows_of(name)
    for heading, lines in ((COVERAGE, again.coverage), (SCORES, again.scores), (CHANCES, again.chances)):
        told = {tuple(row[:2]): [float(cell) for cell in row[2:]] for row in cells(heading)}
        for line in lines:
            row = [cell.strip() for cell in line.strip("|").split("|")]
            mine, theirs = [float(cell) for cell in row[2:]], told[row[0], row[1]]
            few = 0.0 if heading != CHANCES else 300.0 / theirs[0]
            rtol = 0.02 if heading == CHANCES else 0.005
            assert np.allclose(mine, theirs, rtol=rtol, atol=0.35 + few), line


def test_the_table_has_every_kind_of_fleet_with_two_thousand_lines() -> None:
    assert TEXT.startswith(HEADING)
    assert N_LINES >= 2000
    assert list(COVERED) == [(name, f"{100 * share:.0f} %") for name in KINDS for share in INTERVALS]
    assert list(SCORED) == [(name, who) for name in KINDS for who in NAMES]
    assert {row[0] for row in cells(CHANCES)} == set(KINDS)


@pytest.mark.parametrize(("name", "share"), COVERED)
def test_ranges_hold_as_often_as_they_say(name: str, share: str) -> None:
    # Bars: 3 points and two bootstrap standard errors over all dates, 5 points at each.
    *by_date, everywhere, error = COVERED[name, share]
    stated = float(share.removesuffix(" %"))
    assert abs(everywhere - stated) <= 3.0 + error
    assert max(abs(each - stated) for each in by_date) <= 5.0


@pytest.mark.parametrize("name", KINDS)
def test_the_forecast_scores_better_than_any_plain_rule(name: str) -> None:
    crps, log_score, _ = SCORED[name, OURS]
    for rule in RULES:
        theirs_crps, theirs_log, _ = SCORED[name, rule]
        spare = 1.01 if (name, rule) == ("pure wander", "last position") else 1.0
        assert crps < spare * theirs_crps
        assert log_score < spare * theirs_log


@pytest.mark.parametrize(("name", "at_most"), [("plain", 1.12), ("many visits", 1.05)])
def test_knowing_every_parameter_would_hardly_help(name: str, at_most: float) -> None:
    assert SCORED[name, OURS][2] <= at_most
    assert SCORED[name, ORACLE][2] == 1.0


@pytest.mark.parametrize("row", cells(CHANCES), ids=lambda row: f"{row[0]}, {row[1]}")
def test_what_is_called_likely_comes_true_as_often_as_said(row: list[str]) -> None:
    count, stated, true, error = (float(cell) for cell in row[2:])
    assert row[1] in DECILES
    if count >= COUNTED:
        assert abs(true - stated) <= 5.0 + error


def test_the_oracle_is_right_and_a_wrong_spread_is_found_out() -> None:
    # A small plain fleet: the oracle's ranges hold; one that thinks itself twice as sure scores worse and covers less.
    fleet = study_fleet(KINDS["plain"], lines=150, seed=3)
    honest = scores(Known(fleet.oracle), fleet.measured_um)
    assert honest.covered.mean(axis=1) == pytest.approx(np.array(INTERVALS), abs=0.03)
    bold = type(fleet.oracle)(fleet.oracle.mean_um, fleet.oracle.weight, fleet.oracle.sd_um / 2.0)
    boasting = scores(Known(bold), fleet.measured_um)
    assert np.all(boasting.covered < honest.covered - 0.1)
    assert np.all(boasting.crps_um > honest.crps_um)
    assert np.all(boasting.log_score > honest.log_score)
    # For a normal law the mean score of a right forecast is its standard deviation over the root of pi.
    best = fleet.oracle.sd_um[..., 0].mean(axis=0) / np.sqrt(np.pi)
    assert honest.crps_um == pytest.approx(best, rel=0.05)


def test_the_plain_rules_have_honest_spreads() -> None:
    fleet = study_fleet(KINDS["pure wander"], lines=150, seed=4)
    for rule in (last_position, last_rate, own_line):
        at_95 = scores(rule(fleet), fleet.measured_um).covered[2]
        assert np.all(at_95[:2] > 0.9)


def test_the_document_is_its_rows_put_together() -> None:
    small = rows_of("sparse", lines=40)
    whole = document([small])
    assert whole.startswith(HEADING)
    assert all(line in whole for line in (*small.coverage, *small.scores, *small.chances))
