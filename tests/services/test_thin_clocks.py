"""Thin and odd clocks: meters that were exchanged, stand still or say little, use that changes, and new beginnings."""

from __future__ import annotations

from typing import Any

import pytest
from thin_records import AS_OF, Make, answers, meters, one, thin, visit

from fleet.services.forecasting import forecast_rows

FOUND, LEFT = "as_found", "as_left"
DAYS_PER_YEAR = 365.25


def yearly(first: int, last: int, step: float) -> list[dict[str, Any]]:
    """Return a visit a year, on 1 January, each found `step` um from the one before."""
    return [visit(f"{first + k}-01-01T00:00", (FOUND, one(step * k))) for k in range(last - first + 1)]


def test_hours_across_an_exchanged_meter_are_projected_at_the_mean_use_of_the_rest(store_of: Make) -> None:
    read = (("2022-01-01", 1000), ("2023-01-01", 9000), ("2024-01-01", 500), ("2025-01-01", 8500))
    got = answers(store_of(thin(*yearly(2022, 2025, -20), meters=meters(*read))))
    # 8 000 h in 365 days and 8 000 h in 366 days; between them 365 days at 16 000 / 731 hours a day.
    hours = [row["running_hours"] for row in got.drift["S1", "v"]]
    assert hours == pytest.approx([8000.0, 365 * 16000 / 731, 8000.0])
    assert {row["rate_unit"] for row in got.drift["S1", "v"]} == {"um_per_1000_h"}
    assert got.drift["S1", "v"][0]["rate"] == pytest.approx(-20.0 / 8.0)
    row = got.forecast["S1", "v"]
    assert row["rate_um_per_1000_h"] == pytest.approx(row["rate_um_per_year"] / (8000 / 366 * 0.36525), rel=1e-3)


def test_a_meter_that_never_advanced_leaves_the_calendar(store_of: Make) -> None:
    read = (("2022-01-01", 5000), ("2023-01-01", 5000), ("2025-01-01", 5000))
    got = answers(store_of(thin(*yearly(2022, 2025, -20), meters=meters(*read))))
    assert {row["running_hours"] for row in got.drift["S1", "v"]} == {None}
    assert got.drift["S1", "v"][0]["rate"] == pytest.approx(-20.0 / (365 / DAYS_PER_YEAR))
    assert got.forecast["S1", "v"]["rate_um_per_1000_h"] is None


def test_a_line_that_stands_still_does_not_drift_on(store_of: Make) -> None:
    read = (("2021-01-01", 0), ("2022-01-01", 8000), ("2023-01-01", 16000), ("2025-01-01", 16000))
    got = answers(store_of(thin(*yearly(2021, 2025, -10), meters=meters(*read))))
    row = got.forecast["S1", "v"]
    # No hours in the last year: no drift a year, whatever it drifts in a thousand hours.
    assert (row["rate_um_per_year"], row["u_rate_um_per_year"]) == (0.0, 0.0)
    assert row["rate_um_per_1000_h"] < 0.0
    assert len(set(row["chance_over"].values())) == 1
    assert row["expected"][0]["mean_um"] == row["expected"][1]["mean_um"]
    standing = [each for each in got.drift["S1", "v"] if each["running_hours"] == 0.0]
    assert [(each["moved_um"], each["rate"]) for each in standing] == [(-10.0, None), (-10.0, None)]


def test_one_meter_reading_leaves_the_calendar(store_of: Make) -> None:
    got = answers(store_of(thin(*yearly(2022, 2025, -20), meters=meters(("2024-01-01", 9000)))))
    assert got.forecast["S1", "v"]["rate_um_per_1000_h"] is None
    assert {row["running_hours"] for row in got.drift["S1", "v"]} == {None}


