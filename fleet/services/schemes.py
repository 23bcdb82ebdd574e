"""What a survey's readings are called by the people who take them."""

from __future__ import annotations

from fleet.values import FloatArray, IntArray


def scheme_of(station: IntArray, beam_roll_deg: FloatArray, target_roll_deg: FloatArray) -> str:
    """Name the reading scheme of one survey from its rolls.

    Parameters
    ----------
    station : (n,) int array, which station each reading belongs to
    beam_roll_deg, target_roll_deg : (n,) arrays [degree]
    """
    rolls: dict[int, set[tuple[float, float]]] = {}
    for place, beam, target in zip(station.tolist(), beam_roll_deg.tolist(), target_roll_deg.tolist(), strict=True):
        rolls.setdefault(place, set()).add((beam % 360.0, target % 360.0))
    beam_rolls = [len({beam for beam, _ in seen}) for seen in rolls.values()]
    target_rolls = [len({target for _, target in seen}) for seen in rolls.values()]
    if min(target_rolls) > 1 and min(beam_rolls) > 1:
        return "four positions"
    if min(beam_rolls) > 2:
        return f"sweep of {min(beam_rolls)}"
    if min(beam_rolls) == 2:
        return "reversal pairs"
    if max(beam_rolls) > 1:
        return "single pass, reversal at some stations"
    return "single pass"
