"""The tables of a visit's record as plain texts, one form for the page, the paper and the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.reports import session_words as say
from fleet.reports.session_content import SessionRecord, SessionSurvey
from fleet.reports.sheet_words import distance
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit, figure

_JUDGED: Final = ("as_found", "interim", "as_left")


@dataclass(frozen=True, slots=True)
class Table:
    """A table of texts: its title, its columns, its rows, and a note under it (empty: none).

    `compact` tables are narrow enough to stay a table on a phone; the others become a list there.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    compact: bool = False


def results(record: SessionRecord, axis: Axis, unit: ReaderUnit) -> Table | None:
    """Return every cold survey's offsets of one axis beside target and limit; None where nothing was surveyed cold."""
    surveys = [survey for survey in record.surveys if survey.phase in _JUDGED and survey.offsets]
    if not surveys:
        return None
    index = AXES.index(axis)
    names = _names(surveys)
    side = f" ({record.right_hand_side})" if record.right_hand_side else ""
    ends = "high or low" if axis == "v" else f"right{side} or left"
    stations = {offset.station: offset for survey in surveys for offset in survey.offsets}
    rows = []
    for code, place in sorted(stations.items(), key=lambda item: (item[1].distance_mm, item[0])):
        own = [next((o for o in survey.offsets if o.station == code), None) for survey in surveys]
        target, limit = place.target_um[index], place.limit_um[index]
        rows.append(
            (
                code,
                distance(place.distance_mm, unit),
                *(
                    "–" if one is None else say.with_spread(one.cold_um[index], one.u95_cold_um[index], axis, unit)
                    for one in own
                ),
                "–" if target is None else say.in_words(target, axis, "offset", unit, None, with_unit=False),
                *("–" if one is None else say.deviation(one.deviation_um[index], axis, unit) for one in own),
                "–" if limit is None else figure(limit, unit, fine=True),
            )
        )
    reference = say.degrees(record.cold_reference_c, unit)
    return Table(
        f"{say.AXIS_NAMES[axis].capitalize()}, {unit}: {ends} of the gearbox axis, at {reference}",
        ("Station", "At", *names, "Target", *(f"{name}, of target" for name in names), "Limit"),
        tuple(rows),
    )


def results_in_brief(record: SessionRecord, axis: Axis, unit: ReaderUnit) -> Table | None:
    """Return `results` for a phone: a column a survey, the lines of a cell parted by line feeds."""
    whole = results(record, axis, unit)
    if whole is None:
        return None
    surveys = (len(whole.columns) - 4) // 2
    rows = []
    for row in whole.rows:
        aim, limit = row[2 + surveys], row[-1]
        place = [
            row[0],
            row[1],
            f"target {aim}" if aim != "–" else "no target",
            f"limit {limit}" if limit != "–" else "",
        ]
        judged = zip(row[2 : 2 + surveys], row[3 + surveys : -1], strict=True)
        cells = [
            "\n".join((um, "" if off == "–" else off if off.endswith("target") else f"{off} target")).rstrip()
            for um, off in judged
        ]
        rows.append(("\n".join(filter(None, place)), *cells))
    return Table(whole.title, ("Station", *whole.columns[2 : 2 + surveys]), tuple(rows), compact=True)


def _names(surveys: list[SessionSurvey]) -> list[str]:
    """Return the surveys' phases as column names, numbered where a phase comes twice."""
    names = [say.PHASES[survey.phase].capitalize() for survey in surveys]
    return [
        f"{name} ({survey.number})" if names.count(name) > 1 else name
        for name, survey in zip(names, surveys, strict=True)
    ]


def readings(record: SessionRecord, survey: SessionSurvey) -> Table | None:
    """Return a survey's readings as they were typed, in their order; columns in which nothing varies become a note."""
    if not survey.readings:
        return _entered(survey)
    units = {reading.unit for reading in survey.readings}
    states = {reading.beam_state for reading in survey.readings}
    targets = {reading.target_roll_deg for reading in survey.readings}
    timed = any(reading.taken_at for reading in survey.readings)
    unit = units.pop() if len(units) == 1 else None
    in_unit = f", {unit}" if unit else ""
    columns = ["No.", "Station"]
    columns += ["Beam state"] if len(states) > 1 else []
    columns += ["Beam roll"]
    columns += ["Target roll"] if len(targets) > 1 else []
    columns += [f"v{in_unit}", f"h{in_unit}"] + ([] if unit else ["Unit"]) + (["Time"] if timed else [])
    rows = []
    for reading in survey.readings:
        row = [str(reading.sequence), reading.station]
        row += [str(reading.beam_state)] if len(states) > 1 else []
        row += [say.roll(reading.beam_roll_deg)]
        row += [say.roll(reading.target_roll_deg)] if len(targets) > 1 else []
        row += [*reading.typed] + ([] if unit else [reading.unit])
        row += ([say.clock(reading.taken_at, record)] if reading.taken_at else ["–"]) if timed else []
        rows.append(tuple(row))
    notes = ["As typed, in the order taken; clock positions as seen from the gearbox."]
    notes += [f"Beam state {min(states)} throughout."] if len(states) == 1 else []
    notes += [f"Target at {say.roll(min(targets))} throughout."] if len(targets) == 1 else []
    notes += [] if timed else ["No times were noted."]
    notes += [say.sense_words(survey.instrument)]
    note = " ".join(filter(None, notes))
    return Table("Readings as the instrument showed them", tuple(columns), tuple(rows), note, compact=True)