def test_a_meter_read_twice_at_one_moment_counts_once(store_of: Make) -> None:
    visits = [
        visit("2023-01-01T00:00", (FOUND, one(0)), running_hours="1000"),
        visit("2024-01-01T00:00", (FOUND, one(-16)), running_hours="9000"),
    ]
    # The sheet and the meter's own record agree at one visit and differ by 4 h at the other: the greater counts.
    got = answers(store_of(thin(*visits, meters=meters(("2023-01-01", 1000), ("2024-01-01", 9004)))))
    (moved,) = got.drift["S1", "v"]
    assert moved["running_hours"] == pytest.approx(8004.0)
    assert moved["rate"] == pytest.approx(-16.0 / 8.004)


def test_uneven_use_drifts_by_the_hours_of_the_last_year(store_of: Make) -> None:
    read = (
        ("2021-01-01", 0),
        ("2022-01-01", 8000),
        ("2023-01-01", 16000),
        ("2024-01-01", 16500),
        ("2025-01-01", 17002),
    )
    got = answers(store_of(thin(*yearly(2021, 2025, -20), meters=meters(*read))))
    hours = [row["running_hours"] for row in got.drift["S1", "v"]]
    assert hours == pytest.approx([8000.0, 8000.0, 500.0, 502.0])
    row = got.forecast["S1", "v"]
    # 365.25 days back from the last reading: 502 h in 366 days, a quarter of a day of them left out.
    recent = 502.0 * 365.25 / 366.0
    assert row["rate_um_per_year"] == pytest.approx(row["rate_um_per_1000_h"] * recent / 1000.0, rel=1e-6)
    now, later = row["expected"]
    assert later["mean_um"] - now["mean_um"] == pytest.approx(row["rate_um_per_year"] * 365 / DAYS_PER_YEAR, rel=1e-6)


SWAP = "line,asset_kind,asset,installed_on,removed_on\n"
ASSETS = {"gearboxes": "gearbox\nG1\nG2\n", "barrels": "barrel\nB1\nB2\n"}


def _broken(store_of: Make, **files: str) -> tuple[float, float, int, float]:
    """Return rate, weight borrowed, intervals and rate before of a line that went down for years, then something."""
    before = yearly(2017, 2021, -40)
    after = [visit("2023-01-01T00:00", (FOUND, one(-160)), (LEFT, one(0)))]
    got = answers(store_of(thin(*before, *after, **files)))
    row = got.forecast["S1", "v"]
    plain = forecast_rows(store_of(thin(*before, *after)), as_of=AS_OF)[0].rate_um_per_year
    return row["rate_um_per_year"], row["borrowed_from"]["weight"], len(got.drift["S1", "v"]), plain


@pytest.mark.parametrize(
    "files",
    [
        ASSETS | {"placements": SWAP + "T1,gearbox,G1,2015-01-01,2022-01-01\nT1,gearbox,G2,2022-01-01,\n"},
        ASSETS | {"placements": SWAP + "T1,barrel,B1,2015-01-01,2021-06-01\nT1,barrel,B2,2022-01-01,\n"},
        {"events": "line,happened_at,kind,resets_trend\nT1,2022-05-05T10:00,foundation work,yes\n"},
    ],
    ids=["gearbox", "barrel", "event"],
)
def test_rates_before_a_new_beginning_do_not_speak_after_it(store_of: Make, files: dict[str, str]) -> None:
    rate, borrowed, intervals, before = _broken(store_of, **files)
    # The interval across it is still shown as moved; none of the line's own speaks for the rate.
    assert (borrowed, intervals) == (1.0, 5)
    assert before < -20.0
    assert rate > before


def test_an_event_that_resets_nothing_leaves_the_rate_alone(store_of: Make) -> None:
    events = "line,happened_at,kind,resets_trend\nT1,2022-05-05T10:00,struck,no\n"
    rate, borrowed, _, before = _broken(store_of, events=events)
    assert rate == before
    assert borrowed < 1.0


def test_a_barrel_taken_out_with_nothing_after_leaves_the_record_standing(store_of: Make) -> None:
    placed = SWAP + "T1,barrel,B1,2015-01-01,2022-01-01\n"
    rate, borrowed, _, before = _broken(store_of, **ASSETS, placements=placed)
    # No other barrel came: nothing new begins, and the record stands as it is.
    assert rate == before
    assert borrowed < 1.0
