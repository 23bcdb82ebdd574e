"""The moves after a pass: what would bring the line to its figures, what was done, and what to expect then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.errors import InputError
from fleet.intake.layout import MOVE_PLACES, SHEET
from fleet.profile import learn_response
from fleet.services.line_evidence import MoveRow, MovesView
from fleet.services.line_shape import Today, moves_to_target
from fleet.services.plant import StationInfo
from fleet.services.recording.fields import move_field
from fleet.services.recording.known import Known
from fleet.services.recording.passes import NOTHING, Aim, Foreseen, PassRead, rounds_wanted
from fleet.services.recording.typed import Typed, plain_number
from fleet.services.recording.view import AfterMove, MaybePair, MoveCard, MoveSide, Pair, RoundView
from fleet.values import AXES, NORMAL_95, Axis, FloatArray

WAYS: Final[Mapping[Axis, tuple[str, str]]] = {"v": ("higher", "lower"), "h": ("right", "left")}
"""Which way something was moved: + first."""
_AMOUNT: Final = SHEET["moves"].by_name["v"]


@dataclass(frozen=True, slots=True)
class Done:
    """What was done at one place on one axis: signed text and length [um], + higher or right; how."""

    place: str
    axis: Axis
    text: str
    um: float
    how: str


def done_after(typed: Typed, number: int, known: Known) -> tuple[tuple[Done, ...], tuple[str, ...]]:
    """Return the moves typed after a pass, and sentences about those that cannot be read."""
    done, problems = [], []
    for place in (*(s.code for s in known.supports), *MOVE_PLACES):
        for axis in AXES:
            amount = typed.text(move_field(number, place, axis, "amount"))
            if not amount:
                continue
            what = f"The move at {place} after pass {number}, {'vertical' if axis == 'v' else 'horizontal'}"
            way = typed.text(move_field(number, place, axis, "way"))
            try:
                written = plain_number(amount)
                um = typed.length_um(move_field(number, place, axis, "amount"), _AMOUNT) or 0.0
            except InputError as refused:
                problems.append(f"{what}: {refused}.")
                continue
            if um == 0.0:
                done.append(Done(place, axis, written.lstrip("+-"), 0.0, _how(typed, number, place, axis)))
            elif um < 0.0 or written.startswith("+"):
                problems.append(f"{what}: write the amount without a sign and choose which way it went.")
            elif way not in WAYS[axis]:
                problems.append(f"{what}: choose {' or '.join(WAYS[axis])}.")
            else:
                sign = "" if way == WAYS[axis][0] else "-"
                value = um if not sign else -um
                done.append(Done(place, axis, sign + written, value, _how(typed, number, place, axis)))
    if done and typed.text(f"m{number}.nothing") == "yes":
        problems.append(
            f"After pass {number} it says that nothing was moved, and a move is typed; take one of them away."
        )
    return tuple(done), tuple(problems)


def _how(typed: Typed, number: int, place: str, axis: Axis) -> str:
    return typed.text(move_field(number, place, axis, "how"))


def measured_now(read: PassRead, aims: Mapping[str, Aim]) -> Today | None:
    """Return where the first bore's stations were just measured, with the figures to set; None without any."""
    unsaved = read.unsaved
    if unsaved is None:
        return None
    pick, targets = [], []
    for k, station in enumerate(unsaved.stations):
        aim = aims.get(station.code)
        if station.bore == 1 and aim is not None and None not in aim.set_to_um:
            pick.append(k)
            targets.append(aim.set_to_um)
    if not pick:
        return None
    return Today(
        stations=tuple(unsaved.stations[k] for k in pick),
        distance_mm=np.array([unsaved.stations[k].distance_mm for k in pick], dtype=np.float64),
        position_um=unsaved.cold_um[pick],
        u_um=np.sqrt(np.maximum(np.diagonal(unsaved.covariance_um2), 0.0)).reshape(-1, 2)[pick],
        target_um=np.array(targets, dtype=np.float64),
        covariance_um2=(
            unsaved.axis_covariance(0)[np.ix_(pick, pick)],
            unsaved.axis_covariance(1)[np.ix_(pick, pick)],
        ),
    )


