"""What the record holds beside a movement: the gearbox's level at both surveys, wear, findings, how the axis was told.

None of it is blamed: without two levels of one gearbox it stays open which of the two moved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

import numpy as np

from fleet.profile import fit_line, level_says
from fleet.profile.level import Which
from fleet.services.line_surveys import SurveyArrays, movement
from fleet.services.plant import LineInfo
from fleet.services.series import FleetSeries
from fleet.store import queries
from fleet.values import NORMAL_95

NoLevel = Literal["at neither", "at the first only", "at the second only", "gearbox exchanged"]


@dataclass(frozen=True, slots=True)
class LevelAnswer:
    """What two levels of the gearbox say of the vertical turn between two surveys, uncertainties expanded (95 %).

    Slopes are um per m, + higher toward the discharge end; `accounts_um` is what the gearbox's tilt alone does to the
    bore's offset at `station`, + higher. [um]
    """

    station: str
    distance_mm: float
    tilt_um_per_m: float
    u95_tilt_um_per_m: float
    accounts_um: float
    u95_accounts_um: float
    moved_um: float
    u95_moved_um: float
    rest_um_per_m: float
    u95_rest_um_per_m: float
    which: Which


@dataclass(frozen=True, slots=True)
class WearFact:
    """Diameters measured at one distance of what stands on the line, against new [um]; + is wider.

    `since_v_um` is how much wider, vertically, than when it was last measured at or before the first survey; None where
    it was not. `could_shift_um` is how much lower a target that rests on the bore could sit at the second survey than
    at the first: half the widening; None for a screw, which is out of the bore while that is measured, and where
    nothing was measured since the first survey (`since_first`).
    """

    kind: str
    measured_on: date
    distance_mm: float
    wider_v_um: float | None
    wider_h_um: float | None
    since_v_um: float | None
    could_shift_um: float | None
    method: str | None
    since_first: bool


@dataclass(frozen=True, slots=True)
class FindingFact:
    """Something found at a visit beside the alignment, value and unit as written."""

    session: str
    on: date
    item: str
    value: str | None
    unit: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class MovementEvidence:
    """What stands beside a movement; `no_level` says why the level tells nothing, `level` is then None.

    `axis_by` is how the gearbox axis was told at both surveys where that differs; `worn_um` how much lower a target
    could sit on the worn bore where that is more than the movement's own uncertainty. [um]
    """

    level: LevelAnswer | None
    no_level: NoLevel | None
    axis_by: tuple[str | None, str | None] | None
    worn_um: float | None
    wear: tuple[WearFact, ...]
    findings: tuple[FindingFact, ...]


def movement_evidence(
    record: queries.Record,
    fleet: FleetSeries,
    info: LineInfo,
    pair: tuple[SurveyArrays | None, SurveyArrays | None],
    started: Mapping[str, datetime],
) -> MovementEvidence | None:
    """Return what stands beside the movement between two surveys; None where no movement can be told.

    Parameters
    ----------
    record : open session of `Store.read()`
    info : the line
    pair : the two surveys, the earlier first
    started : when each of the line's sessions began, by code
    """
    first, second = pair
    if first is None or second is None:
        return None
    stations = tuple(code for code in first.stations if code in second.stations)
    distance_mm = np.array([first.distance_mm[first.stations.index(code)] for code in stations], dtype=np.float64)
    if len(stations) < 2 or np.ptp(distance_mm) == 0.0:
        return None
    moved_um, covariance = movement(first, second, stations, 0)
    u95_um = NORMAL_95 * np.sqrt(np.diagonal(covariance))
    said = {row.survey_id: row for row in queries.levels_of_line(record, info.id)}
    days = tuple(survey.measured_at.astimezone(info.zone).date() for survey in (first, second))
    before, after = (said[s.id].gearbox_level_um_per_m if s.id in said else None for s in (first, second))
    exchanged = any(kind == "gearbox" and days[0] < day <= days[1] for day, kind in fleet.plant.swaps(info.id))
    no_level = _no_level((before, after), exchanged=exchanged)
    answer = None
    if no_level is None and before is not None and after is not None:
        line, far = fit_line(distance_mm, moved_um, covariance), int(np.argmax(distance_mm))
        told = level_says(
            before_um_per_m=before,
            after_um_per_m=after,
            turned_um_per_m=line.slope_um_per_m,
            u_turned_um_per_m=line.u_slope_um_per_m,
            distance_mm=float(distance_mm[far]),
        )
        answer = LevelAnswer(
            station=stations[far],
            distance_mm=float(distance_mm[far]),
            tilt_um_per_m=told.tilt_um_per_m,
            u95_tilt_um_per_m=NORMAL_95 * told.u_tilt_um_per_m,
            accounts_um=told.accounts_um,
            u95_accounts_um=NORMAL_95 * told.u_accounts_um,
            moved_um=float(moved_um[far]),
            u95_moved_um=float(u95_um[far]),
            rest_um_per_m=told.rest_um_per_m,
            u95_rest_um_per_m=NORMAL_95 * told.u_rest_um_per_m,
            which=told.which,
        )
    wear = _wear(queries.wear_of_line(record, info.id), info, *days)
    lower = max((fact.could_shift_um for fact in wear if fact.could_shift_um), default=0.0)
    ways = tuple(said[s.id].axis_by if s.id in said else None for s in (first, second))
    return MovementEvidence(
        level=answer,
        no_level=no_level,
        axis_by=(ways[0], ways[1]) if ways[0] != ways[1] else None,
        worn_um=lower if lower > float(u95_um.min()) else None,
        wear=wear,
        findings=_findings(queries.findings_of_line(record, info.id), info, started, first.session, second.session),
    )


def _no_level(levels: Sequence[float | None], *, exchanged: bool) -> NoLevel | None:
    known = [level is not None for level in levels]
    if all(known):
        return "gearbox exchanged" if exchanged else None
    if not any(known):
        return "at neither"
    return "at the first only" if known[0] else "at the second only"


def _wear(rows: Sequence[Any], info: LineInfo, first: date, second: date) -> tuple[WearFact, ...]:
    """Return the newest measurement at or before the second survey of each part that stood there then.

    Where a part was measured only later, the first such measurement stands for it.
    """
    standing = [
        (row, row.measured_at.astimezone(info.zone).date())
        for row in rows
        if row.installed_on <= second and (row.removed_on is None or second < row.removed_on)
    ]
    facts: list[WearFact] = []
    for kind in sorted({row.asset_kind for row, _ in standing}):
        own = [(row, day) for row, day in standing if row.asset_kind == kind]
        before = [day for _, day in own if day <= second]
        chosen = max(before) if before else min(day for _, day in own)
        # What was measured before the first survey already says nothing of the time between the two.
        between = chosen > first
        earlier = {row.distance_mm: row for row, day in own if day <= first} if between else {}
        facts += [
            _wear_fact(row, day, earlier.get(row.distance_mm), between=between) for row, day in own if day == chosen
        ]
    return tuple(facts)


def _wear_fact(row: Any, day: date, earlier: Any | None, *, between: bool) -> WearFact:
    new_mm = row.bore_mm if row.asset_kind == "barrel" else row.diameter_mm if row.asset_kind == "screw" else None
    new_um = None if new_mm is None else new_mm * 1000.0
    wider_v = None if new_um is None or row.diameter_v_um is None else row.diameter_v_um - new_um
    wider_h = None if new_um is None or row.diameter_h_um is None else row.diameter_h_um - new_um
    since = None
    if earlier is not None and None not in (row.diameter_v_um, earlier.diameter_v_um):
        since = row.diameter_v_um - earlier.diameter_v_um
    grown = since if since is not None else wider_v
    shift = max(grown, 0.0) / 2.0 if between and row.asset_kind == "barrel" and grown is not None else None
    return WearFact(row.asset_kind, day, row.distance_mm, wider_v, wider_h, since, shift, row.method, between)


def _findings(
    rows: Sequence[Any], info: LineInfo, started: Mapping[str, datetime], first: str, second: str
) -> tuple[FindingFact, ...]:
    begins, ends = started[first], started[second]
    return tuple(
        FindingFact(row.session, row.started_at.astimezone(info.zone).date(), row.item, row.value, row.unit, row.note)
        for row in rows
        # How long a visit took says nothing of a movement.
        if begins <= row.started_at <= ends and row.item.strip().lower() != queries.CREW_HOURS
    )
