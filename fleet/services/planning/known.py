"""What the record holds for a plan: lines, outages, what the forecast says of them, and what people pinned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from fleet.planning import ANY, DAYS_AFTER_LAST, Curves, Lines, Outages, Situation, no_pins, plan_end_day
from fleet.reports.plan_content import AsideStop, HoursFrom
from fleet.services.kept import Kept
from fleet.services.planning.asking import NEXT_TWO, Asked
from fleet.services.planning.hours import visit_hours
from fleet.services.planning.risk import curves_of
from fleet.services.planning.windows import Window, considered, windows_of
from fleet.services.plant import LineInfo
from fleet.services.series import FleetSeries
from fleet.services.site_time import site_today, zone_of
from fleet.store import queries
from fleet.values import FloatArray, IntArray

_MOST_KEPT: Final = 16
_HALF_A_YEAR: Final = 182.0


@dataclass(frozen=True, slots=True)
class Known:
    """Everything a plan is made from, and the names behind its indices.

    Parameters
    ----------
    situation : of n lines and J outages
    lines, figures : the lines, and their rows of `line_figures`
    hours_from : where each line's crew hours come from
    windows, aside : the outages considered, and those set aside
    cap, as_of, end_on : the cap in force, and the first and last day that count
    zone : that the sites in view share, else UTC
    dropped : pins that name a line or an outage which is not in view, a sentence each
    site_names : of all sites with lines, by code
    lines_in_store, outages_in_store : of the whole record
    """

    situation: Situation
    lines: tuple[LineInfo, ...]
    figures: tuple[Any, ...]
    hours_from: tuple[HoursFrom, ...]
    windows: tuple[Window, ...]
    aside: tuple[AsideStop, ...]
    cap: float
    as_of: date
    end_on: date
    zone: ZoneInfo
    dropped: tuple[str, ...]
    site_names: dict[str, str]
    lines_in_store: int
    outages_in_store: int


def known(
    record: queries.Record,
    fleet: FleetSeries,
    asked: Asked,
    *,
    now: datetime | None = None,
    limit_um: Mapping[str, float] | None = None,
) -> Known:
    """Read what a plan is made from.

    Parameters
    ----------
    record, fleet : open session of `Store.read()`, and the series of the same record
    asked : what is to be planned
    now : the present moment; None: the clock
    limit_um : limits to go by in place of those in force, by line code, "*" for every other line

    Raises
    ------
    PlanError
        An outage as recorded cannot be planned with.
    """
    plant = fleet.plant
    chosen = [i for i, line in enumerate(plant.lines) if asked.site in (None, line.site)]
    lines = tuple(plant.lines[i] for i in chosen)
    zones = {line.zone for line in lines}
    zone = zones.pop() if len(zones) == 1 else zone_of(None)
    today = site_today(zone, now)
    every = windows_of(queries.all_outages(record), fleet.settings, now)
    windows, aside = considered(every, site=asked.site, ahead_months=asked.ahead_months, now=now)
    start = np.array([w.start_day for w in windows], dtype=np.float64)
    end = np.array([np.nan if w.end_day is None else w.end_day for w in windows], dtype=np.float64)
    end_day = plan_end_day(start, end, days_after=_HALF_A_YEAR if asked.ahead_months == NEXT_TWO else DAYS_AFTER_LAST)
    cap = asked.cap if asked.cap is not None else _cap(fleet, lines, today)
    by_code = {row.id: row for row in queries.line_figures(record)}
    in_order = [by_code[line.id] for line in plant.lines]
    hours, hours_from = visit_hours(record, in_order, until=now)
    figures = tuple(in_order[i] for i in chosen)
    pick = np.array(chosen, dtype=np.int64)
    into, out, dropped = _pins(asked, lines, windows)
    return Known(
        situation=Situation(
            lines=_lines(lines, figures, hours[pick]),
            outages=_outages(windows, lines, start, end),
            curves=_kept_curves(record, fleet, chosen, asked, start, end_day, limit_um),
            end_day=end_day,
            pin_into=into,
            pin_out=out,
            cap=cap,
        ),
        lines=lines,
        figures=figures,
        hours_from=tuple(hours_from[i] for i in chosen),
        windows=windows,
        aside=aside,
        cap=cap,
        as_of=today,
        end_on=today + timedelta(days=int(end_day)),
        zone=zone,
        dropped=dropped,
        site_names={line.site: line.site_name or line.site for line in plant.lines if line.site},
        lines_in_store=len(plant.lines),
        outages_in_store=len(every),
    )


def _cap(fleet: FleetSeries, lines: tuple[LineInfo, ...], today: date) -> float:
    """Return the lowest cap in force at the sites in view."""
    return min(fleet.settings.number("cap", site, today) for site in {line.site_id for line in lines} or {None})


def _lines(lines: tuple[LineInfo, ...], figures: tuple[Any, ...], hours: FloatArray) -> Lines:
    sites = sorted({line.site_id for line in lines if line.site_id is not None})
    # A line without a site is served by outages of its own or of any site only: no outage has its index.
    of_site = {site: index for index, site in enumerate(sites)}

    def column(name: str, empty: float) -> FloatArray:
        return np.array([empty if (v := getattr(row, name)) is None else v for row in figures], dtype=np.float64)

    return Lines(
        codes=tuple(line.code for line in lines),
        site=np.array(
            [len(sites) if line.site_id is None else of_site[line.site_id] for line in lines], dtype=np.int64
        ),
        weight=column("weight", 1.0),
        visit_hours=hours,
        visit_cost_days=column("visit_cost_days", 0.0),
        cool_down_h=column("cool_down_h", np.nan),
        screw_pull_h=column("screw_pull_h", np.nan),
        heat_up_h=column("heat_up_h", np.nan),
    )


def _outages(windows: tuple[Window, ...], lines: tuple[LineInfo, ...], start: FloatArray, end: FloatArray) -> Outages:
    sites = sorted({line.site_id for line in lines if line.site_id is not None})
    elsewhere = len(sites) + 1
    of_line = {line.id: index for index, line in enumerate(lines)}

    def site(w: Window) -> int:
        if w.site_id is None:
            return ANY
        return sites.index(w.site_id) if w.site_id in sites else elsewhere

    return Outages(
        codes=tuple(w.code for w in windows),
        site=np.array([site(w) for w in windows], dtype=np.int64),
        line=np.array(
            [ANY if w.line_id is None else of_line.get(w.line_id, len(lines)) for w in windows], dtype=np.int64
        ),
        start_day=start,
        end_day=end,
        crew_hours=np.array([np.nan if w.crew_hours is None else w.crew_hours for w in windows], dtype=np.float64),
        crews=np.array([np.nan if w.crews is None else w.crews for w in windows], dtype=np.float64),
        planned=np.ones(len(windows), dtype=np.bool_),
        screw_out=np.array([w.screw_out for w in windows], dtype=np.bool_),
    )


def _pins(
    asked: Asked, lines: tuple[LineInfo, ...], windows: tuple[Window, ...]
) -> tuple[IntArray, np.ndarray, tuple[str, ...]]:
    """Return who is held where, who is kept out of where, and the pins that name nothing in view."""
    row = {line.code: index for index, line in enumerate(lines)}
    column = {w.code: index for index, w in enumerate(windows)}
    into, out = no_pins(len(lines), len(windows))
    dropped = []
    for pairs, what in ((asked.into, "into"), (asked.out, "out of")):
        for line, outage in pairs:
            if line in row and outage in column:
                if what == "into":
                    into[row[line]] = column[outage]
                else:
                    out[row[line], column[outage]] = True
            else:
                missing = f"line {line}" if line not in row else f"outage {outage}"
                dropped.append(f"The pin of {line} {what} {outage} is left out: {missing} is not in this plan.")
    return into, out, tuple(dropped)


_KEPT: Kept[dict[object, Curves]] = Kept()


def _kept_curves(
    record: queries.Record,
    fleet: FleetSeries,
    chosen: list[int],
    asked: Asked,
    start: FloatArray,
    end_day: float,
    limit_um: Mapping[str, float] | None,
) -> Curves:
    """Return the curves, worked out once per version of the facts, day and question; no pin changes them."""
    kept = _KEPT.of(record, fleet.as_of, dict)
    key = (asked.site, tuple(start.tolist()), end_day, tuple(sorted((limit_um or {}).items())))
    if key not in kept:
        while len(kept) >= _MOST_KEPT:
            kept.pop(next(iter(kept)))
        kept[key] = curves_of(record, fleet, chosen, start_day=start, end_day=end_day, limit_um=limit_um)
    return kept[key]
