"""One visit: its raw readings as typed and what they came to, and the moves made."""

from __future__ import annotations

from typing import Final

from dashboard.address import Address
from dashboard.sources import Sources
from dashboard.tables.table import DEVIATION, EXPANDED, MOVED, OFFSET, Maker, about, distance, length
from fleet.errors import NotFoundError
from fleet.reports.session_content import SessionRecord
from fleet.reports.table_file import Column, Table

_CLOCK: Final = "counter-clockwise looking downstream"


def _record(sources: Sources, address: Address) -> SessionRecord:
    if address.page != "session" or address.code is None:
        raise NotFoundError("this address names no visit; open a visit and take its table there")
    return sources.session(address.code)


def _table(
    record: SessionRecord,
    address: Address,
    what: str,
    columns: tuple[Column, ...],
    rows: tuple[tuple[object, ...], ...],
) -> Table:
    side = (("right is", record.right_hand_side),) if record.right_hand_side else ()
    cold = ("cold reference", f"{record.cold_reference_c:g} C")
    said = (("session", record.session), ("line", record.line), ("zone", record.zone), cold, *side)
    return Table(
        title=f"{what} {record.session}",
        columns=columns,
        rows=rows,
        about=about(address, record.as_of.date(), *said),
        dates=(record.started_at.date(),),
    )


def readings(sources: Sources, address: Address) -> Table:
    """Return every raw reading of a visit, to the letter as it was typed."""
    record = _record(sources, address)
    columns = (
        Column("survey", kind="number"),
        Column("phase"),
        Column("sequence", kind="number"),
        Column("station"),
        Column("beam_state", kind="number"),
        Column("beam_roll", "deg", "number", _CLOCK),
        Column("target_roll", "deg", "number", _CLOCK),
        Column("v_typed", says="vertical, as the instrument showed it, in the unit of its row"),
        Column("h_typed", says="horizontal, as the instrument showed it, in the unit of its row"),
        Column("unit"),
        Column("taken_at", kind="moment"),
    )
    rows = tuple(
        (
            survey.number, survey.phase, reading.sequence, reading.station, reading.beam_state, reading.beam_roll_deg,
            reading.target_roll_deg, *reading.typed, reading.unit, reading.taken_at,
        )
        for survey in record.surveys
        for reading in survey.readings
    )  # fmt: skip
    return _table(record, address, "Readings", columns, rows)


def offsets(sources: Sources, address: Address) -> Table:
    """Return what every survey of a visit came to at every station, beside the target and limit of its day."""
    record = _record(sources, address)
    columns = (
        Column("survey", kind="number"),
        Column("phase"),
        Column("measured_at", kind="moment"),
        Column("station"),
        distance(),
        Column("axis", says="v vertical, h horizontal"),
        length("measured", OFFSET),
        length("u95_measured", EXPANDED),
        length("cold", f"at the cold reference; {OFFSET}"),
        length("u95_cold", EXPANDED),
        length("target", OFFSET),
        length("deviation", DEVIATION),
        length("watch", "half-width of the band of that day"),
        length("limit", "half-width of the band of that day"),
    )
    rows = tuple(
        (
            survey.number, survey.phase, survey.measured_at, at.station, at.distance_mm, axis, at.measured_um[k],
            at.u95_measured_um[k], at.cold_um[k], at.u95_cold_um[k], at.target_um[k], at.deviation_um[k],
            at.watch_um[k], at.limit_um[k],
        )
        for survey in record.surveys
        for at in survey.offsets
        for k, axis in enumerate(("v", "h"))
    )  # fmt: skip
    return _table(record, address, "Offsets", columns, rows)


def moves(sources: Sources, address: Address) -> Table:
    """Return the moves of a visit, as typed and in lengths."""
    record = _record(sources, address)
    columns = (
        Column("after_survey", kind="number"),
        Column("support", says="the support, or the place that was moved"),
        length("v", MOVED),
        length("h", MOVED),
        Column("v_typed", says="in the unit of its row"),
        Column("h_typed", says="in the unit of its row"),
        Column("unit"),
        length("room_up"),
        length("room_down"),
        Column("how"),
    )
    rows = tuple(
        (
            move.after, move.support or move.place, *move.moved_um, *move.typed, move.unit, move.room_up_um,
            move.room_down_um, move.how,
        )
        for move in record.moves
    )  # fmt: skip
    return _table(record, address, "Moves", columns, rows)


TABLES: Final[dict[str, Maker]] = {"visit-readings": readings, "visit-offsets": offsets, "visit-moves": moves}
