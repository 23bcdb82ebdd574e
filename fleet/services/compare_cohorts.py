"""Groups of lines side by side: by foundation, gearbox frame, saddle, screw size and site, and by axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.services.compare_base import COHORTS, PLACES, Base, CohortBy, Place, Unit
from fleet.services.expanded import expanded
from fleet.trend.comparing import Groups, compare_groups, told_apart
from fleet.values import AXES, Axis, IntArray

FEWEST_LINES: Final = 2
"""A group of one line says nothing that the line does not say itself."""


@dataclass(frozen=True, slots=True)
class Cohort:
    """One group of lines at one place and axis; rates in um per year of use, + higher or to the right.

    Attributes
    ----------
    name
        What its lines have in common, as recorded; saddles joined by '+'.
    lines, intervals, visits
        What stands behind it.
    mean, u95_mean
        Mean rate of its lines and its expanded uncertainty (95 %); None where too few lines are there to say.
    from_rest, u95_from_rest
        The mean minus the mean over the lines of all other groups.
    p
        Chance of such a difference or a larger one if there were none; None: not known.
    told_apart
        That is not to be put down to chance, allowing for all groups of all kinds on both axes: of those told apart at
        most one in twenty is expected to be wrong. Groups of one line are never told apart.
    drifts
        The mean's 95 % interval leaves out no drift at all.
    """

    name: str
    lines: int
    intervals: int
    visits: int
    mean: float | None
    u95_mean: float | None
    from_rest: float | None
    u95_from_rest: float | None
    p: float | None
    told_apart: bool
    drifts: bool


@dataclass(frozen=True, slots=True)
class Cohorts:
    """All groups of one kind, those that move most first, sizes in order.

    `not_recorded` lines say nothing of it; `p_any` is the chance of such differences of all groups at once if there
    were none; `tau` is the standard deviation of the lines within a group.
    """

    by: CohortBy
    axis: Axis
    groups: tuple[Cohort, ...]
    not_recorded: int
    p_any: float | None
    tau: float


@dataclass(frozen=True, slots=True)
class MatrixRow:
    """One group of lines on both axes (v, h); None where the axis has no record. `by` None: a place on every line."""

    by: CohortBy | None
    name: str
    lines: int
    cells: tuple[Cohort | None, Cohort | None]


def one_a_line(units: Sequence[Unit], lines: frozenset[int]) -> list[Unit]:
    """Return the first bore of every chosen line: the bores of one line are no two witnesses."""
    kept: dict[int, Unit] = {}
    for unit in units:
        if unit.line in lines:
            kept.setdefault(unit.line, unit)
    return list(kept.values())


def all_cohorts(base: Base, place: Place, lines: frozenset[int]) -> dict[tuple[CohortBy, Axis], Cohorts]:
    """Return the groups of every kind on both axes over some lines, judged together.

    Parameters
    ----------
    base : as from `current_base`
    place : which rate
    lines : indices of the lines in view
    """
    found = {(by, axis): _cohorts(base, by, axis, place, lines) for by in COHORTS for axis in AXES}
    judged = [
        np.nan if group.p is None or group.lines < FEWEST_LINES else group.p
        for of_kind in found.values()
        for group in of_kind.groups
    ]
    told = iter(told_apart(np.array(judged, dtype=np.float64)).tolist())
    return {
        key: replace(of_kind, groups=tuple(replace(group, told_apart=next(told)) for group in of_kind.groups))
        for key, of_kind in found.items()
    }


def _cohorts(base: Base, by: CohortBy, axis: Axis, place: Place, lines: frozenset[int]) -> Cohorts:
    units = one_a_line(base.units[axis, place], lines)
    kind = base.kinds[by]
    named = [unit for unit in units if kind[unit.line] is not None]
    names = sorted({kind[unit.line] or "" for unit in named}, key=lambda name: _order(by, name))
    number = {name: g for g, name in enumerate(names)}
    groups, p_any, tau = _compared(base, named, [number[kind[unit.line] or ""] for unit in named], names)
    if by != "size":
        groups = sorted(groups, key=lambda group: -abs(group.mean or 0.0))
    return Cohorts(by, axis, tuple(groups), len(units) - len(named), p_any, tau)


def matrix(base: Base, found: dict[tuple[CohortBy, Axis], Cohorts], lines: frozenset[int]) -> tuple[MatrixRow, ...]:
    """Return every group of every kind on both axes, and all lines at either place.

    Parameters
    ----------
    base : as from `current_base`
    found : as from `all_cohorts`
    lines : indices of the lines in view
    """
    rows = []
    for by in COHORTS:
        named = {axis: {group.name: group for group in found[by, axis].groups} for axis in AXES}
        names = sorted({name for of in named.values() for name in of}, key=lambda name: _order(by, name))
        rows += [_matrix_row(by, name, (named["v"].get(name), named["h"].get(name))) for name in names]
    for each in PLACES:
        cells = []
        for axis in AXES:
            units = one_a_line(base.units[axis, each], lines)
            group, _, _ = _compared(base, units, [0] * len(units), [each])
            cells.append(group[0] if group else None)
        rows.append(_matrix_row(None, each, (cells[0], cells[1])))
    return tuple(row for row in rows if row.lines)


def _matrix_row(by: CohortBy | None, name: str, cells: tuple[Cohort | None, Cohort | None]) -> MatrixRow:
    return MatrixRow(by, name, max((cell.lines for cell in cells if cell), default=0), cells)


def _order(by: CohortBy, name: str) -> tuple[float, str]:
    return (float(name) if by == "size" else 0.0, name)


def _compared(
    base: Base, units: Sequence[Unit], group: Sequence[int], names: Sequence[str]
) -> tuple[list[Cohort], float | None, float]:
    if not units:
        return [], None, 0.0
    rows: IntArray = np.array([unit.series for unit in units], dtype=np.int64)
    of: IntArray = np.array(group, dtype=np.int64)
    got = compare_groups(base.own.rate_um[rows], base.own.var_um2[rows], of, len(names))
    enough = got.lines >= FEWEST_LINES
    intervals = np.bincount(of, weights=base.known.n_intervals[rows], minlength=len(names))
    per_series = np.bincount(base.fleet.assembled.visits.series, minlength=base.own.rate_um.size)
    visits = np.bincount(of, weights=per_series[rows], minlength=len(names))
    result = []
    for g, name in enumerate(names):
        mean, u95 = float(got.mean_um[g]), _u95(got, float(got.u_um[g]))
        result.append(
            Cohort(
                name=name,
                lines=int(got.lines[g]),
                intervals=int(intervals[g]),
                visits=int(visits[g]),
                mean=mean,
                u95_mean=u95,
                from_rest=_known(float(got.from_rest_um[g])),
                u95_from_rest=_u95(got, float(got.from_rest_u_um[g])),
                p=_known(float(got.p[g])),
                told_apart=False,
                drifts=u95 is not None and abs(mean) > u95 and bool(enough[g]),
            )
        )
    return result, _known(got.p_any), got.tau_um


def _u95(got: Groups, u: float) -> float | None:
    return expanded(u, float(got.dof)) if got.dof >= 1 and np.isfinite(u) else None


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
