"""Reading which machine stood where: each gearbox, barrel and screw by its serial, with the gearbox's frame."""

from __future__ import annotations

from sqlalchemy import func, select

from fleet.store.plant import Barrel, Gearbox, Placement, Screw
from fleet.store.queries.reading import Record, Rows, fetched


def machines_placed(record: Record) -> Rows:
    """Return what stood on which line from when to when: kind, serial, frame; by line, kind and day."""
    return fetched(
        record,
        select(
            Placement.line_id,
            Placement.asset_kind,
            Placement.installed_on,
            Placement.removed_on,
            func.coalesce(Gearbox.serial, Barrel.serial, Screw.serial).label("serial"),
            Gearbox.frame,
        )
        .outerjoin(Gearbox, Gearbox.id == Placement.gearbox_id)
        .outerjoin(Barrel, Barrel.id == Placement.barrel_id)
        .outerjoin(Screw, Screw.id == Placement.screw_id)
        .order_by(Placement.line_id, Placement.asset_kind, Placement.installed_on),
    )
