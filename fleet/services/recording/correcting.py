"""What a correction begins with: everything that was typed into the session it corrects, in the fields of a visit."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from fleet.services.plant import StationInfo
from fleet.services.recording import fields
from fleet.services.recording.errors import RecordingError
from fleet.services.recording.layout import BEAM_ROLLS, layout_of, taken_in
from fleet.services.recording.targets import exactly
from fleet.services.recording.typed import Stored, Typed
from fleet.store import queries
from fleet.store.queries import one_session
from fleet.units import UM_PER
from fleet.values import AXES

_FINEST: Final = Decimal("0.00000001")


def values_of(record: queries.Record, code: str, zone: ZoneInfo) -> dict[str, str]:
    """Return a signed session's typed texts as fields of a visit.

    Parameters
    ----------
    record : open session of `Store.read()`
    code : the session's code
    zone : of the site, for its times

    Raises
    ------
    RecordingError
        It holds what this page has no boxes for (results without readings, other rolls, several units); such a session
        is corrected by an import.
    """
    (head,) = one_session.head(record, code)
    values: dict[str, str] = {}

    def put(name: str, value: Any) -> None:
        if value is not None and value != "":
            values[name] = value if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)

    serials = {row.id: row.serial for row in queries.instruments(record)}
    for name in ("reason", "outage", "technician", "work_order", "running_hours", "ambient_c", "remarks"):
        put(name, getattr(head, name))
    put("instrument", serials.get(head.instrument_id))
    surveys = one_session.surveys(record, head.id)
    if len(surveys) > fields.MOST_PASSES:
        raise _elsewhere(code, f"it has {len(surveys)} surveys, and the page has room for {fields.MOST_PASSES}")
    if one_session.entered_offsets(record, head.id):
        raise _elsewhere(code, "it holds results without readings")
    numbers = {survey.number: place for place, survey in enumerate(surveys, start=1)}
    put("rounds", str(max(len(surveys), 1)))
    for survey in surveys:
        if survey.instrument_id != head.instrument_id:
            raise _elsewhere(code, "its surveys were taken with several instruments")
        place = numbers[survey.number]
        for name in fields.CONDITIONS:
            value = getattr(survey, name)
            if name == "measured_at":
                value = None if value == head.started_at else value.astimezone(zone).isoformat(timespec="seconds")
            put(fields.condition_field(place, name), value)
        put(fields.condition_field(place, "phase"), survey.phase)
    rows: dict[int, list[Any]] = defaultdict(list)
    for row in one_session.readings(record, head.id):
        rows[row.survey_id].append(row)
    rolls = _rolls(code, rows)
    if rolls:
        put("rolls", str(len(rolls)))
    first_stations = {row.station for row in rows.get(surveys[0].id, ())} if surveys else set()
    for survey in surveys:
        values |= _readings(code, numbers[survey.number], rows.get(survey.id, ()))
    temperatures = one_session.temperatures(record, head.id)
    places = {survey.id: numbers[survey.number] for survey in surveys}
    for row in temperatures:
        if row.withdrawn_at is not None:
            continue
        for name in ("barrel_c", "base_c"):
            put(fields.support_field(places[row.survey_id], row.support, name), getattr(row, name))
    units = {row.unit for group in rows.values() for row in group}
    if len(units) > 1:
        raise _elsewhere(code, f"its readings stand in {' and '.join(sorted(units))}")
    values["unit"] = units.pop() if units else "mm"
    _moves(code, record, head.id, numbers, values)
    _targets(code, record, head.id, values)
    found = [row for row in one_session.findings(record, head.id) if row.withdrawn_at is None]
    if len(found) > fields.MOST_FINDINGS:
        raise _elsewhere(code, f"it holds {len(found)} findings, and the page has room for {fields.MOST_FINDINGS}")
    for k, row in enumerate(found, start=1):
        for part in ("item", "value", "unit", "note"):
            put(f"f{k}.{part}", getattr(row, part))
    _refuse_unlike(code, record, head.line_id, values, [rows.get(survey.id, ()) for survey in surveys])
    if first_stations:
        for station in queries.stations(record):
            if station.line_id == head.line_id and station.code not in first_stations:
                put(fields.skip_field(station.code), "yes")
    return values


def _refuse_unlike(
    code: str, record: queries.Record, line_id: int, values: dict[str, str], surveys: Sequence[Sequence[Any]]
) -> None:
    """Refuse a session that the boxes would give back with another station, roll, beam state or text."""
    known = [row for row in queries.stations(record) if row.line_id == line_id]
    read = {row.station for rows in surveys for row in rows}
    stations = tuple(
        StationInfo(row.id, line_id, row.code, row.distance_mm, None, None, row.bore, None)
        for row in sorted(known, key=lambda row: (row.distance_mm, row.code))
        if row.code in read
    )
    entries = {name: Stored(text, datetime.min.replace(tzinfo=UTC), "") for name, text in values.items()}
    layout = layout_of(Typed(entries, ZoneInfo("UTC"), date.max), stations)
    for number, rows in enumerate(surveys, start=1):
        least = min((row.beam_state for row in rows), default=1)
        before = Counter(
            (row.station, row.beam_roll_deg % 360.0, row.beam_state - least, row.v_entered, row.h_entered)
            for row in rows
        )
        places = taken_in(layout, number).places
        state = min((place.state for place in places), default=1)
        after = Counter(
            (place.station.code, float(place.roll), place.state - state, values[place.v], values[place.h])
            for place in places
        )
        if before != after:
            raise _elsewhere(code, f"its survey {number} was read in an order that the page has no boxes for")


def _elsewhere(code: str, why: str) -> RecordingError:
    return RecordingError((f"Session {code} cannot be corrected on this page: {why}. Correct it by an import.",))


def _rolls(code: str, rows: dict[int, list[Any]]) -> tuple[int, ...]:
    found = {row.beam_roll_deg % 360.0 for group in rows.values() for row in group}
    if any(row.target_roll_deg % 360.0 for group in rows.values() for row in group):
        raise _elsewhere(code, "the target was turned")
    for rolls in fields.ROLLS.values():
        if found <= set(rolls):
            return rolls if found else ()
    raise _elsewhere(code, f"it was read at rolls of {', '.join(f'{roll:g}' for roll in sorted(found))} degrees")


def _readings(code: str, number: int, rows: Sequence[Any]) -> dict[str, str]:
    """Return the readings of one survey in their boxes: setting the beam first, then station by station, then again."""
    if not rows:
        return {}
    values: dict[str, str] = {}
    last = max(row.beam_state for row in rows)
    leaving = _state_left(rows) if number == 1 else min(row.beam_state for row in rows)
    if number == 1 and leaving > 1:
        values["trims"] = str(leaving - 1)
    if last - leaving > len({row.station for row in rows}) or leaving - 1 > fields.MOST_TRIMS:
        raise _elsewhere(code, "its beam was adjusted more often than the page can say")
    state, first = leaving, None
    times = Counter((row.station, row.beam_roll_deg % 360.0) for row in rows if row.beam_state >= leaving)
    first_read = next((row.station for row in rows if row.beam_state >= leaving), None)
    for row in rows:
        roll = int(row.beam_roll_deg % 360.0)
        # Read once more than the pass has boxes for: the first time was to see how the beam stands
        looked = number == 1 and times[row.station, float(roll)] > (2 if row.station == first_read else 1)
        if looked and row.beam_state == leaving:
            times[row.station, float(roll)] -= 1
        if number == 1 and (row.beam_state < leaving or (looked and row.beam_state == leaving)):
            names = [fields.beam_field(row.beam_state, row.station, roll, axis) for axis in AXES]
            if roll not in BEAM_ROLLS:
                raise _elsewhere(code, "its beam was set at quarter rolls")
        else:
            first = first or row.station
            names = [fields.reading_field(number, row.station, roll, axis) for axis in AXES]
            if names[0] in values and row.station == first:
                names = [fields.again_field(number, roll, axis) for axis in AXES]
            if row.beam_state > state:
                if any(name.startswith(f"p{number}.s.{fields.coded(row.station)}.") for name in values):
                    raise _elsewhere(code, "its beam was adjusted in the middle of a station")
                values[fields.trimmed_field(number, row.station)] = "yes"
                state = row.beam_state
        if names[0] in values:
            raise _elsewhere(code, f"station {row.station} was read more often than the page has boxes for")
        values[names[0]], values[names[1]] = row.v_entered, row.h_entered
    return values


def _state_left(rows: Sequence[Any]) -> int:
    """Return the beam state in which the stations were read: that of the first reading away from both ends."""
    codes = list(dict.fromkeys(row.station for row in rows))
    states = [row.beam_state for row in rows]
    if len(codes) <= 2:
        return int(states[-1])
    ends = set(codes[:2])
    return int(next(row.beam_state for row in rows if row.station not in ends))


def _moves(code: str, record: queries.Record, session_id: int, numbers: dict[int, int], values: dict[str, str]) -> None:
    unit = values["unit"]
    for row in one_session.moves(record, session_id):
        place = row.place or row.support
        after = numbers.get(row.after or 0)
        if after is None:
            raise _elsewhere(code, "it holds moves before its first survey")
        for name, um in (("room_up", row.room_up_um), ("room_down", row.room_down_um)):
            if um is not None:
                values[fields.room_field(after, place, name)] = _in(unit, code, exactly(um, "um"), "um")
        for axis, ways in (("v", ("higher", "lower")), ("h", ("right", "left"))):
            text = getattr(row, f"{axis}_entered")
            if text is None:
                continue
            amount = _in(unit, code, text, row.unit)
            values[fields.move_field(after, place, axis, "amount")] = amount.lstrip("+-")
            values[fields.move_field(after, place, axis, "way")] = ways[1] if amount.startswith("-") else ways[0]
            if row.how:
                values[fields.move_field(after, place, axis, "how")] = row.how


def _targets(code: str, record: queries.Record, session_id: int, values: dict[str, str]) -> None:
    for row in one_session.targets(record, session_id):
        for axis in AXES:
            text = _in(values["unit"], code, getattr(row, f"{axis}_entered"), row.unit)
            values[fields.target_field(row.station, axis)] = text
        for part in ("basis", "reason"):
            if getattr(row, part):
                values[fields.target_field(row.station, part)] = getattr(row, part)


def _in(unit: str, code: str, text: str, written_in: str) -> str:
    """Return a length in the unit of the readings; refused where its figures would not come out whole."""
    if written_in == unit:
        return text
    um = Decimal(text) * UM_PER[written_in]
    number = (um / UM_PER[unit]).quantize(_FINEST).normalize()
    if number * UM_PER[unit] != um:
        raise _elsewhere(code, f"{text} {written_in} has no whole figures in {unit}, the unit of its readings")
    return f"{number:f}"
