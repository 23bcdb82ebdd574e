"""Simulated surveys with and without planted slips, and the table of what the search makes of them.

Synthetic truth: offsets of 150 um standard size, the common errors from the instrument's stated uncertainties, the
noise variance as stated times 10 / chi2(10) or exactly as stated; expectations that miss the truth by Student's t of 8
degrees of freedom, 40 um standard, 30 % of the variance in common. Run as a script to write the table anew.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from measure_model import Array, Plan, four_positions, pairs, readings, single_pass, sweeps, textbook_design

from fleet.measure import Instrument, SurveyReadings
from fleet.measure.slips import Expected, find_slips_many
from fleet.measure.slips.judging import first_found

DOCUMENT = Path(__file__).with_name("slip_rates.md")
INSTRUMENT = Instrument(sense_v=1, sense_h=-1)
EIGHT = [500.0 * (k + 1) for k in range(8)]
FIVE = [600.0, 1300.0, 2000.0, 2700.0, 3400.0]
U_EXPECTED_UM, DOF_EXPECTED, COMMON = 40.0, 8.0, 0.3
N_CLEAN, N_CLEAN_EXPECTED, N_PLANTED = 2000, 1000, 60
TOLD_FACTOR, TOLD_CHANCE = 1e4, 0.99


def closed(plan: Plan) -> Plan:
    """The first station read once more at the end, as it was read first."""
    return Plan(plan.distance_mm, [*plan.steps, plan.steps[0]])


def after_trimming(distance_mm: list[float]) -> Plan:
    """A reversal pair at the nearest and the farthest station, the beam trimmed, the pair again, then a single pass."""
    last = len(distance_mm) - 1
    tries = [(i, state, roll, 0.0) for state in (1, 2) for i in (0, last) for roll in (0.0, 180.0)]
    return Plan(distance_mm, tries + [(i, 2, 0.0, 0.0) for i in range(len(distance_mm))])


def several_states(distance_mm: list[float]) -> Plan:
    """Pairs at every station, the beam set anew after half of them."""
    half = len(distance_mm) // 2
    steps = pairs(distance_mm).steps
    return Plan(distance_mm, [(i, 1 if i < half else 2, beam, target) for i, _, beam, target in steps])


SCHEMES: dict[str, Plan] = {
    "single pass": single_pass(EIGHT),
    "single pass after trimming": after_trimming(EIGHT),
    "pairs": closed(pairs(EIGHT)),
    "four positions": four_positions(EIGHT),
    "sweeps of 4": sweeps(EIGHT),
    "several beam states": several_states(EIGHT),
}
PLANTED_PLAN = closed(pairs(FIVE))


def truths(plan: Plan, n: int, rng: np.random.Generator) -> Array:
    """True parameters in the order of the design's columns, shape (n, n_parameters)."""
    states = len({step[1] for step in plan.steps})
    u = [200.0] * 4 * states + [10.0] * 2 + [4.0] * 2
    return np.concatenate(
        [rng.normal(0.0, 150.0, (n, 2 * len(plan.distance_mm))), rng.normal(0.0, u, (n, len(u)))], axis=1
    )


def noises(plan: Plan, n: int, rng: np.random.Generator, *, as_stated: bool = False) -> Array:
    variance = np.full((n, 1), 10.0**2 + 1.0 / 12.0)
    if not as_stated:
        variance = variance * 10.0 / rng.chisquare(10.0, (n, 1))
    return rng.normal(0.0, 1.0, (n, 2 * len(plan.steps))) * np.sqrt(variance)


def expectation(offset_um: Array, rng: np.random.Generator) -> Expected:
    """A correct expectation of true offsets, shape (n_stations, 2)."""
    together = rng.normal(0.0, 1.0, (1, 2)) * np.sqrt(COMMON)
    apart = rng.normal(0.0, 1.0, offset_um.shape) * np.sqrt(1.0 - COMMON)
    miss_um = U_EXPECTED_UM * np.sqrt(DOF_EXPECTED / rng.chisquare(DOF_EXPECTED)) * (together + apart)
    return Expected(offset_um - miss_um, np.full(offset_um.shape, U_EXPECTED_UM), DOF_EXPECTED, COMMON)


def generator(*words: object) -> np.random.Generator:
    """A generator of its own for every row, so that rows do not depend on each other."""
    return np.random.default_rng(zlib.crc32(" ".join(map(str, words)).encode()))


