"""The shape of a line: its slope and bow, what moved between two surveys, and the moves that would put it right."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

import numpy as np

from fleet.profile import (
    Plan,
    Response,
    Round,
    SupportToMove,
    fit_line,
    learn_response,
    plan_moves,
    split_movement,
    straightness,
)
from fleet.services.expectation import COMMON_SHARE
from fleet.services.line_evidence import (
    MovedPart,
    MovementView,
    MoveRow,
    MovesView,
    PredictedRow,
    ShapeRow,
    Slope,
)
from fleet.services.line_surveys import SurveyArrays, movement
from fleet.services.plant import LineInfo, StationInfo, SupportInfo
from fleet.services.series import FleetSeries, bands_in_force
from fleet.store import queries
from fleet.values import AXES, NORMAL_95, FloatArray

Targets = Mapping[str, Sequence[tuple[datetime, float, float]]]
"""Cold targets by station code, oldest first: when decided, v, h. [um]"""
Answers = tuple[Response | None, Response | None]
"""How a line answered its past moves, on v and on h; None where no past round tells."""
_MOVE_U_UM: Final = 10.0


@dataclass(frozen=True, slots=True)
class Today:
    """Where the stations of one bore are expected or measured today, and their targets: arrays (n, 2) in v, h [um].

    `covariance_um2` of v and of h is given where they were measured just now.
    """

    stations: tuple[StationInfo, ...]
    distance_mm: FloatArray
    position_um: FloatArray
    u_um: FloatArray
    target_um: FloatArray
    covariance_um2: tuple[FloatArray, FloatArray] | None = None

    def covariance(self, axis: int) -> FloatArray:
        """Return the covariance of one axis: as measured, else stations of a line err by half together."""
        if self.covariance_um2 is not None:
            return self.covariance_um2[axis]
        u = self.u_um[:, axis]
        return COMMON_SHARE * np.outer(u, u) + np.diag((1.0 - COMMON_SHARE) * u**2)


def shapes(
    record: queries.Record,
    fleet: FleetSeries,
    line: LineInfo,
    today: Today | None,
    surveys: tuple[SurveyArrays | None, SurveyArrays | None],
    targets: Targets,
) -> tuple[ShapeRow, ...]:
    """Return slope and bow of the deviations, vertical then horizontal; nothing without two stations to lay it through.

    Parameters
    ----------
    surveys : the two that are compared; each is judged against the targets of its day
    """
    day = {line.id: fleet.as_of[fleet.line_index[line.id]]}
    slope_bands, bow_bands = (bands_in_force(queries.tolerances(record, measure), day) for measure in ("slope", "bow"))
    rows = []
    for index, axis in enumerate(AXES):
        fitted = [None if survey is None else _slope(survey, targets, index) for survey in surveys]
        now, bow, u_bow, where = None, None, None, None
        if today is not None and np.ptp(today.distance_mm) > 0.0:
            fit = fit_line(
                today.distance_mm, today.position_um[:, index] - today.target_um[:, index], today.covariance(index)
            )
            now = Slope(fit.slope_um_per_m, NORMAL_95 * fit.u_slope_um_per_m)
            if fit.bow_station is not None and fit.bow_um is not None and fit.u_bow_um is not None:
                bow, u_bow = fit.bow_um, NORMAL_95 * fit.u_bow_um
                where = today.stations[fit.bow_station].code
        if now is None and fitted == [None, None]:
            continue
        slope_band = slope_bands.get((line.id, None, axis))
        bow_band = bow_bands.get((line.id, None, axis))
        rows.append(
            ShapeRow(
                axis=axis,
                first=fitted[0],
                second=fitted[1],
                today=now,
                slope_watch_um_per_m=slope_band.watch_um if slope_band else None,
                slope_limit_um_per_m=slope_band.limit_um if slope_band else None,
                bow_um=bow,
                u95_bow_um=u_bow,
                bow_station=where,
                bow_watch_um=bow_band.watch_um if bow_band else None,
                bow_limit_um=bow_band.limit_um if bow_band else None,
                straight_um=(_straight_um(surveys[0], index), _straight_um(surveys[1], index)),
            )
        )
    return tuple(rows)


def _slope(survey: SurveyArrays, targets: Targets, axis: int) -> Slope | None:
    if len(survey.stations) < 2 or np.ptp(survey.distance_mm) == 0.0:
        return None
    offset_um, covariance, _ = survey.at(survey.stations, axis)
    target = np.array([_target_on(targets.get(code, ()), survey.measured_at, axis) for code in survey.stations])
    fit = fit_line(survey.distance_mm, offset_um - target, covariance)
    return Slope(fit.slope_um_per_m, NORMAL_95 * fit.u_slope_um_per_m)


def _straight_um(survey: SurveyArrays | None, axis: int) -> float | None:
    if survey is None or np.unique(survey.distance_mm).size < 3:
        return None
    return straightness(survey.distance_mm, survey.cold_um[:, axis]).minimum_zone_um


def _target_on(recorded: Sequence[tuple[datetime, float, float]], moment: datetime, axis: int) -> float:
    known = [(v_um, h_um) for when, v_um, h_um in recorded if when <= moment]
    return known[-1][axis] if known else 0.0


def movements(
    first: SurveyArrays | None, second: SurveyArrays | None, supports: Sequence[SupportInfo], zone: Any
) -> tuple[MovementView, ...]:
    """Return what moved from one survey to the other, vertical then horizontal; () without two stations in common."""
    if first is None or second is None:
        return ()
    stations = tuple(code for code in first.stations if code in second.stations)
    if len(stations) < 2:
        return ()
    distance_mm = np.array([first.distance_mm[first.stations.index(code)] for code in stations], dtype=np.float64)
    if np.ptp(distance_mm) == 0.0:
        return ()
    views = []
    for index, axis in enumerate(AXES):
        moved_um, covariance = movement(first, second, stations, index)
        split = split_movement(
            distance_mm,
            moved_um,
            covariance,
            support_distance_mm=np.array([s.distance_mm for s in supports], dtype=np.float64),
            support_codes=tuple(s.code for s in supports),
        )
        views.append(
            MovementView(
                axis=axis,
                first=first.key,
                second=second.key,
                first_on=first.measured_at.astimezone(zone),
                second_on=second.measured_at.astimezone(zone),
                stations=stations,
                distance_mm=tuple(distance_mm.tolist()),
                moved_um=tuple(moved_um.tolist()),
                u95_moved_um=tuple((NORMAL_95 * np.sqrt(np.diagonal(covariance))).tolist()),
                parts=tuple(
                    MovedPart(
                        kind=part.kind,
                        amount_um=part.amount,
                        u95_um=NORMAL_95 * part.u_amount,
                        at=part.support if part.station is None else stations[part.station],
                        beyond_measurement=part.beyond_measurement,
                        explains_most=part.kind == split.explains,
                        drawn_um=tuple(part.drawn_um.tolist()),
                    )
                    for part in split.parts
                ),
            )
        )
    return tuple(views)


def moves_to_target(
    today: Today | None,
    supports: Sequence[SupportInfo],
    surveys: Mapping[str, SurveyArrays],
    made: Iterable[Any],
    *,
    on: date,
    good_enough_um: float,
    answers: Answers | None = None,
) -> MovesView | None:
    """Return the moves that would bring today's line to its targets; None where nothing is known or nothing carries.

    Parameters
    ----------
    supports : the rigid ones that stand today
    surveys : the line's surveys by key, for what its supports did in past rounds
    made : rows of `queries.moves_made` of the line, oldest first
    answers : how the line answered on v and on h, where the caller knows it already
    """
    if today is None or not supports or np.ptp(today.distance_mm) == 0.0:
        return None
    made = list(made)
    room = _room(made)
    plans: list[Plan] = []
    rounds_known = 0
    for index, axis in enumerate(AXES):
        response = response_of(today, supports, surveys, made, index) if answers is None else answers[index]
        rounds_known = max(rounds_known, response.rounds if response is not None else 0)
        plans.append(
            plan_moves(
                axis=axis,
                distance_mm=today.distance_mm,
                offset_um=today.position_um[:, index],
                covariance_um2=today.covariance(index),
                target_um=today.target_um[:, index],
                supports=[
                    SupportToMove(
                        code=s.code,
                        distance_mm=s.distance_mm,
                        # Not recorded means nobody said that it is fixed.
                        adjusts=(s.adjusts_v if axis == "v" else s.adjusts_h) is not False,
                        step_um=s.v_step_um if axis == "v" else None,
                        room_up_um=room.get(s.id, (None, None))[0] if axis == "v" else None,
                        room_down_um=room.get(s.id, (None, None))[1] if axis == "v" else None,
                    )
                    for s in supports
                ],
                response=response,
            )
        )
    rows = [
        MoveRow(move.support, move.axis, move.move_um, NORMAL_95 * move.u_move_um, move.wanted_um, move.held_by)
        for plan in plans
        for move in plan.moves
    ]
    order = {s.code: k for k, s in enumerate(supports)}
    rows.sort(key=lambda row: (order[row.support], row.axis != "v"))
    v, h = plans
    return MovesView(
        on=on,
        way=(v.way, h.way),
        why=(v.why, h.why),
        rounds=rounds_known,
        moves=tuple(rows),
        left_alone=tuple((code, axis) for plan, axis in zip(plans, AXES, strict=True) for code in plan.left_alone),
        flange_um=(v.flange_um, h.flange_um),
        u95_flange_um=(NORMAL_95 * v.u_flange_um, NORMAL_95 * h.u_flange_um),
        predicted=tuple(
            PredictedRow(
                station=station.code,
                offset_um=(float(v.predicted_um[k]), float(h.predicted_um[k])),
                u95_um=(NORMAL_95 * float(v.u_predicted_um[k]), NORMAL_95 * float(h.u_predicted_um[k])),
                deviation_um=(float(v.deviation_um[k]), float(h.deviation_um[k])),
            )
            for k, station in enumerate(today.stations)
        ),
        good_enough_um=good_enough_um,
    )


def response_of(
    today: Today, supports: Sequence[SupportInfo], surveys: Mapping[str, SurveyArrays], made: Sequence[Any], axis: int
) -> Response | None:
    """Return how the line answered its past moves on one axis; None where no past round tells.

    Parameters
    ----------
    today : for the stations that are asked about
    supports : the rigid ones, in the order of the answer's columns
    surveys : the line's surveys by key
    made : rows of `queries.moves_made` of the line, oldest first
    """
    rounds = _rounds(today, supports, surveys, made, axis)
    if not rounds:
        return None
    return learn_response(rounds, today.distance_mm, np.array([s.distance_mm for s in supports], dtype=np.float64))


def _room(made: Sequence[Any]) -> dict[int, tuple[float | None, float | None]]:
    """Return the room up and down last recorded at every support, less nothing: it is read after the move."""
    return {
        row.support_id: (row.room_up_um, row.room_down_um)
        for row in made
        if row.support_id is not None and not (row.room_up_um is None and row.room_down_um is None)
    }


def _rounds(
    today: Today, supports: Sequence[SupportInfo], surveys: Mapping[str, SurveyArrays], made: Sequence[Any], axis: int
) -> list[Round]:
    """Return the past rounds that tell how the line answers: known moves, surveyed before and after."""
    by_round: dict[tuple[int, int], list[Any]] = defaultdict(list)
    for row in made:
        by_round[row.session_id, row.after or 0].append(row)
    codes = tuple(station.code for station in today.stations)
    place = {support.id: k for k, support in enumerate(supports)}
    of_session: dict[str, list[SurveyArrays]] = defaultdict(list)
    for survey in surveys.values():
        of_session[survey.session].append(survey)
    result = []
    for (_, after), rows in sorted(by_round.items()):
        own = sorted(of_session[rows[0].session], key=lambda survey: survey.number)
        before = next((s for s in own if s.number == after), None)
        later = next((s for s in own if s.number > after), None)
        moved = np.zeros(len(supports))
        sound = before is not None and later is not None
        for row in rows:
            um = row.v_um if axis == 0 else row.h_um
            if row.support_id in place and um is not None:
                moved[place[row.support_id]] = um
            elif um is None or um:
                sound = False
        if not sound or before is None or later is None or not moved.any():
            continue
        if not (set(codes) <= set(before.stations) and set(codes) <= set(later.stations)):
            continue
        _, covariance = movement(before, later, codes, axis)
        result.append(
            Round(
                moves_um=moved,
                u_moves_um=np.where(moved != 0.0, _MOVE_U_UM, 0.0),
                before_um=before.at(codes, axis)[0],
                after_um=later.at(codes, axis)[0],
                covariance_um2=covariance,
            )
        )
    return result
