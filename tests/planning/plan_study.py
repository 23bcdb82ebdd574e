"""Plans and two simple rules on simulated fleets whose truth is known: who lets lines be over the limit for how long.

Eighty lines of two stations and two axes each drift at rates of their own and wander. Every 91 days there is an outage.
Two weeks before, every rule sees the same records (what was measured at past visits) and says who goes where; those
lines are realigned there. A line is over as long as any of its true offsets is beyond the limit; that is counted day by
day, up to a year after the last outage. Wander and as-left errors of a line are the same under every rule. Crew hours:
all lines in every second outage, or in every fourth. Where a plan fits more visits into the same hours than a simple
rule, a visit is given a price as well, the least in whole days over at which the plan makes no more of them.

How far ahead plans made anew look, and how long after, was tried out on seed 1, which is not among the fleets here.

Run as a script this writes `plan_scores.md` anew, in some minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from fleet.planning import (
    Curves,
    Problem,
    after_visit,
    curve_days,
    expectations,
    in_turn,
    no_pins,
    plan_end_day,
    solve,
    worst_first,
    worst_of_lines,
)
from fleet.trend import chance_passed
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

DOCUMENT: Final = Path(__file__).with_name("plan_scores.md")
N_LINES: Final = 80
SERIES: Final = 4
OUTAGES: Final = 8
EVERY_DAYS: Final = 91
AHEAD_DAYS: Final = 14
LIMIT_UM: Final = 150.0
MEASURING_UM: Final = 10.0
AS_LEFT_UM: Final = 12.0
DAYS: Final = OUTAGES * EVERY_DAYS + 365
PER_MONTH: Final = DAYS_PER_YEAR / 12.0

KINDS: Final = {
    "steady drift": {"tau": 60.0, "sigma": 20.0, "uneven": 0.0},
    "much wander": {"tau": 35.0, "sigma": 60.0, "uneven": 0.0},
    "uneven visits": {"tau": 60.0, "sigma": 30.0, "uneven": 1.0},
}
SHARES: Final = {"every second": 2, "every fourth": 4}


@dataclass(frozen=True, slots=True)
class Way:
    """How often a plan is made, how many outages it looks ahead, and how long after the last of them it counts."""

    outages: int
    looks_ahead: int
    days_after: float
    seeds: range


SIMPLE: Final = ("in turn", "worst first")
PLANS: Final = ("plan, cap 20 %", "plan, no cap")
EVEN: Final = "plan, no cap, no more visits"
DEAREST: Final = 128
"""Highest price of a visit that is tried, weighted days over."""
ONCE: Final = Way(4, 4, 365.0, range(101, 141))
ANEW: Final = Way(8, 2, 182.0, range(101, 141))
TOO_FAR: Final = Way(8, 4, 365.0, range(101, 121))
CLEAR: Final = 2.0
"""A difference counts as one from so many standard errors over the fleets."""


@dataclass(frozen=True, slots=True)
class Truth:
    """A fleet's truth, and what chance does to it; the same whatever is decided."""

    rate_um: FloatArray
    sigma_um: float
    tau_um: float
    steps_um: FloatArray
    set_um: FloatArray
    errors_um: FloatArray
    learnt_years: FloatArray
    learnt_um: FloatArray
    elapsed_years: FloatArray
    hours: FloatArray
    weight: FloatArray
    line: IntArray


def truth(seed: int, *, tau: float, sigma: float, uneven: float) -> Truth:
    """Draw a fleet."""
    rng = np.random.default_rng(seed)
    n = N_LINES * SERIES
    rate = 10.0 + tau * rng.standard_normal(n)
    line = np.repeat(np.arange(N_LINES), SERIES)
    years = rng.uniform(1.0, 8.0, N_LINES)[line]
    error = np.sqrt(sigma**2 / years + 2.0 * MEASURING_UM**2 / years**2)
    steps = sigma / np.sqrt(DAYS_PER_YEAR) * rng.standard_normal((n, DAYS)).astype(np.float32)
    elapsed = rng.uniform(0.0, 1.0, N_LINES)[line]
    uneven_hours = rng.choice([4.0, 8.0, 16.0, 24.0], N_LINES)
    return Truth(
        rate_um=rate, sigma_um=sigma, tau_um=tau, steps_um=steps,
        set_um=AS_LEFT_UM * rng.standard_normal((n, OUTAGES + 1)),
        errors_um=MEASURING_UM * rng.standard_normal((n, OUTAGES + 1, 2)), learnt_years=years,
        learnt_um=rate + error * rng.standard_normal(n), elapsed_years=elapsed,
        hours=uneven_hours if uneven else np.full(N_LINES, 8.0),
        weight=rng.choice([1.0, 1.0, 3.0], N_LINES) if uneven else np.ones(N_LINES), line=line,
    )  # fmt: skip


