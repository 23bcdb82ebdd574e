"""Running checks: how far the hot line has risen, by indicators on the barrel."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import numpy as np

from seed_demo import physics
from seed_demo.life import Life
from seed_demo.physics import Temperatures
from seed_demo.plant import Technician
from seed_demo.writing import decimal, typed


def run_check(life: Life, day: date, who: Technician, *, series: bool = False) -> None:
    """Write a running check at the supports (the line hot and running), if that day has come; a series
    follows the warm-up.
    """
    if day >= life.today:
        return
    plan, rng, unit = life.plan, life.rng, who.unit
    life.running.append(day)
    barrel_c, gearbox_c = round(plan.running_c + rng.normal(0, 5)), round(plan.gearbox_c + rng.normal(0, 1.5))
    base_c = round(20 + 0.05 * (barrel_c - 20))
    floor, oil = int(rng.integers(4)) == 0, int(rng.integers(2)) == 0
    hours = (5, 10, 28) if series else (26 + int(rng.integers(0, 10)),)
    for since in hours:
        part = 1 - np.exp(-since / 4)
        at = Temperatures(20 + part * (barrel_c - 20), 20 + part * (gearbox_c - 20), 20 + part * (base_c - 20))
        when = datetime.combine(day, time(14)) - timedelta(hours=hours[-1] - since)
        up, own = life.rise(at), physics.gearbox_rise(plan.build, at, plan.gearbox_factor)
        casing = round(at.gearbox_c)
        for i, (name, _, support) in enumerate(plan.build.stations):
            if support is None:
                continue
            seen = float(up[i]) + (own if floor else 0.0) + rng.normal(0, 7)
            book = life.book
            book.add(
                "running_checks",
                line=plan.code,
                checked_at=when,
                station=name,
                v_rise=typed(seen, unit),
                h_rise=typed(rng.normal(0, 6), unit),
                unit=unit,
                u=typed(10, unit),
                relative_to="floor" if floor else "gearbox_axis",
                gearbox_rise=typed(own + rng.normal(0, 3), unit) if floor else None,
                barrel_c=decimal(at.barrel_c, 0),
                gearbox_c=decimal(20 + (casing - 20) / 0.6 if oil else casing, 0),
                gearbox_c_at="oil" if oil else "casing_mean",
                base_c=decimal(at.base_c, 0),
                hours_since_heats_on=str(since),
                screw="in",
                die="on",
                method="indicators on the barrel",
                technician=who.name,
            )
        if series and since == hours[-1]:
            for s in plan.build.supports:
                life.book.add(
                    "support_temperatures",
                    line=plan.code,
                    checked_at=when,
                    support=s.code,
                    barrel_c=decimal(at.barrel_c, 0),
                    base_c=decimal(at.base_c, 0),
                )
