"""A plan of an invented site, to be handed over: four stops, nine lines, figures as the design page draws them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fleet.reports.plan_content import Choice, Kept, PlanContent, PlanRow, Stop

ZONE = ZoneInfo("America/New_York")


def stop(code: str, start: tuple[int, ...], end: tuple[int, ...] | None, zone: ZoneInfo = ZONE, **more: Any) -> Stop:
    """A stop of whole days where no hour is given; `end` is then its last day."""
    whole_days = len(start) == 3
    ends = None if end is None else datetime(*end, tzinfo=zone)
    if ends is not None and whole_days:
        ends = ends + timedelta(days=1)
    given: dict[str, Any] = {
        "kind": "full stop", "site": "ORR", "line": None, "crew_hours": 96.0, "crews": 2.0, "screw_out": False,
        "hours_used": 0.0, "visits": 0,
    }  # fmt: skip
    return Stop(
        code=code, starts_at=datetime(*start, tzinfo=zone), ends_at=ends, whole_days=whole_days, **(given | more)
    )


STOPS = (
    stop("ORR-2026-12-19", (2026, 12, 19), (2026, 12, 30), hours_used=56.0, visits=4),
    stop(
        "ORR-2027-04-03", (2027, 4, 3, 6), (2027, 4, 7, 6), kind="weekend", crew_hours=40.0, hours_used=12.0, visits=1
    ),
    stop("ORR-2027-07-24", (2027, 7, 24), (2027, 8, 8), crew_hours=None),
    stop("ORR-2027-10-16", (2027, 10, 16, 6), None, kind="weekend", crew_hours=10.0),
)


def row(line: str, chances: tuple[float | None, ...], skipped: float | None, **more: Any) -> PlanRow:
    """A line with its chance before each stop; the window is the same in all of them."""
    closed = more.pop("closed", ("open",) * len(chances))
    window = more.pop("window_h", 41.0)
    given: dict[str, Any] = {
        "site": "ORR", "description": "Pipe", "status": "within", "station": "B", "axis": "v", "chance_now": 0.0,
        "over_p10": None, "over_p50": None, "over_p90": None, "weight": 1.0, "visit_hours": 14.0,
        "hours_from": "own_record", "visit_cost_days": 5.0, "cool_down_h": 16.0, "screw_pull_h": 8.0,
        "heat_up_h": 10.0, "chosen": None, "pin": None, "kept_out": (), "chance_before": skipped, "days_over": 0.5,
        "days_if_skipped": 0.5, "saves": 0.0, "reason": "not_worth_it", "rather": None, "hours_missing": 0.0,
        "unkept": None, "above_cap": False,
    }  # fmt: skip
    return PlanRow(
        line=line,
        choices=tuple(Choice(c, why, window) for c, why in zip(chances, closed, strict=True)),
        chance_if_skipped=skipped,
        **(given | more),
    )


ROWS = (
    row(
        "ORR-07", (0.95, 0.99, 0.99, 0.99), 0.995, status="over", chosen="ORR-2026-12-19", chance_before=0.95,
        chance_now=0.93, reason="above_cap_anyway", unkept="above_now", days_over=31.0, days_if_skipped=640.0,
        saves=609.0, needs=("crane, 2 t", "new shims; 0.10, 0.20 mm"),
    ),
    row(
        "ORR-03", (0.8, 0.86, 0.9, 0.93), 0.95, status="over", chosen="ORR-2026-12-19", chance_before=0.8,
        chance_now=0.1, reason="above_cap_anyway", unkept="above_before_first", days_over=12.0,
        days_if_skipped=500.0, saves=488.0,
    ),
    row(
        "ORR-09", (0.07, 0.27, 0.4, 0.6), 0.7, status="due", chosen="ORR-2026-12-19", chance_before=0.07,
        reason="keeps_cap", days_over=2.0, days_if_skipped=120.0, saves=118.0,
    ),
    row(
        "ORR-02", (0.03, 0.33, 0.4, 0.5), 0.6, status="due", chosen="ORR-2026-12-19", chance_before=0.03,
        reason="pinned_into", pin="into", days_over=1.0, days_if_skipped=90.0, saves=89.0,
    ),
    row(
        "ORR-05", (0.004, 0.07, 0.3, 0.4), 0.5, status="watch", chosen="ORR-2027-04-03", chance_before=0.07,
        reason="saves_days", days_over=4.0, days_if_skipped=44.0, saves=40.0,
    ),
    row(
        "ORR-12", (0.1, 0.25, 0.4, 0.5), 0.5, status="watch", chance_before=0.5, reason="no_room",
        rather="ORR-2027-04-03", hours_missing=4.0, above_cap=True, days_over=44.0, days_if_skipped=44.0,
        closed=("crew_hours_too_few", "open", "pinned_out", "window_too_short"), kept_out=("ORR-2027-07-24",),
        visit_hours=100.0, window_h=47.0,
    ),
    row("ORR-08", (0.004, 0.004, 0.01, 0.03), 0.03),
    row(
        "ORR-13", (None,) * 4, None, status="no record", station=None, axis=None, chance_now=None,
        days_over=None, days_if_skipped=None, saves=None, reason="no_forecast", hours_from="assumed",
        visit_hours=8.0, cool_down_h=None, screw_pull_h=None,
    ),
)  # fmt: skip


def plan(**more: Any) -> PlanContent:
    """The whole plan, as nobody has kept it yet."""
    given: dict[str, Any] = {
        "site": "ORR", "site_name": "Orrindale", "cap": 0.2, "cap_asked": False, "ahead_months": 12,
        "as_of": date(2026, 11, 25), "end_on": date(2028, 10, 16),
        "solved_at": datetime(2026, 11, 25, 7, 12, tzinfo=ZONE), "data_version": 41, "stops": STOPS, "aside": (),
        "rows": ROWS, "days_over": 95.0, "days_if_none": 1439.0, "weighted_days_over": 95.0, "cost_days": 25.0,
        "over_cap": 1, "over_cap_bound": 1, "bound": 120.0, "gap": 0.0, "seconds": 5.0,
        "site_names": {"ORR": "Orrindale"}, "lines_in_store": len(ROWS), "outages_in_store": len(STOPS),
    }  # fmt: skip
    return PlanContent(**(given | more))


def kept(**more: Any) -> Kept:
    """How the plan was kept by J. Quillam and signed off the day after."""
    given: dict[str, Any] = {
        "code": "P-3", "state": "signed_off", "made_by": "J. Quillam (not verified)",
        "made_at": datetime(2026, 11, 25, 13, 0, tzinfo=UTC), "signed_by": "J. Quillam (not verified)",
        "signed_at": datetime(2026, 11, 26, 8, 30, tzinfo=UTC), "note": None, "version": 3,
    }  # fmt: skip
    return Kept(**(given | more))


def moved(plan_: PlanContent, **changes: Any) -> PlanContent:
    """The plan with its first stop changed."""
    return replace(plan_, stops=(replace(plan_.stops[0], **changes), *plan_.stops[1:]))
