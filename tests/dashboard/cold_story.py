"""Invented contents for the cold offsets read by way of choosing: three lines of Orrindale, figures chosen by hand."""

from __future__ import annotations

from datetime import date

from fleet.errors import NotFoundError
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
