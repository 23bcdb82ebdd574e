"""The rules of the walk over all numbers, on snippets that are right and on snippets that are wrong."""

from __future__ import annotations

import pytest
from number_rules import Shown, faults

RIGHT = [
    ("0.31 mm below target ± 0.09", ""),
    ("0.31 below target ± 0.09", "Worst place: deviation expected today, mm"),
    ("station B · measured 0.19 below, 9 May 2026", "Worst place: deviation expected today, mm"),
    ("0.05 right (operator side)", "Horizontal, mm"),
    ("Set to 0.20 low (target 0.26 low, 0.06 higher against drift)", "Vertical, mm"),
    ("raise B 0.39 mm, move left 0.04 mm", ""),
    ("The bore goes 0.22 mm a year lower against the gearbox axis.", ""),
    ("124 %", ""),
    ("95 %", "Chance of being over before"),
    ("< 1 %", ""),
    ("50 % and 80 % range", ""),
    ("Apr 2026 – Aug 2027", ""),
    ("19–30 Dec", ""),
    ("State of 25 Nov 2026, 07:10 UTC", ""),
    ("96 crew h", ""),
    ("Pipe 120 mm", ""),
    ("ORR-07", ""),
    ("S-05/2, P1 and I-04", ""),
    ("9 lines of 24", ""),
    ("over 2", ""),
    ("Lines 51–100 of 10 000", ""),
    ("12 of 14 runs within the limit", ""),
    ("6 540 h", ""),
    ("21 °C", ""),
    ("1 500", "Distance, mm"),
    ("0.25", "Limit, mm"),
    ("limit 0.25 mm", ""),
    ("12", "Runs"),
    ("mean width 3.3 thou", ""),
    ("0.2", "Deviation from target, mm | above | below"),
    ("station 2", ""),
    ("1.2 mm/m upward", ""),
]
WRONG = [
    ("0.31 below target ± 0.09", "", "no unit"),
    ("0.31", "", "no unit"),
    ("0.31 mm", "", "no direction"),
    ("0.31", "Deviation, mm", "no direction"),
    ("12.2 thou", "", "no direction"),
    ("12.2", "Offset, thou", "no direction"),
    ("It moved 0.31 mm since 9 May 2026", "", "no direction"),
    ("1 500", "Distance", "no unit"),
    ("21", "Barrel temperature", "no unit"),
    ("worth 37", "Rate", "no unit"),
    ("limit 0.25", "", "no unit"),
    ("124", "Share of the limit", "no unit"),
]


@pytest.mark.parametrize(("text", "context"), RIGHT)
def test_a_number_that_is_said_passes(text: str, context: str) -> None:
    assert faults(Shown(text.replace(" ", "\u00a0"), context)) == []
    assert faults(Shown(text, context)) == []


@pytest.mark.parametrize(("text", "context", "fault"), WRONG)
def test_a_number_that_is_not_said_is_found(text: str, context: str, fault: str) -> None:
    found = faults(Shown(text, context))
    assert found != []
    assert all(fault in one for one in found)


def test_one_bad_number_among_good_ones_is_found() -> None:
    text = "0.31 mm below target, 9 May 2026; 0.44; 9 lines"
    assert [fault[:6] for fault in faults(Shown(text))] == ["‘0.44’"]
