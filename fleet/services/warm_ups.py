"""Warm-ups measured before the line had soaked: where several times are known, the rise they head for counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from fleet.services.running_checks import RUNNING_LABEL, Check
from fleet.thermal.soak import SoakedRise, end_of_approach, soaked_rise
from fleet.values import FloatArray, IntArray

EXTRAPOLATED: Final = f"{RUNNING_LABEL}, extrapolated"
SAME_HEATS_ON: Final = timedelta(hours=2)
"""Heats-on moments nearer to each other are one: hours are written down rounded, and zones come on in turn."""


def with_warm_ups(checks: Sequence[Check], run: IntArray) -> tuple[list[Check], IntArray]:
    """Return the checks with what unfinished warm-ups were heading for, and the run of each.

    Parameters
    ----------
    checks : one a station
    run : (n,) int array, of each check

    Returns
    -------
    list of Check, (m,) int array
        The n given, in their order, those that an extrapolated rise stands for no longer counting; behind them the
        extrapolated ones, at the time of the last early check they stand for.
    """
    told = list(checks)
    run_of = run.tolist()
    for at in _warm_ups(checks, run_of):
        for position, extrapolated in _extrapolated([checks[k] for k in at]):
            told.append(extrapolated)
            run_of.append(run_of[at[0]])
            for k in (at[p] for p in position):
                told[k] = replace(told[k], counts=False)
    return told, np.array(run_of, dtype=np.int64)


def _warm_ups(checks: Sequence[Check], run_of: Sequence[int]) -> list[list[int]]:
    """Return the checks of every warm-up in which at least one was early."""
    timed: dict[int, list[tuple[datetime, int]]] = defaultdict(list)
    with_early = {run_of[k] for k, check in enumerate(checks) if check.early}
    for k, check in enumerate(checks):
        if run_of[k] in with_early and check.hours_since_heats_on is not None:
            timed[run_of[k]].append((check.checked_at - timedelta(hours=check.hours_since_heats_on), k))
    found: list[list[int]] = []
    for members in timed.values():
        members.sort()
        last: datetime | None = None
        for heats_on, k in members:
            if last is None or heats_on - last > SAME_HEATS_ON:
                found.append([])
            found[-1].append(k)
            last = heats_on
    return [at for at in found if any(checks[k].early for k in at)]


def _extrapolated(checks: list[Check]) -> list[tuple[list[int], Check]]:
    """Return, for every station of a warm-up whose end is known, which early checks it stands for, and the check."""
    times = sorted({check.checked_at for check in checks})
    stations = sorted({check.station.id for check in checks})
    shape = len(times), len(stations)
    rise, u, h, u_h, modelled = (np.full(shape, np.nan) for _ in range(5))
    for check in checks:
        cell = times.index(check.checked_at), stations.index(check.station.id)
        rise[cell], h[cell] = check.rise_um
        u[cell], u_h[cell] = check.u_um
        modelled[cell] = check.modelled_um
    hours = np.array([(moment - times[0]).total_seconds() / 3600.0 for moment in times])
    end = soaked_rise(hours, rise, u)
    if end is None:
        return []
    h_end, u_h_end = end_of_approach(hours, h, u_h, time_constant_h=end.time_constant_h)
    model_end, _ = end_of_approach(hours, modelled, np.ones(shape), time_constant_h=end.time_constant_h)
    told = []
    for column, station in enumerate(stations):
        early = [p for p, check in enumerate(checks) if check.station.id == station and check.early]
        if not early:
            continue
        last = checks[max(early, key=lambda p: checks[p].checked_at)]
        if _is_better(end, column, last):
            told.append((early, _ended(last, end, column, h_end, u_h_end, float(model_end[column]))))
    return told


def _is_better(end: SoakedRise, column: int, last: Check) -> bool:
    """Return whether the extrapolated end is known better than the last early check tells it."""
    final, u = float(end.final_um[column]), float(end.u_final_um[column])
    return bool(np.isfinite(final)) and u <= float(np.hypot(last.u_um[0], final - last.rise_um[0]))


def _ended(
    last: Check, end: SoakedRise, column: int, h_end: FloatArray, u_h_end: FloatArray, modelled_um: float
) -> Check:
    sideways = np.isfinite(h_end[column])
    # What all checks of a warm-up got wrong alike stays in its end: it is never better than the last of them.
    return replace(
        last,
        label=EXTRAPOLATED,
        rise_um=(float(end.final_um[column]), float(h_end[column]) if sideways else last.rise_um[1]),
        u_um=(
            max(float(end.u_final_um[column]), last.u_um[0]),
            max(float(u_h_end[column]), last.u_um[1]) if sideways else last.u_um[1],
        ),
        modelled_um=modelled_um if np.isfinite(modelled_um) else last.modelled_um,
        hours_since_heats_on=None,
        early=False,
    )
