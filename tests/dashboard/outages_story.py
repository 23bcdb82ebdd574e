"""Invented plan of Orrindale in short, by hand so that every kind of cell occurs; and what else the page can meet."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.hand_over_sources import HandOverSources
from dashboard.plan_sources import PlanSources
from fleet.errors import InputError, NotFoundError
from fleet.reports.became_content import Became, ScoreContent
from fleet.reports.plan_content import AsideStop, Choice, Kept, PlanContent, PlanRow, Stop
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import OutageListed
from fleet.services.planning.feeds import calendar_of
from fleet.services.planning.keeping import KeptLine
from fleet.values import Status

ZONE = ZoneInfo("Europe/Berlin")
TODAY = date(2026, 11, 25)


def at(year: int, month: int, day: int, hour: int = 0) -> datetime:
    """Return a moment at Orrindale."""
    return datetime(year, month, day, hour, tzinfo=ZONE)


def stop(
    code: str, first: datetime, last: datetime, crew: float | None, used: float, visits: int, **more: object
) -> Stop:
    """Return a stop at Orrindale."""
    made = Stop(
        code=code, kind="full stop", site="ORR", line=None, starts_at=first,
        ends_at=last, whole_days=first.hour == last.hour == 0, crew_hours=crew, crews=2.0,
        screw_out=True, hours_used=used, visits=visits,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


STOPS = (
    stop("Y26", at(2026, 12, 19), at(2026, 12, 31), 96.0, 26.0, 2),
    stop("S27", at(2027, 4, 3, 6), at(2027, 4, 7, 6), 40.0, 0.0, 0, kind="weekend"),
    stop("A27", at(2027, 10, 16), at(2027, 10, 19), None, 12.0, 1, notes=("A27 says no crew hours.",)),
)


def row(
    line: str, status: Status, before: tuple[float | None, ...], chosen: str | None, reason: str, **more: object
) -> PlanRow:
    """Return a line whose chances before the three stops are these."""
    choices = tuple(Choice(chance, "open", 41.0) for chance in before)
    made = PlanRow(
        line=line, site="ORR", description="120 mm", status=status, station="B", axis="v", chance_now=before[0],
        over_p10=date(2026, 10, 3), over_p50=date(2027, 3, 1), over_p90=date(2027, 9, 1), weight=1.0, visit_hours=14.0,
        hours_from="own_record", visit_cost_days=5.0, cool_down_h=16.0, screw_pull_h=8.0, heat_up_h=10.0,
        choices=choices, chosen=chosen, pin=None, kept_out=(), chance_before=before[0], chance_if_skipped=before[-1],
        days_over=10.0, days_if_skipped=95.0, saves=85.0, reason=reason, rather=None, hours_missing=0.0, unkept=None,
        above_cap=False,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


OVER = row(
    "ORR-07", "over", (0.95, 0.99, 0.995), "Y26", "above_cap_anyway", unkept="above_now",
    needs=("permit to work; drive, heaters and stored energy isolated",),
)  # fmt: skip
HELD = row(
    "ORR-02", "due", (0.03, 0.33, 0.6), "Y26", "pinned_into", pin="into", visit_hours=12.0, chance_if_skipped=0.8
)
SHORT = row(
    "ORR-12", "watch", (0.005, 0.06, 0.13), "A27", "keeps_cap", chance_before=0.13, visit_hours=12.0,
    choices=(
        Choice(0.005, "open", 41.0), Choice(0.06, "window_too_short", 102.0), Choice(0.13, "open", 41.0)
    ),
)  # fmt: skip
OUT = row(
    "ORR-04", "within", (0.001, 0.02, 0.04), None, "not_worth_it", pin="out", kept_out=("S27",), chance_before=0.1,
    chance_if_skipped=0.1,
    choices=(Choice(0.001, "open", 41.0), Choice(0.02, "pinned_out", 41.0), Choice(0.04, "open", 41.0)),
)  # fmt: skip
UNKNOWN = row(
    "ORR-13", "no record", (None, None, None), None, "no_forecast", chance_before=None, chance_if_skipped=None,
    over_p10=None, over_p50=None, over_p90=None, hours_from="assumed", days_over=None, days_if_skipped=None, saves=None,
)  # fmt: skip
PLAN = PlanContent(
    site="ORR", site_name="Orrindale", cap=0.2, cap_asked=False, ahead_months=12, as_of=TODAY,
    end_on=date(2028, 10, 18), solved_at=datetime(2026, 11, 25, 7, 12, tzinfo=ZONE), data_version=3, stops=STOPS,
    aside=(
        AsideStop("Y27", "full stop", "ORR", None, at(2027, 12, 20), None, True, None, None,
                  "planned", "Y27 begins 20 Dec 2027, further ahead than the 12 months looked at."),
    ),
    rows=(OVER, HELD, SHORT, OUT, UNKNOWN), days_over=41.0, days_if_none=233.0, weighted_days_over=41.0, cost_days=15.0,
    over_cap=0, over_cap_bound=0, bound=56.0, gap=0.0, seconds=5.0, site_names={"ORR": "Orrindale", "VES": "Vessmoor"},
    lines_in_store=5, outages_in_store=4,
)  # fmt: skip


def content(asked: Asked) -> PlanContent:
    """Return the plan as asked: its site, its pins; ORR-07 cannot be pinned into S27, and a line may be unknown."""
    if ("ORR-07", "S27") in asked.into:
        raise InputError("ORR-07 cannot be pinned into S27: the visit alone takes more than its crew hours")
    plan = replace(PLAN, site=asked.site, ahead_months=asked.ahead_months, seconds=asked.seconds)
    if asked.cap is not None:
        plan = replace(plan, cap=asked.cap, cap_asked=True)
    if asked.site == "VES":
        return replace(plan, rows=(), stops=(), site_name="Vessmoor")
    known = {line.line for line in PLAN.rows}
    dropped = tuple(f"The pin of {line} into {outage} is left out." for line, outage in asked.into if line not in known)
    return replace(plan, dropped=dropped)


def listed(
    code: str, starts: datetime, ends: datetime | None, state: str = "planned", *, past: bool = False
) -> OutageListed:
    """Return an outage on record at Orrindale."""
    return OutageListed(
        code=code, kind="full stop", site="ORR", line=None, starts_at=starts,
        ends_at=ends,
        whole_days=starts.hour == 0 and (ends is None or ends.hour == 0), crew_hours=96.0, crews=2.0, state=state,
        past=past,
    )  # fmt: skip


OUTAGES = (
    listed("Y24", at(2024, 12, 20), at(2024, 12, 31), "done", past=True),
    listed("O26", at(2026, 10, 3, 6), at(2026, 10, 7, 18), "planned", past=True),
    listed("X26", at(2026, 11, 7, 6), at(2026, 11, 9, 18), "cancelled", past=True),
    listed("Y26", at(2026, 12, 19), at(2026, 12, 31)),
    listed("S27", at(2027, 3, 27, 6), at(2027, 4, 7, 6)),
    listed("Y27", at(2027, 12, 20), None),
)


def _nothing(*_: object) -> Any:
    """Return nothing: no kept plan, no feed, whatever else the page asks for."""
    return ()


def kept(code: str) -> PlanContent:
    """Return the one plan that is kept: P-1, of three days before."""
    if code != "P-1":
        raise NotFoundError(f"There is no kept plan ‘{code}’; choose one from the list of kept plans.")
    return replace(PLAN, kept=KEPT)


KEPT = Kept("P-1", "saved", "J. Quillam (not verified)", at(2026, 11, 22, 9), None, None, "first go", 2)
LISTED = KeptLine(
    code="P-1", state="saved", version=2, site=PLAN.site, as_of=PLAN.as_of, made_by=KEPT.made_by, made_at=KEPT.made_at,
    signed_by=None, signed_at=None, note="first go", data_version=PLAN.data_version, visits=PLAN.visits,
    days_over=PLAN.days_over, first_start=at(2026, 12, 19),
)  # fmt: skip

NO_SCORE = ScoreContent((), 0.0, 0, None, None, None, (), (), 0)
"""No plan of Orrindale was signed off before."""
HAND_OVER = HandOverSources(
    job_sheets=_nothing, calendar=calendar_of, feeds=lambda: (), make_feed=_nothing, end_feed=_nothing,
    feed_calendar=_nothing,
)  # fmt: skip

_TOLD: dict[str, Any] = {
    "hand_over": HAND_OVER,
    "content": content,
    "outages": lambda site: OUTAGES if site in (None, "ORR") else (),
    "became": lambda code: Became(code, "saved", TODAY, (), 3, (), NO_SCORE),
    "score": lambda _: NO_SCORE,
    "kept": kept,
    "kept_plans": lambda _: (LISTED,),
    "facts_version": lambda: PLAN.data_version,
}
SOURCES = PlanSources(**{name.name: _TOLD.get(name.name, _nothing) for name in fields(PlanSources)})
NOW = datetime(2026, 11, 25, 7, 12, tzinfo=UTC)
