"""One visit: everything that was recorded of it, what it came to, and how its record is settled and proven."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from fleet.errors import InputError, NotFoundError
from fleet.reports.check_words import CheckFacts
from fleet.reports.session_content import (
    BeamState,
    ChainLink,
    FindingMade,
    InstrumentOnDay,
    MaybePair,
    MoveMade,
    Pair,
    Place,
    SessionRecord,
    SessionSurvey,
    SettledCheck,
    Source,
    StationOffset,
    SupportWarmth,
    TargetSet,
    TypedOffset,
    TypedReading,
)
from fleet.services.checks import Checks, current_checks
from fleet.services.cold_offsets import current_comparison
from fleet.services.expanded import expanded
from fleet.services.plant import LineInfo
from fleet.services.refresh import bring_up_to_date
from fleet.services.series import FleetSeries, bands_in_force, current_series
from fleet.store import queries
from fleet.store.engine import Store
from fleet.store.queries import one_session
from fleet.thermal.rise import rise
from fleet.values import AXES
from fleet.words import day

_NO_BAND: Final[MaybePair] = (None, None)


def session_record(store: Store, session: str, *, now: datetime | None = None) -> SessionRecord:
    """Return everything recorded of one signed visit, also where a correction has replaced it.

    Parameters
    ----------
    store : the record
    session : its code
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No session has this code.
    InputError
        The session is a draft still.
    """
    bring_up_to_date(store, now=now)
    with store.read() as record:
        found = one_session.head(record, session)
        if not found:
            raise NotFoundError(
                f"There is no session '{session}' in the store; the Line page lists the sessions of its line."
            )
        (row,) = found
        if row.state != "signed":
            raise InputError(
                f"Session '{session}' of line {row.line} is a draft: it can be shown once it is signed. "
                "Go on with it on the Record page."
            )
        fleet = current_series(record, now=now)
        info = fleet.plant.line(row.line)
        on = row.started_at.astimezone(info.zone).date()
        reader = _Reader(record, fleet, info, row, on)
        growth = _growth(record, fleet, info, on)
        chain, corrects, corrected_by = _chain(one_session.records_of_visit(record, info.id), session, info.zone)
        barrel = fleet.plant.standing(info.id, "barrel", on)
        return SessionRecord(
            session=row.code,
            line=info.code,
            site=info.site,
            site_name=info.site_name,
            zone=str(info.zone),
            description=info.description,
            right_hand_side=info.right_hand_side,
            cold_reference_c=info.cold_reference_c,
            feed_section_mm=info.feed_section_mm,
            barrel_length_mm=barrel.length_mm if barrel else None,
            length_growth_mm=growth,
            started_at=row.started_at.astimezone(info.zone),
            reason=row.reason,
            outage=row.outage,
            outage_kind=row.outage_kind,
            technician=row.technician,
            instrument=reader.instrument(row.instrument_id, on),
            work_order=row.work_order,
            running_hours=row.running_hours,
            ambient_c=row.ambient_c,
            remarks=row.remarks,
            surveys=reader.surveys(),
            moves=tuple(_move(move) for move in one_session.moves(record, row.id)),
            targets=tuple(
                TargetSet(
                    target.station, (target.v_entered, target.h_entered), target.unit, (target.v_um, target.h_um),
                    target.basis, target.reason,
                )
                for target in one_session.targets(record, row.id)
            ),
            findings=tuple(
                FindingMade(f.item, f.value, f.unit, f.note, _withdrawn(f, info.zone))
                for f in one_session.findings(record, row.id)
            ),
            settled=tuple(SettledCheck(*check) for check in one_session.settled_checks(record, row.id)),
            signed_view=one_session.signed_view(record, row.id),
            chain=chain,
            corrects=corrects,
            correction_reason=row.correction_reason,
            corrected_by=corrected_by,
            signed_by=row.signed_by,
            signed_at=row.signed_at.astimezone(info.zone) if row.signed_at else None,
            source=Source(row.file_name, row.sha256, row.taken_at.astimezone(info.zone), row.taken_by)
            if row.sha256
            else None,
            supports=tuple(
                Place(s.code, s.distance_mm) for s in fleet.plant.supports.get(info.id, ()) if s.on(on)
            ),
            as_of=(now or datetime.now(UTC)).astimezone(info.zone),
        )  # fmt: skip


class _Reader:
    """What the parts of one session are read with: the open record, its line, its day."""

    def __init__(self, record: queries.Record, fleet: FleetSeries, info: LineInfo, row: Any, on: date) -> None:
        self.record, self.fleet, self.info, self.row, self.on = record, fleet, info, row, on
        self.known = {found.id: found for found in one_session.instruments(record)}
        self.certificates: dict[int, list[Any]] = defaultdict(list)
        for certificate in one_session.certificates(record):
            self.certificates[certificate.instrument_id].append(certificate)

    def instrument(self, instrument_id: int | None, on: date) -> InstrumentOnDay | None:
        """Return an instrument with the certificate that stood on a day; one that still held goes before a newer."""
        found = self.known.get(instrument_id) if instrument_id is not None else None
        if found is None:
            return None
        all_of_it = self.certificates[found.id]
        before = [c for c in all_of_it if c.calibrated_on <= on]
        held = [c for c in before if c.due_on is None or on <= c.due_on]
        newest = (held or before or [None])[-1]
        return InstrumentOnDay(
            serial=found.serial,
            kind=found.kind,
            sense=(found.sense_v, found.sense_h),
            calibrated_on=newest.calibrated_on if newest else None,
            due_on=newest.due_on if newest else None,
            certificate=newest.certificate if newest else None,
            covered=bool(held) if all_of_it else None,
        )

    def surveys(self) -> tuple[SessionSurvey, ...]:
        """Return the session's surveys in order."""
        record, row, zone = self.record, self.row, self.info.zone
        noticed = current_checks(record, self.fleet)
        typed = _by_survey(one_session.readings(record, row.id))
        entered = _by_survey(one_session.entered_offsets(record, row.id))
        warmth = _by_survey(one_session.temperatures(record, row.id))
        reduced = _by_survey(queries.reduced_surveys(record, self.info.code, row.code))
        bands = self._bands()
        targets = self._targets()
        surveys = []
        for survey in one_session.surveys(record, row.id):
            own = reduced[survey.id]
            measured_at = survey.measured_at.astimezone(zone)
            surveys.append(
                SessionSurvey(
                    number=survey.number,
                    phase=survey.phase,
                    measured_at=measured_at,
                    instrument=self.instrument(survey.instrument_id, measured_at.date()),
                    barrel_c=survey.barrel_c,
                    gearbox_c=survey.gearbox_c,
                    gearbox_c_at=survey.gearbox_c_at if survey.gearbox_c is not None else None,
                    base_c=survey.base_c,
                    gearbox_level_um_per_m=survey.gearbox_level_um_per_m,
                    axis_by=survey.axis_by,
                    bolts=survey.bolts,
                    screw=survey.screw,
                    die=survey.die,
                    heats_off_h=survey.heats_off_h,
                    remarks=survey.remarks,
                    supports=tuple(
                        SupportWarmth(w.support, w.barrel_c, w.base_c, _withdrawn(w, zone)) for w in warmth[survey.id]
                    ),
                    readings=tuple(_reading(reading, zone) for reading in typed[survey.id]),
                    entered=tuple(
                        TypedOffset(e.station, (e.v_entered, e.h_entered), (e.u_v_entered, e.u_h_entered), e.unit)
                        for e in entered[survey.id]
                    ),
                    offsets=tuple(_offset(one, targets, bands) for one in own),
                    scheme=own[0].method if own else None,
                    beam=_beam(survey.beam),
                    closure_um=_pair(json.loads(survey.closure)) if survey.closure else None,
                    scale=survey.scale,
                    notes=tuple(json.loads(survey.notes or "[]")),
                    checks=_checks(noticed, survey.id),
                )
            )
        return tuple(surveys)

    def _bands(self) -> dict[tuple[str | None, str], MaybePair]:
        """Return the tolerance of the visit's day by station (None: the line) and axis."""
        codes: dict[int | None, str | None] = {s.id: s.code for s in self.fleet.plant.stations.get(self.info.id, ())}
        codes[None] = None
        rows = [row for row in queries.tolerances(self.record) if row.line_id == self.info.id]
        held = bands_in_force(rows, {self.info.id: self.on})
        return {
            (codes[station], axis): (band.watch_um, band.limit_um)
            for (_, station, axis), band in held.items()
            if station in codes
        }

    def _targets(self) -> dict[str, Pair]:
        """Return the cold target of every station that stood at the visit, those decided at it included.

        The session's own come last: a session that was replaced is shown as its people saw it.
        """
        own_id = self.row.id
        rows = [
            target
            for target in one_session.targets_of_line(self.record, self.info.id, own_id)
            if target.started_at <= self.row.started_at
        ]
        ordered = sorted(rows, key=lambda target: (target.started_at, target.session_id == own_id))
        return {target.station: (target.v_um, target.h_um) for target in ordered}


