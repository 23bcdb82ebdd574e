"""Ways of choosing the cold offset, judged over more than one line: the fleet, a screw size, a saddle, a site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Literal

import numpy as np

from fleet.services.cold_offsets import FleetComparison, current_comparison, number
from fleet.services.expanded import expanded
from fleet.services.plant import LineInfo
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import current_series
from fleet.store.engine import Store
from fleet.thermal.choices import WAYS, Way
from fleet.thermal.judging import LEAST_RUNS, Judgement, RunScores, choose, judge, rms_difference, score_runs
from fleet.values import AXES, NORMAL_95, Axis, BoolArray, FloatArray, IntArray

__all__ = [
    "BINS",
    "GROUPINGS",
    "SHOWN_SHARE",
    "WAYS",
    "ComparisonRow",
    "Group",
    "GroupBy",
    "LineInWays",
    "Share",
    "Spread",
    "Way",
    "WayInGroup",
    "WaysView",
    "comparison_rows",
    "grouped_ways",
    "ways_view",
]

GroupBy = Literal["size", "saddle", "site"]
GROUPINGS: Final[tuple[GroupBy, ...]] = ("size", "saddle", "site")
BINS: Final = 53
SHOWN_SHARE: Final = 1.3
"""Where runs came out is counted in this many steps between minus and plus this share of the limit."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share of runs and its 95 % range; all 0 to 1."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class WayInGroup:
    """One way judged over a group's runs [um]; None: no figure. Uncertainties are expanded (95 %)."""

    way: Way
    runs: int
    bias_um: float | None
    u95_bias_um: float | None
    rms_um: float | None
    u95_rms_um: float | None
    within_watch: Share | None
    within_limit: Share | None


@dataclass(frozen=True, slots=True)
class Group:
    """The ways over one group of lines.

    Attributes
    ----------
    name
        What its lines have in common, as recorded: a site's code, saddles joined by '+'; empty where not recorded.
    screw_mm
        Smallest and largest screw of its lines; None where none is recorded.
    lines, checked, runs
        Lines in it, those with a running check that can be judged, and the running checks; one run counts once.
    ways
        In the order of `fleet.thermal.choices.WAYS`.
    closest
        The way of least root mean square among those judged by enough runs; None: too few.
    as_good
        Ways that cannot be told from it: the difference is within its jackknife standard error over runs.
    """

    name: str
    screw_mm: tuple[float, float] | None
    lines: int
    checked: int
    runs: int
    ways: tuple[WayInGroup, ...]
    closest: Way | None
    as_good: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class LineInWays:
    """One line in the comparison of ways."""

    line: str
    site: str | None
    saddle: str
    group: Group


@dataclass(frozen=True, slots=True)
class Spread:
    """Where a way would have let the runs come out, as a share of each line's own limit.

    `counts` are values in `BINS` equal steps from -`SHOWN_SHARE` to +`SHOWN_SHARE`, one value a run and station;
    `below` and `above` lie outside; `mean` is None without a value.
    """

    counts: tuple[int, ...]
    below: int
    above: int
    mean: float | None


