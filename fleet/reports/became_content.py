"""What became of a plan, and what stated chances were worth; page, table and terminal show it.

A stated chance is that of |deviation| having passed the limit before a stop began, at the line's worst station and
axis; what is found is judged by the limit of the day it was measured, over meaning strictly more. It can only fall
short of what was stated: a line that was over and came back is found within.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.reports.plan_content import PlanState
from fleet.values import Axis

Deed = Literal["as_planned", "left_as_planned", "other_outage", "missed", "extra"]
"""as_planned: visited where it was planned. left_as_planned: not planned, not visited. other_outage: visited in another
outage than planned, or outside any. missed: planned, not visited. extra: visited without having been planned."""


@dataclass(frozen=True, slots=True)
class Found:
    """What the as-found of a visit showed at the line's worst place by share of its limit.

    Parameters
    ----------
    session, on : the visit, and the day it was measured at its site
    station, axis, deviation_um, limit_um : the worst place, its deviation from the cold target, the limit of that day
    over : strictly more than the limit, at any place
    side : the plant's word for the right-hand side of the line
    """

    session: str
    on: date
    station: str
    axis: Axis
    deviation_um: float
    limit_um: float
    over: bool
    side: str | None = None


@dataclass(frozen=True, slots=True)
class Looked:
    """A line that was looked at after a chance had been stated.

    Parameters
    ----------
    plan : code of the plan that stated it
    line, site : of the line
    stop : outage in which it was looked at, for whose start the chance was stated
    stated : chance of being over before that stop began
    found : what the as-found showed
    """

    plan: str
    line: str
    site: str | None
    stop: str
    stated: float
    found: Found


@dataclass(frozen=True, slots=True)
class ScoreBand:
    """The lines whose stated chance lies in one band: above `low` (0 included) up to `high`, that included."""

    low: float
    high: float
    looked_at: int
    expected: float
    found: int


@dataclass(frozen=True, slots=True)
class ScoreContent:
    """What stated chances were worth over the lines that were looked at.

    Parameters
    ----------
    plans : codes of the plans whose chances were judged, oldest first
    expected, found : how many were expected over when looked at, and how many were
    surprise : chance of a number as far from what is expected or farther if every stated chance is right and lines are
        independent; None where nothing was looked at
    brier, brier_of_rate : mean square of stated chance less finding, and that of stating the found share for every
        line; None where nothing was looked at
    bands : by stated chance
    lines : one for each look, the highest stated chance first
    not_judged : lines that were looked at without a chance to judge: none was stated for that stop, or no limit held
    """

    plans: tuple[str, ...]
    expected: float
    found: int
    surprise: float | None
    brier: float | None
    brier_of_rate: float | None
    bands: tuple[ScoreBand, ...]
    lines: tuple[Looked, ...]
    not_judged: int

    @property
    def looked_at(self) -> int:
        """How many lines have both a stated chance and a finding."""
        return len(self.lines)


@dataclass(frozen=True, slots=True)
class BecameLine:
    """What became of one line of a plan.

    Parameters
    ----------
    line, site : of the line
    deed : what became of it; None: its stop is still to come
    planned : outage it was planned into, None for no visit
    session, on : first visit since the plan was made that counts for it, and its day at the site; None: not visited
    done : outage that visit was made in, None for none or outside any
    hours_planned, hours_done : crew hours, None where no visit was planned, or nobody wrote any down
    stated : chance that had been stated for the stop it was looked at in, None without one
    found : what the as-found showed; None where there was none, or no limit held
    """

    line: str
    site: str | None
    deed: Deed | None
    planned: str | None
    session: str | None
    on: date | None
    done: str | None
    hours_planned: float | None
    hours_done: float | None
    stated: float | None
    found: Found | None


@dataclass(frozen=True, slots=True)
class BecameStop:
    """What became of one past stop of a plan; times in the zone of its site.

    Parameters
    ----------
    code, kind, starts_at, ends_at, whole_days, cancelled : of the outage as it stands now
    planned, made, missed, extra : visits planned into it, made as planned, not made there, and made there unplanned
    hours_planned : crew hours planned
    hours_done, hours_written : crew hours written down of the visits made there, and of how many of them
    """

    code: str
    kind: str | None
    starts_at: datetime
    ends_at: datetime | None
    whole_days: bool
    cancelled: bool
    planned: int
    made: int
    missed: int
    extra: int
    hours_planned: float
    hours_done: float | None
    hours_written: int


@dataclass(frozen=True, slots=True)
class Became:
    """What became of a kept plan.

    Parameters
    ----------
    plan, state, as_of : its code, whether it is signed off, and its first day
    stops : those that are past, in time order
    to_come : how many of its stops are not past yet
    lines : every line, those planned into past stops first
    score : its own chances, judged
    """

    plan: str
    state: PlanState
    as_of: date
    stops: tuple[BecameStop, ...]
    to_come: int
    lines: tuple[BecameLine, ...]
    score: ScoreContent

    def count(self, deed: Deed) -> int:
        """Return with how many lines it came so."""
        return sum(line.deed == deed for line in self.lines)
