"""What the planner's forms begin with: an outage or a line's figures as typed, and what an empty box falls back to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fleet.errors import NotFoundError
from fleet.intake import cells
from fleet.reports.plan_content import HoursFrom
from fleet.services.planning.editing import OUTAGE_FIELDS, is_outage, line_as_typed, outage_as_typed
from fleet.services.planning.hours import visit_hours
from fleet.services.site_time import zone_of
from fleet.store import queries
from fleet.store.engine import Store


@dataclass(frozen=True, slots=True)
class OutageForm:
    """What a form of an outage begins with.

    Parameters
    ----------
    code : of the outage, None for a new one
    texts : by column of `OUTAGE_FIELDS`, as typed
    zone : of its times; None where that depends on the site that is typed
    sites : code and zone of every site
    lines : codes of all lines
    kinds : of outages on record
    """

    code: str | None
    texts: Mapping[str, str]
    zone: str | None
    sites: tuple[tuple[str, str], ...]
    lines: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LineForm:
    """What a form of a line's figures begins with.

    Parameters
    ----------
    line : its code
    texts : by column of `LINE_FIELDS`, as typed
    hours, hours_from : crew hours that hold for a visit if none are typed, and where they come from
    """

    line: str
    texts: Mapping[str, str]
    hours: float
    hours_from: HoursFrom


@dataclass(frozen=True, slots=True)
class NoForm:
    """Nothing of this name can be changed; `said` is a sentence."""

    said: str


Form = OutageForm | LineForm | NoForm
NEW: Final = "new"
OF_A_LINE: Final = "line:"


def form(store: Store, what: str, *, site: str | None = None) -> Form:
    """Return what a form begins with.

    Parameters
    ----------
    store : the record
    what : code of an outage, 'new', or 'line:' and the code of a line
    site : a new outage is at this one unless something else is typed
    """
    try:
        if what.startswith(OF_A_LINE) and not is_outage(store, what):
            return _line_form(store, what.removeprefix(OF_A_LINE))
        texts = {"site": site or "", "state": "planned"} if what == NEW else outage_as_typed(store, what)
    except NotFoundError as error:
        return NoForm(str(error))
    with store.read() as record:
        sites = {row.site: str(zone_of(row.time_zone)) for row in queries.lines(record) if row.site}
        lines = queries.line_codes(record)
        rows = queries.all_outages(record)
    of_it = next((str(zone_of(row.time_zone)) for row in rows if row.code == texts.get("outage")), None)
    return OutageForm(
        code=None if what == NEW else texts["outage"],
        texts={**dict.fromkeys(OUTAGE_FIELDS, ""), **texts},
        zone=of_it,
        sites=tuple(sorted(sites.items())),
        lines=lines,
        kinds=tuple(sorted({row.kind for row in rows if row.kind})),
    )


def _line_form(store: Store, line: str) -> LineForm:
    texts = line_as_typed(store, line)
    code = cells.normal_code(line)
    with store.read() as record:
        rows = queries.line_figures(record)
        # As if nothing were typed for this line: that is what an empty box falls back to.
        as_if = [_Untyped(row.id, None if row.code == code else row.visit_hours) for row in rows]
        hours, origin = visit_hours(record, as_if)
    at = next(i for i, row in enumerate(rows) if row.code == code)
    return LineForm(code, texts, float(hours[at]), origin[at])


@dataclass(frozen=True, slots=True)
class _Untyped:
    id: int
    visit_hours: float | None