def _entered(survey: SessionSurvey) -> Table | None:
    if not survey.entered:
        return None
    rows = tuple((one.station, *one.typed, *(u or "–" for u in one.u_typed), one.unit) for one in survey.entered)
    note = "As typed; plus is high and right of the gearbox axis. u is the standard uncertainty that came with it."
    return Table("Offsets as they came in", ("Station", "v", "h", "u of v", "u of h", "Unit"), rows, note, compact=True)


def offsets(record: SessionRecord, survey: SessionSurvey, unit: ReaderUnit) -> Table | None:
    """Return what a survey's readings came to, as surveyed and at the cold reference."""
    if not survey.offsets:
        return None
    reference = say.degrees(record.cold_reference_c, unit)
    rows = tuple(
        (
            one.station,
            say.with_spread(one.measured_um[0], one.u95_measured_um[0], "v", unit),
            say.with_spread(one.cold_um[0], one.u95_cold_um[0], "v", unit),
            say.with_spread(one.cold_um[1], one.u95_cold_um[1], "h", unit),
        )
        for one in survey.offsets
    )
    columns = ("Station", "Vertical, as surveyed", f"Vertical, at {reference}", "Horizontal")
    return Table(f"What they came to, {unit} from the gearbox axis", columns, rows, compact=True)


def moves(record: SessionRecord, unit: ReaderUnit) -> Table | None:
    """Return what was moved, as typed and in words, with the room that was left."""
    if not record.moves:
        return None
    rows = []
    for move in record.moves:
        v, h = say.moved(move, record, unit)
        typed = ", ".join(
            f"{axis} {text} {move.unit}".replace(" ", NBSP)
            for axis, text in zip(AXES, move.typed, strict=True)
            if text is not None
        )
        room = [
            f"{word}{NBSP}{figure(um, unit, fine=True)}"
            for word, um in (("up", move.room_up_um), ("down", move.room_down_um))
            if um is not None
        ]
        rows.append(
            (
                f"support {move.support}" if move.support else say.PLACES.get(move.place or "", move.place or "–"),
                "–" if move.after is None else f"survey {move.after}",
                v,
                h,
                typed or "–",
                ", ".join(room) or "–",
                move.how or "–",
            )
        )
    columns = ("Moved", "After", "Vertical", "Horizontal", "As typed", f"Room then, {unit}", "How")
    return Table("Moves made", columns, tuple(rows), "Plus is higher and to the right, where it was typed with a sign.")


def targets(record: SessionRecord, unit: ReaderUnit) -> Table | None:
    """Return the cold targets decided at the visit, with what they stand on."""
    if not record.targets:
        return None
    rows = tuple(
        (
            one.station,
            say.in_words(one.target_um[0], "v", "offset", unit, None),
            say.in_words(one.target_um[1], "h", "offset", unit, record.right_hand_side),
            ", ".join(f"{axis}{NBSP}{text}{NBSP}{one.unit}" for axis, text in zip(AXES, one.typed, strict=True)),
            one.basis or "–",
            one.reason or "–",
        )
        for one in record.targets
    )
    return Table("Cold targets decided", ("Station", "Vertical", "Horizontal", "As typed", "Chosen by", "Reason"), rows)


def findings(record: SessionRecord) -> Table | None:
    """Return what was noticed beside the alignment; a withdrawn finding says so."""
    if not record.findings:
        return None
    rows = tuple(
        (
            one.item,
            " ".join(filter(None, (one.value, one.unit))) or "–",
            "; ".join(filter(None, (one.note, one.withdrawn))) or "–",
        )
        for one in record.findings
    )
    return Table("Found beside the alignment", ("Finding", "Value", "Note"), rows)


def chain(record: SessionRecord) -> Table | None:
    """Return all records of the visit, the first one first; None where there is only this one."""
    if len(record.chain) < 2:
        return None
    rows = tuple(
        (
            f"{link.session} (this one)" if link.session == record.session else link.session,
            "–" if link.signed_at is None else say.at(link.signed_at),
            say.signer(link.signed_by),
            link.reason or "the first record",
            "counts" if link is record.chain[-1] else "replaced, kept",
        )
        for link in record.chain
    )
    return Table(
        "Corrections", ("Record", "Signed", "By", "Why", "Stands"), rows,
        "A signed record is never changed. A correction stands beside it and says why; figures use the newest.",
    )  # fmt: skip
