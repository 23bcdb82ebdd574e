"""Invented contents for Compare: twelve lines of Orrindale in short, chosen by hand so that each verdict occurs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fleet.services.compare import (
    Change,
    Cohort,
    Cohorts,
    CompareFilters,
    CompareView,
    Events,
    KindOfEvent,
    MatrixRow,
    Ranked,
)

TODAY = date(2026, 11, 25)


def ranked(place: int, line: str, rate: float, own: float, *, told: bool = False, intervals: int = 6) -> Ranked:
    """Return one line of the ranking beside a fleet that goes 15 um a year lower."""
    return Ranked(
        place=place, line=line, bore=1, site="ORR", foundation="grouted", frame="B", saddle="vee",
        screw_diameter_mm=120.0, right_hand_side="operator side", station="B", distance_mm=3000.0, intervals=intervals,
        visits=intervals + 1, rate=rate, u95_rate=9.0, own=own, u95_own=12.0, borrowed=0.25, fleet=-15.0,
        from_fleet=rate + 15.0, u95_from_fleet=10.0, sure=0.97, told_apart=told, rate_um_per_1000_h=rate / 8.0,
    )  # fmt: skip


RANKED = (
    ranked(1, "ORR-07", -60.0, -64.0, told=True),
    ranked(2, "ORR-11", 31.0, 33.0, told=True),
    ranked(3, "ORR-08", -21.0, -158.0, intervals=1),
    ranked(4, "ORR-03", -12.0, -13.0),
    ranked(5, "ORR-06", -1.0, 1.0, told=True, intervals=12),
)


def group(name: str, mean: float, rest: float, *, told: bool = False, lines: int = 4) -> Cohort:
    """Return one group; `rest` is how far its mean lies from that of the other lines."""
    return Cohort(
        name=name, lines=lines, intervals=20, visits=24, mean=mean, u95_mean=8.0, from_rest=rest, u95_from_rest=10.0,
        p=0.001 if told else 0.4, told_apart=told, drifts=abs(mean) > 8.0,
    )  # fmt: skip


FRAME, GROUTED = group("steel frame", -26.0, -17.0, told=True), group("grouted", -9.0, 17.0, told=True, lines=8)
KINDS = (
    KindOfEvent("foundation", 3, 3, 3, -30.0, 12.0, 0.004, True, False),
    KindOfEvent("gearbox changed", 2, 2, 1, None, None, None, False, False),
    KindOfEvent("drift changed", 1, 1, 1, None, None, None, False, True),
    KindOfEvent("struck", 1, 1, 0, None, None, None, False, False),
)
GEARBOX = (
    Change("ORR-07", 1, "B", date(2024, 8, 10), "spare fitted", -20.0, 7.0, -34.0, 8.0, -14.0, 10.0, 4, 2, 0.99, True),
    Change("ORR-02", 1, "B", date(2023, 5, 1), None, None, None, None, None, None, None, 3, 0, None, False),
)
STRUCK = (Change("ORR-04", 1, "A", date(2025, 3, 2), None, 4.0, 9.0, -6.0, 9.0, -10.0, 14.0, 5, 1, 0.9, False),)
CHANGES = {"foundation": GEARBOX[:1], "gearbox changed": GEARBOX, "struck": STRUCK, "drift changed": ()}


def view(filters: CompareFilters) -> CompareView:
    """Return Orrindale's comparison, whatever page is asked for; site XX leaves nothing."""
    if filters.site == "XX":
        return nothing(filters)
    frame, grouted = FRAME, GROUTED
    if filters.by == "size":
        frame, grouted = replace(FRAME, name="63.5"), replace(GROUTED, name="120")
    chosen = filters.event if filters.event in CHANGES else "foundation"
    return CompareView(
        filters=filters, ranked=RANKED, total=5, pages=1, in_view=6, without_rate=1, lines_in_store=25,
        ranked_in_store=24, fleet=-15.0, u95_fleet=6.0, told=tuple(row for row in RANKED if row.told_apart),
        told_count=3, loudest=RANKED[2], cohorts=Cohorts(filters.by, filters.axis, (frame, grouted), 1, 0.001, 5.0),
        matrix=(
            MatrixRow("foundation", "steel frame", 4, (FRAME, group("steel frame", 11.0, 9.0))),
            MatrixRow("foundation", "grouted", 8, (GROUTED, None)),
            MatrixRow(None, "discharge", 12, (group("discharge", -18.0, 0.0, lines=12), group("discharge", 4.0, 0.0))),
        ),
        events=Events(KINDS, chosen, CHANGES[chosen]), scale=(-160.0, 45.0), sites=("ORR", "TAR"),
        site_names={"ORR": "Orrindale works (invented)", "TAR": "Tarn (invented)"},
        foundations=("grouted", "steel frame"), screw_diameters_mm=(63.5, 120.0), as_of=TODAY,
    )  # fmt: skip


def nothing(filters: CompareFilters, *, in_view: int = 0, lines: int = 25) -> CompareView:
    """Return a comparison without any rate: nothing in view, or nothing measured twice."""
    full = view(replace(filters, site=None))
    return replace(
        full, filters=filters, ranked=(), total=0, in_view=in_view, without_rate=in_view, lines_in_store=lines,
        told=(), told_count=0, loudest=None, fleet=None, u95_fleet=None, matrix=(),
        cohorts=Cohorts(filters.by, filters.axis, (), 0, None, 0.0), events=Events((), None, ()), scale=(0.0, 0.0),
    )  # fmt: skip