def clean_row(scheme: str, n: int, *, as_stated: bool, expected: bool) -> str:
    plan = SCHEMES[scheme]
    rng = generator("clean", scheme, as_stated, expected)
    truth = truths(plan, n, rng)
    shown = truth @ textbook_design(plan, INSTRUMENT).T + noises(plan, n, rng, as_stated=as_stated)
    surveys = [(readings(plan, row[0::2], row[1::2]), INSTRUMENT, False) for row in shown]
    n_offsets = 2 * len(plan.distance_mm)
    expectations = [expectation(t[:n_offsets].reshape(-1, 2), rng) if expected else None for t in truth]
    raised = sum(bool(found) for found in find_slips_many(surveys, expectations))
    noise = "as stated" if as_stated else "10 / chi2(10)"
    return f"| {scheme} | {noise} | {'yes' if expected else 'no'} | {n} | {raised} |"


def scaled(survey: SurveyReadings, at: object, axis: str, factor: float) -> SurveyReadings:
    columns = {"v": survey.v_um.copy(), "h": survey.h_um.copy()}
    for name in axis:
        columns[name][at] *= factor
    return replace(survey, v_um=columns["v"], h_um=columns["h"])


Writer = Callable[[Plan, Array, np.random.Generator], Callable[[Array], SurveyReadings] | None]


def _typed(plan: Plan, truth: Array) -> Callable[[Array], SurveyReadings]:
    exact = textbook_design(plan, INSTRUMENT) @ truth
    return lambda noise: readings(plan, (exact + noise)[0::2], (exact + noise)[1::2])


def one_sign(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings] | None:
    typed = _typed(plan, truth)
    i, axis = int(rng.integers(len(plan.steps))), "vh"[rng.integers(2)]
    exact = typed(np.zeros(2 * len(plan.steps)))
    if abs((exact.v_um if axis == "v" else exact.h_um)[i]) < 100.0:
        return None
    return lambda noise: scaled(typed(noise), i, axis, -1.0)


