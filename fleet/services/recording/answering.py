"""Whether the bore followed the moves: looked at as soon as the pass after them is read."""

from __future__ import annotations

from fleet.intake.layout import MOVE_PLACES
from fleet.reports.check_words import CheckFacts
from fleet.services.checks import Answer, unanswered_facts
from fleet.services.recording.known import Known
from fleet.services.recording.moving import done_after
from fleet.services.recording.passes import PassRead
from fleet.services.recording.typed import Typed
from fleet.values import AXES


def not_answering(before: PassRead, after: PassRead, typed: Typed, known: Known) -> tuple[CheckFacts, ...]:
    """Return the supports that were moved between two passes and whose bore did not follow.

    Parameters
    ----------
    before, after : neighbouring passes
    typed : for what was done between them
    """
    done, problems = done_after(typed, before.number, known)
    if before.unsaved is None or after.unsaved is None or problems:
        return ()
    if any(each.place in MOVE_PLACES and each.um for each in done):
        # A move at the gearbox or the flange carries every station along by an amount nobody can tell apart.
        return ()
    ids = {support.code: support.id for support in known.supports}
    facts: list[CheckFacts] = []
    for index, axis in enumerate(AXES):
        moved = {ids[each.place]: each.um for each in done if each.axis == axis and each.place in ids}
        answers = []
        for k, station in enumerate(after.unsaved.stations):
            at = before.unsaved.place(station.code)
            if at is None:
                continue
            one, two = before.unsaved, after.unsaved
            answers.append(
                Answer(
                    station=station,
                    went_um=float(two.cold_um[k, index] - one.cold_um[at, index]),
                    var_um2=float(two.axis_covariance(index)[k, k] + one.axis_covariance(index)[at, at]),
                    shared_um2=float((two.setup_um2[k, index] * one.setup_um2[at, index]) ** 0.5),
                )
            )
        facts += unanswered_facts(axis, moved, known.supports, answers)
    return tuple(facts)
