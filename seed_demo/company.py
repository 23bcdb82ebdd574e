"""The whole invented company: every line's life written down, and the stories as they came out."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np

from seed_demo import paper
from seed_demo.life import Life
from seed_demo.physics import Temperatures
from seed_demo.plant import SITES, coming_stop, stop_code
from seed_demo.stories import FILL, PLANS, TROUBLE_DAYS, Plan
from seed_demo.truth import LineTruth, Story, Truth
from seed_demo.visits import attend, schedule
from seed_demo.writing import Book


def write(folder: Path, *, seed: int = 7, today: date) -> Truth:
    """Write the exchange folder of an invented company and return what is true of it.

    The same seed and day give the same bytes. Sessions end shortly before
    `today`; each site has planned stops ahead of it.

    Parameters
    ----------
    folder : Path
        Made if missing; files of the same names in it are overwritten.
    seed : int
        Chooses wander, measurement errors and the older visits; the lines and their stories stay.
    today : date
        The day the record is written for.

    Returns
    -------
    Truth
        True rates, positions, statuses and stories, and the number of rows in each file.
    """
    book = Book()
    paper.write_sites(book, today)
    slots: dict[str, int] = {}
    lives: dict[str, Life] = {}
    for index, plan in enumerate(PLANS):
        life = Life(plan, today, np.random.default_rng([seed, index]))
        lives[plan.code] = life
        paper.write_line(book, life)
        slot = slots.get(plan.site, 0)
        slots[plan.site] = slot + 1
        visits = schedule(life, slot)
        for position, visit in enumerate(visits):
            attend(life, visit, position, len(visits) - 1 - position)
        paper.write_meter(book, life)
        book.take(life.book)
    paper.write_instruments(book, today)
    truths = {code: _line_truth(life) for code, life in lives.items()}
    stories = {story.name: story for story in _stories(truths, lives, today)}
    return Truth(seed, today, truths, stories, book.write(folder))


def _line_truth(life: Life) -> LineTruth:
    plan = life.plan
    names = [name for name, _, _ in plan.build.stations]
    targets, changed = dict(zip(names, life.target.tolist(), strict=True)), life.changed_on()
    running = life.rise(Temperatures(plan.running_c, plan.gearbox_c, 20 + 0.05 * (plan.running_c - 20)))
    position = None
    if life.positions:
        life.age(life.today)
        life.note_position("today", 0)
        position = life.positions.pop(("today", "0"))
    return LineTruth(
        plan.code,
        plan.site,
        plan.rate_v,
        plan.rate_h,
        plan.wander,
        ((changed, *plan.before),) if changed and plan.before else (),
        dict(zip(names, life.x.tolist(), strict=True)),
        plan.build.supports[-1].distance_mm,
        targets,
        dict(zip(names, running.tolist(), strict=True)),
        dict(life.positions),
        position,
        float(plan.limit_um),
        float(plan.watch_um),
        plan.status,
    )


def _plan(code: str) -> Plan:
    return next(plan for plan in PLANS if plan.code == code)


def _session_at(life: Life, stop: int) -> str:
    """Return the session a line had at one of its site's stops."""
    day = life.site_stop(stop)
    return min(
        (row for row in life.book.rows["sessions"] if row["line"] == life.plan.code and not row["corrects"]),
        key=lambda row: abs((date.fromisoformat(row["started_at"][:10]) - day).days),
    )["session"]


def _stories(truths: dict[str, LineTruth], lives: dict[str, Life], today: date) -> list[Story]:
    seven, noise, slip, deep = truths["ORR-07"], truths["VES-06"], _plan("ORR-03"), truths["VES-03"]
    swap = lives["ORR-07"].changed_on()
    left, found = (_session_at(lives["VES-06"], stop) for stop in (4, 0))
    left_at = max(survey for session, survey in noise.positions if session == left)
    moved = noise.positions[found, "1"].v_um["B"] - noise.positions[left, left_at].v_um["B"]
    slipped = _session_at(lives["ORR-03"], slip.slip_stop or 0)
    return [
        Story(
            "lower since the gearbox change",
            ("ORR-07",),
            "Since its gearbox was changed the bore at B goes 0.22 mm a year lower against the gearbox axis; "
            "probably over the limit by now.",
            {
                "changed_on": str(swap),
                "rate_um_per_year": seven.rate_v_um_per_year,
                "rate_before_um_per_year": seven.rates_before[0][1],
                "limit_um": seven.limit_v_um,
            },
        ),
        Story(
            "noise that looks like drift",
            ("VES-06",),
            "Three visits by single passes without a reversal: the bore seems to have gone far lower, "
            "but the beam cannot tell.",
            {
                "as_left": left,
                "as_found": found,
                "true_movement_um": moved,
                "beam_offset_um": 80.0,
                "beam_direction_um_per_m": 20.0,
            },
        ),
        Story(
            "cold offset too large",
            ("VES-03",),
            "The plant's drop for the bore size is deeper than this line rises, "
            "so that it runs low at every running check.",
            {"target_um": deep.target_v_um["B"], "running_rise_um": deep.running_rise_v_um["B"]},
        ),
        Story(
            "ground that moves",
            tuple(plan.code for plan in PLANS if plan.foundation == FILL),
            "Lines on the slab on fill drift several times faster since a water main burst; "
            "two have an event for it, two have none.",
            {"since": str(today - timedelta(days=TROUBLE_DAYS)), "foundation": FILL},
        ),
        Story(
            "a turned sign, corrected",
            ("ORR-03",),
            "h at station B was typed with the sign turned at one visit; a correcting session says so.",
            {
                "session": slipped,
                "correction": f"{slipped}C",
                "station": "B",
                "true_h_um": truths["ORR-03"].positions[slipped, "1"].h_um["B"],
            },
        ),
        Story(
            "due before the spring stop",
            ("ORR-02",),
            "Not over yet, but likely to pass its limit before the stop after the coming one.",
            {"second_stop": stop_code(SITES["ORR"], coming_stop(SITES["ORR"].stops_ahead[1], today))},
        ),
    ]
