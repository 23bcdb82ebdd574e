"""Lines, stations and what stood on them, as the services look them up: codes, zones, geometry of a day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from fleet.errors import NotFoundError
from fleet.services.site_time import zone_of
from fleet.store import queries
from fleet.thermal.geometry import LineGeometry, SupportGeometry


@dataclass(frozen=True, slots=True)
class LineInfo:
    """One line as its pages name it."""

    id: int
    code: str
    site_id: int | None
    site: str | None
    site_name: str | None
    zone: ZoneInfo
    description: str | None
    screw_diameter_mm: float | None
    commissioned_on: date | None
    foundation: str | None
    cold_reference_c: float
    right_hand_side: str | None
    feed_section_mm: float | None


@dataclass(frozen=True, slots=True)
class StationInfo:
    """One place in the bore that is measured."""

    id: int
    line_id: int
    code: str
    distance_mm: float
    support: str | None
    support_id: int | None
    bore: int
    removed_on: date | None


@dataclass(frozen=True, slots=True)
class Stood:
    """An asset on a line: installed_on <= day < removed_on."""

    kind: str
    installed_on: date
    removed_on: date | None
    centre_height_mm: float | None
    gearbox_expansion_per_k: float | None
    bore_mm: float | None
    outside_diameter_mm: float | None
    length_mm: float | None
    barrel_expansion_per_k: float | None

    def on(self, day: date) -> bool:
        """Return whether it stood there that day."""
        return self.installed_on <= day and (self.removed_on is None or day < self.removed_on)


@dataclass(frozen=True, slots=True)
class SupportInfo:
    """One support, from when to when it stood."""

    id: int
    code: str
    distance_mm: float
    geometry: SupportGeometry
    adjusts_v: bool | None
    adjusts_h: bool | None
    v_step_um: float | None
    added_on: date | None
    removed_on: date | None

    def on(self, day: date) -> bool:
        """Return whether it stood that day."""
        return (self.added_on is None or self.added_on <= day) and (self.removed_on is None or day < self.removed_on)


@dataclass(frozen=True, slots=True)
class Plant:
    """The plant data of a fleet, by line id."""

    lines: tuple[LineInfo, ...]
    stations: Mapping[int, tuple[StationInfo, ...]]
    supports: Mapping[int, tuple[SupportInfo, ...]]
    placed: Mapping[int, tuple[Stood, ...]]

    def line(self, code: str) -> LineInfo:
        """Return a line by its code.

        Raises
        ------
        NotFoundError
            No line has this code.
        """
        for line in self.lines:
            if line.code == code:
                return line
        raise NotFoundError(f"There is no line '{code}' in the store; `asleft status` lists the lines there are.")

    def standing(self, line_id: int, kind: str, day: date) -> Stood | None:
        """Return the gearbox, barrel or screw that stood on a line that day."""
        return next((asset for asset in self.placed.get(line_id, ()) if asset.kind == kind and asset.on(day)), None)

    def changed_on(self, line_id: int) -> list[date]:
        """Return the days from which another set of supports and assets stood on a line, in order."""
        of_supports = [(s.added_on, s.removed_on) for s in self.supports.get(line_id, ())]
        of_assets = [(asset.installed_on, asset.removed_on) for asset in self.placed.get(line_id, ())]
        return sorted({day for pair in (*of_supports, *of_assets) for day in pair if day is not None})

    def geometry(self, line: LineInfo, day: date) -> LineGeometry:
        """Return what the heat model needs to know of a line as it stood that day."""
        barrel, gearbox = self.standing(line.id, "barrel", day), self.standing(line.id, "gearbox", day)
        return LineGeometry(
            supports=tuple(support.geometry for support in self.supports.get(line.id, ()) if support.on(day)),
            barrel_outside_diameter_mm=barrel.outside_diameter_mm if barrel else None,
            barrel_length_mm=barrel.length_mm if barrel else None,
            barrel_expansion_per_k=barrel.barrel_expansion_per_k if barrel else None,
            gearbox_centre_height_mm=gearbox.centre_height_mm if gearbox else None,
            gearbox_expansion_per_k=gearbox.gearbox_expansion_per_k if gearbox else None,
            feed_section_mm=line.feed_section_mm or 0.0,
            cold_reference_c=line.cold_reference_c,
        )

    def swaps(self, line_id: int) -> list[tuple[date, str]]:
        """Return the days on which another gearbox or barrel came onto a line that had had one before."""
        changed = []
        for kind in ("gearbox", "barrel"):
            days = sorted(asset.installed_on for asset in self.placed.get(line_id, ()) if asset.kind == kind)
            changed += [(day, kind) for day in days[1:]]
        return sorted(changed)


def _grouped(rows: Iterable[Any], make: Any) -> dict[int, tuple[Any, ...]]:
    groups: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        groups[row.line_id].append(make(row))
    return {line_id: tuple(items) for line_id, items in groups.items()}


def _support(row: Any) -> SupportInfo:
    # An empty `carries` counts as rigid, but the heat model says so as an assumption.
    carries = row.carries if '"carries"' in (row.typed or "") else None
    geometry = SupportGeometry(
        code=row.code,
        distance_mm=row.distance_mm,
        height_mm=row.height_mm,
        saddle=row.saddle,
        vee_angle_deg=row.vee_angle_deg,
        carries=carries,
        base_expansion_per_k=row.base_expansion_per_k,
    )
    return SupportInfo(
        row.id, row.code, row.distance_mm, geometry, row.adjusts_v, row.adjusts_h, row.v_step_um, row.added_on,
        row.removed_on,
    )  # fmt: skip


def load_plant(record: queries.Record) -> Plant:
    """Read the plant data of the whole fleet."""
    lines = tuple(
        LineInfo(
            row.id, row.code, row.site_id, row.site, row.site_name, zone_of(row.time_zone), row.description,
            row.screw_diameter_mm, row.commissioned_on, row.foundation, row.cold_reference_c, row.right_hand_side,
            row.feed_section_mm,
        )
        for row in queries.lines(record)
    )  # fmt: skip
    return Plant(
        lines=lines,
        stations=_grouped(
            queries.stations(record),
            lambda row: StationInfo(
                row.id, row.line_id, row.code, row.distance_mm, row.support, row.support_id, row.bore, row.removed_on
            ),
        ),
        supports=_grouped(queries.supports(record), _support),
        placed=_grouped(
            queries.placements(record),
            lambda row: Stood(
                row.asset_kind, row.installed_on, row.removed_on, row.centre_height_mm, row.gearbox_expansion_per_k,
                row.bore_mm, row.outside_diameter_mm, row.length_mm, row.barrel_expansion_per_k,
            ),
        ),
    )  # fmt: skip