@dataclass(slots=True)
class Records:
    """What is known of every series from its visits: rate information, the newest as-left and how long ago it was."""

    weight: FloatArray
    total: FloatArray
    left_um: FloatArray
    left_day: FloatArray

    def learn(self, rate_um: FloatArray, var_um2: FloatArray, rows: IntArray) -> None:
        self.weight[rows] += 1.0 / var_um2
        self.total[rows] += rate_um / var_um2


@dataclass(frozen=True, slots=True)
class Counted:
    """What a rule came to: weighted line-months over, visits, crew hours."""

    months: float
    visits: int
    hours: float


def problem(
    fleet: Truth,
    known: Records,
    *,
    today: int,
    starts: FloatArray,
    crew_hours: float,
    cap: float,
    days_after: float,
    price: float,
) -> Problem:
    """Ask the trend about every series and lay out what is to be chosen."""
    start_day = starts - today
    end = plan_end_day(start_day, start_day, days_after=days_after)
    days = curve_days(end, start_day)
    rate, rate_var = known.total / known.weight, 1.0 / known.weight
    sigma, limit = np.full(rate.size, fleet.sigma_um), np.full(rate.size, LIMIT_UM)
    elapsed = (today - known.left_day) / DAYS_PER_YEAR
    ahead = chance_passed(
        position_um=known.left_um, position_var_um2=np.full(rate.size, MEASURING_UM**2), rate_um=rate,
        rate_var_um2=rate_var, cov_um2=np.zeros(rate.size), sigma_um=sigma, limit_um=limit,
        years=elapsed[:, None] + days / DAYS_PER_YEAR,
    )  # fmt: skip
    anew = after_visit(rate_um=rate, rate_var_um2=rate_var, as_left_um2=np.full(rate.size, AS_LEFT_UM**2))
    since = chance_passed(
        position_um=anew.position_um, position_var_um2=anew.position_var_um2, rate_um=anew.rate_um,
        rate_var_um2=anew.rate_var_um2, cov_um2=anew.cov_um2, sigma_um=sigma, limit_um=limit,
        years=np.broadcast_to(days / DAYS_PER_YEAR, (rate.size, days.size)),
    )  # fmt: skip
    curves = Curves(days, worst_of_lines(ahead, fleet.line, N_LINES), days, worst_of_lines(since, fleet.line, N_LINES))
    expected = expectations(curves, start_day=start_day, end_day=end)
    j = starts.size
    return Problem(
        lines=tuple(f"L{i:02d}" for i in range(N_LINES)), outages=tuple(f"O{k}" for k in range(j)),
        days_over=expected.days_over, chance_before=expected.chance_before, chance_now=expected.chance_now,
        hours=np.repeat(fleet.hours[:, None], j, axis=1), crew_hours=np.full(j, crew_hours),
        closed=np.zeros((N_LINES, j), dtype=np.int64), weight=fleet.weight, visit_cost_days=np.full(N_LINES, price),
        pin_into=no_pins(N_LINES, j)[0], start_day=start_day, cap=cap,
    )  # fmt: skip


def chosen_by(rule: str, asked: Problem, since_days: FloatArray, every: int) -> IntArray:
    """Return who goes into which of the outages."""
    if rule == "in turn":
        return in_turn(asked, since_days, every=every)
    if rule == "worst first":
        return worst_first(asked)
    return solve(asked, gap=5e-3, time_limit_s=300.0).chosen


