"""A line's surveys as arrays: cold offsets at their stations with their full covariance."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from fleet.values import FloatArray


@dataclass(frozen=True, slots=True)
class SurveyArrays:
    """One survey at the cold reference.

    Attributes
    ----------
    id, session, number, phase
        Which survey it is.
    measured_at
        When.
    stations, distance_mm
        Codes and distances of its stations, (n,). [mm]
    cold_um
        (n, 2) in v, h. [um]
    covariance_um2
        (2 n, 2 n), order v, h of each station in turn. [um^2]
    setup_um
        What the session's set-up error does to each offset, (n, 2): one error in common to all its surveys. [um]
    """

    id: int
    session: str
    number: int
    phase: str
    measured_at: datetime
    stations: tuple[str, ...]
    distance_mm: FloatArray
    cold_um: FloatArray
    covariance_um2: FloatArray
    setup_um: FloatArray

    @property
    def key(self) -> str:
        """Name the survey as addresses do."""
        return f"{self.session}/{self.number}"

    def at(self, stations: tuple[str, ...], axis: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return offsets, covariance and set-up errors of one axis at stations it has, in their order."""
        place = np.array([self.stations.index(code) for code in stations], dtype=np.int64)
        pick = 2 * place + axis
        return self.cold_um[place, axis], self.covariance_um2[np.ix_(pick, pick)], self.setup_um[place, axis]


def survey_arrays(reduced: Iterable[Any], covariances: Iterable[Any]) -> dict[str, SurveyArrays]:
    """Return a line's surveys by key `SESSION/NUMBER`, oldest first.

    Parameters
    ----------
    reduced : rows of `queries.reduced_surveys` of the line
    covariances : rows of `queries.covariances` of the line
    """
    stored = {row.survey_id: json.loads(row.covariance) for row in covariances if row.covariance}
    grouped: dict[int, list[Any]] = {}
    for row in reduced:
        if row.survey_id in stored:
            grouped.setdefault(row.survey_id, []).append(row)
    surveys = {}
    for survey_id, rows in grouped.items():
        matrices = stored[survey_id]
        covariance = np.array(matrices.get("cold_um2", matrices["um2"]), dtype=np.float64)
        order = [matrices["stations"].index(row.station) for row in rows]
        pick = np.array([[2 * k, 2 * k + 1] for k in order], dtype=np.int64).ravel()
        first = rows[0]
        survey = SurveyArrays(
            id=survey_id,
            session=first.session,
            number=first.number,
            phase=first.phase,
            measured_at=first.measured_at,
            stations=tuple(row.station for row in rows),
            distance_mm=np.array([row.distance_mm for row in rows], dtype=np.float64),
            cold_um=np.array([(row.v_cold_um, row.h_cold_um) for row in rows], dtype=np.float64),
            covariance_um2=covariance[np.ix_(pick, pick)],
            setup_um=np.sqrt(np.array([(row.setup_v_um2, row.setup_h_um2) for row in rows], dtype=np.float64)),
        )
        surveys[survey.key] = survey
    return surveys


def movement(
    first: SurveyArrays, second: SurveyArrays, stations: tuple[str, ...], axis: int
) -> tuple[FloatArray, FloatArray]:
    """Return how far the bore moved between two surveys at stations both have, and the covariance of that.

    Two surveys of one session share its set-up error, which falls out of their difference.

    Returns
    -------
    moved_um (n,), covariance_um2 (n, n)
    """
    before, own, setup = first.at(stations, axis)
    after, other, setup_after = second.at(stations, axis)
    covariance = own + other
    if first.session == second.session:
        shared = np.outer(setup, setup_after)
        covariance = covariance - shared - shared.T
    return after - before, covariance
