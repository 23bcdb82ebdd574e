"""Invented contents for the cold offsets read by way of choosing: three lines of Orrindale, figures chosen by hand."""

from __future__ import annotations

from datetime import date

from fleet.errors import NotFoundError
from fleet.services.cold_offset_advice import ColdOffsetAdvice, NextTarget, Surer, TargetLeft
from fleet.services.cold_offset_groups import (
    BINS,
    ComparisonRow,
    Group,
    GroupBy,
    LineInWays,
    Share,
    Spread,
    Way,
    WayInGroup,
    WaysView,
)
from fleet.services.cold_offset_ways import ScopeWays, WayFigures
from fleet.services.measured_rises import StationRise
from fleet.values import Axis

AS_OF = date(2026, 11, 25)


def way(name: Way, runs: int, bias_um: float, rms_um: float, watch: float, limit: float) -> WayInGroup:
    return WayInGroup(
        name, runs, bias_um, 20.0, rms_um, 10.0, Share(watch, max(watch - 0.1, 0.0), min(watch + 0.05, 1.0)),
        Share(limit, max(limit - 0.1, 0.0), 1.0),
    )  # fmt: skip


def ways(runs: int, rms_um: tuple[float, float, float, float, float]) -> tuple[WayInGroup, ...]:
    """Return the five ways in their order, none to pooled; the first two run high, and outside more often."""
    none, bore, heat, own, pooled = rms_um
    return (
        way("none", runs, none - 2.0, none, 0.06, 0.345),
        way("bore_size", runs, bore - 3.0, bore, 0.84, 0.95),
        way("heat_model", runs, 30.0, heat, 0.94, 1.0),
        way("own_record", runs, 0.0, own, 1.0, 1.0),
        way("pooled", runs, -4.0, pooled, 1.0, 1.0),
    )


NOTHING = tuple(WayInGroup(one.way, 0, None, None, None, None, None, None) for one in ways(1, (1.0,) * 5))
FLEET = Group("", (60.0, 120.0), 4, 3, 31, ways(31, (220.0, 90.0, 60.0, 30.0, 32.0)), "own_record", ("pooled",))
GROUPS: dict[GroupBy, tuple[Group, ...]] = {
    "size": (
        Group("", (60.0, 60.0), 1, 1, 3, ways(3, (54.0, 137.0, 14.0, 17.0, 15.0)), "heat_model", ("pooled",)),
        Group("", (105.0, 120.0), 2, 2, 28, ways(28, (230.0, 101.0, 29.0, 19.0, 18.4)), "pooled", ("own_record",)),
        Group("", None, 1, 0, 0, NOTHING, None, ()),
    ),
    "saddle": (
        Group("flat", (60.0, 60.0), 1, 1, 3, ways(3, (54.0, 137.0, 14.0, 17.0, 15.0)), "heat_model", ()),
        Group("flat+vee", (120.0, 120.0), 1, 1, 2, ways(2, (239.0, 59.0, 22.0, 23.0, 22.0)), None, ()),
        Group("vee", (105.0, 120.0), 2, 1, 26, ways(26, (225.0, 76.0, 27.0, 18.0, 18.4)), "own_record", ("pooled",)),
    ),
    "site": (Group("ORR", (60.0, 120.0), 4, 3, 31, FLEET.ways, "own_record", ("pooled",)),),
}
LINES = (
    LineInWays("ORR-07", "ORR", "vee", Group("", (120.0, 120.0), 1, 1, 26, FLEET.ways, "own_record", ("pooled",))),
    LineInWays("ORR-08", "ORR", "flat+vee", Group("", (120.0, 120.0), 1, 1, 2, ways(2, (1.0,) * 5), None, ())),
    LineInWays(
        "ORR-12", "ORR", "flat", Group("", (60.0, 60.0), 1, 1, 3, ways(3, (54.0, 137.0, 14.0, 17.0, 15.0)),
                                       "heat_model", ("pooled",))
    ),
    LineInWays("ORR-13", "ORR", "", Group("", None, 1, 0, 0, NOTHING, None, ())),
)  # fmt: skip
_MIDDLE = BINS // 2
SPREAD = Spread(tuple(6 if k == _MIDDLE else 2 if abs(k - _MIDDLE) == 1 else 0 for k in range(BINS)), 1, 2, 0.04)
NO_LIMIT = Spread((0,) * BINS, 0, 0, None)


