"""What cells alone cannot show: keys that stand once, references that lead somewhere, and the rules between rows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date
from typing import Any, Final

from fleet.intake import cells
from fleet.intake.known import Key, View
from fleet.intake.layout import ASSET_KINDS, MOVE_PLACES
from fleet.intake.parsing import Places, Table
from fleet.intake.raw import Problem, shown
from fleet.intake.rules import RULES

_ASSET_SHEET: Final = {"gearbox": "gearboxes", "barrel": "barrels", "screw": "screws"}
_ONE: Final = {
    "sites": "site",
    "lines": "line",
    "instruments": "instrument",
    "outages": "outage",
    "sessions": "session",
}


def check(view: View, places: Places) -> tuple[list[Problem], list[str]]:
    """Check everything between rows, of a source against itself and against the store.

    Parameters
    ----------
    view
        The source's tables with what the store knows.
    places
        Where lines stand, for days local to a site.

    Returns
    -------
    tuple
        Every problem, and remarks that keep nothing from being taken.
    """
    problems: list[Problem] = []
    remarks: list[str] = []
    for table in view.tables.values():
        problems += _repeated(table)
        problems += _references(table, view, places)
    for rule in RULES:
        problems += rule(view, places)
    problems += _measured(view, places)
    remarks += _without_values(view)
    return problems, remarks


def said_key(table_keys: Iterable[str], key: Key) -> str:
    """Return a key in words: `line 'A', station 'S1'`."""
    parts = []
    for name, value in zip(table_keys, key, strict=True):
        if value is not None:
            parts.append(f"{name} {shown(value) if isinstance(value, str) else value}")
    return ", ".join(parts)


def _repeated(table: Table) -> Iterator[Problem]:
    keys = table.keys()
    if len(set(keys)) == len(keys):
        return
    needed = [at for at, name in enumerate(table.sheet.keys) if table.sheet.by_name[name].required]
    first: dict[Key, int] = {}
    for position, key in enumerate(keys):
        if any(key[at] is None for at in needed):
            continue
        if key in first:
            words = said_key(table.sheet.keys, key)
            before = table.rows[first[key]]
            table.bad.add(first[key])
            yield table.problem(position, None, f"{words} stands in row {before} already; a key may stand once")
        else:
            first[key] = position


def _missing(
    table: Table, column: str, keys: Iterable[Key | None], have: Callable[[Key], bool], say: Callable[[Key], str]
) -> Iterator[Problem]:
    """Yield a problem for each row whose key leads nowhere; each different key is looked up once."""
    keys = list(keys)
    gone = {key for key in set(keys) if key is not None and not have(key)}
    if gone:
        for position, key in enumerate(keys):
            if key in gone and key is not None:
                yield table.problem(position, column, say(key))


def _references(table: Table, view: View, places: Places) -> Iterator[Problem]:
    name, values = table.sheet.name, table.values
    for column in table.sheet.columns:
        if column.refers in _ONE and not (name == column.refers and column.key):
            yield from _single(table, column.name, column.refers, view)
    if "asset" in values:
        yield from _assets(table, view)
    lines = values.get("line") or [
        places.session_line.get(code) if code else None for code in values.get("session", [])
    ]
    if name == "support_temperatures":
        lines = [
            line or (places.session_line.get(code) if code else None)
            for line, code in zip(values["line"], values["session"], strict=True)
        ]
    for kind in ("station", "support"):
        if kind not in values or table.sheet.by_name[kind].refers is None:
            continue
        sheet = kind + "s"
        stand = {line for line in set(lines) if line and view.has("lines", (line,))}
        pairs = [
            (line, code) if line in stand and code and not (name == "moves" and code in MOVE_PLACES) else None
            for line, code in zip(lines, values[kind], strict=True)
        ]

        def say(key: Key, kind: str = kind, sheet: str = sheet) -> str:
            return f"there is no {kind} {shown(key[1])} on line {shown(key[0])}; add it to {sheet} or correct the code"

        yield from _missing(table, kind, pairs, lambda key, sheet=sheet: view.has(sheet, key), say)  # type: ignore[misc]
    number = "after_survey" if name == "moves" else "survey"
    if number in values and name != "surveys":
        sessions = {code for code in set(values["session"]) if code and view.has("sessions", (code,))}
        surveys = [
            (code, survey) if code in sessions and survey is not None else None
            for code, survey in zip(values["session"], values[number], strict=True)
        ]
        yield from _missing(
            table,
            number,
            surveys,
            lambda key: view.has("surveys", key),
            lambda key: f"session {shown(key[0])} has no survey {key[1]}; add it to surveys or correct the number",
        )


def _single(table: Table, column: str, sheet: str, view: View) -> Iterator[Problem]:
    keys = [(code,) if code is not None else None for code in table.values[column]]
    thing = _ONE[sheet]
    yield from _missing(
        table,
        column,
        keys,
        lambda key: view.has(sheet, key),
        lambda key: f"there is no {thing} {shown(key[0])}; add it to {sheet} or correct the code",
    )


def _assets(table: Table, view: View) -> Iterator[Problem]:
    keys = [
        (kind, asset) if kind in ASSET_KINDS and asset else None
        for kind, asset in zip(table.values["asset_kind"], table.values["asset"], strict=True)
    ]
    yield from _missing(
        table,
        "asset",
        keys,
        lambda key: view.has(_ASSET_SHEET[key[0]], (key[1],)),
        lambda key: f"there is no {key[0]} {shown(key[1])}; add it to {_ASSET_SHEET[key[0]]} or correct the code",
    )


def _measured(view: View, places: Places) -> Iterator[Problem]:
    """Yield what is wrong between surveys and the values they hold."""
    kinds: dict[Key, str] = {}
    for name in ("readings", "offsets"):
        table = view.tables.get(name)
        if table is None:
            continue
        pairs = list(zip(table.values["session"], table.values["survey"], strict=True))
        both = {pair for pair in set(pairs) if kinds.get(pair, name) != name}
        kinds.update(dict.fromkeys(set(pairs), name))
        seen: set[Key] = set()
        for position, pair in enumerate(pairs if both else ()):
            if pair in both and pair not in seen and None not in pair:
                seen.add(pair)
                yield table.problem(
                    position,
                    None,
                    f"survey {pair[1]} of session {shown(pair[0])} has readings and offsets; keep one kind",
                )
        yield from _dated(table, view, places)
        if name == "readings":
            yield from _instruments(table, pairs, view)
    table = view.tables.get("cold_targets")
    if table is not None:
        yield from _dated(table, view, places)


def local_day(view: View, places: Places, session: str) -> date | None:
    """Return the day a session began, at its site."""
    started = view.value("sessions", (session,), "started_at")
    if started is None:
        return None
    day: date = started.astimezone(cells.zone_of(places.of_session(session))).date()
    return day


def _dated(table: Table, view: View, places: Places) -> Iterator[Problem]:
    """Yield stations that did not exist yet, or no longer, on the day of the session; once a session and station."""
    days: dict[str, date | None] = {}
    pairs = list(zip(table.values["session"], table.values["station"], strict=True))
    wrong: dict[Key, str] = {}
    for session, station in set(pairs):
        if session is None or station is None:
            continue
        if session not in days:
            days[session] = local_day(view, places, session)
        day, line = days[session], places.session_line.get(session)
        if day is None or line is None:
            continue
        added = view.value("stations", (line, station), "added_on")
        removed = view.value("stations", (line, station), "removed_on")
        if added is not None and day < added:
            wrong[session, station] = (
                f"session {shown(session)} of {day} lies before station {shown(station)} was added on {added}; "
                "correct one of the dates"
            )
        elif removed is not None and day >= removed and table.sheet.name != "cold_targets":
            wrong[session, station] = (
                f"session {shown(session)} of {day} lies after station {shown(station)} was given up on {removed}; "
                "correct one of the dates"
            )
    if wrong:
        for position, pair in enumerate(pairs):
            if pair in wrong:
                yield table.problem(position, "station", wrong.pop(pair))


def _instruments(table: Table, pairs: list[Key], view: View) -> Iterator[Problem]:
    """Yield surveys with readings whose instrument is not known or has no sense; once a survey."""
    wrong: dict[Key, tuple[str, str]] = {}
    for pair in set(pairs):
        session, survey = pair
        if session is None or survey is None or not view.has("surveys", pair) or "surveys" in view.unread:
            continue
        if "sessions" in view.unread or "instruments" in view.unread:
            continue
        instrument = view.value("surveys", pair, "instrument") or view.value("sessions", (session,), "instrument")
        where = f"survey {survey} of session {shown(session)}"
        if instrument is None:
            wrong[pair] = (
                "session",
                f"{where} has readings but no instrument; name one in surveys or sessions",
            )
        elif view.has("instruments", (instrument,)):
            senses = [view.value("instruments", (instrument,), f"sense_{axis}") for axis in "vh"]
            if None in senses:
                wrong[pair] = (
                    "session",
                    f"{where} has readings, but instrument {shown(instrument)} lacks sense_v or sense_h; "
                    "give both in instruments",
                )
    if wrong:
        for position, pair in enumerate(pairs):
            if pair in wrong:
                column, text = wrong.pop(pair)
                yield table.problem(position, column, text)


def _without_values(view: View) -> Iterator[str]:
    surveys = view.tables.get("surveys")
    if surveys is None or view.unread & {"readings", "offsets"}:
        return
    filled: set[Any] = set()
    for name in ("readings", "offsets"):
        table = view.tables.get(name)
        if table is not None:
            filled |= set(zip(table.values["session"], table.values["survey"], strict=True))
    for position, key in enumerate(surveys.keys()):
        if key not in filled:
            yield (
                f"{surveys.label} row {surveys.rows[position]}: survey {key[1]} of session {shown(str(key[0]))} "
                "has neither readings nor offsets; it is taken without values"
            )
