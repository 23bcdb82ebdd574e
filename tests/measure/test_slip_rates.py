"""The committed table of false alarms and detections is what the search does today, and holds its bounds."""

from __future__ import annotations

import pytest
from slip_simulation import DOCUMENT, N_CLEAN, N_CLEAN_EXPECTED, N_PLANTED, PLANTED, SCHEMES, clean_row, planted_row

ROWS = [line for line in DOCUMENT.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
STEPS = ("target step of 100 um", "beam step of 100 um")


def cells(rows: list[str]) -> list[list[str]]:
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]


CLEAN = [row for row in cells(ROWS) if row[0] in SCHEMES]
FOUND = [row for row in cells(ROWS) if row[0] in PLANTED]


@pytest.mark.simulation
@pytest.mark.parametrize("expected", [False, True], ids=["nothing expected", "something expected"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_clean_surveys_raise_what_the_table_says(scheme, expected):
    n = N_CLEAN_EXPECTED if expected else N_CLEAN
    for as_stated in (False, True):
        assert clean_row(scheme, n, as_stated=as_stated, expected=expected) in ROWS


@pytest.mark.simulation
@pytest.mark.parametrize("expected", [False, True], ids=["nothing expected", "something expected"])
@pytest.mark.parametrize("name", PLANTED)
def test_planted_slips_are_named_as_often_as_the_table_says(name, expected):
    assert planted_row(name, N_PLANTED, expected=expected)[0] in ROWS


def test_the_table_holds_every_scheme_and_slip_and_five_thousand_surveys_each():
    assert len(CLEAN) == 4 * len(SCHEMES)
    assert len(FOUND) == 2 * len(PLANTED)
    assert sum(int(row[3]) for row in CLEAN) >= 5000


@pytest.mark.parametrize("expected", ["no", "yes"])
def test_at_most_one_clean_survey_in_200_raises_anything(expected):
    rows = [row for row in CLEAN if row[2] == expected]
    assert sum(int(row[4]) for row in rows) <= sum(int(row[3]) for row in rows) / 200


def test_no_scheme_raises_more_than_one_clean_survey_in_200_beyond_chance():
    # Three standard deviations of that many binomial counts above 1 in 200.
    for row in CLEAN:
        n, raised = int(row[3]), int(row[4])
        assert raised <= n / 200 + 3 * (n / 200) ** 0.5


@pytest.mark.parametrize("name", [name for name in PLANTED if name not in STEPS])
def test_at_least_95_per_cent_are_named_rightly_where_the_data_can_tell(name):
    told, right = (sum(int(row[k]) for row in FOUND if row[0] == name) for k in (5, 6))
    assert told > 0
    assert right >= 0.95 * told


def test_a_whole_axis_turned_shows_only_against_an_expectation():
    raised = {row[1]: int(row[3]) for row in FOUND if row[0] == "sign turned on a whole axis"}
    assert raised["no"] <= N_PLANTED / 20
    assert raised["yes"] >= 0.9 * N_PLANTED
