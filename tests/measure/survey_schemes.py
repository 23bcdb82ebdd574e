"""Every way of taking a survey that the proofs of the adjustment go through, all four sense combinations among them."""

from __future__ import annotations

from dataclasses import dataclass

from measure_model import Plan, four_positions, pairs, single_pass, sweeps

from fleet.measure import Instrument

STATIONS = [500.0, 1400.0, 2300.0, 3100.0]


BEAM, WANDER, ZERO = "beam", "wander", "zero"


@dataclass(frozen=True)
class Scheme:
    """One way of reading, the instrument's senses, and which of the errors common to all readings its rolls can tell.

    The beam is told by rolling it, or by stations known from another state; the wander by reading something again
    later, in another way than the beam's direction would show it; the target's own zero by turning the target.
    """

    plan: Plan
    sense_v: int
    sense_h: int
    told: frozenset[str]
    hot: bool = False

    @property
    def instrument(self) -> Instrument:
        return Instrument(sense_v=self.sense_v, sense_h=self.sense_h)


def _trimmed(tries: int) -> Plan:
    """Reversal at the nearest and the farthest station, the beam trimmed after each but the last try, then one pass."""
    last = len(STATIONS) - 1
    steps = [(i, state, roll, 0.0) for state in range(1, tries + 1) for i in (0, last) for roll in (0.0, 180.0)]
    return Plan(STATIONS, steps + [(i, tries, 0.0, 0.0) for i in range(len(STATIONS))])


def _trimmed_once_more() -> Plan:
    """As above, but the beam was trimmed after the last try too, so that its last state was never reversed."""
    plan = _trimmed(2)
    return Plan(STATIONS, [*plan.steps[:8], *((i, 3, 0.0, 0.0) for i in range(len(STATIONS)))])


def _closed(plan: Plan) -> Plan:
    """The first station's pair read again at the end."""
    return Plan(plan.distance_mm, plan.steps + [step for step in plan.steps if step[0] == 0])


def _set_anew(plan: Plan) -> Plan:
    """The beam disturbed and set anew half way through the pass."""
    return Plan(plan.distance_mm, [(i, 1 + (i >= 2), beam, target) for i, _, beam, target in plan.steps])


def _without(plan: Plan, reading: int) -> Plan:
    """One reading lost."""
    return Plan(plan.distance_mm, plan.steps[:reading] + plan.steps[reading + 1 :])


NOTHING: frozenset[str] = frozenset()
ONLY_BEAM = frozenset({BEAM})
BEAM_WANDER = frozenset({BEAM, WANDER})
ALL = frozenset({BEAM, WANDER, ZERO})

SCHEMES = {
    "single pass": Scheme(single_pass(STATIONS), 1, 1, NOTHING),
    "single pass, beam trimmed once": Scheme(_trimmed(2), 1, -1, BEAM_WANDER),
    "single pass, beam trimmed twice": Scheme(_trimmed_once_more(), -1, 1, BEAM_WANDER),
    "pairs": Scheme(pairs(STATIONS), -1, -1, ONLY_BEAM),
    "pairs, hot": Scheme(pairs(STATIONS), 1, -1, ONLY_BEAM, hot=True),
    "pairs and closure": Scheme(_closed(pairs(STATIONS)), 1, 1, BEAM_WANDER),
    "pairs, two beam states": Scheme(_set_anew(pairs(STATIONS)), -1, 1, ONLY_BEAM),
    "pairs, one reading missing": Scheme(_without(pairs(STATIONS), 3), -1, -1, ONLY_BEAM),
    "four positions": Scheme(four_positions(STATIONS), 1, -1, ALL),
    "four positions, one reading missing": Scheme(_without(four_positions(STATIONS), 6), -1, 1, ALL),
    "sweeps of 3": Scheme(sweeps(STATIONS, 3), 1, 1, BEAM_WANDER),
    "sweeps of 4": Scheme(sweeps(STATIONS, 4), -1, 1, BEAM_WANDER),
    "sweeps of 4, one reading missing": Scheme(_without(sweeps(STATIONS, 4), 9), 1, -1, BEAM_WANDER),
    "sweeps of 8": Scheme(sweeps(STATIONS, 8), -1, -1, BEAM_WANDER),
}
