"""The status rule of the job, case by case."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.trend import statuses, worst_of_line
from fleet.values import STATUSES

NAN = float("nan")


def word(
    now: float, following: float, measured: float, *, watch: float = 50.0, limit: float = 100.0, survey: bool = True,
    over: float = 0.5, due: float = 0.2, chance_watch: float = 0.05,
) -> str:  # fmt: skip
    got = statuses(
        np.array([now]), np.array([following]), np.array([measured]), np.array([watch]), np.array([limit]),
        np.array([survey]), chance_over=over, chance_due=due, chance_watch=chance_watch,
    )  # fmt: skip
    return STATUSES[got[0]]


@pytest.mark.parametrize(
    ("now", "following", "measured", "expected"),
    [
        (0.0, 0.01, 10.0, "within"),
        (0.5, 0.9, 10.0, "over"),
        (0.49, 0.9, 10.0, "due"),
        (0.0, 0.2, 10.0, "due"),
        (0.0, 0.19, 10.0, "watch"),
        (0.0, 0.05, 10.0, "watch"),
        (0.0, 0.049, 10.0, "within"),
        (0.0, 0.0, 50.0, "within"),
        (0.0, 0.0, 50.1, "watch"),
        (0.0, 0.0, -50.1, "watch"),
        (0.0, 0.3, 50.1, "due"),
    ],
)
def test_the_rule_holds_case_by_case(now: float, following: float, measured: float, expected: str) -> None:
    assert word(now, following, measured) == expected


def test_without_a_watch_width_it_is_half_the_limit() -> None:
    assert word(0.0, 0.0, 50.0, watch=NAN) == "within"
    assert word(0.0, 0.0, 50.5, watch=NAN) == "watch"


def test_without_a_survey_or_a_limit_there_is_no_record() -> None:
    assert word(0.9, 0.9, 90.0, survey=False) == "no record"
    assert word(NAN, NAN, 90.0, limit=NAN, watch=NAN) == "no record"
    assert word(NAN, NAN, NAN, survey=False) == "no record"


def test_a_limit_of_nought_is_passed_by_anything() -> None:
    assert word(1.0, 1.0, 0.2, limit=0.0, watch=NAN) == "over"


def test_the_chances_are_settings() -> None:
    assert word(0.3, 0.6, 0.0, over=0.25) == "over"
    assert word(0.3, 0.6, 0.0, over=0.7, due=0.7) == "watch"
    assert word(0.0, 0.06, 0.0, chance_watch=0.1) == "within"


def test_a_line_takes_its_worst_station_and_one_without_stations_has_no_record() -> None:
    status = np.array([STATUSES.index(w) for w in ("within", "due", "no record", "watch", "no record")])
    got = worst_of_line(status, np.array([0, 0, 0, 1, 2]), 4)
    assert [STATUSES[index] for index in got] == ["due", "watch", "no record", "no record"]