def round_view(
    read: PassRead, typed: Typed, known: Known, aims: Mapping[str, Aim], *, waits_for: tuple[str, ...]
) -> RoundView:
    """Return the moves after a pass as the screen shows them.

    Parameters
    ----------
    read : the pass
    aims : what every station is set to
    waits_for : keys of what was noticed in it and is not settled
    """
    done, problems = done_after(typed, read.number, known)
    now = measured_now(read, aims)
    plan = None
    if now is not None:
        plan = moves_to_target(
            now,
            known.rigid,
            known.surveys,
            known.made,
            on=known.day,
            good_enough_um=known.sheet.good_enough_um or 0.0,
            answers=known.answers(now),
        )
    expect, source = expected_after(now, plan, done, known)
    cards = [
        _card(support.code, False, support.distance_mm, read.number, typed, now, plan, done, aims)
        for support in known.supports
    ]
    cards += [_card(place, True, None, read.number, typed, now, plan, done, aims) for place in MOVE_PLACES]
    return RoundView(
        after=read.number,
        open=read.number <= max(rounds_wanted(typed) - 1, 1),
        nothing=typed.field(f"m{read.number}.nothing", choices=("yes", "no")),
        moved=any(each.um for each in done),
        cards=tuple(cards),
        way=plan.way if plan else None,
        why=plan.why if plan else None,
        rounds_known=plan.rounds if plan else 0,
        flange_um=plan.flange_um if plan else None,
        u95_flange_um=plan.u95_flange_um if plan else None,
        expect=expect,
        expect_from=source,
        good_enough_um=known.sheet.good_enough_um,
        problems=problems,
        waits_for=waits_for,
    )


def expected_after(
    now: Today | None, plan: MovesView | None, done: Sequence[Done], known: Known
) -> tuple[tuple[AfterMove, ...], Literal["proposed", "done"] | None]:
    """Return where to expect the stations after the moves done, else after those proposed; [] where nothing tells."""
    if now is None:
        return (), None
    set_to: dict[str, MaybePair] = {
        station.code: (float(now.target_um[k, 0]), float(now.target_um[k, 1])) for k, station in enumerate(now.stations)
    }
    if done:
        got = _after_done(now, done, known)
        return tuple(AfterMove(code, um, u95, set_to[code]) for code, um, u95 in got), "done" if got else None
    if plan is None:
        return (), None
    rows = (AfterMove(row.station, row.offset_um, row.u95_um, set_to[row.station]) for row in plan.predicted)
    return tuple(rows), "proposed"


def _after_done(now: Today, done: Sequence[Done], known: Known) -> list[tuple[str, Pair, Pair]]:
    if any(each.place in MOVE_PLACES and each.um for each in done):
        # A move at the gearbox or the flange carries every station along by an amount nobody can tell beforehand.
        return []
    support_mm = np.array([s.distance_mm for s in known.rigid], dtype=np.float64)
    value, u = np.empty(now.position_um.shape), np.empty(now.position_um.shape)
    answers = known.answers(now)
    for index, axis in enumerate(AXES):
        moved = np.zeros(len(known.rigid))
        for each in done:
            place = next((k for k, s in enumerate(known.rigid) if s.code == each.place), None)
            if each.axis == axis and place is not None:
                moved[place] = each.um
        answer = answers[index] or learn_response((), now.distance_mm, support_mm)
        value[:, index] = now.position_um[:, index] + answer.matrix @ moved
        u[:, index] = np.sqrt(np.diagonal(now.covariance(index)) + np.diagonal(answer.spread_um2(moved)))
    return [
        (
            station.code,
            (float(value[k, 0]), float(value[k, 1])),
            (NORMAL_95 * float(u[k, 0]), NORMAL_95 * float(u[k, 1])),
        )
        for k, station in enumerate(now.stations)
    ]


