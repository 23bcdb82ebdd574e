"""A plan as content: which line goes into which outage, why, what it risks; page, paper, table and calendar show it.

Chances are of |deviation| having passed the limit since the newest cold survey, at the line's worst station and axis.
Days over are expected ones, from as-of to the plan's end. Nothing here is permission to work on a machine.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Final, Literal

from fleet.values import Axis, Status

Pin = Literal["into", "out"]
"""A person holds a line in an outage, or keeps it out of one or more."""
HoursFrom = Literal["recorded", "own_record", "fleet_record", "assumed"]
"""Where a visit's hours come from: typed for the line; median of its own visits; of all lines; 8 h assumed."""
PlanState = Literal["saved", "signed_off"]
_HOUR: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Stop:
    """An outage that is considered; times in the zone of its site.

    Parameters
    ----------
    code, kind : of the outage
    site, line : the site it is at and the one line it serves, None where it serves all
    starts_at, ends_at : aware; the end None where none is recorded
    whole_days : it begins and ends at midnight at its site, so that it is whole days and no hours
    crew_hours, crews : None where none are recorded (hours not limited, one crew)
    screw_out : its kind has the screw out anyway
    hours_used : crew hours the plan takes of it
    visits : how many lines the plan takes into it
    notes : what is odd about it, a sentence each
    """

    code: str
    kind: str | None
    site: str | None
    line: str | None
    starts_at: datetime
    ends_at: datetime | None
    whole_days: bool
    crew_hours: float | None
    crews: float | None
    screw_out: bool
    hours_used: float
    visits: int
    notes: tuple[str, ...] = ()

    @property
    def hours(self) -> float | None:
        """Hours by the clock between start and end."""
        return None if self.ends_at is None else hours_between(self.starts_at, self.ends_at)


@dataclass(frozen=True, slots=True)
class AsideStop:
    """An outage that is recorded and not planned into, and why, as a sentence."""

    code: str
    kind: str | None
    site: str | None
    line: str | None
    starts_at: datetime
    ends_at: datetime | None
    whole_days: bool
    crew_hours: float | None
    crews: float | None
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One line and one outage.

    Parameters
    ----------
    chance_before : chance of being over before the outage starts if nobody touches the line, None without a forecast
    closed : "open", or the first reason why not (of `fleet.planning.CLOSED`)
    window_h : hours from heats off to ready again for a visit there, None where no crew is there to make it
    """

    chance_before: float | None
    closed: str
    window_h: float | None


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One line in a plan.

    Parameters
    ----------
    line, site, description : of the line
    status, station, axis : how it stands and its worst place
    chance_now : chance of being over by as-of
    over_p10, over_p50, over_p90 : days by which the chance reaches 10, 50, 90 %, None beyond the horizon
    weight : what a day over counts
    visit_hours, hours_from : crew hours of a visit, and where they come from
    visit_cost_days : what a visit costs, in weighted days over
    cool_down_h, screw_pull_h, heat_up_h : hours by the clock around a visit, None where not recorded (counted 0)
    choices : one for each of the plan's stops
    chosen : code of its outage, None for no visit
    pin, kept_out : how a person holds it, and the outages it is kept out of
    chance_before : chance of being over before its visit, or before the plan's end without one
    chance_if_skipped : chance of being over before the plan's end without a visit
    days_over, days_if_skipped : expected days over as planned, and without a visit
    saves : weighted days the visit saves, its cost not taken off
    reason : why it is where it is (of `fleet.planning.Reason`)
    rather, hours_missing : outage it would be better off with if there were room, and the crew hours missing there
    unkept : why no choice keeps it under the cap (of `fleet.planning.Unkept`), None where one does
    above_cap : it runs above the cap before its visit though a choice open to it would have kept it
    needs : what the visit needs beside people, a phrase each
    """

    line: str
    site: str | None
    description: str | None
    status: Status
    station: str | None
    axis: Axis | None
    chance_now: float | None
    over_p10: date | None
    over_p50: date | None
    over_p90: date | None
    weight: float
    visit_hours: float
    hours_from: HoursFrom
    visit_cost_days: float
    cool_down_h: float | None
    screw_pull_h: float | None
    heat_up_h: float | None
    choices: tuple[Choice, ...]
    chosen: str | None
    pin: Pin | None
    kept_out: tuple[str, ...]
    chance_before: float | None
    chance_if_skipped: float | None
    days_over: float | None
    days_if_skipped: float | None
    saves: float | None
    reason: str
    rather: str | None
    hours_missing: float
    unkept: str | None
    above_cap: bool
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """A plan as it was kept: who made it when, and who signed it off; names as typed, marked as not verified."""

    code: str
    state: PlanState
    made_by: str
    made_at: datetime
    signed_by: str | None
    signed_at: datetime | None
    note: str | None
    version: int


