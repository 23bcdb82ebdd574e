"""One pass over the stations: from its readings to offsets, and how it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fleet.errors import InputError
from fleet.intake.layout import SHEET
from fleet.measure import Instrument
from fleet.measure.reversal import beam_error
from fleet.services.plant import StationInfo
from fleet.services.readings import is_hot
from fleet.services.recording import fields
from fleet.services.recording.known import Known
from fleet.services.recording.layout import Layout, Place, Taken, reading_um, slot_of, taken_in
from fleet.services.recording.typed import Typed
from fleet.services.recording.unsaved import Unsaved, reduce_unsaved
from fleet.services.recording.view import FieldView, MaybePair, NoticedView, Pair, PassView, StationView
from fleet.thermal.geometry import Temperatures
from fleet.values import AXES, NORMAL_95

NOTHING: MaybePair = (None, None)
_TEMPERATURES = ("barrel_c", "base_c")


@dataclass(frozen=True, slots=True)
class PassRead:
    """A pass as it was read so far; `unsaved` None: nothing complete, or it cannot be reduced (`problems` say why)."""

    number: int
    phase: str
    phase_why: str | None
    open: bool
    taken: Taken
    temperatures: Temperatures
    hot: bool
    unsaved: Unsaved | None
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Aim:
    """What a station is set to [um]: target, what is set against the drift, their sum; None unknown."""

    target_um: MaybePair
    against_drift_um: MaybePair
    set_to_um: MaybePair


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a pass was expected to show at the cold reference, by station code [um].

    `u95_um` includes measuring it, `u_um` does not.
    """

    offset_um: Mapping[str, MaybePair]
    u95_um: Mapping[str, MaybePair]
    u_um: Mapping[str, MaybePair]


def rounds_wanted(typed: Typed) -> int:
    """Return how many passes a visit has: two, or one where nothing was moved after the first."""
    text = typed.text("rounds")
    if text.isdigit() and 1 <= int(text) <= fields.MOST_PASSES:
        return int(text)
    return 1 if typed.text("m1.nothing") == "yes" else 2


def phase_of(typed: Typed, number: int) -> tuple[str, str | None]:
    """Return the phase a pass is stored with, and why it is another than the step is called, if it is."""
    column = SHEET["surveys"].by_name["phase"]
    named = typed.safe(fields.condition_field(number, "phase"), column)
    if named is None:
        last = rounds_wanted(typed)
        untouched = all(typed.text(f"m{k}.nothing") == "yes" for k in range(1, number))
        later = "as_left" if number >= last and not untouched else "interim"
        named = "as_found" if number == 1 else later
    if named == "as_left" and typed.text(fields.condition_field(number, "bolts")) == "loose":
        return "interim", "The bolts are loose, so this is stored as an interim: what is not torqued is not left yet."
    return str(named), None


def temperatures_of(typed: Typed, number: int, known: Known) -> Temperatures:
    """Return the temperatures of a pass as typed, an earlier pass's where they hold on."""
    own: dict[str, dict[str, float]] = {name: {} for name in _TEMPERATURES}
    for name in _TEMPERATURES:
        column = SHEET["support_temperatures"].by_name[name]
        for support in known.supports:
            value = typed.safe(fields.support_field(number, support.code, name), column)
            if value is not None:
                own[name][support.code] = value
    at = typed.condition(number, "gearbox_c_at")
    return Temperatures(
        barrel_c=typed.condition(number, "barrel_c"),
        gearbox_c=typed.condition(number, "gearbox_c"),
        gearbox_c_at="oil" if at == "oil" else "casing_mean",
        base_c=typed.condition(number, "base_c"),
        support_barrel_c=own["barrel_c"],
        support_base_c=own["base_c"],
    )


