"""What a plan is asked for: of which lines, how far ahead, under which cap, with what held by a person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

AHEAD_MONTHS: Final = 12
NEXT_TWO: Final = 0
"""In place of months: the next two outages of every site, counted to half a year after them. Whoever plans anew before
each outage does best so: a plan gives a line one visit, so a longer view puts fast lines off from plan to plan."""
SECONDS: Final = 5.0
"""Time for the solver where a page waits; the gap says what the plan is worth."""
GAP: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Asked:
    """A plan to be worked out.

    Parameters
    ----------
    site : lines of this site only
    cap : highest chance before a visit, 0 to 1; None: the setting
    ahead_months : outages that start within so many months are considered, and at least the next one; or `NEXT_TWO`
    into : pairs of line and outage: the line is held in it
    out : pairs of line and outage: the line is kept out of it
    seconds : time for the solver
    """

    site: str | None = None
    cap: float | None = None
    ahead_months: int = AHEAD_MONTHS
    into: tuple[tuple[str, str], ...] = ()
    out: tuple[tuple[str, str], ...] = ()
    seconds: float = SECONDS
