"""Changes of a line's drift that nobody recorded: proposed with their evidence, accepted or refused by a person.

A proposal is worked out from the facts at any time and never applied. Accepting one records an event of the line that
begins its trend anew, which everything downstream then sees like any other event; refusing one keeps the reason.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final, Literal

import numpy as np

from fleet import words
from fleet.errors import InputError, NotFoundError
from fleet.services.kept import Kept
from fleet.services.plant import LineInfo
from fleet.services.reduction import reduce_if_needed
from fleet.services.refresh import bring_up_to_date
from fleet.services.regime_words import Rate, RateUnit, counted, sentence
from fleet.services.series import FleetSeries, current_series
from fleet.store import queries
from fleet.store.deciding import DRIFT_CHANGED, Decided, accept_change, refuse_change
from fleet.store.engine import Store
from fleet.store.versions import data_version
from fleet.trend import GROWN_CLEARLY, Change, rate_changes
from fleet.values import AXES, NORMAL_95, Axis, IntArray

_JUST_AFTER: Final = timedelta(minutes=1)
_LONGEST_WHY: Final = 2_000
_CHANGES: Kept[list[Change]] = Kept()
_UNWRITABLE: Final = ("Cc", "Cs")
"""Control characters and halves of characters; joiners and marks of direction belong to what people write."""


@dataclass(frozen=True, slots=True)
class RegimeRow:
    """A change of drift, proposed or decided.

    `handle` names it; `from_session` is the visit from which on the rate is another, which lies between those of
    `earliest_on` and `latest_on` with 90 % probability; `station` shows it most; `before` and `after` are its rates;
    `evidence` is the natural log of the Bayes factor of a change against none. The decision is None where nobody
    decided yet; a refused change that is proposed again, because its evidence has grown, carries its refusal. A change
    that was decided and is proposed no longer has no rates but in its `text`.
    """

    handle: str
    line: str
    station: str | None
    axis: Axis
    from_session: str
    from_on: date
    earliest_on: date | None
    latest_on: date | None
    before: Rate | None
    after: Rate | None
    rate_unit: RateUnit | None
    intervals_before: int | None
    intervals_after: int | None
    evidence: float
    text: str
    decision: Literal["accepted", "refused"] | None
    decided_by: str | None
    decided_at: datetime | None
    why: str | None


@dataclass(frozen=True, slots=True)
class _Offered:
    """A proposal with what deciding on it needs."""

    row: RegimeRow
    line_id: int
    station_id: int
    session_id: int
    happened_at: datetime


@dataclass(frozen=True, slots=True)
class _Seen:
    version: int
    fleet: FleetSeries
    offered: list[_Offered]
    decided: Sequence[Any]


def proposals(store: Store, *, line: str | None = None, now: datetime | None = None) -> list[RegimeRow]:
    """Return the changes of drift that wait for a person's judgement, most evident first.

    A refused one is left out until its evidence has clearly grown (three times the odds), which later visits may bring.

    Parameters
    ----------
    store : the record
    line : its code; None: all lines
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    seen = _look(store, now)
    code = None if line is None else seen.fleet.plant.line(line).code
    return [offered.row for offered in seen.offered if code in (None, offered.row.line)]


def of_line(record: queries.Record, fleet: FleetSeries, line: LineInfo) -> tuple[RegimeRow, ...]:
    """Return what waits for a person's judgement on one line, in a reading of the record that is already open."""
    seen = _seen(record, fleet)
    return tuple(offered.row for offered in seen.offered if offered.line_id == line.id)


def decisions(store: Store, *, line: str | None = None, now: datetime | None = None) -> list[RegimeRow]:
    """Return what people decided so far, oldest first; parameters and errors as in `proposals`."""
    seen = _look(store, now)
    code = None if line is None else seen.fleet.plant.line(line).code
    return [_decided_row(seen.fleet, row) for row in seen.decided if code in (None, row.line)]


