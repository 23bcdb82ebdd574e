"""An invented backtest of the fleet at Orrindale; the figures were chosen by hand so that each kind of row occurs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fleet.errors import NotFoundError
from fleet.services.backtest import (
    AheadCount,
    BacktestRow,
    BacktestSummary,
    BacktestView,
    RangeCount,
    RuleComparison,
)


def counted(share: float, n: int, inside: int, expected: tuple[int, int], width_um: float) -> RangeCount:
    holds = expected[0] <= inside <= expected[1]
    return RangeCount(
        share, n, inside, *expected, inside / n, 0.02, width_um,
        "holds" if holds else "too_narrow" if inside < expected[0] else "too_wide",
    )  # fmt: skip


def too_few(one: RangeCount) -> RangeCount:
    return replace(one, share_inside=None, u_share_inside=None, verdict="few")


RANGES = (
    counted(0.5, 212, 140, (91, 121), 30.0),
    counted(0.8, 212, 170, (157, 182), 55.0),
    counted(0.95, 212, 188, (194, 208), 84.0),
)
FEW = tuple(
    too_few(counted(share, 8, inside, (0, 8), 101.6))
    for share, inside in ((0.5, 3), (0.8, 6), (0.95, 8))
)  # fmt: skip
SUMMARY = BacktestSummary(
    n=212,
    visits=27,
    verdict="too_narrow",
    sentence="Of 212 as-found values of 27 visits, 188 (89 %) lay inside their 95 % range: too narrow.",
    ranges=RANGES,
    score_um=12.4,
    simple_rules=(
        RuleComparison("as_left", 204, 16.6, 12.3, 0.6),
        RuleComparison("own_rate", 0, None, None, None),
    ),
    by_days_ahead=(
        AheadCount(0.0, 180.0, 204, 26, 12.0, RANGES),
        AheadCount(180.0, 365.25, 0, 0, None, ()),
        AheadCount(365.25, 730.5, 8, 1, 20.0, FEW),
        AheadCount(730.5, None, 0, 0, None, ()),
    ),
)
ROW = BacktestRow(
    line="=ORR-07", station="B", axis="v", session="S-06", date=date(2026, 5, 9), days_ahead=142, expected_um=-210.0,
    q025=-260.0, q10=-240.0, q25=-225.0, q75=-195.0, q90=-180.0, q975=-160.0, measured_um=-190.0, place=0.8,
    inside_50=False, inside_80=True, inside_95=True,
)  # fmt: skip
NOTHING = replace(
    SUMMARY, n=0, visits=0, verdict="few", sentence="No as-found could be held against a forecast yet.",
    ranges=tuple(too_few(replace(one, n=0, inside=0)) for one in RANGES), score_um=None,
)  # fmt: skip


def summary(site: str | None) -> BacktestSummary:
    if site == "nowhere":
        raise NotFoundError("There is no site 'nowhere'.")
    return NOTHING if site == "NEW" else SUMMARY


def view(site: str | None) -> BacktestView:
    return BacktestView(summary(site), (ROW,))
