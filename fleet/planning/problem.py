"""The choice itself, as tables of lines by outages: what every choice costs, risks and needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.values import BoolArray, FloatArray, IntArray

NO_VISIT: Final = -1
"""In place of an outage's index; it also picks the last column of a table of choices, which is that of no visit."""

OPEN: Final = 0
CLOSED: Final = (
    "open", "not_planned", "past", "after_end", "serves_others", "window_too_short", "crew_hours_too_few",
    "pinned_out",
)  # fmt: skip
"""Why an outage is not open to a line; the first of them that holds is told."""

HOURS_STEP: Final = 1e-3
"""Hours are added up in steps of a thousandth, so that three visits of 0.333 h fill 0.999 h exactly."""


class PlanError(InputError):
    """What a plan is asked for cannot be computed as it is given."""


class PinError(PlanError):
    """Pins that cannot be kept; nothing is solved.

    Parameters
    ----------
    message : a sentence for each
    lines : indices of the lines whose pins they are
    """

    def __init__(self, message: str, lines: tuple[int, ...]) -> None:
        super().__init__(message)
        self.lines = lines


@dataclass(frozen=True, slots=True)
class Problem:
    """What is to be chosen: for every line one of the outages or none.

    A table of choices has one column for each outage and a last one for no visit, so that `NO_VISIT` picks it.

    Parameters
    ----------
    lines, outages : codes, n and J of them
    days_over : expected days over from as-of to the end, shape (n, J + 1); NaN for a line without a forecast
    chance_before : chance of being over before that visit (no visit: before the end), shape (n, J + 1)
    chance_now : the same by as-of, shape (n,)
    hours : crew hours that a visit takes there, shape (n, J)
    crew_hours : crew hours that an outage has, inf where it says nothing, shape (J,)
    closed : why an outage is not open to a line, indices into `CLOSED`, shape (n, J)
    weight : what a day over counts, shape (n,)
    visit_cost_days : what a visit costs, in weighted days over, shape (n,)
    pin_into : index of the outage that a line is pinned into, `NO_VISIT` where it is not, shape (n,)
    start_day : days from as-of to the outages' starts, shape (J,)
    cap : highest chance before its visit that a line may run, 0 to 1
    visits_at_most : of the whole plan; None: as many as the hours allow

    Raises
    ------
    PlanError
        A table has another shape than the lines and outages ask for, or a weight, cost or number of hours is negative.
    """

    lines: tuple[str, ...]
    outages: tuple[str, ...]
    days_over: FloatArray
    chance_before: FloatArray
    chance_now: FloatArray
    hours: FloatArray
    crew_hours: FloatArray
    closed: IntArray
    weight: FloatArray
    visit_cost_days: FloatArray
    pin_into: IntArray
    start_day: FloatArray
    cap: float = 0.2
    visits_at_most: int | None = None

    def __post_init__(self) -> None:
        n, j = len(self.lines), len(self.outages)
        shapes = {
            "days_over": (n, j + 1), "chance_before": (n, j + 1), "chance_now": (n,), "hours": (n, j),
            "crew_hours": (j,), "closed": (n, j), "weight": (n,), "visit_cost_days": (n,), "pin_into": (n,),
            "start_day": (j,),
        }  # fmt: skip
        for name, shape in shapes.items():
            got = getattr(self, name).shape
            if got != shape:
                raise PlanError(f"{name} has shape {got}; {n} lines and {j} outages need {shape}")
        for name in ("hours", "crew_hours", "weight", "visit_cost_days"):
            table = getattr(self, name)
            if not np.all(table >= 0.0):
                raise PlanError(f"{name} holds {float(np.nanmin(table)):g} or a gap; give a number of 0 or more")
        if not 0.0 <= self.cap <= 1.0:
            raise PlanError(f"a cap of {self.cap:g} is not a chance; give a number from 0 to 1")

    @property
    def foreseen(self) -> BoolArray:
        """Lines that have a forecast, shape (n,)."""
        return np.isfinite(self.days_over[:, NO_VISIT])

    @property
    def may(self) -> BoolArray:
        """Choices open to every line before any crew hour is shared, pins kept, shape (n, J + 1).

        A line without a forecast is only visited where it is pinned.
        """
        fits = self.closed == OPEN
        may = np.column_stack([fits & self.foreseen[:, None], np.ones(len(self.lines), dtype=np.bool_)])
        pinned = np.flatnonzero(self.pin_into >= 0)
        may[pinned] = False
        may[pinned, self.pin_into[pinned]] = fits[pinned, self.pin_into[pinned]]
        return may

    @property
    def cost(self) -> FloatArray:
        """What every choice adds to the sum that is made least, weighted days, shape (n, J + 1); unforeseen days: 0."""
        cost = self.weight[:, None] * np.nan_to_num(self.days_over)
        cost[:, :NO_VISIT] += self.visit_cost_days[:, None]
        return np.asarray(cost, dtype=np.float64)

    @property
    def beyond_cap(self) -> BoolArray:
        """Choices that let the chance before the visit grow above the cap, shape (n, J + 1)."""
        return np.asarray(np.nan_to_num(self.chance_before) > self.cap)

    @property
    def keepable(self) -> BoolArray:
        """Lines that some choice open to them would keep under the cap, shape (n,)."""
        return np.asarray(np.any(self.may & ~self.beyond_cap, axis=1))

    @property
    def breaks(self) -> BoolArray:
        """Choices that break the cap though another one open to the line would keep it, shape (n, J + 1)."""
        return np.asarray(self.beyond_cap & self.keepable[:, None])

    @property
    def hour_steps(self) -> IntArray:
        """Hours of every visit in whole steps of `HOURS_STEP`, shape (n, J)."""
        return np.rint(self.hours / HOURS_STEP).astype(np.int64)

    @property
    def room_steps(self) -> FloatArray:
        """Crew hours of every outage in whole steps, inf where they are not limited, shape (J,)."""
        return np.asarray(np.rint(self.crew_hours / HOURS_STEP), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Parts:
    """What a choice for the whole fleet amounts to.

    Parameters
    ----------
    weighted_days_over : sum over the lines of weight times expected days over
    cost_days : sum of the visits' costs, in weighted days
    days_over : the same days without weights
    visits : how many lines are visited
    over_cap : lines above the cap before their visit though some choice open to them would have kept it
    """

    weighted_days_over: float
    cost_days: float
    days_over: float
    visits: int
    over_cap: int

    @property
    def objective(self) -> float:
        """The sum that is made least, weighted days."""
        return self.weighted_days_over + self.cost_days


def parts_of(problem: Problem, chosen: IntArray) -> Parts:
    """Add up what a choice amounts to.

    Parameters
    ----------
    problem : what was to be chosen
    chosen : index of the outage of every line, `NO_VISIT` for none, shape (n,)

    Returns
    -------
    its parts
    """
    rows = np.arange(chosen.size)
    days = np.nan_to_num(problem.days_over[rows, chosen])
    visited = chosen != NO_VISIT
    return Parts(
        weighted_days_over=float(np.sum(problem.weight * days)),
        cost_days=float(np.sum(problem.visit_cost_days[visited])),
        days_over=float(np.sum(days)),
        visits=int(np.count_nonzero(visited)),
        over_cap=int(np.count_nonzero(problem.breaks[rows, chosen])),
    )


def steps_used(problem: Problem, chosen: IntArray) -> IntArray:
    """Return the crew hours that a choice takes of every outage, in steps of `HOURS_STEP`, shape (J,)."""
    used = np.zeros(len(problem.outages), dtype=np.int64)
    rows = np.flatnonzero(chosen != NO_VISIT)
    np.add.at(used, chosen[rows], problem.hour_steps[rows, chosen[rows]])
    return used


def check_pins(problem: Problem) -> None:
    """Refuse pins that cannot be kept.

    Raises
    ------
    PinError
        A line is pinned into an outage that is not open to it, the visits pinned into an outage take more than its
        crew hours, or more lines are pinned than visits are allowed. All such pins are named at once.
    """
    said: list[str] = []
    broken: list[int] = []
    pinned = np.flatnonzero(problem.pin_into != NO_VISIT)
    outside = pinned[(problem.pin_into[pinned] < 0) | (problem.pin_into[pinned] >= len(problem.outages))]
    if outside.size:
        names = ", ".join(problem.lines[i] for i in outside)
        raise PinError(f"{names}: pinned into an outage that is not among those considered; take the pin away",
                       tuple(outside.tolist()))  # fmt: skip
    for i in pinned:
        why = int(problem.closed[i, problem.pin_into[i]])
        if why != OPEN:
            outage = problem.outages[problem.pin_into[i]]
            said.append(f"{problem.lines[i]} cannot be pinned into {outage}: {_CLOSED_WORDS[CLOSED[why]]}")
            broken.append(int(i))
    held = np.where(problem.pin_into >= 0, problem.pin_into, NO_VISIT)
    used = steps_used(problem, held)
    for j in np.flatnonzero(used > problem.room_steps):
        rows = np.flatnonzero(held == j)
        names = ", ".join(problem.lines[i] for i in rows)
        said.append(
            f"{names} pinned into {problem.outages[j]} take {used[j] * HOURS_STEP:g} h; it has "
            f"{problem.crew_hours[j]:g} h: give it more or take a pin away"
        )
        broken.extend(rows.tolist())
    if problem.visits_at_most is not None and pinned.size > problem.visits_at_most:
        said.append(f"{pinned.size} lines are pinned; {problem.visits_at_most} visits are allowed at most")
        broken.extend(pinned.tolist())
    if said:
        raise PinError("; ".join(said), tuple(sorted(set(broken))))


_CLOSED_WORDS: Final = {
    "not_planned": "the outage is not planned any more; choose another",
    "past": "the outage has begun already; choose another",
    "after_end": "the outage begins after the plan's end; set a later end",
    "serves_others": "the outage serves another site or line; choose another",
    "window_too_short": "cool-down, screw pull, visit and heat-up do not fit between its start and its end",
    "crew_hours_too_few": "the visit alone takes more than its crew hours",
    "pinned_out": "the line is pinned out of it as well; take one of the pins away",
}