def followed(fleet: Truth, rule: str, every: int, way: Way, price: float = 0.0) -> Counted:
    """Live with a rule for all outages and a year beyond."""
    n = fleet.rate_um.size
    crew_hours = float(np.ceil(fleet.hours.sum() / every))
    error = fleet.sigma_um**2 / fleet.learnt_years + 2.0 * MEASURING_UM**2 / fleet.learnt_years**2
    known = Records(
        np.full(n, 1.0 / fleet.tau_um**2), np.full(n, 10.0 / fleet.tau_um**2),
        fleet.set_um[:, 0] + fleet.errors_um[:, 0, 0], -fleet.elapsed_years * DAYS_PER_YEAR,
    )  # fmt: skip
    known.learn(fleet.learnt_um, error, np.arange(n))
    rng = np.random.default_rng(99)
    wandered = fleet.sigma_um * np.sqrt(fleet.elapsed_years) * rng.standard_normal(n)
    at = fleet.set_um[:, 0] + fleet.rate_um * fleet.elapsed_years + wandered
    starts = np.arange(1, way.outages + 1) * float(EVERY_DAYS)
    last = way.outages * EVERY_DAYS + 365
    months, visits, hours, day = 0.0, 0, 0.0, 0
    chosen = np.full(N_LINES, -1)
    for k in range(way.outages + 1):
        if k == 0 or (way.looks_ahead < way.outages and k < way.outages):
            today = int(starts[k]) - AHEAD_DAYS
            asked = problem(
                fleet, known, today=today, starts=starts[k : k + way.looks_ahead], crew_hours=crew_hours,
                cap=0.2 if rule == "plan, cap 20 %" else 1.0, days_after=way.days_after, price=price,
            )  # fmt: skip
            chosen = k + chosen_by(rule, asked, today - known.left_day[::SERIES], every)
            chosen[chosen < k] = -1
        going = np.flatnonzero(chosen == k)
        until = last if k == way.outages else int(starts[k])
        path = at[:, None] + np.cumsum(fleet.steps_um[:, day:until] + fleet.rate_um[:, None] / DAYS_PER_YEAR, axis=1)
        over = np.any(np.abs(path).reshape(N_LINES, SERIES, -1) > LIMIT_UM, axis=1).sum(axis=1)
        months += float(np.sum(over * fleet.weight)) / PER_MONTH
        at, day = path[:, -1], until
        if k == way.outages or going.size == 0:
            continue
        rows = np.flatnonzero(np.isin(fleet.line, going))
        years = (day - known.left_day[rows]) / DAYS_PER_YEAR
        found = at[rows] + fleet.errors_um[rows, k + 1, 0]
        var = fleet.sigma_um**2 / years + 2.0 * MEASURING_UM**2 / years**2
        known.learn((found - known.left_um[rows]) / years, var, rows)
        at[rows] = fleet.set_um[rows, k + 1]
        known.left_um[rows] = at[rows] + fleet.errors_um[rows, k + 1, 1]
        known.left_day[rows] = day
        visits, hours = visits + going.size, hours + float(fleet.hours[going].sum())
    return Counted(months, visits, hours)


def rows(way: Way) -> list[list[str]]:
    """Return a table: kind, crew hours, rule, months over, less those of the simple rules, visits, crew hours used."""
    table = []
    for kind, numbers in KINDS.items():
        fleets = [truth(seed, **numbers) for seed in way.seeds]
        for share, every in SHARES.items():
            got = {rule: [followed(fleet, rule, every, way) for fleet in fleets] for rule in (*SIMPLE, *PLANS)}
            for rule, lives in got.items():
                against = [got[other] if rule in PLANS else [] for other in SIMPLE]
                table.append([kind, share, rule, *_row(lives, against)])
            for other in SIMPLE:
                if _visits(got[PLANS[1]]) <= _visits(got[other]):
                    continue
                lives = _as_seldom(fleets, every, way, _visits(got[other]))
                against = [got[other] if one == other else [] for one in SIMPLE]
                table.append([kind, share, f"{EVEN} than {other}", *_row(lives, against)])
    return table


def _as_seldom(fleets: list[Truth], every: int, way: Way, visits: float) -> list[Counted]:
    """Live with plans at the least price of a visit at which they make no more than so many on average."""
    low, high = 0, DEAREST
    best: list[Counted] = []
    while high - low > 1 or not best:
        price = (low + high) // 2
        lives = [followed(fleet, PLANS[1], every, way, float(price)) for fleet in fleets]
        if _visits(lives) <= visits:
            high, best = price, lives
        else:
            low = price
    return best


def _row(lives: list[Counted], against: list[list[Counted]]) -> list[str]:
    months = np.array([one.months for one in lives])
    less = [difference(months - [one.months for one in other]) if other else "" for other in against]
    hours = np.mean([one.hours for one in lives])
    return [f"{np.mean(months):.1f}", *less, f"{_visits(lives):.1f}", f"{hours:.0f}"]


def _visits(lives: list[Counted]) -> float:
    return float(np.mean([one.visits for one in lives]))


def difference(of_fleets: FloatArray) -> str:
    """Return a mean over fleets and its standard error."""
    return f"{np.mean(of_fleets):+.1f} +- {np.std(of_fleets, ddof=1) / np.sqrt(of_fleets.size):.1f}"


def clearly(cell: str) -> int:
    """Tell of a difference whether it is clearly below 0 (-1), clearly above (1), or neither (0)."""
    mean, error = (float(part) for part in cell.split(" +- "))
    return 0 if abs(mean) <= CLEAR * error else int(np.sign(mean))


HEADINGS: Final = {
    "## Planned once": ONCE,
    "## Planned anew before each outage": ANEW,
    "## Planned anew, looking too far": TOO_FAR,
}
COLUMNS: Final = (
    "| fleet | hours for all in | rule | months over | less in turn | less worst first | visits | crew hours |\n"
    "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: |"
)