def accept(store: Store, handle: str, by: str, why: str, *, now: datetime | None = None) -> str:
    """Record that the drift changed: an event of the line, just after the visit, from which its trend begins anew.

    Parameters
    ----------
    store : the record
    handle : of the proposal, as `proposals` names it
    by : who decides
    why : what was done or happened then; it becomes the event's note
    now : the present moment, for tests

    Returns
    -------
    what was done, in a sentence

    Raises
    ------
    NotFoundError
        There is no such proposal.
    InputError
        No reason is given, or the proposal was decided already.
    StoreError
        The facts changed meanwhile; nothing was kept.
    """
    reason = _reason(why)
    seen = _look(store, now)
    offered = _named(seen, handle)
    with store.write() as transaction:
        accept_change(
            transaction,
            _decision(offered, by, reason, now),
            happened_at=offered.happened_at,
            seen_version=seen.version,
        )
    bring_up_to_date(store, now=now)
    row = offered.row
    return (
        f"Accepted: the event '{DRIFT_CHANGED}' of {row.line} on {words.day(row.from_on)} is recorded, and its trend "
        f"begins anew there with the {counted(row.intervals_after or 0)} since."
    )


def refuse(store: Store, handle: str, by: str, why: str, *, now: datetime | None = None) -> str:
    """Keep that nothing changed, with the reason; parameters, returns and errors as in `accept`."""
    reason = _reason(why)
    offered = _named(_look(store, now), handle)
    with store.write() as transaction:
        refuse_change(transaction, _decision(offered, by, reason, now))
    return (
        f"Refused: {handle} is not proposed again unless later visits make it three times likelier than now. "
        "Nothing else was changed."
    )


def _reason(why: str) -> str:
    reason = why.strip()
    if not reason:
        raise InputError("A decision needs its reason for those who come after; say it with --why TEXT.")
    if len(reason) > _LONGEST_WHY:
        raise InputError(f"The reason has {len(reason)} characters; say it in {_LONGEST_WHY} or fewer.")
    if any(unicodedata.category(character) in _UNWRITABLE for character in reason):
        raise InputError("The reason holds a line break or a character that cannot be written; say it in one line.")
    return reason


def _decision(offered: _Offered, by: str, why: str, now: datetime | None) -> Decided:
    row = offered.row
    return Decided(
        line_id=offered.line_id,
        station_id=offered.station_id,
        axis=row.axis,
        after_session_id=offered.session_id,
        evidence=row.evidence,
        said=row.text,
        handle=row.handle,
        who=by,
        at=now or datetime.now(UTC),
        why=why,
    )


def _named(seen: _Seen, handle: str) -> _Offered:
    for offered in seen.offered:
        if offered.row.handle == handle:
            return offered
    for row in reversed(seen.decided):
        if _handle(row.line, row.axis, row.after_session) == handle:
            on = words.day(row.decided_at.astimezone(seen.fleet.plant.line(row.line).zone))
            rest = (
                "; what became known since is recorded as an event with resets_trend yes"
                if row.decision == "refused"
                else ""
            )
            raise InputError(f"{handle} was {row.decision} on {on} by {row.decided_by} ({row.why}) and stays so{rest}.")
    raise NotFoundError(f"There is no proposal '{handle}'; `asleft regime list` names those there are.")


def _handle(line: str, axis: str, session: str) -> str:
    return f"{line}:{axis}:{session}"


def _look(store: Store, now: datetime | None) -> _Seen:
    reduce_if_needed(store)
    with store.read() as record:
        return _seen(record, current_series(record, now=now))


def _seen(record: queries.Record, fleet: FleetSeries) -> _Seen:
    version, decided = data_version(record), queries.decisions(record)
    regime_now = fleet.resets.count(fleet.series.axis.size)
    changes = _CHANGES.of(
        record,
        fleet.as_of,
        lambda: rate_changes(
            fleet.assembled.visits, fleet.intervals, fleet.series, fleet.pooled, regime_now=regime_now
        ),
    )
    offered: list[_Offered] = []
    taken: set[tuple[int, str]] = set()
    for change in changes:
        # The second bore of a line shares its events: the more evident of the two speaks for both.
        line_index = int(fleet.of_line[change.members[0]])
        line_id, axis = fleet.plant.lines[line_index].id, AXES[change.axis]
        if (line_id, axis) in taken:
            continue
        taken.add((line_id, axis))
        begun = _regime_began(fleet, change, regime_now)
        refused = [
            row
            for row in decided
            if (row.line_id, row.axis, row.decision) == (line_id, axis, "refused") and row.started_at >= begun
        ]
        if not refused or change.evidence >= max(row.evidence for row in refused) + GROWN_CLEARLY:
            offered.append(_offer(fleet, change, refused[-1] if refused else None))
    return _Seen(version, fleet, offered, decided)


