"""What a movement was: shifted at the flange, turned about it, bent, or one support moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import chdtri

from fleet.errors import InputError
from fleet.profile.line import check_profile, whitened
from fleet.profile.response import expected_response
from fleet.profile.several import reach_of_largest
from fleet.values import NORMAL_95, FloatArray

Kind = Literal["shifted", "turned", "bent", "support"]
MOST: Final = 0.5
"""Share of a movement's weighted sum of squares from which one part alone explains most of it."""
_TELLS: Final = 1e-6
_CHANCE: Final = 0.05


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
        The support is the one of all that explains most beyond the line; of those that explain alike (always so with
        two), the one that explains most alone. Its `u_amount` is widened until 1.96 of it hold whichever is named.
    station
        Where a bend departs most, as an index; None otherwise.
    support
        Code of the support; None otherwise.
    beyond_measurement
        Whether the amount lies beyond its 95 % measurement uncertainty.
    drawn_um
        What this part alone does at every station, (n,). [um]
    share
        How much of the movement's weighted sum of squares a movement drawn like this would explain if it were alone, 0
        to 1. Shapes overlap, so the shares do not add up to 1.
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
    """A movement taken apart.

    Attributes
    ----------
    parts
        In the order shifted, turned, bent, support; the last two where the stations can show them.
    explains
        The kind that alone explains most of it; None where none does, or where the movement as a whole is no more than
        measurement would show 95 times in 100.
    moved_um, u_moved_um
        Of every station, (n,). [um]
    """

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
        As `fit_line` and `expected_response`; or codes and distances of the supports are not as many.

    References
    ----------
    Generalised least squares with added regressors (Frisch-Waugh-Lovell), from memory. Whether anything moved at all:
    the weighted sum of squares of normal errors is chi-squared with as many degrees of freedom as stations.
    """
    check_profile(distance_mm, moved_um, covariance_um2)
    if support_distance_mm.shape != (len(support_codes),):
        raise InputError(
            f"{len(support_codes)} support codes and {support_distance_mm.size} support distances do not belong "
            "together; give one distance for every support."
        )
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
        parts.append(_part("bent", size * off, u_size * abs(off), size * bow_um, alone(bow), station=at))
    best: tuple[float, float, int, float, float] | None = None
    directions = []
    for k in range(len(support_codes)):
        hat, _ = off_the_line(white_hats[:, k], hats[:, k])
        weight = float(hat @ hat)
        # A support whose answer is itself a line (the only one there is) cannot be told from turning.
        if x.size > 2 and weight > _TELLS * float(white_hats[:, k] @ white_hats[:, k]):
            directions.append(hat / np.sqrt(weight))
            drop = float(hat @ beyond) ** 2 / weight
            # A turn moves all supports, so what two of them do beyond a line is one and the same: there, and wherever
            # else supports explain alike, the one that needs the line least is the simpler reading.
            tells = drop, alone(white_hats[:, k])
            if (
                best is None
                or drop > best[0] + _TELLS * total
                or (drop > best[0] - _TELLS * total and tells[1] > best[1])
            ):
                best = *tells, k, float(hat @ beyond) / weight, 1.0 / float(np.sqrt(weight))
    if best is not None:
        _, share, k, moved, u_moved = best
        among = np.stack(directions)
        u_moved *= reach_of_largest(among @ among.T) / NORMAL_95
        parts.append(_part("support", moved, u_moved, moved * hats[:, k], share, support=support_codes[k]))
    telling = [part for part in parts if part.share >= MOST and part.beyond_measurement]
    moved_at_all = total > float(chdtri(x.size, _CHANCE))
    explains = max(telling, key=lambda part: part.share).kind if telling and moved_at_all else None
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
