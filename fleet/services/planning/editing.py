"""What a planner types: an outage, and a line's figures for planning. By the same gate as a file, each change audited.

A form shows what is recorded, so a box that was emptied means: not recorded any more. Nothing is deleted; an outage
that will not be is cancelled.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from fleet.errors import InputError, NotFoundError
from fleet.intake import cells
from fleet.intake.layout import SHEET
from fleet.intake.raw import IntakeError, Problem
from fleet.intake.taking import IntakeResult, take
from fleet.intake.writing import row_as_text
from fleet.services.people import unverified
from fleet.services.planning.windows import windows_of
from fleet.services.recording.source import in_memory
from fleet.services.settings import settings_of
from fleet.store import queries
from fleet.store.engine import Store

OUTAGE_FIELDS: Final = {
    "outage": "Code",
    "kind": "Kind",
    "site": "Site",
    "line": "Line",
    "starts_at": "Start",
    "ends_at": "End",
    "crew_hours": "Crew hours",
    "crews": "Crews",
    "state": "State",
}
"""Columns of the format that make an outage, and what a form calls them."""
LINE_FIELDS: Final = {
    "visit_hours": "Crew hours of a visit",
    "visit_cost_days": "Cost of a visit",
    "weight": "Weight",
    "cool_down_h": "Cool-down",
    "screw_pull_h": "Screw pull",
    "heat_up_h": "Heat-up",
}
"""The same of what planning asks about a line."""
UNITS: Final = {
    "crew_hours": " h",
    "visit_hours": " h",
    "visit_cost_days": " days over",
    "cool_down_h": " h",
    "screw_pull_h": " h",
    "heat_up_h": " h",
}
STATES: Final = ("planned", "done", "cancelled")
_SPACED: Final = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[ \u00a0]+([0-9]{2}:[0-9]{2}.*)")
_ON_A_PAGE: Final = {
    "the cell is empty; it has to be filled": "nothing is typed; it has to be filled",
    "lies before starts_at; correct one of them": "lies before the start; correct one of them",
    "add it to sites or correct the code": "correct the code, or bring the site in with a file first",
    "add it to lines or correct the code": "correct the code, or bring the line in with a file first",
}
"""What the gate says of files, as a page says it."""


class EditingError(IntakeError):
    """What was typed is not stored; every one of its `problems` names the box and the remedy."""


@dataclass(frozen=True, slots=True)
class OutageListed:
    """An outage on record, of any state; times in the zone of its site (UTC where it is of all sites).

    Parameters
    ----------
    code, kind, state : of the outage
    site, line : the site it is at and the one line it serves, None where it serves all
    starts_at, ends_at : aware; the end None where none is recorded
    whole_days : it begins and ends at midnight at its site
    crew_hours, crews : None where none are recorded
    past : it has ended; without an end, it has begun
    """

    code: str
    kind: str | None
    site: str | None
    line: str | None
    starts_at: datetime
    ends_at: datetime | None
    whole_days: bool
    crew_hours: float | None
    crews: float | None
    state: str
    past: bool


def outages_listed(store: Store, site: str | None = None, *, now: datetime | None = None) -> tuple[OutageListed, ...]:
    """Return every outage on record in time order, those of no site among each site's.

    Parameters
    ----------
    store : the record
    site : only what concerns this site; None: all
    now : the present moment, aware, for tests
    """
    moment = now or datetime.now(UTC)
    with store.read() as record:
        windows = windows_of(queries.all_outages(record), settings_of(queries.settings(record)), now)
    return tuple(
        OutageListed(
            code=window.code,
            kind=window.kind,
            site=window.site,
            line=window.line,
            starts_at=window.starts_at,
            ends_at=window.ends_at,
            whole_days=window.whole_days,
            crew_hours=window.crew_hours,
            crews=window.crews,
            state=window.state,
            past=window.last_at <= moment,
        )
        for window in windows
        if site is None or window.site in (None, site)
    )


def outage_as_typed(store: Store, code: str) -> dict[str, str]:
    """Return an outage's texts as they were typed, by column of the format; empty where nothing is recorded.

    Raises
    ------
    NotFoundError
        No outage has this code.
    """
    found = _recorded(store, "outages", code)
    if found is None:
        raise NotFoundError(f"The record holds no outage ‘{code}’; choose one of its outages or enter a new one.")
    return {name: found[name] for name in OUTAGE_FIELDS}


def line_as_typed(store: Store, code: str) -> dict[str, str]:
    """Return a line's figures for planning as they were typed, by column; empty where nothing is recorded.

    Raises
    ------
    NotFoundError
        No line has this code.
    """
    found = _recorded(store, "lines", code)
    if found is None:
        raise NotFoundError(f"The record holds no line ‘{code}’; choose one of its lines.")
    return {name: found[name] for name in LINE_FIELDS}


def edit_outage(
    store: Store, typed: Mapping[str, str], *, by: str, new: bool | None = None, now: datetime | None = None
) -> tuple[str, ...]:
    """Store an outage as typed, or what changes of a known one.

    Parameters
    ----------
    store : the record
    typed : texts by column of `OUTAGE_FIELDS`, times local to the site; of a known outage a column that is missing
        stays, and one that is empty is not recorded any more
    by : typed name of the person
    new : True: the code must be new; False: it must be known; None: either
    now : the present moment, aware, for tests

    Returns
    -------
    what was stored, in sentences

    Raises
    ------
    InputError
        No name, an unknown column, a code that should be new or known and is not, or a site and a line at once.
    NotFoundError
        The outage should be known and is not.
    EditingError
        The gate refuses what was typed; nothing was stored.
    """
    who, moment = unverified(by), now or datetime.now(UTC)
    given = _given(typed, OUTAGE_FIELDS)
    code = given.get("outage", "")
    if not code:
        raise InputError("Code: nothing is typed; give the outage one, such as its site and the day it starts.")
    recorded = _recorded(store, "outages", code)
    if new and recorded is not None:
        raise InputError(f"Code: there is an outage ‘{code}’ already; open that one, or give the new one another code.")
    if new is False and recorded is None:
        raise NotFoundError(f"The record holds no outage ‘{code}’; enter it as a new one.")
    before = {name: (recorded or {}).get(name, "") for name in OUTAGE_FIELDS}
    whole = {**before, **{name: _spelled(name, text) for name, text in given.items()}, "outage": code}
    if whole["site"] and whole["line"] and (whole["site"], whole["line"]) != (before["site"], before["line"]):
        raise InputError(
            f"Site and Line: an outage is of a site or of one line, not of ‘{whole['site']}’ and ‘{whole['line']}’ at "
            "once; empty one of them."
        )
    result = _take(store, "outages", f"outage {code}", whole, OUTAGE_FIELDS, who=who, now=moment)
    stored = next(each for each in outages_listed(store, now=moment) if each.code == cells.normal_code(code))
    zone = str(stored.starts_at.tzinfo)
    said = _said(f"Outage {code}", result, before, whole, OUTAGE_FIELDS, new=recorded is None, zone=zone)
    if stored.state == "planned" and stored.starts_at <= moment:
        said.append("It has begun already, so no plan takes a line into it; say done or cancelled when that is so.")
    return tuple(said)


def edit_line(
    store: Store, line: str, typed: Mapping[str, str], *, by: str, now: datetime | None = None
) -> tuple[str, ...]:
    """Store a line's figures for planning as typed.

    Parameters
    ----------
    store : the record
    line : code of a line that is known
    typed : texts by column of `LINE_FIELDS`; one that is missing stays, one that is empty is not recorded any more
    by : typed name of the person
    now : the present moment, aware, for tests

    Returns
    -------
    what was stored, in sentences

    Raises
    ------
    InputError
        No name, or an unknown column.
    NotFoundError
        No line has this code.
    EditingError
        The gate refuses what was typed; nothing was stored.
    """
    who, moment = unverified(by), now or datetime.now(UTC)
    given = _given(typed, LINE_FIELDS)
    before = line_as_typed(store, line)
    result = _take(store, "lines", f"figures of {line}", {"line": line, **given}, LINE_FIELDS, who=who, now=moment)
    return tuple(_said(f"Line {line}", result, before, {**before, **given}, LINE_FIELDS))


def is_outage(store: Store, code: str) -> bool:
    """Return whether an outage has this code."""
    return _recorded(store, "outages", code) is not None


def _recorded(store: Store, sheet: str, code: str) -> dict[str, str] | None:
    try:
        key = cells.normal_code(code)
    except InputError:
        return None
    with store.read() as record:
        found = row_as_text(record, sheet, key)
    if found is None:
        return None
    spec = SHEET[sheet].by_name
    # A file shields text that a spreadsheet would take for a formula; a form shows it as it is meant.
    return {name: cells.unshielded(text) if spec[name].kind in ("text", "code") else text
            for name, text in found.items()}  # fmt: skip


def _given(typed: Mapping[str, str], fields: Mapping[str, str]) -> dict[str, str]:
    unknown = sorted(set(typed) - set(fields))
    if unknown:
        raise InputError(f"‘{unknown[0]}’ is not typed here; what is: {', '.join(fields)}.")
    return {name: text.strip() for name, text in typed.items()}


def _spelled(name: str, text: str) -> str:
    """Return a time with the T of the format where a space was typed."""
    spaced = _SPACED.fullmatch(text) if name in ("starts_at", "ends_at") else None
    return f"{spaced[1]}T{spaced[2]}" if spaced else text


def _take(
    store: Store, sheet: str, what: str, row: Mapping[str, str], fields: Mapping[str, str], *, who: str, now: datetime
) -> IntakeResult:
    source = in_memory(f"typed on the page, {what}", {sheet: [dict(row)]}, empties=True)
    try:
        return take(store, source, who=who, now=now)
    except IntakeError as refused:
        told = [_problem(place, fields) for place in refused.places] or list(refused.problems)
        raise EditingError(tuple(told), max(refused.count, len(told))) from refused


def _problem(place: Problem, fields: Mapping[str, str]) -> str:
    text = place.text
    for of_file, of_page in _ON_A_PAGE.items():
        text = text.replace(of_file, of_page)
    name = fields.get(place.column or "", "")
    return f"{name}: {text}." if name else f"{text[:1].upper()}{text[1:]}."


def _said(
    thing: str,
    result: IntakeResult,
    before: Mapping[str, str],
    after: Mapping[str, str],
    fields: Mapping[str, str],
    *,
    new: bool = False,
    zone: str = "",
) -> list[str]:
    if result.nothing_new:
        return [f"Nothing was changed: the record holds {thing[:1].lower()}{thing[1:]} like this already."]
    # What means the same was not changed, however it is written.
    columns = [name for name in fields if after[name]] if new else [change.column for change in result.changes]
    told = [_change(name, "" if new else before[name], after[name], fields, new=new) for name in columns]
    times = f" Times are of {zone}." if zone and {"starts_at", "ends_at"} & set(columns) else ""
    listed = "; ".join(text for name, text in zip(columns, told, strict=True) if name != "outage")
    return [f"{thing} is {'stored' if new else 'changed'}: {listed}.{times}", *result.remarks]


def _change(name: str, before: str, after: str, fields: Mapping[str, str], *, new: bool) -> str:
    label, unit = fields[name].lower(), UNITS.get(name, "")
    if not after:
        return f"{label} {before}{unit} taken away"
    if not before:
        return f"{label} {after}{unit}{'' if new else ', not recorded before'}"
    if before == after:
        return f"{label} {after}, which is read in another zone now"
    return f"{label} {after}{unit} instead of {before}{unit}"