@dataclass(frozen=True, slots=True)
class WaysView:
    """The ways over the fleet or a site, by group and by line, for one axis; `spreads` in the order of `WAYS`."""

    axis: Axis
    site: str | None
    sites: tuple[str, ...]
    by: GroupBy
    fleet: Group
    spreads: tuple[Spread, ...]
    groups: tuple[Group, ...]
    lines: tuple[LineInWays, ...]
    as_of: date


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One way at one place, as it is handed over in a file [um]; None: no figure."""

    line: str
    site: str | None
    station: str
    axis: Axis
    way: Way
    recommended: bool
    cold_target_um: float | None
    u95_cold_target_um: float | None
    runs: int
    bias_um: float | None
    u95_bias_um: float | None
    rms_um: float | None
    u95_rms_um: float | None
    share_within_watch: float | None
    share_within_limit: float | None
    expected_running_um: float | None
    expected_running_low_um: float | None
    expected_running_high_um: float | None
    as_of: date


def ways_view(
    store: Store, *, axis: Axis = "v", site: str | None = None, by: GroupBy = "size", now: datetime | None = None
) -> WaysView:
    """Return how each way came out over the fleet, its groups and its lines.

    Parameters
    ----------
    store : the record
    axis : which axis is judged
    site : its code; None: every site; one that no line has leaves nothing
    by : what lines are grouped by
    now : the present moment, for tests
    """
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        compared = current_comparison(record, fleet)
    return grouped_ways(compared, axis=axis, site=site, by=by)


def grouped_ways(compared: FleetComparison, *, axis: Axis, site: str | None, by: GroupBy) -> WaysView:
    """Return the ways of a comparison by group and by line; parameters as in `ways_view`."""
    plant = compared.fleet.plant
    chosen = [i for i, line in enumerate(plant.lines) if site in (None, line.site)]
    rows = _judged_rows(compared, axis, chosen)
    saddles = {i: _saddles(compared, i) for i in chosen}
    keys = {i: _key(compared, i, by, saddles[i]) for i in chosen}
    order = sorted(set(keys.values()))
    group_of = {i: order.index(keys[i]) for i in chosen}
    of_line = {i: place for place, i in enumerate(chosen)}
    names = [key[1] for key in order]
    members = [[i for i in chosen if group_of[i] == g] for g in range(len(order))]
    line_groups = _groups(compared, rows, of_line, [""] * len(chosen), [[i] for i in chosen])
    return WaysView(
        axis=axis,
        site=site,
        sites=tuple(sorted({line.site for line in plant.lines if line.site})),
        by=by,
        fleet=_groups(compared, rows, dict.fromkeys(chosen, 0), [""], [chosen])[0],
        spreads=_spreads(compared, rows),
        groups=_groups(compared, rows, group_of, names, members),
        lines=tuple(
            LineInWays(plant.lines[i].code, plant.lines[i].site, saddles[i], group)
            for i, group in zip(chosen, line_groups, strict=True)
        ),
        as_of=max((compared.fleet.as_of[i] for i in chosen), default=max(compared.fleet.as_of, default=date.min)),
    )


def comparison_rows(
    store: Store, *, line: str | None = None, site: str | None = None, now: datetime | None = None
) -> list[ComparisonRow]:
    """Return every way at every place, by line, station, axis and way.

    Parameters
    ----------
    store : the record
    line : its code; None: every line
    site : its code; None: every site
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    reduce_if_needed(store)
    with store.read() as record:
        fleet = current_series(record, now=now)
        if line is not None:
            fleet.plant.line(line)
        compared = current_comparison(record, fleet)
    return [
        row
        for place, index in enumerate(compared.places.line.tolist())
        if line in (None, fleet.plant.lines[index].code) and site in (None, fleet.plant.lines[index].site)
        for row in _place_rows(compared, place, fleet.plant.lines[index], fleet.as_of[index])
    ]


