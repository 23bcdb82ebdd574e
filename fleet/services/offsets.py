"""Offsets: every survey reduced, as commands print it."""

from __future__ import annotations

import json

from fleet.errors import NotFoundError
from fleet.measure import coverage_factor
from fleet.services.reduction import reduce_if_needed
from fleet.services.rows import OffsetRow
from fleet.store import queries
from fleet.store.engine import Store
from fleet.values import NORMAL_95


def expanded(u_um: float, dof: float | None) -> float:
    """Return the expanded uncertainty (95 %): Student's factor where degrees of freedom are known."""
    return u_um * (NORMAL_95 if dof is None else float(coverage_factor(dof)))


def offset_rows(store: Store, *, line: str | None = None, session: str | None = None) -> list[OffsetRow]:
    """Return the reduced offsets of a line, a session or the whole record.

    Raises
    ------
    NotFoundError
        No line or session has this code.
    """
    reduce_if_needed(store)
    with store.read() as connection:
        if line is not None and line not in queries.line_codes(connection):
            raise NotFoundError(f"There is no line '{line}' in the store; `asleft status` lists the lines there are.")
        if session is not None and not queries.session_exists(connection, session):
            raise NotFoundError(f"There is no signed session '{session}' in the store; `asleft offsets` lists them.")
        rows = queries.reduced_surveys(connection, line, session)
    return [
        OffsetRow(
            session=row.session,
            survey=row.number,
            line=row.line,
            phase=row.phase,
            station=row.station,
            distance_mm=row.distance_mm,
            v_um=row.v_um,
            h_um=row.h_um,
            u_v_um=row.u_v_um,
            u_h_um=row.u_h_um,
            u95_v_um=expanded(row.u_v_um, row.dof_v),
            u95_h_um=expanded(row.u_h_um, row.dof_h),
            dof_v=row.dof_v,
            dof_h=row.dof_h,
            v_cold_um=row.v_cold_um,
            h_cold_um=row.h_cold_um,
            u_v_cold_um=row.u_v_cold_um,
            u_h_cold_um=row.u_h_cold_um,
            method=row.method,
            remarks=tuple(json.loads(row.remarks)) if row.remarks else (),
        )
        for row in rows
    ]
