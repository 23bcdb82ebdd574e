"""Setting the beam: the pairs at the nearest and the farthest station, what the beam is off, what to trim it to."""

from __future__ import annotations

from fleet.measure import Instrument
from fleet.measure.reversal import beam_setting
from fleet.services.recording.fields import MOST_TRIMS
from fleet.services.recording.layout import Layout, Place, reading_um, slot_of
from fleet.services.recording.view import BeamPairView, BeamStateView, BeamView


def beam_view(layout: Layout, instrument: Instrument | None, *, agree_um: float) -> BeamView:
    """Return the beam as it stands; without two stations to set it by there is nothing to do.

    Parameters
    ----------
    layout : the places of the visit with what was typed
    instrument : for its senses; None: not known, then no pair says where the beam is
    agree_um : how closely a pair has to agree
    """
    trims = layout.typed.field("trims", choices=tuple(str(k) for k in range(MOST_TRIMS + 1)))
    why = layout.typed.field("why.beam")
    if len(layout.taken) < 2:
        return BeamView(trims, None, (), None, None, agree_um, agrees=True, may_go_on=True, why=why)
    states = tuple(_state(layout, state, instrument, agree_um) for state in range(1, MOST_TRIMS + 2))
    opened = [state for state in states if state.open]
    nearest = next((s.nearest for s in reversed(opened) if s.nearest.difference_um is not None), None)
    farthest = next((s.farthest for s in reversed(opened) if s.farthest.difference_um is not None), None)
    left = opened[-1]
    agrees = all(pair.agrees is not None and all(pair.agrees) for pair in (left.nearest, left.farthest))
    return BeamView(
        trims=trims,
        next_trims=str(layout.trims + 1) if layout.trims < MOST_TRIMS else None,
        states=states,
        nearest=nearest,
        farthest=farthest,
        agree_um=agree_um,
        agrees=agrees,
        may_go_on=agrees or bool(why.text.strip()),
        why=why,
    )


def _state(layout: Layout, state: int, instrument: Instrument | None, agree_um: float) -> BeamStateView:
    places = list(layout.beam_places(state))
    near, far = (_pair(layout, places[k : k + 2], instrument, agree_um) for k in (0, 2))
    return BeamStateView(state=state, open=state <= layout.trims + 1, nearest=near, farthest=far)


def _pair(layout: Layout, places: list[Place], instrument: Instrument | None, agree_um: float) -> BeamPairView:
    first, turned = places
    read = [reading_um(layout.typed, place) for place in places]
    slots = (slot_of(layout, first, None), slot_of(layout, turned, None))
    station = first.station
    if read[0] is None or read[1] is None:
        return BeamPairView(station.code, station.distance_mm, slots)
    sense = (1, 1) if instrument is None else (instrument.sense_v, instrument.sense_h)
    got = beam_setting([read[0]], [read[1]], sense=sense, agree_um=agree_um)
    difference = (float(got.difference_um[0, 0]), float(got.difference_um[0, 1]))
    return BeamPairView(
        station=station.code,
        distance_mm=station.distance_mm,
        slots=slots,
        difference_um=difference,
        error_um=None if instrument is None else (float(got.error_um[0, 0]), float(got.error_um[0, 1])),
        trim_to_um=(float(got.trim_to_um[0, 0]), float(got.trim_to_um[0, 1])),
        agrees=(abs(difference[0]) <= agree_um, abs(difference[1]) <= agree_um),
    )
