"""What one line's page asks for beside its surveys: tolerances with their grounds, levels, findings, wear."""

from __future__ import annotations

from sqlalchemy import or_, select

from fleet.store.plant import Barrel, Placement, Screw, Station, Tolerance
from fleet.store.queries.reading import Record, Rows, counts, fetched
from fleet.store.running import Wear
from fleet.store.visits import Finding, Survey, VisitSession


def tolerances_of_line(record: Record, line_id: int) -> Rows:
    """Return the tolerances of a line's offsets that were not withdrawn, with where they come from."""
    return fetched(
        record,
        select(
            Tolerance.station_id,
            Station.code.label("station"),
            Tolerance.axis,
            Tolerance.from_on,
            Tolerance.watch_um,
            Tolerance.limit_um,
            Tolerance.set_within_um,
            Tolerance.basis,
        )
        .outerjoin(Station, Station.id == Tolerance.station_id)
        .where(Tolerance.line_id == line_id, Tolerance.withdrawn_at.is_(None), Tolerance.measure == "offset")
        .order_by(Tolerance.id),
    )


def levels_of_line(record: Record, line_id: int) -> Rows:
    """Return what every survey of a line that counts says of the gearbox: survey_id, its level, how its axis is told.

    The level is um per m, + higher toward the discharge end.
    """
    return fetched(
        record,
        select(Survey.id.label("survey_id"), Survey.gearbox_level_um_per_m, Survey.axis_by)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(VisitSession.line_id == line_id, counts()),
    )


def findings_of_line(record: Record, line_id: int) -> Rows:
    """Return what was found beside the alignment at a line's visits that count, oldest first."""
    return fetched(
        record,
        select(
            VisitSession.code.label("session"),
            VisitSession.started_at,
            Finding.item,
            Finding.value,
            Finding.unit,
            Finding.note,
        )
        .join(VisitSession, VisitSession.id == Finding.session_id)
        .where(VisitSession.line_id == line_id, counts(), Finding.withdrawn_at.is_(None))
        .order_by(VisitSession.started_at, VisitSession.code, Finding.item),
    )


def wear_of_line(record: Record, line_id: int) -> Rows:
    """Return the diameters measured on the barrels and screws that stood on a line, and what these had when new."""
    return fetched(
        record,
        select(
            Wear.asset_kind,
            Wear.measured_at,
            Wear.distance_mm,
            Wear.diameter_v_um,
            Wear.diameter_h_um,
            Wear.method,
            Barrel.bore_mm,
            Screw.diameter_mm,
            Placement.installed_on,
            Placement.removed_on,
        )
        .join(
            Placement,
            or_(Placement.barrel_id == Wear.barrel_id, Placement.screw_id == Wear.screw_id),
        )
        .outerjoin(Barrel, Barrel.id == Wear.barrel_id)
        .outerjoin(Screw, Screw.id == Wear.screw_id)
        .where(Placement.line_id == line_id, Wear.withdrawn_at.is_(None))
        .order_by(Wear.asset_kind, Wear.measured_at, Wear.distance_mm),
    )
