"""Where the readings of a visit go: which stations, rolls and beam states, in which order, under which field names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from fleet.errors import InputError
from fleet.intake.layout import SHEET
from fleet.services.plant import StationInfo
from fleet.services.recording import fields
from fleet.services.recording.typed import Typed
from fleet.services.recording.unsaved import TypedReading
from fleet.services.recording.view import Slot
from fleet.values import AXES

BEAM_ROLLS = (0, 180)
READ = SHEET["readings"].by_name["v"]
"""The column of a reading: its bounds."""


@dataclass(frozen=True, slots=True)
class Place:
    """One reading to take, before it is looked at: where, at which roll, in which beam state, under which names."""

    kind: Literal["beam", "station", "again"]
    station: StationInfo
    roll: int
    state: int
    v: str
    h: str


@dataclass(frozen=True, slots=True)
class Layout:
    """The places of a visit.

    Attributes
    ----------
    stations
        All that stand on the day, by distance.
    taken
        Those that are not left out today.
    rolls
        Beam rolls at every station [degree].
    trims
        How often the beam was trimmed while it was set.
    """

    stations: tuple[StationInfo, ...]
    taken: tuple[StationInfo, ...]
    rolls: tuple[int, ...]
    trims: int
    typed: Typed

    @property
    def ends(self) -> tuple[StationInfo, ...]:
        """Nearest and farthest station: where the beam is set; both the same where there is one station only."""
        return (self.taken[0], self.taken[-1]) if self.taken else ()

    def beam_places(self, state: int) -> Iterator[Place]:
        """Yield the two pairs of one beam state, nearest station first."""
        seen = set()
        for station in self.ends:
            if station.code in seen:
                continue
            seen.add(station.code)
            for roll in BEAM_ROLLS:
                names = (fields.beam_field(state, station.code, roll, axis) for axis in AXES)
                yield Place("beam", station, roll, state, *names)

    def first_state(self, number: int) -> int:
        """Return the beam state in which a pass begins: the one the beam was left in, then each pass its own 1."""
        return self.trims + 1 if number == 1 else 1

    def station_places(self, number: int) -> Iterator[Place]:
        """Yield the readings of a pass at its stations and of the first station again, in the order of taking."""
        state = self.first_state(number)
        for station in self.stations:
            if self.typed.text(fields.trimmed_field(number, station.code)) == "yes":
                state += 1
            for roll in self.rolls:
                names = (fields.reading_field(number, station.code, roll, axis) for axis in AXES)
                yield Place("station", station, roll, state, *names)
        if self.taken:
            for roll in self.rolls:
                names = (fields.again_field(number, roll, axis) for axis in AXES)
                yield Place("again", self.taken[0], roll, state, *names)

    def places(self, number: int) -> Iterator[Place]:
        """Yield every reading of a pass in the order of taking; the first has those of setting the beam before them."""
        if number == 1:
            for state in range(1, self.trims + 2):
                yield from self.beam_places(state)
        left_out = {s.code for s in self.stations} - {s.code for s in self.taken}
        yield from (place for place in self.station_places(number) if place.station.code not in left_out)


def layout_of(typed: Typed, stations: tuple[StationInfo, ...]) -> Layout:
    """Return the places of a visit as it stands: stations left out, rolls, trimmings."""
    taken = tuple(s for s in stations if typed.text(fields.skip_field(s.code)) != "yes")
    trims = typed.text("trims")
    return Layout(
        stations=stations,
        taken=taken,
        rolls=fields.ROLLS.get(typed.text("rolls"), fields.ROLLS["2"]),
        trims=min(int(trims), fields.MOST_TRIMS) if trims.isdigit() else 0,
        typed=typed,
    )


def reading_um(typed: Typed, place: Place) -> tuple[float, float] | None:
    """Return a reading [um] as the instrument showed it; None unless both its numbers stand there and can be read."""
    try:
        v, h = typed.length_um(place.v, READ), typed.length_um(place.h, READ)
    except InputError:
        return None
    return None if v is None or h is None else (v, h)


@dataclass(frozen=True, slots=True)
class Taken:
    """The complete readings of a pass: numbered from 1 in the order of taking, each with its place."""

    rows: tuple[TypedReading, ...]
    places: tuple[Place, ...]

    def place(self, sequence: int | None) -> Place | None:
        """Return the place of a reading by its sequence."""
        return None if sequence is None else self.places[sequence - 1]

    def sequence(self, place: Place) -> int | None:
        """Return the sequence of a place, None where it is not read."""
        return next((k for k, each in enumerate(self.places, start=1) if each.v == place.v), None)


def taken_in(layout: Layout, number: int) -> Taken:
    """Return the complete readings of a pass."""
    rows, places = [], []
    for place in layout.places(number):
        um = reading_um(layout.typed, place)
        if um is None:
            continue
        places.append(place)
        rows.append(TypedReading(place.station.id, len(places), place.state, float(place.roll), 0.0, *um))
    return Taken(tuple(rows), tuple(places))


def slot_of(layout: Layout, place: Place, taken: Taken | None, *, from_beam: bool = False) -> Slot:
    """Return a place as the screen shows it."""
    typed = layout.typed
    return Slot(
        station=place.station.code,
        distance_mm=place.station.distance_mm,
        roll_deg=place.roll,
        clock=fields.CLOCK[place.roll],
        beam_state=place.state,
        v=typed.field(place.v, READ),
        h=typed.field(place.h, READ),
        typed_at=typed.at(place.v, place.h),
        complete=reading_um(typed, place) is not None,
        from_beam=from_beam,
        sequence=None if taken is None else taken.sequence(place),
    )
