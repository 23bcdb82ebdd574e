"""The outages as a plan meets them: which are considered, which are set aside and why, and what is odd about them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from fleet import words
from fleet.reports.plan_content import AsideStop
from fleet.services.planning.asking import NEXT_TWO
from fleet.services.settings import Settings
from fleet.services.site_time import end_of_day, epoch_days, noon, site_today, zone_of
from fleet.values import DAYS_PER_YEAR


@dataclass(frozen=True, slots=True)
class Window:
    """One outage as recorded, its times in the zone of its site (UTC where it has none).

    `at_site_id` is the site it is at, also where it serves one line only; `start_day` and `end_day` are days after noon
    of today at its site (the end None where none is recorded).
    """

    id: int
    code: str
    kind: str | None
    site_id: int | None
    line_id: int | None
    at_site_id: int | None
    site: str | None
    line: str | None
    starts_at: datetime
    ends_at: datetime | None
    crew_hours: float | None
    crews: float | None
    state: str
    whole_days: bool
    screw_out: bool
    start_day: float
    end_day: float | None

    @property
    def last_at(self) -> datetime:
        """The end, or the start where no end is recorded."""
        return self.ends_at or self.starts_at


def windows_of(rows: Iterable[Any], settings: Settings, now: datetime | None) -> tuple[Window, ...]:
    """Return the recorded outages with times as their sites say them.

    Parameters
    ----------
    rows : of `queries.all_outages`
    settings : the plant's; `screw_out_kinds` tells where the screw is out anyway
    now : the present moment; None: the clock
    """
    return tuple(_window(row, settings, now) for row in rows)


def _window(row: Any, settings: Settings, now: datetime | None) -> Window:
    zone = zone_of(row.time_zone)
    today = site_today(zone, now)
    starts = row.starts_at.astimezone(zone)
    ends = row.ends_at.astimezone(zone) if row.ends_at else None
    kinds = settings.text("screw_out_kinds", row.at_site_id, starts.date()) or ""
    zero = epoch_days(noon(today, zone))
    return Window(
        id=row.id,
        code=row.code,
        kind=row.kind,
        site_id=row.site_id,
        line_id=row.line_id,
        at_site_id=row.at_site_id,
        site=row.at_site,
        line=row.line,
        starts_at=starts,
        ends_at=ends,
        crew_hours=row.crew_hours,
        crews=row.crews,
        state=row.state,
        whole_days=starts.time() == time() and (ends is None or ends.time() == time()),
        screw_out=bool(row.kind) and row.kind in {kind.strip() for kind in kinds.split(";")},
        start_day=epoch_days(row.starts_at) - zero,
        end_day=None if row.ends_at is None else epoch_days(row.ends_at) - zero,
    )


def is_ahead(window: Window, now: datetime | None) -> bool:
    """Return whether an outage begins after today at its site."""
    zone = window.starts_at.tzinfo
    assert isinstance(zone, ZoneInfo)
    return window.starts_at > end_of_day(site_today(zone, now), zone)


def is_planned(window: Window, now: datetime | None) -> bool:
    """Return whether it counts as planned: what is done by now was planned before, for a plan of an earlier day."""
    return window.state == "planned" or (window.state == "done" and is_ahead(window, now))


def considered(
    windows: Sequence[Window], *, site: str | None, ahead_months: int, now: datetime | None
) -> tuple[tuple[Window, ...], tuple[AsideStop, ...]]:
    """Return the outages a plan is made for, and those set aside that a planner may miss, with the reason.

    Parameters
    ----------
    windows : all recorded ones, in time order
    site : of this site, and those that serve every site; None: all
    ahead_months : those that begin within so many months, and the next one where none does; `NEXT_TWO`: of each site
        the next two that serve all its lines, and those of single lines up to then
    now : the present moment; None: the clock
    """
    here = [w for w in windows if site is None or w.site in (site, None)]
    ahead = [w for w in here if is_planned(w, now) and is_ahead(w, now)]
    if ahead_months == NEXT_TWO:
        within = _next_two(ahead)
    else:
        within = [w for w in ahead if w.start_day <= ahead_months * DAYS_PER_YEAR / 12.0]
    chosen = tuple(within or ahead[:1])
    aside = []
    for window in here:
        why = None if window in chosen else _why_aside(window, ahead_months, now)
        if why is not None:
            aside.append(
                AsideStop(
                    window.code, window.kind, window.site, window.line, window.starts_at, window.ends_at,
                    window.whole_days, window.crew_hours, window.crews, window.state, why,
                )
            )  # fmt: skip
    return chosen, tuple(aside)


def _next_two(ahead: Sequence[Window]) -> list[Window]:
    """Return the outages up to the second one of each site that serves all its lines, in time order."""
    last: dict[int | None, float] = {}
    for site in {w.at_site_id for w in ahead}:
        shared = [w for w in ahead if w.line_id is None and w.at_site_id in (site, None)]
        last[site] = shared[1].start_day if len(shared) > 1 else math.inf
    # What serves every site is a second one for some site, or too far ahead for all of them.
    last[None] = max((day for site, day in last.items() if site is not None), default=last.get(None, math.inf))
    return [w for w in ahead if w.start_day <= last[w.at_site_id]]


def _why_aside(window: Window, ahead_months: int, now: datetime | None) -> str | None:
    """Return why a planned outage is not considered; None for one that is over and done with, or cancelled."""
    moment = now or datetime.now(UTC)
    if window.state != "planned":
        return f"{window.code} is cancelled." if window.state == "cancelled" and is_ahead(window, now) else None
    if is_ahead(window, now):
        looked = "next two stops" if ahead_months == NEXT_TWO else f"{ahead_months} months"
        return (
            f"{window.code} begins {words.day(window.starts_at.date())}, further ahead than the {looked} looked at; "
            "look further ahead to plan into it."
        )
    if window.last_at > moment:
        return f"{window.code} has begun; nothing is planned into it any more."
    return (
        f"{window.code} was planned for {words.day(window.starts_at.date())}, which is past; mark it done or cancelled."
    )


def notes_of(window: Window, others: Sequence[Window]) -> tuple[str, ...]:
    """Return what is odd about an outage, a sentence each.

    Parameters
    ----------
    window : one that is considered
    others : all considered ones
    """
    notes = []
    if window.crew_hours == 0.0 or window.crews == 0.0:
        what = "crew hours" if window.crew_hours == 0.0 else "crews"
        notes.append(f"{window.code} has no {what}, so no line goes into it; give it some to plan into it.")
    if window.crew_hours is None:
        notes.append(f"No crew hours are recorded for {window.code}; they are taken as not limited.")
    crossing = [w.code for w in others if w is not window and _share_lines(window, w) and _overlap(window, w)]
    if crossing:
        notes.append(
            f"{window.code} overlaps {', '.join(crossing)}: each counts its own crew hours, so take care that a crew "
            "is not counted twice."
        )
    return tuple(notes)


def _overlap(a: Window, b: Window) -> bool:
    # By the same clock everywhere: times of one zone compare as its clocks show them, twice in the hour it repeats.
    a_from, a_to, b_from, b_to = (m.astimezone(UTC) for m in (a.starts_at, a.last_at, b.starts_at, b.last_at))
    return a_from < b_to and b_from < a_to


def _share_lines(a: Window, b: Window) -> bool:
    """Return whether two outages can serve the same line, or crews of the same site."""
    return None in (a.at_site_id, b.at_site_id) or a.at_site_id == b.at_site_id