def _regime_began(fleet: FleetSeries, change: Change, regime_now: IntArray) -> datetime:
    """Return when the first visit was of the regime in which the change lies."""
    found = fleet.intervals
    own = np.isin(found.series, change.members) & (found.regime == regime_now[found.series]) & ~found.across_event
    sessions = fleet.assembled.session[found.from_visit[own]]
    return min(fleet.sessions[int(session)].started_at for session in sessions)


def _offer(fleet: FleetSeries, change: Change, refused: Any | None) -> _Offered:
    at = change.shows_most
    series = int(change.members[at])
    line_index = int(fleet.of_line[series])
    line, clock = fleet.plant.lines[line_index], fleet.clocks[line_index]
    station, axis = fleet.stations[fleet.of_station[series]], AXES[change.axis]
    session = fleet.sessions[int(fleet.assembled.session[change.from_visit])]
    # A metered line's clock is in years of its mean use.
    scale = 1000.0 / clock.mean_hours_per_year if clock.metered else 1.0
    unit: RateUnit = "um_per_1000_h" if clock.metered else "um_per_year"

    def rate(value_um: float, u_um: float) -> Rate:
        return Rate(scale * value_um, scale * (value_um - NORMAL_95 * u_um), scale * (value_um + NORMAL_95 * u_um))

    def day(visit: int) -> date:
        return fleet.sessions[int(fleet.assembled.session[visit])].started_at.astimezone(line.zone).date()

    before = rate(float(change.before_um[at]), float(change.before_u_um[at]))
    after = rate(float(change.after_um[at]), float(change.after_u_um[at]))
    from_on, earliest_on, latest_on = (
        day(visit) for visit in (change.from_visit, change.earliest_visit, change.latest_visit)
    )
    text = sentence(
        line=line.code, station=station.code, axis=axis, from_on=from_on, earliest_on=earliest_on,
        latest_on=latest_on, before=before, after=after, rate_unit=unit, intervals_before=change.n_before,
        intervals_after=change.n_after, evidence=change.evidence,
    )  # fmt: skip
    row = RegimeRow(
        handle=_handle(line.code, axis, session.code),
        line=line.code,
        station=station.code,
        axis=axis,
        from_session=session.code,
        from_on=from_on,
        earliest_on=earliest_on,
        latest_on=latest_on,
        before=before,
        after=after,
        rate_unit=unit,
        intervals_before=change.n_before,
        intervals_after=change.n_after,
        evidence=change.evidence,
        text=text,
        decision=None if refused is None else "refused",
        decided_by=None if refused is None else refused.decided_by,
        decided_at=None if refused is None else refused.decided_at.astimezone(line.zone),
        why=None if refused is None else refused.why,
    )
    moment = (session.started_at + _JUST_AFTER).replace(microsecond=0)
    # Between that visit's as-found and its as-left; at its very beginning where the day ends before.
    same_day = moment.astimezone(line.zone).date() == from_on
    return _Offered(row, line.id, station.id, session.id, moment if same_day else session.started_at)


def _decided_row(fleet: FleetSeries, row: Any) -> RegimeRow:
    zone = fleet.plant.line(row.line).zone
    return RegimeRow(
        handle=_handle(row.line, row.axis, row.after_session),
        line=row.line,
        station=row.station,
        axis=row.axis,
        from_session=row.after_session,
        from_on=row.started_at.astimezone(zone).date(),
        earliest_on=None,
        latest_on=None,
        before=None,
        after=None,
        rate_unit=None,
        intervals_before=None,
        intervals_after=None,
        evidence=row.evidence,
        text=row.said,
        decision=row.decision,
        decided_by=row.decided_by,
        decided_at=row.decided_at.astimezone(zone),
        why=row.why,
    )
