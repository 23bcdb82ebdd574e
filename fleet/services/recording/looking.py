"""A visit as it stands: what was typed, reduced, checked against what was expected, and what stands before signing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from fleet.intake.layout import SHEET
from fleet.measure import Instrument
from fleet.services.readings import instrument_of
from fleet.services.recording import fields
from fleet.services.recording.answering import not_answering
from fleet.services.recording.asking import Visit, signing_view
from fleet.services.recording.beam import beam_view
from fleet.services.recording.beginning import instrument_view
from fleet.services.recording.drafts import gone, head_of
from fleet.services.recording.known import Known, known_of
from fleet.services.recording.layout import Layout, layout_of
from fleet.services.recording.moving import Done, done_after, foreseen_after, round_view
from fleet.services.recording.noticing import notice
from fleet.services.recording.passes import (
    Aim,
    Foreseen,
    PassRead,
    aims_of,
    as_found_foreseen,
    pass_view,
    read_pass,
)
from fleet.services.recording.typed import Typed, typed_of
from fleet.services.recording.view import (
    DraftHead,
    FieldView,
    InstrumentView,
    PassView,
    RecordView,
    RoundView,
)
from fleet.services.site_time import zone_of
from fleet.store import queries
from fleet.store.engine import Store
from fleet.units import UM_PER
from fleet.values import AXES


@dataclass(frozen=True, slots=True)
class Looked:
    """A visit with what its signing needs: the view, and everything it was made from."""

    view: RecordView
    visit: Visit
    head: DraftHead


def record_view(store: Store, client_key: str, *, now: datetime | None = None) -> RecordView:
    """Return a visit that is being recorded, as it stands.

    Parameters
    ----------
    store : the record
    client_key : the draft
    now : the present moment, aware, for tests

    Raises
    ------
    NotFoundError
        There is no such draft.
    RecordingError
        The visit is signed already.
    """
    return look(store, client_key, now=now).view


def look(store: Store, client_key: str, *, now: datetime | None = None) -> Looked:
    """Return a visit as it stands with what it was made from; see `record_view`."""
    with store.read() as record:
        rows = queries.drafts(record, client_key=client_key)
        if rows:
            draft = rows[0]
            entries = queries.draft_entries(record, draft.id)
            instruments = queries.instruments(record)
            certificates: defaultdict[int, list[tuple[date, date | None]]] = defaultdict(list)
            for row in queries.calibrations(record):
                certificates[row.instrument_id].append((row.calibrated_on, row.due_on))
    if not rows:
        raise gone(store, client_key)
    zone = zone_of(draft.time_zone)
    typed = typed_of(entries, zone, now)
    started = typed.safe("started_at", SHEET["sessions"].by_name["started_at"])
    day = (started or now or datetime.now(UTC)).astimezone(zone).date()
    known = known_of(store, draft.line, min(day, typed.today), corrects=draft.corrects, now=now)
    layout = layout_of(typed, known.stations)
    chosen = next((row for row in instruments if row.serial == typed.text("instrument")), None)
    instrument = None if chosen is None else instrument_of(chosen)
    held = () if chosen is None else tuple(sorted(certificates[chosen.id], key=lambda each: each[0]))

    aims = aims_of(typed, known)
    reads, views, rounds = _passes(layout, known, instrument, aims)
    done, problems = _done(typed, known)
    beam = beam_view(layout, instrument, agree_um=known.pair_agreement_um)
    visit = Visit(
        typed=typed,
        layout=layout,
        known=known,
        beam=beam,
        reads=reads,
        views=views,
        done=done,
        move_problems=problems,
        instrument=None if instrument is None or chosen is None else chosen.serial,
        certificates=None if instrument is None else held,
        corrects=draft.corrects,
    )
    head = head_of(draft)
    usable = [row.serial for row in instruments if row.sense_v and row.sense_h]
    view = RecordView(
        head=head,
        line=draft.line,
        site=draft.site,
        zone=zone.key,
        right_hand_side=known.line.right_hand_side,
        cold_reference_c=known.line.cold_reference_c,
        length_growth_mm=known.sheet.length_growth_mm,
        started_at=None if started is None else started.astimezone(zone),
        technician=typed.text("technician") or None,
        instrument=_instrument(chosen, held, day),
        instruments=tuple(sorted(usable)),
        unit=typed.unit,
        rolls=layout.rolls,
        version=draft.version,
        stored=draft.entries,
        fields={name: entry.text for name, entry in typed.entries.items()},
        inputs=_inputs(typed, usable),
        targets=_targets(typed, layout),
        findings=_findings(typed),
        beam=beam,
        passes=views,
        rounds=rounds,
        signing=signing_view(visit, session_code(store, draft.line, day)),
        corrects=draft.corrects,
        expected_on=known.day,
    )
    return Looked(view, visit, head)


def _passes(
    layout: Layout, known: Known, instrument: Instrument | None, aims: dict[str, Aim]
) -> tuple[tuple[PassRead, ...], tuple[PassView, ...], tuple[RoundView, ...]]:
    typed = layout.typed
    reads: list[PassRead] = []
    views: list[PassView] = []
    rounds: list[RoundView] = []
    foreseen: Foreseen | None = as_found_foreseen(known)
    for number in range(1, fields.MOST_PASSES + 1):
        read = read_pass(layout, number, instrument, known)
        unanswered = not_answering(reads[-1], read, typed, known) if reads else ()
        noticed = notice(read, layout, instrument, foreseen, unanswered)
        view = pass_view(read, layout, known, instrument, foreseen=foreseen, aims=aims, noticed=noticed)
        waits = tuple(each.key for each in noticed if not each.settled)
        reads.append(read)
        views.append(view)
        if number < fields.MOST_PASSES:
            rounds.append(round_view(read, typed, known, aims, waits_for=waits))
        foreseen = foreseen_after(read, typed, known, layout.stations)
    return tuple(reads), tuple(views), tuple(rounds)


def _done(typed: Typed, known: Known) -> tuple[dict[int, tuple[Done, ...]], tuple[str, ...]]:
    done: dict[int, tuple[Done, ...]] = {}
    problems: list[str] = []
    for number in range(1, fields.MOST_PASSES + 1):
        done[number], wrong = done_after(typed, number, known)
        problems += wrong
    return done, tuple(problems)


def session_code(store: Store, line: str, day: date) -> str:
    """Return the code a visit of a day would have: LINE-YYYYMMDD, with -2 and so on where that is taken."""
    longest = 64 - len("-YYYYMMDD-99")
    plain = f"{line[:longest]}-{day:%Y%m%d}"
    with store.read() as record:
        taken = queries.session_codes(record, plain)
    code, count = plain, 1
    while code in taken:
        count += 1
        code = f"{plain}-{count}"
    return code


def _instrument(row: Any, held: tuple[tuple[date, date | None], ...], day: date) -> InstrumentView | None:
    return None if row is None else instrument_view(row.serial, row.sense_v, row.sense_h, list(held), day)


def _inputs(typed: Typed, instruments: list[str]) -> dict[str, FieldView]:
    sessions = SHEET["sessions"].by_name
    inputs = {name: typed.field(name, sessions[name]) for name in fields.HEAD}
    chosen = typed.text("instrument")
    if chosen and chosen not in instruments:
        view = inputs["instrument"]
        problem = view.problem or f"There is no instrument '{chosen}' with both senses; choose one of the list."
        inputs["instrument"] = FieldView(view.name, view.text, problem)
    inputs["correction_reason"] = typed.field("correction_reason", sessions["correction_reason"])
    inputs["unit"] = typed.field("unit", choices=tuple(UM_PER))
    inputs["rolls"] = typed.field("rolls", choices=tuple(fields.ROLLS))
    inputs["rounds"] = typed.field("rounds", choices=tuple(str(k) for k in range(1, fields.MOST_PASSES + 1)))
    targets = SHEET["cold_targets"].by_name
    inputs["c.basis"] = typed.field("c.basis", targets["basis"])
    inputs["c.reason"] = typed.field("c.reason", targets["reason"])
    return inputs


def _targets(typed: Typed, layout: Layout) -> dict[str, tuple[FieldView, FieldView]]:
    column = SHEET["cold_targets"].by_name["v"]
    views = {}
    for station in layout.stations:
        v, h = (typed.field(fields.target_field(station.code, axis), column) for axis in AXES)
        views[station.code] = (v, h)
    return views


def _findings(typed: Typed) -> tuple[dict[str, FieldView], ...]:
    columns = SHEET["findings"].by_name
    return tuple(
        {
            part: typed.field(f"f{k}.{part}", columns[part] if part in ("item", "note") else None)
            for part in ("item", "value", "unit", "note")
        }
        for k in range(1, fields.MOST_FINDINGS + 1)
    )
