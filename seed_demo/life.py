"""A line as it ages: its true offsets, its running hours, and the visits it gets."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from seed_demo import physics
from seed_demo.physics import Floats, Temperatures
from seed_demo.plant import SITES, Technician, past_stop
from seed_demo.stories import Plan
from seed_demo.truth import Position
from seed_demo.writing import Book

HOURS_PER_YEAR: Final = 7000


@dataclass(slots=True)
class Life:
    """What has come of a line so far: its rows, its true offsets and everything the truth will tell."""

    plan: Plan
    today: date
    rng: np.random.Generator
    book: Book = field(default_factory=Book)
    positions: dict[tuple[str, str], Position] = field(default_factory=dict)
    running: list[date] = field(default_factory=list)  # when running checks were taken
    commissioned: date = field(init=False)
    day: date = field(init=False)
    x: Floats = field(init=False)
    share: Floats = field(init=False)
    v: Floats = field(init=False)
    h: Floats = field(init=False)
    target: Floats = field(init=False)
    use: tuple[Floats, Floats] = field(init=False)
    settled: bool = False  # the newest moves are made

    def __post_init__(self) -> None:
        plan, rng = self.plan, self.rng
        self.commissioned = self.today - timedelta(days=round(plan.years * 365.25))
        self.day = self.commissioned
        self.x = np.array([at for _, at, _ in plan.build.stations])
        self.share = self.x / plan.build.supports[-1].distance_mm
        self.target = np.zeros(len(self.x))
        self.v, self.h = self.share * rng.normal(0, 40), self.share * rng.normal(0, 30)
        quarters = int(plan.years * 4) + 3
        worked = HOURS_PER_YEAR / 4 * np.clip(rng.normal(1, 0.05, quarters), 0.85, 1.12)
        self.use = (
            np.arange(quarters + 1, dtype=np.float64) * 91.3125,
            np.concatenate([np.zeros(1), np.cumsum(worked)]).astype(np.float64),
        )

    def hours(self, day: date) -> float:
        """Return the running hours since commissioning."""
        return float(np.interp((day - self.commissioned).days, *self.use))

    def meter(self, day: date) -> int:
        """Return what the line's meter shows: the running hours, or those since the meter was replaced."""
        replaced = self.plan.meter_replaced_days
        changed = None if replaced is None else self.today - timedelta(days=replaced)
        since = self.hours(changed) if changed and day >= changed else 0.0
        return round(self.hours(day) - since)

    def site_stop(self, index: int) -> date:
        """Return the first day of one of the site's past stops."""
        return past_stop(SITES[self.plan.site], index, self.today)

    def changed_on(self) -> date | None:
        """Return the day from which the line's present rates hold."""
        if self.plan.since_stop is not None:
            return self.site_stop(self.plan.since_stop)
        return None if self.plan.since_days is None else self.today - timedelta(days=self.plan.since_days)

    def age(self, until: date) -> None:
        """Let the line drift until a day, at the rates of before and after its change."""
        changed = self.changed_on()
        for end in sorted({until} | ({changed} if changed and self.day < changed < until else set())):
            early = changed is not None and self.plan.before is not None and end <= changed
            rates = self.plan.before if early and self.plan.before else (self.plan.rate_v, self.plan.rate_h)
            years = (self.hours(end) - self.hours(self.day)) / HOURS_PER_YEAR
            wander = self.plan.wander * (0.3 if self.plan.calm and self.settled else 1.0)
            for axis, rate, part in (("v", rates[0], 1.0), ("h", rates[1], 0.5)):
                moved = physics.drift(self.share, years, rate_um_per_year=rate, wander_um=part * wander, rng=self.rng)
                setattr(self, axis, getattr(self, axis) + moved)
            self.day = end

    def rise(self, at: Temperatures) -> Floats:
        """Return this line's true rise at its stations [um]."""
        plan = self.plan
        return physics.rise(
            plan.build, self.x, at, barrel_factor=plan.barrel_factor, gearbox_factor=plan.gearbox_factor
        )

    def note_position(self, session: str, survey: int) -> None:
        """Keep the true cold offsets of a survey."""
        names = [name for name, _, _ in self.plan.build.stations]
        self.positions[session, str(survey)] = Position(
            self.day, dict(zip(names, self.v.tolist(), strict=True)), dict(zip(names, self.h.tolist(), strict=True))
        )


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit as it is planned: its code, stop, day and who comes."""

    code: str
    stop: int
    action: str
    starts: datetime
    who: Technician
    entered: bool