@dataclass(frozen=True, slots=True)
class PlanContent:
    """A plan of a site or of the whole fleet.

    Parameters
    ----------
    site, site_name : of which site, None for all
    cap, cap_asked : highest chance before a visit; whether it was asked for (else the setting)
    ahead_months : outages that start within so many months are considered; 0: the next two of every site
    as_of, end_on : first and last day that count
    solved_at : when it was worked out, aware, in the zone of the site (UTC where sites differ)
    data_version : of the facts it was worked out from
    stops : outages considered, in time order
    aside : planned outages ahead that are not, and why
    rows : every line: by stop, then the likeliest to be over first; those without a visit last
    days_over, days_if_none : expected days over of all lines as planned, and with no visit but the pinned ones
    weighted_days_over, cost_days : parts of the sum that is made least
    over_cap, over_cap_bound : lines above the cap though a choice would have kept it, and the fewest possible
    bound, gap : least sum possible as far as is proved; share of its sum that the plan could be worse than that
    seconds : time the solver was given
    site_names : of all sites with lines, by code
    lines_in_store, outages_in_store : to tell an empty record from an empty selection
    dropped : pins that name no line or outage of this plan, a sentence each
    older : a sentence where newer records are still being worked on
    kept : how it was kept, None for a plan that is not
    """

    site: str | None
    site_name: str | None
    cap: float
    cap_asked: bool
    ahead_months: int
    as_of: date
    end_on: date
    solved_at: datetime
    data_version: int
    stops: tuple[Stop, ...]
    aside: tuple[AsideStop, ...]
    rows: tuple[PlanRow, ...]
    days_over: float
    days_if_none: float
    weighted_days_over: float
    cost_days: float
    over_cap: int
    over_cap_bound: int
    bound: float
    gap: float
    seconds: float
    site_names: dict[str, str] = field(default_factory=dict)
    lines_in_store: int = 0
    outages_in_store: int = 0
    dropped: tuple[str, ...] = ()
    older: str | None = None
    kept: Kept | None = None

    @property
    def visits(self) -> int:
        """How many lines are visited."""
        return sum(row.chosen is not None for row in self.rows)

    @property
    def pinned(self) -> int:
        """How many lines a person holds in or keeps out of an outage."""
        return sum(row.pin is not None or bool(row.kept_out) for row in self.rows)

    def stop(self, code: str) -> Stop:
        """Return an outage of the plan by its code; KeyError where it is not considered."""
        for stop in self.stops:
            if stop.code == code:
                return stop
        raise KeyError(code)

    def rows_of(self, code: str | None) -> tuple[PlanRow, ...]:
        """Return the lines that go into an outage, or those without a visit."""
        return tuple(row for row in self.rows if row.chosen == code)


def hours_between(start: datetime, end: datetime) -> float:
    """Return hours that pass between two moments; what clocks of one zone show is not enough."""
    return (end.astimezone(UTC) - start.astimezone(UTC)) / timedelta(hours=1)


def after_skipping(plan: PlanContent, row: PlanRow) -> tuple[Stop | None, float | None]:
    """Return what a line risks if its visit is skipped: the next outage that serves it and the chance before that.

    Without a later one that serves it the stop is None and the chance that of the plan's end.
    """
    skipped = row.chosen is None
    for stop, choice in zip(plan.stops, row.choices, strict=True):
        if skipped and row.chosen is not None and choice.closed != "serves_others":
            return stop, choice.chance_before
        skipped = skipped or stop.code == row.chosen
    return None, row.chance_if_skipped