def read_pass(layout: Layout, number: int, instrument: Instrument | None, known: Known) -> PassRead:
    """Reduce what was read in a pass so far."""
    typed = layout.typed
    phase, why = phase_of(typed, number)
    taken = taken_in(layout, number)
    temperatures = temperatures_of(typed, number, known)
    hot = is_hot(temperatures.barrel_c)
    unsaved: Unsaved | None = None
    problems: tuple[str, ...] = ()
    if taken.rows and instrument is None:
        problems = ("No instrument with both senses is chosen, so the readings cannot be reduced; choose one.",)
    elif taken.rows and instrument is not None:
        try:
            unsaved = reduce_unsaved(
                taken.rows,
                {station.id: station for station in layout.stations},
                instrument,
                plant=known.plant,
                line=known.line,
                day=known.day,
                temperatures=temperatures,
                level_recorded=typed.condition(number, "gearbox_level_um_per_m") is not None,
                hot=hot,
            )
        except InputError as refused:
            problems = (f"The readings cannot be reduced: {refused}",)
    return PassRead(number, phase, why, number <= rounds_wanted(typed), taken, temperatures, hot, unsaved, problems)


def aims_of(typed: Typed, known: Known) -> dict[str, Aim]:
    """Return what every station is set to: the target as typed, and what the job sheet sets against the drift."""
    column = SHEET["cold_targets"].by_name["v"]
    aims = {}
    for station in known.stations:
        v, h = (typed.safe(fields.target_field(station.code, axis), column) for axis in AXES)
        sheet = known.by_station.get(station.code)
        drift = sheet.against_drift_um if sheet is not None else NOTHING
        set_to = (None if v is None else v + (drift[0] or 0.0), None if h is None else h + (drift[1] or 0.0))
        aims[station.code] = Aim((v, h), drift, set_to)
    return aims


def as_found_foreseen(known: Known) -> Foreseen:
    """Return what an as-found was expected to show."""
    offset: dict[str, MaybePair] = {}
    u95: dict[str, MaybePair] = {}
    u: dict[str, MaybePair] = {}
    for station in known.stations:
        v, h = (known.expected.get((station.code, axis)) for axis in AXES)
        offset[station.code] = (v.mean_um if v else None, h.mean_um if h else None)
        u95[station.code] = (v.u95_um if v else None, h.u95_um if h else None)
        u[station.code] = (v.u_um if v else None, h.u_um if h else None)
    return Foreseen(offset, u95, u)


def beam_off_um(layout: Layout, number: int, station: StationInfo, instrument: Instrument | None) -> Pair | None:
    """Return how far the beam is off at a station by half the difference of its newest 0/180 pair."""
    if instrument is None:
        return None
    by_state: dict[tuple[int, str], dict[int, Pair]] = {}
    for place in layout.places(number):
        um = reading_um(layout.typed, place) if place.station.code == station.code and place.kind != "again" else None
        if um is not None:
            by_state.setdefault((place.state, place.kind), {})[place.roll] = um
    pairs = [(pair[0], pair[180]) for pair in by_state.values() if 0 in pair and 180 in pair]
    if not pairs:
        return None
    sense = np.array([instrument.sense_v, instrument.sense_h], dtype=np.float64)
    error = beam_error(*pairs[-1], sense=sense)
    return float(error[0]), float(error[1])


def _closure(read: PassRead, instrument: Instrument | None, rolls: int) -> tuple[Pair | None, Pair | None]:
    got = None if read.unsaved is None else read.unsaved.adjusted.closure_um
    if got is None or instrument is None:
        return None, None
    noise = np.hypot(instrument.repeatability_um, instrument.resolution_um / 12.0**0.5)
    u = float(np.sqrt(2.0 * noise**2 / rolls + instrument.wander_um**2)) * (3.0 if read.hot else 1.0)
    return (float(got[0]), float(got[1])), (NORMAL_95 * u, NORMAL_95 * u)


