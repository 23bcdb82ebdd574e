"""One visit after the other: technicians measure a line, move it, and write down what they did."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Final

import numpy as np

from seed_demo import physics
from seed_demo.life import Life, Visit
from seed_demo.physics import Floats, Shot, Temperatures
from seed_demo.plant import INSTRUMENTS, SITES, TECHNICIANS, stop_code
from seed_demo.running import run_check
from seed_demo.writing import Book, Cell, decimal, typed, typed_um

CREW_HOURS_DAYS: Final = 800
"""For so long crew hours have been written down at visits."""
_FINDINGS: Final = (
    ("soft foot", "0.08", "mm", "gearbox, drive side rear"),
    ("soft foot", "0.12", "mm", "gearbox, discharge side front"),
    ("bearing play", "0.03", "mm", "axial, at the thrust bearing"),
    ("heat shield", None, None, "loose over the second support, put back"),
    ("slide", None, None, "dry, cleaned and greased"),
)


def schedule(life: Life, slot: int) -> list[Visit]:
    """Return a line's visits in time order: the plan's newest ones and older ones at the site's stops by chance."""
    plan, site, rng = life.plan, SITES[life.plan.site], life.rng
    stops = list(plan.recent)
    gaps = (2, 3, 4) if plan.site == "TAR" else (1, 2, 2, 3)
    index = stops[-1][0] if stops else len(site.stops_back)
    while not plan.few:
        index += int(rng.choice(gaps))
        if index >= len(site.stops_back):
            break
        stops.append((index, "auto"))
    visits: list[Visit] = []
    for stop, action in reversed(stops):
        day = life.site_stop(stop) + timedelta(days=1 + slot // 3)
        if (day - life.commissioned).days < 20:
            continue
        name = plan.technician or str(rng.choice(site.technicians))
        who = TECHNICIANS[name]
        entered = bool(plan.entered_before_years) and (life.today - day).days > 365.25 * plan.entered_before_years
        code = f"{plan.code}-{len(visits) + 1:02d}"
        starts = datetime.combine(day, time((7, 8, 9)[slot % 3], 30))
        visits.append(Visit(code, stop, action, starts, who, entered))
    return visits


def _temperatures(life: Life, visit: Visit) -> Temperatures:
    season = -np.cos(2 * np.pi * (visit.starts.timetuple().tm_yday - 20) / 365.25)
    air = round(float(20 + 3.5 * season + life.rng.normal(0, 1.2)))
    if visit.stop == life.plan.warm_stop:
        return Temperatures(52.0, air + 7.0, air + 2.0)
    barrel, gearbox = (air + int(life.rng.integers(0, 2)) for _ in range(2))
    return Temperatures(float(barrel), float(gearbox), float(air))


def _measure(
    life: Life, book: Book, visit: Visit, number: int, at: Temperatures, *, hot: bool = False
) -> tuple[Floats, Floats, list[Shot]]:
    """Measure once and return the offsets as the technician understands them, brought to cold, with the readings."""
    plan, rng, names = life.plan, life.rng, [name for name, _, _ in life.plan.build.stations]
    v_now, h_now = life.v + life.rise(at), life.h
    life.note_position(visit.code, number)
    key: dict[str, str] = {"session": visit.code, "survey": str(number)}
    shots: list[Shot] = []
    if visit.entered:
        u = 12.0 + 2.0 * (len(visit.code) % 3)
        common = rng.normal(0, u * 0.4**0.5, 2)
        v_seen, h_seen = (
            np.array([typed_um(x, visit.who.unit) for x in now + c + rng.normal(0, u * 0.6**0.5, len(now))])
            for now, c in ((v_now, common[0]), (h_now, common[1]))
        )
        known = visit.stop % 3 > 0
        for name, v, h in zip(names, v_seen, h_seen, strict=True):
            book.add(
                "offsets",
                **key,
                station=name,
                v=typed(v, visit.who.unit),
                h=typed(h, visit.who.unit),
                unit=visit.who.unit,
                u_v=typed(u, visit.who.unit) if known else None,
                u_h=typed(u, visit.who.unit) if known else None,
            )
    else:
        tool = INSTRUMENTS[visit.who.instrument]
        shots = physics.shoot(
            tool,
            visit.who.scheme,
            visit.who.unit,
            life.x,
            v_now,
            h_now,
            rng,
            beam_v_um=plan.beam_v_um.get(visit.stop),
            hot=hot,
        )
        v_seen, h_seen = physics.by_hand(shots, tool, len(names))
    nominal = physics.rise(plan.build, life.x, at)
    return v_seen - nominal, h_seen, shots


def _write_readings(
    book: Book, visit: Visit, number: int, shots: list[Shot], names: list[str], turned_sign_at: str | None
) -> None:
    for sequence, shot in enumerate(shots, start=1):
        h = -shot.h_um if names[shot.station] == turned_sign_at else shot.h_um
        book.add(
            "readings",
            session=visit.code,
            survey=number,
            sequence=sequence,
            station=names[shot.station],
            beam_state=shot.beam_state,
            beam_roll_deg=shot.beam_roll,
            target_roll_deg=shot.target_roll,
            v=typed(shot.v_um, visit.who.unit),
            h=typed(h, visit.who.unit),
            unit=visit.who.unit,
        )


def _move(life: Life, book: Book, visit: Visit, after: int, v_seen: Floats, h_seen: Floats) -> None:
    """Move every support by what the last survey asks for, in whole steps, and let the line answer nearly as told."""
    plan, unit, rng = life.plan, visit.who.unit, life.rng
    step = plan.step_um * 1.016 if unit == "thou" else float(plan.step_um)
    at = {code: index for index, (_, _, code) in enumerate(plan.build.stations) if code}
    done_v: dict[str, float] = {}
    done_h: dict[str, float] = {}
    for support in plan.build.supports:
        i = at[support.code]
        v = typed_um(step * round((life.target[i] - v_seen[i]) / step), unit)
        h = typed_um(-h_seen[i], unit) if support.adjusts_h else 0.0
        done_v[support.code] = v * 0.97 + (rng.normal(0, 4) if v else 0.0)
        done_h[support.code] = h * 0.96 + (rng.normal(0, 4) if h else 0.0)
        first = after == 1
        book.add(
            "moves",
            session=visit.code,
            after_survey=after,
            support=support.code,
            v=typed(v, unit),
            h=typed(h, unit),
            unit=unit,
            room_up=typed(600, unit) if first else None,
            room_down=typed(350, unit) if first else None,
            how="jacking and side screws" if plan.calm else "shims and side screws",
        )
    life.v = life.v + physics.along(plan.build, done_v, life.x)
    life.h = life.h + physics.along(plan.build, done_h, life.x)


def _set_target(life: Life, book: Book, visit: Visit, position: int, left: int) -> None:
    """Write the cold target down at the first visit, and again where the plan changes it."""
    plan, unit = life.plan, visit.who.unit
    later = plan.own_later and left == 2
    if position and not later:
        return
    running = Temperatures(plan.running_c, plan.gearbox_c, 20 + 0.05 * (plan.running_c - 20))
    supports = np.array([s.distance_mm for s in plan.build.supports])
    if later:
        known = physics.rise(
            plan.build, supports, running, barrel_factor=plan.barrel_factor, gearbox_factor=plan.gearbox_factor
        )
        drops = tuple(round(float(-r), -1) for r in known)
        basis, reason = "own record", "as it came out in the running checks"
    elif plan.target_um:
        drops, basis, reason = tuple(map(float, plan.target_um)), plan.target_basis, "drop for the bore"
    else:
        drops = tuple(round(float(-r), -1) for r in physics.rise(plan.build, supports, running))
        basis, reason = "heat model", "minus the expected rise"
    profile = physics.along(plan.build, dict(zip([s.code for s in plan.build.supports], drops, strict=True)), life.x)
    for i, (name, _, _) in enumerate(plan.build.stations):
        life.target[i] = typed_um(round(float(profile[i]), -1) if unit != "thou" else float(profile[i]), unit)
        book.add(
            "cold_targets",
            session=visit.code,
            station=name,
            v=typed(life.target[i], unit),
            h=typed(0, unit),
            unit=unit,
            basis=basis,
            reason=reason,
        )


def attend(life: Life, visit: Visit, position: int, left: int) -> None:
    """Carry out one visit and write everything of it; `position` counts from the first, `left` to the newest (0)."""
    plan, rng, site = life.plan, life.rng, SITES[life.plan.site]
    life.age(visit.starts.date())
    book = Book()
    if plan.swap and visit.stop == plan.since_stop:
        life.v, life.h = life.v + life.share * rng.normal(0, 60), life.h + life.share * rng.normal(0, 40)
    names = [name for name, _, _ in plan.build.stations]
    at = _temperatures(life, visit)
    _set_target(life, book, visit, position, left)
    cards: list[tuple[int, str, list[Shot]]] = []
    v_seen, h_seen, shots = _measure(life, book, visit, 1, at)
    cards.append((1, "as_found", shots))
    worst = max(float(np.max(np.abs(v_seen - life.target))), float(np.max(np.abs(h_seen))))
    moving = visit.action == "moved" or (visit.action == "auto" and (position == 0 or worst > 0.4 * plan.watch_um))
    if moving:
        for number in (2, 3):
            _move(life, book, visit, number - 1, v_seen, h_seen)
            v_seen, h_seen, shots = _measure(life, book, visit, number, at)
            held = [i for i, (_, _, code) in enumerate(plan.build.stations) if code]
            off = max(np.max(np.abs((v_seen - life.target)[held])), np.max(np.abs(h_seen[held])))
            again = number == 2 and off > 30
            cards.append((number, "interim" if again else "as_left", shots))
            if not again:
                break
        life.settled = visit.stop == next(stop for stop, action in plan.recent if action == "moved")
    swapped = plan.swap if visit.stop == plan.since_stop else None
    reason = (
        f"after {swapped} change"
        if swapped
        else "first alignment"
        if position == 0
        else "outage"
        if moving
        else "yearly"
    )
    remarks = None if moving else "measured only; the stop ended"
    common: dict[str, Cell] = {
        "line": plan.code,
        "started_at": visit.starts,
        "reason": reason,
        "outage": stop_code(site, life.site_stop(visit.stop)),
        "technician": visit.who.name,
        "instrument": "T-05" if visit.entered else visit.who.instrument,
        "work_order": f"{plan.site[0]}{int(rng.integers(40000, 49999)):06d}",
        "running_hours": str(life.meter(life.day)) if plan.metered else None,
        "ambient_c": decimal(at.base_c, 0),
    }
    book.add("sessions", session=visit.code, remarks=remarks, **common)
    warm = visit.stop == plan.warm_stop
    for number, phase, card in cards:
        known = not visit.entered or visit.stop % 2 == 0
        book.add(
            "surveys",
            session=visit.code,
            survey=number,
            phase=phase,
            measured_at=visit.starts + timedelta(minutes=45 + 200 * (number - 1)),
            barrel_c=decimal(at.barrel_c, 0) if known else None,
            gearbox_c=decimal(at.gearbox_c, 0) if known else None,
            gearbox_c_at="casing_mean" if known else None,
            base_c=decimal(at.base_c, 0) if known else None,
            axis_by="shaft_turned",
            bolts="loose" if phase == "interim" else "torqued",
            screw="out",
            die="off",
            heats_off_h="9" if warm and number == 1 else "30" if number == 1 else None,
            remarks="line released late, barrel still warm" if warm and number == 1 else None,
        )
        if warm:
            for support in plan.build.supports:
                book.add(
                    "support_temperatures",
                    session=visit.code,
                    survey=number,
                    support=support.code,
                    barrel_c=decimal(at.barrel_c, 0),
                    base_c=decimal(at.base_c, 0),
                )
        _write_readings(
            book,
            visit,
            number,
            card,
            names,
            plan.slip_station if visit.stop == plan.slip_stop and number == 1 else None,
        )
    trouble = plan.since_days is not None and (life.today - life.day).days < plan.since_days
    if trouble and moving:
        book.add(
            "findings",
            session=visit.code,
            item="grout",
            note=f"cracked under {plan.build.supports[-1].code}, wider than at the last visit",
        )
    elif rng.random() < 0.15:
        item, value, unit, note = _FINDINGS[int(rng.integers(len(_FINDINGS)))]
        book.add("findings", session=visit.code, item=item, value=value, unit=unit, note=note)
    if (life.today - life.day).days < CREW_HOURS_DAYS:
        # Two or three people, longer on a larger screw and where the line is moved; no two visits take the same.
        usual = round(plan.build.screw_mm / 12.0) + 2 if moving else 5
        hours = usual + (visit.stop * 3 + int(plan.code[-2:])) % 5 - 2
        book.add("findings", session=visit.code, item="crew hours", value=f"{hours} h")
    if visit.stop == plan.slip_stop:
        _correct(book, visit, cards, names)
    if visit.stop == plan.hot_stop:
        _hot_survey(life, book, visit, names)
    life.book.take(book)
    if (moving or plan.check_share >= 1) and rng.random() < plan.check_share:
        run_check(
            life, life.site_stop(visit.stop) + timedelta(days=8), visit.who, series=plan.code == "ORR-04" and left == 0
        )


def _correct(book: Book, visit: Visit, cards: list[tuple[int, str, list[Shot]]], names: list[str]) -> None:
    """Write the visit once more as it should have been entered."""
    code = f"{visit.code}C"
    fixed = Visit(code, visit.stop, visit.action, visit.starts, visit.who, visit.entered)
    for table in ("surveys", "moves", "cold_targets", "findings"):
        book.rows[table].extend({**row, "session": code} for row in list(book.rows[table]))
    for number, _, shots in cards:
        _write_readings(book, fixed, number, shots, names, None)
    original = next(row for row in book.rows["sessions"] if row["session"] == visit.code)
    reason = "h at station B was typed with the sign turned; the sheet at the machine has it right"
    book.rows["sessions"].append({**original, "session": code, "corrects": visit.code, "correction_reason": reason})


def _hot_survey(life: Life, book: Book, visit: Visit, names: list[str]) -> None:
    """Write a survey of the hot bore, screw out, taken on the day after the visit."""
    at = Temperatures(180.0, 31.0, 26.0)
    later = Visit(f"{visit.code}H", visit.stop, "hot", visit.starts + timedelta(days=1), visit.who, False)
    _, _, shots = _measure(life, book, later, 1, at, hot=True)
    book.add(
        "sessions",
        session=later.code,
        line=life.plan.code,
        started_at=later.starts,
        reason="hot survey with the screw out",
        outage=stop_code(SITES[life.plan.site], life.site_stop(visit.stop)),
        technician=visit.who.name,
        instrument=visit.who.instrument,
        ambient_c="22",
        remarks="heaters live under the plant's procedure; bore cleaned first",
    )
    book.add(
        "surveys",
        session=later.code,
        survey=1,
        phase="hot",
        measured_at=later.starts + timedelta(hours=4),
        barrel_c="180",
        gearbox_c="31",
        gearbox_c_at="casing_mean",
        base_c="26",
        axis_by="shaft_turned",
        bolts="torqued",
        screw="out",
        die="off",
        heats_off_h="0",
    )
    for support in life.plan.build.supports:
        book.add(
            "support_temperatures", session=later.code, survey=1, support=support.code, barrel_c="180", base_c="26"
        )
    _write_readings(book, later, 1, shots, names, None)