def axis_sign(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
    typed, axis = _typed(plan, truth), "vh"[rng.integers(2)]
    return lambda noise: scaled(typed(noise), slice(None), axis, -1.0)


def reading_unit(factor: float) -> Writer:
    def write(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
        typed, i = _typed(plan, truth), int(rng.integers(len(plan.steps)))
        return lambda noise: scaled(typed(noise), i, "vh", factor)

    return write


def survey_unit(factor: float) -> Writer:
    def write(plan: Plan, truth: Array, _: np.random.Generator) -> Callable[[Array], SurveyReadings]:
        typed = _typed(plan, truth)
        return lambda noise: scaled(typed(noise), slice(None), "vh", factor)

    return write


def missed_turn(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
    i = 2 * int(rng.integers(len(plan.distance_mm))) + 1
    station, state, _, target = plan.steps[i]
    really = Plan(plan.distance_mm, [*plan.steps[:i], (station, state, 0.0, target), *plan.steps[i + 1 :]])
    typed, written = _typed(really, truth), np.array([step[2] for step in plan.steps])
    return lambda noise: replace(typed(noise), beam_roll_deg=written)


def swapped(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
    i, j = rng.choice(len(plan.distance_mm), 2, replace=False)
    typed = _typed(plan, truth)
    station = np.array([step[0] for step in plan.steps])
    written = np.where(station == i, j, np.where(station == j, i, station))
    return lambda noise: replace(typed(noise), station=written)


def target_step(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
    k, angle = int(rng.integers(1, len(plan.steps))), rng.uniform(0.0, 2 * np.pi)
    step = np.zeros((len(plan.steps), 2))
    step[k:] = 100.0 * np.array([np.cos(angle), np.sin(angle)])
    typed = _typed(plan, truth)
    return lambda noise: typed(noise + step.ravel())


def beam_step(plan: Plan, truth: Array, rng: np.random.Generator) -> Callable[[Array], SurveyReadings]:
    k, angle = int(rng.integers(1, len(plan.steps))), rng.uniform(0.0, 2 * np.pi)
    column = 2 * len(plan.distance_mm)
    step = textbook_design(plan, INSTRUMENT)[:, column : column + 2] @ (
        100.0 * np.array([np.cos(angle), np.sin(angle)])
    )
    step[: 2 * k] = 0.0
    typed = _typed(plan, truth)
    return lambda noise: typed(noise + step)


PLANTED: dict[str, tuple[str, Writer]] = {
    "one sign turned, reading of 100 um or more": ("sign_turned", one_sign),
    "sign turned on a whole axis": ("sign_turned", axis_sign),
    "one reading in thou, written as mm": ("unit_mistyped", reading_unit(1000 / 25.4)),
    "one reading in mm, written as thou": ("unit_mistyped", reading_unit(25.4 / 1000)),
    "one reading in um, written as mm": ("unit_mistyped", reading_unit(1000.0)),
    "survey in thou, written as mm": ("unit_mistyped", survey_unit(1000 / 25.4)),
    "survey in mm, written as thou": ("unit_mistyped", survey_unit(25.4 / 1000)),
    "survey in mm, written as um": ("unit_mistyped", survey_unit(1 / 1000)),
    "missed inversion at one station": ("roll_mistyped", missed_turn),
    "two stations swapped": ("stations_swapped", swapped),
    "target step of 100 um": ("target_loose", target_step),
    "beam step of 100 um": ("beam_disturbed", beam_step),
}


def planted_row(name: str, n: int, *, expected: bool) -> tuple[str, int, int]:
    """The table's row, how often the data could tell, and how often the slip was named rightly then."""
    kind, write = PLANTED[name]
    rng = generator("planted", name, expected)
    plan, n_offsets = PLANTED_PLAN, 2 * len(FIVE)
    surveys, twins, expectations = [], [], []
    while len(surveys) < n:
        truth = truths(plan, 1, rng)[0]
        written = write(plan, truth, rng)
        if written is None:
            continue
        surveys.append((written(noises(plan, 1, rng)[0]), INSTRUMENT, False))
        twins.append(written(noises(plan, 1, rng)[0]))
        expectations.append(expectation(truth[:n_offsets].reshape(-1, 2), rng) if expected else None)
    found = find_slips_many(surveys, expectations)
    told = 0
    told_right = raised = right = 0
    for slips, twin, expectation_of in zip(found, twins, expectations, strict=True):
        of_twin = first_found(twin, INSTRUMENT, expectation_of, hot=False)
        can_tell = (
            of_twin is not None
            and of_twin.possibility.check == kind
            and of_twin.chance >= TOLD_CHANCE
            and of_twin.log_factor >= np.log(TOLD_FACTOR)
        )
        named = bool(slips) and slips[0].check == kind
        raised += bool(slips)
        right += named
        told += can_tell
        told_right += named and can_tell
    row = f"| {name} | {'yes' if expected else 'no'} | {n} | {raised} | {right} | {told} | {told_right} |"
    return row, told, told_right


def document() -> str:
    clean = [
        clean_row(scheme, N_CLEAN_EXPECTED if expected else N_CLEAN, as_stated=as_stated, expected=expected)
        for scheme in SCHEMES
        for as_stated in (False, True)
        for expected in (False, True)
    ]
    planted = [planted_row(name, N_PLANTED, expected=expected)[0] for name in PLANTED for expected in (False, True)]
    return HEADING.format(clean="\n".join(clean), planted="\n".join(planted))


HEADING = """# How often slips are raised and named

Written by `tests/measure/slip_simulation.py`, compared row by row by `tests/measure/test_slip_rates.py`. Synthetic
truth as that file's first lines say; every row draws from a generator seeded by the row's own words. Stations every
0.5 m for clean surveys (8), every 0.7 m for planted slips (5), the first read once more at the end. Sizes and prior
weights of the search are from memory. Raised is what is 20 times likelier with slips than without. Bounds that the test
holds: at most 1 clean survey in 200 raised, with nothing expected and with something; at least 95 % named rightly where
the data can tell, over all slips but the two steps.

## Clean surveys

| scheme | noise | something expected | surveys | raised |
|---|---|---|---|---|
{clean}

## Planted slips

One slip in each survey (pairs at five stations and closure). *Named rightly*: the first
thing raised is of the planted kind. *Can tell*: a second survey of the same truth and slip, with noise of its own, is
at least 10,000 times likelier with slips than without and gives the planted kind at least 99 % among all explanations.
Where the data cannot tell, the search stays silent (nothing in the readings shows it, as with a whole axis turned and
nothing expected), names it all the same, or says that something does not fit and which kinds it may be.

| slip | something expected | surveys | raised | named rightly | can tell | of these named rightly |
|---|---|---|---|---|---|---|
{planted}
"""

if __name__ == "__main__":
    sys.stdout.write(document())