def found(table: list[list[str]], *, named: bool) -> str:
    """Say how often the plans are clearly better than the simple rules, neither, or worse; and name the rest."""
    said = []
    for plan in (*PLANS, EVEN):
        cells_of = [(row, other, row[4 + at]) for row in table for at, other in enumerate(SIMPLE) if of(row, plan, at)]
        if not cells_of:
            continue
        sides = [clearly(cell) for *_, cell in cells_of]
        said.append(
            f"* {plan}: of {len(sides)} comparisons, clearly fewer months in {sides.count(-1)}, no clear difference in "
            f"{sides.count(0)}, clearly more in {sides.count(1)}."
        )
        for (row, other, cell), side in zip(cells_of, sides, strict=True):
            if side >= 0 and named:
                word = "clearly worse than" if side else "no clear difference from"
                said.append(f"  * {row[0]}, hours for all in {row[1]}: {word} {other} ({cell} months a fleet)")
    return "\n".join(said)


def of(row: list[str], plan: str, at: int) -> bool:
    """Tell whether a row compares this plan with that simple rule."""
    return row[2].partition(" than ")[0] == plan and row[4 + at] != ""


def document() -> str:
    """Return the committed page."""
    page = TEXT
    for heading, way in HEADINGS.items():
        table = rows(way)
        lines = "\n".join("| " + " | ".join(row) + " |" for row in table)
        says = f"{SAYS[heading].format(len(way.seeds))}\n\n{found(table, named=way is not TOO_FAR)}"
        page += f"{heading}\n\n{says}\n\n{COLUMNS}\n{lines}\n\n"
    return page.rstrip() + "\n"


def cells(page: str, heading: str) -> list[list[str]]:
    """Read a table of the page back."""
    part = page.split(f"{heading}\n")[1].split("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("| ")][2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


TEXT: Final = """# What a plan is worth

Simulated fleets with known truth; `plan_study.py` says how, and writes this page. Limit 150 um. *In turn*: every line
in every second (fourth) outage, longest ago first. *Worst first*: who is likeliest to be over when the outage begins,
until its hours are full. *Plan*: `solve` to half a percent, with the cap on the chance before a visit and without it.
All rules see the same records and have the same crew hours. In the first two kinds a visit takes 8 h on every line and
all lines count alike, so equal hours are equal visits; in the third it takes 4 to 24 h and a third of the lines count
three times, and a plan may fit more, shorter visits into the same hours. Where it does, *no more visits* gives a visit
a price in days over until the plan makes no more of them on average than the rule that it is compared with.

Numbers are means per fleet: weighted line-months over, visits, crew hours. *Less in turn*, *less worst first*: the
difference fleet by fleet, below 0 where the plan is better, with its standard error over the fleets; a difference is
called clear from two of those. How far ahead plans made anew look was chosen on seed 1; the fleets here (seeds from
101) were used for no choice.

What it shows. Without the cap a plan has clearly fewer months over than both rules at the same hours wherever lines
drift steadily, made once or anew, and is never clearly worse. Where all lines wander much nobody knows better than the
calendar who is next: a plan then helps only if it is made once and hours are plenty. Where visits are uneven, hours are
short and plans are made anew, it has fewer months over because it makes more and shorter visits; held to as few visits
as worst first makes, it is no better than that rule.

The cap comes before the months, and it counts lines: one that is over for days counts like one that is over for
months, a line of weight 3 like one of weight 1, a visit of 24 h like one of 4 h. Where hours are plenty and plans are
made anew it costs nothing. Where hours cannot keep all lines under it, the plan keeps those that are easiest to keep
and gives up lines that would be over for long or need long visits. It then comes to more months than without the cap,
in some cases more than a simple rule; they are named below.

"""
SAYS: Final = {
    "## Planned once": "Four outages, one plan before the first, one visit a line at most, a year after the last. "
    "Means of {} fleets.",
    "## Planned anew before each outage": "Eight outages; a plan before each for the next two, counting half a year "
    "after them; what is planned for the first is\ndone. Means of {} fleets.",
    "## Planned anew, looking too far": "The same with plans for four outages and a year after them. As every line has "
    "one visit in a plan, fast ones are put\noff from plan to plan, and those above the cap whatever is done are "
    "passed over: do not plan so. Means of {} fleets.",
}


def same(a: str, b: str) -> bool:
    """Tell whether two cells agree: numbers, a difference and its error too, within a twentieth and three."""
    try:
        numbers = [[float(part) for part in cell.split(" +- ")] for cell in (a, b)]
    except ValueError:
        return a == b
    return all(abs(x - y) <= 3.0 + 0.05 * abs(y) for x, y in zip(*numbers, strict=True))


if __name__ == "__main__":
    DOCUMENT.write_text(document(), encoding="utf-8")
