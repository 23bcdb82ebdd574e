"""What a planned visit needs: from real records through the intake; every day is worked out by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from fleet.reports.plan_content import PlanRow, Stop
from fleet.services.planning.needs import LIFTING_GEAR, PERMIT, holds, needs_of
from fleet.services.plant import load_plant
from fleet.store.engine import Store
from fleet.words import NBSP

PACIFIC = ZoneInfo("America/Los_Angeles")
SOURCE = {
    "sites": "site,name,time_zone\nWE,West works,America/Los_Angeles\n",
    "lines": "line,site,screw_pull_h\nW1,WE,4\nW2,WE,\nW3,WE,6\n",
    "supports": "line,support,distance_mm,v_step_um,adjusts_v,removed_on\nW1,A,1500,50,yes,\nW1,B,2500,50,,\n"
    "W1,C,2700,50,no,\nW1,D,2800,50,yes,2026-01-01\nW1,E,2900,,yes,\nW3,1,1500,25,yes,\n",
    "stations": "line,station,distance_mm\nW1,S1,1500\nW2,S1,1500\nW3,S1,1500\n",
    "instruments": "instrument\nI-04\nI-05\n",
    "calibrations": "instrument,calibrated_on,due_on\nI-04,2025-02-03,2026-02-03\nI-04,2026-02-03,2027-02-03\n",
    # W1's newest visit begins at 18:30 on 30 May at the site, which is 31 May, 01:30 UTC.
    "sessions": "session,line,started_at,instrument\nA1,W1,2025-05-30T08:00,I-05\nA2,W1,2026-05-30T18:30,I-04\n"
    "A3,W1,2026-05-31T18:30,\nB1,W3,2026-05-30T18:30,I-05\n",
    "surveys": "session,survey,phase,bolts\nA1,1,as_left,torqued\nA2,1,as_found,torqued\nA2,2,as_left,torqued\n"
    "A3,1,hot,torqued\nB1,1,as_left,torqued\n",
    "offsets": "session,survey,station,v,h,unit\nA1,1,S1,0.01,0.01,mm\nA2,1,S1,0.1,0.01,mm\nA2,2,S1,0.01,0.01,mm\n"
    "A3,1,S1,0.3,0.01,mm\nB1,1,S1,0.01,0.01,mm\n",
    "findings": "session,item,value,unit,note\nA1,soft foot,0.12,mm,shimmed\nA2,grout,,,cracked under B\n"
    "A2,Crew hours,14,,\nA3,soft foot,0.08,mm,gearbox front\n",
}  # fmt: skip
UNTIL = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)


def stop(code: str = "S", *, first: datetime, last: datetime | None, screw_out: bool = False) -> Stop:
    return Stop(code, "stop", "WE", None, first, last, False, None, None, screw_out, 0.0, 0)


SPRING = stop("SPRING", first=datetime(2027, 1, 30, 6, tzinfo=PACIFIC), last=datetime(2027, 2, 6, 18, tzinfo=PACIFIC))
SUMMER = stop("SUMMER", first=datetime(2027, 7, 1, 6, tzinfo=PACIFIC), last=None, screw_out=True)
YEAR_END = stop(
    "YEAR-END", first=datetime(2026, 12, 20, 6, tzinfo=PACIFIC), last=datetime(2026, 12, 30, 18, tzinfo=PACIFIC)
)


def row(line: str, chosen: str | None, pull: float | None = None) -> PlanRow:
    return PlanRow(
        line=line, site="WE", description=None, status="due", station="S1", axis="v", chance_now=0.1, over_p10=None,
        over_p50=None, over_p90=None, weight=1.0, visit_hours=8.0, hours_from="assumed", visit_cost_days=0.0,
        cool_down_h=None, screw_pull_h=pull, heat_up_h=None, choices=(), chosen=chosen, pin=None, kept_out=(),
        chance_before=0.1, chance_if_skipped=0.2, days_over=1.0, days_if_skipped=2.0, saves=1.0, reason="saves",
        rather=None, hours_missing=0.0, unkept=None, above_cap=False,
    )  # fmt: skip


def asked(
    store: Store, rows: Sequence[PlanRow], until: datetime = UNTIL, stops: Sequence[Stop] = (YEAR_END, SPRING, SUMMER)
) -> dict[str, tuple[str, ...]]:
    with store.read() as record:
        found = needs_of(record, load_plant(record).lines, rows, stops, until=until)
    return {line: tuple(need.replace(NBSP, " ") for need in needs) for line, needs in found.items()}


def test_a_visit_needs_permit_lifting_gear_parts_findings_seen_to_and_an_instrument(
    store_of: Callable[..., Store],
) -> None:
    needs = asked(store_of(SOURCE), [row("W1", "YEAR-END", 4.0), row("W2", "YEAR-END"), row("W3", None, 6.0)])
    assert needs == {
        "W1": (
            "permit to work; drive, heaters and stored energy isolated",
            "lifting gear for the screw",
            "shims for supports A and B",
            "finding of 30 May 2026: grout, cracked under B",
            "finding of 31 May 2026: soft foot 0.08 mm, gearbox front",
            "instrument I-04, calibration valid to 3 Feb 2027",
        ),
        "W2": ("permit to work; drive, heaters and stored energy isolated",),
    }


def test_no_lifting_gear_where_the_screw_is_out_anyway(store_of: Callable[..., Store]) -> None:
    needs = asked(store_of(SOURCE), [row("W3", "SUMMER", 6.0)])["W3"]
    assert LIFTING_GEAR not in needs
    assert needs == (PERMIT, "shims for support 1", "instrument I-05, no calibration on record")
    assert LIFTING_GEAR in asked(store_of(SOURCE), [row("W3", "SPRING", 6.0)])["W3"]


@pytest.mark.parametrize(
    ("into", "said"),
    [
        ("YEAR-END", "instrument I-04, calibration valid to 3 Feb 2027"),
        ("SPRING", "instrument I-04, calibration lapses 3 Feb 2027, during this stop"),
        ("SUMMER", "instrument I-04, calibration lapses 3 Feb 2027, before this stop"),
    ],
)
def test_the_calibration_is_set_beside_the_days_of_the_stop(
    store_of: Callable[..., Store], into: str, said: str
) -> None:
    assert asked(store_of(SOURCE), [row("W1", into, 4.0)])["W1"][-1] == said


def test_a_plan_of_a_past_day_knows_what_was_known_then(store_of: Callable[..., Store]) -> None:
    then = datetime(2025, 12, 1, 12, 0, tzinfo=UTC)
    assert asked(store_of(SOURCE), [row("W1", "YEAR-END", 4.0)], until=then)["W1"][3:] == (
        "finding of 30 May 2025: soft foot 0.12 mm, shimmed",
        "instrument I-05, no calibration on record",
    )


def test_a_stop_that_ends_at_midnight_ends_on_the_day_before(store_of: Callable[..., Store]) -> None:
    # Due on 3 Feb: a stop of whole days, 1 to 3 Feb at the site, ends at midnight of 4 Feb there.
    whole = stop(
        first=datetime(2027, 2, 1, tzinfo=PACIFIC).astimezone(UTC),
        last=datetime(2027, 2, 4, tzinfo=PACIFIC).astimezone(UTC),
    )
    needs = asked(store_of(SOURCE), [row("W1", "S")], stops=[whole])["W1"]
    assert needs[-1] == "instrument I-04, calibration valid to 3 Feb 2027"
    longer = replace(whole, ends_at=datetime(2027, 2, 4, 1, tzinfo=PACIFIC))
    needs = asked(store_of(SOURCE), [row("W1", "S")], stops=[longer])["W1"]
    assert needs[-1] == "instrument I-04, calibration lapses 3 Feb 2027, during this stop"


@pytest.mark.parametrize(
    ("known", "said"),
    [
        ((), "no calibration on record"),
        (((date(2024, 1, 1), None),), "calibrated 1 Jan 2024, no end on record"),
        (((date(2024, 1, 1), date(2025, 1, 1)),), "calibration lapsed 1 Jan 2025, before this stop"),
        # The day it is due is the last one it covers: not lapsed on that day yet.
        (((date(2026, 1, 1), date(2026, 11, 1)),), "calibration lapses 1 Nov 2026, before this stop"),
        # A certificate that still holds goes before a newer, shorter one.
        (
            ((date(2026, 1, 1), date(2027, 6, 1)), (date(2026, 6, 1), date(2026, 9, 1))),
            "calibration valid to 1 Jun 2027",
        ),
    ],
)
def test_how_a_calibration_stands(known: tuple[tuple[date, date | None], ...], said: str) -> None:
    told = holds(known, date(2026, 12, 20), date(2026, 12, 30), date(2026, 11, 1))
    assert told.replace(NBSP, " ") == said


def test_nothing_planned_needs_nothing(store_of: Callable[..., Store]) -> None:
    assert asked(store_of(SOURCE), [row("W1", None)]) == {}
    assert asked(store_of(), []) == {}
