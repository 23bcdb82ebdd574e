"""A plan's content turned into rows to keep, and back: what comes back is what was kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import fields
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.reports.plan_content import AsideStop, Choice, Kept, PlanContent, PlanRow, Stop
from fleet.services.site_time import zone_of
from fleet.store.plans import PlanRows
from fleet.store.queries import Rows

_HEAD: Final = (
    "as_of", "end_on", "cap", "cap_asked", "ahead_months", "data_version", "days_over", "days_if_none",
    "weighted_days_over", "cost_days", "over_cap", "over_cap_bound", "bound", "gap", "seconds", "solved_at",
    "lines_in_store", "outages_in_store",
)  # fmt: skip
_OF_A_STOP: Final = ("kind", "site", "line", "starts_at", "ends_at", "whole_days", "crew_hours", "crews")
_OF_A_ROW: Final = tuple(
    field.name
    for field in fields(PlanRow)
    if field.name not in ("description", "choices", "chosen", "kept_out", "needs", "chance_now", "chance_before",
                          "chance_if_skipped")
)  # fmt: skip


def rows_of_content(plan: PlanContent) -> PlanRows:
    """Return a plan as rows to keep.

    Parameters
    ----------
    plan : worked out from the record; how it was kept, if it was, is left out
    """
    return PlanRows(
        site=plan.site,
        plan={**{name: getattr(plan, name) for name in _HEAD}, "dropped": _joined(plan.dropped)},
        stops=[*map(_stop, plan.stops), *map(_aside, plan.aside)],
        items=[_item(row) for row in plan.rows],
        choices=_choices(plan),
    )


def _stop(stop: Stop) -> dict[str, object]:
    return {
        "outage": stop.code,
        **{name: getattr(stop, name) for name in _OF_A_STOP},
        "screw_out": stop.screw_out,
        "hours_used": stop.hours_used,
        "state": "planned",
        "notes": _joined(stop.notes),
        "aside": None,
    }


def _aside(stop: AsideStop) -> dict[str, object]:
    return {
        "outage": stop.code,
        **{name: getattr(stop, name) for name in _OF_A_STOP},
        "screw_out": False,
        "hours_used": 0.0,
        "state": stop.state,
        "notes": "",
        "aside": stop.why,
    }


def _item(row: PlanRow) -> dict[str, object]:
    return {
        **{name: getattr(row, name) for name in _OF_A_ROW},
        "outage": row.chosen,
        "chance_now": _chance(row.chance_now),
        "chance_before": _chance(row.chance_before),
        "chance_if_skipped": _chance(row.chance_if_skipped),
        "needs": _joined(row.needs),
    }


def _choices(plan: PlanContent) -> Iterator[tuple[int, int, float | None, str, float | None, bool]]:
    for at, row in enumerate(plan.rows):
        out = set(row.kept_out)
        for place, (stop, choice) in enumerate(zip(plan.stops, row.choices, strict=True)):
            yield at, place, _chance(choice.chance_before), choice.closed, choice.window_h, stop.code in out


def content_of_rows(
    head: Any, stops: Rows, items: Rows, choices: Rows, *, sites: Rows, zone: ZoneInfo
) -> PlanContent:  # fmt: skip
    """Return a kept plan as content, times in the zones of their sites.

    Parameters
    ----------
    head, stops, items, choices : of `queries.plans`
    sites : those with lines, for their names
    zone : that the plan's lines share, else UTC
    """
    plan = head[0]
    visits = Counter(row.outage for row in items)
    considered = [row for row in stops if row[0].aside is None]
    # Only outages that were considered have choices, and they come first.
    offered: list[list[Choice]] = [[] for _ in items]
    out: list[list[str]] = [[] for _ in items]
    for row in choices:
        offered[row.item].append(Choice(row.chance_before, row.closed, row.window_h))
        if row.kept_out:
            out[row.item].append(stops[row.stop].outage)
    return PlanContent(
        site=head.site,
        site_name=head.site_name or head.site,
        **{name: getattr(plan, name) for name in _HEAD if name != "solved_at"},
        solved_at=plan.solved_at.astimezone(zone),
        stops=tuple(
            Stop(
                code=row.outage,
                **_times(row),
                screw_out=row[0].screw_out,
                hours_used=row[0].hours_used,
                visits=visits[row.outage],
                notes=_apart(row[0].notes),
            )
            for row in considered
        ),
        aside=tuple(
            AsideStop(code=row.outage, **_times(row), state=row[0].state, why=row[0].aside)
            for row in stops
            if row[0].aside is not None
        ),
        rows=tuple(_row(row, tuple(offered[at]), tuple(out[at])) for at, row in enumerate(items)),
        site_names={row.code: row.name or row.code for row in sites if row.code is not None},
        dropped=_apart(plan.dropped),
        kept=Kept(
            code=plan.code,
            state=plan.state,
            made_by=plan.made_by,
            made_at=plan.made_at.astimezone(zone),
            signed_by=plan.signed_by,
            signed_at=plan.signed_at.astimezone(zone) if plan.signed_at else None,
            note=plan.note,
            version=plan.version,
        ),
    )


def _times(row: Any) -> dict[str, Any]:
    stop, zone = row[0], zone_of(row.time_zone)
    return {
        "kind": stop.kind,
        "site": row.site,
        "line": row.line,
        "starts_at": stop.starts_at.astimezone(zone),
        "ends_at": stop.ends_at.astimezone(zone) if stop.ends_at else None,
        "whole_days": stop.whole_days,
        "crew_hours": stop.crew_hours,
        "crews": stop.crews,
    }


def _row(row: Any, choices: tuple[Choice, ...], kept_out: tuple[str, ...]) -> PlanRow:
    item = row[0]
    named = {"line": row.line, "site": row.site, "rather": row.rather}
    return PlanRow(
        **{name: named[name] if name in named else getattr(item, name) for name in _OF_A_ROW},
        description=row.description,
        choices=choices,
        chosen=row.outage,
        kept_out=kept_out,
        chance_now=item.chance_now,
        chance_before=item.chance_before,
        chance_if_skipped=item.chance_if_skipped,
        needs=_apart(item.needs),
    )


def _chance(value: float | None) -> float | None:
    """Return a chance without what rounding put beyond 0 or 1."""
    return None if value is None else min(max(value, 0.0), 1.0)


def _joined(phrases: tuple[str, ...]) -> str:
    return "\n".join(" ".join(phrase.split("\n")) for phrase in phrases)


def _apart(text: str) -> tuple[str, ...]:
    return tuple(text.split("\n")) if text else ()
