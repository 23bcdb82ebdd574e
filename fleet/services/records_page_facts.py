"""Running checks, meters, tolerances, events, wear and findings as lists: what each says, what was withdrawn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.services.site_time import zone_of
from fleet.store.queries import proof
from fleet.store.queries.reading import Record


@dataclass(frozen=True, slots=True)
class FactRow:
    """One dated fact.

    Attributes
    ----------
    kind, number : its list and its number there
    line : code of its line; None for wear, which belongs to an asset
    place : station or support, the visit of a finding, the asset of wear; None: the whole line
    at, on : when, in the site's zone, or from which day (tolerances; None: always)
    figures : pairs of a name and a value; the name says the unit (`v_rise_um`, `barrel_c`, `running_hours`)
    axis, measure : of a tolerance
    words : kind of an event, item of a finding, kind of an asset
    note : what was written beside it
    resets_trend : an event from which the trend begins anew
    distance_mm : of wear, along the barrel
    withdrawn_at, withdrawn_by, withdrawn_why : None while it stands
    """

    kind: str
    number: int
    line: str | None
    place: str | None
    at: datetime | None
    on: date | None
    figures: tuple[tuple[str, float], ...]
    axis: str | None = None
    measure: str | None = None
    words: str | None = None
    note: str | None = None
    resets_trend: bool = False
    distance_mm: float | None = None
    withdrawn_at: datetime | None = None
    withdrawn_by: str | None = None
    withdrawn_why: str | None = None


_FIGURES: Final = {
    "running-checks": ("v_rise_um", "h_rise_um", "u_um", "barrel_c", "gearbox_c"),
    "meters": ("running_hours", "starts"),
    "tolerances": ("watch_um", "limit_um", "set_within_um"),
    "events": (),
    "wear": ("diameter_v_um", "diameter_h_um"),
    "findings": (),
}
_DATED: Final = {
    "running-checks": "checked_at",
    "meters": "read_at",
    "events": "happened_at",
    "wear": "measured_at",
    "findings": "started_at",
}


def fact_rows(
    record: Record, kind: str, asked: proof.FactsAsked, zone: ZoneInfo, *, limit: int, offset: int = 0
) -> tuple[FactRow, ...]:
    """Return facts of a kind, withdrawn ones too, newest first.

    Parameters
    ----------
    record : an open session
    kind : one of `withdrawing.KINDS`
    asked : of which line, from when to when
    zone : for what has no line of its own
    limit, offset : how many, from where
    """
    return tuple(_row(kind, row, zone) for row in proof.facts(record, kind, asked, limit=limit, offset=offset))


def fact_of(record: Record, kind: str, number: int, zone: ZoneInfo) -> FactRow | None:
    """Return one fact by its number, None where there is none."""
    rows = fact_rows(record, kind, proof.FactsAsked(number=number), zone, limit=1)
    return rows[0] if rows else None


def _row(kind: str, row: Any, zone: ZoneInfo) -> FactRow:
    values = row._mapping
    here = zone_of(values["time_zone"]) if values.get("time_zone") else zone
    moment = values[_DATED[kind]] if kind in _DATED else None
    place = next((values[name] for name in ("session", "station", "support", "asset") if values.get(name)), None)
    note = next((values[name] for name in ("note", "method", "basis") if values.get(name)), None)
    words = next((values[name] for name in ("kind", "item", "asset_kind") if values.get(name)), None)
    if kind == "findings" and values["value"] is not None:
        told = f"{values['value']} {values['unit'] or ''}".strip()
        note = f"{told}; {note}" if note else told
    gone = values["withdrawn_at"]
    return FactRow(
        kind=kind,
        number=values["id"],
        line=values.get("line"),
        place=place,
        at=moment.astimezone(here) if moment else None,
        on=values.get("from_on"),
        figures=tuple((name, float(values[name])) for name in _FIGURES[kind] if values[name] is not None),
        axis=values.get("axis"),
        measure=values.get("measure"),
        words=words,
        note=note,
        resets_trend=bool(values.get("resets_trend")),
        distance_mm=values.get("distance_mm"),
        withdrawn_at=gone.astimezone(here) if gone else None,
        withdrawn_by=values["withdrawn_by"],
        withdrawn_why=values["withdrawn_why"],
    )