def foreseen_after(read: PassRead, typed: Typed, known: Known, stations: Sequence[StationInfo]) -> Foreseen | None:
    """Return what the pass after this one is expected to show: by the moves done, or as it was where nothing moved.

    None where nobody said what was done.
    """
    done, _ = done_after(typed, read.number, known)
    nothing = typed.text(f"m{read.number}.nothing") == "yes"
    now = _without_aims(read)
    if now is None or not (done or nothing):
        return None
    got = _after_done(now, done, known)
    codes = {station.code for station in stations}
    offset: dict[str, MaybePair] = {code: um for code, um, _ in got if code in codes}
    u95: dict[str, MaybePair] = {code: u for code, _, u in got if code in codes}
    # Both passes share the session's set-up error, which falls out of their difference.
    shared = np.zeros((len(now.stations), 2))
    if read.unsaved is not None:
        for k, station in enumerate(now.stations):
            at = read.unsaved.place(station.code)
            if at is not None:
                shared[k] = read.unsaved.setup_um2[at]
    own: dict[str, MaybePair] = {}
    for k, (code, _, u) in enumerate(got):
        variances: FloatArray = np.maximum((np.array(u) / NORMAL_95) ** 2 - shared[k], 1.0)
        own[code] = (float(np.sqrt(variances[0])), float(np.sqrt(variances[1])))
    return Foreseen(offset, u95, own) if got else None


def _without_aims(read: PassRead) -> Today | None:
    unsaved = read.unsaved
    if unsaved is None:
        return None
    free = {station.code: Aim(NOTHING, NOTHING, (0.0, 0.0)) for station in unsaved.stations}
    return measured_now(read, free)


def _card(
    code: str,
    place: bool,
    distance_mm: float | None,
    number: int,
    typed: Typed,
    now: Today | None,
    plan: MovesView | None,
    done: Sequence[Done],
    aims: Mapping[str, Aim],
) -> MoveCard:
    sides = {}
    for index, axis in enumerate(AXES):
        row = None if plan is None else next((m for m in plan.moves if (m.support, m.axis) == (code, axis)), None)
        made = next((each.um for each in done if (each.place, each.axis) == (code, axis)), None)
        at = None if distance_mm is None or now is None else _at(distance_mm, now, plan, index, aims)
        sides[axis] = _side(axis, code, number, typed, row, made, at)
    return MoveCard(code, place, distance_mm, sides["v"], sides["h"])


def _at(
    distance_mm: float, now: Today, plan: MovesView | None, axis: int, aims: Mapping[str, Aim]
) -> tuple[float, float | None, float, float | None, float]:
    """Return at a support: offset now and after the proposal, figure to set, target, what is against the drift [um]."""
    order = np.argsort(now.distance_mm, kind="stable")
    mm = now.distance_mm[order]

    def interpolated(values: FloatArray) -> float:
        return float(np.interp(distance_mm, mm, values[order]))

    after = None if plan is None else interpolated(np.array([row.offset_um[axis] for row in plan.predicted]))
    drift = np.array([aims[s.code].against_drift_um[axis] or 0.0 for s in now.stations])
    set_to = interpolated(now.target_um[:, axis])
    against = interpolated(drift)
    return interpolated(now.position_um[:, axis]), after, set_to, set_to - against, against


def _side(
    axis: Axis,
    code: str,
    number: int,
    typed: Typed,
    row: MoveRow | None,
    made: float | None,
    at: tuple[float, float | None, float, float | None, float] | None,
) -> MoveSide:
    from_um, to_um, set_to_um, target_um, against_um = at or (None, None, None, None, None)
    return MoveSide(
        axis=axis,
        propose_um=None if row is None else row.move_um,
        u95_um=None if row is None else row.u95_um,
        held_by=None if row is None else row.held_by,
        from_um=from_um,
        to_um=None if row is None else to_um,
        target_um=target_um,
        against_drift_um=against_um,
        set_to_um=set_to_um,
        amount=typed.field(move_field(number, code, axis, "amount"), _AMOUNT),
        way=typed.field(move_field(number, code, axis, "way"), choices=WAYS[axis]),
        how=typed.field(move_field(number, code, axis, "how")),
        done_um=made,
    )