def _by_survey(rows: Iterable[Any]) -> defaultdict[int, list[Any]]:
    grouped: defaultdict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.survey_id].append(row)
    return grouped


def _reading(row: Any, zone: ZoneInfo) -> TypedReading:
    return TypedReading(
        sequence=row.sequence,
        station=row.station,
        beam_state=row.beam_state,
        beam_roll_deg=row.beam_roll_deg,
        target_roll_deg=row.target_roll_deg,
        typed=(row.v_entered, row.h_entered),
        unit=row.unit,
        taken_at=row.taken_at.astimezone(zone) if row.taken_at else None,
    )


def _offset(row: Any, targets: dict[str, Pair], bands: dict[tuple[str | None, str], MaybePair]) -> StationOffset:
    held = [bands.get((row.station, axis)) or bands.get((None, axis)) or _NO_BAND for axis in AXES]
    return StationOffset(
        station=row.station,
        distance_mm=row.distance_mm,
        support=row.support,
        measured_um=(row.v_um, row.h_um),
        u95_measured_um=(expanded(row.u_v_um, row.dof_v), expanded(row.u_h_um, row.dof_h)),
        cold_um=(row.v_cold_um, row.h_cold_um),
        u95_cold_um=(expanded(row.u_v_cold_um, row.dof_v), expanded(row.u_h_cold_um, row.dof_h)),
        target_um=targets.get(row.station, (None, None)),
        watch_um=(held[0][0], held[1][0]),
        limit_um=(held[0][1], held[1][1]),
    )


