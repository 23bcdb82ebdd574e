"""Crew hours of a visit: what is typed, what visits took, what other lines take. Medians worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import text

from fleet.services.planning.hours import ASSUMED_H, hours_written, visit_hours
from fleet.store.engine import Store

LINES = "line,visit_hours\nTYPED,12\nOWN,\nBROKEN,\nNONE,\n"
STATIONS = "line,station,distance_mm\nTYPED,S1,1500\nOWN,S1,1500\nBROKEN,S1,1500\nNONE,S1,1500\n"
VISITS = (
    # session, line, day, phases, crew hours as written
    ("T1", "TYPED", "2024-06-01", ("as_found", "as_left"), "40"),
    ("O1", "OWN", "2022-06-01", ("as_found", "as_left"), "9"),
    ("O2", "OWN", "2023-06-01", ("as_found", "as_left"), " 20,5 h "),
    ("O3", "OWN", "2024-06-01", ("as_found", "as_left"), "14"),
    ("O4", "OWN", "2025-06-01", ("as_found",), "2"),
    ("B1", "BROKEN", "2022-06-01", ("as_found", "as_left"), "two shifts"),
    ("B2", "BROKEN", "2023-06-01", ("as_found", "as_left"), "-5"),
    ("B3", "BROKEN", "2024-06-01", ("as_found", "as_left"), "0"),
    ("B4", "BROKEN", "2025-06-01", ("as_found", "as_left"), ""),
)


def source(lines: str = LINES, item: str = "crew hours") -> dict[str, str]:
    sessions, surveys, offsets, findings = (
        ["session,line,started_at"], ["session,survey,phase,barrel_c,gearbox_c,bolts"],
        ["session,survey,station,v,h,unit"], ["session,item,value,unit,note"],
    )  # fmt: skip
    for code, line, day, phases, written in VISITS:
        sessions.append(f"{code},{line},{day}T08:00")
        for number, phase in enumerate(phases, start=1):
            surveys.append(f"{code},{number},{phase},20,20,torqued")
            offsets.append(f"{code},{number},S1,0.05,0.02,mm")
        findings.append(f'{code},{item},"{written}",,')
    tables = {"sessions": sessions, "surveys": surveys, "offsets": offsets, "findings": findings}
    return {"lines": lines, "stations": STATIONS, **{name: "\n".join(rows) + "\n" for name, rows in tables.items()}}


def asked(store: Store, **more: Any) -> dict[str, tuple[float, str]]:
    with store.read() as record:
        rows = record.execute(text("select id, code, visit_hours from line order by code desc")).all()
        hours, sources = visit_hours(record, rows, **more)
    assert hours.shape == (len(rows),)
    return {row.code: (float(h), s) for row, h, s in zip(rows, hours, sources, strict=True)}


def test_typed_hours_go_before_own_visits_and_those_before_the_fleets(store_of: Callable[..., Store]) -> None:
    # OWN: median of 9, 14 and 20.5; O4 never came to an as-left. Fleet: median of 12 (typed) and 14 (own) = 13.
    assert asked(store_of(source())) == {
        "TYPED": (12.0, "recorded"),
        "OWN": (14.0, "own_record"),
        "BROKEN": (13.0, "fleet_record"),
        "NONE": (13.0, "fleet_record"),
    }


def test_capitals_of_the_item_do_not_matter(store_of: Callable[..., Store]) -> None:
    assert asked(store_of(source(item="Crew hours")))["OWN"] == (14.0, "own_record")


def test_what_had_not_happened_yet_is_not_known(store_of: Callable[..., Store]) -> None:
    # By the end of 2023 OWN's visits say 9 and 20.5: 14.75; the fleet's median is that of 12 and 14.75.
    then = asked(store_of(source()), until=datetime(2023, 12, 31, tzinfo=UTC))
    assert then["OWN"] == (14.75, "own_record")
    assert then["NONE"] == (13.375, "fleet_record")


def test_a_visit_that_a_correction_replaced_and_a_withdrawn_finding_do_not_count(
    store_of: Callable[..., Store],
) -> None:
    corrected = {
        "sessions": "session,line,started_at,corrects,correction_reason\nO3C,OWN,2024-06-01T08:00,O3,wrong sheet\n",
        "surveys": "session,survey,phase,bolts\nO3C,1,as_found,torqued\nO3C,2,as_left,torqued\n",
        "offsets": "session,survey,station,v,h,unit\nO3C,1,S1,0.05,0.02,mm\nO3C,2,S1,0.05,0.02,mm\n",
        "findings": "session,item,value\nO3C,crew hours,16\n",
    }
    store = store_of(source())
    assert asked(store_of(source(), corrected))["OWN"] == (16.0, "own_record")
    with store.write() as record:
        record.execute(
            text(
                "update finding set withdrawn_at = '2026-01-01', withdrawn_by = 'K. Dremmond', withdrawn_why = 'typo'"
                " where value = '9'"
            )
        )
    assert asked(store)["OWN"] == (17.25, "own_record")  # of 14 and 20.5


def test_one_shift_is_assumed_where_nobody_wrote_any(store_of: Callable[..., Store]) -> None:
    # Common practice, no source: a visit is planned as one shift of 8 h.
    bare = {"lines": "line\nTYPED\nOWN\n", "stations": "line,station,distance_mm\nOWN,S1,1500\n"}
    assert ASSUMED_H == 8.0
    assert asked(store_of(bare)) == {"TYPED": (8.0, "assumed"), "OWN": (8.0, "assumed")}


def test_no_lines_need_no_hours(store_of: Callable[..., Store]) -> None:
    with store_of().read() as record:
        hours, sources = visit_hours(record, ())
    assert (hours.shape, sources) == ((0,), ())


@pytest.mark.parametrize(
    ("value", "unit", "hours"),
    [
        ("14", None, 14.0),
        ("14.5", "h", 14.5),
        ("14,5", "", 14.5),
        ("14 h", None, 14.0),
        ("840", "min", None),
        ("14", "mm", None),
        ("nan", None, None),
        ("inf", None, None),
        ("1e3", None, None),
        ("-3", None, None),
        ("0", None, None),
        ("99999999", None, None),
        ("about 14", None, None),
        ("", None, None),
        (None, None, None),
    ],
)
def test_only_positive_numbers_of_hours_are_hours(value: str | None, unit: str | None, hours: float | None) -> None:
    assert hours_written(value, unit) == hours
