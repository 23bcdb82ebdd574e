"""The plant on paper: sites with their stops, instruments, and what each line is built of."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Final

from seed_demo.life import HOURS_PER_YEAR, Life
from seed_demo.plant import INSTRUMENTS, SITES, coming_stop, past_stop, stop_code
from seed_demo.stories import TROUBLE_DAYS
from seed_demo.writing import Book, decimal

_VISIT_HOURS: Final = {60: 8, 75: 8, 90: 10, 105: 10, 120: 12, 150: 14}
_HOURS_NOT_TYPED: Final = ("TAR-03", "VES-02")
"""Lines for which nobody typed what a visit takes: their own visits tell."""
_FRAMES: Final = {60: "small", 75: "small", 90: "medium", 105: "medium", 120: "large", 150: "large"}


def write_sites(book: Book, today: date) -> None:
    """Write settings, sites and their stops, past and ahead."""
    for name, value in (("horizon_years", "5"), ("cap", "0.2"), ("screw_out_kinds", "screw change")):
        book.add("settings", name=name, value=value, from_on=date(2015, 1, 1))
    for site in SITES.values():
        book.add("sites", site=site.code, name=site.name, time_zone=site.time_zone)
        for name, value in site.settings:
            book.add("settings", site=site.code, name=name, value=value, from_on=date(2015, 1, 1))
        for index in reversed(range(len(site.stops_back))):
            day = past_stop(site, index, today)
            book.add(
                "outages",
                outage=stop_code(site, day),
                site=site.code,
                kind="screw change" if index % 3 == 1 else "maintenance stop",
                starts_at=datetime.combine(day, time(6)),
                ends_at=datetime.combine(day + timedelta(days=4), time(18)),
                crew_hours=60,
                crews=2,
                state="done",
            )
        for stop in site.stops_ahead:
            day = coming_stop(stop, today)
            book.add(
                "outages",
                outage=stop_code(site, day),
                site=site.code,
                kind=stop.kind,
                starts_at=datetime.combine(day, time(6)),
                ends_at=datetime.combine(day + timedelta(days=stop.length_days), time(18)),
                crew_hours=stop.crew_hours,
                crews=stop.crews,
                state="planned",
            )
    day = today + timedelta(days=60)
    book.add(
        "outages",
        outage="TAR-03-extra",
        line="TAR-03",
        kind="extra stop",
        starts_at=datetime.combine(day, time(6)),
        ends_at=datetime.combine(day + timedelta(days=1), time(20)),
        crew_hours=12,
        crews=1,
        state="cancelled",
    )


def write_instruments(book: Book, today: date) -> None:
    """Write the instruments and their yearly calibrations."""

    def figure(value: float | None) -> str | None:
        return None if value is None else decimal(value, 2 if value % 1 else 0)

    for number, tool in enumerate(INSTRUMENTS.values()):
        book.add(
            "instruments",
            instrument=tool.code,
            kind=tool.kind,
            resolution_um=figure(tool.resolution_um),
            repeatability_um=figure(tool.repeatability_um),
            target_zero_um=figure(tool.target_zero_um),
            beam_offset_um=figure(tool.beam_offset_um),
            beam_direction_um_per_m=figure(tool.beam_direction_um_per_m),
            wander_um=figure(tool.wander_um),
            sense_v=tool.sense_v,
            sense_h=tool.sense_h,
        )
        for back in reversed(range(13)):
            if tool.code == "L-23" and back == 2:
                continue  # one calibration was let slip
            day = today - timedelta(days=40 + 15 * number + 360 * back)
            book.add(
                "calibrations",
                instrument=tool.code,
                calibrated_on=day,
                due_on=day + timedelta(days=395),
                certificate=f"K{day:%y}-{tool.code[-2:]}",
            )


def write_line(book: Book, life: Life) -> None:
    """Write a line, its supports, stations, tolerances, parts and events."""
    plan, build, site = life.plan, life.plan.build, SITES[life.plan.site]
    hours = _VISIT_HOURS[build.screw_mm]
    book.add(
        "lines",
        line=plan.code,
        site=plan.site,
        description=plan.product.capitalize(),
        screw_diameter_mm=build.screw_mm,
        commissioned_on=life.commissioned,
        running_hours_per_year=HOURS_PER_YEAR,
        foundation=plan.foundation,
        cold_reference_c=20,
        right_hand_side=site.right_hand_side,
        weight=plan.weight,
        visit_hours=None if plan.code in _HOURS_NOT_TYPED else hours,
        visit_cost_days=3,
        cool_down_h=10,
        heat_up_h=6,
        screw_pull_h=4,
    )
    for support in build.supports:
        book.add(
            "supports",
            line=plan.code,
            support=support.code,
            distance_mm=decimal(support.distance_mm, 0),
            height_mm=decimal(support.height_mm, 0),
            saddle=support.saddle,
            vee_angle_deg=support.vee_angle_deg,
            carries=support.carries,
            slides=support.slides,
            adjusts_v="yes",
            adjusts_h="yes" if support.adjusts_h else "no",
            v_step_um=decimal(plan.step_um * 1.016, 2) if plan.site == "VES" else plan.step_um,
            base_expansion_per_k="0.000011",
            added_on=life.commissioned,
        )
    for number, (name, at, code) in enumerate(build.stations):
        book.add(
            "stations",
            line=plan.code,
            station=name,
            distance_mm=decimal(at, 0),
            support=code,
            bore=1,
            segment="feed end" if number == 0 else None,
            added_on=life.commissioned,
        )
    for axis, part in (("v", 1.0), ("h", 0.8)):
        book.add(
            "tolerances",
            line=plan.code,
            axis=axis,
            measure="offset",
            from_on=life.commissioned,
            watch_um=round(plan.watch_um * part),
            limit_um=round(plan.limit_um * part),
            set_within_um=25,
            basis="plant rule for the screw size",
        )
    if plan.code == "ORR-07":
        for axis in "vh":
            book.add(
                "tolerances",
                line=plan.code,
                axis=axis,
                measure="slope",
                from_on=life.commissioned,
                watch_um=60,
                limit_um=100,
                basis="gearbox builder, um per m",
            )
    _write_assets(book, life)
    if plan.since_days is not None and plan.code in ("TAR-01", "TAR-03"):
        book.add(
            "events",
            line=plan.code,
            happened_at=datetime.combine(life.today - timedelta(days=TROUBLE_DAYS), time(12)),
            kind="foundation",
            note="water main burst beside the hall, ground washed out under the fill",
            resets_trend="yes",
        )
    if plan.code == "VES-01":
        struck = datetime.combine(life.today - timedelta(days=900), time(15, 20))
        book.add(
            "events",
            line=plan.code,
            happened_at=struck,
            kind="struck",
            note="fork truck touched the guard at B",
            resets_trend="no",
            support="B",
        )


def _write_assets(book: Book, life: Life) -> None:
    """Write what stands on a line, the swapped part before and after, and a little wear."""
    plan, build = life.plan, life.plan.build
    swap_day = None if plan.since_stop is None else life.site_stop(plan.since_stop)
    for kind in ("gearbox", "barrel", "screw"):
        first = f"{kind[0].upper()}-{plan.code}"
        serials = (
            [(first, life.commissioned, swap_day), (f"{first}b", swap_day, None)]
            if plan.swap == kind
            else [(first, life.commissioned, None)]
        )
        for serial, start, end in serials:
            if kind == "gearbox":
                book.add(
                    "gearboxes",
                    gearbox=serial,
                    frame=_FRAMES[build.screw_mm],
                    hollow_shaft_bore_mm=build.screw_mm + 60,
                    centre_height_mm=build.centre_height_mm,
                    expansion_per_k="0.000011",
                )
            elif kind == "barrel":
                book.add(
                    "barrels",
                    barrel=serial,
                    bore_mm=build.screw_mm,
                    outside_diameter_mm=build.outside_mm,
                    length_mm=build.length_mm,
                    expansion_per_k="0.0000121",
                )
            else:
                book.add(
                    "screws",
                    screw=serial,
                    diameter_mm=decimal(build.screw_mm - 0.2, 1),
                    length_mm=build.length_mm + 450,
                )
            book.add("placements", line=plan.code, asset_kind=kind, asset=serial, installed_on=start, removed_on=end)
    if plan.swap and swap_day:
        note = (
            "bearing noise, spare gearbox fitted"
            if plan.swap == "gearbox"
            else "liner worn, new barrel with bimetal liner"
        )
        book.add(
            "events",
            line=plan.code,
            happened_at=datetime.combine(swap_day, time(11)),
            kind=f"{plan.swap} changed",
            note=note,
            resets_trend="yes",
        )
    if plan.swap == "barrel" or plan.code == "ORR-07":
        old = f"B-{plan.code}"
        for years, grown in ((6, 0.03), (4, 0.06)):
            day = life.today - timedelta(days=365 * years)
            for part in (0.2, 0.5, 0.85):
                book.add(
                    "wear",
                    asset_kind="barrel",
                    asset=old,
                    measured_at=day,
                    distance_mm=decimal(part * build.length_mm, 0),
                    diameter_v=decimal(build.screw_mm + grown * part, 3),
                    diameter_h=decimal(build.screw_mm + 0.7 * grown * part, 3),
                    unit="mm",
                    method="bore gauge",
                )


def write_meter(book: Book, life: Life) -> None:
    """Write quarterly meter readings where the line has a meter."""
    if not life.plan.metered:
        return
    for number, back in enumerate(range(int(life.plan.years * 365) - 100, 3, -91)):
        day = life.today - timedelta(days=back)
        book.add(
            "meters",
            line=life.plan.code,
            read_at=datetime.combine(day, time(7)),
            running_hours=life.meter(day),
            starts=8 + 6 * number,
        )
    if life.plan.meter_replaced_days:
        changed = datetime.combine(life.today - timedelta(days=life.plan.meter_replaced_days), time(9))
        book.add(
            "events",
            line=life.plan.code,
            happened_at=changed,
            kind="meter replaced",
            note="the new one began at nothing",
            resets_trend="no",
        )
