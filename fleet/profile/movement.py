"""What a movement was: shifted at the flange, turned about it, bent, or one support moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fleet.profile.line import check_profile, whitened
from fleet.profile.response import expected_response
from fleet.values import NORMAL_95, FloatArray

Kind = Literal["shifted", "turned", "bent", "support"]
MOST: Final = 0.5
"""Share of a movement's weighted sum of squares from which one part alone explains most of it."""
_TELLS: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Part:
    """One way a movement can be read.

    Attributes
    ----------
    kind
        `shifted` and `turned` are estimated together, as a line; `bent` and `support` are what lies beyond that line,
        each taken for itself, because a few stations cannot tell a bow from one support that gave.
    amount, u_amount
        [um], `turned` [um/m]; for `bent` the largest departure from straight, for `support` what that support moved.
    station
        Where a bend departs most, as an index; None otherwise.
    support
        Code of the support; None otherwise.
    beyond_measurement
        Whether the amount lies beyond its 95 % measurement uncertainty.
    drawn_um
        What this part alone does at every station, (n,). [um]
    share
        How much of the movement's weighted sum of squares this kind of movement would explain if it were alone, 0 to 1.
    """

    kind: Kind
    amount: float
    u_amount: float
    station: int | None
    support: str | None
    beyond_measurement: bool
    drawn_um: FloatArray
    share: float


@dataclass(frozen=True, slots=True)
class Movement:
    """A movement taken apart; `explains` is the kind that alone explains most of it, None where nothing does."""

    parts: tuple[Part, ...]
    explains: Kind | None
    moved_um: FloatArray
    u_moved_um: FloatArray


def split_movement(
    distance_mm: FloatArray,
    moved_um: FloatArray,
    covariance_um2: FloatArray,
    *,
    support_distance_mm: FloatArray,
    support_codes: Sequence[str],
) -> Movement:
    """Take the movement of a profile apart.

    Parameters
    ----------
    distance_mm
        Stations, (n,), at two distances or more. [mm]
    moved_um
        How far the bore moved there on one axis, (n,). [um]
    covariance_um2
        Of the movement, (n, n). [um^2]
    support_distance_mm, support_codes
        The rigid supports, (m,), each at a distance of its own beyond the flange; none: no support can be named. [mm]

    Returns
    -------
    Movement
        Always `shifted` and `turned`; `bent` and `support` where more than two stations can show them.

    Raises
    ------
    InputError
        As `fit_line` and `expected_response`.

    References
    ----------
    Generalised least squares with added regressors (Frisch-Waugh-Lovell), from memory.
    """
    check_profile(distance_mm, moved_um, covariance_um2)
    x = distance_mm / 1000.0
    line = np.stack([np.ones_like(x), x], axis=1)
    hats = expected_response(distance_mm, support_distance_mm) if support_codes else np.empty((x.size, 0))
    white_line, white_bow, white_hats, seen = whitened(covariance_um2, line, (x**2)[:, None], hats, moved_um)
    total = float(seen @ seen)

    def alone(column: FloatArray) -> float:
        length = float(column @ column)
        return float(column @ seen) ** 2 / length / total if length > 0.0 and total > 0.0 else 0.0

    covariance = np.linalg.inv(white_line.T @ white_line)
    shift, turn = (covariance @ (white_line.T @ seen)).tolist()
    u_shift, u_turn = np.sqrt(np.diagonal(covariance)).tolist()
    parts = [
        _part("shifted", shift, u_shift, line[:, 0] * shift, alone(white_line[:, 0])),
        _part("turned", turn, u_turn, line[:, 1] * turn, alone(white_line[:, 1])),
    ]
    beyond = seen - white_line @ (covariance @ (white_line.T @ seen))

    def off_the_line(white: FloatArray, plain: FloatArray) -> tuple[FloatArray, FloatArray]:
        along = covariance @ (white_line.T @ white)
        return white - white_line @ along, plain - line @ along

    bow, bow_um = off_the_line(white_bow[:, 0], x**2)
    if x.size > 2 and bow @ bow > _TELLS * (white_bow[:, 0] @ white_bow[:, 0]):
        size, u_size = float(bow @ beyond) / float(bow @ bow), 1.0 / float(np.sqrt(bow @ bow))
        at = int(np.argmax(np.abs(bow_um)))
        off = float(bow_um[at])
        parts.append(_part("bent", size * off, u_size * abs(off), size * bow_um, alone(white_bow[:, 0]), station=at))
    best: tuple[float, int, float, float] | None = None
    for k in range(len(support_codes)):
        hat, _ = off_the_line(white_hats[:, k], hats[:, k])
        weight = float(hat @ hat)
        # A support whose answer is itself a line (the only one there is) cannot be told from turning.
        if x.size > 2 and weight > _TELLS * float(white_hats[:, k] @ white_hats[:, k]):
            drop = float(hat @ beyond) ** 2 / weight
            if best is None or drop > best[0]:
                best = drop, k, float(hat @ beyond) / weight, 1.0 / float(np.sqrt(weight))
    if best is not None:
        _, k, moved, u_moved = best
        parts.append(
            _part("support", moved, u_moved, moved * hats[:, k], alone(white_hats[:, k]), support=support_codes[k])
        )
    telling = [part for part in parts if part.share >= MOST and part.beyond_measurement]
    explains = max(telling, key=lambda part: part.share).kind if telling else None
    return Movement(tuple(parts), explains, moved_um, np.sqrt(np.diagonal(covariance_um2)))


def _part(
    kind: Kind,
    amount: float,
    u_amount: float,
    drawn_um: FloatArray,
    share: float,
    *,
    station: int | None = None,
    support: str | None = None,
) -> Part:
    return Part(kind, amount, u_amount, station, support, abs(amount) > NORMAL_95 * u_amount, drawn_um, share)