def view(axis: Axis, site: str | None, by: GroupBy) -> WaysView:
    if site not in (None, "ORR"):
        empty = Group("", None, 0, 0, 0, NOTHING, None, ())
        return WaysView(axis, site, ("ORR",), by, empty, (NO_LIMIT,) * 5, (), (), AS_OF)
    return WaysView(axis, site, ("ORR",), by, FLEET, (SPREAD,) * 4 + (NO_LIMIT,), GROUPS[by], LINES, AS_OF)


def comparison(line: str | None, site: str | None) -> list[ComparisonRow]:
    if line not in (None, "ORR-07"):
        raise NotFoundError(f"There is no line '{line}'.")
    if site not in (None, "ORR"):
        return []
    return [
        ComparisonRow(
            "ORR-07", "ORR", "=B", "v", "own_record", True, -260.0, 20.0, 5, 0.0, 12.0, 12.0, 9.0, 1.0, 1.0, 0.0, -40.0,
            40.0, AS_OF,
        ),
        ComparisonRow(
            "ORR-07", "ORR", "=B", "v", "none", False, 0.0, None, 5, 260.0, 12.0, 260.0, 9.0, 0.0, 0.4, None, None,
            None, AS_OF,
        ),
    ]  # fmt: skip


def rises(_line: str) -> tuple[StationRise, ...]:
    """Return what was measured over both supports in the story of ORR-07."""
    runs = tuple((date(2022 + n, 6, 16), um) for n, um in enumerate((272.0, 242.0, 262.0, 272.0, 252.0)))
    return (StationRise("A", "A", 1500.0, runs, 260.0, 16.0), StationRise("B", "B", 3150.0, runs, 260.0, 16.0))


def target(station: str, mm: float, axis: Axis, way_: Way | None, um: float | None, runs: int) -> NextTarget:
    return NextTarget(
        station, mm, axis, way_, way_, runs >= 3, False, runs, um, 20.0, None if um is None else 0.0,
        None if um is None else -40.0, None if um is None else 40.0, 130.0, 250.0,
    )  # fmt: skip


def as_left(year: int, aim: float | None, made: float, ran: float | None, would: float | None) -> TargetLeft:
    return TargetLeft(
        session=f"S-{year}", on=date(year, 5, 9), technician="M. Adeyrin", station="B", distance_mm=3150.0, axis="v",
        target_um=aim, target_own=year == 2022, basis="rule_of_thumb" if year == 2022 else None, reason=None,
        recommended_way="own_record" if year > 2023 else "heat_model", recommended_um=-240.0, u95_recommended_um=50.0,
        runs_known=year - 2022, as_left_um=made, u95_as_left_um=20.0, set_within_um=50.0,
        met=None if aim is None else abs(made - aim) <= 50.0, ran_um=ran, would_have_run_um=would,
    )  # fmt: skip


def scope(name: str, lines: int, runs: int, rms_um: float) -> ScopeWays:
    factors: dict[Way, float] = {"none": 8.0, "bore_size": 3.0, "heat_model": 2.0, "own_record": 1.0, "pooled": 1.2}
    figures = tuple(
        WayFigures(way_, None, None, runs, 2.0, 9.0, rms_um * factor, 0.97, 1.0, ()) for way_, factor in factors.items()
    )
    bore = (112.5, 127.5) if name == "size" else None
    return ScopeWays(name, "v", lines, runs, "own_record", 0.8, bore, figures)  # type: ignore[arg-type]


ADVICE = ColdOffsetAdvice(
    verdict="Over 5 runs this line's own running checks would have put line ORR-07 closest to zero",
    confidence=0.8,
    targets=(
        target("1", 150.0, "v", "pooled", -25.0, 0),
        target("A", 1500.0, "v", "own_record", -260.0, 5),
        target("B", 3150.0, "v", "own_record", -260.0, 5),
        target("C", 3700.0, "v", None, None, 0),
        target("B", 3150.0, "h", "heat_model", 0.0, 5),
    ),
    surer=Surer(
        "B", "v", 48.0, 41.0, 30.0, "One more running check, 12 h or more after heats on, at all stations (A, B)",
        "would narrow the expected range at B, vertically",
    ),
    scopes=(scope("line", 1, 5, 12.0), scope("size", 3, 14, 20.0), scope("fleet", 9, 31, 30.0)),
    left=(
        as_left(2025, -260.0, -210.0, 50.0, 20.0),
        as_left(2024, -200.0, -120.0, 140.0, 20.0),
        as_left(2023, None, -190.0, None, None),
        as_left(2022, -170.0, -180.0, 10.0, -30.0),
    ),
)  # fmt: skip