def _move(row: Any) -> MoveMade:
    return MoveMade(
        after=row.after,
        support=row.support,
        place=row.place,
        typed=(row.v_entered, row.h_entered),
        unit=row.unit,
        moved_um=(row.v_um, row.h_um),
        room_up_um=row.room_up_um,
        room_down_um=row.room_down_um,
        how=row.how,
    )


def _beam(text: str | None) -> tuple[BeamState, ...]:
    return tuple(
        BeamState(state["state"], _pair(state["offset_um"]), _pair(state["direction_um_per_m"]))
        for state in json.loads(text or "[]")
    )


def _pair(values: Sequence[float]) -> Pair:
    return float(values[0]), float(values[1])


def _checks(noticed: Checks, survey_id: int) -> tuple[CheckFacts, ...]:
    return noticed.get(survey_id, ())


def _withdrawn(row: Any, zone: ZoneInfo) -> str | None:
    """Say by whom, when and why a fact was withdrawn; None while it stands."""
    if row.withdrawn_at is None:
        return None
    why = f": {row.withdrawn_why}" if row.withdrawn_why else ""
    return f"withdrawn {day(row.withdrawn_at.astimezone(zone))} by {row.withdrawn_by or 'somebody unnamed'}{why}"


def _chain(rows: Iterable[Any], session: str, zone: ZoneInfo) -> tuple[tuple[ChainLink, ...], str | None, str | None]:
    """Return all records of one visit, the first one first, and which one this corrects and is corrected by."""
    by_code = {row.code: row for row in rows}
    after = {row.corrects: row.code for row in by_code.values() if row.corrects}
    first = session
    while (before := by_code[first].corrects) in by_code:
        first = before
    codes = [first]
    while codes[-1] in after:
        codes.append(after[codes[-1]])
    chain = tuple(
        ChainLink(
            row.code, row.signed_by, row.signed_at.astimezone(zone) if row.signed_at else None, row.correction_reason,
            row.surveys,
        )
        for row in (by_code[code] for code in codes)
    )  # fmt: skip
    return chain, by_code[session].corrects, after.get(session)


def _growth(record: queries.Record, fleet: FleetSeries, info: LineInfo, on: date) -> float | None:
    """Return how much the line grows in length from cold to running, as the caution about it says; None: unknown."""
    index = fleet.line_index[info.id]
    temperatures = current_comparison(record, fleet).running_temperatures.get(index)
    if temperatures is None:
        return None
    return rise(fleet.plant.geometry(info, on), temperatures, np.empty(0)).length_growth_mm
