"""Which rows of every sheet belong to one line: the line itself, and all that its record refers to."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Select, or_, select

from fleet.intake.homes import BY_SURVEY, MODELS
from fleet.store import Line, Placement, Survey, VisitSession
from fleet.store.bulk import table_of


def of_line(name: str, line_id: int) -> list[ColumnElement[bool]]:
    """Return the conditions on a sheet's rows that a line's own record, taken in elsewhere, needs.

    Parameters
    ----------
    name
        Name of the sheet.
    line_id
        Number of the line.
    """
    table = table_of(MODELS[name])
    site = select(Line.site_id).where(Line.id == line_id, Line.site_id.is_not(None))
    visits = select(VisitSession.id).where(VisitSession.line_id == line_id, VisitSession.state == "signed")
    surveys = select(Survey.id).where(Survey.session_id.in_(visits))
    match name:
        case "sites":
            return [table.c.id.in_(site)]
        case "lines":
            return [table.c.id == line_id]
        case "gearboxes" | "barrels" | "screws":
            return [table.c.id.in_(_placed(name, line_id))]
        case "instruments":
            return [table.c.id.in_(_instruments(line_id))]
        case "calibrations":
            return [table.c.instrument_id.in_(_instruments(line_id))]
        case "settings":
            return [or_(table.c.site_id.is_(None), table.c.site_id.in_(site))]
        case "outages":
            named = select(VisitSession.outage_id).where(VisitSession.id.in_(visits))
            own = or_(table.c.line_id == line_id, table.c.site_id.in_(site), table.c.id.in_(named))
            # Another line's own outage would name a line that is not there.
            return [own, or_(table.c.line_id.is_(None), table.c.line_id == line_id)]
        case "wear":
            kinds = {"gearboxes": table.c.gearbox_id, "barrels": table.c.barrel_id, "screws": table.c.screw_id}
            return [or_(*(column.in_(_placed(kind, line_id)) for kind, column in kinds.items()))]
        case "support_temperatures":
            return [or_(table.c.line_id == line_id, table.c.survey_id.in_(surveys))]
    if name in BY_SURVEY:
        return [table.c.survey_id.in_(surveys)]
    if "session_id" in table.c:
        return [table.c.session_id.in_(visits)]
    return [table.c.line_id == line_id]


def _placed(name: str, line_id: int) -> Select[Any]:
    column = {"gearboxes": Placement.gearbox_id, "barrels": Placement.barrel_id, "screws": Placement.screw_id}[name]
    return select(column).where(Placement.line_id == line_id, column.is_not(None))


def _instruments(line_id: int) -> Select[Any]:
    """Return the instruments that a line's signed visits name, for the visit or for one of its surveys."""
    visits = select(VisitSession.instrument_id).where(
        VisitSession.line_id == line_id, VisitSession.state == "signed", VisitSession.instrument_id.is_not(None)
    )
    own = (
        select(Survey.instrument_id)
        .join(VisitSession, VisitSession.id == Survey.session_id)
        .where(VisitSession.line_id == line_id, VisitSession.state == "signed", Survey.instrument_id.is_not(None))
    )
    return select(visits.union(own).subquery().c.instrument_id)