def pass_view(
    read: PassRead,
    layout: Layout,
    known: Known,
    instrument: Instrument | None,
    *,
    foreseen: Foreseen | None,
    aims: Mapping[str, Aim],
    noticed: tuple[NoticedView, ...],
) -> PassView:
    """Return a pass as the screen shows it."""
    typed, number = layout.typed, read.number
    good_enough = known.sheet.good_enough_um
    stations, again = [], []
    taken_codes = {station.code for station in layout.taken}
    places: dict[str, list[Place]] = {}
    for place in layout.station_places(number):
        if place.kind == "again":
            again.append(slot_of(layout, place, read.taken))
        else:
            places.setdefault(place.station.code, []).append(place)
    beam_read = {
        (place.station.code, place.roll)
        for place in read.taken.places
        if place.kind == "beam" and place.state == layout.first_state(number)
    }
    for station in layout.stations:
        slots = tuple(
            slot_of(layout, place, read.taken, from_beam=(station.code, place.roll) in beam_read)
            for place in places[station.code]
        )
        view = StationView(
            station=station.code,
            distance_mm=station.distance_mm,
            support=station.support,
            slots=slots,
            trimmed=typed.field(fields.trimmed_field(number, station.code), choices=("yes", "no")),
            skip=typed.field(fields.skip_field(station.code), choices=("yes", "no")),
            skipped=station.code not in taken_codes,
            complete=all(slot.complete or slot.from_beam for slot in slots),
            beam_off_um=beam_off_um(layout, number, station, instrument),
            noticed=tuple(each.key for each in noticed if each.facts.station == station.code),
        )
        stations.append(_judged(view, read, known, foreseen, aims.get(station.code), good_enough))
    wanted = [slot for view in stations if not view.skipped for slot in view.slots]
    closure, u95_closure = _closure(read, instrument, len(layout.rolls))
    offs = [abs(um) for view in stations for um in view.off_by_um if um is not None]
    return PassView(
        number=number,
        phase=read.phase,
        phase_why=read.phase_why,
        open=read.open,
        started=bool(read.taken.rows),
        complete=all(slot.complete or slot.from_beam for slot in wanted) and bool(wanted),
        readings=len(read.taken.rows),
        wanted=len(wanted),
        stations=tuple(stations),
        again=tuple(again),
        conditions={name: typed.condition_view(number, name) for name in (*fields.CONDITIONS, "phase")},
        support_temperatures=_support_fields(typed, number, known),
        closure_um=closure,
        u95_closure_um=u95_closure,
        good_enough_um=good_enough,
        farthest_off_um=max(offs, default=None),
        noticed=noticed,
        problems=read.problems,
        remarks=() if read.unsaved is None else read.unsaved.remarks,
    )


def _support_fields(typed: Typed, number: int, known: Known) -> dict[str, dict[str, FieldView]]:
    columns = SHEET["support_temperatures"].by_name
    return {
        support.code: {
            name: typed.field(fields.support_field(number, support.code, name), columns[name]) for name in _TEMPERATURES
        }
        for support in known.supports
    }


def _judged(
    view: StationView,
    read: PassRead,
    known: Known,
    foreseen: Foreseen | None,
    aim: Aim | None,
    good_enough_um: float | None,
) -> StationView:
    """Return a station with its offset, what was expected and what it is set to."""
    code = view.station
    sheet = known.by_station.get(code)
    if aim is not None:
        view = replace(view, target_um=aim.target_um, against_drift_um=aim.against_drift_um, set_to_um=aim.set_to_um)
    if sheet is not None:
        view = replace(view, limit_um=sheet.limit_um)
    if foreseen is not None:
        view = replace(
            view,
            expected_um=foreseen.offset_um.get(code, NOTHING),
            u95_expected_um=foreseen.u95_um.get(code, NOTHING),
        )
    at = None if read.unsaved is None else read.unsaved.place(code)
    if read.unsaved is None or at is None:
        return view
    offset = (float(read.unsaved.cold_um[at, 0]), float(read.unsaved.cold_um[at, 1]))
    u95 = (float(read.unsaved.u95_um[at, 0]), float(read.unsaved.u95_um[at, 1]))

    def less(what: MaybePair) -> MaybePair:
        v, h = what
        return None if v is None else offset[0] - v, None if h is None else offset[1] - h

    off_by = less(view.set_to_um)
    enough = None
    if good_enough_um is not None and None not in off_by:
        enough = all(um is not None and abs(um) <= good_enough_um for um in off_by)
    return replace(
        view, offset_um=offset, u95_um=u95, deviation_um=less(view.target_um), off_by_um=off_by, good_enough=enough
    )
