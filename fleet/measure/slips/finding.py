"""Slips in surveys with readings: thousands passed over at once, the few that look odd looked into one by one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from fleet.errors import InputError
from fleet.measure.design import PER_BEAM_STATE, PER_SURVEY
from fleet.measure.slips.judging import judge
from fleet.measure.slips.model import Expected, Slip, check_expected
from fleet.measure.slips.quiet import looks_odd
from fleet.measure.survey import Instrument, SurveyReadings, check_instrument, check_readings

_STACK_ENTRIES: Final = 2_000_000


def find_slips(
    readings: SurveyReadings, instrument: Instrument, *, hot: bool, expected: Expected | None = None
) -> tuple[Slip, ...]:
    """Notice what does not fit in one survey; nothing is changed.

    Parameters
    ----------
    readings
        All readings of the survey, as typed.
    instrument
        The instrument they were taken with.
    hot
        Whether the bore was above 60 C.
    expected
        What the survey was expected to show; None: only what the readings say about each other counts.

    Returns
    -------
    tuple of Slip
        The plainest first; empty where nothing is odd.

    Raises
    ------
    InputError
        The readings, the instrument or the expectation cannot be used.

    References
    ----------
    Bayes factors against a survey without slips, noise as the adjustment takes it (R. E. Kass and A. E. Raftery,
    J. Amer. Statist. Assoc. 90 (1995) 773, from memory). The bar is set so that simulated clean surveys raise something
    in fewer than 1 of 200.
    """
    return find_slips_many([(readings, instrument, hot)], [expected])[0]


def find_slips_many(
    surveys: Sequence[tuple[SurveyReadings, Instrument, bool]], expected: Sequence[Expected | None] | None = None
) -> list[tuple[Slip, ...]]:
    """Notice what does not fit in many surveys.

    Parameters
    ----------
    surveys
        Readings, instrument and whether the bore was hot, for each survey.
    expected
        What each was expected to show, or None; None altogether: nothing was expected of any.

    Returns
    -------
    list of tuple of Slip
        In the order given; the same as `find_slips` on each.

    Raises
    ------
    InputError
        One of them cannot be used; with more than one given the sentence says which, counted from 1.
    """
    expectations = [None] * len(surveys) if expected is None else list(expected)
    if len(expectations) != len(surveys):
        raise InputError(
            f"{len(expectations)} expectations came with {len(surveys)} surveys; give one for each, None where unknown."
        )
    groups: dict[tuple[int, int, int], list[int]] = {}
    for place, ((readings, instrument, _), what) in enumerate(zip(surveys, expectations, strict=True)):
        try:
            check_instrument(instrument)
            check_readings(readings)
            if what is not None:
                check_expected(what, len(readings.distance_mm))
        except InputError as refused:
            if len(surveys) == 1:
                raise
            raise InputError(f"Survey {place + 1} of {len(surveys)}: {refused}") from refused
        n_states = len(np.unique(readings.beam_state))
        groups.setdefault((len(readings.station), len(readings.distance_mm), n_states), []).append(place)

    found: list[tuple[Slip, ...]] = [()] * len(surveys)
    for (n_readings, _, n_states), places in groups.items():
        step = max(1, _STACK_ENTRIES // (4 * n_readings * max(n_readings, PER_BEAM_STATE * n_states + PER_SURVEY)))
        for start in range(0, len(places), step):
            part = places[start : start + step]
            odd = looks_odd([surveys[place] for place in part], [expectations[place] for place in part])
            for place in np.array(part)[odd]:
                readings, instrument, hot = surveys[place]
                found[place] = judge(readings, instrument, expectations[place], hot=hot)
    return found