def _place_rows(compared: FleetComparison, place: int, line: LineInfo, as_of: date) -> list[ComparisonRow]:
    got, judged = compared.comparison, compared.comparison.by_place
    rows = []
    for k, way in enumerate(WAYS):
        figures = _way(judged, place, k)
        chosen = int(got.choice.way[place]) == k
        expected = (got.expected_running_um, got.low_um, got.high_um)
        mean, low, high = (number(of[place]) if chosen else None for of in expected)
        rows.append(
            ComparisonRow(
                line=line.code,
                site=line.site,
                station=compared.stations[place // 2].code,
                axis=AXES[int(compared.places.axis[place])],
                way=way,
                recommended=chosen,
                cold_target_um=number(got.target_um[place, k]),
                u95_cold_target_um=number(NORMAL_95 * got.u_target_um[place, k]),
                runs=figures.runs,
                bias_um=figures.bias_um,
                u95_bias_um=figures.u95_bias_um,
                rms_um=figures.rms_um,
                u95_rms_um=figures.u95_rms_um,
                share_within_watch=number(judged.within_watch[place, k]),
                share_within_limit=number(judged.within_limit[place, k]),
                expected_running_um=mean,
                expected_running_low_um=low,
                expected_running_high_um=high,
                as_of=as_of,
            )
        )
    return rows


def _judged_rows(compared: FleetComparison, axis: Axis, chosen: Sequence[int]) -> BoolArray:
    rows, got = compared.rows, compared.comparison
    known = (got.row_place >= 0) & rows.counts & ~np.isnan(rows.rise_um) & (rows.axis == AXES.index(axis))
    return np.asarray(known & np.isin(rows.line, np.array(chosen, dtype=np.int64)), dtype=np.bool_)


def _saddles(compared: FleetComparison, index: int) -> str:
    fleet = compared.fleet
    supports = fleet.plant.supports.get(fleet.plant.lines[index].id, ())
    return "+".join(sorted({s.geometry.saddle or "" for s in supports if s.on(fleet.as_of[index])} - {""}))


def _key(compared: FleetComparison, index: int, by: GroupBy, saddles: str) -> tuple[float, str]:
    """Return what orders groups and what names them; lines where it is not recorded come last."""
    last = float("inf")
    if by == "site":
        site = compared.fleet.plant.lines[index].site
        return (0.0, site) if site else (last, "")
    if by == "saddle":
        return (0.0, saddles) if saddles else (last, "")
    sizes = compared.places.size[compared.places.line == index]
    return (float(sizes[0]), "") if sizes.size and sizes[0] >= 0 else (last, "")


def _scores(compared: FleetComparison, at: BoolArray, group_of: dict[int, int]) -> RunScores:
    rows = compared.rows
    group: IntArray = np.array([group_of[line] for line in rows.line[at].tolist()], dtype=np.int64)
    running = compared.comparison.would_have_run_um[at]
    return score_runs(group, rows.run[at], running, rows.watch_um[at], rows.limit_um[at])


def _groups(
    compared: FleetComparison,
    at: BoolArray,
    group_of: dict[int, int],
    names: Sequence[str],
    members: Sequence[Sequence[int]],
) -> tuple[Group, ...]:
    count = len(names)
    if count == 0:
        return ()
    scores = _scores(compared, at, group_of)
    judged = judge(scores, count)
    closest, as_good = _closest(scores, judged, count)
    checked = set(compared.rows.line[at].tolist())
    runs = np.bincount(scores.group, minlength=count)
    watch = _shares(scores, judged.within_watch, judged.u_within_watch, scores.within_watch)
    limit = _shares(scores, judged.within_limit, judged.u_within_limit, scores.within_limit)
    lines = compared.fleet.plant.lines
    result = []
    for g in range(count):
        screws = [d for i in members[g] if (d := lines[i].screw_diameter_mm) is not None]
        result.append(
            Group(
                name=names[g],
                screw_mm=(min(screws), max(screws)) if screws else None,
                lines=len(members[g]),
                checked=len(checked.intersection(members[g])),
                runs=int(runs[g]),
                ways=tuple(_way(judged, g, k, watch[g][k], limit[g][k]) for k in range(len(WAYS))),
                closest=closest[g],
                as_good=as_good[g],
            )
        )
    return tuple(result)


def _way(
    judged: Judgement, group: int, k: int, within_watch: Share | None = None, within_limit: Share | None = None
) -> WayInGroup:
    runs = int(judged.runs[group, k])
    dof = max(float(runs - 1), 1.0)
    return WayInGroup(
        way=WAYS[k],
        runs=runs,
        bias_um=number(judged.bias_um[group, k]),
        u95_bias_um=number(expanded(float(judged.u_bias_um[group, k]), dof)),
        rms_um=number(judged.rms_um[group, k]),
        u95_rms_um=number(expanded(float(judged.u_rms_um[group, k]), dof)),
        within_watch=within_watch,
        within_limit=within_limit,
    )


def _shares(scores: RunScores, share: FloatArray, u: FloatArray, of_run: FloatArray) -> list[list[Share | None]]:
    """Return the share of every group and way; runs of a line without a width have none and are not counted."""
    runs = np.zeros(share.shape)
    np.add.at(runs, scores.group, ~np.isnan(of_run))
    return [[_share(*figures) for figures in zip(*rows, strict=True)] for rows in zip(share, u, runs, strict=True)]


def _share(share: float, u: float, runs: float) -> Share | None:
    """Return a share with its range about (successes + 1) / (runs + 2), which is what its standard error belongs to."""
    if not (np.isfinite(share) and np.isfinite(u)):
        return None
    middle, half = (share * runs + 1.0) / (runs + 2.0), NORMAL_95 * u
    low, high = max(middle - half, 0.0), min(middle + half, 1.0)
    return Share(float(share), float(min(low, share)), float(max(high, share)))


def _closest(scores: RunScores, judged: Judgement, count: int) -> tuple[list[Way | None], list[tuple[Way, ...]]]:
    choice = choose(scores, judged, np.ones((count, len(WAYS)), dtype=np.bool_), start_with=())
    # `choose` hands ties to the simpler way; here the least stands first and what ties with it beside it.
    lead = np.where(choice.judged & (choice.way != 0), choice.best, choice.way)
    square = scores.mean_square_um2
    least = square[np.arange(scores.group.size), np.maximum(lead[scores.group], 0)]
    ties = np.zeros((count, len(WAYS)), dtype=np.bool_)
    for k in range(len(WAYS)):
        more, error = rms_difference(scores.group, count, square[:, k], least)
        ties[:, k] = (lead >= 0) & (judged.runs[:, k] >= LEAST_RUNS) & (more <= error) & (lead != k)
    return (
        [WAYS[k] if k >= 0 else None for k in lead.tolist()],
        [tuple(way for k, way in enumerate(WAYS) if ties[g, k]) for g in range(count)],
    )


def _spreads(compared: FleetComparison, at: BoolArray) -> tuple[Spread, ...]:
    limit = compared.rows.limit_um[at]
    shares = compared.comparison.would_have_run_um[at] / np.where(limit > 0.0, limit, np.nan)[:, None]
    result = []
    for column in shares.T:
        known = column[np.isfinite(column)]
        counts, _ = np.histogram(known, bins=BINS, range=(-SHOWN_SHARE, SHOWN_SHARE))
        result.append(
            Spread(
                counts=tuple(counts.tolist()),
                below=int(np.count_nonzero(known < -SHOWN_SHARE)),
                above=int(np.count_nonzero(known > SHOWN_SHARE)),
                mean=number(float(np.mean(known))) if known.size else None,
            )
        )
    return tuple(result)
